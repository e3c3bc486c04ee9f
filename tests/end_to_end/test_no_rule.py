"""Nothing passes because no rule asked: the electrical distance stands in where a table holds no rule in a measure.

Distances are held against brute force over the wire's own catenary. The electrical distances are those of EN 50341-1
(recalled): 1.0 m to earth and 1.15 m between phases at 123 kV, 1.7 m and 2.0 m at 245 kV.
"""

import numpy as np
import pandas
import pytest
import shapely

from corridor.clearance import beside_lines
from tests.common import ask

from .conftest import EAST, NORTH, SECOND_OPTION, plane
from .curves import SCALE, catenary, hung

RULES = """\
rule,against,measure,base
open,ground,vertical,4
shed,structure,vertical,3
cross,line,vertical,2.5
"""


def spots(findings, wire, case, places=4001):
    """Places (easting, northing, elevation) of wire B, or A, of the second span as the wires layer has it."""
    row = findings.row("wires", span="2-3", wire=wire, case=case, option="today")
    a, b, S = hung(findings, row)
    share = np.linspace(0, 1, places)
    z = catenary(share, S, a[2], b[2] - a[2], row["catenary_constant_m"])
    return np.column_stack([a[:2] + share[:, None] * (b - a)[:2], z])


def near(rows, case):
    return rows[(rows["case"] == case) & (rows["measure"] == "radial")]


@pytest.fixture
def beside(study):
    study.rules = RULES
    study.change('checks = ["horizontal"]', 'checks = ["vertical", "horizontal"]')
    return study


def test_a_mast_beside_a_swung_wire(beside):
    """A mast that the table has a vertical rule for alone, higher than the wire: wind blows the wire onto it."""
    beside.add_obstacle("masts", "structure", [shapely.Point(EAST + 450, NORTH - 8)], "height = 30")
    findings = beside.check()
    row = near(findings.rows("violations", against="structure"), "swung").iloc[0]
    assert findings.result.status == 1
    assert row["rule"] == "electrical distance" and row["required_m"] == pytest.approx(1.0)
    assert row["actual_m"] < 0.3
    hot = near(findings.rows("clearances", against="structure"), "hot").iloc[0]
    apart = np.hypot(*(spots(findings, "B", "hot")[:, :2] - [EAST + 450, NORTH - 8]).T).min() / SCALE
    assert hot["actual_m"] == pytest.approx(apart, abs=1e-3) and hot["margin_m"] > 0


def test_a_mast_that_the_wire_nearly_touches_in_still_air(beside):
    beside.add_obstacle("masts", "structure", [shapely.Point(EAST + 450, NORTH - 5.7)], "height = 30")
    findings = beside.check()
    row = near(findings.rows("violations", against="structure"), "hot").iloc[0]
    apart = np.hypot(*(spots(findings, "B", "hot")[:, :2] - [EAST + 450, NORTH - 5.7]).T).min() / SCALE
    assert row["actual_m"] == pytest.approx(apart, abs=1e-3) and apart < 1.0


def test_a_tree_under_a_table_that_knows_no_trees(beside):
    """The tree's top 0.7 m below the wire: a violation, and the gap that no rule is for trees stays."""
    beside.rules = "rule,against,measure,base\nopen,ground,vertical,4\n"
    findings = beside.check()
    low = spots(findings, "A", "hot")
    at = np.argmin(np.abs(low[:, 0] - (EAST + 450)))
    ground = 100 + 0.02 * (low[at, 0] - EAST) + 0.01 * (low[at, 1] - NORTH)
    beside.add_obstacle("trees", "tree", [shapely.Point(low[at, :2])], f"height = {low[at, 2] - 0.7 - ground}")
    findings = beside.check()
    row = near(findings.rows("violations", against="tree"), "hot").iloc[0]
    assert row["actual_m"] == pytest.approx(0.7, abs=2e-3) and row["rule"] == "electrical distance"
    gaps = findings.rows("not_assessed", against="tree")
    assert findings.result.status == 1 and gaps["reason"].str.contains("the rules hold none for tree").any()


def test_a_parallel_line_beside(beside):
    """Another line's wire 1 m beside ours and as high as its middle, voltage higher: the distance in space counts."""
    findings = beside.check()
    middle = spots(findings, "B", "hot")[2000]
    wire = shapely.LineString([(EAST + 350, NORTH - 6.0, middle[2]), (EAST + 550, NORTH - 6.0, middle[2])])
    beside.add_obstacle("lines", "line", [wire], 'voltage = "220 kV"')
    findings = beside.check()
    row = near(findings.rows("violations", against="line"), "hot").iloc[0]
    ours = shapely.points(spots(findings, "B", "hot", 20001))
    ours = shapely.get_coordinates(ours, include_z=True)
    share = np.clip((ours[:, 0] - EAST - 350) / 200, 0, 1)
    theirs = np.column_stack([EAST + 350 + 200 * share, np.full(len(ours), NORTH - 6.0), np.full(len(ours), middle[2])])
    apart = ours - theirs
    least = np.sqrt((apart[:, :2]**2).sum(axis=1) / SCALE**2 + apart[:, 2]**2).min()
    assert row["actual_m"] == pytest.approx(least, abs=2e-3)
    assert row["rule"] == "electrical distance" and findings.result.status == 1
    swung = near(findings.rows("violations", against="line"), "swung").iloc[0]
    assert swung["actual_m"] < spots(findings, "B", "swung")[2000, 2] - middle[2] + 1


