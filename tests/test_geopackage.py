"""The findings file: read back with GDAL and SQLite, held against OGC 12-128r17."""

import hashlib
import os
import signal
import sqlite3
import struct
import subprocess
import sys
import textwrap
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import geopandas
import numpy as np
import pyarrow as pa
import pyogrio
import pytest
import shapely
from pyproj import CRS

import corridor.outputs.geopackage as geopackage
from corridor.errors import CorridorError, CorridorWarning, InputError
from corridor.outputs.columns import Column, Layer
from corridor.outputs.digests import Digest, digest_of_rows
from corridor.outputs.files import Files
from corridor.outputs.geopackage import FindingsWriter
from corridor.outputs.guard import MARK, Guard, is_geopackage
from corridor.outputs.schema import INVARIANTS, LAYERS, layer

ROOT = Path(__file__).parent.parent
TIME = datetime(2026, 3, 1, 12, 30, 15, 250_000, tzinfo=UTC)

def spans(count=3):
    """Spans of 100 m eastward in a valley that rises."""
    east = 500_000 + 100.0 * np.arange(count)
    ends = np.stack([[[e, 5e6, 200.0], [e + 100, 5e6, 203.0]] for e in east])
    return {"line": np.full(count, "north", object), "length_m": np.full(count, 100.0),
            "span": np.array([f"{i}-{i + 1}" for i in range(count)], object),
            "geometry": shapely.linestrings(ends)}


def clearances(margins=(1.5, -0.4)):
    """One clearance to the ground per margin, 7 m required."""
    count, margin = len(margins), np.array(margins)
    words = dict(line="north", wire="a", option="existing", case="hot", against="ground",
                 rule="ground", measure="vertical", span="0-1")
    columns = {name: np.full(count, word, object) for name, word in words.items()}
    return columns | {
        "base_m": np.full(count, 6.0), "voltage_adder_m": np.full(count, 0.5),
        "altitude_adder_m": np.zeros(count), "minimum_raise_m": np.zeros(count),
        "buffer_m": np.full(count, 0.5), "required_m": np.full(count, 7.0),
        "actual_m": 7 + margin, "margin_m": margin, "station_m": 10.0 * np.arange(count),
        "geometry": shapely.points([[5e5 + i, 5e6, 210.0] for i in range(count)])}


def violations(margins=(-0.4,)):
    """The violations of such clearances."""
    return clearances(margins) | {"severity": np.full(len(margins), "rule", object)}


def options(count=1):
    """The one option, with so many violations."""
    return {"option": ["existing"], "conductor": ["wire"], "violations": [count],
            "not_assessed": [0]}


def write(path, *batches, crs="EPSG:25832", time=TIME, **arguments):
    """Write (layer, columns) batches as one file and return its path."""
    with FindingsWriter(path, crs, time=time, **arguments) as findings:
        for name, columns in batches:
            findings.add(name, columns)
    return path


def query(path, sql):
    """Return the rows of a query, the file opened read-only."""
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as database:
        return database.execute(sql).fetchall()


@pytest.fixture
def target(tmp_path):
    """A place for findings in a folder of its own."""
    return tmp_path / "findings.gpkg"


# What stands in the file


def test_every_layer_is_written_even_when_no_row_is(target):
    """Without rows GDAL would leave layers of unknown geometry, or none: a clean line has both."""
    write(target)
    listed = dict(pyogrio.list_layers(target).tolist())
    assert {each.name: each.geometry for each in LAYERS}.items() <= listed.items()
    for each in LAYERS:
        info = pyogrio.read_info(target, layer=each.name)
        assert list(info["fields"]) == [column.name for column in each.columns]
        assert info["features"] == 0
        assert info["crs"] == ("EPSG:25832" if each.geometry else None)


