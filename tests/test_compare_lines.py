"""Lines ranked by what an ampere costs: against the findings of a check, and by hand."""

import csv

import numpy as np
import pandas
import pytest

from corridor.outputs.tables_lines import lines_markdown, lines_text, ranked
from tests.common import ask, run
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, line_of, plane

RATED = '\n[rating]\nambient = 35\nwind_speed = 0.6\nsolar = 1000\n'


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    """Two lines far from each other and one beyond the raster; prices for the new option."""
    study = TinyStudy(tmp_path_factory.mktemp("lines") / "study")
    name = SECOND_OPTION.split('name = "')[1].split('"')[0]
    study.text += SECOND_OPTION + RATED + '\n[plan]\ncurrency = "kEUR of 2026"\n'
    study.text += f'[[plan.wires]]\noption = "{name}"\ncost_per_km = 80\n'
    far = line_of(line="far").assign(northing=NORTH + 250.0)
    beyond = line_of(line="lost").assign(northing=NORTH - 250.0)
    beyond["easting"] += 700.0
    study.structures = pandas.concat([study.structures, far, beyond], ignore_index=True)
    study.structures["base_elevation"] = plane(study.structures["easting"], study.structures["northing"])
    study.write_ground(lambda e, n: plane(e, n) + 9.0 * (np.hypot(e - EAST - 450, n - NORTH) < 40))
    study.new = name
    return study


@pytest.fixture(scope="module")
def compared(study):
    return study.check(), ask(study.path, "compare_lines")


def test_rows_are_those_of_the_findings(study, compared):
    findings, comparison = compared
    table = comparison.frames["lines"]
    assert sorted(set(table["line"])) == ["far", "lost", "main"] and len(table) == 6
    for row in table.to_dict("records"):
        keys = {"line": row["line"], "option": row["option"]}
        first = findings.row("ladder", **keys, spans_fixed=0)
        np.testing.assert_allclose(row["limit_current_a"], first["limit_current_a"], rtol=1e-9)
        assert row["violations"] == len(findings.rows("violations", **keys))
        assert row["not_assessed"] == len(findings.rows("not_assessed", **keys))
        assert row["length_km"] == pytest.approx(findings.rows("spans", line=row["line"])["length_m"].sum() / 1e3)


def test_cost_per_ampere_by_hand(study, compared):
    """80 kEUR/km times the length, over the amperes gained; the existing wire costs nothing and gains nothing."""
    _, comparison = compared
    table = comparison.frames["lines"].set_index(["line", "option"])
    today = table.xs("today", level="option")
    new = table.xs(study.new, level="option")
    gained = new["limit_current_a"] - today["limit_current_a"]
    known = gained > 0
    assert known.any()
    np.testing.assert_allclose(new["cost_per_ampere"][known], (80 * new["length_km"] / gained)[known])
    assert today["cost_per_ampere"].isna().all() and (today["wire_cost"] == 0).all()


def test_what_is_not_known_comes_last_and_is_never_free(compared):
    _, comparison = compared
    table = comparison.frames["lines"]
    lost = table["not_assessed"] > 0
    assert set(table["line"][lost]) == {"lost"} and (np.flatnonzero(lost) >= (~lost).sum()).all()
    assert table["note"][lost].str.contains("not a pass").all()


def row(line, option, current, gaps=0):
    return {"line": line, "option": option, "length_km": 1.0, "limit_current_a": current, "limiting_span": None,
            "limited_by": None, "remedied_current_a": current, "violations": 0, "not_assessed": gaps}


def test_order_by_hand():
    """Cost per ampere, then what has no price, what gains nothing, what is not known or not assessed."""
    rows = [row("a", "old", 500.0), row("a", "dear", 600.0), row("a", "good", 900.0), row("a", "unpriced", 990.0),
            row("a", "worse", 400.0), row("a", "unknown", np.nan), row("a", "gap", 2000.0, gaps=1)]
    prices = {"dear": 10.0, "good": 20.0, "worse": 1.0, "unknown": 0.1, "gap": 0.1}
    table = ranked(rows, prices, "old")
    assert table["option"].tolist() == ["good", "dear", "unpriced", "old", "worse", "gap", "unknown"]
    np.testing.assert_allclose(table["cost_per_ampere"][:2], [20 / 400, 10 / 100])
    assert np.isnan(table["cost_per_ampere"][[2, 3, 4, 6]]).all()
    np.testing.assert_array_equal(table["rank"], [1, 2, *[np.nan] * 5])  # the others have none
    free = ranked(rows, {}, "old")
    np.testing.assert_array_equal(free["rank"], [1, 2, 3, *[np.nan] * 4])
    assert free["option"].tolist() == ["unpriced", "good", "dear", "old", "worse", "gap", "unknown"]
    assert np.isnan(free["cost_per_ampere"]).all()
    alone = ranked(rows, prices, None)
    assert np.isnan(alone["gained_current_a"]).all() and "today is not known" in alone["note"][0]


def test_files_and_words(study, compared, tmp_path, capsys):
    study.write()
    assert run("compare", study.path, "--lines", tmp_path / "lines.csv") == 0
    assert "kEUR of 2026" in capsys.readouterr().out
    with (tmp_path / "lines.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    _, comparison = compared
    assert [each["line"] for each in rows] == comparison.lines["line"].tolist()
    text = lines_markdown(comparison.lines)
    # A row of dashes stands between heads and rows.
    assert text.count("\n| ") == len(rows) + 1 and "cost per A" in text.splitlines()[0]
    assert any("no price" in each for each in lines_text(ranked([row("a", "b", 1.0)], {}, None), None))
