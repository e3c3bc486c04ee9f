"""Wires of other lines between attachments, or of an assumed state: held against catenaries worked out here.

A linear wire of one span: H from the cubic of the parabola is the change of state of any handbook; the study's own
solution is exact, so a sag of some metres agrees within two centimetres. No temperature here is above the wire's knee.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from corridor.conductor import catalogue

from .curves import SCALE, catenary, hung

RULES = """\
rule,against,measure,base
open,ground,vertical,4
cross,line,vertical,1.5
"""
WIRE = catalogue.find("264-AL1/62-ST1A")
TENSION, AT, HOTTEST = 20_000.0, 10.0, 60.0
WEIGHT = WIRE.mass * 9.80665
LINEAR = f"""
[[conductors]]
name = "theirs"
family = "hard-drawn aluminium on steel"
elongation = "linear"
outer_area = {WIRE.outer_area}
core_area = {WIRE.core_area}
diameter = {WIRE.diameter}
mass = {WIRE.mass}
rts = {WIRE.rts}
resistance_20 = {WIRE.resistance_20}
"""
KEYS = f"""voltage = "20 kV"
elevation_column = "z"
[obstacles.wires]
conductor = "theirs"
tension = {TENSION}
temperature = {AT}
maximum_temperature = {HOTTEST}
"""


def tension(S, temperature, load=WEIGHT):
    """H [N] of a level span by `H^2 (H - H0 + EA w0^2 S^2/(24 H0^2) + EA a dT) = EA w^2 S^2/24`, the common cubic."""
    EA = WIRE.outer_modulus * WIRE.outer_area + WIRE.core_modulus * WIRE.core_area
    a = (WIRE.outer_modulus * WIRE.outer_area * WIRE.outer_expansion
         + WIRE.core_modulus * WIRE.core_area * WIRE.core_expansion) / EA
    b = -TENSION + EA * WEIGHT**2 * S**2 / (24 * TENSION**2) + EA * a * (temperature - AT)
    roots = np.roots([1, b, 0, -EA * load**2 * S**2 / 24])
    return float(roots[np.isreal(roots)].real.max())


def across(study, elevation, *, half=100.0, shift=20.0, keys=KEYS, **columns):
    """Another line across the second span, strung between two points; ours crosses it off its middle."""
    points = [shapely.Point(500_450, 5_600_000 + shift + side * half) for side in (-1, 1)]
    columns = {"order": [1.0, 2.0], "z": [elevation, elevation]} | columns
    study.add_roads()
    study.add_obstacle("others", "line", points, keys, **columns)
    study.text += LINEAR
    study.rules = RULES


def elevation_at(row, elevation, H, load, *, half=100.0, shift=20.0):
    """Elevation of the other wire where ours crosses it: wire A runs 4 m north of the line, B 5 m south."""
    offset = {"A": 4.0, "B": -5.0}[row["wire"]]
    S = 2 * half * SCALE_OF_GROUND
    share = (half - shift + offset * SCALE) / (2 * half)
    return float(catenary(share, S, elevation, 0.0, H / load))


#: Ground length of a metre of the grid there, 100 m above the ellipsoid.
SCALE_OF_GROUND = (1 + 117 / 6_371_000) / SCALE


def our_height(findings, row):
    wire = findings.row("wires", span="2-3", wire=row["wire"], case=row["case"])
    a, b, S = hung(findings, wire)
    return float(catenary(0.5, S, a[2], b[2] - a[2], wire["catenary_constant_m"]))


def test_theirs_below_hangs_at_15_degrees_without_load(study):
    across(study, 112.0)
    findings = study.check()
    for case in ("hot", "ice"):
        row = findings.row("clearances", against="line", case=case)
        theirs = elevation_at(row, 112.0, tension(200 * SCALE_OF_GROUND, 15.0), WEIGHT)
        assert row["other_elevation_m"] == pytest.approx(theirs, abs=0.01)
        assert row["actual_m"] == pytest.approx(our_height(findings, row) - row["other_elevation_m"], abs=1e-4)
        assert (row["position"], row["other_state"]) == ("above", "at 15 °C without load")
        assert row["obstacle"] == "others:1-2" and row["margin_m"] == pytest.approx(row["actual_m"] - 1.5, abs=1e-9)


def test_theirs_below_at_the_air_of_the_case(study):
    """Ice falls at 0 °C; the hot case has the air of the ratings, 35 °C."""
    across(study, 112.0, keys=KEYS + 'unloaded = "ambient"\n')
    study.text += "\n[rating]\nambient = 35\nwind_speed = 0.6\nsolar = 1000\n"
    findings = study.check()
    for case, air in (("hot", 35.0), ("ice", 0.0)):
        row = findings.row("clearances", against="line", case=case)
        theirs = elevation_at(row, 112.0, tension(200 * SCALE_OF_GROUND, air), WEIGHT)
        assert row["other_elevation_m"] == pytest.approx(theirs, abs=0.01)
        assert row["other_state"] == f"at {air:g} °C without load"
    hot, ice = (findings.row("clearances", against="line", case=case)["other_elevation_m"] for case in ("hot", "ice"))
    assert ice > hot + 0.3


def test_theirs_above_hangs_at_its_worst(study):
    """At 60 °C in the hot case; under our ice where that is lower: 40 mm is, 12 mm is not. Sag 6 m: the cubic is off
    by 2 cm."""
    across(study, 132.0)
    twelve = study.check().row("clearances", against="line", case="ice")
    assert twelve["other_state"] == "at its maximum temperature, 60 °C"
    study.change('ice = "12 mm"', 'ice = "40 mm"')
    findings = study.check()
    ice = WEIGHT + np.pi * 913 * 9.80665 * 0.04 * (WIRE.diameter + 0.04)
    S = 200 * SCALE_OF_GROUND
    states = {"hot": (tension(S, HOTTEST), WEIGHT), "ice": (tension(S, 0.0, ice), ice)}
    for case, (H, load) in states.items():
        row = findings.row("clearances", against="line", case=case)
        assert row["other_elevation_m"] == pytest.approx(elevation_at(row, 132.0, H, load), abs=0.04)
        assert row["position"] == "below" and row["wire"] == "B"
    told = findings.rows("clearances", against="line").set_index("case")["other_state"]
    assert (told["hot"], told["ice"]) == ("at its maximum temperature, 60 °C", "with our ice at 0 °C")
    assert (tension(S, 0.0, ice) / ice) < (tension(S, HOTTEST) / WEIGHT)


def test_theirs_in_wind_is_at_its_worst_too(study):
    """Swung wires are compared with the same states: below at 15 °C, above at 60."""
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    across(study, 132.0)
    findings = study.check()
    row, hot = (findings.row("clearances", against="line", case=case) for case in ("swung", "hot"))
    assert row["other_state"] == hot["other_state"] and row["position"] == "below"
    assert row["other_elevation_m"] == pytest.approx(hot["other_elevation_m"], abs=0.1)


def test_the_limit_of_ours_counts_theirs_unloaded(study):
    """Our wire at its limit hangs by the requirement above theirs at 15 °C."""
    across(study, 119.6)
    findings = study.check()
    limit = findings.row("limits", span="2-3")
    assert limit["governing_against"] == "line" and limit["limit_temperature_c"] < 75
    study.change("maximum_temperature = 75\n", f"maximum_temperature = {limit['limit_temperature_c']:.6f}\n")
    again = study.check()
    assert again.row("clearances", against="line", case="hot")["margin_m"] == pytest.approx(0, abs=2e-3)


@pytest.mark.parametrize(("elevation", "position", "sign"), [(112.0, "above", 1), (130.0, "below", -1)])
def test_an_assumed_state_may_be_off_by_what_is_allowed(study, elevation, position, sign):
    """A surveyed wire and, a tenth of a millimetre beside it, one of an assumed state: 1.25 m less room, as told."""
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    for name, east, keys in (("known", 500_450.0, ""), ("unknown", 500_450.0001, 'state = "assumed"\nmovement = 1.25')):
        wire = shapely.LineString([(east, 5_599_900, elevation), (east, 5_600_100, elevation)])
        study.add_obstacle(name, "line", [wire], f'voltage = "20 kV"\n{keys}')
    study.rules = RULES
    rows = study.check().rows("clearances", against="line").set_index(["obstacle", "case"])
    for case in ("hot", "ice", "swung"):
        known, unknown = rows.loc[("known:1", case)], rows.loc[("unknown:1", case)]
        assert unknown["other_elevation_m"] == pytest.approx(elevation + sign * 1.25, abs=1e-9)
        assert known["margin_m"] - unknown["margin_m"] == pytest.approx(1.25, abs=2e-3)
        assert unknown["position"] == known["position"] == position
        assert unknown["other_state"] == "state assumed: up to 1.25 m from where it was surveyed"
        assert pd.isna(known["other_state"])


def test_wires_of_several_lines_in_any_order(study):
    """Two wires of a line given out of order: their spans are named, and each hangs by its own attachments."""
    across(study, 0.0, keys=KEYS.replace("[obstacles.wires]", "[obstacles.wires]\nwire_column = \"w\"\n"
                                         "line_column = \"l\""))
    points = [shapely.Point(500_440 + dx, 5_600_000 + dy) for dx in (0, 20) for dy in (110, -290, -90)]
    study.text = study.text.replace("others.gpkg", "more.gpkg").replace('layer = "others"', "")
    import geopandas as gpd
    gpd.GeoDataFrame({"order": [3.0, 1.0, 2.0] * 2, "z": [112.0, 110.0, 111.0, 113.0, 112.0, 111.0],
                      "w": ["u"] * 3 + ["v"] * 3, "l": ["L"] * 6}, geometry=points, crs="EPSG:25832").to_file(
        study.folder / "more.gpkg", layer="more", driver="GPKG")
    findings = study.check()
    rows = findings.rows("clearances", against="line", case="hot").set_index("obstacle")
    assert set(rows.index) == {"others:L u 2-3", "others:L v 2-3"}
    assert 105 < rows.loc["others:L u 2-3", "other_elevation_m"] < rows.loc["others:L v 2-3", "other_elevation_m"] < 112


@pytest.mark.parametrize(("columns", "reason"), [
    ({"z": [112.0, np.nan]}, "an attachment without elevation"),
    ({"order": [1.0, np.nan]}, "an attachment without order"),
    ({"z": [112.0, -9999.0]}, "an attachment without elevation"),
])
def test_attachments_at_fault_are_not_assessed(study, columns, reason):
    across(study, 112.0, **columns)
    findings = study.check()
    gaps = findings.rows("not_assessed", against="line")
    assert len(gaps) and gaps["reason"].str.contains(reason).all()
    assert findings.result.status == 3 and not len(findings.rows("clearances", against="line"))


def test_one_attachment_is_no_span(study):
    across(study, 112.0)
    import geopandas as gpd
    gpd.GeoDataFrame({"order": [1.0], "z": [112.0]}, geometry=[shapely.Point(500_450, 5_600_000)],
                     crs="EPSG:25832").to_file(study.folder / "others.gpkg", layer="others", driver="GPKG")
    gaps = study.check().rows("not_assessed", against="line")
    assert gaps["reason"].tolist() == ["a wire of one attachment"]


@pytest.mark.parametrize(("keys", "where"), [
    ('state = "assumed"', "movement"), ('movement = "1 m"', "movement"),
    ('state = "assumed"\nmovement = "1 m"\nheight = 9', "state"),
    (KEYS.replace('elevation_column = "z"', 'elevation_column = "z"\nheight = 3'), "height"),
    (KEYS.replace("maximum_temperature = 60.0", "maximum_temperature = 5"), "maximum_temperature"),
    (KEYS.replace("theirs", "264-AL1/62-ST1"), "conductor"),
    (KEYS.replace('"z"', '"zz"'), "zz"),
])
def test_what_cannot_be_is_one_clear_error(study, keys, where):
    across(study, 112.0, keys=keys)
    with pytest.raises(study_error(), match=where):
        study.check()


def study_error():
    from corridor.errors import InputError
    return InputError


def test_attachments_that_count_and_the_highest_of_their_voltages(study, other_study):
    """Rows of another state are no attachments; of 20 and 110 kV in one text 110 kV asks for the room."""
    lines = "cross,line,vertical,1.5,0.01\n"
    for each, kv, keys in ((study, "20000;110000", 'where = {state = "built"}\n'), (other_study, "110000", "")):
        own = keys + KEYS.replace('voltage = "20 kV"', 'voltage_column = "kv"')
        across(each, 108.0, keys=own, kv=[kv, kv], state=["built", "built"])
        each.rules = RULES.replace("base\n", "base,other_per_kv\n").replace(",4\n", ",4,\n").replace(
            "cross,line,vertical,1.5\n", lines)
    path = study.folder / "others.gpkg"
    table = gpd.read_file(path)
    planned = table.iloc[[0]].assign(order=1.5, z=170.0, state="planned")
    path.unlink()
    pd.concat([table, planned], ignore_index=True).to_file(path, layer="others", driver="GPKG")
    rows = [each.check().rows("clearances", against="line").set_index("case") for each in (study, other_study)]
    assert len(rows[0]) and rows[0]["voltage_adder_m"]["hot"] == pytest.approx(0.01 * 110)
    for name in ("margin_m", "required_m"):
        np.testing.assert_allclose(rows[0][name], rows[1][name], atol=1e-9)
