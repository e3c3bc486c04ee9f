"""Radial distance to uprights, against brute force in space.

A tree or mast is an upright of some radius up to its top. Brute force: distance from places on the
wire, `C cosh` about a bisected low point, to the nearest point of that cylinder.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from corridor.clearance.crossings import index_obstacles
from corridor.clearance.near_shapes import near_shapes
from corridor.clearance.trees import near_points
from corridor.line.hang import Hung
from corridor.line.swing import span_frame
from corridor.line.wire_path import NODES, WirePaths

from ..common import SHAPES, framings, hung, obstacles, one_wire, structures, wire

CASES = np.array([0])


def brute(start, end, C, spot, top, radius, count=200_001):
    """Minimum distance to a cylinder, the place, and the step between places [m]."""
    t = np.linspace(0, 1, count)
    S = np.hypot(*(end - start)[:2])
    plan = start[:2] + t[:, None] * (end - start)[:2]
    z = start[2] + wire(t * S, S, (end - start)[2], C)
    beside = np.maximum(np.hypot(*(plan - spot).T) - radius, 0)
    distance = np.hypot(beside, np.maximum(z - top, 0))
    return distance.min(), t[distance.argmin()], np.hypot(S, np.ptp(z)) / count


def scene_of(line, route, spans, wires, frame, constants, aside):
    """What `near_points` asks of a scene: wires in still air that hang `aside` of where they rest [m]."""
    C = np.asarray(constants, float).reshape(len(wires), -1)
    states, rows, no = C.shape[1], np.arange(C.size), np.zeros(C.size)
    start, end = (np.repeat(point + [0, aside, 0], states, axis=0) for point in (frame.start, frame.end))
    lifted = np.zeros((C.size, 2), bool)
    rest = Hung(C.ravel(), start, end, no, no == 0, no + 1, no, lifted).reshaped(len(wires), states, 1, 1)
    nodes = (np.repeat(v[:, None], NODES, axis=1) for v in (start, end, C.ravel()))
    ways = WirePaths(no > 0, no == 0, no > 0, no, np.r_[rows, C.size], no, no, no + 1, no, *nodes)
    return SimpleNamespace(structures=line, spans=spans, wires=wires, frame=frame, options=range(states),
                           cases=range(1), hung=rest, ways=ways, way=lambda w, o, k: w * states + o,
                           asked=lambda wire, cases: np.nonzero(np.ones((len(wire), states, len(cases)), bool)),
                           reach=SimpleNamespace(around=np.zeros((len(wires), states, 1))))


def nearest(laid, things, constants, tops, *, chosen=True, aside=0.0):
    index = index_obstacles(things)
    return near_points(scene_of(*laid, constants, aside), index, CASES, np.asarray(tops, float),
                       np.full(len(index.part), chosen) & ~np.isnan(tops))


@settings(max_examples=80, deadline=None)
@given(st.sampled_from(sorted(SHAPES)), st.floats(-0.03, 1.03), st.floats(-25, 25), st.floats(-15, 20),
       st.sampled_from([0.0, 0.3, 4.0]))
def test_against_brute_force(name, place, off, below, radius):
    """Tops from 20 m below the wire's nearest place to 15 m above it; also short of and beyond the ends."""
    S, h, C = SHAPES[name]
    place = np.clip(place, -20 / S, 1 + 20 / S)
    start, end = np.array([100.0, 50.0, 200.0]), np.array([100.0 + 0.6 * S, 50 + 0.8 * S, 200 + h])
    spot = start[:2] + place * (end - start)[:2] + off * np.array([0.8, -0.6])
    top = 200 + wire(np.clip(place, 0, 1) * S, S, h, C) - below
    things = obstacles([("tree", shapely.Point(spot), False, 10.0, radius)])
    got = nearest(one_wire(start, end), things, [C], [top])
    if not len(got.wire):
        assert shapely.distance(shapely.Point(spot), shapely.LineString([start[:2], end[:2]])) > 30
        return
    least, where, step = brute(start, end, C, spot, top, radius)
    # The package's last places are millimetres apart; a steep wire passes them faster.
    fine = 0.002 * np.hypot(1, abs(h) / S + S / C)
    assert least - step <= got.actual[0] <= least + fine
    z = start[2] + wire(got.fraction[0] * S, S, h, C)
    assert got.elevation[0] == pytest.approx(z, abs=1e-6)
    if abs(z - top) > 1e-6:
        assert got.position[0] == ("above" if z > top else "beside")


