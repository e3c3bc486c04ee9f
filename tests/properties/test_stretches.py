"""Wires over and under things, and the stretches that are in violation: by hand and by brute force.

In plan, stretches are found by cutting the wire at half-planes or at segments; heights by `C cosh`
about a bisected low point; ends of every violation by scipy's `brentq`.
"""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq

from corridor.clearance.crossings import cross, ground_as_crossed, index_obstacles, part_tops
from corridor.clearance.ground import ground_rows, unknown_share
from corridor.clearance.other_lines import sides
from corridor.clearance.vertical import past_in_still_air
from corridor.geometry.surface_rows import surface_at
from corridor.line.facts import Limit

from ..common import draped, findings, framings, obstacles, one_wire, option, rows_where, rules_of, structures, wire

STILL = np.array([0])


def slope(e, n):
    """A plane: 5 m up for 100 m east, 8 m for 100 m north."""
    return 100 + 0.05 * e + 0.08 * n


def crossing(start, end, things, sample=slope):
    """One wire over things on a ground: wires, the rows of both, and the index."""
    _, _, _, wires, _ = one_wire(start, end)
    profile = draped(sample, *wires.start[:, :2].T, *wires.end[:, :2].T)
    below = ground_rows(wires, *profile)
    index = index_obstacles(things)
    return wires, below, cross(wires, index, below, sample), index


def scene_of(wires):
    """Of wires along the first axis of the frame."""
    return SimpleNamespace(wires=wires, frame=SimpleNamespace(start=wires.start, end=wires.end))


def ends_of(crossed):
    """Ends of every stretch [-]."""
    first = crossed.rows.first
    return np.stack([crossed.rows.fraction[first[:-1]], crossed.rows.fraction[first[1:] - 1]], axis=1)


def clip(start, end, ring):
    """Part of a segment inside a convex ring (counter-clockwise), as shares: cut at each edge's half-plane."""
    low, high, d = 0.0, 1.0, end - start
    for a, b in zip(ring[:-1], ring[1:], strict=True):
        normal = np.array([a[1] - b[1], b[0] - a[0]])
        at, going = (start - a) @ normal, d @ normal
        if abs(going) < 1e-12:
            if at < 0:
                return None
            continue
        share = -at / going
        low, high = (max(low, share), high) if going > 0 else (low, min(high, share))
    return (low, high) if low < high else None


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_convex_areas_are_cut_by_half_planes(seed):
    rng = np.random.default_rng(seed)
    hulls = [shapely.orient_polygons(shapely.convex_hull(shapely.MultiPoint(rng.uniform(-60, 60, (6, 2)) + c)))
             for c in rng.uniform(0, 300, (4, 2))]
    start, end = np.array([0.0, 20, 150]), np.array([300.0, 250, 160])
    things = obstacles([("water", hull, False, 2.0, np.nan) for hull in hulls])
    wires, below, crossed, _ = crossing(start, end, things)
    want = {k: clip(start[:2], end[:2], shapely.get_coordinates(hull)) for k, hull in enumerate(hulls)}
    want = {k: v for k, v in want.items() if v and v[1] - v[0] > 1e-9}
    got = {k: v for k, v in zip(crossed.obstacle, ends_of(crossed), strict=True) if v[1] - v[0] > 1e-9}
    assert set(got) == set(want)
    for k, ends in got.items():
        np.testing.assert_allclose(ends, want[k], atol=1e-9)


def test_things_on_the_ground_follow_it():
    """Top everywhere the plane's height below the wire and 2 m; to the nodes of every stretch."""
    area = shapely.box(100, -50, 180, 50)
    wires, below, crossed, _ = crossing((0, 10, 150), (300, 10, 160), obstacles([("water", area, False, 2.0, np.nan)]))
    place = crossed.rows.fraction
    np.testing.assert_allclose(crossed.rows.surface, slope(300 * place, 10.0) + 2, atol=1e-9)
    np.testing.assert_allclose(ends_of(crossed), [(100 / 300, 180 / 300)], atol=1e-12)


