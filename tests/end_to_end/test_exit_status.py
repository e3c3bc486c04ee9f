"""The command's word to whoever called it: exit status, one message, and old findings untouched.

The statuses are those the command promises in its help: 0 clear, 1 violations, 2 wrong input, 3 not assessed, 70 fault,
of the software or of a machine that has no room.
"""

import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

import corridor.check

ROOT = Path(corridor.check.__file__).parent.parent


@pytest.fixture(scope="module")
def old_findings(make, tmp_path_factory):
    """Findings of an earlier run, as bytes."""
    earlier = make.TinyStudy(tmp_path_factory.mktemp("earlier"))
    earlier.add_roads()
    earlier.check()
    return earlier.output.read_bytes()


def roles(study, **changes):
    """Replace cells of the structures: column=(row, value)."""
    for column, (row, value) in changes.items():
        study.structures.loc[row, column] = value


def swap(study):
    """Exchange the order of the second and third structure, so that the line doubles back."""
    study.structures["order"] = [1.0, 3.0, 2.0, 4.0]
    study.structures["role"] = ["terminal", "strain", "strain", "terminal"]
    study.structures["framing"] = "hold"


def rewrite_line(study, change):
    """Write the structures, then write them again, changed."""
    table = pyogrio.read_dataframe(study.folder / "line.gpkg")
    change(table).to_file(study.folder / "line.gpkg", layer="structures", driver="GPKG", mode="w")


def as_lines(table):
    """The structures as short lines."""
    return table.set_geometry(table.buffer(1).boundary)


def without_crs(study):
    """Write a ground raster that does not say where on Earth it is."""
    study.write_ground(crs=None)


def empty_obstacles(study):
    """A layer of paths without a path."""
    study.add_obstacle("paths", "road", shapely.linestrings(np.zeros((0, 2, 2))), "height = 0")


def text(old, new):
    """Return what replaces some text of the study file."""
    return lambda study: study.change(old, new)


def framing(old, new):
    """Return what replaces some text of the framings."""
    def change(study):
        assert old in study.framings
        study.framings = study.framings.replace(old, new)
    return change


#: What is wrong, done before the study is written; then words that the one message must hold.
FAULTS = {
    "unknown key": (text("highest_voltage =", "higest_voltage ="), "study.toml",
                    "study.higest_voltage", "'highest_voltage'"),
    "bad unit": (text('"110 kV"', '"110 kg"'), "study.toml", "study.voltage", "'110 kg'", "kV"),
    "unknown conductor": (text("264-AL1/62-ST1A", "264-AL1/62-ST1B"), "study.toml", "options.today.conductor",
                          "264-AL1/62-ST1B", "perhaps"),
    "unknown rule table": (text('file = "rules.csv"', 'table = "europaen-electrical-distance"'), "study.toml",
                           "rules.table", "europaen-electrical-distance", "perhaps european-electrical-distance"),
    "share above strength": (text('"18 % RTS"', '"180 % RTS"'), "study.toml", "options.today.stringing.0.limit",
    "180 %"),
    "missing file": (text('"framings.csv"', '"framing.csv"'), "study.toml", "framings.file", "framing.csv"),
    "duplicate structure": (lambda s: roles(s, structure=(2, "2")), "line.gpkg", "main", "two structures named 2",
                            "unique"),
    "order doubled": (lambda s: roles(s, order=(2, 2.0)), "line.gpkg", "main", "2 and 3", "same order 2"),
    "line doubles back": (swap, "line.gpkg", "main", "doubles back", "order"),
    "unknown role": (lambda s: roles(s, role=(1, "suspention")), "line.gpkg", "suspention", "suspension"),
    "suspended end": (lambda s: roles(s, role=(3, "suspension"), framing=(3, "hang")), "line.gpkg", "main",
                      "suspension structure 4", "terminal"),
    "lone structure": (lambda s: setattr(s, "structures", s.structures[:1]), "line.gpkg", "main", "at least two"),
    "unknown framing": (lambda s: roles(s, framing=(1, "hangs")), "line.gpkg", "structure 2", "'hangs'", "hang"),
    "suspended wire at strain": (lambda s: roles(s, framing=(2, "hang")), "framings.csv", "framing hang, wire A",
                                 "strain"),
    "framing without column": (framing("offset,", ""), "framings.csv", "'offset'", "height"),
    "framing without number": (framing("A,phase,1,-4,18", "A,phase,1,left,18"), "framings.csv", "row 2: offset",
                               "'left'"),
    "raster elsewhere": (lambda s: s.write_ground(low=(600_000, 5_700_000), high=(600_400, 5_700_400)),
                         "study.toml", "terrain.ground", "do not touch"),
    "raster without CRS": (without_crs, "ground.tif", "crs", "none"),
    "raster that is none": (lambda s: (s.folder / "ground.tif").write_text("no raster"), "ground.tif", "no readable"),
    "degrees as CRS": (text("[study]", '[study]\ncrs = "EPSG:4326"'), "study.toml", "study.crs", "not projected"),
    "empty obstacle layer": (empty_obstacles, "paths.gpkg", "layer paths", "no features"),
}

