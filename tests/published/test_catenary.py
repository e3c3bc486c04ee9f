"""The shape of a wire against a handbook, its differential equation, and the balance of forces.

Sources
-------
L. L. Grigsby (ed.), *Electric Power Generation, Transmission, and Distribution*, CRC Press, 2nd ed.
2007, chapter 14, section 14.1: inputs and printed results recalled, medium confidence. Further
digits are the exact catenary, worked out apart from this package; so is the set of inclined spans.

A. Chakrabarti, M. L. Soni, P. V. Gupta, U. S. Bhatnagar, *A Textbook on Power System Engineering*,
2nd ed., part II chapter 5, examples 5.1 and 5.2 (read).

SciPy's `solve_bvp` solves the hanging wire without knowing of catenaries.
"""

import numpy as np
import pytest
from scipy.integrate import quad, solve_bvp

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
    slack,
)

#: Span, rise and constant [m] of the degenerate and the ordinary: level, gentle, steep, very taut,
#: very slack.
SHAPES = np.array([
    (300, 0, 1500), (300, 30, 1500), (400, -60, 1200), (50, 80, 400), (1200, 350, 900),
    (80, 0, 20000), (80, 1, 20000), (200, -5, 90),
], float)


def test_handbook_drake():
    """w 1.094 lb/ft, S 600 ft, H 6300 lb; printed: sag 7.81 to 7.82 ft, length 600.27 ft."""
    S, w, H = 600.0, 1.094, 6300.0
    C = H / w
    sag, length = greatest_sag(S, 0.0, C), arc_length(S, 0.0, C)
    assert 7.805 < sag < 7.825
    assert length == pytest.approx(600.27, abs=0.005)
    assert sag == pytest.approx(7.81605, abs=5e-6)
    assert length == pytest.approx(600.27143, abs=5e-6)
    assert slack(S, 0.0, C) == pytest.approx(0.27143, abs=5e-6)
    left, right = end_tension_ratios(S, 0.0, C)
    assert H * left == pytest.approx(6308.55, abs=0.005)
    assert H * right == pytest.approx(H + w * sag, rel=1e-12)


def test_handbook_arbutus():
    """w 0.7453 lb/ft, S 600 ft, H 2780 lb; digits worked out apart from this package."""
    C = 2780 / 0.7453
    assert greatest_sag(600.0, 0.0, C) == pytest.approx(12.0707, abs=5e-5)
    assert arc_length(600.0, 0.0, C) == pytest.approx(600.64708, abs=5e-6)


@pytest.mark.parametrize(
    ("shape", "low", "length", "place", "greatest", "middle", "left", "right"),
    [
        ((300, 0, 1500), 150.0, 300.5003, 150.0, 7.5063, 7.5063, 1.0050, 1.0050),
        ((300, 30, 1500), 0.4974, 301.9940, 150.2485, 7.5436, 7.5436, 1.0000, 1.0200),
        ((400, -60, 1200), 378.5103, 406.3090, 199.1785, 16.8907, 16.8905, 1.0502, 1.0002),
    ],
)
def test_inclined_spans(shape, low, length, place, greatest, middle, left, right):
    """Four decimals, worked out apart from this package from the textbook formulas."""
    S, h, C = shape
    four = 0.5e-4 + 1e-9
    assert low_point(S, h, C) == pytest.approx(low, abs=four)
    assert arc_length(S, h, C) == pytest.approx(length, abs=four)
    assert greatest_sag(S, h, C) == pytest.approx(greatest, abs=four)
    assert sag_at(place, S, h, C) == pytest.approx(greatest, abs=four)
    assert sag_at(S / 2, S, h, C) == pytest.approx(middle, abs=four)
    assert end_tension_ratios(S, h, C) == pytest.approx((left, right), abs=four)


def test_textbook_example_5_1():
    """Span 250 m, sag 2 m, working tension 5758/2 kg; weight of wire in the span: 184.29 kg.

    The book takes `w = 8 T D/S^2` from the parabola, times the length of wire.
    """
    S, D, T = 250.0, 2.0, 5758 / 2
    w = 8 * T * D / S**2
    assert w * arc_length(S, 0.0, T / w) == pytest.approx(184.29, abs=0.005)
    # The catenary of that load and tension sags S^2/48C^2 of D more than the parabola, 9e-5.
    assert greatest_sag(S, 0.0, T / w) == pytest.approx(D, rel=1e-4)


def test_textbook_example_5_2():
    """Span 250 m, h 10 m, radius 1 cm, 2.5 kg/m, wind 1.2 kg/m, 4300 kg/cm², safety factor 3.

    Printed: 60.05 m from the lower support to the low point, by the parabola `S/2 - T h/(w S)`
    with the resultant load. The catenary differs by the terms the parabola leaves out, here less
    than 0.2 m.
    """
    S, h = 250.0, 10.0
    T, w = np.pi * 4300 / 3, np.hypot(2.5, 1.2)
    assert S / 2 - T * h / (w * S) == pytest.approx(60.05, abs=0.005)
    assert low_point(S, h, T / w) == pytest.approx(60.05, abs=0.2)


@pytest.mark.parametrize("shape", SHAPES)
def test_length_and_mean_tension_by_quadrature(shape):
    """`L = int sqrt(1 + y'^2) dx`, and the mean of `T/H = sqrt(1 + y'^2)` along the wire."""
    S, h, C = shape
    x0 = low_point(S, h, C)

    def stretch(x, power):
        return np.hypot(1, np.sinh((x - x0) / C)) ** power

    length = quad(stretch, 0, S, args=(1,), epsabs=0, epsrel=1e-12)[0]
    squared = quad(stretch, 0, S, args=(2,), epsabs=0, epsrel=1e-12)[0]
    assert arc_length(S, h, C) == pytest.approx(length, rel=1e-10)
    assert mean_tension_ratio(S, h, C) == pytest.approx(squared / length, rel=1e-10)
    # Quadrature of the slack alone keeps the digits that the difference of two lengths loses.
    excess = quad(lambda x: stretch(x, 1) - np.hypot(1, h / S), 0, S, epsabs=0, epsrel=1e-9)[0]
    assert slack(S, h, C) == pytest.approx(excess, rel=1e-6)


