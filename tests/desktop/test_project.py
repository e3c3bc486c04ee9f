"""The project beside the demo's findings, opened in a real desktop GIS (QGIS), offscreen; opt-in, as `test_gis.py`."""

import os
import re
import shutil
from pathlib import Path

import pyogrio
import pytest

from tests.common import ask
from tests.desktop.test_gis import answer
from tests.test_project_file import demo_and_project

BEFORE, FIRST, SECOND = "2027-02-28T08:00:00", "2027-03-01T08:00:00", "2027-03-02T08:00:00"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """The demo with a project, which has a raster of ground limits as the command writes it."""
    def add(path):
        made = ask(path.with_name("study.toml"), "ground_limit")
        assert path in made.paths

    return demo_and_project(tmp_path_factory.mktemp("demo") / "corridor", add)[0]


@pytest.fixture(scope="module")
def seen(folder, tmp_path_factory):
    pictures = Path(os.environ.get("GIS_PICTURES") or tmp_path_factory.mktemp("pictures"))
    moved = shutil.copytree(folder, tmp_path_factory.mktemp("moved") / "elsewhere")  # sources go with it
    return answer("open_project.py", moved / "findings.qgs", pictures, BEFORE, FIRST, SECOND,
                  home=tmp_path_factory.mktemp("home"))


def test_every_layer_is_valid_and_one_option_is_shown(seen, folder):
    layers = [layer for group in seen["groups"].values() for layer in group["layers"]]
    assert len(layers) > 40 and all(layer["valid"] for layer in layers)
    table = pyogrio.read_dataframe(folder / "findings.gpkg", layer="options")
    assert [name for name, group in seen["groups"].items() if name in set(table["option"]) and group["shown"]] \
        == [table.loc[table["violations"].idxmax(), "option"]]
    for option, count in zip(table["option"], table["violations"], strict=True):
        own = {layer["name"]: layer for layer in seen["groups"][option]["layers"]}
        assert own["violations"]["rows"] == count
    assert {seen["crs"], *(layer["crs"] for layer in layers)} == {"EPSG:25832"} and seen["map"]["pixels"] > 500


def test_rows_have_names_and_tips(seen):
    """Expressions are understood; each name tells one row from another; of a span the worst violation is labelled."""
    for group in seen["groups"].values():
        for layer in (layer for layer in group["layers"] if layer.get("called")):
            names = [name for name, _ in layer["called"]]
            assert all(name and name != "NULL" for name in names) and len({*names}) == len(names), layer["name"]
            assert all("<table>" in tip and "[%" not in tip for _, tip in layer["called"])
            assert not any(re.search(r"\d\.\d{4}", tip) for _, tip in layer["called"]), layer["name"]
    worst = next(layer for layer in seen["groups"]["thermal alloy"]["layers"] if layer["name"] == "violations")
    labels = [label for label in worst["labels"] if label not in ("NULL", "None")]
    spans = [label.partition(",")[0] for label in labels]
    assert len(spans) == len({*spans}) > 5 and all(label.endswith(" m") for label in labels)


def test_outages_are_shown_at_their_times(seen):
    """Nothing of a time before; then the one, then the other."""
    timed = {layer["name"]: layer["timed"] for layer in seen["groups"]["plan"]["layers"]}
    assert timed == {"work": False, "outages": True}
    first, second, before = (seen[time]["pixels"] for time in (FIRST, SECOND, BEFORE))
    assert before < first and before < second
