"""The ruling span, the sags of the section's spans, and the limits of stringing.

Sources
-------
The definition sqrt(sum S^3 / sum S) and sag by the square of the span: L. L. Grigsby (ed.),
*Electric Power Generation, Transmission, and Distribution*, CRC Press, 2nd ed. 2007, chapter 14,
equation 14.27 (read). The numbers of four decimals were worked out apart from this package.
"""

import numpy as np
import pytest
from scipy.optimize import brentq

from corridor.geometry.catenary import greatest_sag
from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.ruling_span import ruling_span, tension, unstressed_excess
from corridor.mechanics.stringing import (
    greatest_tension,
    horizontal_tension_for,
    loaded_plane,
)
from tests.sections_of_wire import string_to_limits

DRAKE = TwoPart(*(np.float64(v) for v in (22.165e6, 12.465e6, 23e-6, 11.5e-6, 0, 0, 0)))
WEIGHT = 15.965


@pytest.mark.parametrize(
    ("spans", "printed"),
    [
        ((600, 700, 800), 714.1428), ((300, 400, 350, 500), 408.6761),
        ((1000, 300), 888.8194), ((925, 750, 1050), 932.7779),
    ],
)
def test_ruling_spans(spans, printed):
    """Four decimals; the first is cut, not rounded, so one digit of the last place."""
    assert ruling_span(spans) == pytest.approx(printed, abs=1e-4)


def test_bounds_of_the_ruling_span():
    """Between the mean and the longest span; equal spans give themselves."""
    spans = np.random.default_rng(7).uniform(50, 600, (200, 6))
    ruling = ruling_span(spans)
    assert np.all(ruling >= spans.mean(axis=1))
    assert np.all(ruling <= spans.max(axis=1))
    np.testing.assert_allclose(ruling_span(spans[:, ::-1] * 3.0), 3 * ruling, rtol=1e-12)
    np.testing.assert_allclose(ruling_span(np.full((3, 5), 250.0)), 250.0, rtol=1e-12)


def test_short_sections_are_filled_with_nan():
    spans = np.array([[600, 700, 800], [1000, 300, np.nan], [420, np.nan, np.nan]])
    np.testing.assert_allclose(ruling_span(spans), [714.1428, 888.8194, 420.0], atol=1e-4)


def test_why_the_ruling_span_is_what_it_is():
    """At one H the slacks of all spans add up to the slack of the ruling span, share by length.

    By parabola, S^3 q^2/24H^2; the catenary adds terms of (S/C)^2/80, here 1 part in 1000.
    """
    spans, C = np.array([150.0, 400, 250, 350, 180, 420]), 1750.0
    ruling = ruling_span(spans)
    slacks = spans**3 / (24 * C**2)
    assert slacks.sum() / spans.sum() == pytest.approx(ruling**2 / (24 * C**2), rel=1e-12)


def test_sag_goes_as_the_square_of_the_span():
    """Equation 14.27, D_i = w S_i^2/8H: a parabola, within (S/C)^2/48 of the catenary."""
    spans, C = np.array([600.0, 700, 800]), 5758.6837
    sag = greatest_sag(spans, 0.0, C)
    by_ruling = greatest_sag(ruling_span(spans), 0.0, C) * (spans / ruling_span(spans)) ** 2
    np.testing.assert_allclose(sag, by_ruling, rtol=(800 / C) ** 2 / 48)


@pytest.mark.parametrize("way", [1, -1])
def test_greatest_tension_is_that_of_the_highest_end(way):
    """Catenary: T = H + q y, with y counted from the low point less C, along the load."""
    spans, rises = np.array([[200.0, 350, np.nan]]), np.array([[10.0, -60, np.nan]]) * way
    H = np.array([2e4])
    C = 2e4 / WEIGHT
    ends = []
    for S, h in zip(spans[0, :2], rises[0, :2], strict=True):
        def miss(x, S=S, h=h):
            return C * (np.cosh((S - x) / C) - np.cosh(x / C)) - h

        low = brentq(miss, -5e3, 5e3)
        ends += [2e4 * np.cosh(low / C), 2e4 * np.cosh((S - low) / C)]
    got = greatest_tension(H, spans, rises, np.array([WEIGHT]), np.array([0.0]))
    np.testing.assert_allclose(got, max(ends), rtol=1e-9)


def test_tension_limit_is_met_by_the_highest_end():
    spans, rises = np.array([[150.0, 400, 250]]), np.array([[5.0, 40, -20]])
    weight, wind = np.array([30.0]), np.array([10.0])
    H = horizontal_tension_for(np.array([40e3]), spans, rises, weight, wind)
    assert greatest_tension(H, spans, rises, weight, wind) == pytest.approx(40e3, rel=1e-8)
    assert H < 40e3


def test_a_limit_that_no_wire_meets():
    """A wire of q L weight cannot hang below a tension of about 0.75 q S: nan, and not a number."""
    spans, rises = np.array([[400.0]]), np.array([[0.0]])
    weight, wind = np.array([16.0]), np.array([0.0])
    none = horizontal_tension_for(np.array([0.5 * 16 * 400]), spans, rises, weight, wind)
    assert np.isnan(none).all()


def test_swung_plane_keeps_the_chord():
    """Span and rise in the leaning plane are legs of the same chord."""
    S, h = loaded_plane(300.0, 60.0, 15.0, 9.0)
    assert np.hypot(S, h) == pytest.approx(np.hypot(300.0, 60.0), rel=1e-12)
    assert h / 60.0 == pytest.approx(15 / np.hypot(15, 9), rel=1e-12)
    assert loaded_plane(300.0, 60.0, 15.0, 0.0) == pytest.approx((300.0, 60.0), rel=1e-12)


def test_every_limit_is_met_and_one_with_equality():
    """Three limits, each of which alone gives another wire: everyday, cold, ice and wind."""
    spans, rises = np.array([[300.0, 250, 340]]), np.zeros((1, 3))
    ruling = ruling_span(spans)
    weight, wind = np.array([WEIGHT, WEIGHT, 30.5]), np.array([0.0, 0.0, 10.2])
    temperature, bounds = np.array([10.0, -20.0, -5.0]), np.array([1900.0, 36e3, 55e3])
    part = TwoPart(*(np.broadcast_to(v, 3) for v in DRAKE))
    is_constant = np.array([True, False, False])
    excess, governing = string_to_limits(
        bounds, is_constant, spans, rises, ruling, weight, wind, temperature, part)
    load = np.hypot(weight, wind)
    H = tension(excess, ruling, load, temperature, part).horizontal_tension
    reached = np.array([H[0] / load[0], *(
        greatest_tension(H[i], spans[0], rises[0], weight[i], wind[i]) for i in (1, 2))])
    assert np.all(reached <= bounds * (1 + 1e-7))
    assert reached[governing] == pytest.approx(bounds[governing], rel=1e-7)
    assert np.sum(reached > 0.999 * bounds) == 1


def test_equal_spans_are_one_span():
    """A section of equal level spans is its span, in every state."""
    excess = unstressed_excess(ruling_span([280.0] * 7), 24e3, WEIGHT, 15.0, DRAKE)
    alone = unstressed_excess(280.0, 24e3, WEIGHT, 15.0, DRAKE)
    T = np.linspace(-20, 200, 12)
    np.testing.assert_allclose(
        tension(excess, ruling_span([280.0] * 7), WEIGHT, T, DRAKE).horizontal_tension,
        tension(alone, 280.0, WEIGHT, T, DRAKE).horizontal_tension, rtol=1e-7)
