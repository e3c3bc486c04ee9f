"""The keys of a study that say how a wire stretches and what it has been through, seen in the findings."""

import numpy as np
import pytest

from corridor.conductor.materials import FOLDER
from corridor.errors import InputError

from .conftest import STRENGTH, measured_drake

OTHER = """
[[options]]
name = "annealed"
conductor = "264-A0/62-ST6C"
maximum_temperature = 150
pretension = "45 % RTS"
[[options.stringing]]
limit = "existing"
case = "ice"
"""

OURS = """
[[conductors]]
name = "ours"
family = "hard-drawn aluminium on steel"
outer_area = "264.4 mm^2"
core_area = "61.7 mm^2"
diameter = "23.5 mm"
mass = 1.213
rts = "111.5 kN"
resistance_20 = "0.1093 ohm/km"
elongation = "our curves"
compression = "8 MPa"
compression_low = "2 MPa"
compression_high = "15 MPa"
"""


def test_history_and_the_knee_are_told(study):
    """Creep by estimated curves, the knee between both ends of its band, margins likewise, and a warning."""
    findings = study.check()
    rows = findings["sections"]
    assert set(rows.set_by) == {"creep"} and (rows.outer_set > 3e-4).all()
    assert ((rows.knee_low_c < rows.knee_temperature_c) & (rows.knee_temperature_c < rows.knee_high_c)).all()
    table = findings["clearances"]
    banded = table[table.margin_low_m.notna()]
    assert ((banded.margin_low_m <= banded.margin_m) & (banded.margin_m <= banded.margin_high_m)).all()
    assert set(banded.case) == set(table.case)
    width = banded.margin_high_m - banded.margin_low_m
    assert (width > 1e-3).all() and (width[banded.case != "swung"] > 0.01).all()
    assert "estimated from its parts" in findings["run"].warnings[0]


def test_a_wire_strung_to_what_today_s_wire_bears(study):
    """The other wire has the tension of today's under ice, and was drawn to 45 % first."""
    study.text += OTHER
    rows = study.check()["sections"]
    rows = rows[rows.case == "ice"]
    today, other = (rows[rows.option == name].horizontal_tension_n.to_numpy() for name in ("today", "annealed"))
    np.testing.assert_allclose(other, today, rtol=5e-3)
    assert (rows[rows.option == "annealed"].governing_limit
            == "tension of the existing wire in ice, final").all()
    assert set(rows[rows.option == "annealed"].set_by) == {"pretension"}


def test_a_measured_section(study):
    """Its tension at the temperature of the measurement is the one measured; the other section keeps its limit."""
    study.change('name = "swung"', 'name = "as measured"\ntemperature = 14\nchecks = ["vertical"]\n[[cases]]\n'
                 'name = "swung"')
    study.change("existing = true", 'existing = true\nmeasured = "measured.csv"')
    (study.folder / "measured.csv").write_text("section,temperature,horizontal_tension\n1-3,14,17500\n")
    findings = study.check()
    rows = findings.rows("sections", case="as measured").set_index("section")
    assert rows.horizontal_tension_n["1-3"] == pytest.approx(17500, rel=1e-9)
    assert rows.governing_limit["1-3"] == "measured: 17500 N at 14 °C"
    assert rows.governing_limit["3-4"].startswith("18 % RTS")
    assert "options.today.measured" in set(findings["inputs"].part)


def test_margins_are_those_of_the_less_favourable_history(study):
    """A measured wire, 38 mm of ice among the cases: hot margins are no better than with the load settled either way.

    Without the load they are the ones that a study without the case has. That it has come would help, by half a metre.
    """
    plain, margins = study.text, {}
    for name, seen, cases in (("open", "", STRENGTH), ("came", "loads_seen = true\n", STRENGTH),
                              ("never", "loads_seen = false\n", STRENGTH), ("not listed", "loads_seen = false\n", "")):
        study.text = plain
        measured_drake(study, seen)
        study.text += cases
        margins[name] = study.check().rows("clearances", case="hot").margin_m.to_numpy()
    np.testing.assert_allclose(margins["never"], margins["not listed"], atol=1e-6)
    assert (margins["came"] > margins["never"] + 0.5).any()
    np.testing.assert_allclose(margins["open"], np.minimum(margins["came"], margins["never"]), atol=1e-4)