#: The same, done to the layer of structures after it is written.
LAYER_FAULTS = {
    "missing column": (lambda t: t.drop(columns="role"), "line.gpkg", "'role'", "structure, order", "structures"),
    "wrong geometry": (as_lines, "line.gpkg", "layer structures", "no point"),
    "empty layer": (lambda t: t[:0], "line.gpkg", "layer structures", "no structures"),
    "empty point": (lambda t: t.set_geometry([None, *t.geometry[1:]], crs=t.crs), "line.gpkg", "feature 1",
                    "no geometry"),
    "no order": (lambda t: t.assign(order=[1, 2, None, 4]), "line.gpkg", "feature 3", "order missing"),
    "metres taken for degrees": (lambda t: t.set_crs("EPSG:4326", allow_override=True), "line.gpkg", "feature 1",
                                 "a place within WGS 84"),
    "no CRS": (lambda t: t.set_crs(None, allow_override=True), "line.gpkg", "layer structures", "no CRS"),
}


def assert_refused(study, capsys, words, old):
    """Run the command: status 2, one message with the words, nothing else said, old findings untouched."""
    study.output.write_bytes(old)
    before = sorted(path.name for path in study.folder.iterdir())
    assert study.command("--output", str(study.output)) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("corridor: ") and said.err.count("\n") == 1, said.err
    assert "found" in said.err and "accepted" in said.err and "Traceback" not in said.err
    for word in words:
        assert word in said.err, said.err
    assert study.output.read_bytes() == old
    assert sorted(path.name for path in study.folder.iterdir()) == before


@pytest.mark.parametrize("fault", FAULTS)
def test_wrong_input(study, capsys, old_findings, fault):
    change, *words = FAULTS[fault]
    study.add_roads()
    change(study)
    study.write()
    assert_refused(study, capsys, words, old_findings)


@pytest.mark.parametrize("fault", LAYER_FAULTS)
@pytest.mark.filterwarnings("ignore:'crs' was not provided")
def test_wrong_structures(study, capsys, old_findings, fault):
    change, *words = LAYER_FAULTS[fault]
    study.write()
    rewrite_line(study, change)
    assert_refused(study, capsys, words, old_findings)


def test_tension_that_the_wire_cannot_bear(study, capsys, old_findings):
    """150 kN in a wire of 111.5 kN rated strength is no limit to string to."""
    study.change('"18 % RTS"', '"150 kN"')
    study.add_roads()
    study.write()
    assert_refused(study, capsys, ["study.toml", "options.today.stringing.0.limit", "150 kN"], old_findings)


def test_missing_files(study, capsys, old_findings):
    """A study that is not there, then a file that it names."""
    study.folder.joinpath("line.gpkg").unlink(missing_ok=True)
    assert_refused(study, capsys, ["study.toml"], old_findings)
    study.write()
    study.folder.joinpath("line.gpkg").unlink()
    assert_refused(study, capsys, ["study.toml", "structures.file", "line.gpkg"], old_findings)


def test_everything_clear(study):
    study.add_roads()
    study.write()
    assert study.command() == 0
    assert study.output.exists()


