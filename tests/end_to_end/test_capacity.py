"""Loads on structures beside capacities, with the factors of a code, against statics by hand.

Load and strength factors: ANSI C2, Tables 253-1 and 261-1, grade B in the districts of Rule 250B: vertical 1.50, wind
2.50, tension 1.65; wood 0.65 (recalled, high confidence).
"""

import numpy as np
import pytest

import corridor
from corridor.errors import InputError
from corridor.study.capacity import grades

DISTRICT = '\n[[cases]]\nname = "heavy"\ndistrict = "us-heavy"\n'
HEAD = "structure,framing,wire,material,vertical,transverse,longitudinal\n"
GRAVITY, FOOT, POUND = 9.80665, 0.3048, 4.4482216152605


def given(study, rows, keys="", head=HEAD):
    """The study with capacities, and a case of the heavy district; with factors of 1 where `keys` say nothing."""
    (study.folder / "capacity.csv").write_text(head + rows, encoding="utf-8")
    keys = keys or '[[capacity.factors]]\ncase = "heavy"'
    study.text += f'{DISTRICT}\n[capacity]\nfile = "capacity.csv"\n{keys}\n'
    return study


def flat(study):
    """The study on level ground, every wire at 18 m whether it is held or hangs, so that spans are level."""
    study.write_ground(lambda e, n: 0 * e + 100.0)
    study.framings = study.framings.replace("hold,A,phase,1,-4,18", "hold,A,phase,1,-4,17.6")
    study.framings = study.framings.replace("hold,B,phase,1,5,19", "hold,B,phase,1,5,18.6")
    return study


def test_without_capacities_that_is_said(study):
    findings = study.check()
    rows = findings["structure_loads"]
    assert set(rows["capacity"]) == {"not given"} and rows["over_capacity"].isna().all()
    assert rows["of_capacity"].isna().all() and set(rows["load_factors"]) == {"none"}
    assert not len(findings["structure_capacity"])


def test_a_structure_above_its_capacity_is_told(study):
    """The string at structure 2 pulls down by some 7.6 kN in the heavy district, of which it bears 5."""
    findings = given(study, "2,,A,,5 kN,,\n2,,B,,50 kN,,\n").check()
    row = findings.row("structure_loads", structure="2", wire="A", case="heavy")
    assert row["over_capacity"] and row["of_capacity"] == pytest.approx(row["vertical_n"] / 5000, rel=1e-9)
    assert row["capacity"] == (f"vertical {row['vertical_n'] / 1e3:.4g} kN of 5 kN; transverse and longitudinal "
                               "not given")
    other = findings.row("structure_loads", structure="2", wire="B", case="heavy")
    assert other["over_capacity"] == False and other["of_capacity"] < 0.2  # noqa: E712
    assert findings.result.status == 1 and findings.result.over_capacity >= 1 and not findings.result.violations
    told, = (w for w in findings.result.warnings if "heavy: wires load" in w)
    assert told == f"today: heavy: wires load structures up to {100 * row['of_capacity']:.0f} % of their capacity: 2"
    assert any(w.endswith("for wires of them: 1, 3, 4") for w in findings.result.warnings)


def test_within_its_capacity_nothing_is_told(study):
    findings = given(study, ",hang,,,60 kN,60 kN,60 kN\n,hold,,,100 kN,100 kN,100 kN\n").check()
    assert findings.result.status == 0 and not findings.result.over_capacity
    rows = findings["structure_capacity"]
    assert set(rows["structure"]) == set("1234") and not rows["over_capacity"].any() and (rows["of_capacity"] < 1).all()
    assert set(findings["structure_loads"]["capacity"]) == {"of the whole structure, in structure_capacity"}


def test_factors_of_grade_b_by_hand(study):
    """Level spans of 300 m: at a string 1.5 times weight and ice, 2.5 times wind, 1.65 times what the wires pull the
    swung string back with; wood bears 0.65 of its capacity."""
    findings = given(flat(study), ",hang,A,wood,10 kN,10 kN,10 kN\n", 'grade = "us-B"').check()
    row = findings.row("structure_loads", structure="2", wire="A", case="heavy")
    wire = findings.rows("options").iloc[0]
    D, ice = wire["diameter_m"], 0.5 * 0.0254
    weight = wire["mass_kg_per_m"] * GRAVITY + 57 * POUND / FOOT**3 * np.pi * ice * (D + ice)
    wind = 4 * POUND / FOOT**2 * (D + 2 * ice)
    length = findings.rows("wires", case="heavy", wire="A")["length_m"].iloc[:2].mean()
    bears = 0.65 * 10_000
    assert row["of_capacity_vertical"] == pytest.approx(1.5 * (weight * length + 40 * GRAVITY) / bears, rel=0.02)
    back = wind * length - abs(row["transverse_n"])
    assert 0 < back < 0.1 * wind * length
    assert row["of_capacity_transverse"] == pytest.approx((2.5 * wind * length - 1.65 * back) / bears, rel=2e-3)
    assert row["load_factors"] == "vertical 1.5, wind 2.5, tension 1.65 (us-B, us-heavy; recalled, high)"
    hot = findings.row("structure_loads", structure="2", wire="A", case="hot")
    assert hot["load_factors"] == "none"
    assert hot["of_capacity_vertical"] == pytest.approx(hot["vertical_n"] / 10_000, rel=1e-9)