def test_layer_order_does_not_depend_on_the_order_of_adding(target):
    write(target, ("options", options()), ("violations", violations()),
          ("clearances", clearances()), ("spans", spans()))
    names = query(target, "SELECT table_name FROM gpkg_contents ORDER BY rowid")
    assert [name for name, in names] == [each.name for each in LAYERS] + ["layer_styles"]
    # A GIS lists the spatial layers first.
    listed = [name for name, geometry in pyogrio.list_layers(target) if geometry]
    assert listed == [each.name for each in LAYERS if each.geometry]


def test_header_and_tables_of_a_geopackage(target):
    """OGC 12-128r17 requirements 2 (id and version), 6 and 7 (integrity, foreign keys), 15, 22."""
    write(target, ("spans", spans()))
    assert query(target, "PRAGMA application_id") == [(0x47504B47,)]
    assert query(target, "PRAGMA user_version") == [(10300,)]
    assert query(target, "PRAGMA integrity_check") == [("ok",)]
    assert query(target, "PRAGMA foreign_key_check") == []
    kinds = dict(query(target, "SELECT table_name, data_type FROM gpkg_contents"))
    assert {each.name: "features" if each.geometry else "attributes" for each in LAYERS} \
        == {name: kind for name, kind in kinds.items() if name != "layer_styles"}
    zs = query(target, "SELECT table_name, z FROM gpkg_geometry_columns")
    assert dict(zs) == {each.name: int(each.geometry.endswith(" Z")) for each in LAYERS if each.geometry}


def test_values_come_back(target):
    """Read by geopandas: the numbers, the Z, the order of rows and the CRS."""
    given = spans(5)
    write(target, ("spans", given))
    got = geopandas.read_file(target, layer="spans")
    assert got["span"].tolist() == given["span"].tolist()
    assert got["length_m"].tolist() == [100.0] * 5
    assert got.crs == "EPSG:25832"
    np.testing.assert_array_equal(shapely.get_coordinates(got.geometry, include_z=True),
                                  shapely.get_coordinates(given["geometry"], include_z=True))


def test_spatial_index_is_there_and_finds(target):
    """GeoPackage extension gpkg_rtree_index, on every layer that has a place."""
    write(target, ("spans", spans(50)))
    indexed = query(target, "SELECT table_name FROM gpkg_extensions "
                            "WHERE extension_name = 'gpkg_rtree_index'")
    assert {name for name, in indexed} == {each.name for each in LAYERS if each.geometry}
    assert query(target, "SELECT count(*) FROM rtree_spans_geom") == [(50,)]
    found = geopandas.read_file(target, layer="spans", bbox=(500_410, 4.9e6, 500_420, 5.1e6))
    assert found["span"].tolist() == ["4-5"]


def test_headings_and_comments(target):
    """GeoPackage extension gpkg_schema: what a person reads over each column."""
    write(target)
    rows = query(target, "SELECT column_name, name, description FROM gpkg_data_columns "
                         "WHERE table_name = 'wires'")
    told = {column: (name, text) for column, name, text in rows}
    assert told["sag_m"][0] == "Sag [m]"
    assert "below its chord" in told["sag_m"][1]
    assert told["percent_rts"][0] == "Percent RTS [%]"
    assert len(told) == len(layer("wires").columns)


def test_what_is_not_known_is_null(target):
    """NaN, None and "" are null: never a number, never the word nan."""
    rows = spans() | {"length_m": np.array([np.nan, 1.0, 2.0]),
                      "section": np.array([None, "", np.nan], object)}
    write(target, ("spans", rows))
    assert query(target, "SELECT length_m, section, rise_m FROM spans") \
        == [(None, None, None), (1.0, None, None), (2.0, None, None)]
    words = {column.name for column in layer("spans").columns if column.type == "text"}
    for word in words:
        told = query(target, f'SELECT "{word}" FROM spans')
        assert "nan" not in {str(value).lower() for value, in told}


