"""The same study gives the same findings, however it is cut into batches and threads; SOURCE_DATE_EPOCH is the open
standard of reproducible-builds.org for the time of a build."""

import hashlib
import os
import subprocess
import sys
from datetime import UTC, datetime

import pandas as pd
import pyogrio
import pytest

import corridor
import corridor.check
from tests.end_to_end.test_guard import RATING

TIME = datetime(2026, 3, 1, tzinfo=UTC)
LAYERS = ("structures", "spans", "sections", "wires", "clearances", "violations", "violation_stretches", "limits",
          "not_assessed", "options", "run", "inputs")


@pytest.fixture
def corridor_of_sections(study, make):
    """Two lines of several sections, a hole in the ground, roads, two options: something in every layer."""
    second = make.line_of(5, line="north")
    second["northing"] += 80
    study.structures = pd.concat([make.line_of(5), second], ignore_index=True)
    study.text += make.SECOND_OPTION
    study.rules = study.rules.replace("4.5", "7")
    study.write_ground(unknown=lambda e, n: (abs(e - 500_400) < 20) & (n < 5_600_020))
    study.add_roads()
    study.write()
    return study


def tables(path):
    """Every layer as a table of plain values, geometry as WKB in hexadecimals."""
    found = {}
    for layer in LAYERS:
        table = pyogrio.read_dataframe(path, layer=layer)
        if "geometry" in table:
            table = pd.DataFrame(table).assign(geometry=table.geometry.to_wkb(hex=True))
        found[layer] = table
    return found


def assert_same(first, second):
    """All tables equal to the last bit, but for the time of the run, which its digest holds."""
    for layer in LAYERS:
        a, b = (found[layer].drop(columns=["time", "layer_digests"], errors="ignore") for found in (first, second))
        pd.testing.assert_frame_equal(a, b, check_exact=True, obj=layer)


def test_the_study_has_something_in_every_layer(corridor_of_sections):
    corridor_of_sections.check()
    assert all(len(table) for table in tables(corridor_of_sections.output).values())


def test_same_epoch_same_bytes(corridor_of_sections, monkeypatch):
    """Byte for byte, whatever the file is called."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1772323200")
    digests = set()
    for name in ("one.gpkg", "two.gpkg"):
        path = corridor_of_sections.folder / name
        assert corridor_of_sections.command("--output", str(path), "--quiet") == 1
        digests.add(hashlib.sha256(path.read_bytes()).hexdigest())
    assert len(digests) == 1
    assert str(tables(path)["run"]["time"][0]).startswith("2026-03-01 00:00:00")


def test_another_epoch_other_bytes(corridor_of_sections, monkeypatch):
    """So the comparison of bytes can fail."""
    contents = []
    for epoch in ("1772323200", "1772323201"):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", epoch)
        corridor_of_sections.command("--quiet")
        contents.append(corridor_of_sections.output.read_bytes())
    assert contents[0] != contents[1]


def test_without_epoch_only_the_time_differs(corridor_of_sections, monkeypatch):
    monkeypatch.delenv("SOURCE_DATE_EPOCH", raising=False)
    found = []
    for _ in range(2):
        corridor_of_sections.command("--quiet")
        found.append(tables(corridor_of_sections.output))
    assert_same(*found)
    assert found[0]["run"]["time"][0] < found[1]["run"]["time"][0]


def test_an_epoch_that_is_none(corridor_of_sections, monkeypatch, capsys):
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    assert corridor_of_sections.command() == 2
    assert "SOURCE_DATE_EPOCH" in capsys.readouterr().err


def with_settings(study, monkeypatch, batch, threads):
    """Check the study, as it stands on disk, with so many wire spans at once."""
    monkeypatch.setattr(corridor.check, "BATCH", batch)
    monkeypatch.setattr(corridor.check, "THREADS", threads)
    corridor.check_study(study.path, study.output, time=TIME)


def test_threads_change_no_byte(corridor_of_sections, monkeypatch):
    """Four sections, each a batch of its own, in one thread and in three."""
    contents = []
    for threads in (1, 3, 3):
        with_settings(corridor_of_sections, monkeypatch, 1, threads)
        contents.append(corridor_of_sections.output.read_bytes())
    assert contents[0] == contents[1] == contents[2]


#: Another alphabet of the system, another clock, other orders of sets, one thread of the libraries.
ELSEWHERE = {"LC_ALL": "C", "PYTHONCOERCECLOCALE": "0", "PYTHONUTF8": "0", "TZ": "Pacific/Auckland",
             "PYTHONHASHSEED": "7", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
EVERY_KIND = """
import sys
import corridor.check
from corridor.cli import main
corridor.check.THREADS = int(sys.argv[1])
for line in ("check", "report", "draw", "draw --kind dxf", "tables -f out", "export", "ground-limit", "limits -f out",
             "curves -f out", "compare --csv c.csv --markdown c.md", "inspect -o doubts.gpkg", "sag -f out",
             "rating -f rated", "plan --option today -f plan", "survey -f seen",
             "stringing --option today -f strung"):
    command, *rest = line.split()
    try:
        main([command, "study.toml", *rest, "--quiet"])
    except SystemExit as end:
        assert end.code in (0, 1, 3), line