def test_tension_has_its_own_factor(study):
    """A terminal bears the pull of its wires: 1.65 times along the line, of which the wind across has no part."""
    findings = given(study, "1,,A,metal,,,100 kN\n", 'grade = "us-B"').check()
    row = findings.row("structure_loads", structure="1", wire="A", case="heavy")
    assert row["of_capacity"] == pytest.approx(1.65 * abs(row["longitudinal_n"]) / 100_000, rel=1e-6)


def test_own_factors_go_before_those_of_the_grade(study):
    keys = 'grade = "us-B"\n[[capacity.factors]]\ncase = "heavy"\nvertical = 3\nstrength = 0.5\n'
    findings = given(study, "2,,A,wood,10 kN,,\n", keys).check()
    row = findings.row("structure_loads", structure="2", wire="A", case="heavy")
    assert row["of_capacity"] == pytest.approx(6 * row["vertical_n"] / 10_000, rel=1e-9)
    assert row["load_factors"].endswith("(given in the study)")


def test_the_whole_structure_is_the_sum_of_its_wires(study, make):
    """Also at a strain structure, where sections meet that may be worked on apart; of wires of a known history."""
    study.change("existing = true\n", "existing = true\nloads_seen = true\n")
    findings = given(study, ",hang,,,10 kN,,\n3,,,,90 kN,90 kN,90 kN\n").check()
    for structure, allowed in (("2", 10_000), ("3", 90_000)):
        rows = findings.rows("structure_loads", structure=structure, case="heavy")
        assert len(rows) == (2 if structure == "2" else 4)
        whole = findings.row("structure_capacity", structure=structure, case="heavy")
        assert whole["factored_vertical_n"] == pytest.approx(rows["vertical_n"].sum(), rel=1e-9)
        assert whole["of_capacity_vertical"] == pytest.approx(rows["vertical_n"].sum() / allowed, rel=1e-9)
    assert whole["factored_transverse_n"] == pytest.approx(rows["transverse_n"].abs().sum(), rel=1e-3)
    assert whole["factored_longitudinal_n"] == pytest.approx(abs(rows["longitudinal_n"].sum()), rel=1e-6, abs=1)
    assert findings.row("structure_capacity", structure="2", case="heavy")["over_capacity"]
    assert findings.result.status == 1


def test_sections_in_batches_of_their_own_sum_alike(study, monkeypatch):
    """A strain structure between two batches bears the wires of both."""
    given(study, "3,,,,90 kN,90 kN,90 kN\n")
    at_once = study.check().rows("structure_capacity", structure="3")
    monkeypatch.setattr("corridor.check.BATCH", 2)
    parts = study.check().rows("structure_capacity", structure="3")
    for name in ("factored_vertical_n", "factored_transverse_n", "factored_longitudinal_n"):
        np.testing.assert_allclose(parts[name], at_once[name], rtol=1e-9, atol=1e-6)


def test_a_load_that_is_not_known_passes_nothing(study):
    """A shield wire without a conductor: the structure as a whole is not assessed."""
    study.framings += "hold,S,shield,1,0,22,strain,,\nhang,S,shield,1,0,22,suspension,1,10\n"
    findings = given(study, ",hang,,,100 kN,,\n").check()
    rows = findings["structure_capacity"]
    assert rows["over_capacity"].isna().all() and rows["of_capacity"].isna().all()
    assert rows["capacity"].str.startswith("not assessed").all() and findings.result.status == 3


@pytest.mark.parametrize(("rows", "keys", "words"), [
    ("7,,,,5 kN,,\n", "", "row 2: structure: found '7'"),
    (",hung,,,5 kN,,\n", "", "row 2: framing: found 'hung'.*perhaps 'hang'"),
    ("2,hang,,,5 kN,,\n", "", "both structure and framing"),
    ("2,,C,,5 kN,,\n", "", "row 2: wire: found 'C'"),
    ("2,,A,,,,\n", "", "no capacity"),
    ("2,,A,,5 kg,,\n", "", "row 2: vertical"),
    ("2,,A,,5,,\n", "", "5 N.*from 100"),
    ("2,,A,,5 kN,,\n2,,A,,6 kN,,\n", "", "row 3: found a second row"),
    ("2,,A,,5 kN,,\n", 'grade = "us-B"', "row 2: material: found nothing"),
    ("2,,A,stone,5 kN,,\n", "", "row 2: material: found 'stone'"),
    ("2,,A,wood,5 kN,,\n", 'grade = "us-D"', "capacity.grade: found 'us-D'"),
    ("2,,A,,5 kN,,\n", '[[capacity.factors]]\ncase = "heavi"', "factors.0.case: found 'heavi'.*perhaps 'heavy'"),
])
def test_what_cannot_be_used_is_refused(study, rows, keys, words):
    with pytest.raises(InputError, match=words):
        corridor.check_study(given(study, rows, keys).write(), study.output)