def test_null_place_and_unknown_elevation(target):
    """A row without a place is kept; a structure over a hole in the ground has NaN for its Z."""
    reason = {"reason": ["no such layer", "hole in the raster"],
              "geometry": [None, shapely.from_wkt("LINESTRING Z (0 0 1, 5 0 2)")]}
    structure = {"line": ["north"], "structure": ["1"], "station_m": [0.0],
                 "geometry": [shapely.Point(5e5, 5e6, np.nan)]}
    write(target, ("not_assessed", reason), ("structures", structure))
    assert geopandas.read_file(target, layer="not_assessed").geometry.isna().tolist() \
        == [True, False]
    point = geopandas.read_file(target, layer="structures").geometry[0]
    assert point.has_z and (point.x, point.y) == (5e5, 5e6) and np.isnan(point.z)


def test_wkb_is_taken_with_its_trailing_zeros(target):
    """The last bytes of 0.0 are zeros, which numpy's byte strings would drop."""
    given = spans(2)
    lines = shapely.to_wkb(shapely.from_wkt(["LINESTRING Z (1 2 3, 4 5 0)"] * 2)).tolist()
    point = shapely.to_wkb(shapely.Point(5e5, 5e6, 0.0))
    assert point.endswith(b"\0\0\0\0")
    write(target, ("spans", given | {"geometry": lines}),
          ("structures", {"line": ["a"], "structure": ["1"], "geometry": [point]}))
    got = geopandas.read_file(target, layer="spans").geometry
    assert got[1].coords[1] == (4, 5, 0)
    assert geopandas.read_file(target, layer="structures").geometry[0].z == 0.0


def test_booleans_integers_and_times(target):
    """Times are stored in UTC whatever zone they come with (ISO 8601 with a Z)."""
    local = datetime(2026, 3, 1, 22, 30, 15, tzinfo=timezone(timedelta(hours=10)))
    run = {"software_version": ["1"], "study": ["s"], "study_digest": ["d"], "inputs": ["[]"],
           "time": [local]}
    write(target, ("run", run), ("options", options(0) | {"existing": [True]}))
    assert query(target, "SELECT time FROM run") == [("2026-03-01T12:30:15.000Z",)]
    assert query(target, "SELECT existing, violations FROM options") == [(1, 0)]
    types = dict(query(target, "SELECT name, type FROM pragma_table_info('options')"))
    assert (types["existing"], types["violations"]) == ("BOOLEAN", "INTEGER")


def test_a_digest_is_that_of_the_bytes_of_its_columns():
    """By hand, after the definition: which rows have a value, the values, and their lengths; the same on every machine,
    and not that of values cut elsewhere. Common practice, no source."""
    things = Layer("things", None, "", (Column("line", "text", None, "", True), Column("height_m", "real", "m", ""),
                                       Column("count", "integer", None, ""), Column("seen", "boolean", None, "")))
    rows = [(None, "A", 1.5, 7, 1), (None, "A", None, 8, None), (None, "Bö", -2.0, None, 0)]

    def of(valid, values, lengths=b""):
        return b"".join(hashlib.sha256(part).digest() for part in (bytes(valid), values, lengths))

    whole = hashlib.sha256(
        of([1, 1], struct.pack("<2q", 1, 2)) + of([1, 1], b"AA", struct.pack("<2i", 1, 1))
        + of([1, 0], struct.pack("<d", 1.5)) + of([1, 1], struct.pack("<2q", 7, 8)) + of([1, 0], b"\1")
        + of([1], struct.pack("<q", 3)) + of([1], "Bö".encode(), struct.pack("<i", 3))
        + of([1], struct.pack("<d", -2.0)) + of([0], b"") + of([1], b"\0")).hexdigest()
    assert digest_of_rows(things, iter(rows)) == whole
    split = Digest(things)
    for some in (rows[:1], rows[1:]):
        split.add({c.name: pa.array([row[i] for row in some], kind) for i, (c, kind) in enumerate(
            zip(things.columns, (pa.string(), pa.float64(), pa.int64(), pa.int8()), strict=True), 1)})
    assert split.hexdigest() == whole
    assert digest_of_rows(things, iter([(None, "A", "high", 7, 1)])) == ""
    others = [rows[::-1], rows[:2], [(None, "A", 1.5, 8, 1), *rows[1:]], [*rows[:2], (None, "B", -2.0, None, 0)]]
    assert len({whole, *(digest_of_rows(things, iter(each)) for each in others)}) == 5