def test_slack_of_taut_wires_by_series():
    """Level: slack is `S^3/24C^2 (1 + S^2/80C^2 + ...)`; the next term is below the tolerance."""
    S, C = np.array([10.0, 100.0, 300.0]), np.array([1e5, 5e4, 3e4])
    series = S**3 / (24 * C**2) * (1 + S**2 / (80 * C**2))
    np.testing.assert_allclose(slack(S, 0.0, C), series, rtol=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_greatest_sag_is_where_the_wire_is_parallel_to_the_chord(shape):
    S, h, C = shape
    x = np.linspace(0, S, 20001)
    assert greatest_sag(S, h, C) == pytest.approx(sag_at(x, S, h, C).max(), rel=1e-6)
    assert greatest_sag(S, h, C) >= sag_at(x, S, h, C).max() * (1 - 1e-9)
    np.testing.assert_allclose(elevation_above_start([0, S], S, h, C), [0, h], atol=1e-9)


#: Ends [m] and load per length [N/m]: still air, wind, wind on a steep span, ice and wind against
#: a falling one.
SPANS = [
    ((0, 0, 0), (300, 0, 0), (0, 0, -16), 24000),
    ((10, 20, 100), (310, 20, 130), (0, 8, -16), 24000),
    ((0, 0, 0), (150, -200, 120), (5, 3, -11), 9000),
    ((-50, 0, 80), (250, 100, 20), (4, -12, -30), 40000),
]


@pytest.mark.parametrize(("start", "end", "load", "H"), SPANS)
def test_wire_in_space_solves_the_hanging_wire_equation(start, end, load, H):
    """Force along the wire F(s) = F0 - q s, and dr/ds = F/|F|, between two points.

    SciPy finds r(s), F(s) and the length from the ends and one number, the part of F normal to q.
    """
    start, end, q = (np.array(v, float) for v in (start, end, load))
    along = q / np.linalg.norm(q)
    chord = end - start

    def slope(s, y, p):
        force = y[3:]
        return np.vstack([p[0] * force / np.linalg.norm(force, axis=0),
                          np.repeat(-p[0] * q[:, None], len(s), axis=1)])

    def ends(a, b, p):
        across = a[3:] - (a[3:] @ along) * along
        return np.r_[a[:3] - start, b[:3] - end, np.linalg.norm(across) - H]

    s = np.linspace(0, 1, 60)
    guess = np.vstack([start[:, None] + chord[:, None] * s,
                       np.repeat((chord / np.linalg.norm(chord) * H)[:, None], len(s), axis=1)])
    solved = solve_bvp(slope, ends, s, guess, p=[np.linalg.norm(chord)], tol=1e-8, max_nodes=20000)
    assert solved.success
    plane = plane_of(start, end, q)
    C = H / plane.load
    assert arc_length(plane.span, plane.rise, C) == pytest.approx(solved.p[0], rel=1e-7)
    left, right = end_tension_ratios(plane.span, plane.rise, C)
    assert H * left == pytest.approx(np.linalg.norm(solved.y[3:, 0]), rel=1e-6)
    assert H * right == pytest.approx(np.linalg.norm(solved.y[3:, -1]), rel=1e-6)
    r = solved.sol(np.linspace(0, 1, 41))[:3].T
    share = (r - start) @ plane.along / plane.span
    np.testing.assert_allclose(points(start, plane, C, share), r, atol=1e-5)


@pytest.mark.parametrize(("start", "end", "load", "H"), SPANS)
def test_forces_at_the_ends_carry_the_whole_load(start, end, load, H):
    """The pulls at both ends, along finite-difference tangents there, balance `q L`."""
    plane = plane_of(start, end, load)
    C = H / plane.load
    left, right = end_tension_ratios(plane.span, plane.rise, C)
    r = points(np.array(start, float), plane, C, np.array([0, 1e-6, 1 - 1e-6, 1]))
    np.testing.assert_allclose(r[[0, -1]], [start, end], atol=1e-9)
    first, last = r[1] - r[0], r[3] - r[2]
    pull = H * right * last / np.linalg.norm(last) - H * left * first / np.linalg.norm(first)
    whole = -np.array(load) * arc_length(plane.span, plane.rise, C)
    # A chord over 1e-6 of the span is off the tangent by 0.5e-6 S/C, some 1e-7 of H.
    np.testing.assert_allclose(pull, whole, atol=1e-6 * H)


def test_turning_the_frame_turns_the_wire():
    """A wire in wind is the same wire in still air, seen by someone who leans."""
    turn = np.array([[1, 0, 0], [0, np.cos(0.4), -np.sin(0.4)], [0, np.sin(0.4), np.cos(0.4)]])
    start, end, load = np.array([0.0, 0, 0]), np.array([200.0, 30, 40]), np.array([0.0, 0, -15])
    share = np.linspace(0, 1, 11)
    still = points(start, plane_of(start, end, load), 1300.0, share)
    leaning = points(turn @ start, plane_of(turn @ start, turn @ end, turn @ load), 1300.0, share)
    np.testing.assert_allclose(leaning, still @ turn.T, atol=1e-9)
