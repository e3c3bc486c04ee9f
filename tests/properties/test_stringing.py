"""Stringing limits: the governing one is met exactly and no other is exceeded, whatever the section.

Tensions at supports are checked with `H cosh` about a bisected low point; independent roots with scipy.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar

from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.ruling_span import ruling_span, tension
from corridor.mechanics.stringing import (
    greatest_tension,
    horizontal_tension_for,
    least_tension,
    loaded_plane,
)
from tests.sections_of_wire import string_to_limits

from ..common import SECTIONS, STEEL_CORED, WEIGHT

sections = st.sampled_from(sorted(SECTIONS))


def support_tension(H, spans, rises, w, p):
    """Maximum tension at any support, from the catenary in the plane of the load: `T = H cosh(x/C)`."""
    q = np.hypot(w, p)
    C, greatest = H / q, 0.0
    for S, h in zip(spans, rises, strict=True):
        if np.isnan(S):
            continue
        tilted = h * w / q
        across = np.sqrt(S**2 + (h * p / q) ** 2)
        x0 = brentq(lambda x, S=across, h=tilted: 2 * C * np.sinh(S / (2 * C)) * np.sinh((S - 2 * x) / (2 * C)) - h,
                    -20 * C, across + 20 * C, xtol=1e-10)
        greatest = max(greatest, H * np.cosh(x0 / C), H * np.cosh((across - x0) / C))
    return greatest


@settings(max_examples=50, deadline=None)
@given(sections, st.floats(8e3, 6e4), st.floats(0.8, 2.5), st.floats(0, 25))
def test_greatest_tension(name, H, heavier, p):
    spans, rises = SECTIONS[name]
    got = greatest_tension(H, np.array(spans), np.array(rises), heavier * WEIGHT, p)
    assert got == pytest.approx(support_tension(H, spans, rises, heavier * WEIGHT, p), rel=1e-8)


def three_limits(name, share, cold, constant, ice, p):
    """A tension at ice and wind, one at everyday temperature, and a constant in the cold; index of the governing."""
    spans, rises = (np.array(v)[None] for v in SECTIONS[name])
    bounds = np.array([55e3, share * 140e3, constant])
    is_constant = np.array([False, False, True])
    w, wind = np.array([WEIGHT + ice, WEIGHT, WEIGHT]), np.array([p, 0.0, 0.0])
    T = np.array([-5.0, 15.0, cold])
    part = TwoPart(*(np.broadcast_to(v, 3) for v in STEEL_CORED))
    part = part._replace(outer_set=np.array([0.0, 4e-4, 0.0]))
    args = spans, rises, ruling_span(spans), w, wind, T, part
    return bounds, is_constant, args


def reached(excess, is_constant, args):
    """What each limit's state comes to: constant, or tension at the worst support."""
    spans, rises, span, w, p, T, part = args
    q = np.hypot(w, p)
    H = tension(excess, span, q, T, part).horizontal_tension
    by_tension = [support_tension(H[i], spans[0], rises[0], w[i], p[i]) for i in range(len(H))]
    return np.where(is_constant, H / q, by_tension)


@settings(max_examples=60, deadline=None)
@given(sections, st.floats(0.1, 0.35), st.floats(-40, 0), st.floats(900, 2500), st.floats(0, 20), st.floats(0, 15))
def test_governing_limit_is_met_and_no_other_exceeded(name, share, cold, constant, ice, p):
    bounds, is_constant, args = three_limits(name, share, cold, constant, ice, p)
    excess, governing = string_to_limits(bounds, is_constant, *args)
    assert np.isfinite(excess) and governing >= 0
    ratio = reached(float(excess), is_constant, args) / bounds
    # 1e-9 of strain is 0.03 N of E A: 1e-5 of the least bound at worst.
    assert ratio[governing] == pytest.approx(1, abs=1e-5)
    assert (ratio <= 1 + 1e-5).all()


@settings(max_examples=30, deadline=None)
@given(sections, st.floats(0.1, 0.35), st.floats(1.0, 3.0))
def test_looser_limits(name, share, looser):
    """To loosen what does not govern changes nothing; to loosen what does never gives a slacker wire."""
    bounds, is_constant, args = three_limits(name, share, -20.0, 1500.0, 10.0, 8.0)
    excess, governing = string_to_limits(bounds, is_constant, *args)
    others = np.arange(3) != int(governing)
    same, still = string_to_limits(np.where(others, looser * bounds, bounds), is_constant, *args)
    assert same == excess and still == governing
    taut, _ = string_to_limits(np.where(others, bounds, looser * bounds), is_constant, *args)
    assert taut <= excess


