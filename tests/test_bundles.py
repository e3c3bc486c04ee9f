"""Bundles against plane geometry: of each phase the wire that is nearest counts, in every measure.

The wires of a bundle hang alike, side by side, so whatever one of them clears is what a single wire clears that hangs
moved by so much. Hand calculations take the tension from the findings.
"""

from dataclasses import replace

import numpy as np
import pytest
import shapely

from corridor.assessment import make_scene
from corridor.clearance.bundles import ARRANGEMENTS, assumed_of, bundle_reach, places_in_bundle
from corridor.clearance.own_wires import own_findings
from corridor.line.facts import Case, OwnWires, RightOfWay

from .common import CONDUCTOR, findings, framings, obstacles, option, rows_where, rules_of, structures

SPACING, HEIGHT, SPAN = 0.4, 20.0, 300.0
WEIGHT = CONDUCTOR["mass"] * 9.80665
STILL = Case("still", 10.0, checks=("vertical", "tension"))
BESIDE = Case("beside", 10.0, checks=("horizontal",))
WINDY = Case("windy", 10.0, wind=400.0, checks=("vertical", "horizontal"))
HELD = framings([("F", "a", "phase", 0.0, HEIGHT, "strain", 0, 0)])
LINE = structures([0, SPAN], [0, 0])


def bundle(arrangement, name="twin", count=2, spacing=SPACING, *, existing=False, **keys):
    made = option(name, existing=existing, **keys)
    return replace(made, wiring=replace(made.wiring, bundle=count, spacing=spacing, arrangement=arrangement))


def found(tmp_path, rules, *, options, cases=(STILL,), things=(), line=LINE, framing=HELD, **keys):
    keys = {"method": "equilibrium", "ground": lambda e, n: 0 * e} | keys
    if things:
        keys["things"] = obstacles(things)
    return findings(line, framing, rules_of(tmp_path, rules), options=options, cases=cases, **keys)[0]


def only(layer, **wanted):
    row, = rows_where(layer, **wanted)
    return {name: values[row] for name, values in layer.items()}


SINGLE, VERTICAL, HORIZONTAL = option("one"), bundle("vertical", "column"), bundle("horizontal", "row")


@pytest.mark.parametrize(("arrangement", "count"), [*((a, n or 2) for a, n in ARRANGEMENTS.items()), ("vertical", 3)])
@pytest.mark.parametrize("turn", [0.0, 20.0, 70.0, 180.0])
def test_reach_is_the_most_that_any_turn_gives(arrangement, count, turn):
    """Against the places themselves, turned degree by degree."""
    places = places_in_bundle(count, SPACING, arrangement)
    angle = np.radians(np.arange(-turn, turn + 0.5))[:, None]
    x = places[:, 0] * np.cos(angle) - places[:, 1] * np.sin(angle)
    y = places[:, 0] * np.sin(angle) + places[:, 1] * np.cos(angle)
    reach = bundle_reach(bundle(arrangement, count=count).wiring, turn)
    assert reach.down == pytest.approx(-y.min(), abs=2e-5) and reach.up == pytest.approx(y.max(), abs=2e-5)
    assert reach.aside == pytest.approx(np.abs(x).max(), abs=2e-5)
    assert reach.around == pytest.approx(np.hypot(*places.T).max())


def test_neighbours_lie_at_the_spacing():
    for arrangement, count in (("horizontal", 4), ("vertical", 3), ("square", 4), ("triangle", 3)):
        places = places_in_bundle(count, SPACING, arrangement)[:count]
        apart = np.linalg.norm(places[:, None] - places, axis=-1)
        assert apart[apart > 0].min() == pytest.approx(SPACING)
    assert bundle_reach(bundle("square", count=4).wiring, 0.0).down == pytest.approx(SPACING / 2)
    assert bundle_reach(bundle("triangle", count=3).wiring, 0.0).down == pytest.approx(SPACING / np.sqrt(3))


