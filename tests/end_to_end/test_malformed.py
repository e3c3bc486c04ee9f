"""Objects that are not what they should be: a clear error or a row of `not_assessed`, never a silent pass."""

import re
import sqlite3

import geopandas as gpd
import numpy as np
import pytest
import shapely

from corridor.errors import InputError

EAST, NORTH = 500_450.0, 5_600_000.0


def bow_tie():
    """A polygon that crosses itself, below the middle of the second span."""
    return shapely.Polygon([(EAST - 5, NORTH - 20), (EAST + 5, NORTH + 20), (EAST + 5, NORTH - 20),
                            (EAST - 5, NORTH + 20)])


def across(z=None):
    """A line below the middle of the second span, flat or at an elevation."""
    ends = [(EAST, NORTH - 20), (EAST, NORTH + 20)]
    return shapely.LineString(ends if z is None else [(*end, z) for end in ends])


SHAPES = {
    "empty": (shapely.Polygon(), "height = 0", "empty|no geometry|place"),
    "null": (None, "height = 0", "no geometry|null|place"),
    "self-crossing": (bow_tie(), "height = 0", "crosses itself"),
    "a mixed collection": (shapely.GeometryCollection([across(), shapely.Point(EAST, NORTH)]), "height = 0",
                           "GeometryCollection"),
    "Z of -9999": (across(-9999.0), "", "elevation of -9999"),
    "Z of nothing": (across(np.nan), "", "without elevation|no height"),
    "Z of 0 throughout": (across(0.0), "", "0 throughout"),
    "flat without height": (across(), "", "no height"),
}


@pytest.mark.parametrize("kind", SHAPES)
def test_shapes(study, kind):
    """One row each, that names the object and its fault; nothing of it among the clearances; status 3."""
    shape, keys, words = SHAPES[kind]
    study.add_obstacle("things", "road", [shape], keys)
    findings = study.check()
    gaps = findings["not_assessed"]
    mine = gaps[gaps["obstacle"] == "things:1"]
    assert len(mine) == 1 and mine["reason"].str.contains(words).all(), gaps["reason"].tolist()
    assert not len(findings.rows("clearances", against="road"))
    assert findings.result.status == 3


@pytest.mark.parametrize("text", ["tall", "12 feet high", "", None, "1e999", "-3e5"])
def test_heights_as_text(study, text):
    study.add_obstacle("walls", "road", [across()], 'height_column = "height"', height=np.array([text], object))
    findings = study.check()
    gap = findings.row("not_assessed", obstacle="walls:1")
    assert gap["span"] == "2-3" and "height" in gap["reason"]
    assert not len(findings.rows("clearances", against="road")) and findings.result.status == 3


def test_heights_as_text_that_are_numbers(study):
    """A length with its unit is one."""
    study.add_obstacle("walls", "road", [across()], 'height_column = "height"', height=["2.5 m"])
    flat = study.check().row("clearances", against="road", case="hot")["actual_m"]
    study.text = study.text.replace('height_column = "height"', "height = 0")
    assert study.check().row("clearances", against="road", case="hot")["actual_m"] == pytest.approx(flat + 2.5)


def test_curves(study):
    """An arc, which GDAL makes lines of, is crossed where the arc is: 4 m to the east of its chord."""
    (study.folder / "bends.vrt").write_text(
        '<OGRVRTDataSource><OGRVRTLayer name="bends"><SrcDataSource relativeToVRT="1">bends.csv</SrcDataSource>'
        "<LayerSRS>EPSG:25832</LayerSRS></OGRVRTLayer></OGRVRTDataSource>")
    (study.folder / "bends.csvt").write_text("Integer,WKT")
    arc = f"CIRCULARSTRING({EAST} {NORTH - 20},{EAST + 4} {NORTH},{EAST} {NORTH + 20})"
    (study.folder / "bends.csv").write_text(f'id,WKT\n1,"{arc}"\n')
    study.text += '\n[[obstacles]]\nname = "bends"\nfile = "bends.vrt"\ncategory = "road"\nheight = 0\n'
    row = study.check().row("clearances", against="road", case="hot")
    # Wires lie 4 and 5 m beside the axis: there the arc, of radius 52 m, is a fifth of a metre from its middle.
    assert row.geometry.x == pytest.approx(EAST + 4, abs=0.3)


def test_another_crs(study):
    """The same line in degrees is crossed at the same place as in metres."""
    study.add_obstacle("roads", "road", [across()], "height = 0")
    here = study.check().row("clearances", against="road", case="hot")
    gpd.GeoDataFrame(geometry=[across()], crs="EPSG:25832").to_crs(4258).to_file(
        study.folder / "roads.gpkg", layer="roads", driver="GPKG")
    there = study.check().row("clearances", against="road", case="hot")
    assert there["actual_m"] == pytest.approx(here["actual_m"], abs=1e-3)
    assert shapely.distance(here.geometry, there.geometry) < 1e-3


def test_no_crs(study):
    """Metres or degrees, of where? An error, that names the file; nothing is written."""
    study.add_obstacle("roads", "road", [across()], "height = 0")
    study.write()
    (study.folder / "roads.gpkg").unlink()
    with pytest.warns(UserWarning, match="crs"):
        gpd.GeoDataFrame(geometry=[across()]).to_file(study.folder / "roads.gpkg", layer="roads", driver="GPKG")
    with pytest.raises(InputError, match="roads.gpkg") as error:
        study.check()
    assert "CRS" in str(error.value)
    assert not study.output.exists()


def test_a_broken_geometry_in_the_file(study):
    """Bytes that are no geometry: an error or a row, and no clearance of it."""
    study.add_obstacle("roads", "road", [across()], "height = 0")
    study.write()
    with sqlite3.connect(study.folder / "roads.gpkg") as database:
        for name, in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        database.execute("UPDATE roads SET geom = x'47500001E8640000FFFFFFFF'")
    try:
        findings = study.check()
    except InputError as error:
        assert re.search("roads.*read", str(error)) and not study.output.exists()
    else:  # Some versions of GDAL read it as a feature without geometry.
        assert findings.result.status == 3 and not len(findings.rows("clearances", against="road"))
        assert {*findings.rows("not_assessed", obstacle="roads:1")["reason"]} == {"no geometry"}