def test_one_limit_alone_and_none():
    """The only limit governs; without any there is no answer."""
    bounds, is_constant, args = three_limits("over a hill", 0.2, -20.0, 1500.0, 10.0, 8.0)
    for only in range(3):
        alone = np.where(np.arange(3) == only, bounds, np.nan)
        excess, governing = string_to_limits(alone, is_constant, *args)
        assert governing == only
        assert reached(float(excess), is_constant, args)[only] == pytest.approx(bounds[only], rel=1e-5)
    excess, governing = string_to_limits(np.full(3, np.nan), is_constant, *args)
    assert np.isnan(excess) and governing == -1


def test_one_limit_that_cannot_be_met_leaves_no_answer():
    """Even where another could: 3 kN at a support cannot hold up 420 m of this wire."""
    bounds, is_constant, args = three_limits("over a hill", 0.2, -20.0, 1500.0, 10.0, 8.0)
    excess, governing = string_to_limits(np.array([55e3, 3e3, 1500.0]), is_constant, *args)
    assert np.isnan(excess) and governing == -1


def test_sections_at_once_equal_one_by_one():
    spans, rises = np.array(list(SECTIONS.values())).transpose(1, 0, 2)
    bounds, is_constant, args = three_limits("level", 0.2, -20.0, 1500.0, 10.0, 8.0)
    ruling = ruling_span(spans)[:, None]
    together = string_to_limits(np.tile(bounds, (len(spans), 1)), is_constant, spans[:, None], rises[:, None],
                                ruling, *args[3:])
    for r, name in enumerate(SECTIONS):
        bounds, is_constant, args = three_limits(name, 0.2, -20.0, 1500.0, 10.0, 8.0)
        excess, governing = string_to_limits(bounds, is_constant, *args)
        assert together[0][r] == pytest.approx(float(excess), abs=1e-10)
        assert together[1][r] == governing


@settings(max_examples=50, deadline=None)
@given(sections, st.floats(1.0001, 1.2) | st.floats(1.15, 12))
def test_horizontal_tension_against_an_independent_root(name, times):
    """Limits from just above the least that can hold the section; the taut one of the two roots."""
    spans, rises = SECTIONS[name]
    least, H_least = least_of(spans, rises)
    limit = times * least
    H = brentq(lambda H: support_tension(H, spans, rises, WEIGHT, 0.0) - limit, H_least, limit, rtol=1e-12)
    got = horizontal_tension_for(limit, np.array(spans), np.array(rises), WEIGHT, 0.0)
    assert float(got) == pytest.approx(H, rel=1e-5)


def least_of(spans, rises):
    """Least maximum tension of a section and its H [N], by SciPy."""
    found = minimize_scalar(lambda t: support_tension(np.exp(t), spans, rises, WEIGHT, 0.0), method="bounded",
                            bounds=np.log(WEIGHT * np.nanmax(spans) * np.array([0.05, 5.0])), options={"xatol": 1e-10})
    return found.fun, np.exp(found.x)


@pytest.mark.parametrize("name", SECTIONS)
def test_below_the_least_tension_nothing_hangs_and_above_it_does(name):
    """The criterion that tells a section that cannot be strung from one whose tension was not found."""
    spans, rises = (np.array(v) for v in SECTIONS[name])
    least, place = least_tension(spans, rises, WEIGHT, 0.0)
    assert float(least) == pytest.approx(least_of(spans, rises)[0], rel=1e-9)
    alone = least_tension(spans[place : place + 1], rises[place : place + 1], WEIGHT, 0.0)[0]
    assert alone <= least
    limits = least * np.array([0.9, 0.999, 0.99999, 1.00001, 1.001, 1.1])
    found = horizontal_tension_for(limits, spans, rises, WEIGHT, 0.0)
    assert np.isfinite(found).tolist() == [False, False, False, True, True, True]
    # Half as heavy a wire is held up by half of the tension.
    assert float(least_tension(spans, rises, WEIGHT / 2, 0.0)[0]) == pytest.approx(least / 2, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.floats(20, 900), st.floats(-300, 300), st.floats(1, 60), st.floats(0, 60))
def test_leaning_plane(S, h, w, p):
    """Legs of the same chord; wind from either side is the same; without wind the plane is plumb."""
    span, rise = loaded_plane(S, h, w, p)
    assert np.hypot(span, rise) == pytest.approx(np.hypot(S, h), rel=1e-12)
    assert rise * np.hypot(w, p) == pytest.approx(h * w, rel=1e-12, abs=1e-12)
    assert loaded_plane(S, h, w, -p) == (span, rise)
    assert loaded_plane(S, h, w, 0.0) == pytest.approx((S, h), rel=1e-12)
