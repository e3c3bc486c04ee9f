"""Findings that are read back are those of what stands there now: every file that was read, with what belongs to it,
the study, this software, and the rows as the check wrote them."""

import contextlib
import sqlite3

import pyogrio
import pytest
import rasterio

import corridor
from corridor.errors import InputError
from corridor.jobs import read_back
from corridor.session import open_study
from tests.common import run
from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    study = TinyStudy(tmp_path_factory.mktemp("fresh") / "study")
    study.text += SECOND_OPTION
    study.rules = study.rules.replace("5.5", "12")
    study.write_ground(unknown=lambda e, n: abs(e - 500_400) < 30)
    study.add_roads()
    study.check()
    return study


def raise_ground(folder):
    """A metre at one corner."""
    with rasterio.open(folder / "ground.tif", "r+") as dataset:
        dataset.write(dataset.read(1, window=((0, 1), (0, 1))) + 1, 1, window=((0, 1), (0, 1)))


def alter(name, old, new):
    """Return what replaces a text in a file."""
    def change(folder):
        text = (folder / name).read_text()
        assert old in text
        (folder / name).write_text(text.replace(old, new, 1))
    return change


def log_only(folder):
    """A change of a layer that stands in the write-ahead log alone, as a GIS leaves it that has the layer open."""
    path = folder / "roads.gpkg"
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as database:
        database.execute("PRAGMA journal_mode=WAL")
        with contextlib.closing(sqlite3.connect(path)) as other:
            other.execute("SELECT 1 FROM sqlite_master").fetchone()
        kept = path.read_bytes()
        database.execute("PRAGMA wal_autocheckpoint=0")
        database.execute("CREATE TABLE later (a TEXT)")
        log = path.with_name("roads.gpkg-wal").read_bytes()
        assert path.read_bytes() == kept
    path.write_bytes(kept)
    path.with_name("roads.gpkg-wal").write_bytes(log)



def mask(folder):
    """What GDAL reads with a raster: here another value for cells that are not known."""
    (folder / "ground.tif.aux.xml").write_text(
        '<PAMDataset><PAMRasterBand band="1"><NoDataValue>100</NoDataValue></PAMRasterBand></PAMDataset>')


CHANGES = {"terrain": (raise_ground, "ground.tif"),
           "framings": (alter("framings.csv", "-4,18", "-4,17"), "framings.csv"),
           "rules": (alter("rules.csv", "4.5", "9.5"), "rules.csv"),
           "study": (alter("study.toml", "75", "76"), "study"),
           "log": (log_only, "roads.gpkg"), "beside a raster": (mask, "ground.tif")}


@pytest.mark.parametrize("what", CHANGES)
def test_findings_of_what_has_changed_are_refused(copied, what):
    change, word = CHANGES[what]
    with open_study(copied / "study.toml") as study:
        read_back.own_findings(study)
    change(copied)
    with open_study(copied / "study.toml") as study, pytest.raises(InputError, match=word) as error:
        read_back.own_findings(study)
    assert "corridor check" in error.value.accepted


@pytest.mark.parametrize("command", ["report", "draw", "tables", "export", "ground-limit"])
def test_every_command_that_reads_findings_asks(copied, command, capsys):
    raise_ground(copied)
    before = sorted(copied.rglob("*"))
    assert run(command, copied / "study.toml") == 2
    assert "findings of another ground.tif" in capsys.readouterr().err
    assert sorted(copied.rglob("*")) == before


def test_findings_of_another_version(copied, monkeypatch):
    monkeypatch.setattr(read_back, "__version__", corridor.__version__ + ".1")
    told = f"corridor {corridor.__version__};"
    with open_study(copied / "study.toml") as study, pytest.raises(InputError, match=told):
        read_back.own_findings(study)


@pytest.mark.parametrize(("statement", "layer"), [
    ("UPDATE clearances SET margin_m = 1 WHERE fid = 1", "clearances"),
    ("DELETE FROM not_assessed WHERE fid = 1", "not_assessed"),
    ("UPDATE violations SET margin_m = margin_m + 1e-9", "violations"),
    ("UPDATE run SET warnings = ''", "run"),
    ("UPDATE spans SET geom = (SELECT geom FROM spans WHERE fid = 2)", "spans")])
def test_findings_that_somebody_changed(copied, statement, layer):
    """Written without the triggers of the spatial index, which need functions of GDAL."""
    with contextlib.closing(sqlite3.connect(copied / "findings.gpkg")) as database, database:
        for name, in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        changed = database.execute(statement).rowcount
    with open_study(copied / "study.toml") as study:
        assert changed
        with pytest.raises(InputError, match=f"findings.gpkg: {layer}: found rows that somebody changed"):
            read_back.own_findings(study)
    assert run("diff", copied / "findings.gpkg", copied / "findings.gpkg") == 2


def test_what_a_gis_adds_beside_changes_nothing(copied):
    """Styles, and a column of one's own."""
    with contextlib.closing(sqlite3.connect(copied / "findings.gpkg")) as database, database:
        database.execute("ALTER TABLE clearances ADD COLUMN seen TEXT")
        database.execute("UPDATE layer_styles SET styleQML = ''")
        database.execute("PRAGMA journal_mode=WAL")
    with open_study(copied / "study.toml") as study:
        assert read_back.own_findings(study).name == "findings.gpkg"
    assert len(pyogrio.read_dataframe(copied / "findings.gpkg", layer="clearances"))