def test_a_section_that_does_not_exist_is_refused(study):
    study.change("existing = true", 'existing = true\nmeasured = "measured.csv"')
    (study.folder / "measured.csv").write_text("section,temperature,horizontal_tension\n1-2,14,17500\n")
    with pytest.raises(InputError) as caught:
        study.check()
    assert "'1-2'" in str(caught.value) and "1-3" in str(caught.value)


def test_curves_and_a_band_of_ones_own(study):
    """The same curves under another name, for a conductor of 30 and 7 wires; the band is the one given."""
    text = (FOLDER / "curves.csv").read_text(encoding="utf-8").replace("aluminium on steel 26/7", "our curves")
    (study.folder / "curves.csv").write_text(text, encoding="utf-8")
    study.text = 'curves = "curves.csv"\n' + study.text + OURS
    study.change('conductor = "264-AL1/62-ST1A"', 'conductor = "ours"')
    findings = study.check()
    rows = findings["sections"]
    assert set(rows.set_by) == {"creep"} and (rows.core_set > 0).all()
    assert (rows.knee_high_c - rows.knee_low_c > 25).all()
    assert "estimated" not in (findings["run"].warnings[0] or "")
    assert "curves" in set(findings["inputs"].part)


@pytest.mark.parametrize(
    ("old", "new", "where", "found"),
    [
        ("existing = true", 'existing = true\npretension = "1800 m"', "options.today.pretension", "'1800 m'"),
        ("existing = true", 'existing = true\npretension = "500 kN"', "options.today.pretension", "500000 N"),
        ("existing = true", "existing = true\nage = 0", "options.today.age", "0"),
        ("existing = true", 'existing = true\nloads_seen = ["hot"]', "options.today.loads_seen", "'hot'"),
        ('conductor = "264-AL1/62-ST1A"', 'conductor = "Drake"\nage = 40', "options.today.age", "40 years"),
        ('limit = "18 % RTS"', 'limit = "existing"', "options.today.stringing.0.limit", "'existing'"),
    ],
)
def test_keys_that_cannot_be_used(study, old, new, where, found):
    study.change(old, new)
    with pytest.raises(InputError) as caught:
        study.check()
    assert caught.value.where == where and found in caught.value.found


@pytest.mark.parametrize(("end", "column"), [("15 MPa", "margin_low_m"), ("2 MPa", "margin_high_m")])
def test_the_band_is_what_another_compression_gives(study, other_study, end, column):
    """Margins at an end of the band, and those of a study whose wire has that compression.

    5 mm: the band keeps the place and takes the change of sag from the ruling span; the other study does neither.
    """
    for each, compression in ((study, "8 MPa"), (other_study, end)):
        each.text += OURS.replace("8 MPa", compression).replace("our curves", "linear")
        each.change('conductor = "264-AL1/62-ST1A"', 'conductor = "ours"')
    band, wanted = (each.check().rows("clearances", case="hot") for each in (study, other_study))
    np.testing.assert_allclose(band[column], wanted.margin_m, atol=5e-3)
    assert (np.abs(band.margin_m - wanted.margin_m) > 0.02).all()


def test_how_the_conductor_is_known_is_told_where_it_is_used(study, other_study):
    """What the catalogue says of a row, also that its strength is known with low confidence."""
    study.change('conductor = "264-AL1/62-ST1A"', 'conductor = "ACAR 1024.5 24/13"')
    row = study.check().rows("options").iloc[0]
    assert row["conductor_source"].startswith("ASTM B524") and "strength low" in row["conductor_confidence"]
    other_study.text += OURS.replace("our curves", "linear")
    other_study.change('conductor = "264-AL1/62-ST1A"', 'conductor = "ours"')
    row = other_study.check().rows("options").iloc[0]
    assert row["conductor_source"] == row["conductor_confidence"] == "given in the study"