@pytest.mark.parametrize("crs", ["EPSG:25832", "EPSG:25832+7837", "EPSG:7415",
                                 "+proj=tmerc +lat_0=51 +lon_0=9.3 +k=1 +ellps=GRS80 +units=m"])
def test_frames_with_and_without_code_and_datum(target, crs):
    """Projected, compound without a code of its own, compound with one, and a local projection."""
    write(target, ("spans", spans()), crs=crs)
    given, got = CRS(crs), geopandas.read_file(target, layer="spans").crs
    assert got.is_compound == given.is_compound
    assert got.to_2d().equals(given.to_2d(), ignore_axis_order=True)
    if given.is_compound:
        assert got.sub_crs_list[1] == given.sub_crs_list[1]


# What is refused


def test_margin_that_is_not_known_is_no_clearance(target):
    """NaN < 0 is False: such a row would read as clear, so it has to go to not_assessed."""
    with pytest.raises(ValueError, match=r"clearances\.(actual|margin)_m: 1 of 2"):
        write(target, ("clearances", clearances((1.0, np.nan))))
    assert not target.exists()


def test_time_without_zone(target):
    with pytest.raises(ValueError, match="zone"):
        FindingsWriter(target, "EPSG:25832", time=datetime(2026, 3, 1))
    run = {"software_version": ["1"], "study": ["s"], "study_digest": ["d"], "inputs": ["[]"],
           "time": [datetime(2026, 3, 1)]}
    with pytest.raises(ValueError, match="zone"):
        write(target, ("run", run))


def sentence(start):
    """The one invariant that begins so."""
    found, = [each for each, _ in INVARIANTS if each.startswith(start)]
    return found


BROKEN = [
    (sentence("`margin_m`"), [("clearances", clearances((1.0,)) | {"margin_m": np.array([1.1])})]),
    (sentence("the terms"), [("clearances", clearances((1.0,)) | {"buffer_m": np.array([0.6])})]),
    (sentence("every clearance"), [("clearances", clearances())]),
    (sentence("every clearance"), [("clearances", clearances((1.0,))),
                                   ("violations", violations((1.0,)))]),
    (sentence("every option"), [("clearances", clearances()), ("violations", violations()),
                                ("options", options(0))]),
]


@pytest.mark.parametrize("broken", BROKEN)
def test_findings_that_contradict_themselves(target, broken):
    """Nothing is written where a violation is lost or the terms do not add up."""
    sentence, batches = broken
    with pytest.raises(CorridorError, match=f"contradict.*{sentence}"):
        write(target, *batches)
    assert os.listdir(target.parent) == []


def test_each_invariant_is_broken_by_some_case():
    assert {sentence for sentence, _ in BROKEN} == {sentence for sentence, _ in INVARIANTS}


def test_consistent_findings_are_written(target):
    write(target, ("clearances", clearances()), ("violations", violations()),
          ("options", options()))
    assert query(target, "SELECT margin_m FROM violations") == [(-0.4,)]


def test_lost_rows_are_noticed(target):
    """GDAL remakes a file that it cannot open, without the layers it had: rows are counted."""
    with pytest.raises(CorridorError, match="3 rows, 4 were added"):
        with FindingsWriter(target, "EPSG:25832") as findings:
            findings.add("spans", spans())
            findings._counts["spans"] += 1
    assert os.listdir(target.parent) == []


# Whole or not at all


