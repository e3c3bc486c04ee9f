"""A thing of two parts, far apart in the swing of the wire: the nearer one counts, wherever chords saw the lower.

Brute force looks at 801 places of the wire at 1601 swings.
"""

import numpy as np
import pytest
import shapely

from corridor.assessment import Plan, make_scene
from corridor.line.build import lay_out
from corridor.line.facts import Case
from corridor.line.swing import to_grid

from .common import findings, framings, obstacles, option, rows_where, rules_of, structures, unit_factor

LINE = structures([0, 300], [0, 0], base=[0.0, 0.0])
ONE = framings([("F", "a", "phase", 0.0, 20.0, "post", 0, 0)])
CASES = (Case("swung", 40.0, wind=400.0, checks=("vertical",)),)


def level(easting, northing):
    return np.zeros(np.shape(easting))


def assessed(folder, things):
    rules = rules_of(folder, [("building", "vertical", 3)])
    found, facts, _ = findings(LINE, ONE, rules, ground=level, things=things, cases=CASES, method="equilibrium",
                               options=(option(),))
    plan = Plan(*lay_out(LINE, LINE.base_elevation, unit_factor), LINE.base_elevation)
    return found, make_scene(facts, plan, 0, 0)[0]


def places(scene, swings):
    """Places of the wire on the grid, (swing, place, 3)."""
    share = np.linspace(0.4, 0.6, 801)[None]
    return to_grid(scene.ways.places(np.zeros(1, int), swings[None], share), scene.structures, scene.spans,
                   np.zeros(1, int))[0]


def tower(north, south, top):
    return shapely.Polygon([(145, south, top), (155, south, top), (155, north, top), (145, north, top)])


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("lower", [0.02, 0.05, 0.08])
def test_two_towers_far_apart_in_the_swing(tmp_path, side, lower):
    """One stands between the swings at which chords are cut, where the wire has risen; the other below one of these,
    and the wire is nearer to that by a few centimetres."""
    _, scene = assessed(tmp_path, obstacles([("building", tower(91, 90, 1.0), True, np.nan, 0.0)]))
    at = {swing: places(scene, np.array([swing * side]))[0, 400] for swing in (0.75, 0.86, 0.9, -0.5)}
    first = tower(at[0.86][1], at[0.9][1], at[0.86][2] - 8.0)
    second = tower(at[-0.5][1] + 0.1, at[-0.5][1] - 0.1, at[-0.5][2] - 8.0 + lower)
    assert at[0.86][2] - at[0.75][2] > 0.15
    found, scene = assessed(tmp_path, obstacles([("building", shapely.MultiPolygon([first, second]), True, np.nan, 0)]))
    table = found["clearances"]
    row, = rows_where(table, against="building", measure="vertical")
    grid, least = places(scene, np.linspace(-1, 1, 1601)), []
    for part in (first, second):
        inside = shapely.contains_xy(part, *np.moveaxis(grid[..., :2], -1, 0))
        least.append((grid[..., 2][inside] - part.exterior.coords[0][2]).min())
    assert least[1] < least[0] - 0.01
    assert min(least) - 0.01 < table["actual_m"][row] < min(least) + 1e-3


@pytest.mark.parametrize("thick", [0.2, 40.0])
def test_a_wall_across_the_wire_between_two_swings(tmp_path, thick):
    """A wall thinner than a chord is long, and one that many chords lie over, where the wire is between two of the
    swings at which it is cut: the edge of the wall towards the lower swing is nearest."""
    _, scene = assessed(tmp_path, obstacles([("building", tower(91, 90, 1.0), True, np.nan, 0.0)]))
    low, high = (places(scene, np.array([swing]))[0, 400] for swing in (0.86, 0.9))
    top = low[2] - 8.0
    wall = shapely.Polygon([(e, n, top) for e, n in ((151 - thick / 2, high[1]), (151 + thick / 2, high[1]),
                                                     (151 + thick / 2, low[1]), (151 - thick / 2, low[1]))])
    found, scene = assessed(tmp_path, obstacles([("building", wall, True, np.nan, 0.0)]))
    table = found["clearances"]
    row, = rows_where(table, against="building", measure="vertical")
    share = (151 + thick * np.linspace(-0.5, 0.5, 401))[None] / 300
    swings = np.linspace(0.8, 0.95, 1501)
    grid = to_grid(scene.ways.places(np.zeros(1, int), swings[None], share), scene.structures, scene.spans,
                   np.zeros(1, int))[0]
    inside = shapely.contains_xy(wall, *np.moveaxis(grid[..., :2], -1, 0))
    assert table["actual_m"][row] == pytest.approx((grid[..., 2][inside] - top).min(), abs=2e-3)


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize("out", [0.33, 0.42, 0.58, 0.66])
def test_a_line_above_that_ends_within_the_swing(tmp_path, side, out):
    """The wire rises towards it until it is at its end, half-way along one of 32 chords, and passes it farther out."""
    _, scene = assessed(tmp_path, obstacles([("building", tower(91, 90, 1.0), True, np.nan, 0.0)]))
    grid = places(scene, np.linspace(-1, 1, 1601))
    across = np.array([[np.interp(155.0, way[:, 0], way[:, i]) for i in (1, 2)] for way in grid])
    end, top = across[round(800 * (1 + out * side)), 0], across[:, 1].max() + 5.0
    theirs = shapely.LineString([(155, -0.5 * end, top), (155, end, top)])
    rules = rules_of(tmp_path, [("line", "vertical", 3)])
    found, _, _ = findings(LINE, ONE, rules, ground=level, things=obstacles([("line", theirs, True, np.nan, 0.0)]),
                           cases=(Case("still", 40.0, checks=("vertical",)), *CASES), method="equilibrium",
                           options=(option(),))
    table = found["clearances"]
    row, = rows_where(table, against="line", measure="vertical", case="swung")
    met = np.abs(across[:, 0] / end - 0.25) <= 0.75 + 1e-9
    assert table["position"][row] == "below"
    assert table["actual_m"][row] == pytest.approx((top - across[met, 1]).min(), abs=1e-3)
