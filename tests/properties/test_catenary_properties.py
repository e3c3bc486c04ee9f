"""The shape of a wire: symmetry, limits, finite differences, convergence.

No published number is needed here: each check follows from the equation of the hanging wire,
`y'' = sqrt(1 + y'^2)/C`, or from the geometry of its ends.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.geometry.catenary import (
    arc_length,
    elevation_above_start,
    end_tension_ratios,
    greatest_sag,
    low_point,
    mean_tension_ratio,
    plane_of,
    points,
    sag_at,
    sinh_excess,
    slack,
)

from ..common import SHAPES, wire

FUNCTIONS = (low_point, arc_length, slack, greatest_sag, mean_tension_ratio)
by_shape = pytest.mark.parametrize("shape", SHAPES.values(), ids=SHAPES)

#: Spans, slopes of the chord and spans over constants that lines have, and worse ones.
shapes = st.builds(
    lambda S, slope, ratio: (S, slope * S, S / ratio),
    st.floats(5, 2000), st.floats(-2, 2), st.floats(1e-3, 2.5),
)


@by_shape
def test_height_is_that_of_a_cosine_through_both_ends(shape):
    """Against `C cosh` with its low point found by bisection; C times 1e-14 is left of rounding."""
    S, h, C = shape
    x = np.linspace(0, S, 101)
    np.testing.assert_allclose(elevation_above_start(x, S, h, C), wire(x, S, h, C), atol=1e-13 * C + 1e-9)


@by_shape
def test_equation_of_the_hanging_wire_by_differences(shape):
    """`y''` and `y'` by central differences over 2e-4 of the span; the rounding of y limits both."""
    S, h, C = shape
    d = 1e-3 * S
    x = np.linspace(d, S - d, 41)
    y = [elevation_above_start(x + step, S, h, C) for step in (-d, 0.0, d)]
    slope, bend = (y[2] - y[0]) / (2 * d), (y[2] - 2 * y[1] + y[0]) / d**2
    # Truncation is (d/C)^2/12 of y''; rounding of y, some 1e-16 (C + |h|), enters by 4/d^2.
    np.testing.assert_allclose(bend, np.hypot(1, slope) / C, rtol=2e-6 + (d / C) ** 2,
                               atol=4e-16 * 10 * (C + abs(h)) / d**2)


@settings(max_examples=60, deadline=None)
@given(shapes)
def test_mirror(shape):
    """A span walked backward is the same wire."""
    S, h, C = shape
    x = np.linspace(0, S, 9)
    scale = S + abs(h) + C
    np.testing.assert_allclose(elevation_above_start(S - x, S, -h, C) + h, elevation_above_start(x, S, h, C),
                               atol=1e-12 * scale)
    assert low_point(S, -h, C) == pytest.approx(S - low_point(S, h, C), abs=1e-11 * scale)
    for f in (arc_length, slack, greatest_sag, mean_tension_ratio):
        assert f(S, -h, C) == pytest.approx(float(f(S, h, C)), rel=1e-9)
    np.testing.assert_allclose(end_tension_ratios(S, -h, C), end_tension_ratios(S, h, C)[::-1], rtol=1e-10)


@settings(max_examples=40, deadline=None)
@given(shapes, st.floats(0.01, 100))
def test_similar_wires(shape, times):
    """Lengths grow in proportion when span, rise and constant do; ratios stay."""
    S, h, C = shape
    large = times * S, times * h, times * C
    for f in (arc_length, slack, greatest_sag):
        assert f(*large) == pytest.approx(times * f(S, h, C), rel=1e-10)
    assert mean_tension_ratio(*large) == pytest.approx(float(mean_tension_ratio(S, h, C)), rel=1e-10)


@settings(max_examples=40, deadline=None)
@given(shapes)
def test_sag_is_between_none_and_the_greatest(shape):
    S, h, C = shape
    sag = sag_at(np.linspace(0, S, 301), S, h, C)
    rounding = 1e-12 * (C + abs(h))
    assert (sag > -rounding).all()
    assert sag.max() <= greatest_sag(S, h, C) + rounding
    # Nearest of 301 places is within S/600: short by y''/2 (S/600)^2 at most.
    bend = max(end_tension_ratios(S, h, C)) / C
    assert sag.max() >= greatest_sag(S, h, C) - bend / 2 * (S / 600) ** 2 - rounding


@pytest.mark.parametrize("slope", [0.0, 0.3, -1.5])
def test_taut_wire_is_a_parabola_over_the_chord(slope):
    """Limit: sag goes to `S^2 sqrt(1 + (h/S)^2)/8C`; what is left falls with the square of S/C."""
    S, ratio = 300.0, np.array([0.2, 0.1, 0.05])
    C = S / ratio
    left = np.abs(greatest_sag(S, slope * S, C) / (S**2 * np.hypot(1, slope) / (8 * C)) - 1)
    assert (left < ratio**2).all()
    np.testing.assert_allclose(left[:-1] / left[1:], 4, rtol=0.1)


@by_shape
def test_chords_converge_to_the_arc_length(shape):
    """Length of a polygon of n chords is short by `const/n^2`: halved steps leave a quarter."""
    S, h, C = shape
    short = []
    for n in (20, 40, 80):
        x = np.linspace(0, S, n + 1)
        short.append(arc_length(S, h, C) - np.hypot(np.diff(x), np.diff(elevation_above_start(x, S, h, C))).sum())
    assert short[0] > 0
    # Of a taut wire the violation itself is near the rounding of its length.
    np.testing.assert_allclose(np.divide(short[:-1], short[1:]), 4, rtol=0.02, atol=1e-14 * S / short[2] * 4)


@settings(max_examples=40, deadline=None)
@given(st.floats(-1.5, 1.5))
def test_excess_of_sinh(u):
    """Series of twelve terms, summed from the smallest; its first term left out is below 1e-20.

    Of the package's series five terms count: the sixth is 6 u^10/13! of the first.
    """
    terms, term = [], u
    for n in range(1, 13):
        term = term * u * u / (2 * n * (2 * n + 1))
        terms.append(term)
    left_out = 1.1 * 6 / math.factorial(13) * u**10
    assert float(sinh_excess(u)) == pytest.approx(sum(reversed(terms)), rel=left_out + 2e-14, abs=1e-300)


def test_arrays_equal_scalars_one_by_one():
    S, h, C = np.array(list(SHAPES.values())).T
    for f in FUNCTIONS:
        one = [float(f(*shape)) for shape in SHAPES.values()]
        np.testing.assert_array_equal(f(S, h, C), one)
    table = arc_length(S[:, None], h[:, None], np.array([500.0, 900.0]))
    assert table.shape == (len(S), 2)
    assert table[3, 1] == arc_length(S[3], h[3], 900.0)


@by_shape
def test_in_space_a_wire_in_still_air_is_the_planar_one(shape):
    S, h, C = shape
    start, share = np.array([7.0, -3.0, 40.0]), np.linspace(0, 1, 11)
    direction = np.array([np.sin(0.7), np.cos(0.7)])
    end = start + np.r_[S * direction, h]
    load = np.array([0.0, 0.0, -16.0])
    got = points(start, plane_of(start, end, load), C, share)
    np.testing.assert_allclose(got[:, :2], start[:2] + share[:, None] * S * direction, atol=1e-9 * S)
    np.testing.assert_allclose(got[:, 2], 40 + wire(share * S, S, h, C), atol=1e-13 * C + 1e-9)


@by_shape
def test_wind_from_the_other_side_mirrors_the_wire(shape):
    """About the plumb plane through the ends; and every place keeps its drop in the plane of the load."""
    S, h, C = shape
    start, end, share = np.zeros(3), np.array([S, 0.0, h]), np.linspace(0, 1, 9)
    right, left = (points(start, plane_of(start, end, np.array([0.0, p, -16.0])), C, share) for p in (9.0, -9.0))
    np.testing.assert_allclose(right * [1, -1, 1], left, atol=1e-10 * (S + C))
    drop = right - share[:, None] * end
    # The wire leaves its chord along the load: 9 across for 16 down.
    along = drop - (drop @ [0, 9, -16])[:, None] * np.array([0, 9, -16]) / (9**2 + 16**2)
    shift = np.linalg.norm(np.cross(along, end), axis=1) / np.hypot(S, h)
    np.testing.assert_allclose(shift, 0, atol=1e-9 * (S + C))