def test_closing_twice_is_closing_once(target):
    """As where a caller closes within the with block, to see the errors there."""
    with FindingsWriter(target, "EPSG:25832") as findings:
        findings.add("spans", spans())
        findings.close()
    assert query(target, "SELECT count(*) FROM spans") == [(3,)]
    with pytest.raises(ValueError, match="closed"):
        findings.add("spans", spans())


def test_same_rows_same_bytes(target, tmp_path, monkeypatch):
    """Also whatever the batches: one of ten rows or ten of one; GDAL gets them by four."""
    monkeypatch.setattr(geopackage, "ROWS", 4)
    rows = spans(10)
    write(target, ("spans", rows))
    again = write(tmp_path / "again.gpkg", ("spans", rows))
    pieces = write(tmp_path / "pieces.gpkg", *(
        ("spans", {name: values[i:i + 1] for name, values in rows.items()}) for i in range(10)))
    other = write(tmp_path / "other.gpkg", ("spans", rows), time=TIME + timedelta(hours=1))
    assert target.read_bytes() == again.read_bytes() == pieces.read_bytes() != other.read_bytes()
    got = geopandas.read_file(pieces, layer="spans")
    assert got["span"].tolist() == rows["span"].tolist()
    assert shapely.equals_exact(got.geometry.to_numpy(), rows["geometry"]).all()


def test_the_clock_of_gdal_is_put_back(target):
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2001-01-01T00:00:00.000Z"})
    try:
        write(target)
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == "2001-01-01T00:00:00.000Z"
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})
    changed = query(target, "SELECT DISTINCT last_change FROM gpkg_contents")
    assert changed == [("2026-03-01T12:30:15.250Z",)]


def test_nothing_is_left_beside_the_file(target):
    """No log, no temporary file; bytes 18 and 19 of SQLite's file format: 1, no write-ahead log."""
    write(target, ("spans", spans()))
    write(target, ("spans", spans(2)))
    assert os.listdir(target.parent) == ["findings.gpkg"]
    assert target.read_bytes()[18:20] == b"\1\1"
    assert query(target, "SELECT count(*) FROM spans") == [(2,)]


def test_an_exception_leaves_the_old_findings(target):
    old = write(target, ("spans", spans())).read_bytes()
    with pytest.raises(ZeroDivisionError), FindingsWriter(target, "EPSG:25832") as findings:
        findings.add("spans", spans(1))
        raise ZeroDivisionError
    assert target.read_bytes() == old
    assert os.listdir(target.parent) == ["findings.gpkg"]


KILLED = """
    import os, signal, sys
    import corridor.outputs.files as files
    import corridor.outputs.geopackage as geopackage
    from tests.test_geopackage import spans
    calls, write_arrow = [], geopackage.pyogrio.write_arrow
    def die(*arguments, **options):
        calls.append(1)
        if len(calls) == int(sys.argv[2]):
            os.kill(os.getpid(), signal.SIGKILL)
        return write_arrow(*arguments, **options)
    geopackage.pyogrio.write_arrow = die
    files._flush = lambda path: os.kill(os.getpid(), signal.SIGKILL)
    with geopackage.FindingsWriter(sys.argv[1], "EPSG:25832") as findings:
        findings.add("spans", spans(1000))
"""


@pytest.mark.parametrize("layers", [1, 6, 99])
def test_a_killed_run_leaves_the_old_findings(target, layers):
    """Before the first layer, among the layers, and after the last one before the renaming."""
    old = write(target, ("spans", spans())).read_bytes()
    done = subprocess.run([sys.executable, "-c", textwrap.dedent(KILLED), target, str(layers)],
                          cwd=ROOT, env={**os.environ, "PYTHONPATH": str(ROOT)})
    assert done.returncode == -signal.SIGKILL
    assert target.read_bytes() == old
    assert len(geopandas.read_file(target, layer="spans")) == 3
    left = os.listdir(target.parent)
    assert all(name.startswith((".corridor-", "findings.gpkg")) for name in left)
    write(target, ("spans", spans(2)))
    assert os.listdir(target.parent) == ["findings.gpkg"]
    assert len(geopandas.read_file(target, layer="spans")) == 2