def test_what_is_not_given_is_told_and_on_the_safe_side():
    """Without a spacing the greatest that is usual, without an arrangement a ring turned anyhow."""
    words, = assumed_of(bundle(None, spacing=None).wiring)
    assert "0.6 m" in words and "0.30 m from its middle" in words
    assert not assumed_of(SINGLE.wiring) and not assumed_of(VERTICAL.wiring)
    for count in (2, 3, 4):
        ring = bundle_reach(bundle(None, count=count).wiring, 0.0)
        for arrangement, wanted in ARRANGEMENTS.items():
            if wanted == count or count == 2 and not wanted:
                given = bundle_reach(bundle(arrangement, count=count).wiring, 35.0)
                assert all(a >= b - 1e-12 for a, b in zip(ring, given, strict=True))


def by_option(layers, name="actual_m", **wanted):
    """A column of clearances by option, of the one row of each."""
    rows = layers["clearances"]
    return {each: only(rows, option=each, **wanted)[name] for each in dict.fromkeys(rows["option"].tolist())}


def test_height_of_the_lower_wire_of_a_vertical_twin(tmp_path):
    """`z = h - C (cosh(S/2C) - 1) - s/2` at mid-span of a level span."""
    layers = found(tmp_path, [("ground", "vertical", 6.0)], options=(SINGLE, VERTICAL, HORIZONTAL))
    C = only(layers["wires"], option="column")["horizontal_tension_n"] / WEIGHT
    middle = HEIGHT - C * (np.cosh(SPAN / (2 * C)) - 1)
    assert only(layers["wires"], option="column")["sag_m"] == pytest.approx(HEIGHT - middle, abs=1e-6)
    actual = by_option(layers)
    assert actual == pytest.approx({"one": middle, "column": middle - SPACING / 2, "row": middle}, abs=1e-6)
    assert by_option(layers, "wire_elevation_m") == pytest.approx(actual, abs=1e-6)
    assert by_option(layers, "bundle_m") == pytest.approx({"one": 0.0, "column": SPACING / 2, "row": 0.0})


def test_the_lower_wire_falls_short_of_a_road_that_the_middle_clears(tmp_path):
    """Required is what the middle has, less a decimetre: the twin's lower wire lacks that much of its half spacing."""
    road = ("road", shapely.LineString([(150, -50), (150, 50)]), False, 0.0, 4.0)
    options = SINGLE, VERTICAL, HORIZONTAL
    first = found(tmp_path, [("road", "vertical", 6.0)], options=options, things=[road])
    clear = by_option(first, against="road")["one"]
    rules = [("road", "vertical", clear - 0.1), ("ground", "vertical", 1.0)]
    layers = found(tmp_path, rules, options=options, things=[road])
    margin = by_option(layers, "margin_m", against="road")
    assert margin == pytest.approx({"one": 0.1, "column": 0.1 - SPACING / 2, "row": 0.1}, abs=1e-9)
    assert layers["violations"]["option"].tolist() == ["column"]
    stretch = layers["violation_stretches"]
    assert stretch["option"].tolist() == ["column"] and stretch["worst_margin_m"] == pytest.approx(-0.1, abs=1e-6)
    limits = {name: only(layers["limits"], option=name)["limit_temperature_c"] for name in ("one", "column", "row")}
    # 0.1 m of sag is some 5 K of a 300 m span: the column is short at 10 °C, the others are beyond.
    assert 0 < limits["column"] < 10 < limits["one"] < 20 and limits["row"] == pytest.approx(limits["one"])