def test_what_is_left_out_at_a_glance_is_never_the_nearest(beside, monkeypatch):
    """Wires of other lines all about ours, seeded: rows are the same where each pair is looked at closely."""
    beside.text += SECOND_OPTION
    rng = np.random.default_rng(3)
    wires = [shapely.LineString(np.column_stack([EAST + rng.uniform(0, 900, 4), NORTH + rng.uniform(-25, 25, 4),
                                                 rng.uniform(108, 140, 4)])) for _ in range(12)]
    beside.add_obstacle("lines", "line", wires, 'voltage = "220 kV"')
    taken, looked = beside.check().rows("clearances", against="line", measure="radial"), []
    monkeypatch.setattr(beside_lines, "_hopeful", lambda scene, index, theirs, pairs, known: (
        looked.append(known is not None) or pairs))
    every = beside.check().rows("clearances", against="line", measure="radial")
    assert set(looked) == {False, True} and len(every) > 20 and set(every["case"]) == {"hot", "ice", "swung"}
    pandas.testing.assert_frame_equal(taken, every)


def test_a_line_above_beside_the_wire(beside):
    """A 765 kV line 1.8 m beside and 2.8 m above ours: nothing crosses in plan, and yet it is told."""
    findings = beside.check()
    z = spots(findings, "A", "hot")[2000, 2] + 2.8
    wire = shapely.LineString([(EAST + 350, NORTH + 6.0, z), (EAST + 550, NORTH + 6.0, z)])
    beside.add_obstacle("lines", "line", [wire], 'voltage = "765 kV"')
    row = near(beside.check().rows("violations", against="line"), "hot").iloc[0]
    assert row["required_m"] == pytest.approx(5.6) and row["wire"] == "A"


@pytest.mark.parametrize(("above", "told"), [(5.5, True), (5.7, False)])
def test_a_line_without_a_voltage_that_a_rule_has_a_row_for(beside, above, told):
    """It is told as long as a line of the maximum voltage would be too near: 5.6 m between phases at 765 kV."""
    z = spots(beside.check(), "A", "hot")[2000, 2] + above
    beside.add_obstacle("lines", "line", [shapely.LineString([(EAST + 450, NORTH + y, z) for y in (3, 5)])])
    findings = beside.check()
    gaps = findings.rows("not_assessed", against="line", case="hot")
    assert gaps["reason"].str.contains("the voltage is unknown").any() == told
    assert not (findings.rows("clearances", against="line")["rule"] == "electrical distance").any()


def test_rules_of_both_measures_leave_nothing_to_the_electrical_distance(beside):
    beside.rules = RULES + "shed,structure,horizontal,3\n".replace("shed", "aside")
    beside.add_obstacle("masts", "structure", [shapely.Point(EAST + 450, NORTH - 12)], "height = 30")
    rows = beside.check().rows("clearances", against="structure")
    assert len(rows) and not (rows["rule"] == "electrical distance").any()


def test_an_area_that_stands_beside(beside):
    """A tank with a vertical rule alone: swung wires must not come within the electrical distance beside it."""
    tank = shapely.box(EAST + 440, NORTH - 12, EAST + 460, NORTH - 8)
    beside.add_obstacle("tanks", "structure", [tank], "height = 25")
    rows = near(beside.check().rows("violations", against="structure"), "swung")
    assert len(rows) == 1 and rows.iloc[0]["rule"] == "electrical distance" and rows.iloc[0]["actual_m"] == 0


def test_limits_know_the_electrical_distance(beside):
    """A point 0.4 m below the hot wire that no rule in space is for limits its span; put back, the limit gives zero."""
    findings = beside.check()
    low = spots(findings, "A", "hot")
    at = np.argmin(np.abs(low[:, 0] - (EAST + 450)))
    ground = 100 + 0.02 * (low[at, 0] - EAST) + 0.01 * (low[at, 1] - NORTH)
    beside.rules += "beside,mast,horizontal,0.5\n"
    beside.add_obstacle("masts", "mast", [shapely.Point(low[at, :2])], f"height = {low[at, 2] - 0.4 - ground}")
    limit = beside.check().row("limits", span="2-3", option="today")
    assert limit["limit_temperature_c"] < 75
    beside.change("maximum_temperature = 75", f"maximum_temperature = {float(limit['limit_temperature_c'])!r}")
    rows = beside.check().rows("clearances", span="2-3", case="hot")
    assert rows["margin_m"].min() == pytest.approx(0, abs=1e-3)