@pytest.mark.parametrize("content", ["", "my notes", "SQLite format 3\0" + "\0" * 100])
def test_a_file_that_is_no_geopackage_is_not_replaced(target, content):
    target.write_text(content)
    with pytest.raises(InputError, match="findings.gpkg: output: found a file that corridor did not write"):
        FindingsWriter(target, "EPSG:25832")
    assert target.read_text() == content


def test_another_database_is_not_replaced(target):
    """It is told from a GeoPackage by its application id (OGC 12-128r17, requirement 2)."""
    with closing(sqlite3.connect(target)) as database:
        database.execute("CREATE TABLE dear (to_me)")
    assert not is_geopackage(target)
    with pytest.raises(InputError):
        FindingsWriter(target, "EPSG:25832")


def test_targets_that_cannot_be(target):
    target.mkdir()
    with pytest.raises(InputError, match="something that is no file"):
        FindingsWriter(target, "EPSG:25832")
    with pytest.raises(InputError, match="no folder 'nowhere'"):
        FindingsWriter(target.parent / "nowhere" / "findings.gpkg", "EPSG:25832")


def test_a_foreign_file_is_replaced_where_that_is_asked_for(target):
    target.write_text("my notes")
    write(target, ("spans", spans(2)), guard=Guard(overwrite=True))
    assert query(target, "SELECT count(*) FROM spans") == [(2,)]


def test_an_input_is_never_replaced(target):
    old = write(target, ("spans", spans())).read_bytes()
    with pytest.raises(InputError, match="a file that is read"):
        FindingsWriter(target, "EPSG:25832", guard=Guard((target,), overwrite=True))
    assert target.read_bytes() == old


def test_a_file_that_came_meanwhile_is_not_replaced(target):
    """The finished findings are not thrown away either."""
    findings = FindingsWriter(target, "EPSG:25832")
    target.write_text("my notes")
    with pytest.warns(CorridorWarning, match=r"came meanwhile.* whole in findings-\d+\.gpkg"):
        findings.close()
    assert target.read_text() == "my notes"
    assert findings.path.name in os.listdir(target.parent) and len(os.listdir(target.parent)) == 2
    assert query(findings.path, "SELECT count(*) FROM spans") == [(0,)]


def test_findings_that_another_program_opens_meanwhile(target):
    """A log beside the old file would be played into the new one: the new one goes beside it."""
    write(target, ("spans", spans()))
    findings = FindingsWriter(target, "EPSG:25832")
    findings.add("spans", spans(2))
    with closing(sqlite3.connect(target)) as other:
        other.execute("PRAGMA journal_mode=WAL")
        other.execute("CREATE TABLE edit (a)")
        with pytest.warns(CorridorWarning, match="close the layer in the GIS"):
            findings.close()
        assert other.execute("SELECT count(*) FROM spans").fetchone() == (3,)
    assert query(findings.path, "SELECT count(*) FROM spans") == [(2,)] and findings.path != target


def test_findings_open_in_another_program(target):
    """A write-ahead log beside the old file would be played into the new one (sqlite.org,
    "How To Corrupt An SQLite Database File", section 1.4 recalled)."""
    write(target, ("spans", spans()))
    with closing(sqlite3.connect(target)) as other:
        other.execute("PRAGMA journal_mode=WAL")
        other.execute("CREATE TABLE edit (a)")
        assert Path(f"{target}-wal").exists()
        with pytest.raises(CorridorError, match="close the layer in the GIS"):
            FindingsWriter(target, "EPSG:25832")
        assert other.execute("SELECT count(*) FROM spans").fetchone() == (3,)


