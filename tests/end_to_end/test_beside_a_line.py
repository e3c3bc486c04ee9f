"""Beside wires of other lines: a horizontal rule for them knows above and below, held against brute force.

A wire is clear of another that is far enough sideways, or far enough above or below: of all pairs of their places, in
every state of the swing, none may be nearer than both the horizontal and the vertical row ask.
"""

import numpy as np
import pytest
import shapely

from corridor.clearance.rule_files import load_rules
from corridor.line.facts import Case, Obstacles
from tests import common
from tests.brute_force import _paths

from .test_nothing_silent import FRAMINGS, ground, line

ASKED = "vertical", "horizontal"
CASES = Case("hot", "maximum", checks=ASKED), Case("swung", 10.0, wind=290.0, checks=ASKED)
VERTICAL, HORIZONTAL = 2.0, 3.0
#: What brute force may be off by: its places are 0.5 m apart along ours, 0.25 m along theirs.
SLACK = 0.15


@pytest.fixture
def rules(tmp_path):
    file = tmp_path / "rules.csv"
    file.write_text("rule,against,measure,base\nopen,ground,vertical,4\n"
                    f"over,line,vertical,{VERTICAL}\nbeside,line,horizontal,{HORIZONTAL}\n", encoding="utf-8")
    return load_rules(file)


def wires(count, seed):
    """Straight wires of another line, (start, end) each: across and along, above, below and beside ours."""
    rng = np.random.default_rng(seed)
    middle = np.column_stack([rng.uniform(60, 540, count), rng.uniform(-14, 14, count)])
    azimuth = np.where(rng.uniform(size=count) < 0.5, rng.normal(0, 0.03, count), rng.uniform(0, np.pi, count))
    half = rng.uniform(10, 40, count)[:, None] * np.column_stack([np.cos(azimuth), np.sin(azimuth)])
    z = ground(*middle.T) + rng.uniform(8, 28, count)
    rise = rng.normal(0, 2, count)
    return [(np.append(m - h, c - r), np.append(m + h, c + r))
            for m, h, c, r in zip(middle, half, z, rise, strict=True)]


def findings(rules, shapes, height=None):
    things = np.empty(len(shapes), object)
    things[:] = shapes
    count = len(shapes)
    none, text = np.full(count, np.nan), np.full(count, "", object)
    names = np.array([str(i) for i in range(len(shapes))], object)
    others = Obstacles(text, names, np.full(count, "line", object), things, np.full(count, height is None),
                       none if height is None else height, np.full(count, 123e3), none, text)
    return common.findings(line(), FRAMINGS, rules, ground=ground, things=others, cases=CASES, method="equilibrium")


def least_room(paths, start, end):
    """The least of `max(d - H, |z - z'| - V)` over all places of ours and theirs [m]."""
    theirs = start + np.linspace(0, 1, int(np.linalg.norm(end - start) / 0.25) + 2)[:, None] * (end - start)
    near, least = shapely.LineString([start[:2], end[:2]]).buffer(HORIZONTAL + 2), np.inf
    for path in paths:
        place = path.at(path.swings[::2] if path.windy else path.swings, np.linspace(0, 1, 601))[..., :3].reshape(-1, 3)
        place = place[shapely.intersects_xy(near, *place[:, :2].T)]
        for some in np.array_split(place, len(place) // 2000 + 1):
            d = np.linalg.norm(some[:, None, :2] - theirs[:, :2], axis=-1)
            over = np.abs(some[:, None, 2] - theirs[:, 2])
            least = min(least, np.maximum(d - HORIZONTAL, over - VERTICAL).min(initial=np.inf))
    return least


def test_above_below_and_beside(rules):
    others = wires(40, 5)
    layers, facts, plan = findings(rules, [shapely.LineString(each) for each in others])
    rows, paths, seen = layers["clearances"], _paths(facts, plan), set()
    sideways = (rows["measure"] == "horizontal") & (rows["against"] == "line")
    for i, each in enumerate(others):
        for case in CASES:
            room = least_room([p for key, some in paths.items() if key[2] == case.name for p in some], *each)
            mine = sideways & (rows["obstacle"] == str(i)) & (rows["case"] == case.name)
            short = (rows["margin_m"][mine] < 0).any()
            if abs(room) > SLACK:
                assert short == (room < 0), (i, case.name, room)
                seen.add((case.name, bool(short)))
    assert len(seen) == 4


def middle_of_b(rules):
    """The middle of wire B of the first span, hot: easting, northing, elevation."""
    far = shapely.LineString([(0, 900, 99), (1, 900, 99)])
    paths = _paths(*findings(rules, [far])[1:])
    path = next(p for key, some in paths.items() if key[::2] == ("T1-T2", "hot") for p in some if p.wire == "B")
    return path.at(np.zeros(1), np.array([0.5]))[0, 0, :3]


def test_a_wire_far_below_or_above_is_no_violation_and_a_wire_beside_is(rules):
    """Those that cross 5 m below and above pass; one that crosses in between is told in every measure."""
    e, n, z = middle_of_b(rules)
    for off, sound in ((-5.0, True), (5.0, True), (0.5, False)):
        crossing = shapely.LineString([(e, n - 30, z + off), (e, n + 30, z + off)])
        rows = findings(rules, [crossing])[0]["clearances"]
        hot = (rows["against"] == "line") & (rows["case"] == "hot") & (rows["span"] == "T1-T2")
        assert ((rows["margin_m"][hot] >= 0).all()) == sound
        assert sound or {"vertical", "horizontal", "radial"} == set(rows["measure"][hot & (rows["margin_m"] < 0)])


def test_a_line_known_by_its_height(rules):
    """As high above the ground as it is: what ours passes 6 m below or above is no wall."""
    e, n, z = middle_of_b(rules)
    for off, short in ((7.0, False), (-7.0, False), (1.0, True)):
        height = np.array([z + off - float(ground(e, n))])
        rows = findings(rules, [shapely.LineString([(e, n - 30), (e, n + 30)])], height)[0]["clearances"]
        mine = (rows["against"] == "line") & (rows["case"] == "hot") & (rows["measure"] != "vertical")
        assert (rows["margin_m"][mine] < 0).any() == short
