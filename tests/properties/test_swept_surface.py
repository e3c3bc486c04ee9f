"""The nearest place of a wire, in still air and through its blow, against looking everywhere along it.

Brute force; no outside source. What is told is the distance of a place of the wire, so it is never too near; too far
by a millimetre it would make a violation a pass.
"""

import numpy as np
import pytest

from corridor.clearance.swept_surface import SweptSurface

#: Shares and swings that are looked at.
SHARES, SWINGS = np.linspace(0, 1, 4001), np.linspace(-1, 1, 201)


class _Ways:
    """Level and steep catenaries that turn about the chord by up to half a right angle."""

    def __init__(self, seed):
        random = np.random.default_rng(seed)
        self.span, self.rise = random.uniform(60, 700, 4), random.uniform(-60, 60, 4)
        self.constant, self.windy = random.uniform(500, 2500, 4), np.ones(4, bool)

    def places(self, path, swing, share):
        """Places (row, swing, place, 3)."""
        S, h, C = (v[path][:, None, None] for v in (self.span, self.rise, self.constant))
        t, angle = share[:, None], swing[..., None] * np.pi / 4
        sag = C * (np.cosh(S / 2 / C) - np.cosh((t - 0.5) * S / C))
        parts = t * S + 0 * angle, sag * np.sin(angle), 20 + h * t - sag * np.cos(angle)
        return np.stack(np.broadcast_arrays(*parts), axis=-1)


@pytest.mark.parametrize("windy", [False, True])
@pytest.mark.parametrize("seed", range(6))
def test_no_place_is_nearer(seed, windy):
    ways, random = _Ways(seed), np.random.default_rng(100 + seed)
    surface = SweptSurface(ways, np.arange(4), windy)
    wire = np.repeat(np.arange(4), 12)
    radius = np.where(random.random(48) < 0.5, 0.0, random.uniform(0, 6, 48))
    # Beside, below, above and beyond the ends of wires; the ground is solid, so above counts as level with it.
    spot = np.stack([random.uniform(-0.1, 1.1, 48) * ways.span[wire], random.uniform(-30, 30, 48),
                     random.uniform(-40, 40, 48)], axis=1)
    feet = surface.nearest(wire, spot, *surface.first(wire, spot), radius)
    place, share = surface.exactly(wire, spot, feet.turn, feet.share, radius)

    def away(place, spot, radius):
        off = place - spot
        return np.hypot(np.maximum(np.hypot(off[..., 0], off[..., 1]) - radius, 0), np.maximum(off[..., 2], 0))

    told, swings = away(place, spot, radius), SWINGS if windy else np.zeros(1)
    for row, each in enumerate(wire):
        # Look everywhere, then finely about the best.
        turn, along = swings, SHARES[::20] if windy else SHARES
        for _ in range(3 if windy else 2):
            found = away(ways.places(np.array([each]), turn[None], along[None])[0], spot[row], radius[row])
            u, s = np.unravel_index(found.argmin(), found.shape)
            step = along[1] - along[0], turn[1] - turn[0] if windy else 0.0
            along = np.clip(along[s] + step[0] * np.linspace(-1, 1, 41), 0, 1)
            turn = np.clip(turn[u] + step[1] * np.linspace(-1, 1, 41), -1, 1) if windy else turn
        assert told[row] <= found.min() + 1e-3
    assert ((share >= 0) & (share <= 1)).all()