def test_a_locked_target_is_replaced_not_opened(target):
    """GDAL, asked to write into a locked file, deletes it: here it never opens it."""
    write(target, ("spans", spans()))
    with closing(sqlite3.connect(target, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        write(target, ("spans", spans(2)))
        assert other.execute("SELECT count(*) FROM spans").fetchone() == (3,)
    assert query(target, "SELECT count(*) FROM spans") == [(2,)]


def test_a_target_that_cannot_be_renamed_onto(target, monkeypatch):
    """Windows refuses to replace an open file: the findings are kept whole under another name."""
    old = write(target, ("spans", spans())).read_bytes()
    real = os.replace

    def refuse(source, goal):
        if Path(goal) == target:
            raise PermissionError(13, "in use")
        real(source, goal)

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.warns(CorridorWarning, match=r"in use.* whole in findings-\d+\.gpkg"):
        write(target, ("spans", spans(2)))
    assert target.read_bytes() == old
    kept = target.with_name(f"findings-{os.getpid()}.gpkg")
    assert query(kept, "SELECT count(*) FROM spans") == [(2,)]


@pytest.mark.parametrize("error", [PermissionError(13, "not yours"), OSError(28, "disk full")])
def test_a_folder_that_takes_nothing(target, monkeypatch, error):
    """Asked before anything is computed."""
    def refuse(**arguments):
        raise error

    monkeypatch.setattr(geopackage.tempfile, "TemporaryFile", refuse)
    with pytest.raises(CorridorError, match=error.strerror):
        FindingsWriter(target, "EPSG:25832")


def test_a_gis_finds_the_styles(target):
    """A GIS asks for the default style with the schema "", which is not NULL, and the geometry."""
    write(target)
    found = query(target, "SELECT f_table_name FROM layer_styles WHERE f_table_schema = '' "
                          "AND f_geometry_column = 'geom' AND useAsDefault = 1 "
                          "AND styleQML LIKE '%<renderer-v2%'")
    assert {name for name, in found} == {each.name for each in LAYERS if each.geometry}
    plain = query(target, "SELECT f_table_name FROM layer_styles WHERE f_geometry_column = '' AND useAsDefault = 1 "
                          "AND styleQML LIKE '%<alias %'")
    assert {name for name, in plain} == {each.name for each in LAYERS if not each.geometry}
    assert query(target, "SELECT data_type FROM gpkg_contents "
                         "WHERE table_name = 'layer_styles'") == [("attributes",)]


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    """Findings of three spans, written once."""
    return write(tmp_path_factory.mktemp("plain") / "findings.gpkg", ("spans", spans()))


#: Tables of OGC 12-128r17 with their columns, and of which type each is declared: tables 3, 5, 6 and 14 (recalled).
STANDARD = {
    "gpkg_spatial_ref_sys": {"srs_name": "TEXT", "srs_id": "INTEGER", "organization": "TEXT",
                             "organization_coordsys_id": "INTEGER", "definition": "TEXT", "description": "TEXT"},
    "gpkg_contents": {"table_name": "TEXT", "data_type": "TEXT", "identifier": "TEXT", "description": "TEXT",
                      "last_change": "DATETIME", "min_x": "DOUBLE", "min_y": "DOUBLE", "max_x": "DOUBLE",
                      "max_y": "DOUBLE", "srs_id": "INTEGER"},
    "gpkg_geometry_columns": {"table_name": "TEXT", "column_name": "TEXT", "geometry_type_name": "TEXT",
                              "srs_id": "INTEGER", "z": "TINYINT", "m": "TINYINT"},
    "gpkg_extensions": {"table_name": "TEXT", "column_name": "TEXT", "extension_name": "TEXT", "definition": "TEXT",
                        "scope": "TEXT"},
}


@pytest.mark.parametrize("table", STANDARD)
def test_tables_of_the_standard(plain, table):
    assert dict(query(plain, f"SELECT name, type FROM pragma_table_info('{table}')")) == STANDARD[table]


def test_rows_that_the_standard_wants(plain):
    """Requirement 11: three systems at least, -1 and 0 among them; 13: a table for each row of contents; 25: a geometry
    column with a system that is there (numbers recalled). Every user table has one integer key (requirement 29)."""
    systems = {number for number, in query(plain, "SELECT srs_id FROM gpkg_spatial_ref_sys")}
    assert {-1, 0, 4326} <= systems
    tables = {name for name, in query(plain, "SELECT name FROM sqlite_master WHERE type = 'table'")}
    for name, in query(plain, "SELECT table_name FROM gpkg_contents"):
        assert name in tables
        keys = [(kept, pk) for kept, pk in query(plain, f"SELECT type, pk FROM pragma_table_info('{name}')") if pk]
        assert keys == [("INTEGER", 1)]
    used = query(plain, "SELECT g.srs_id, c.srs_id FROM gpkg_geometry_columns g "
                         "JOIN gpkg_contents c USING (table_name)")
    assert used and all(of_column == of_table and of_column in systems for of_column, of_table in used)


def test_extent_title_and_description(plain):
    """The extent is that of the rows; every layer has a title in words, unlike any other, and what it is."""
    extent = query(plain, "SELECT min_x, min_y, max_x, max_y FROM gpkg_contents WHERE table_name = 'spans'")
    assert extent == [(500_000.0, 5e6, 500_300.0, 5e6)]
    told = dict(query(plain, "SELECT table_name, identifier FROM gpkg_contents"))
    assert told["violation_stretches"] == "Violation stretches" and len(set(told.values())) == len(told)
    assert query(plain, "SELECT table_name FROM gpkg_contents WHERE description = ''") == []


def test_geometry_blobs_follow_the_standard(plain):
    """Read without GDAL: the header of OGC 12-128r17, clause 2.1.3 (magic, version 0, flags, srs_id, envelope), then
    WKB that shapely reads."""
    given = spans()
    sizes = {0: 0, 1: 32, 2: 48, 3: 48, 4: 64}
    for (blob, number), shape in zip(query(plain, "SELECT s.geom, g.srs_id FROM spans s, gpkg_geometry_columns g "
                                                   "WHERE g.table_name = 'spans' ORDER BY s.fid"),
                                     given["geometry"], strict=True):
        assert blob[:3] == b"GP\0"
        order = "<" if blob[3] & 1 else ">"
        assert struct.unpack(order + "i", blob[4:8]) == (number,)
        assert shapely.equals_exact(shapely.from_wkb(blob[8 + sizes[blob[3] >> 1 & 7]:]), shape)


def test_a_folder_that_is_ready_moves_whole_and_takes_what_is_stale_along(tmp_path):
    """Files of the software that are not written anew go; others stay, and what is not of it is not replaced."""
    folder = tmp_path / "plan"
    folder.mkdir()
    (folder / "old.svg").write_text(f"<svg>{MARK}</svg>")
    (folder / "mine.svg").write_text("<svg>mine</svg>")
    with Files() as ready:
        (ready.staged(folder, ["*.svg"]) / "new.svg").write_text(f"<svg>{MARK}</svg>")
        assert sorted(os.listdir(folder)) == ["mine.svg", "old.svg"]
    assert sorted(os.listdir(folder)) == ["mine.svg", "new.svg"] and os.listdir(tmp_path) == ["plan"]
    with pytest.raises(InputError, match="did not write"), Files() as ready:
        (ready.staged(folder) / "mine.svg").write_text(f"<svg>{MARK}</svg>")
        (ready.staged(folder) / "a.svg").write_text(f"<svg>{MARK}</svg>")
    assert sorted(os.listdir(folder)) == ["mine.svg", "new.svg"] and os.listdir(tmp_path) == ["plan"]
    assert "mine" in (folder / "mine.svg").read_text()