def test_by_hand():
    """3 m beside and 4 m below a level, taut wire: 5 m; with a crown of 3 m: 4 m; into the crown: 0."""
    laid = one_wire((0, 0, 50), (200, 0, 50))
    rows = [("tree", shapely.Point(100, 3), False, 10.0, r) for r in (0.0, 3.0, 3.0)]
    sag = 200**2 / (8 * 1e5)
    got = nearest(laid, obstacles(rows), [1e5], [46 - sag, 46 - sag, 60.0])
    np.testing.assert_allclose(got.actual, [5, 4, 0], atol=1e-3)
    assert list(got.position) == ["above", "above", "beside"]


def test_mirror_of_wire_and_tree():
    shape = SHAPES["falling"]
    S, h, C = shape
    there, back = one_wire((0, 0, 100), (S, 0, 100 + h)), one_wire((S, 0, 100 + h), (0, 0, 100))
    things = obstacles([("tree", shapely.Point(150, 8), False, 10.0, 2.0)])
    a, b = (nearest(laid, things, [C], [70.0]) for laid in (there, back))
    np.testing.assert_allclose(a.actual, b.actual, atol=1e-3)
    np.testing.assert_allclose(a.fraction, 1 - b.fraction, atol=0.01)


def test_worst_wire_of_the_span_and_every_state():
    """Two wires, three states: one row per state, the nearer wire's; slacker is nearer to what is below."""
    line = structures([0, 300], [0, 0], base=[0.0, 0.0])
    laid = line, *hung(line, framings([("F", "far", "phase", -5, 30, "post", 0, 0),
                                       ("F", "near", "phase", 5, 30, "post", 0, 0)]))
    wires = laid[3]
    things = obstacles([("tree", shapely.Point(120, -9), False, 10.0, 1.0)])
    constants = np.array([[3000.0, 1500.0, 1000.0]] * 2)
    got = nearest(laid, things, constants, [15.0])
    assert list(wires.wire[got.wire]) == ["near"] * 3 and got.option.tolist() == [0, 1, 2]
    for row, C in enumerate(constants[0]):
        least, _, step = brute(wires.start[1], wires.end[1], C, np.array([120.0, -9]), 15.0, 1.0)
        assert least - step <= got.actual[row] <= least + 2e-3
    assert (np.diff(got.actual) < 0).all()


def test_what_is_not_chosen_unknown_or_far_is_not_compared():
    laid = one_wire((0, 0, 50), (200, 0, 50))
    things = obstacles([("tree", shapely.Point(100, 3), False, 10.0, 0.0),
                        ("tree", shapely.Point(100, 31), False, 10.0, 0.0),
                        ("wall", shapely.LineString([(50, 5), (60, 5)]), False, 2.0, 0.0)])
    got = nearest(laid, things, [1500.0], [40.0] * 3)
    assert got.obstacle.tolist() == [0]
    assert not len(nearest(laid, things, [np.nan], [40.0] * 3).wire)
    assert not len(nearest(laid, things, [1500.0], [np.nan] * 3).wire)
    assert not len(nearest(laid, things, [1500.0], [40.0] * 3, chosen=False).wire)


