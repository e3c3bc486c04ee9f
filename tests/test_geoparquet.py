"""Findings as a folder of GeoParquet files: the rows of the GeoPackage, for readers that know nothing of corridor.

What the files say of themselves is asked of GeoParquet 1.1.0 (geoparquet.org, from memory)."""

import json

import geopandas
import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pyogrio
import pytest
import shapely
from pyproj import CRS

from corridor.errors import CorridorError, CorridorWarning, InputError
from corridor.jobs.diff import compare_findings
from corridor.outputs.files import Files
from corridor.outputs.frames import read_layer
from corridor.outputs.geopackage import FindingsWriter
from corridor.outputs.geoparquet import folder_digests
from corridor.outputs.guard import FOLDER, Guard, kind_of
from corridor.outputs.schema import LAYERS, layer
from tests.common import run
from tests.end_to_end.conftest import SECOND_OPTION, TinyStudy, leftovers, line_of


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """A study of three lines, one of them with a number for a name and one with a stroke in it, checked into a
    GeoPackage and a folder."""
    study = TinyStudy(tmp_path_factory.mktemp("both"))
    lines = [line_of(5, line=name) for name in ("north", "007", "a/../b")]
    for i, line in enumerate(lines):
        line["northing"] += 80 * i
    study.structures = pd.concat(lines, ignore_index=True)
    study.text += SECOND_OPTION
    study.rules = study.rules.replace("4.5", "7")
    study.write_ground(unknown=lambda e, n: (abs(e - 500_400) < 20) & (n < 5_600_020))
    study.add_roads()
    study.write()
    folder = study.output.with_name("findings.parquet")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("SOURCE_DATE_EPOCH", "1772323200")
        assert run("check", study.path) == run("check", study.path, "-o", f"{folder}/") == 1
    return study.path, study.output, folder


def test_same_rows_and_digests_as_the_geopackage(both):
    _, package, folder = both
    digests = json.loads(pyogrio.read_dataframe(package, layer="run")["layer_digests"][0])
    assert folder_digests(folder) == digests == json.loads(read_layer(folder, "run")["layer_digests"][0])
    for each in LAYERS:
        a, b = (read_layer(source, each.name).drop(columns="time", errors="ignore") for source in (package, folder))
        if each.geometry:
            assert a.crs == b.crs
            a, b = (pd.DataFrame(x).assign(geometry=shapely.to_wkb(x.geometry.values)) for x in (a, b))
        pd.testing.assert_frame_equal(a, b, check_exact=True, check_dtype=False, obj=each.name)


def test_files_of_lines_and_of_layers(both):
    """A folder with files of each line only where every row has a line."""
    folder = both[2]
    named = {path.name for path in (folder / "clearances.parquet").iterdir()}
    assert named == {"line=north", "line=007", "line=a%2F..%2Fb"}
    assert (folder / "not_assessed.parquet").is_file() and (folder / "options.parquet").is_file()


def test_geopandas_reads_it(both):
    """By itself, and those rows alone that lie in a box."""
    _, package, folder = both
    rows, wanted = geopandas.read_parquet(folder / "clearances.parquet"), read_layer(package, "clearances")
    assert len(rows) == len(wanted) and rows.crs == wanted.crs
    np.testing.assert_array_equal(rows.sort_values("fid")["margin_m"], wanted["margin_m"])
    west, south, east, north = wanted.total_bounds
    box = west, south, (west + east) / 2, north
    some = geopandas.read_parquet(folder / "clearances.parquet", bbox=box)
    assert 0 < len(some) == len(wanted.cx[box[0]:box[2], box[1]:box[3]]) < len(wanted)


def test_what_files_say_of_themselves(both):
    geo = json.loads(pq.read_schema(next((both[2] / "wires.parquet").rglob("*.parquet"))).metadata[b"geo"])
    column = geo["columns"][geo["primary_column"]]
    assert geo["version"].startswith("1.1") and column["encoding"] == "WKB"
    assert column["geometry_types"] == ["LineString Z"]
    assert CRS.from_json_dict(column["crs"]).to_2d() == CRS("EPSG:25832")
    assert column["covering"]["bbox"]["ymax"] == ["bbox", "ymax"]


def test_commands_read_either(both, tmp_path):
    """Answers of commands over the folder are those over the GeoPackage."""
    study, package, folder = both
    for name, arguments in {"tables": ("-f", "{}"), "export": ("-o", "{}.geojson"), "report": ("-o", "{}.html"),
                            "draw": ("-o", "{}.pdf"), "ground-limit": ("-f", "{}")}.items():
        for source in (package, folder):
            made = [part.format(tmp_path / f"{name}-{source.suffix[1:]}") for part in arguments]
            assert run(name, study, "-i", source, *made) in (0, 3)
    first, second = ({path.name: path.read_bytes() for path in (tmp_path / f"tables-{kind}").glob("*.csv")}
                     for kind in ("gpkg", "parquet"))
    assert first == second and len(first) > 2
    maps = [geopandas.read_file(tmp_path / f"export-{kind}.geojson") for kind in ("gpkg", "parquet")]
    pd.testing.assert_frame_equal(*(pd.DataFrame(each).astype(str) for each in maps))
    assert set(compare_findings(package, folder).rows["change"]) == {"same"}


