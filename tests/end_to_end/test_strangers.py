"""Studies and data of somebody else: nothing outside the study's folder is read, no network, nothing for ever, and what
a name says stays a name wherever it is written.

A server on this machine counts who asks it. That spreadsheets take texts that begin with = + - @ for formulas: OWASP,
"CSV injection" (recalled).
"""

import csv
import os
import socket
import sqlite3
import struct
import threading
from collections import Counter
from contextlib import closing, contextmanager
from xml.etree import ElementTree

import ezdxf
import pytest
from openpyxl import load_workbook

from corridor import csv_rows
from corridor.databases import queries_in
from corridor.errors import InputError
from corridor.inputs.point_files import describe_tile, read_tile
from corridor.inputs.point_header import fault_of
from corridor.outputs.tables_compare import plain
from corridor.session import open_study
from tests.common import run
from tests.end_to_end.conftest import TinyStudy
from tests.end_to_end.test_guard import RATING
from tests.short_demo import DEMO


@contextmanager
def server():
    """The port of a server that answers nobody, and the list of who asked."""
    asked, listening = [], socket.create_server(("127.0.0.1", 0))

    def listen():
        while True:
            try:
                connection, who = listening.accept()
            except OSError:
                return
            asked.append(who)
            connection.close()

    threading.Thread(target=listen, daemon=True).start()
    yield listening.getsockname()[1], asked
    listening.close()


RASTER = """<VRTDataset rasterXSize="180" rasterYSize="80"><SRS>EPSG:25832</SRS>
<GeoTransform>499600,10,0,5600400,0,-10</GeoTransform><VRTRasterBand dataType="Float64" band="1"><SimpleSource>
{}<SourceBand>1</SourceBand></SimpleSource></VRTRasterBand></VRTDataset>"""
OUTSIDE = {
    "a path": "../other.tif", "a path of the machine": "{folder}/other.tif", "a server": "/vsicurl/http://{host}/g.tif",
    "a link": "link.tif", "a server in a mosaic": ("m.vrt", RASTER.format(
        '<SourceFilename>/vsicurl/http://{host}/g.tif</SourceFilename>')),
    "a path in a mosaic": ("m.vrt", RASTER.format('<SourceFilename relativeToVRT="1">../other.tif</SourceFilename>')),
    "a path from where it runs": ("m.vrt", RASTER.format(
        '<SourceFilename relativeToVRT="0">other.tif</SourceFilename>')),
    "words for a server": ("w.tif", "<GDAL_WMS><Service name=\"TMS\"><ServerUrl>http://{host}/</ServerUrl></Service>"
                           "</GDAL_WMS>"),
    "words in a mosaic": ("m.vrt", RASTER.format('<SourceFilename relativeToVRT="1">w.tif</SourceFilename>')),
    "a catalogue": ("c.json", '{{"stac_version": "1.0.0", "links": [], "assets": {{"a": {{"href": "http://{host}"}}}}}}'),
}


@pytest.mark.parametrize("what", OUTSIDE)
def test_a_raster_elsewhere_is_refused(study, what, capsys):
    name = OUTSIDE[what]
    study.write()
    (study.folder / "ground.tif").rename(study.folder.parent / "other.tif")
    (study.folder / "link.tif").symlink_to(study.folder.parent / "other.tif")
    with server() as (port, asked):
        host = {"host": f"127.0.0.1:{port}", "folder": study.folder.parent}
        (study.folder / "w.tif").write_text(OUTSIDE["words for a server"][1].format(**host))
        if isinstance(name, tuple):
            (study.folder / name[0]).write_text(name[1].format(**host))
            name = name[0]
        study.change('"ground.tif"', f'"{name.format(**host)}"')
        study.path.write_text(study.text)
        assert study.command() == 2
        assert asked == []
    said = capsys.readouterr().err
    assert "--trust" in said and "Traceback" not in said and said.count("\n") == 1


@pytest.mark.parametrize("what", ["a path", "a path of the machine", "a link", "a path in a mosaic"])
def test_one_who_trusts_a_study_reads_on(study, what, tmp_path, monkeypatch):
    """By the option, from Python, and by a folder in one's own configuration."""
    name = OUTSIDE[what]
    study.write()
    (study.folder / "ground.tif").rename(study.folder.parent / "other.tif")
    (study.folder / "link.tif").symlink_to(study.folder.parent / "other.tif")
    if isinstance(name, tuple):
        (study.folder / name[0]).write_text(name[1])
        name = name[0]
    study.change('"ground.tif"', f'"{name.format(folder=study.folder.parent)}"')
    study.path.write_text(study.text)
    assert study.command("--trust") == 0
    with open_study(study.path, trust=True) as opened:
        assert opened.check().status == 0
    with open_study(study.path, trust=[study.folder.parent]) as opened:
        assert opened.check().status == 0
    with pytest.raises(InputError, match="outside the study's folder"), open_study(study.path) as opened:
        opened.check()
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    (tmp_path / "config" / "corridor").mkdir(parents=True)
    (tmp_path / "config" / "corridor" / "config.toml").write_text(f'trust = ["{study.folder.parent}"]')
    assert study.command() == 0