"""


def test_no_byte_depends_on_where_it_runs(corridor_of_sections):
    """Every kind of file, with names that ASCII lacks, in two environments of one folder."""
    study, found = corridor_of_sections, []
    study.text += RATING
    study.structures["line"] = study.structures["line"].replace("north", "Überland Ω")
    study.add_shots()
    study.write()
    before = set(study.folder.rglob("*"))
    for threads, environment in (("1", {}), ("2", ELSEWHERE)):
        subprocess.run([sys.executable, "-c", EVERY_KIND, threads], check=True, cwd=study.folder, env={
            **os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "SOURCE_DATE_EPOCH": "1772323200", **environment})
        found.append({path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in study.folder.rglob("*")
                      if path not in before and path.is_file()})
    assert len(found[0]) > 15
    assert found[0] == found[1]


def by_key(path):
    """Every layer in the order of its texts: in the file, rows of a batch stand together."""
    found = tables(path)
    for layer, table in found.items():
        words = [name for name in table if name != "geometry" and not pd.api.types.is_numeric_dtype(table[name])]
        if words:
            found[layer] = table.sort_values(words, kind="stable", key=lambda v: v.astype(str)).reset_index(drop=True)
    return found


@pytest.mark.parametrize("batch", [1, 5, 10_000])
def test_rows_do_not_depend_on_batches(corridor_of_sections, monkeypatch, batch):
    """The same rows, and their numbers within rounding.

    Vectorised functions round the last bit of an element by its place in the array, which depends on its neighbours;
    where a wire is nearly parallel to the ground, the place of the minimum clearance feels the square root of that.
    """
    found = []
    for number in (corridor.check.BATCH, batch):
        with_settings(corridor_of_sections, monkeypatch, number, 2)
        found.append(by_key(corridor_of_sections.output))
    for layer in LAYERS:
        # Digests are of rows to the last bit, and in their order.
        a, b = (each[layer].drop(columns=["geometry", "layer_digests"], errors="ignore") for each in found)
        pd.testing.assert_frame_equal(a, b, check_exact=False, rtol=1e-9, atol=1e-6, obj=layer)


def test_the_order_of_the_structures_in_their_file_does_not_matter(corridor_of_sections):
    study, found = corridor_of_sections, []
    for _ in range(2):
        study.check()
        found.append({layer: table for layer, table in tables(study.output).items() if layer not in ("run", "inputs")})
        study.structures = study.structures.iloc[::-1].reset_index(drop=True)
    for layer, table in found[0].items():
        pd.testing.assert_frame_equal(table, found[1][layer], check_exact=True, obj=layer)