def test_area_in_two_arms_and_area_in_two_parts():
    """A U crossed at both its arms, and a double area, give two stretches each, of one thing."""
    arms = shapely.box(40, -30, 60, 30), shapely.box(100, -30, 120, 30)
    two = shapely.union_all([*arms, shapely.box(40, 20, 120, 30)])
    apart = shapely.MultiPolygon([shapely.box(150, -9, 170, 9), shapely.box(200, -9, 230, 9)])
    things = obstacles([("water", two, False, 1.0, np.nan), ("water", apart, False, 1.0, np.nan)])
    _, _, crossed, _ = crossing((0, 0, 150), (300, 0, 160), things)
    assert crossed.obstacle.tolist() == [0, 0, 1, 1]
    np.testing.assert_allclose(ends_of(crossed) * 300, [(40, 60), (100, 120), (150, 170), (200, 230)], atol=1e-9)


@settings(max_examples=40, deadline=None)
@given(st.floats(10, 290), st.floats(-60, 60), st.floats(5, 100), st.floats(120, 160), st.floats(-15, 15))
def test_line_of_its_own_elevation(at, lean, reach, z, fall):
    """Crossed where two segments meet, at the elevation in proportion along the line; a level wire above."""
    line = shapely.LineString([(at - lean, -reach, z), (at + lean, reach, z + fall)])
    things = obstacles([("line", line, True, np.nan, np.nan)])
    wires, _, crossed, _ = crossing((0, 0, 180), (300, 0, 190), things)
    np.testing.assert_allclose(ends_of(crossed), [(at / 300, at / 300)], atol=1e-9)
    np.testing.assert_allclose(crossed.rows.surface, z + fall / 2, atol=1e-6)
    got = past_in_still_air(scene_of(wires), crossed, np.ones(1), np.array([[[1500.0]]]), STILL)
    height = 180 + wire(at, 300.0, 10.0, 1500.0) - z - fall / 2
    assert got.actual[0] == pytest.approx(height, abs=1e-6) and got.position[0] == "above"


def test_line_on_the_ground_and_wide_line():
    """A road's edge is 4 m from its middle line, 4/cos 30 deg along a wire that crosses it slanting."""
    slanting = shapely.LineString([(100 - 50 * np.tan(np.pi / 6), -50), (100 + 50 * np.tan(np.pi / 6), 50)])
    things = obstacles([("road", slanting, False, 1.0, np.nan), ("road", slanting, False, 1.0, 4.0)])
    _, _, crossed, _ = crossing((0, 0, 150), (300, 0, 160), things)
    wide = 4 / np.cos(np.pi / 6)
    # Circles are drawn with corners, up to 0.5 % off.
    np.testing.assert_allclose(ends_of(crossed) * 300, [(100, 100), (100 - wide, 100 + wide)], atol=0.005 * wide)
    np.testing.assert_allclose(crossed.rows.surface, slope(crossed.rows.fraction * 300, 0.0) + 1, atol=1e-9)


def test_crown_of_a_tree_and_bare_point():
    """A crown of 5 m, 3 m beside the wire, is below it for 8 m; a point without a radius never is."""
    things = obstacles([("tree", shapely.Point(80, 3), False, 12.0, 5.0),
                        ("tree", shapely.Point(150, 0), False, 12.0, np.nan)])
    _, _, crossed, _ = crossing((0, 0, 150), (300, 0, 160), things)
    assert crossed.obstacle.tolist() == [0]
    np.testing.assert_allclose(ends_of(crossed) * 300, [(76, 84)], atol=0.05)


def test_line_along_the_wire():
    """A fence below the wire for 60 m is a stretch, not a point."""
    fence = shapely.LineString([(50, 0), (80, 0), (110, 0), (110, 40)])
    _, _, crossed, _ = crossing((0, 0, 150), (300, 0, 160), obstacles([("fence", fence, False, 1.5, np.nan)]))
    ends = ends_of(crossed) * 300
    assert ends.min() == pytest.approx(50, abs=1e-9) and ends.max() == pytest.approx(110, abs=1e-9)
    assert np.ptp(ends, axis=1).sum() == pytest.approx(60, abs=1e-9)