def test_a_column_twice_is_refused_and_blank_rows_are_none(study):
    with pytest.raises(InputError, match="'wire' twice"):
        corridor.check_study(given(study, "2,A,B,5 kN\n", head="structure,wire,wire,vertical\n").write(), study.output)
    (study.folder / "capacity.csv").write_text(" structure , wire,vertical\n\n2,A,5 kN\n,,\n", encoding="utf-8")
    assert study.check().row("structure_loads", structure="2", wire="A", case="heavy")["over_capacity"]


def test_numbers_in_a_unit_of_the_study(study):
    row = given(study, "2,,A,,50,,\n", 'vertical_unit = "kip"').check().row(
        "structure_loads", structure="2", wire="A", case="heavy")
    assert row["of_capacity"] == pytest.approx(row["vertical_n"] / (50_000 * POUND), rel=1e-9)


@pytest.mark.parametrize(("grade", "district", "loads", "metal", "wood"), [
    ("us-B", "us-light", (1.5, 2.5, 1.65), 1.0, 0.65), ("us-C", "us-medium", (1.9, 2.2, 1.3), 1.0, 0.85),
    ("california-A", "california-heavy", (1, 1, 1), 1 / 1.5, 1 / 4),
    ("california-B", "california-light", (1, 1, 1), 1 / 1.25, 1 / 3),
    ("california-C", "california-heavy", (1, 1, 1), 1 / 1.25, 1 / 2),
    ("eu-level-1", "european-ice", (1, 1, 1), 1, 1), ("eu-level-2", "european-wind", (1, 1.2, 1.2), 1, 1),
    ("eu-level-3", "european-ice-and-wind", (1.5, 1.5, 1.5), 1, 1)])
def test_factors_of_grades(grade, district, loads, metal, wood):
    """ANSI C2, Tables 253-1 and 261-1; California, General Order 95, Table 4 (safety factors on strengths); EN 50341-1,
    partial factors of wind 1.2, 1.4 and ice 1.25, 1.5 by reliability level: all recalled, high to medium. Four digits,
    none above."""
    factors = grades()[grade][district]
    assert (factors.vertical, factors.wind, factors.tension) == loads
    for name, strength in (("metal", metal), ("wood", wood)):
        assert factors.strength[name] == pytest.approx(strength, abs=1e-4) and factors.strength[name] <= strength


def test_factors_of_extreme_weather_are_one():
    for grade in ("us-B", "us-C"):
        for district in ("us-extreme-wind", "us-ice-and-wind"):
            factors = grades()[grade][district]
            assert (factors.vertical, factors.wind, factors.tension) == (1, 1, 1) and factors.strength["wood"] == 0.75


@pytest.mark.parametrize(("district", "keys", "grade"), [
    ("us-heavy", "", True), ("european-ice", 'grade = "us-B"', True),
    ("netherlands-ice-a", 'grade = "eu-level-2"', False)])
def test_a_district_whose_factors_nobody_gives_is_not_assessed(study, district, keys, grade):
    """Loads as they are beside what structures bear are not a pass of a code that multiplies them."""
    more = {"us-heavy": "", "european-ice": "temperature = 0\nice_weight = 10\nice_density = 900\n",
            "netherlands-ice-a": "temperature = 0\nice_density = 900\n"}[district]
    other = {"us-B": "us-light", "eu-level-2": "european-wind"}.get(keys[9:-1], "")
    study.text += f'\n[[cases]]\nname = "code"\ndistrict = "{district}"\n{more}'
    if other:
        study.text += f'\n[[cases]]\nname = "other"\ndistrict = "{other}"\n'
        study.text += "temperature = 0\nwind = 300\n" if other == "european-wind" else ""
    (study.folder / "capacity.csv").write_text(HEAD + ",hang,,metal,900 kN,900 kN,900 kN\n", encoding="utf-8")
    study.text += f'\n[capacity]\nfile = "capacity.csv"\n{keys}\n'
    findings = study.check()
    row = findings.row("not_assessed", case="code")
    assert row["reason"].startswith(f"no load factors of the district {district} are known here")
    assert ("or a grade" in row["reason"]) == grade and "[[capacity.factors]] of case 'code'" in row["reason"]
    assert findings.result.status == 3
    study.text += '\n[[capacity.factors]]\ncase = "code"\ntension = 1.3\n'
    findings = study.check()
    assert not len(findings["not_assessed"]) and findings.result.status == 0
    told = set(findings.rows("structure_capacity", case="code")["load_factors"])
    assert told == {"vertical 1, wind 1, tension 1.3 (given in the study)"}


def test_how_a_district_is_known_is_told(study):
    """Its edition, clause and confidence, where a case is of it."""
    study.text += DISTRICT
    told, = (words for words in study.check().result.warnings if "us-heavy" in words)
    assert told.startswith("loads of the district us-heavy: ANSI C2, ")
    assert "Rule 250B" in told and "recalled, high" in told
