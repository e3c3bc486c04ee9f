"""Doubts about the data: told before anything is computed, in the findings, and never a pass."""

import json
from types import SimpleNamespace

import numpy as np
import pyogrio
import pytest
import shapely

from corridor.clearance.rule_files import TABLES, load_table
from corridor.conductor import catalogue
from corridor.errors import InputError
from corridor.inspection.inspector import KINDS
from corridor.inspection.rules import sizes
from corridor.inspection.tables import write_reference
from corridor.inspection.wires import conductors
from corridor.session import open_study
from tests.common import ask, run
from tests.test_house import ROOT

ACCEPTED = '\n[[accepted]]\nid = "{0}"\nfeatures = {1}\nreason = "{2}"\n'


def bases(study, factor=1.0, add=0.0):
    """Give the structures bases of their own, on the ground but for a factor and an offset."""
    lines = study.structures
    ground = 100 + 0.02 * (lines["easting"] - lines["easting"][0])
    lines["base_elevation"] = ground * factor + add


def ids(study):
    """Ids of the doubts of a study."""
    return {each.doubt.kind.id for each in ask(study.write(), "inspect").doubts}


def test_clean_data_raise_nothing(study):
    bases(study)
    study.add_roads()
    findings = study.check()
    assert findings.result.status == 0 and not len(findings["doubts"])


@pytest.mark.parametrize(("factor", "add", "word"), [(1 / 0.3048, 0, "feet"), (0.3048, 0, "feet"), (1, 47.3, "above"),
                                                     (1, -0.8, "below")])
def test_bases_off_the_ground(study, factor, add, word):
    """Feet read as metres and the reverse, heights above the ellipsoid, and an old datum."""
    bases(study, factor, add)
    findings = study.check()
    row = findings.row("doubts", doubt="base-offset")
    assert row["severity"] == "serious" and not row["accepted"] and word in row["found"]
    assert findings.result.status != 0


def test_a_single_base(study):
    bases(study)
    study.structures.loc[2, "base_elevation"] += 10
    row = study.check().row("doubts", doubt="base-single")
    assert row["feature"] == "3" and shapely.get_x(row["geometry"]) == study.structures["easting"][2]


def test_a_doubt_is_no_pass_until_it_is_accepted(study, capsys):
    """Status 3 while it is open; accepted, the same data are clear, and the reason is in the findings."""
    bases(study, add=0.8)
    assert study.check().result.status == 3
    study.write()
    assert study.command() == 3
    assert "1 could hide a violation" in capsys.readouterr().err
    study.text += ACCEPTED.format("base-offset", '["structures"]', "plinths of 0.8 m")
    findings = study.check()
    row = findings.row("doubts", doubt="base-offset")
    assert findings.result.status == 0 and row["accepted"] and row["reason"] == "plinths of 0.8 m"


def test_an_acceptance_is_of_its_feature_alone(study, make):
    study.structures = make.line_of(5)
    bases(study)
    study.structures.loc[[1, 2], "base_elevation"] += [9, 10]
    study.text += ACCEPTED.format("base-single", '["2", "7"]', "a mast on a mound")
    findings = study.check()
    accepted = findings.rows("doubts", doubt="base-single").set_index("feature")["accepted"].to_dict()
    assert accepted == {"2": True, "3": False}
    assert findings.result.status != 0
    assert "the study accepts a doubt that is none: base-single: 7" in findings["run"]["warnings"][0]


def test_an_unknown_doubt_cannot_be_accepted(study):
    study.text += ACCEPTED.format("base-offse", "[]", "so")
    with pytest.raises(InputError, match="accepted.0.id.*base-offset"):
        study.check()


def test_voids_stored_as_zero(study, make):
    """Not marked as empty, cells of 0 m in the middle of a span would be a pit that every wire clears."""
    study.write_ground(lambda e, n: np.where(np.abs(e - make.EAST - 450) < 25, 0.0, make.plane(e, n)))
    findings = study.check()
    row = findings.row("doubts", doubt="ground-void")
    assert row["feature"] == "2-3" and findings.result.status == 3


def test_ground_may_be_at_any_height(study, make):
    """Whole metres that pass 255 and 99, as a coarse model has them, are what they are; so is the sea at 0 m."""
    for low in (250, 94, -4):
        study.write_ground(lambda e, n, low=low: np.maximum(np.round(low + (e - make.EAST) / 90), 0))
        assert not ids(study)


def test_a_shield_wire_of_steel(study):
    """It is no aluminium, and need not be said to be steel."""
    study.framings += "hold,S,shield,,0,25,strain,,\nhang,S,shield,,0,26,post,,\n"
    study.text += """
[shield_wire]
conductor = "steel"
[[shield_wire.stringing]]
limit = "15 % RTS"
temperature = 10
[[conductors]]
name = "steel"
outer_area = "50 mm^2"
core_area = 0
diameter = "9 mm"
mass = 0.4
rts = "60 kN"
resistance_20 = "3.9 ohm/km"
outer_modulus = "180 GPa"
outer_expansion = 11.5e-6
permanent_set = 0
elongation = "linear"
"""
    assert not ids(study)
    study.text = study.text.replace("mass = 0.4", "mass = 0.12")
    assert "conductor-mass" in ids(study)


