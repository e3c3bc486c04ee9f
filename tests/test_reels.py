"""Reels and joints, against every way of cutting in steps of a metre."""

from itertools import pairwise

import numpy as np
import pytest

from corridor.installation.reels import joints_of


@pytest.mark.parametrize("seed", range(30))
def test_joints_keep_every_rule_and_no_fewer_would_do(seed):
    rng = np.random.default_rng(seed)
    lengths, allowed = rng.integers(150, 500, 7).astype(float), rng.random(7) < 0.6
    reel, distance = float(rng.integers(450, 1500)), float(rng.integers(0, 60))
    found = joints_of(lengths, allowed, reel, distance=distance)
    least = fewest(lengths, allowed, reel, distance)
    assert (found is None) == (least is None)
    if found is None:
        return
    assert len(found) == least
    ends = np.r_[0.0, np.cumsum(lengths)]
    places = [ends[joint.span] + joint.along for joint in found]
    for joint in found:
        assert allowed[joint.span] and distance <= joint.along <= lengths[joint.span] - distance
    assert all(b - a <= reel + 1e-9 for a, b in pairwise([0.0, *places, ends[-1]]))
    assert [joint.wire for joint in found] == pytest.approx([b - a for a, b in pairwise([0.0, *places])])


def fewest(lengths, allowed, reel, distance):
    """By breadth first over all places, a metre apart; lengths are whole, so no better lies between."""
    ends = np.r_[0.0, np.cumsum(lengths)]
    places = np.concatenate([np.arange(a + distance, b - distance + 0.5) for a, b, able in
                             zip(ends[:-1], ends[1:], allowed, strict=True) if able] or [np.zeros(0)])
    reached, count = np.zeros(1), 0
    seen = set()
    while len(reached):
        if (ends[-1] - reached <= reel).any():
            return count
        after = [p for p in places if p not in seen and ((p > reached) & (p - reached <= reel)).any()]
        seen.update(after)
        reached, count = np.array(after), count + 1
    return None
