"""The layer `fields`: numbers by hand from the layer of wires, the rule for induced current, and what is not known."""

import numpy as np
import pytest
import shapely

from corridor.conductor.catalogue import find
from corridor.electric.charges import field_at, line_charges, phase_orders

from .conftest import EAST, NORTH
from .curves import SCALE, catenary, hung

THIRD = "hold,C,phase,1,0,22,strain,,\nhang,C,phase,1,0,23,suspension,1.4,40\n"


@pytest.fixture
def three(study):
    study.framings += THIRD
    return study


def positions(findings, row, ground):
    """Right of the line and above the ground where the field is told [m], of wires A, B, C."""
    places = []
    for wire in "ABC":
        own = findings.row("wires", span=row["span"], wire=wire, option=row["option"], case="hot")
        a, b, S = hung(findings, own)
        t = row["distance_from_start_m"] / S
        z = catenary(np.array([t]), S, a[2], b[2] - a[2], own["catenary_constant_m"])[0]
        east, north = a[:2] + t * (b - a)[:2]
        places.append((-(north - NORTH) * SCALE, z, ground(east, north)))
    right, z, under = np.array(places).T
    return np.stack([right, z - under[np.argmin(z - under)]], axis=-1)


def test_by_hand(three, make):
    findings = three.check()
    rows = findings["fields"]
    assert len(rows) == 3 and rows["reason"].isna().all() and set(rows["case"]) == {"hot"}
    for row in (rows.loc[i] for i in rows.index):
        places = positions(findings, row, make.plane)
        assert row["lowest_height_m"] == pytest.approx(places[:, 1].min(), abs=0.02)
        r = find("264-AL1/62-ST1A").diameter / 2
        q = line_charges(places, np.full(3, r), 123e3 / np.sqrt(3) * phase_orders(1))
        y = np.linspace(-25, 25, 5001)
        E = field_at(places, q, np.stack([y, np.ones_like(y)], axis=-1))[:, 0]
        assert 1e3 * row["field_kv_per_m"] == pytest.approx(E.max(), rel=5e-3)
        assert row["field_offset_m"] == pytest.approx(y[E.argmax()], abs=0.3)
        assert 1e5 * row["surface_gradient_kv_per_cm"] == pytest.approx(np.abs(q).max() / r, rel=5e-3)
    assert rows["rule"].isna().all() and rows["above_limit"].isna().all() and findings.result.induced == 0


def at_voltage(study, table, nominal, highest):
    study.change('voltage = "110 kV"', f'voltage = "{nominal} kV"')
    study.change('highest_voltage = "123 kV"', f'highest_voltage = "{highest} kV"')
    study.change('file = "rules.csv"', f'table = "{table}"')
    return study


@pytest.mark.parametrize("table", ["us-safety-code", "us-rural-utility"])
def test_more_than_five_milliamperes_is_told(three, table):
    """Wires 10 m above the ground at 550 kV: above the limit in some spans, and so never status 0."""
    findings = at_voltage(three, table, 500, 550).check()
    rows = findings["fields"]
    assert (rows["vehicle_limit_ma"] == 5).all() and set(rows["rule"].str[-15:]) == {"vehicle-current"}
    above = rows["vehicle_current_ma"] > 5
    assert above.any() and (rows["above_limit"].astype(bool) == above).all()
    assert findings.result.status == 1 and findings.result.induced == 1
    assert any("largest vehicle" in text for text in findings.result.warnings)
    assert set(rows["vehicle"]) == {"tractor and semitrailer of the United States"}


def test_no_limit_up_to_98_kv_to_ground(three):
    """169 kV is 97.6 kV to ground: the code does not ask."""
    rows = at_voltage(three, "us-safety-code", 161, 169).check()["fields"]
    assert rows["vehicle_limit_ma"].isna().all() and rows["above_limit"].isna().all()
    assert (rows["vehicle_current_ma"] > 0).all()


def test_a_current_that_a_rule_asks_for_and_nobody_knows_is_not_assessed(three, make):
    three.write_ground(unknown=lambda e, n: (np.abs(e - EAST - 150) < 30) & (np.abs(n - NORTH) < 50))
    findings = at_voltage(three, "us-safety-code", 230, 242).check()
    row = findings.row("fields", span="1-2")
    assert np.isnan(row["field_kv_per_m"]) and "ground below the span is not known" in row["reason"]
    gap = findings.row("not_assessed", span="1-2", against="vehicle")
    assert gap["reason"] == row["reason"]
    # What a vehicle takes has no say in how hot the wires may get.
    assert findings.rows("limits", span="2-3")["limit_temperature_c"].notna().all()


def test_a_wire_colder_than_the_rule_wants_is_not_judged(three):
    three.change("maximum_temperature = 75", "maximum_temperature = 45")
    three.change("emergency_temperature = 90\n", "")
    findings = at_voltage(three, "us-safety-code", 230, 242).check()
    assert findings["fields"]["above_limit"].isna().all()
    gaps = findings.rows("not_assessed", against="vehicle")
    assert len(gaps) == 3 and gaps["reason"].str.contains("50 °C or more").all()


@pytest.mark.parametrize(("knob", "said"), [
    ("two", "circuit 1 has 2 phase wires, not 3"), ("bundle", "spacing of the bundle is not given"),
    ("cold", "no case at the maximum temperature"), ("twice", "two wires are at one place")])
def test_what_is_not_known_is_null_with_its_reason(study, knob, said):
    if knob != "two":
        study.framings += THIRD
    if knob == "bundle":
        study.change("maximum_temperature = 75", "maximum_temperature = 75\nbundle = 2")
    if knob == "twice":
        study.framings = study.framings.replace("hold,C,phase,1,0,22", "hold,C,phase,1,-4,18")
        study.framings = study.framings.replace("hang,C,phase,1,0,23", "hang,C,phase,1,-4,19")
    if knob == "cold":
        study.change('temperature = "maximum"', "temperature = 60")
    rows = study.check()["fields"]
    assert rows["reason"].str.contains(said).all()
    assert rows[["field_kv_per_m", "surface_gradient_kv_per_cm", "vehicle_current_ma"]].isna().all().all()


def test_an_earthed_wire_changes_little_and_is_left_out_where_unknown(three, make):
    plain = three.check()["fields"]
    three.framings += "hold,S,shield,,0,26,strain,,\nhang,S,shield,,0,26,suspension,0.3,4\n"
    unknown = three.check()["fields"]
    assert unknown["field_note"].str.contains("shield wires are left out").all()
    assert np.allclose(unknown["field_kv_per_m"], plain["field_kv_per_m"])
    three.text += '\n[shield_wire]\nconductor = "105-AL1/17-ST1A"\nmaximum_temperature = 50\n' \
                  '[[shield_wire.stringing]]\nlimit = "20 % RTS"\ntemperature = 10\n'
    known = three.check()["fields"]
    assert known["field_note"].isna().all()
    change = known["field_kv_per_m"] / plain["field_kv_per_m"]
    assert ((change - 1).abs().between(0.005, 0.03)).all()
    assert (known["surface_gradient_kv_per_cm"] > plain["surface_gradient_kv_per_cm"]).all()


def test_geometry_is_the_chord_of_the_span(three):
    findings = three.check()
    rows, spans = findings["fields"], findings["spans"]
    assert shapely.equals(rows.geometry.values, spans.geometry.values).all()
