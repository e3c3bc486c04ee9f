"""Wires of other lines hang as catenaries, also where they are kept as straight pieces between places.

Held against `C cosh` about the low point, which scipy finds.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq

from corridor.assessment import make_scene
from corridor.clearance.both_ends import TautWires, less_favourable
from corridor.clearance.checked import Checked
from corridor.clearance.crossings import cross, index_obstacles
from corridor.clearance.ground import ground_rows
from corridor.clearance.other_lines import as_swept, sides
from corridor.line.facts import Case, OtherState
from corridor.line.swing import to_grid

from .common import draped, findings, framings, obstacles, one_wire, option, rows_where, rules_of, structures

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


CASES = Case("still", 10.0, checks=("vertical",)), Case("swung", 10.0, wind=300.0, checks=("vertical",))


@pytest.mark.parametrize("order", [1, -1])
def test_in_wind_each_wire_passes_on_the_side_that_it_has_at_rest(tmp_path, order):
    """One line of theirs goes below the first span and, 8 m higher, above the second; a third wire of ours, beside its
    end, meets it in the swing alone, as the other wire of that span does."""
    line = structures([0, 300, 600][::order], [0, 0, 0], base=[0.0] * 3)
    one = framings([("F", "a", "phase", 0.0, 20.0, "post", 0, 0), ("F", "b", "phase", 6.0 * order, 20.0, "post", 0, 0)])
    low, high = 6.0, 28.0
    theirs = shapely.LineString([(150, -60, low), (150, 60, low), (450, 60, high), (450, -2, high)])
    rules = rules_of(tmp_path, [("line", "vertical", 3)])
    found, facts, plan = findings(line, one, rules, ground=lambda e, n: 0.0 * e, cases=CASES, method="equilibrium",
                                  things=obstacles([("line", theirs, True, np.nan, 0.0)]), options=(option(),))
    table, scene = found["clearances"], make_scene(facts, plan, 0, 1)[0]
    rows = rows_where(table, against="line", measure="vertical", case="swung")
    got = {table["span"][row]: (table["position"][row], table["actual_m"][row]) for row in rows}
    first, second = ("T1-T2", "T2-T3")[::order]
    w, grid = np.arange(4), []
    for swing in np.linspace(-1, 1, 401):
        place = scene.ways.places(scene.way(w, 0 * w, 1 + 0 * w), np.full((4, 1), swing), np.linspace(0, 1, 601)[None])
        grid.append(to_grid(place, scene.structures, scene.spans, scene.wires.span)[:, 0])
    grid = np.stack(grid, axis=1)
    east, north, z = np.moveaxis(grid, -1, 0)
    at_first, at_second = np.abs(east - 150) < 0.3, (np.abs(east - 450) < 0.3) & (north >= -2)
    assert got[first] == ("above", pytest.approx(z[at_first].min() - low, abs=2e-3))
    assert got[second] == ("below", pytest.approx(high - z[at_second].max(), abs=2e-3))
    assert got[first][1] > 3 and got[second][1] > 3


@pytest.mark.parametrize(("position", "kept"), [("below", [2.0, 1.5]), ("above", [1.5])])
def test_a_nearer_wire_below_hides_none_above(position, kept):
    """Two wires of a span pass a line on either side: limits look at the one above alone, so its row stays where the
    other, at the other end of its history, is nearer. On one side the nearer counts."""
    def row(wire, where, actual):
        text, number = (lambda v: np.array([v], object)), (lambda v: np.array([v]))
        return Checked(number(wire), number(0), number(0), number(4), text("vertical"), text(where), number(actual),
                       *(number(0.5) for _ in range(4)))

    scene, other = (SimpleNamespace(wires=SimpleNamespace(span=np.zeros(2, int))) for _ in range(2))
    found = less_favourable(scene, TautWires(other, np.arange(2)), lambda those, _: (
        row(0, "above", 2.0) if those is scene else row(1, position, 1.5)))
    assert found.actual.tolist() == kept and found.taut.tolist() == [actual < 2 for actual in kept]
