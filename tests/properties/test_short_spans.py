"""Sections with spans of 10 to 60 m among ordinary ones: wires are clipped in there too, and hang in every state.

The fixed point that strings turn to is put into the equilibrium, whose Newton must find it in balance as it is.
"""

import numpy as np
import pytest

from corridor.mechanics.clipping import clip_in
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, HELD, Supports

from ..common import STEEL_CORED, WEIGHT

STILL = [[[0.0, 0.0, -WEIGHT]]]
LAW = type(STEEL_CORED)(*(np.array([value]) for value in STEEL_CORED))


def section(seed):
    """A section of 2 to 11 spans, a third of them short, its tension [N], and whether every string is pulled down."""
    draw = np.random.default_rng(seed)
    n = int(draw.integers(2, 12))
    spans = np.where(draw.random(n) < 0.3, draw.uniform(10, 60, n), draw.uniform(150, 500, n))
    rises = spans * draw.uniform(-0.06, 0.06, n)
    inner = (np.arange(n + 1) > 0) & (np.arange(n + 1) < n)
    length = np.where(inner, draw.uniform(0.5, 4), 0.0)
    hinge = np.stack([np.r_[0, np.cumsum(spans)], np.zeros(n + 1), np.r_[0, np.cumsum(rises)] + 20 + length], axis=-1)
    held = Supports(hinge[None], np.where(inner, FREE, HELD)[None], length[None], np.where(inner, 600.0, 0.0)[None],
                    np.zeros((1, n + 1, 3)), np.zeros((1, n + 1)))
    H = draw.uniform(0.10, 0.25) * 140e3
    down = WEIGHT * (spans[:-1] + spans[1:]) / 2 + H * (rises[:-1] / spans[:-1] - rises[1:] / spans[1:])
    return held, H, (down + 300 > 100).all()


@pytest.mark.parametrize("seed", range(60))
def test_sections_with_short_spans_are_clipped_in(seed):
    supports, H, hangs = section(seed)
    if not hangs:
        return
    clipped = clip_in(supports, [H], STILL, [15.0], LAW)
    assert np.isfinite(clipped.unstressed).all()
    same = solve(supports, clipped.unstressed, STILL, [15.0], LAW, tolerance=1e-3)
    np.testing.assert_allclose(same.horizontal_tension, H, rtol=1e-5)
    np.testing.assert_allclose(same.end, clipped.end, atol=1e-3)
    hot = solve(supports, clipped.unstressed, STILL, [90.0], LAW)
    assert np.isfinite(hot.horizontal_tension).all()


def test_most_of_these_sections_hang():
    assert sum(section(seed)[2] for seed in range(60)) > 20