@pytest.mark.parametrize(("element", "text"), [
    ("SrcDataSource", "/vsicurl/http://127.0.0.1:9/a.csv"), ("SrcDataSource", "{outside}"), ("SrcSQL", "SELECT 1")])
def test_a_layer_elsewhere_is_refused(study, tmp_path, element, text, capsys):
    (tmp_path / "a.csv").write_text("id,WKT\n")
    (study.folder / "a.vrt").write_text(
        f'<OGRVRTDataSource><OGRVRTLayer name="a"><{element}>{text.format(outside=tmp_path / "a.csv")}</{element}>'
        "</OGRVRTLayer></OGRVRTDataSource>")
    study.text += '\n[[obstacles]]\nname = "a"\nfile = "a.vrt"\ncategory = "road"\nheight = 0\n'
    study.write()
    assert study.command() == 2
    assert element in capsys.readouterr().err


def test_findings_are_not_written_elsewhere_because_a_study_says_so(study, capsys):
    study.change("[study]", '[study]\noutput = "../elsewhere.gpkg"')
    study.write()
    assert study.command() == 2
    assert "study.output" in capsys.readouterr().err and not (study.folder.parent / "elsewhere.gpkg").exists()
    assert study.command("-o", str(study.folder.parent / "elsewhere.gpkg"), "--trust") == 0


@pytest.mark.parametrize("kind", ["pipe", "device"])
@pytest.mark.parametrize("what", ["ground.tif", "line.gpkg", "framings.csv", "rules.csv", "study.toml"])
def test_what_has_no_end_is_not_read(study, kind, what):
    study.write()
    (study.folder / what).unlink()
    if kind == "pipe":
        os.mkfifo(study.folder / what)
    else:
        (study.folder / what).symlink_to("/dev/zero")
    assert study.command(*(["--trust"] if kind == "device" else [])) == 2


@pytest.mark.parametrize("text", [
    "a = " + "[" * 3000 + "]" * 3000, "a" + ".a" * 3000 + " = 1", "[a" + ".a" * 900 + "]", "a = " + "9" * 9000,
    "x = 1\n" * 2 + "#" * 5_000_000, "a = " + "[" * 40 + "]" * 40])
def test_studies_that_are_too_much(tmp_path, text, capsys):
    (tmp_path / "study.toml").write_text(text)
    assert run("check", tmp_path / "study.toml") == 2
    assert len(capsys.readouterr().err) < 3000


@pytest.mark.parametrize("text", ["\n" * 3000, "framing,wire\n" + "a,b\n" * 1500, "a," * 3000])
def test_tables_that_are_too_much(study, text, monkeypatch, capsys):
    """Of few bytes a cell, lines of nothing above all: they take many times more memory than disk."""
    monkeypatch.setattr(csv_rows, "_MOST", 2000)
    study.framings = text
    study.write()
    assert study.command() == 2
    said = capsys.readouterr().err
    assert "framings.csv: row" in said and "million cells" in said and said.count("\n") == 1


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:4258"])
def test_cells_too_fine_to_be_read(study, crs, capsys):
    """A file of a few lines tells of a thousand million columns."""
    study.write()
    (study.folder / "ground.tif").rename(study.folder / "g.tif")
    side = 0.001 if crs == "EPSG:25832" else 0.001 / 111_000
    (study.folder / "m.vrt").write_text(
        RASTER.format('<SourceFilename relativeToVRT="1">g.tif</SourceFilename>').replace("EPSG:25832", crs)
        .replace('rasterXSize="180" rasterYSize="80"', 'rasterXSize="1800000" rasterYSize="800000"')
        .replace(",10,0,", f",{side:.12f},0,").replace("-10<", f"-{side:.12f}<"))
    study.change('"ground.tif"', '"m.vrt"')
    study.path.write_text(study.text)
    assert study.command() == 2
    assert "m.vrt" in (said := capsys.readouterr().err) and "found cells of 0.001 m; accepted: cells of 1 cm" in said


ENDLESS = "WITH RECURSIVE c(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM c) SELECT"


def make_a_query(path, layer, statement):
    """Have a layer of a GeoPackage made up by a query that has no end, and nothing else in it changed."""
    with closing(sqlite3.connect(path)) as database, database:
        for name, in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        database.execute(f'ALTER TABLE "{layer}" RENAME TO kept')
        database.execute("UPDATE gpkg_contents SET table_name = ? WHERE table_name = 'kept'", [layer])
        database.execute("UPDATE gpkg_geometry_columns SET table_name = ? WHERE table_name = 'kept'", [layer])
        database.execute(f'CREATE VIEW "{layer}" AS {statement}')