@pytest.mark.parametrize("hidden", [False, True])
@pytest.mark.parametrize(("along", "angle"), [(100, 90), (100, -90), (200, 0), (200, 45), (200, -45)])
def test_a_wall_that_climbs_away_from_the_wire(along, angle, hidden):
    """A wall from 2 m to 4 m away from the lowest place of a level wire, or from its end, straight up a slope of 3.5 m
    in 1 m. Its near end is 10 m below the wire, its far end 3 m: that is nearest, 5 m away (3, 4, 5). So it is where no
    ground is known between the ends."""
    z = 50 - (along == 100) * 200**2 / (8 * 1e5)
    ahead, aside = np.cos(np.radians(angle)), np.sin(np.radians(angle))

    def ground(easting, northing):
        away = np.hypot(easting - along, northing)
        return np.where(hidden & (away > 2.5) & (away < 3.5), np.nan, z - 4 - 3.5 * (4 - away))

    line = shapely.LineString([(along + away * ahead, away * aside) for away in (2, 4)])
    index = index_obstacles(obstacles([("wall", line, False, 1.0, 0.0)]))
    got = near_shapes(scene_of(*one_wire((0, 0, 50), (200, 0, 50)), [1e5], 0.0), index, ground, CASES,
                      np.array([z - 3]), np.ones(1, bool), 30.0)
    assert got.actual == pytest.approx([5.0], abs=1e-3)
    assert got.other == pytest.approx([z - 3], abs=1e-3) and list(got.position) == ["above"]


@pytest.mark.parametrize("slope", [0.25, 0.5, 1.0, 1.5, 2.475])
@pytest.mark.parametrize("angle", [30, 45, 60, 75])
def test_a_wall_that_climbs_away_at_a_slant(slope, angle):
    """8 m of wall from 2 m beside a level wire, up to a metre below it: by the distances of 4,001 of its places from a
    straight line, elementary geometry. The least is in between, where the wall is not nearest in plan."""
    z = 50 - 200**2 / (8 * 1e5)
    ahead, aside = np.cos(np.radians(angle)), np.sin(np.radians(angle))

    def ground(easting, northing):
        return z - 2 - slope * (8 - ((easting - 100) * ahead + (northing - 2) * aside))

    line = shapely.LineString([(100, 2), (100 + 8 * ahead, 2 + 8 * aside)])
    index = index_obstacles(obstacles([("wall", line, False, 1.0, 0.0)]))
    got = near_shapes(scene_of(*one_wire((0, 0, 50), (200, 0, 50)), [1e5], 0.0), index, ground, CASES,
                      np.array([z - 1]), np.ones(1, bool), 30.0)
    away = np.linspace(0, 8, 4001)
    assert got.actual == pytest.approx([np.hypot(2 + away * aside, 1 + slope * (8 - away)).min()], abs=1e-3)


@pytest.mark.parametrize("side", [1, -1])
def test_wires_that_strings_hold_aside_of_where_they_rest(side):
    """A taut wire 0.6 m to the right of its rest, 4 m above two masts 3 m to either side: hypot(3 -+ 0.6, 4)."""
    laid = one_wire((0, 0, 50), (200, 0, 50))
    masts = obstacles([("mast", shapely.Point(100, -3), False, 10.0, 0.0),
                       ("mast", shapely.Point(100, 3), False, 10.0, 0.0)])
    got = nearest(laid, masts, [1e7], [46.0, 46.0], aside=0.6 * side)
    right, left = np.hypot(3 - 0.6 * side, 4), np.hypot(3 + 0.6 * side, 4)
    np.testing.assert_allclose(got.actual[np.argsort(got.obstacle)], [right, left], atol=1e-3)


def test_longer_ground_than_grid():
    """Plan distance counts in ground metres: 3 m of the grid are 3.3."""
    line, route, spans, wires, _ = one_wire((0, 0, 50), (200, 0, 50))
    spans = replace(spans, ground_factor=np.full(1, 1.1))
    laid = line, route, spans, wires, span_frame(line, route, spans, wires)
    got = nearest(laid, obstacles([("mast", shapely.Point(100, 3), False, 10.0, 0.0)]), [1e6], [60.0])
    assert got.actual[0] == pytest.approx(3.3, abs=1e-6)
