"""Findings that have wires in the cases that govern alone: pandas tells which those are, from the layer clearances."""

import numpy as np
import pandas as pd
import pyogrio
import pytest
from pandas.testing import assert_frame_equal

import corridor
from corridor.errors import CorridorWarning
from corridor.jobs.draw import draw_study

KEY = ["line", "span", "option", "case"]
THING = ["line", "span", "option", "against", "obstacle", "measure", "position"]


@pytest.fixture(scope="module")
def both(make, tmp_path_factory):
    """Findings with all wires and with those that govern, of a study with violations in some cases."""
    found = []
    for name, key in (("all", ""), ("some", 'wires = "governing"\n')):
        study = make.TinyStudy(tmp_path_factory.mktemp(name))
        study.text += make.SECOND_OPTION
        study.change("[study]\n", f"[study]\n{key}")
        study.rules = study.rules.replace("4.5", "7").replace("5.5", "8")
        study.add_roads()
        found.append(study.check())
    return found


def test_wires_stand_in_the_cases_that_govern_and_in_no_other(both):
    whole, some = (each["wires"].drop(columns="geometry") for each in both)
    rows = both[0]["clearances"].fillna({"obstacle": "", "position": ""})
    least = rows.loc[rows.groupby(THING)["margin_m"].idxmin()]
    keys = pd.concat([least, rows[~(rows["margin_m"] >= 0)]])[KEY].drop_duplicates()
    expected = whole.merge(keys, on=KEY)
    assert 0 < len(some) < len(whole)
    order = [*KEY, "wire"]
    assert_frame_equal(some.sort_values(order, ignore_index=True), expected.sort_values(order, ignore_index=True))


def test_every_violation_has_its_wires(both):
    short, wires = both[1]["violations"], both[1]["wires"]
    assert len(short)
    assert len(short.merge(wires, on=[*KEY, "wire"])) == len(short)


def test_all_else_is_the_same_and_it_is_said(both):
    for layer, _ in pyogrio.list_layers(both[0].path):
        if layer not in ("wires", "run", "inputs", "layer_styles"):
            one, other = (each[layer] for each in both)
            assert_frame_equal(pd.DataFrame(one), pd.DataFrame(other))
    told = [each["run"]["warnings"][0] or "" for each in both]
    assert ["govern alone" in words for words in told] == [False, True]


def test_drawings_and_page_tell_of_wires_that_they_lack(both, tmp_path):
    path = both[1].path.parent / "study.toml"
    bare = next(case for case in ("hot", "ice") if len(both[1].rows("wires", case=case, option="today")) < len(
        both[0].rows("wires", case=case, option="today")))
    with corridor.open_study(path) as opened, pytest.warns(CorridorWarning, match=rf"'{bare}' \d of 3 spans"):
        draw_study(opened, both[1].path, tmp_path / "drawn.pdf", options=["today"], cases=[bare])
    with corridor.open_study(both[0].path.parent / "study.toml") as opened:
        assert draw_study(opened, both[0].path, tmp_path / "all.pdf", options=["today"], cases=[bare]).sheets
    with corridor.open_study(path) as opened:
        opened.report(both[1].path, tmp_path / "page.html")
    assert "ice" in (tmp_path / "page.html").read_text(encoding="utf-8")


def test_findings_in_memory_have_all_wires(both):
    """What plans and comparisons read."""
    with corridor.open_study(both[1].path.parent / "study.toml") as opened:
        held = opened.check()
    assert len(held.frames["wires"]) == len(both[0]["wires"])
    assert np.isfinite(held.frames["wires"]["sag_m"]).all()
