"""What cannot be assessed is said, row by row, with its reason; and never passes."""

import numpy as np
import shapely


def test_a_hole_in_the_raster(study):
    """Under the second span 60 m are unknown: a row for each case, naming span and wires, and not a pass."""
    study.add_roads()
    study.write_ground(unknown=lambda e, n: abs(e - 500_400) < 30)
    findings = study.check()
    gaps = findings.rows("not_assessed", against="ground")
    assert set(zip(gaps["span"], gaps["case"], strict=True)) == {("2-3", "hot"), ("2-3", "ice"), ("2-3", "swung")}
    below, beside = gaps[gaps["case"] != "swung"], gaps[gaps["case"] == "swung"]
    assert below["reason"].str.contains("no values below").all() and (below["wire"] == "A, B").all()
    assert beside["reason"].str.contains("no values beside").all()
    assert findings.result.status == 3
    # What is known of the span is compared all the same.
    assert len(findings.rows("clearances", span="2-3", against="ground")) == 2
    limit = findings.row("limits", span="2-3")
    assert limit["governs"] == "not assessed" and np.isnan(limit["limit_temperature_c"])


def test_a_structure_outside_the_raster(study):
    """The last structure has no ground: its span has no wires, so nothing there passes."""
    study.add_roads()
    study.write_ground(high=(500_800, 5_600_400))
    findings = study.check()
    gaps = findings.rows("not_assessed", span="3-4")
    assert gaps["reason"].str.contains("base elevation of structure 4 is unknown").any()
    assert not len(findings.rows("clearances", span="3-4")) and not len(findings.rows("wires", span="3-4"))
    assert np.isnan(findings.row("structures", structure="4")["base_elevation_m"])
    assert findings.result.status == 3


def test_its_own_base_elevation_needs_no_raster(study):
    study.add_roads()
    study.write_ground(high=(500_800, 5_600_400))
    study.structures["base_elevation"] = [None, None, None, 119.0]
    findings = study.check()
    assert findings.row("structures", structure="4")["base_elevation_m"] == 119
    assert len(findings.rows("wires", span="3-4"))
    gaps = findings.rows("not_assessed", against="ground")
    assert set(zip(gaps["span"], gaps["case"], strict=True)) == {("3-4", "hot"), ("3-4", "ice"), ("3-4", "swung")}


def test_framings_that_do_not_meet(study):
    """Wire B ends nowhere: both spans beside the framing without it say so."""
    study.add_roads()
    study.framings = study.framings.replace("hang,B,phase,1,5,20,suspension,1.4,40\n", "")
    findings = study.check()
    gaps = findings.rows("not_assessed", wire="B")
    assert sorted(gaps["span"]) == ["1-2", "2-3"] and gaps["reason"].str.contains("does not name it").all()
    assert findings.rows("wires", wire="B")["span"].unique().tolist() == ["3-4"]


def test_a_category_without_rule(study):
    study.add_roads()
    study.add_obstacle("canals", "canal", [shapely.LineString([(500_450, 5_599_900), (500_450, 5_600_100)])],
                       "height = 0\nradius = 5")
    findings = study.check()
    gap = findings.row("not_assessed", against="canal")
    assert (gap["span"], gap["obstacle"]) == ("2-3", "canals:1") and "canal" in gap["reason"]
    assert findings.result.status == 3


SHIELD = "hold,S,shield,,0,26,strain,,\nhang,S,shield,,0,26,suspension,0.3,4\n"
SHIELD_WIRE = """
[shield_wire]
conductor = "105-AL1/17-ST1A"
[[shield_wire.stringing]]
limit = "15 % RTS"
temperature = 10
"""


def test_shield_wires_without_conductor(study):
    study.add_roads()
    study.framings += SHIELD
    findings = study.check()
    gaps = findings.rows("not_assessed", wire="S")
    assert sorted(gaps["span"]) == ["1-2", "2-3", "3-4"] and gaps["reason"].str.contains("shield_wire").all()
    assert not len(findings.rows("wires", wire="S"))


def test_shield_wires(study):
    """Their temperature is their own, and they hang in each option alike."""
    study.add_roads()
    study.framings += SHIELD
    study.text += SHIELD_WIRE
    findings = study.check()
    rows = findings.rows("wires", wire="S", case="hot")
    assert len(rows) == 3 and (rows["kind"] == "shield").all()
    assert (rows["conductor_temperature_c"] == 50).all()
    assert findings.result.status == 0