def test_a_layer_without_end_is_refused(study, capsys):
    study.add_roads()
    study.write()
    make_a_query(study.folder / "roads.gpkg", "roads", f"{ENDLESS} n AS fid, geom FROM c, kept")
    assert study.command() == 2
    assert "roads.gpkg: obstacles.roads.file: found 'roads', which is a query" in capsys.readouterr().err


@pytest.mark.parametrize("column", [
    "much AS (zeroblob(900000000))", "\"a b\" BLOB GENERATED ALWAYS AS (geom || geom) VIRTUAL"])
def test_a_column_that_is_worked_out_is_refused(study, column, capsys):
    study.add_roads()
    study.write()
    with closing(sqlite3.connect(study.folder / "roads.gpkg")) as database, database:
        database.execute(f"ALTER TABLE roads ADD COLUMN {column}")
    assert study.command() == 2
    assert "roads.gpkg: obstacles.roads.file: found 'roads', which is a query" in capsys.readouterr().err


@pytest.mark.parametrize("command", ["check", "report", "diff"])
@pytest.mark.parametrize("layer", ["run", "gpkg_contents"])
def test_findings_without_end(study, command, layer, capsys):
    """Neither read nor written over."""
    study.check()
    with closing(sqlite3.connect(study.output)) as database, database:
        names = [f'"{row[1]}"' for row in database.execute(f"PRAGMA table_info({layer})")]
        database.execute("PRAGMA legacy_alter_table = 1")
        database.execute(f"ALTER TABLE {layer} RENAME TO kept")
        database.execute(f"CREATE VIEW {layer} AS {ENDLESS} {', '.join(names)} FROM c, kept")
    before = study.output.read_bytes()
    words = [study.output, study.output] if command == "diff" else [study.path]
    assert run(command, *words) == 2
    assert capsys.readouterr().err.count("\n") == 1 and study.output.read_bytes() == before


@pytest.mark.parametrize(("kind", "name", "sql", "found"), [
    ("table", "a", "CREATE TABLE a (b)", False), ("view", "a", "CREATE VIEW a AS SELECT 1", True),
    ("view", "a", "create/**/view a AS SELECT 1", True),
    ("table", "a USING rtree", "CREATE VIRTUAL TABLE \"a USING rtree\" USING fts4(a)", False),
    ("table", "a USING rtree", "CREATE VIRTUAL TABLE \"a USING rtree\" USING other('/etc/hosts')", True)])
def test_what_a_database_makes_up(tmp_path, kind, name, sql, found):
    """As its table of contents has it, which anybody may write by hand."""
    with closing(sqlite3.connect(tmp_path / "a.gpkg")) as database, database:
        database.execute("CREATE TABLE b (c)")
        database.execute("PRAGMA writable_schema = 1")
        database.execute("INSERT INTO sqlite_master VALUES (?, ?, ?, 0, ?)", [kind, name, name, sql])
    assert queries_in(tmp_path / "a.gpkg") == [name] * found


# Points


@pytest.mark.parametrize(("place", "form", "value", "words"), [
    (105, "<H", 65535, "bytes a point"), (107, "<I", 2**32 - 1, "points in"), (100, "<I", 2**31, "records before"),
    (96, "<I", 2**32 - 1, "records before"), (0, "<4s", b"LASX", "does not begin")])
def test_a_tile_that_says_what_cannot_be(tmp_path, place, form, value, words):
    content = bytearray((DEMO / "surveyed.laz").read_bytes())
    assert fault_of(DEMO / "surveyed.laz") is None
    if content[25] >= 4 and place == 107:
        place, form = 247, "<Q"
    struct.pack_into(form, content, place, value)
    (tmp_path / "a.laz").write_bytes(content)
    with pytest.raises(InputError, match=words):
        describe_tile(tmp_path / "a.laz")


def test_a_tile_with_bytes_put_in(tmp_path):
    """As a broken transfer leaves it, at every tenth place of the header and the table of chunks."""
    content = (DEMO / "surveyed.laz").read_bytes()
    places = [*range(4, 400, 10), *range(len(content) - 60, len(content), 10)]
    for place in places:
        (tmp_path / "a.laz").write_bytes(content[:place] + b"\xff\x7f\x03" + content[place:])
        try:
            tile = describe_tile(tmp_path / "a.laz")
            assert sum(len(x) for x, *_ in read_tile(tile)) <= tile.points
        except InputError:
            continue


# Names


