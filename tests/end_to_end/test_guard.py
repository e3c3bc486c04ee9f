"""What may be written over: never what is read, and of the rest only what this software wrote.

Every command is run as a person runs it, at a path that holds something: the file there must be the same afterwards, by
its bytes, and the status 2. Then every command is run twice, over its own files, which must go.
"""

import contextlib
import os
import sqlite3

import pyogrio
import pytest
import shapely

from corridor.outputs.geopackage import FindingsWriter
from corridor.outputs.guard import MARK, Guard, kind_of, sealed
from tests.common import run
from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy, leftovers

RATING = """
[rating]
ambient = 35
wind_speed = 0.6
wind_angle = 90
emissivity = 0.8
absorptivity = 0.8
solar = 1000
required_current = 700
"""


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    """A study of two options with roads that wires are too near to, and its findings."""
    study = TinyStudy(tmp_path_factory.mktemp("guard") / "study")
    study.text += SECOND_OPTION + RATING
    study.rules = study.rules.replace("5.5", "12")
    study.add_roads()
    study.check()
    return study


#: Commands with a file to write, as arguments before its name.
TO_A_FILE = {"check": ["check", "S", "-o"], "report": ["report", "S", "-o"], "draw": ["draw", "S", "-o"],
             "geojson": ["export", "S", "-o"], "kml": ["export", "S", "--kind", "kml", "-o"],
             "csv": ["compare", "S", "--csv"], "markdown": ["compare", "S", "--markdown"],
             "diff": ["diff", "F", "F", "-o"], "add": ["design", "S", "--add"]}
#: Commands with a folder to write to, and a file that they write there.
TO_A_FOLDER = {"tables": "stringing_chart.csv", "sag": "sags.csv", "curves": "knees.csv", "rating": "ratings.csv",
               "limits": "limits.gpkg"}


def arguments(command, folder):
    return [folder / {"S": "study.toml", "F": "findings.gpkg"}[a] if a in "SF" else a for a in TO_A_FILE[command]]


@pytest.mark.parametrize("command", TO_A_FILE)
def test_no_command_writes_over_what_is_read(copied, command, capsys):
    """The study, a vector, a raster, a table, the findings, files that belong to an input, another name of one, and
    what the person wrote; --overwrite lets the last one go alone."""
    (copied / "notes.txt").write_text("my notes")
    os.link(copied / "line.gpkg", copied / "twin.gpkg")
    (copied / "ground.prj").write_text("mine")
    names = ["study.toml", "line.gpkg", "ground.tif", "framings.csv", "twin.gpkg", "ground.prj", "notes.txt"]
    names += [] if command == "check" else ["findings.gpkg"]
    for name in [*names, "line.gpkg-wal"]:
        target = copied / name
        before = target.read_bytes() if target.exists() else None
        # Of two findings the study is not known: what it reads is what others wrote. Some commands read no findings.
        free = command in ("csv", "markdown", "add") if name == "findings.gpkg" else command == "diff"
        free |= name == "notes.txt"
        for more in ["--overwrite"] * (not free), []:
            assert run(*arguments(command, copied), target, *more) == 2, name
            said = capsys.readouterr().err
            assert said.count("\n") == 1 and "output" in said or "--output" in said or "--add" in said, said
            assert (target.read_bytes() if target.exists() else None) == before, name
    assert not [path for path in copied.iterdir() if path.name.startswith(".corridor-")]


@pytest.mark.parametrize("command", TO_A_FOLDER)
def test_no_folder_is_written_over_what_is_read(copied, command):
    """A table of rules that has the name of a file that the command writes; then notes of that name."""
    name = TO_A_FOLDER[command]
    text = (copied / "study.toml").read_text()
    (copied / "study.toml").write_text(text.replace('"rules.csv"', f'"{name}"'))
    (copied / "rules.csv").rename(copied / name)
    assert run("check", copied / "study.toml") == 1
    before = (copied / name).read_bytes()
    listed = sorted(os.listdir(copied))
    assert run(command, copied / "study.toml", "--folder", copied, "--overwrite") == 2
    assert (copied / name).read_bytes() == before and sorted(os.listdir(copied)) == listed
    other = copied / "other"
    other.mkdir()
    (other / name).write_text("span,what I think of it\n")
    assert run(command, copied / "study.toml", "--folder", other) == 2
    assert os.listdir(other) == [name] and "what I think" in (other / name).read_text()
    assert run(command, copied / "study.toml", "--folder", other, "--overwrite") == 0
    assert "what I think" not in (other / name).read_bytes().decode("latin-1")


@pytest.mark.parametrize("command", [
    ["check", "S"], ["report", "S"], ["draw", "S"], ["draw", "S", "--kind", "dxf"], ["export", "S"],
    ["export", "S", "--kind", "kml"], ["tables", "S", "-f", "out"], ["ground-limit", "S"],
    ["compare", "S", "--csv", "o.csv", "--markdown", "o.md"], ["sag", "S", "-f", "out"],
    ["curves", "S", "-f", "out", "--drawing", "svg"], ["curves", "S", "-f", "out", "--drawing", "png"],
    ["curves", "S", "-f", "out", "--drawing", "pdf"], ["rating", "S", "-f", "out"], ["limits", "S", "-f", "out"],
    ["diff", "F", "F", "-o", "c.csv"], ["diff", "F", "F", "-o", "c.gpkg"],
    ["plan", "S", "--option", "today", "-f", "out"]], ids=" ".join)