def test_an_option_without_emergency_temperature(study, make):
    study.add_roads()
    study.text += make.SECOND_OPTION + '\n[[cases]]\nname = "emergency"\ntemperature = "emergency"\n'
    findings = study.check()
    gaps = findings.rows("not_assessed", case="emergency")
    assert set(gaps["option"]) == {"alloy"} and set(gaps["span"]) == {"1-2", "2-3", "3-4"}
    assert gaps["reason"].str.contains("no emergency temperature").all()
    rows = findings.rows("wires", case="emergency")
    assert set(rows["option"]) == {"today"} and (rows["conductor_temperature_c"] == 90).all()


def test_ground_that_only_the_swung_wire_lacks(study):
    """A hole beside the second span, where no wire hangs in still air: said of the case in wind alone."""
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.write_ground(cell=1.0, unknown=lambda e, n: (abs(e - 500_450) < 5) & (abs(n - 5_599_992) < 0.6))
    gaps = study.check()["not_assessed"]
    assert set(zip(gaps["span"], gaps["case"], gaps["against"], strict=True)) == {("2-3", "swung", "ground")}
    assert gaps["reason"].str.contains("swung").all()


def test_obstacles_whose_top_is_not_known(study):
    study.add_roads()
    middle = shapely.LineString([(500_450, 5_599_950), (500_450, 5_600_050)])
    study.add_obstacle("lanes", "road", [middle])
    study.add_obstacle("walls", "road", [middle], 'height_column = "tall"', tall=[np.nan])
    gaps = study.check()["not_assessed"]
    assert set(zip(gaps["span"], gaps["obstacle"], strict=True)) == {("2-3", "lanes:1"), ("2-3", "walls:1")}
    assert gaps["reason"].str.contains("height").all()


def test_an_object_whose_top_is_not_known_below_the_wire_alone(study):
    """A yard 1 m above the ground, of which 4 m are unknown where the wires cross: told in each case in still air that
    asks for height, not in those that ask for the sides or for tension alone."""
    study.text += '\n[[cases]]\nname = "everyday"\ntemperature = 10\nchecks = ["tension"]\n'
    study.add_roads()
    study.write_ground(cell=1.0, unknown=lambda e, n: (abs(e - 500_450) < 2) & (abs(n - 5_600_000) < 20))
    study.add_obstacle("yards", "road", [shapely.box(500_430, 5_599_960, 500_470, 5_600_040)], "height = 1")
    gaps = study.check().rows("not_assessed", obstacle="yards:1")
    told = gaps[gaps["reason"].str.endswith("at this place")]
    assert sorted(zip(told["span"], told["case"], strict=True)) == [("2-3", "hot"), ("2-3", "ice")]


def test_a_point_that_has_no_width_is_never_below_a_wire(study):
    """Two posts on the line, for which there is a vertical rule alone: the one with a radius is compared."""
    study.rules = "rule,against,measure,base\nopen,ground,vertical,4\npost,structure,vertical,3\n"
    study.add_obstacle("wide", "structure", [shapely.Point(500_430, 5_599_995)], "height = 2\nradius = 1.5")
    study.add_obstacle("thin", "structure", [shapely.Point(500_470, 5_599_995)], "height = 2")
    findings = study.check()
    told = findings["not_assessed"]["reason"].str.contains("without a radius")
    assert set(findings["not_assessed"]["obstacle"][told]) == {"thin:1"}
    assert set(findings.rows("clearances", against="structure", measure="vertical")["obstacle"]) == {"wide:1"}


def test_a_surface_model_is_not_compared(study):
    """The study names one, nothing is compared with it: said, and not a pass."""
    study.add_roads()
    study.change('ground = ["ground.tif"]', 'ground = ["ground.tif"]\nsurface = ["ground.tif"]')
    findings = study.check()
    gap = findings.row("not_assessed", against="surface")
    assert "not compared" in gap["reason"] and gap["geometry"] is None
    assert findings.result.status == 3


def test_a_span_of_20_m_among_ordinary_ones_is_assessed(study, make):
    """It turns strings by more than they turn; weight spans are far above zero."""
    study.structures["easting"] = make.EAST + np.array([0.0, 300.0, 320.0, 620.0])
    study.structures["role"] = ["terminal", "suspension", "suspension", "terminal"]
    study.structures["framing"] = ["hold", "hang", "hang", "hold"]
    findings = study.check()
    assert not len(findings["not_assessed"]) and set(findings["wires"]["span"]) == {"1-2", "2-3", "3-4"}


def test_a_right_of_way_that_no_case_looks_at(study):
    """The strip is given, and every case asks for heights or tension alone."""
    study.change('checks = ["horizontal"]', 'checks = ["tension"]')
    findings = study.check()
    assert findings.result.status == 3
    row = findings.row("not_assessed", against="right_of_way")
    assert row["span"] is None and "no case asks for horizontal clearance" in row["reason"]