def test_roof_on_a_slope_is_level_at_its_highest_foot():
    """8 m above the highest corner of the outline; one with an elevation of its own has that."""
    house = shapely.box(100, -20, 120, 30)
    solid = shapely.Polygon([(200, -5, 140), (220, -5, 140), (220, 5, 143), (200, 5, 143)])
    things = obstacles([("building", house, False, 8.0, np.nan), ("building", solid, True, np.nan, np.nan)])
    _, _, crossed, index = crossing((0, 0, 150), (300, 0, 160), things)
    tops = dict(zip(crossed.obstacle, crossed.rows.surface[crossed.rows.first[:-1]], strict=True))
    assert tops[0] == pytest.approx(slope(120, 30) + 8) and tops[1] == 143
    assert all(np.ptp(crossed.rows.surface[a:b]) == 0 for a, b in
               zip(crossed.rows.first[:-1], crossed.rows.first[1:], strict=True))
    np.testing.assert_allclose(part_tops(index, slope, np.ones(2, bool)), [tops[0], 143])


def known_west(e, n):
    return np.where(e < 110, slope(e, n), np.nan)


HOUSE = obstacles([("building", shapely.box(100, -20, 120, 30), False, 8.0, np.nan)])


def test_roof_over_unknown_ground_is_unknown():
    """And no warning of numpy's comes with it: those are errors here."""
    _, _, crossed, _ = crossing((0, 0, 150), (300, 0, 160), HOUSE, known_west)
    assert np.isnan(crossed.rows.surface).all() and unknown_share(crossed.rows)[0] > 0


@pytest.mark.parametrize(("z", "side", "position"), [(120.0, 1, "above"), (170.0, -1, "below")])
def test_above_or_below_another_line(z, side, position):
    """The distance is positive on the side where the wire is; wires of two states, the looser one governs."""
    line = shapely.LineString([(100, -50, z), (100, 50, z)])
    wires, _, crossed, index = crossing((0, 0, 150), (300, 0, 150), obstacles([("line", line, True, np.nan, np.nan)]))
    constants = np.array([[[2500.0, 900.0]]])
    got_side = sides(wires, crossed, constants[:, 0], index.obstacles, np.array([0, 1]))
    assert got_side.tolist() == [side]
    got = past_in_still_air(scene_of(wires), crossed, got_side, constants, np.array([0, 1]))
    heights = [150 + wire(100.0, 300.0, 0.0, C) for C in (2500.0, 900.0)]
    np.testing.assert_allclose(got.actual, [side * (y - z) for y in heights], atol=1e-6)
    assert list(got.position) == [position] * 2
    np.testing.assert_allclose(got.other, z, atol=1e-6)
    np.testing.assert_allclose(got.elevation, heights, atol=1e-6)


def test_line_between_the_states_of_a_wire_is_passed_over():
    """The taut wire is above it: then so it shall be in every state, and the slack one is in violation."""
    line = shapely.LineString([(150, -50, 145.0), (150, 50, 145.0)])
    wires, _, crossed, index = crossing((0, 0, 150), (300, 0, 150), obstacles([("line", line, True, np.nan, np.nan)]))
    constants = np.array([[[2500.0, 900.0]]])
    side = sides(wires, crossed, constants[:, 0], index.obstacles, np.array([0, 1]))
    got = past_in_still_air(scene_of(wires), crossed, side, constants, np.array([0, 1]))
    assert side.tolist() == [1] and got.actual[0] > 0 > got.actual[1]


def test_things_below_two_spans_do_not_hide_each_other(tmp_path):
    """Two halls, the later of the list below the earlier span: each has the row that it has alone."""
    line = structures([0, 300, 600], [0, 0, 0], base=[0.0] * 3)
    one = framings([("F", "a", "phase", 0.0, 20.0, "suspension", 2.5, 40.0)])
    halls = [("building", shapely.box(e, -5, e + 40, 5), False, height, 0.0) for e, height in ((430, 6.0), (130, 3.0))]
    rules = rules_of(tmp_path, [("building", "vertical", 3)])

    def rows(things):
        found = findings(line, one, rules, ground=lambda e, n: 0.0 * e, things=obstacles(things))[0]["clearances"]
        at = rows_where(found, against="building", measure="vertical")
        return sorted(zip(found["span"][at], np.round(found["actual_m"][at], 9), strict=True))

    both = rows(halls)
    assert [span for span, _ in both] == ["T1-T2", "T2-T3"]
    assert both == sorted(rows(halls[:1]) + rows(halls[1:]))