def test_violations(study):
    study.add_roads()
    study.rules = study.rules.replace("4.5", "9.5")
    study.write()
    assert study.command() == 1


def test_only_gaps(study):
    """A hole below the middle span, and nothing that is in violation."""
    study.add_roads()
    study.write_ground(unknown=lambda e, n: abs(e - 500_400) < 30)
    study.write()
    assert study.command() == 3


def test_raster_that_covers_a_part_is_no_fault(study):
    """The last span lies off the raster: said row by row, and never wrong input."""
    study.add_roads()
    study.write_ground(high=(500_700, 5_600_400))
    study.write()
    assert study.command() in (1, 3)
    table = pyogrio.read_dataframe(study.output, layer="not_assessed")
    assert "3-4" in set(table["span"])
    assert set(pyogrio.read_dataframe(study.output, layer="clearances")["span"]) >= {"1-2", "2-3"}


def test_violations_go_before_gaps(study):
    study.add_roads()
    study.rules = study.rules.replace("4.5", "9.5")
    study.write_ground(unknown=lambda e, n: abs(e - 500_400) < 30)
    study.write()
    assert study.command() == 1


def test_fault_of_the_software(study, capsys, monkeypatch):
    """Something that cannot happen happens: status 70, one line and a log with the traceback, no findings of it."""
    def fail(*_):
        raise ZeroDivisionError("cannot happen")

    monkeypatch.setattr(corridor.check, "assess_spans", fail)
    study.write()
    assert study.command() == 70
    said = capsys.readouterr()
    assert said.err.startswith("corridor: the software failed (ZeroDivisionError: cannot happen). Nothing was written.")
    log = Path(said.err.split("looks into it: ")[1].strip())
    text = log.read_text(encoding="utf-8")
    log.unlink()
    assert "Traceback" not in said.err and "Traceback" in text and "ZeroDivisionError: cannot happen" in text
    assert said.out == "" and not study.output.exists()
    assert not [path.name for path in study.folder.iterdir() if "findings" in path.name]


def test_fault_of_the_software_leaves_old_findings(study, monkeypatch):
    study.add_roads()
    study.check()
    old = study.output.read_bytes()

    def fail(*_):
        raise MemoryError

    monkeypatch.setattr(corridor.check, "assess_spans", fail)
    assert study.command() == 70
    assert study.output.read_bytes() == old


def test_words_of_the_command_line(study, capsys):
    """An unknown option is wrong input too."""
    study.write()
    assert study.command("--outptu", "x") == 2
    assert "--output" in capsys.readouterr().err


def run(*arguments):
    """Run the command as its own process."""
    return subprocess.run([sys.executable, "-m", "corridor", *arguments], capture_output=True, text=True, timeout=60,
                          cwd=ROOT)


def test_as_a_process(study):
    """The same statuses reach the shell; a fault leaves nothing behind."""
    study.add_roads()
    study.change("highest_voltage =", "higest_voltage =")
    study.write()
    wrong = run("check", study.path)
    assert (wrong.returncode, wrong.stdout) == (2, "")
    assert wrong.stderr.startswith("corridor: study.toml: study.") and "Traceback" not in wrong.stderr
    assert not study.output.exists()
    study.change("higest_voltage =", "highest_voltage =")
    study.write()
    right = run("check", study.path)
    assert (right.returncode, right.stdout) == (0, "")
    assert "Traceback" not in right.stderr and study.output.exists()


def test_a_wire_loaded_above_its_strength_is_no_pass(study, capsys):
    """55 mm of ice pull a wire strung to 18 % of its strength past it; nothing else is in violation."""
    study.add_roads()
    study.change('ice = "12 mm"', 'ice = "55 mm"\nchecks = ["tension"]')
    study.write()
    assert study.command() == 1
    said = " ".join(capsys.readouterr().err.split())
    assert re.search(r"today: ice: wires are loaded above their rated strength: phase in 1-3 \(1\d\d %\)", said)
    study.change('checks = ["tension"]\n[[cases]]', 'checks = ["horizontal"]\n[[cases]]')
    study.write()
    assert study.command() == 0