def cliff(reach):
    """A rock face beside the line, some metres from its middle, higher than the wires."""
    return lambda e, n: np.where(n > NORTH + reach, plane(e, n) + 60.0, plane(e, n))


@pytest.mark.parametrize(("apart", "short"), [(0.4, True), (7.0, False)])
def test_a_rock_face_beside_a_swung_wire(study, apart, short):
    """No rule is for the ground but one above it, and the case asks for what is beside alone: air breaks down there.

    The face lies between nodes of the raster half a metre apart, so its distance is known to that.
    """
    reach = study.check().rows("swing_envelopes", case="swung")["reach_left_m"].max()
    box = {"low": (EAST - 100, NORTH - 60), "high": (EAST + 1000, NORTH + 60)}
    study.write_ground(cliff(reach + apart + 0.25), cell=0.5, **box)
    findings = study.check()
    rows = findings.rows("clearances", against="ground", measure="radial", case="swung")
    assert (findings.result.status == 1) == short
    assert bool(len(rows.query("margin_m < 0"))) == short
    # So much of the face is too near as is higher than the wire less the electrical distance: the raster has it in red.
    assert bool(ask(study.path, "ground_limit").options["short_area_m2"][0] > 0) == short
    if short:
        assert set(rows["rule"]) == {"electrical distance"}
        assert rows["actual_m"].min() == pytest.approx(apart, abs=0.3)


def high_up(study):
    """The study on ground 4 km higher: air gaps are exp(3/8.15) times as long there (IEC 60071-2, recalled)."""
    up = 4000.0
    study.structures["base_elevation"] = plane(study.structures["easting"], study.structures["northing"]) + up
    return up


def test_a_rock_face_in_thin_air(study):
    """1.3 m beside a wire 4 km up: farther than the air gap between phases at sea level, 1.15 m, and nearer than that
    to earth up there, 1.47 m."""
    up, box = high_up(study), {"low": (EAST - 100, NORTH - 60), "high": (EAST + 1000, NORTH + 60), "cell": 0.25}
    study.write_ground(lambda e, n: plane(e, n) + up, **box)
    reach = study.check().rows("swing_envelopes", case="swung")["reach_left_m"].max()
    study.write_ground(lambda e, n: cliff(reach + 1.3 + 0.125)(e, n) + up, **box)
    rows = study.check().rows("violations", against="ground", measure="radial", case="swung")
    assert set(rows["rule"]) == {"electrical distance"}
    assert rows["required_m"].max() == pytest.approx(np.exp(3.12 / 8.15), rel=2e-3)
    assert rows["actual_m"].min() == pytest.approx(1.3, abs=0.13) and rows["actual_m"].min() > 1.15


@pytest.mark.parametrize("limit", [False, True])
def test_a_line_of_higher_voltage_in_thin_air(beside, limit):
    """A 765 kV line 7.5 m beside ours: nearer than the air gap up there, farther than ours and 5 m beyond it."""
    up = high_up(beside)
    beside.write_ground(lambda e, n: plane(e, n) + up)
    z = spots(beside.check(), "A", "hot")[2000, 2]
    wire = shapely.LineString([(EAST + 350, NORTH + 4 + 7.5, z), (EAST + 550, NORTH + 4 + 7.5, z)])
    beside.add_obstacle("lines", "line", [wire], 'voltage = "765 kV"')
    if limit:
        beside.text += '[[cases]]\nname = "warm"\ntemperature = 40\n'
        beside.change('temperature = "maximum"', "temperature = 75")
    findings = beside.check()
    if limit:
        row = findings.row("limits", span="2-3", option="today")
        assert row["governs"] != "maximum temperature" and row["governing_against"] == "line"
    else:
        row = near(findings.rows("violations", against="line"), "hot").iloc[0]
        assert row["required_m"] == pytest.approx(5.6 * np.exp(3.12 / 8.15), rel=2e-3) and row["actual_m"] > 7


def test_a_rock_face_is_told_where_wires_are_too_low_as_well(study):
    """The rule for the ground is violated in the same state, by a metre at most: that hides no face within a metre."""
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    plain = study.check()
    reach = plain.rows("swing_envelopes", case="swung")["reach_left_m"].max()
    height = plain.rows("clearances", against="ground", case="swung")["actual_m"].min()
    study.rules = f"rule,against,measure,base\nopen,ground,vertical,{height + 1}\n"
    box = {"low": (EAST - 100, NORTH - 60), "high": (EAST + 1000, NORTH + 60)}
    study.write_ground(cliff(reach + 0.65), cell=0.5, **box)
    rows = study.check().rows("violations", against="ground", case="swung")
    assert {"vertical", "radial"} == set(rows["measure"])
    assert (rows[rows["measure"] == "radial"]["severity"] == "flashover").all()
