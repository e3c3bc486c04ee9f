"""How far the rule of each clearance can be trusted: its confidence and its edition, as its table has them."""

import csv

import numpy as np
import pytest
import shapely

from corridor.clearance.rule_files import FOLDER, load_table
from corridor.clearance.rules import distance_confidence
from corridor.outputs.field_export import field_rows
from corridor.session import open_study

from .conftest import EAST, NORTH

TABLE = "european-electrical-distance"


def of_distances():
    """Confidence by highest voltage [kV], as the table of electrical distances has it."""
    with (FOLDER / "electrical_distance.csv").open(encoding="utf-8", newline="") as stream:
        return {float(row["highest_voltage"]): row["confidence"] for row in csv.DictReader(stream)}


@pytest.fixture
def by_table(study):
    """The study by a built-in table, with a row of its own for roads, and a mast that no horizontal rule is for."""
    study.change('file = "rules.csv"', f'file = "rules.csv"\ntable = "{TABLE}"')
    study.rules = "rule,against,measure,base,confidence,edition\nours,road,vertical,9,measured,2019\n"
    study.change('checks = ["horizontal"]', 'checks = ["vertical", "horizontal"]')
    study.add_roads()
    study.add_obstacle("masts", "mast", [shapely.Point(EAST + 450, NORTH - 8)], "height = 30")
    return study


def test_each_row_has_that_of_its_rule(by_table):
    """A row that counts the electrical distance in tells how that is known, too."""
    rows, table = by_table.check()["clearances"], load_table(TABLE)
    distance = of_distances()[123.0]
    sure = [f"{text}; {kind} {distance}" if kind else text
            for text, kind in zip(table.confidence, table.electrical_distance, strict=True)]
    known = {name: told for name, *told in zip(table.rule, sure, table.edition, strict=True)}
    known |= {"ours": ["measured", "2019"], "electrical distance": [distance, "EN 50341-1, not read"]}
    told = rows[["rule_confidence", "rule_edition"]].replace(np.nan, None).to_numpy().tolist()
    assert told == [known[rule] for rule in rows["rule"]]
    assert {"ours", "eu-ground", "electrical distance"} <= set(rows["rule"])


def test_a_table_that_does_not_say_and_an_edge_without_a_rule_have_none(study):
    rows = study.check()["clearances"]
    assert {"open", "edge of the right-of-way"} <= set(rows["rule"])
    assert rows["rule_confidence"].isna().all() and rows["rule_edition"].isna().all()


def test_violations_schedule_and_words_for_the_field_carry_it(by_table):
    by_table.rules = by_table.rules.replace(",9,", ",90,")
    findings = by_table.check()
    short = findings.rows("violations", against="road")
    assert set(short["rule_confidence"]) == {"measured"} and set(short["rule_edition"]) == {"2019"}
    words = field_rows(short, findings["not_assessed"])["description"]
    assert words.str.contains(r"required 90\.00 m by ours \(measured\)\.").any()
    with open_study(by_table.path) as opened:
        schedule = opened.tables()["clearance_schedule"]
    assert set(schedule["rule_confidence"][schedule["rule"] == "ours"]) == {"measured"}


def test_a_distance_beyond_the_table_has_no_confidence():
    known = of_distances()
    assert distance_confidence([123.0, 765.0, 900.0, np.nan]).tolist() == [known[123.0], known[765.0], "", ""]