def test_every_command_runs_over_its_own_files(copied, command, monkeypatch, capsys):
    monkeypatch.chdir(copied)
    words = [{"S": "study.toml", "F": "findings.gpkg"}.get(word, word) for word in command]
    before = set(copied.rglob("*"))
    first = run(*words)
    assert first in (0, 1, 3), capsys.readouterr().err
    made = [path for path in copied.rglob("*") if path not in before and path.is_file()]
    assert made or command[0] == "check"
    assert all(kind_of(path) for path in made)
    assert run(*words) == first, capsys.readouterr().err
    assert sorted(path for path in copied.rglob("*") if path not in before and path.is_file()) == sorted(made)


@pytest.mark.parametrize("name", ["x" * 300, "x" * 5000, "circle", "locked/a"])
@pytest.mark.parametrize("line", ["check S -o {}.gpkg", "check S --log {}.log", "report S -i {}.gpkg", "check {}.toml",
                                  "plan S --option today -f {}.gpkg", "design S --add {}.toml", "study"])
def test_paths_that_cannot_be(copied, name, line, capsys):
    """Too long for a disk, links in a circle, within a file: one line, which does not show them whole."""
    for ending in ("gpkg", "log", "toml"):
        (copied / f"circle.{ending}").symlink_to(f"circle.{ending}")
    (copied / "locked").write_text("no folder")
    path = copied / "study.toml"
    if line == "study":
        path.write_text(path.read_text().replace('"line.gpkg"', f'"{name}.gpkg"'))
        line = "check S"
    words = [{"S": path}.get(word, word if "{" not in word else copied / word.format(name)) for word in line.split()]
    assert run(*words) == 2
    said = capsys.readouterr().err
    assert said.count("\n") == 1 and len(said) < 1500 and not leftovers(copied), said


def test_names_of_many_bytes(copied):
    """A disk counts bytes: 240 of them in 80 signs."""
    target = copied / f"{'線' * 80}.gpkg"
    assert run("check", copied / "study.toml", "-o", target) == 1 and kind_of(target) == "findings"


def test_two_outputs_of_one_name(copied, capsys):
    assert run("compare", copied / "study.toml", "--csv", copied / "a", "--markdown", copied / "b" / ".." / "a") == 2
    assert "two outputs" in capsys.readouterr().err and not (copied / "a").exists()


# What is ours


def test_a_map_that_a_gis_keeps_in_findings_is_somebodys_work(copied):
    path = copied / "findings.gpkg"
    assert kind_of(path) == "findings"
    with contextlib.closing(sqlite3.connect(path)) as database:
        database.execute("CREATE TABLE qgis_projects (name TEXT)")
    assert kind_of(path) is None


def test_a_layer_that_somebody_added(copied, tmp_path):
    path = copied / "findings.gpkg"
    pyogrio.write_dataframe(pyogrio.read_dataframe(path, layer="spans"), path, layer="my spans", append=True)
    assert kind_of(path) is None


@pytest.mark.parametrize(("name", "text", "kind"), [
    ("a.csv", "line,span,comment\n", "table of line, span, comment"), ("a.csv", "", None),
    ("a.csv", "quantity,unit,one,two\n", "table of quantity, unit"), ("a.svg", f"<svg>{MARK}</svg>", "marked"),
    ("a.toml", sealed("a = 1"), "marked"), ("a.toml", sealed("a = 1").replace("1", "2"), "table of a = 2")])
def test_kinds(tmp_path, name, text, kind):
    (tmp_path / name).write_text(text)
    assert kind_of(tmp_path / name) == kind


def test_a_folder_of_data_is_read_whole(tmp_path):
    """A file within a folder that is an input is one."""
    (tmp_path / "data.gdb").mkdir()
    with pytest.raises(Exception, match="that is read|belongs to"):
        Guard((tmp_path / "data.gdb",)).check(tmp_path / "data.gdb" / "a0001.gpkg")


def test_two_runs_at_once(tmp_path):
    """Each is whole; the last one to end stands."""
    target = tmp_path / "findings.gpkg"
    spans = {"line": ["A"], "span": ["1-2"], "geometry": shapely.from_wkt(["LINESTRING Z (0 0 5, 9 0 6)"])}
    first, second = FindingsWriter(target, "EPSG:25832"), FindingsWriter(target, "EPSG:25832")
    first.add("spans", spans)
    first.close()
    assert len(pyogrio.read_dataframe(target, layer="spans")) == 1
    second.close()
    assert len(pyogrio.read_dataframe(target, layer="spans")) == 0
    assert os.listdir(tmp_path) == ["findings.gpkg"]