EVIL = "=HYPERLINK(1)<script>alert(1)</script>$\\frac$|](javascript:0)"


@pytest.fixture(scope="module")
def named(tmp_path_factory):
    """A study with an option, a case, a structure and a road of evil names, checked, tabled, drawn and exported."""
    study = TinyStudy(tmp_path_factory.mktemp("names") / "study")
    study.text = study.text.replace('name = "today"', f"name = '{EVIL}'").replace('name = "swung"', "name = '@case'")
    study.text += RATING
    study.structures.loc[1, "structure"] = "-2+3"
    study.rules = study.rules.replace("5.5", "12")
    study.add_roads()
    study.write()
    folder = study.folder
    for command in (["check"], ["tables", "-f", folder / "out"], ["export", "--kind", "kml"], ["export"], ["report"],
                    ["draw"], ["draw", "--kind", "dxf"], ["limits", "-f", folder / "out"],
                    ["curves", "-f", folder / "out"], ["ground-limit"],
                    ["compare", "--csv", folder / "c.csv", "--markdown", folder / "c.md"]):
        assert run(command[0], study.path, *command[1:]) in (0, 1, 3), command
    return folder


def test_no_cell_is_a_formula(named):
    read = 0
    for path in [*named.glob("out/*.csv"), named / "c.csv"]:
        with path.open(encoding="utf-8", newline="") as file:
            for cell in (cell for row in csv.reader(file) for cell in row):
                number = cell.replace(".", "", 1).replace("e-", "").replace("e+", "").lstrip("-").isdigit()
                assert number or cell[:1] not in tuple("=+-@\t\r") or len(cell) < 2, (path, cell)
                read += EVIL in cell
    assert read
    book = load_workbook(named / "out" / "tables.xlsx")
    kinds = {cell.data_type for sheet in book for row in sheet.iter_rows() for cell in row}
    assert "f" not in kinds and "s" in kinds


def test_no_element_is_made_by_a_name(named):
    page = (named / "findings.html").read_text(encoding="utf-8")
    assert "<script>alert" not in page
    kml = ElementTree.parse(named / "findings_field.kml").getroot()
    assert not [each for each in kml.iter() if each.tag.endswith("script")]
    for path in named.glob("out/*.svg"):
        assert not [each for each in ElementTree.parse(path).getroot().iter() if each.tag.endswith("script")]
    text = (named / "c.md").read_text(encoding="utf-8")
    assert "<script" not in text and "](javascript" not in text and plain(EVIL) in text


def test_no_entity_is_made_by_a_name(study):
    """DXF is lines of codes and values in turn: a name of several lines would be as good as the drawing's own."""
    made = []
    for name in ("2", "2\n  0\nCIRCLE\n  8\nEVIL\n 10\n500300\n 20\n5600000\n 40\n5"):
        study.structures.loc[1, "structure"] = name
        study.write()
        assert run("check", study.path) == 0 and run("draw", study.path, "--kind", "dxf") == 0
        drawing = ezdxf.readfile(study.folder / "findings_plan.dxf")
        kinds = Counter(each.dxftype() for each in drawing.modelspace())
        made.append((kinds, {each.dxf.name for each in drawing.layers}))
    assert made[0] == made[1] and made[0][0]["CIRCLE"]


@pytest.mark.parametrize("name", ["nan", "NaN", "None", "null", "inf", "-0", "1e5", "", " ", "NA"])
def test_structures_of_strange_names(study, name, capsys):
    """A name is a name; one that is none is refused."""
    study.structures.loc[1, "structure"] = name
    study.write()
    status = study.command()
    assert status == (0 if name.strip() and name != "nan" else 2), capsys.readouterr().err


def test_a_terminal_obeys_no_name(study, capsys):
    """Neither in what is refused nor of a structure, whose name is data."""
    study.structures.loc[1, "structure"] = "\x1b[31m2"
    study.rules = study.rules.replace("4.5", "12")
    study.write()
    assert study.command() == 1
    study.change('name = "today"', 'name = "to\\u001b[31mday"')
    study.write()
    assert study.command() == 2
    out = capsys.readouterr()
    assert "\x1b" not in out.err + out.out


def test_the_copy_of_a_plan_is_trusted_as_the_study_that_it_was_made_from(study, monkeypatch, capsys):
    """It reads the study's ground beside its own folder; changed by one byte it is anybody's."""
    study.write()
    monkeypatch.chdir(study.folder)
    assert run("plan", "study.toml", "--option", "today") == 0
    path = study.folder / "plan" / "study.toml"
    assert '"../ground.tif"' in path.read_text()
    assert run("check", path) == 0
    path.write_text(path.read_text() + "\n")
    assert run("check", path) == 2
    assert "outside the study's folder" in capsys.readouterr().err
    assert run("check", path, "--trust") == 0
