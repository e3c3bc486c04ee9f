"""Wires of other lines hang as catenaries, also where they are kept as straight pieces between places.

Held against `C cosh` about the low point, which scipy finds.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq

from corridor.clearance.crossings import cross, index_obstacles
from corridor.clearance.ground import ground_rows
from corridor.clearance.other_lines import as_swept, sides
from corridor.line.facts import OtherState

from .common import draped, obstacles, one_wire

#: Theirs runs north between these, slack, across ours 20 m on.
SOUTH, NORTH, SLACK, TAUT, KEPT = (150.0, -20.0, 160.0), (150.0, 380.0, 190.0), 470.0, 700.0, 17


def hangs(place, C):
    """Elevation of theirs at places of its length [m]."""
    S, rise = NORTH[1] - SOUTH[1], NORTH[2] - SOUTH[2]
    low = brentq(lambda x: C * (np.cosh((S - x) / C) - np.cosh(x / C)) - rise, -5 * S, 5 * S, xtol=1e-12)
    return SOUTH[2] + C * (np.cosh((place - low) / C) - np.cosh(low / C))


@pytest.fixture
def theirs():
    """The other line as the inputs keep it: 17 places of it without load; slack above ours, taut below."""
    y = np.linspace(0, NORTH[1] - SOUTH[1], KEPT)
    shape = shapely.linestrings(np.column_stack([np.full(KEPT, SOUTH[0]), SOUTH[1] + y, hangs(y, TAUT)]))
    state = OtherState(np.tile(SOUTH, (2, 1)), np.tile(NORTH, (2, 1)), np.full(2, 400.0), np.array([TAUT, SLACK]),
                       ([0], [0]), ([1], [1]), ("", ""), ("", ""))
    states = np.empty(1, object)
    states[:] = [state]
    return replace(obstacles([("line", shape, True, np.nan, 0.0)]), states=states)


@pytest.mark.parametrize(("over", "side"), [(0.03, 1), (-0.03, -1)])
def test_which_is_the_upper_is_told_by_how_theirs_hangs(theirs, over, side):
    """Ours is 3 cm over theirs, but below the straight line between the places that theirs is kept in; and as far
    below it."""
    off = 12.5
    wire = hangs(off, TAUT) + over
    straight = (hangs(0.0, TAUT) + hangs(25.0, TAUT)) / 2
    assert straight > wire + 0.03
    wires = one_wire((0, SOUTH[1] + off, wire), (300, SOUTH[1] + off, wire))[3]
    index = index_obstacles(theirs)
    below = ground_rows(wires, *draped(lambda e, n: 0.0 * e, *wires.start[:, :2].T, *wires.end[:, :2].T))
    crossed = cross(wires, index, below, lambda e, n: 0.0 * e)
    # So taut that it is straight, to a micrometre.
    assert sides(wires, crossed, np.full((1, 2), 1e10), theirs, np.array([0, 1])).tolist() == [side]


@pytest.mark.parametrize("below", [True, False])
def test_straight_pieces_are_on_the_safe_side(theirs, below):
    """Where ours pass below theirs in wind, no piece of theirs is above where it hangs, nor more than 2 cm below; where
    they pass above, the other way round."""
    index = as_swept(index_obstacles(theirs), np.array([below]), np.array([0, 1]))
    xyz = shapely.get_coordinates(index.part[0], include_z=True)
    y = np.linspace(0, NORTH[1] - SOUTH[1], 5001)
    off = (np.interp(y, xyz[:, 1] - SOUTH[1], xyz[:, 2]) - hangs(y, SLACK if below else TAUT)) * (-1 if below else 1)
    assert off.min() >= -1e-9 and off.max() < 0.02