OPTICAL = """
[shield_wire]
conductor = "{}"
[[shield_wire.stringing]]
limit = "15 % RTS"
temperature = 10
[[conductors]]
name = "24 fibres"
family = "optical ground wire"
outer_area = "66 mm^2"
diameter = "11.4 mm"
mass = 0.44
rts = "72 kN"
resistance_20 = "0.80 ohm/km"
outer_modulus = "130 GPa"
outer_expansion = 14e-6
"""


@pytest.mark.parametrize("name", ["24 fibres", "3/8 EHS", "7 No. 8 20SA"])
def test_shield_wires_of_the_catalogue_and_by_data(study, name):
    """Tubes of fibres leave a third of an optical ground wire's circle without metal: no doubt of it."""
    study.framings += "hold,S,shield,,0,25,strain,,\nhang,S,shield,,0,26,post,,\n"
    study.text += OPTICAL.format(name)
    assert not ids(study)
    if name == "24 fibres":
        study.text = study.text.replace("optical ground wire", "aluminium-clad steel")
        assert "conductor-diameter" in ids(study)


@pytest.mark.parametrize("name", TABLES)
def test_built_in_rules_raise_nothing(name):
    """At every highest voltage of IEC 60038 that they are for, but for what asks for less than the electrical distance.

    At 550 kV that is taken at 765 kV, and is more than some codes ask for.
    """
    thin = set()
    for kilovolts in (12, 24, 36, 72.5, 123, 145, 245, 300, 420, 550, 800):
        study = SimpleNamespace(rules=SimpleNamespace(file=None, table=name))
        evidence = SimpleNamespace(inputs=SimpleNamespace(rules=load_table(name), study=study), kilovolts=kilovolts)
        doubts = list(sizes(evidence))
        assert {doubt.kind.id for doubt in doubts} <= {"rule-below-distance"}
        thin |= {kilovolts} if doubts else set()
    assert name == "vegetation-flashover" and 245 in thin or thin <= {550}


def test_conductors_of_the_catalogue_raise_nothing():
    options = [SimpleNamespace(wiring=SimpleNamespace(conductor=catalogue.find(name))) for name in catalogue.names()]
    inputs = SimpleNamespace(options=options, shield=None, others={}, study=SimpleNamespace(conductors=()))
    assert len(options) > 600 and not list(conductors(SimpleNamespace(inputs=inputs, files={"study": "s"})))


def test_the_page_tells_doubts(study):
    """In its head and in a table that needs no script."""
    bases(study, add=0.8)
    study.check()
    page = ask(study.path, "report", study.output).output.read_text(encoding="utf-8")
    assert "1 doubt about the data could hide a violation" in page and "bases lie 0.80 m above the ground" in page


def test_the_command(study, tmp_path, capsys):
    """The table of doubts on standard output, in files, and as JSON; status 3 while a serious one is open."""
    bases(study, add=0.8)
    study.write()
    table, layer = tmp_path / "doubts.csv", tmp_path / "doubts.gpkg"
    for path in (table, layer):
        assert run("inspect", study.path, "-o", path) == 3
    said = capsys.readouterr()
    assert "base-offset (serious), line.gpkg: structures" in said.out and "1 could hide" not in said.out
    assert table.read_text(encoding="utf-8").count("\n") == 2
    assert pyogrio.read_dataframe(layer)["doubt"].tolist() == ["base-offset"]
    run("inspect", study.path, "--json")
    answer = json.loads(capsys.readouterr().out)
    assert answer["open"] == 1 and answer["doubts"][0]["doubt"] == "base-offset"


@pytest.mark.parametrize("name", ["doubts.txt", "nowhere/doubts.csv"])
def test_no_such_output(study, tmp_path, name, capsys):
    study.write()
    assert run("inspect", study.path, "-o", tmp_path / name) == 2


def test_inspecting_twice_is_the_same(study):
    bases(study, add=0.8)
    with open_study(study.write()) as opened:
        assert opened.inspect() == opened.inspect() == opened.check().inspection


def test_ids_are_words_and_kinds_are_told_whole():
    for name, kind in KINDS.items():
        assert name == kind.id and name.replace("-", "").isalpha() and kind.severity in ("serious", "minor")
        assert all(text and text[-1] != "." for text in kind)


def test_the_page_is_that_of_the_code(tmp_path):
    """docs/doubts.md is made of the kinds; made anew it is the same."""
    write_reference(tmp_path / "doubts.md")
    assert (ROOT / "docs" / "doubts.md").read_text(encoding="utf-8") == (tmp_path / "doubts.md").read_text(
        encoding="utf-8")
