"""Lines that cross ours, several lines of our own, circuits and crossarms: held against plane geometry."""

import numpy as np
import pandas as pd
import pytest
import shapely

from corridor.errors import InputError

from .curves import SCALE, catenary, ends, hung

LINE_RULES = """\
rule,against,measure,base,electrical_distance
open,ground,vertical,5,
road,road,vertical,6,
cross,line,vertical,1,D_pp
"""


def crossing(study, elevation, **columns):
    """Another line across the middle of the second span, its wire at one elevation."""
    wire = shapely.LineString([(500_450, 5_599_900, elevation), (500_450, 5_600_100, elevation)])
    keys = 'voltage_column = "voltage"' if "voltage" in columns else ""
    study.add_roads()
    study.add_obstacle("lines", "line", [wire], keys, **columns)
    study.rules = LINE_RULES


def test_a_line_below(study):
    """Our wire A hangs above it by some metres; both voltages count, the higher at 123 kV: D_pp 1.15 m (recalled)."""
    crossing(study, 114.0, voltage=[20e3])
    findings = study.check()
    row = findings.row("clearances", against="line", case="hot")
    wire = findings.row("wires", span="2-3", wire=row["wire"], case="hot")
    a, b, S = hung(findings, wire)
    height = float(catenary(0.5, S, a[2], b[2] - a[2], row["catenary_constant_m"]))
    assert row["position"] == "above" and row["other_elevation_m"] == pytest.approx(114, abs=1e-9)
    assert row["actual_m"] == pytest.approx(height - 114, abs=1e-5)
    assert row["required_m"] == pytest.approx(1 + 1.15, abs=1e-12)
    assert row["margin_m"] > 0


def test_a_line_above(study):
    """Seen from below: the highest of our wires is the nearest, in the case in which it hangs tightest."""
    crossing(study, 126.0, voltage=[20e3])
    study.change('name = "ice"\ntemperature = 0\nice = "12 mm"', 'name = "ice"\ntemperature = -20')
    findings = study.check()
    for case in ("hot", "ice"):
        row = findings.row("clearances", against="line", case=case)
        wire = findings.row("wires", span="2-3", wire="B", case=case)
        a, b, S = hung(findings, wire)
        height = float(catenary(0.5, S, a[2], b[2] - a[2], row["catenary_constant_m"]))
        assert (row["wire"], row["position"]) == ("B", "below")
        assert row["actual_m"] == pytest.approx(126 - height, abs=1e-5)
        assert row["other_elevation_m"] == pytest.approx(126, abs=1e-9)
    margins = findings.rows("clearances", against="line").set_index("case")["margin_m"]
    assert 0 < margins["ice"] < margins["hot"]


def test_a_line_too_near_above(study):
    """Half a metre above our wires: it is in violation, and is not taken for one that we pass over."""
    crossing(study, 122.8, voltage=[20e3])
    study.change('name = "ice"\ntemperature = 0\nice = "12 mm"', 'name = "ice"\ntemperature = -20')
    rows = study.check().rows("violations", against="line")
    assert set(rows["position"]) == {"below"}
    assert (rows["actual_m"] > 0).all()


def test_a_wire_across_ours_falls_short(study):
    """A crossing wire at the height of ours between hot and cold: some case has a negative distance."""
    crossing(study, 120.0, voltage=[20e3])
    study.change('name = "ice"\ntemperature = 0\nice = "12 mm"', 'name = "ice"\ntemperature = -20')
    findings = study.check()
    assert len(findings.rows("violations", against="line")) >= 1


def test_a_line_of_unknown_voltage(study):
    """Its requirement is not known, so there is no margin; and not a pass."""
    crossing(study, 114.0, voltage=[np.nan])
    findings = study.check()
    assert not len(findings.rows("clearances", against="line"))
    gaps = findings.rows("not_assessed", against="line")
    assert {"hot", "ice"} <= set(gaps["case"]) and gaps["reason"].str.contains("voltage").all()
    assert findings.result.status == 3


def test_a_study_without_a_cold_case_warns(study):
    """Below another line the cold is the case that counts: a run without one says so, one with a cold case does not."""
    crossing(study, 126.0, voltage=[20e3])
    assert any("in the cold" in text for text in study.check().result.warnings)
    study.change('name = "ice"\ntemperature = 0\nice = "12 mm"', 'name = "ice"\ntemperature = -20')
    assert not any("in the cold" in text for text in study.check().result.warnings)


# Lines and circuits


def test_several_lines(study, make):
    """A second line 100 m to the north, names alike: keys by line, nothing joined across."""
    second = make.line_of(3, line="north")
    second["northing"] += 100
    study.structures = pd.concat([study.structures, second], ignore_index=True)
    study.add_roads()
    findings = study.check()
    spans = findings["spans"]
    assert list(zip(spans["line"], spans["span"], strict=True)) == [
        ("main", "1-2"), ("main", "2-3"), ("main", "3-4"), ("north", "1-2"), ("north", "2-3")]
    ground = findings.rows("clearances", against="ground", case="hot").set_index(["line", "span"])
    assert len(ground) == 5
    assert findings.rows("structures", line="north")["station_m"].iloc[0] == 0
    # The plane is 1 m higher there, base and ground alike: the same clearance.
    both = [ground.loc[(line, "1-2"), "actual_m"] for line in ("main", "north")]
    assert both[0] == pytest.approx(both[1], abs=1e-3)


def test_several_circuits(study):
    study.framings += "hold,D,phase,2,7,18,strain,,\nhang,D,phase,2,7,19,suspension,1.4,40\n"
    study.add_roads()
    wires = study.check()["wires"]
    assert set(zip(wires["wire"], wires["circuit"], strict=True)) == {("A", "1"), ("B", "1"), ("D", "2")}


@pytest.mark.parametrize("column", ["crossarm_azimuth", "bisector"])
def test_a_column_of_crossarms(study, column):
    """A crossarm that is turned by 20 degrees carries its wires along; either end of the arm may be named.

    The column may still have its former name.
    """
    study.add_roads()
    study.structures[column] = [None, 0.0, 200.0, None]
    findings = study.check()
    assert findings["structures"]["crossarm_azimuth_deg"].tolist() == pytest.approx([180, 180, 200, 180], abs=1e-9)
    geometry = findings.row("wires", span="3-4", wire="B", case="hot").geometry
    arm = ends(geometry)[0, :2] - [500_600, 5_600_000]
    assert np.degrees(np.arctan2(*arm)) % 360 == pytest.approx(200, abs=1e-6)
    assert np.hypot(*arm) == pytest.approx(5 * SCALE, abs=1e-3)


def test_two_columns_of_crossarms_are_refused(study):
    study.structures["crossarm_azimuth"] = study.structures["bisector"] = [None, 0.0, 200.0, None]
    with pytest.raises(InputError, match="crossarm_azimuth and bisector, its former name"):
        study.check()


def test_an_angle_is_bisected(study):
    """A turn of 40 degrees to the right at a strain structure: azimuth 90, then 130; the arm points to 200."""
    a = np.radians(130)
    study.structures.loc[3, ["easting", "northing"]] = [500_600 + 300 * np.sin(a), 5_600_000 + 300 * np.cos(a)]
    study.add_roads()
    row = study.check().row("structures", structure="3")
    assert row["line_angle_deg"] == pytest.approx(40, abs=1e-9)
    assert row["crossarm_azimuth_deg"] == pytest.approx(200, abs=1e-9)
