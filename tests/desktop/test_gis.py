"""The demo's findings in a real desktop GIS (QGIS), offscreen: styles, labels and headings as it has read them.

Opt-in: skipped where no interpreter has the bindings of QGIS, which a venv does not carry. That of the system is asked,
or the one that the environment names in GIS_PYTHON. With GIS_PICTURES a folder keeps what was drawn, to look at.
"""

import json
import os
import shutil
import sqlite3
import subprocess
from pathlib import Path

import pytest

from corridor import check_study
from corridor.outputs.schema import LAYERS
from corridor.outputs.styles import LABELS, STYLES

ROOT = Path(__file__).resolve().parents[2]
PYTHON = os.environ.get("GIS_PYTHON") or shutil.which("python3", path=os.defpath)


def ask(*arguments, home):
    """Run something in that interpreter, without a screen."""
    plain = {"PATH": os.defpath, "QT_QPA_PLATFORM": "offscreen", "HOME": str(home), "LANG": "C.UTF-8",
             "XDG_RUNTIME_DIR": str(home)}
    return subprocess.run([PYTHON, *map(str, arguments)], capture_output=True, text=True, env=plain, timeout=120)


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    path = tmp_path_factory.mktemp("findings") / "findings.gpkg"
    check_study(ROOT / "demo_corridor" / "study.toml", path)
    return path


@pytest.fixture(scope="module")
def seen(findings, tmp_path_factory):
    home = tmp_path_factory.mktemp("home")
    folder = Path(os.environ.get("GIS_PICTURES") or tmp_path_factory.mktemp("pictures"))
    return answer("open_findings.py", findings, folder, *(each.name for each in LAYERS), home=home)


def answer(script, *arguments, home):
    """What a script beside this file tells."""
    if PYTHON is None or ask("-c", "import qgis.core", home=home).returncode:
        pytest.skip("no interpreter with the bindings of QGIS")
    done = ask(Path(__file__).with_name(script), *arguments, home=home)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1])


def rows(path, text):
    with sqlite3.connect(path) as database:
        return database.execute(text).fetchall()


def test_every_layer_opens_with_its_headings(seen, findings):
    """Plain tables, too: the heading of each column with its unit, the title and what the layer is."""
    for each in LAYERS:
        there = seen[each.name]
        assert there["rows"] == rows(findings, f'SELECT count(*) FROM "{each.name}"')[0][0]
        assert {c.name: c.alias for c in each.columns}.items() <= there["aliases"].items()
        assert there["title"] and there["title"] != each.name and there["abstract"] == each.doc
        assert there["spatial"] == bool(each.geometry)
        assert not each.geometry or there["crs"] == "EPSG:25832"


#: What SQLite counts for some rules, against what the GIS draws by them.
COUNTED = [
    ("clearances", "violation", "SELECT count(*) FROM violations"),
    ("violations", "short of the rule", "SELECT count(*) FROM violations WHERE severity = 'rule'"),
    ("structure_loads", "above the existing wire", "SELECT count(*) FROM structure_loads WHERE above_existing"),
    ("structure_loads", "not compared", "SELECT count(*) FROM structure_loads WHERE above_existing IS NULL"),
    ("structures", "suspension", "SELECT count(*) FROM structures WHERE role = 'suspension'"),
    ("limits", "no limit known", "SELECT count(*) FROM limits WHERE limit_temperature_c IS NULL"),
    ("not_assessed", "not assessed", "SELECT count(*) FROM not_assessed"),
]


@pytest.mark.parametrize(("layer", "rule", "count"), COUNTED, ids=lambda value: value.replace(" ", "_")[:24])
def test_rules_take_the_rows_they_name(seen, findings, layer, rule, count):
    assert seen[layer]["rules"].get(rule, 0) == rows(findings, count)[0][0]


@pytest.mark.parametrize("name", STYLES)
def test_styles_and_labels_are_loaded_and_drawn(seen, name):
    there = seen[name]
    assert there["renderer"] == "RuleRenderer"
    assert sum(there["rules"].values()) == there["rows"]  # one look a row
    assert there["labelled"] == (name in LABELS)
    if name in LABELS:
        assert (there["label"], there["label_scale"]) == (LABELS[name].expression, LABELS[name].widest)
    assert there["pixels"] > 25


def test_a_map_is_more_than_its_background(seen):
    """At the scale of the whole line, and near by, where labels are."""
    assert seen["map"]["pixels"] > 500 and seen["near"]["pixels"] > 1000
    assert seen["near"]["scale"] < 10_000 < seen["map"]["scale"] < 50_000