def test_only_lines_are_passed_under():
    road = shapely.LineString([(150, -50, 170.0), (150, 50, 170.0)])
    wires, _, crossed, index = crossing((0, 0, 150), (300, 0, 150), obstacles([("road", road, True, np.nan, np.nan)]))
    assert sides(wires, crossed, np.array([[1500.0]]), index.obstacles, STILL).tolist() == [1]


def test_ground_is_compared_at_the_worst_wire():
    wires, below, _, _ = crossing((0, 0, 150), (300, 0, 160), obstacles([("road", shapely.Point(0, 99), False, 1, 1)]))
    got = past_in_still_air(scene_of(wires), ground_as_crossed(below), np.ones(1), np.array([[[1500.0]]]), STILL)
    x = np.linspace(0, 300, 30001)
    assert got.actual[0] == pytest.approx((150 + wire(x, 300.0, 10.0, 1500.0) - slope(x, 0.0)).min(), abs=1e-7)
    assert got.other[0] == pytest.approx(surface_at(*below[:3], np.zeros(1, int), got.fraction)[0], abs=1e-6)


@pytest.mark.parametrize(("S", "rise", "C"), [(300.0, 10.0, 1500.0), (1200.0, 130.0, 1100.0), (1500.0, 60.0, 2000.0)])
def test_wide_water_below_a_long_span(S, rise, C):
    """Water of its own elevation has nine nodes, however wide: a parabola over a quarter of the span.

    It may tell a height that is too low, by the bound for interpolation at most (a few centimetres at the worst,
    0.1 mm in a common span), and never one that is too high.
    """
    water = shapely.Polygon([(1, -50, 40.0), (S - 1, -50, 40.0), (S - 1, 50, 40.0), (1, 50, 40.0)])
    things = obstacles([("water", water, True, np.nan, np.nan)])
    wires, _, crossed, _ = crossing((0, 0, 200), (S, 0, 200 + rise), things)
    got = past_in_still_air(scene_of(wires), crossed, np.ones(1), np.array([[[C]]]), STILL)
    x = np.linspace(1, S - 1, 200_001)
    least = (200 + wire(x, S, rise, C) - 40).min()
    steepest = np.sinh((S / 2 + C * np.arcsinh(rise / (2 * C * np.sinh(S / (2 * C))))) / C)
    bound = steepest / C**2 / 6 * 2 / (3 * np.sqrt(3)) * (S / 8) ** 3
    assert least - bound <= got.actual[0] <= least + 1e-6


# Stretches that are in violation, of a line of one span over a level ground.

POST = framings([("F", "a", "phase", -3.0, 15.0, "post", 0, 0), ("F", "b", "phase", 3.0, 16.0, "post", 0, 0)])
CONSTANT = option(limits=(Limit("1500 m", "constant", 1500.0, 80.0, None, "final"),))


def shortfalls(tmp_path, base, rise, ground, required, *, things=None, pieces=100):
    """Layers of one span of 300 m whose wires hang with C = 1500 m in the case "hot" at 80 °C."""
    line = structures([0, 300], [0, 0], base=[base, base + rise])
    rules = rules_of(tmp_path, [("ground", "vertical", required), ("building", "vertical", required),
                                ("line", "vertical", required)])
    given = {"things": things} if things is not None else {}
    return findings(line, POST, rules, ground=ground, options=(CONSTANT,), pieces=pieces, **given)[0]


def level(e, n):
    return np.zeros(np.shape(e))