def test_a_horizontal_twin_beside_a_building(tmp_path):
    """At rest the nearer wire is half a spacing nearer; swung, a bundle turns, and no more than that."""
    house = ("building", shapely.force_3d(shapely.box(140, 6, 160, 20), 30.0), True, 0.0, 0.0)
    options = SINGLE, VERTICAL, HORIZONTAL
    layers = found(tmp_path, [("building", "horizontal", 5.9)], options=options, things=[house], cases=(BESIDE, WINDY))
    still = by_option(layers, case="beside", measure="horizontal")
    assert still == pytest.approx({"one": 6.0, "column": 6.0, "row": 6.0 - SPACING / 2}, abs=1e-9)
    violations = layers["violations"]
    assert violations["option"][rows_where(violations, case="beside")].tolist() == ["row"]
    blown = by_option(layers, case="windy", measure="horizontal")
    assert blown["one"] < 5 and blown["row"] == pytest.approx(blown["one"] - SPACING / 2, abs=1e-9)
    tilt = np.arctan2(400.0 * CONDUCTOR["diameter"], WEIGHT)
    assert blown["column"] == pytest.approx(blown["one"] - SPACING / 2 * np.sin(tilt), abs=1e-6)


def test_swung_over_the_ground(tmp_path):
    """A column is lowest before it has turned; a row turned by the tilt of its wires has one wire lower."""
    layers = found(tmp_path, [("ground", "vertical", 6.0)], options=(SINGLE, VERTICAL, HORIZONTAL), cases=(WINDY,))
    actual = by_option(layers)
    tilt = np.arctan2(400.0 * CONDUCTOR["diameter"], WEIGHT)
    assert actual["one"] - actual["column"] == pytest.approx(SPACING / 2, abs=1e-6)
    assert actual["one"] - actual["row"] == pytest.approx(SPACING / 2 * np.sin(tilt), abs=1e-6)


def test_the_upper_wire_below_another_line(tmp_path):
    """Upwards the highest wire counts, in still air and in wind."""
    other = ("line", shapely.LineString([(150, -50, 25), (150, 50, 25)]), True, 0.0, 0.0)
    layers = found(tmp_path, [("line", "vertical", 3.0)], things=[other], options=(SINGLE, VERTICAL, HORIZONTAL),
                   cases=(STILL, WINDY))
    for case in ("still", "windy"):
        rows = {"case": case, "measure": "vertical", "against": "line"}
        actual = by_option(layers, **rows)
        assert set(by_option(layers, "position", **rows).values()) == {"below"}
        assert actual["column"] == pytest.approx(actual["one"] - SPACING / 2, abs=1e-6)
        other = by_option(layers, "other_elevation_m", **rows)
        assert other == pytest.approx(dict.fromkeys(other, 25.0))


def test_in_space_and_to_the_right_of_way(tmp_path):
    """In whatever direction a tree stands, half a spacing; to the edge of the strip as beside a building."""
    tree = ("tree", shapely.Point(150, 8, 16.0), True, 0.0, 1.0)
    layers = found(tmp_path, [("tree", "radial", 3.0)], things=[tree], options=(SINGLE, VERTICAL, HORIZONTAL),
                   cases=(STILL, WINDY), way=RightOfWay(half_width=15.0))
    for case in ("still", "windy"):
        actual = by_option(layers, case=case, against="tree", measure="radial")
        assert [actual["one"] - actual[name] for name in ("column", "row")] == pytest.approx([SPACING / 2] * 2)
    edge = by_option(layers, case="windy", against="right_of_way")
    assert edge["one"] - edge["row"] == pytest.approx(SPACING / 2)
    reach = layers["swing_envelopes"]
    sides = {name: only(reach, option=name) for name in ("one", "row")}
    assert sides["row"]["reach_left_m"] - sides["one"]["reach_left_m"] == pytest.approx(SPACING / 2)
    assert sides["row"]["area_m2"] > sides["one"]["area_m2"]