@pytest.fixture
def copied(both, tmp_path):
    study = TinyStudy(tmp_path)
    study.write()
    folder = tmp_path / "findings.parquet"
    assert run("check", study.path, "-o", folder) in (0, 1, 3)
    return study.path, folder


def test_changed_rows_are_refused(copied, capsys):
    """A violation that somebody takes out, or a margin that somebody mends, is told of."""
    study, folder = copied
    path = folder / "clearances.parquet"
    table = pq.read_table(path)
    assert run("tables", study, "-i", folder, "-f", folder.parent / "out") in (0, 3)
    at = table.schema.get_field_index("margin_m")
    mended = table.set_column(at, table.schema.field(at), [np.abs(table["margin_m"].to_numpy()) + 1])
    for changed in (mended, table.slice(1), table.take([*range(1, len(table)), 0])):
        pq.write_table(changed, path)
        assert run("tables", study, "-i", folder, "-f", folder.parent / "out") == 2
        assert "somebody changed" in capsys.readouterr().err
    lines = table["line"].to_pylist()
    at = table.schema.get_field_index("line")
    for bare in ([None, *lines[1:]], [None] * len(lines)):
        field = table.schema.field(at)
        pq.write_table(table.set_column(at, field, [pa.array(bare, field.type)]), path)
        with pytest.raises(InputError, match=r"clearances\.parquet: line: found none in the row of fid 1: somebody"):
            folder_digests(folder)
        assert run("tables", study, "-i", folder, "-f", folder.parent / "out") == 2
        assert "none in the row of fid 1" in " ".join(capsys.readouterr().err.split())
    path.unlink()
    assert run("tables", study, "-i", folder, "-f", folder.parent / "out") == 2
    assert "something else than findings" in capsys.readouterr().err


def test_a_folder_that_holds_more_is_never_replaced(copied):
    """Not even by --overwrite: all that is in it would go."""
    study, folder = copied
    before = {path: path.read_bytes() for path in folder.rglob("*.parquet")}
    assert run("check", study, "-o", folder) in (0, 1, 3) and kind_of(folder) == FOLDER
    (folder / "notes.txt").write_text("mine")
    for more in ((), ("--overwrite",)):
        assert run("check", study, "-o", folder, *more) == 2
    assert before.keys() == {path for path in folder.rglob("*.parquet")}
    assert (folder / "notes.txt").read_text() == "mine"
    (folder / "notes.txt").unlink()
    (folder / "linked.parquet").symlink_to(study)
    assert run("check", study, "-o", folder, "--overwrite") == 2 and study.exists()


def test_a_file_in_its_place_stays(copied):
    study, folder = copied
    other = folder.with_name("other.parquet")
    other.write_text("mine")
    assert run("check", study, "-o", other, "--overwrite") == 2 and other.read_text() == "mine"


def test_what_came_into_the_folder_meanwhile_stays(copied):
    """Somebody puts notes into it while the check runs: it stays, and the new findings are beside it."""
    folder = copied[1]
    with pytest.warns(CorridorWarning, match="of another kind"), FindingsWriter(
            folder, "EPSG:25832", guard=Guard(overwrite=True)) as findings:
        (folder / "notes.txt").write_text("mine")
    assert (folder / "notes.txt").read_text() == "mine" and kind_of(findings.path) == FOLDER != kind_of(folder)
    assert not leftovers(folder.parent)


def test_inputs_in_the_folder_are_kept(copied):
    study, folder = copied
    with pytest.raises(InputError, match="a file that"):
        Guard((folder / "run.parquet",)).besides(folder).check(folder / "more.gpkg")
    with pytest.raises(InputError, match="is read"), Files(Guard((folder,))) as files:
        files.new(folder, FOLDER)


def test_rows_that_contradict_themselves_are_not_written(tmp_path):
    """As for the GeoPackage: a negative margin that is no violation."""
    text = {c.name: ["x"] for c in layer("clearances").columns if c.required and c.type == "text"}
    with pytest.raises(CorridorError, match="contradict"), FindingsWriter(
            tmp_path / "findings.parquet", "EPSG:25832") as findings:
        findings.add("clearances", text | {"required_m": [1.0], "actual_m": [0.5], "margin_m": [-0.5]})
    assert not [*tmp_path.iterdir()]