@pytest.mark.parametrize("rise", [0.0, 4.0, -12.0])
def test_ends_are_where_the_margin_is_nought(tmp_path, rise):
    """Both wires, from one root to the next or to the structure; ends are linear between nodes 1.5 m apart.

    Near a root the margin bends by 1/C: linear is off by `(1.5 m)^2/8C` of height, over a slope of 0.02: 1 cm.
    """
    layers = shortfalls(tmp_path, 0.0, rise, level, 9.5)
    rows = layers["violation_stretches"]
    x = np.linspace(0, 300, 300_001)
    for name, height in (("a", 15.0), ("b", 16.0)):
        margin = height + wire(x, 300.0, rise, 1500.0) - 9.5
        row = rows_where(rows, wire=name)
        assert len(row) == (margin.min() < 0)
        if not len(row):
            continue
        row = row[0]
        assert rows["length_m"][row] == pytest.approx((margin < 0).sum() * 0.001, abs=0.03)
        assert rows["worst_margin_m"][row] == pytest.approx(margin.min(), abs=1.5**2 / 8 / 1500)
        ends = shapely.get_coordinates(rows["geometry"][row], include_z=True)
        np.testing.assert_allclose(ends[[0, -1], 0], x[margin < 0][[0, -1]], atol=0.02)
        np.testing.assert_allclose(ends[:, 2], height + wire(ends[:, 0], 300.0, rise, 1500.0), atol=1e-6)


def test_ridges_give_a_stretch_each(tmp_path):
    """Ground in waves of 60 m: roots by brentq, one stretch between each two, on both wires."""
    def waves(e, n):
        return 3 * np.sin(np.asarray(e) * np.pi / 30)

    layers = shortfalls(tmp_path, 0.0, 0.0, waves, 7.0, pieces=300)
    rows = layers["violation_stretches"]
    row = rows_where(rows, wire="a")

    def margin(x):
        return 15 + wire(x, 300.0, 0.0, 1500.0) - waves(x, 0) - 7

    x = np.linspace(0, 300, 1001)
    turns = np.flatnonzero(np.diff(np.sign([margin(v) for v in x])))
    roots = [brentq(margin, x[i], x[i + 1]) for i in turns]
    assert len(row) == len(roots) // 2 and len(row) >= 3
    ends = np.sort([shapely.get_coordinates(g)[[0, -1], 0] for g in rows["geometry"][row]], axis=0)
    np.testing.assert_allclose(ends.ravel(), roots, atol=0.01)


def test_worst_stretch_has_the_margin_of_the_violation(tmp_path):
    """The deepest stretch tells what the violation tells, up to the bend between nodes 1.5 m apart."""
    layers = shortfalls(tmp_path, 0.0, 4.0, level, 9.5)
    worst = layers["violation_stretches"]["worst_margin_m"].min()
    violation, = layers["violations"]["margin_m"]
    assert 0 <= worst - violation <= 1.5**2 / 8 / 1500


def test_building_and_line_give_stretches_of_their_own(tmp_path):
    """Over a roof from wall to wall; a crossed line at one place, drawn a metre long but of no length."""
    over = shapely.LineString([(200, -50, 8.0), (200, 50, 8.0)])
    things = obstacles([("building", shapely.box(100, -20, 130, 20), False, 7.0, np.nan),
                        ("line", over, True, np.nan, np.nan)])
    rows = shortfalls(tmp_path, 0.0, 0.0, level, 4.0, things=things)["violation_stretches"]
    roof, point = rows_where(rows, against="building"), rows_where(rows, against="line")
    assert len(roof) == len(point) == 2 and len(rows["length_m"]) == 4
    np.testing.assert_allclose(rows["length_m"][roof], 30, atol=1e-6)
    np.testing.assert_allclose(rows["length_m"][point], 0, atol=1e-9)
    np.testing.assert_allclose(shapely.length(rows["geometry"][point]), 1, atol=1e-6)


def test_nothing_short_gives_no_stretch(tmp_path):
    layers = shortfalls(tmp_path, 0.0, 0.0, level, 3.0)
    assert not len(layers["violations"]["margin_m"]) and not len(layers["violation_stretches"]["length_m"])
    assert len(layers["clearances"]["margin_m"]) == 1


def test_every_violation_has_a_stretch(tmp_path):
    """A roof of 80 m about the low point, short by 5 mm: nodes are 10 m apart, the wire bends 8 mm between two."""
    house = shapely.box(105, -20, 185, 20)
    sag = 1500 * (np.cosh(150 / 1500) - 1)
    things = obstacles([("building", house, False, 15 - sag - 4 + 0.005, np.nan)])
    layers = shortfalls(tmp_path, 0.0, 0.0, level, 4.0, things=things)
    assert rows_where(layers["violations"], against="building").size == 1
    assert rows_where(layers["violation_stretches"], against="building").size >= 1
