"""Trees near wires, along the whole swing, and trees that fall, against brute force and by hand.

Brute force: wires solved in very many winds, thousands of places on each, the minimum distance to the crown (an upright
down to the ground) or to the ball about the foot that a falling tree sweeps. That a tree turns about its foot, as a rod
of its height, is common practice, no source.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from corridor.assessment import Plan, make_scene
from corridor.clearance.crossings import index_obstacles
from corridor.clearance.swung_wires import hang_rows
from corridor.clearance.trees import fall_in, feet_of, near_points
from corridor.geometry.catenary import plane_of, points
from corridor.line.build import lay_out
from corridor.line.facts import Case
from corridor.line.swing import to_grid
from tests.end_to_end.conftest import EAST, NORTH, TinyStudy

from .common import findings, framings, obstacles, option, rows_where, rules_of, structures, unit_factor

CASES = (Case("cold", -10.0, checks=("vertical",)), Case("swung", 10.0, wind=400.0, checks=("horizontal",)))
LINE = structures([0, 280, 560], [0, 60, -40], base=[100.0, 118.0, 96.0])
PAIR = framings([("F", "left", "phase", -4.0, 18.0, "suspension", 1.8, 60.0),
                 ("F", "right", "phase", 4.0, 18.0, "suspension", 1.8, 60.0)])
TREES = [(60, 25, 14.0, 0.0), (120, 36, 9.0, 2.0), (150, 22, 16.0, 3.0), (200, 62, 30.0, 1.0), (230, 30, 6.0, 0.0),
         (330, 55, 24.0, 4.0), (420, 30, 20.0, 2.0), (500, -12, 27.0, 0.5)]
FEET = np.array([92.0, 98.0, 92.0, 101.0, 104.0, 94.0, 92.0, 90.0])


def level(easting, northing):
    return np.full(np.shape(easting), 80.0)


@pytest.fixture(scope="module")
def hung(tmp_path_factory):
    """Scene of a line with an angle and steep spans, and the index of its trees."""
    things = obstacles([("tree", shapely.Point(e, n), False, h, r) for e, n, h, r in TREES])
    things = replace(things, falls=np.ones(len(things), bool))
    rules = rules_of(tmp_path_factory.mktemp("rules"), [("tree", "radial", 2), ("ground", "vertical", 1)])
    _, facts, _ = findings(LINE, PAIR, rules, ground=level, things=things, cases=CASES, method="equilibrium",
                           options=(option(),))
    plan = Plan(*lay_out(LINE, LINE.base_elevation, unit_factor), LINE.base_elevation)
    return make_scene(facts, plan, 0, 1)[0], facts.index


def curves(scene, case, share, count):
    """Places on the grid of all wires blown by a share of the swing to both sides, (wire span, side, place, 3)."""
    wire, side = (v.ravel() for v in np.indices((len(scene.wires), 2)))
    blown = hang_rows(scene, wire, 0 * wire, 0 * wire + case, share * np.array([1.0, -1.0])[side])
    local = points(blown.start, plane_of(blown.start, blown.end, blown.vectors), blown.constant,
                   np.linspace(0, 1, count)).reshape(len(scene.wires), 2, count, 3)
    return to_grid(local, scene.structures, scene.spans, scene.wires.span)


def brute(scene, coarse, distance):
    """Least of a distance over all winds to both sides, by span, and then once more about the nearest wind."""
    def least(swung):
        value = np.array([distance(each).min(axis=-1) for each in swung])
        return np.minimum(value[:, ::2], value[:, 1::2])  # the two wires of each span

    assert list(scene.wires.span) == [0, 0, 1, 1]
    shares = np.linspace(0, 1, len(coarse))
    first = least(coarse).min(axis=-1)
    result = first.min(axis=0)
    for span in range(2):
        best = shares[first[:, span].argmin()]
        near = np.clip(np.linspace(best - 0.05, best + 0.05, 11), 0, 1)
        fine = least([curves(scene, 1, f, 4001) for f in near]).min(axis=-1)
        result[span] = min(result[span], fine[:, span].min())
    return result


def by_span(checked, scene, obstacle):
    return {scene.wires.span[w]: v for w, o, v in zip(checked.wire, checked.obstacle, checked.actual, strict=True)
            if o == obstacle}


def crown(tree, top, radius):
    return lambda p: np.hypot(np.maximum(np.hypot(p[..., 0] - tree[0], p[..., 1] - tree[1]) - radius, 0),
                              np.maximum(p[..., 2] - top, 0))


def rod(tree, foot, height):
    return lambda p: np.sqrt((p[..., 0] - tree[0])**2 + (p[..., 1] - tree[1])**2 + (p[..., 2] - foot)**2) - height


def test_whole_swing_against_brute_force(hung):
    """No more than a millimetre above the brute force, whose own step leaves it up to two too great."""
    scene, index = hung
    tops = FEET + index.obstacles.height
    every = np.ones(len(tops), bool)
    grown = near_points(scene, index, np.array([1]), tops, every)
    fallen = fall_in(scene, index, np.array([1]), tops, FEET, every)
    coarse = [curves(scene, 1, f, 4001) for f in np.linspace(0, 1, 21)]
    seen = 0
    for i, (e, n, h, r) in enumerate(TREES):
        for checked, distance in ((grown, crown((e, n), tops[i], r)), (fallen, rod((e, n), FEET[i], h))):
            true, got = brute(scene, coarse, distance), by_span(checked, scene, i)
            seen += len(got)
            for span, value in got.items():
                assert true[span] - 0.002 - 0.02 * (true[span] < 0.3) < value < true[span] + 0.001, (i, span)
            # What is not told is farther than the reach.
            assert all(true[s] > 25 for s in range(2) if s not in got)
    assert seen > 16


def test_between_the_nodes_of_the_swing_wires_are_where_they_are_solved(hung):
    """Wires solved in the wind of 0.13, 0.3 and 0.77 of the swing lie on their way, within its tolerance."""
    scene, _ = hung
    ways = scene.way(np.arange(len(scene.wires)), 0, 1)
    share = np.broadcast_to(np.linspace(0, 1, 21), (len(ways), 21))
    for f in (0.13, 0.3, 0.77):
        solved = curves(scene, 1, f, 801)
        for side, sign in enumerate((1, -1)):
            local = scene.ways.places(ways, np.full((len(share), 1), sign * f), share)[:, 0]
            grid = to_grid(local, scene.structures, scene.spans, scene.wires.span)
            gap = np.linalg.norm(grid[:, :, None] - solved[:, side, None], axis=-1).min(axis=-1)
            assert gap.max() < 0.19  # half of the step of the solved places, along the wire
            pairs = zip(grid, solved[:, side], strict=True)
            off = [np.abs(np.interp(g[:, 0], s[:, 0], s[:, k]) - g[:, k]).max() for g, s in pairs for k in (1, 2)]
            assert max(off) < 0.0005


def test_still_air_against_brute_force(hung):
    scene, index = hung
    tops = FEET + index.obstacles.height
    got = fall_in(scene, index, np.array([0]), tops, FEET, np.ones(len(tops), bool))
    assert set(got.position) == {"falling"} and set(got.measure) == {"radial"}
    ends = scene.hung.start[:, 0, 0, 0], scene.hung.end[:, 0, 0, 0], scene.hung.vectors[:, 0, 0, 0]
    local = points(ends[0], plane_of(*ends), scene.hung.constant[:, 0, 0, 0], np.linspace(0, 1, 100_001))
    grid = to_grid(local, scene.structures, scene.spans, scene.wires.span)
    for i, (e, n, h, _) in enumerate(TREES):
        for span, value in by_span(got, scene, i).items():
            true = rod((e, n), FEET[i], h)(grid[scene.wires.span == span]).min()
            assert true - 1e-3 < value < true + 1e-3


def one_span(folder, trees, rules, *, cases=CASES, falls=True, ground=level):
    """Findings of a level span of one wire held at 30 m over level ground at 80 m."""
    line = structures([0, 200], [0, 0], base=80.0)
    wire = framings([("F", "only", "phase", 0.0, 30.0, "strain", 0.0, 0.0)])
    things = obstacles([("tree", *tree) for tree in trees])
    things = replace(things, falls=np.full(len(things), falls))
    rules = rules_of(folder, [*rules, ("ground", "vertical", 1)])
    return findings(line, wire, rules, ground=ground, things=things, cases=cases)[0]


def test_rule_of_the_falling_tree_by_hand(tmp_path):
    """Short when height > hypot(distance, elevation above the foot) - required."""
    rules = [("tree", "radial", 2)]
    layers = one_span(tmp_path, [(shapely.Point(100, 28), False, 20.0, 2.0)], rules)
    z = layers["clearances"]["wire_elevation_m"][rows_where(layers["clearances"], position="falling", case="cold")][0]
    for height, short in ((np.hypot(28, z - 80) - 2.01, False), (np.hypot(28, z - 80) - 1.99, True)):
        layers = one_span(tmp_path, [(shapely.Point(100, 28), False, height, 2.0)], rules)
        (row,) = rows_where(layers["clearances"], position="falling", case="cold")
        assert layers["clearances"]["actual_m"][row] == pytest.approx(np.hypot(28, z - 80) - height, abs=1e-6)
        assert (layers["clearances"]["margin_m"][row] < 0) == short
        assert layers["clearances"]["other_elevation_m"][row] == 80.0
        # It stands 26 m clear of the wire all the while.
        (upright,) = rows_where(layers["clearances"], position="beside", case="cold")
        assert layers["clearances"]["actual_m"][upright] == pytest.approx(26, abs=1e-6)
        assert len(rows_where(layers["violations"], position="falling", case="cold")) == short
        # Near is not now: a tree that may fall is not nearer than the flashover distance today.
        assert set(layers["violations"]["severity"]) <= {"rule"}


@pytest.mark.parametrize("position", ["beside", "falling"])
def test_things_are_looked_for_as_far_as_rules_ask(tmp_path, position):
    """Of 45 m beside a crown that is 40 m away at its height; 43 m beyond where a tree of 14 m reaches."""
    aside, height, rule = (42, 40.0, "tree") if position == "beside" else (50, 14.0, "falling_tree")
    layers = one_span(tmp_path, [(shapely.Point(100, aside), False, height, 2.0)], [(rule, "radial", 45)])
    (row,) = rows_where(layers["clearances"], position=position, case="cold")
    z = layers["clearances"]["wire_elevation_m"][row]
    true = 40 if position == "beside" else np.hypot(50, z - 80) - 14
    assert layers["clearances"]["actual_m"][row] == pytest.approx(true, abs=1e-6)
    assert len(rows_where(layers["violations"], position=position, case="cold")) == 1


def test_own_rule_for_what_falls(tmp_path):
    layers = one_span(tmp_path, [(shapely.Point(100, 20), False, 20.0, 0.0)],
                      [("tree", "radial", 4), ("falling_tree", "radial", 1)])["clearances"]
    required = dict(zip(layers["position"], layers["required_m"], strict=True))
    assert required["falling"] == 1 and required["above"] == 4
    assert set(layers["against"]) == {"tree", "ground"}


def test_a_rule_for_what_falls_alone_is_for_every_tree(tmp_path):
    """A tree whose own category has no radial row falls all the same: 20 m high, its foot at 80 m."""
    layers = one_span(tmp_path, [(shapely.Point(100, 20), False, 20.0, 0.0)],
                      [("tree", "vertical", 3), ("falling_tree", "radial", 1)])
    table = layers["clearances"]
    rows = rows_where(table, position="falling")
    assert len(rows) and set(table["required_m"][rows]) == {1.0}
    row, = rows_where(table, position="falling", case="cold")
    z = table["wire_elevation_m"][row]
    assert table["actual_m"][row] == pytest.approx(np.hypot(20, z - 80) - 20, abs=1e-6)
    assert not any("falling" in reason for reason in layers["not_assessed"]["reason"])


def test_what_does_not_fall_has_no_such_row(tmp_path):
    layers = one_span(tmp_path, [(shapely.Point(100, 20), False, 20.0, 0.0)], [("tree", "radial", 4)], falls=False)
    assert "falling" not in layers["clearances"]["position"]


@pytest.mark.parametrize(
    ("tree", "rules", "words"),
    [((shapely.box(90, 5, 110, 25), False, 20.0, 0.0), [("tree", "radial", 4)], "points only"),
     ((shapely.Point(100, 20), False, 20.0, 0.0), [("tree", "vertical", 4)], "neither falling_tree nor its category"),
     ((shapely.Point(100, 20), False, np.nan, 0.0), [("tree", "radial", 4)], "how high it stands"),
     ((shapely.Point(100, 20, 95), True, np.nan, 0.0), [("tree", "radial", 4)], "how high it stands")])
def test_what_cannot_be_told_is_not_assessed(tmp_path, tree, rules, words):
    def ground(easting, northing):  # a hole where the tree stands
        return np.where(np.asarray(northing) > 10, np.nan, 80.0)

    layers = one_span(tmp_path, [tree], rules, ground=ground)
    assert "falling" not in layers["clearances"]["position"]
    assert any(words in reason for reason in layers["not_assessed"]["reason"])


def test_growth_of_a_study(tmp_path):
    """Half a metre of growth counts for the crown and for the fall, with heights and with surveyed tops alike."""
    found = {}
    for name, keys, top in (("still", "height = 12", None), ("grown", "height = 12\ngrowth = '0.5 m'", None),
                            ("surveyed", "growth = '0.5 m'", 112.0)):
        study = TinyStudy(tmp_path / name)
        study.write_ground(lambda e, n: 100 + 0 * e)
        spot = shapely.Point(EAST + 150, NORTH - 25, *([] if top is None else [top]))
        study.add_obstacle("oak", "tree", [spot], f"{keys}\nradius = 1\nfalls = true")
        study.rules += "oak,tree,radial,2,,,,,,\n"
        rows = study.check().rows("clearances", against="tree", case="hot").set_index("position")
        found[name] = rows["actual_m"]
        assert rows.loc["falling", "other_elevation_m"] == pytest.approx(100, abs=1e-6)
    assert found["still"]["falling"] - found["grown"]["falling"] == pytest.approx(0.5, abs=1e-6)
    assert 0 <= found["still"].drop("falling").iloc[0] - found["grown"].drop("falling").iloc[0] < 0.5
    np.testing.assert_allclose(found["surveyed"], found["grown"], atol=1e-6)


def test_a_very_tall_tree_is_found_from_afar(tmp_path):
    """80 m high and 75 m away: it strikes, though nothing else is looked for that far."""
    layers = one_span(tmp_path, [(shapely.Point(100, 75), False, 80.0, 2.0)], [("tree", "radial", 2)])
    assert len(rows_where(layers["violations"], position="falling", case="cold")) == 1


def test_feet_of_trees_whose_tops_are_surveyed():
    things = obstacles([("tree", shapely.Point(0, 0, 95), True, np.nan, 0.0),
                        ("tree", shapely.Point(9, 0), False, 7.0, 0.0), ("tree", shapely.Point(5, 0), False, 7.0, 0.0)])
    index = index_obstacles(things)
    feet = feet_of(index, np.array([95.0, 90.0, 90.0]), level, np.array([True, True, False]))
    np.testing.assert_array_equal(feet, [80.0, 83.0, np.nan])
