"""What became of violations between two findings."""

import numpy as np
import pyogrio
import pytest

from corridor.cli import main
from corridor.errors import InputError
from corridor.jobs.diff import compare_findings, write_difference
from tests.end_to_end.conftest import TinyStudy
from tests.end_to_end.test_inspection import bases


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    """The same line with the wires low, and raised by 3 m."""
    folder = tmp_path_factory.mktemp("diff")
    study = TinyStudy(folder / "study")
    study.framings = study.framings.replace(",18,", ",12,").replace(",19,", ",13,").replace(",20,", ",14,")
    low = study.check(folder / "low.gpkg")
    study.framings = study.framings.replace(",12,", ",15,").replace(",13,", ",16,").replace(",14,", ",17,")
    study.write_ground(unknown=lambda e, n: (e > 500_620) & (e < 500_680))
    return low, study.check(folder / "high.gpkg"), folder


def test_every_violation_is_counted_once(pair):
    low, high, _ = pair
    difference = compare_findings(low.path, high.path)
    was, now = low["violations"], high["violations"]
    assert len(was) >= 3
    keys = ["line", "span", "option", "case", "against", "measure"]
    assert len(difference.rows) == len(was.merge(now, how="outer", on=keys))
    counts = difference.counts
    assert counts["cleared"] + counts["not compared"] + counts["better"] + counts["worse"] + counts["same"] == len(was)
    assert counts["new"] == 0 and counts["cleared"] + counts["better"] > 0


def test_what_is_no_longer_compared_is_not_cleared(pair):
    low, high, _ = pair
    rows = compare_findings(low.path, high.path).rows
    lost = rows[rows["span"] == "3-4"]
    compared = high["clearances"]
    for row in lost.itertuples():
        there = compared[(compared.span == "3-4") & (compared.case == row.case) & (compared.against == row.against)]
        assert (row.change == "not compared") == there.empty


def test_the_way_back_mirrors(pair):
    low, high, _ = pair
    there, back = compare_findings(low.path, high.path).counts, compare_findings(high.path, low.path).counts
    assert there["better"] == back["worse"] and there["same"] == back["same"]
    assert compare_findings(low.path, low.path).status == 0
    assert compare_findings(high.path, low.path).status == 1


def test_changes_are_margins_subtracted(pair):
    low, high, folder = pair
    difference = compare_findings(low.path, high.path)
    path = write_difference(difference, folder / "changes.gpkg")
    rows = pyogrio.read_dataframe(path, layer="changes")
    both = rows[rows.margin_before_m.notna() & rows.margin_after_m.notna()]
    assert len(both)
    assert np.allclose(both.change_m, both.margin_after_m - both.margin_before_m)
    text = write_difference(difference, folder / "changes.csv").read_text(encoding="utf-8")
    assert text.count("\n") == len(rows) + 1


def test_command_and_faults(pair, capsys):
    low, high, folder = pair
    with pytest.raises(SystemExit) as end:
        main(["diff", str(high.path), str(low.path)])
    assert end.value.code == 1
    assert "Violations before and after" in capsys.readouterr().out
    with pytest.raises(InputError, match="accepted: today"):
        compare_findings(low.path, high.path, option="todya")
    (folder / "text.gpkg").write_text("no findings")
    with pytest.raises(InputError, match="findings that"):
        compare_findings(low.path, folder / "text.gpkg")


def test_what_findings_rest_on_is_said(tmp_path):
    """An assumption that is not confirmed, and a serious doubt: bases 0.8 m above the ground."""
    study = TinyStudy(tmp_path / "study")
    study.text += '[[assumptions]]\nkey = "options.today"\nvalue = "18 % RTS"\nreason = "usual"\n'
    study.check(tmp_path / "before.gpkg")
    study.change('[[assumptions]]', '[[assumptions]]\nconfirmed = true')
    after = study.check(tmp_path / "after.gpkg")
    serious = ((after["doubts"]["severity"] == "serious") & (after["doubts"]["accepted"] == 0)).sum()
    found = compare_findings(tmp_path / "before.gpkg", tmp_path / "after.gpkg")
    assert "1 assumption not confirmed" in found.left_open[0] and found.left_open[0] in " ".join(found.lines())
    assert len(found.left_open) == 1 + bool(serious)
    bases(study, add=0.8)
    doubted = study.check(tmp_path / "doubted.gpkg")
    count = ((doubted["doubts"]["severity"] == "serious") & (doubted["doubts"]["accepted"] == 0)).sum()
    found = compare_findings(tmp_path / "after.gpkg", tmp_path / "doubted.gpkg")
    assert count and f"Findings after: {count} serious doubt" in found.left_open[-1]