def test_two_bundles_beside_each_other(tmp_path):
    """Phases of the same structures: both reach towards each other."""
    two = framings([("F", "a", "phase", 0.0, HEIGHT, "strain", 0, 0), ("F", "b", "phase", 4.0, HEIGHT, "strain", 0, 0)])
    layers = []
    for each in (SINGLE, HORIZONTAL):
        made, facts, plan = findings(LINE, two, rules_of(tmp_path, [("own_phase", "radial", 1.0)]),
                                     ground=lambda e, n: 0 * e, options=(each,), cases=(STILL,), method="equilibrium")
        layers.append((replace(facts, own_wires=OwnWires()), plan))
    actual = []
    for facts, plan in layers:
        columns, _ = own_findings(facts, lambda cases, f=facts, p=plan: make_scene(replace(f, cases=cases), p, 0, 0)[0])
        actual += [columns[0][name].tolist() for name in ("actual_m", "bundle_m")]
    assert actual == [pytest.approx([each]) for each in (4.0, 0.0, 4.0 - SPACING, SPACING)]


def test_a_turned_string_turns_the_bundle(tmp_path):
    """Where the line turns, the string leans and a row tilts with it: one wire is lower by `s/2 sin(lean)`."""
    t = np.radians(12.0)
    line = structures([0, 300, 300 + 300 * np.cos(t)], [0, 0, -300 * np.sin(t)], base=(0.0, 2.0, 0.0),
                      framing=("held", "hung", "held"))
    framing = framings([("held", "a", "phase", 0.0, HEIGHT, "strain", 0, 0),
                        ("hung", "a", "phase", 0.0, HEIGHT, "suspension", 2.0, 60.0)])
    # Two wires at one place hang as the twin does, each on half a string.
    options = bundle("horizontal", "none", spacing=1e-9), HORIZONTAL
    layers = found(tmp_path, [("ground", "vertical", 6.0)], options=options, line=line, framing=framing)
    lean = only(layers["structure_loads"], structure="T2", option="row")["string_swing_deg"]
    assert 10 < lean < 60
    for span in ("T1-T2", "T2-T3"):
        actual = by_option(layers, span=span, against="ground", measure="vertical")
        assert actual["none"] - actual["row"] == pytest.approx(SPACING / 2 * np.sin(np.radians(lean)), abs=1e-5)


def test_a_bundle_changes_nothing_for_other_options(tmp_path):
    """What a single wire clears does not depend on what else the study asks about."""
    house = ("building", shapely.force_3d(shapely.box(140, 3, 160, 20), 12.0), True, 0.0, 0.0)
    rules = [("ground", "vertical", 6.0), ("building", "vertical", 4.0), ("building", "horizontal", 3.0)]
    alone, among = (found(tmp_path, rules, options=options, cases=(STILL, WINDY), things=[house])["clearances"]
                    for options in ((SINGLE,), (SINGLE, VERTICAL, bundle(None, "ring"))))
    rows = rows_where(among, option="one")
    for name in ("against", "measure", "actual_m", "margin_m", "wire_elevation_m"):
        assert among[name][rows].tolist() == alone[name].tolist()


def test_two_lines_of_a_study_with_bundles(tmp_path):
    """Where they cross, both reach towards each other, whichever is asked about."""
    both = structures([0, SPAN, 150, 150], [0, 0, -150, 150], line=["L", "L", "M", "M"], base=[0, 0, 20, 20])
    both.structure[:] = ["L1", "L2", "M1", "M2"]
    layers = found(tmp_path, [("line", "vertical", 3.0)], options=(SINGLE, VERTICAL, HORIZONTAL), line=both)
    for span, position in (("L1-L2", "below"), ("M1-M2", "above")):
        rows = layers["clearances"]
        least = {}
        for name in ("one", "column", "row"):
            at = rows_where(rows, option=name, span=span, measure="vertical", against="line", position=position)
            least[name] = rows["actual_m"][at].min()
        # Theirs is taken at 10 °C or at 15, whichever is nearer.
        assert 19.5 < least["one"] < 20.001
        assert least["one"] - least["column"] == pytest.approx(SPACING, abs=1e-6)
        # Theirs counts as a circle about its middle: half a spacing on the safe side of a row.
        assert least["one"] - least["row"] == pytest.approx(SPACING / 2, abs=1e-6)
