"""Obstacles, the right-of-way and digests: what is taken, told and refused."""

import hashlib
import sqlite3
import zipfile
from contextlib import closing
from types import SimpleNamespace

import geopandas
import numpy as np
import pytest
import shapely
from pyproj import CRS
from shapely import LineString, Polygon

from corridor.inputs.areas import read_right_of_way
from corridor.inputs.digest import digest
from corridor.inputs.frame import Frame, transformer
from corridor.inputs.layers import layer_facts, open_layer, portions
from corridor.inputs.obstacles import read_obstacles
from corridor.inputs.reach import boxes_about

from .vector_files import refused, write

FRAME = Frame(CRS("EPSG:25832"), "ETRS89 / UTM zone 32N", "")
E0, N0 = 500_000.0, 5_600_000.0


BLANK = dict.fromkeys(
    (
        "layer",
        "category",
        "column",
        "id_column",
        "height",
        "height_column",
        "elevation_column",
        "voltage",
        "voltage_column",
        "radius",
        "radius_column",
        "crs",
        "x_column",
        "y_column",
    )
) | {"where": (), "values": ()}


def obstacles(path, *, bounds=None, frame=FRAME, **section):
    settings = SimpleNamespace(
        **(BLANK | {"name": "things", "file": path.name, "category": "road"} | section)
    )
    return read_obstacles([settings], lambda name: path.parent / name, frame,
                          boxes=None if bounds is None else np.array([bounds]))[0]


def heights(found):
    return shapely.get_coordinates(found.geometry[0], include_z=True)[:, 2].tolist()


def layer(path, geometry, crs="EPSG:25832", **columns):
    return write(path, columns or {"x": range(len(geometry))}, geometry, crs=crs, layer="things")


ROAD = LineString([(E0, N0), (E0 + 50, N0)])
SOLID = LineString([(E0, N0, 120), (E0 + 50, N0, 121)])
SQUARE = shapely.box(E0, N0, E0 + 10, N0 + 10)
BOW = Polygon([(E0, N0), (E0 + 10, N0 + 10), (E0 + 10, N0), (E0, N0 + 10)])


def test_heights_above_ground(tmp_path):
    found = obstacles(layer(tmp_path / "o.gpkg", [ROAD, ROAD]), height=0.0)
    assert (
        found.obstacle.tolist() == ["things:1", "things:2"]
        and found.category.tolist() == ["road"] * 2
    )
    assert (
        found.height.tolist() == [0, 0]
        and not found.absolute.any()
        and found.fault.tolist() == ["", ""]
    )
    assert np.isnan(found.voltage).all() and np.isnan(found.radius).all()


def test_columns_of_text_and_numbers(tmp_path):
    path = layer(
        tmp_path / "o.gpkg",
        [ROAD] * 4,
        h=["5.2", "17 ft", None, "tall"],
        kind=["road", "rail", "", "road"],
        key=["a", "b", "c", None],
        r=[1.0, 2, 3, 4],
        v=["20 kV", "110000;20000", None, "20"],
    )
    found = obstacles(
        path,
        height_column="h",
        column="kind",
        category=None,
        id_column="key",
        radius_column="r",
        voltage_column="v",
    )
    np.testing.assert_allclose(found.height, [5.2, 5.1816, np.nan, np.nan])
    assert found.obstacle.tolist() == ["things:a", "things:b", "things:c", "things:4"]
    assert found.category.tolist() == ["road", "rail", "", "road"] and found.radius.tolist() == [
        1,
        2,
        3,
        4,
    ]
    np.testing.assert_array_equal(found.voltage, [20e3, 110e3, np.nan, np.nan])
    assert found.fault.tolist() == ["", "", "no category", "voltage of 20 V, perhaps meant in kV"]


def test_missing_and_odd_heights_are_faults_not_zeros(tmp_path):
    path = layer(tmp_path / "o.gpkg", [ROAD] * 5, h=["", "tall", "-9999", "5000", "3"])
    found = obstacles(path, height_column="h")
    assert found.fault.tolist() == [
        "no height",
        "height 'tall' is not a number",
        "height of -9999",
        "height of 5000",
        "",
    ]
    np.testing.assert_array_equal(found.height, [np.nan, np.nan, np.nan, np.nan, 3])
    assert obstacles(layer(tmp_path / "p.gpkg", [ROAD])).fault.tolist() == [
        "no height and no elevation"
    ]


def test_absolute_tops(tmp_path):
    path = layer(tmp_path / "o.gpkg", [ROAD, ROAD, ROAD], z=[131.5, np.nan, -9999])
    found = obstacles(path, elevation_column="z")
    assert found.absolute.all() and heights(found) == [131.5] * 2
    assert found.fault.tolist() == ["", "no elevation", "an elevation of -9999 m"]


def test_solid_geometry_is_absolute_unless_a_height_is_given(tmp_path):
    path = layer(tmp_path / "o.gpkg", [SOLID])
    found = obstacles(path)
    assert (
        found.absolute.tolist() == [True]
        and np.isnan(found.height).all()
        and found.fault.tolist() == [""]
    )
    assert heights(found) == [120, 121]
    found = obstacles(path, height=4.0)
    assert found.absolute.tolist() == [False] and found.height.tolist() == [4]


@pytest.mark.parametrize(
    "z, fault",
    [
        ((120, -9999), "an elevation of -9999 m"),
        ((120, np.nan), "a vertex without elevation"),
        ((0, 0), "elevation 0 throughout: heights not given"),
        ((0, 1), ""),
        ((1e20, 5), "an elevation of 1e+20 m"),
    ],
)
def test_elevations_that_cannot_be(tmp_path, z, fault):
    path = layer(tmp_path / "o.gpkg", [LineString([(E0, N0, z[0]), (E0 + 9, N0, z[1])])])
    assert obstacles(path).fault.tolist() == [fault]


def test_elevations_in_feet_of_the_crs(tmp_path):
    path = layer(tmp_path / "o.gpkg", [SOLID], crs="EPSG:25832+6360")
    found = obstacles(path)
    np.testing.assert_allclose(heights(found), np.array([120, 121]) * 1200 / 3937, rtol=1e-12)


def test_features_without_use_are_kept_with_their_fault(tmp_path):
    odd = [
        None,
        LineString(),
        BOW,
        shapely.GeometryCollection([ROAD, SQUARE]),
        SQUARE,
        shapely.multipolygons([SQUARE]),
    ]
    found = obstacles(
        layer(tmp_path / "o.gpkg", odd), height=3.0, bounds=(E0, N0, E0 + 900, N0 + 900)
    )
    assert found.fault.tolist() == [
        "no geometry",
        "no geometry",
        "polygon crosses itself",
        "a geometry of kind GeometryCollection",
        "",
        "",
    ]


def test_curves_are_made_of_lines(tmp_path):
    """GDAL makes them; the arc is a quarter circle of radius 10 m, so pi/2 x 10 m long."""
    (tmp_path / "o.vrt").write_text(
        '<OGRVRTDataSource><OGRVRTLayer name="c">'
        '<SrcDataSource relativeToVRT="1">c.csv</SrcDataSource>'
        "<LayerSRS>EPSG:25832</LayerSRS></OGRVRTLayer></OGRVRTDataSource>"
    )
    (tmp_path / "c.csvt").write_text("Integer,WKT")
    a = 10 * np.sqrt(0.5)
    arc = f"CIRCULARSTRING({E0 + 10} {N0},{E0 + a} {N0 + a},{E0} {N0 + 10})"
    (tmp_path / "c.csv").write_text(f'id,WKT\n1,"{arc}"\n')
    found = obstacles(tmp_path / "o.vrt", height=0.0)
    assert found.fault.tolist() == [""]
    assert found.geometry[0].length == pytest.approx(np.pi / 2 * 10, rel=1e-3)


def test_only_what_is_near_is_kept_whatever_its_crs(tmp_path):
    places = shapely.points([9.0, 9.005, 9.02, 9.1], 50.55)
    path = layer(tmp_path / "o.gpkg", places, crs="EPSG:4258")
    e, n = FRAME.transform_points([9.0], [50.55], CRS("EPSG:4258"))
    found = obstacles(path, height=3.0, bounds=(e[0] - 10, n[0] - 10, e[0] + 10, n[0] + 10))
    # A hundredth of a degree is 709 m here: one is within 500 m, two are not.
    assert found.obstacle.tolist() == ["things:1", "things:2"]
    assert len(obstacles(path, height=3.0).obstacle) == 4
    wide = obstacles(path, height=3.0, radius=400.0, bounds=(e[0], n[0], e[0] + 600, n[0]))
    assert len(wide.obstacle) == 3


def test_large_layers_are_read_in_portions(tmp_path, monkeypatch):
    monkeypatch.setattr("corridor.inputs.layers._PORTION", 3)
    path = layer(tmp_path / "o.gpkg", [ROAD] * 9 + [None], h=np.arange(10.0))
    found = obstacles(path, height_column="h")
    assert found.height.tolist() == list(range(10)) and found.fault.tolist() == [""] * 9 + [
        "no geometry"
    ]


@pytest.fixture
def country(tmp_path):
    """A thousand crowns, roads and areas over 40 km, in degrees, and two lines of a few spans far from each other."""
    rng = np.random.default_rng(5)
    e, n = E0 + rng.uniform(-20e3, 20e3, 1000), N0 + rng.uniform(-20e3, 20e3, 1000)
    shapes = shapely.buffer(shapely.points(e, n), rng.uniform(1, 300, 1000), quad_segs=2)
    shapes[::3] = shapely.get_point(shapely.get_exterior_ring(shapes[::3]), 0)
    shapes[1::3] = shapely.linestrings(np.stack([np.stack([e, n], 1), np.stack([e + 900, n + 50], 1)], 1)[1::3])
    back = transformer(CRS("EPSG:25832"), CRS("EPSG:4258"))
    turned = shapely.transform(shapes, lambda xy: np.stack(back.transform(*xy.T), axis=1))
    path = layer(tmp_path / "o.gpkg", turned, crs="EPSG:4258", r=rng.uniform(0, 500, 1000))
    boxes = np.array([(E0, N0, E0 + 2000, N0), (E0 - 15e3, N0 + 9e3, E0 - 15e3, N0 + 12e3)])
    return path, boxes


def read_country(path, boxes):
    settings = SimpleNamespace(**(BLANK | {"name": "things", "file": path.name, "category": "tree", "height": 3.0,
                                           "radius_column": "r"}))
    return read_obstacles([settings], lambda name: path.parent / name, FRAME, boxes=boxes)


def same_obstacles(one, other):
    (a, (held,)), (b, (also,)) = one, other
    for name, values in vars(a).items():
        if name == "geometry":
            assert [shapely.to_wkb(each) for each in values] == [shapely.to_wkb(each) for each in b.geometry]
        else:
            np.testing.assert_array_equal(values, getattr(b, name), err_msg=name)
    assert (held.features, held.near) == (also.features, also.near)


def test_of_very_many_features_those_near_are_read(country, monkeypatch):
    """The same ones as of all that are read; what is near the box about all lines and far from each is left."""
    path, boxes = country
    whole = read_country(path, boxes)
    asked = []
    monkeypatch.setattr("corridor.inputs.reach._MANY", 10)
    monkeypatch.setattr("corridor.inputs.obstacles.portions", lambda layer, wanted, numbers=None: asked.append(
        numbers) or portions(layer, wanted, numbers))
    same_obstacles(whole, read_country(path, boxes))
    assert 5 < len(whole[0]) <= len(asked[0]) < 200
    monkeypatch.setattr("corridor.inputs.layers._PORTION", 7)
    same_obstacles(whole, read_country(path, boxes))


@pytest.mark.parametrize("fault", ["no place", "no entry", "no index", "nothing near"])
def test_an_index_that_may_hide_something_is_not_asked(country, monkeypatch, fault):
    """A feature without a place is told of, wherever the line is; of an index that lacks one nothing is believed."""
    path, boxes = country
    if fault == "nothing near":
        boxes = boxes + 100e3
    with closing(sqlite3.connect(path)) as database:
        database.create_function("ST_IsEmpty", 1, lambda _: 1)
        for name, in database.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            database.execute(f'DROP TRIGGER "{name}"')
        if fault == "no place":
            database.execute("UPDATE things SET geom = NULL WHERE fid = 9")
            database.execute("DELETE FROM rtree_things_geom WHERE id = 9")
        elif fault == "no entry":
            database.execute("DELETE FROM rtree_things_geom WHERE id = 9")
        elif fault == "no index":
            database.execute("DROP TABLE rtree_things_geom")
            database.execute("DELETE FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'")
        database.commit()
    whole = read_country(path, boxes)
    monkeypatch.setattr("corridor.inputs.reach._MANY", 10)
    monkeypatch.setattr("corridor.inputs.obstacles.portions", lambda layer, wanted, numbers=None: portions(
        layer, wanted) if numbers is None else pytest.fail("the index was asked"))
    same_obstacles(whole, read_country(path, boxes))
    assert fault != "no place" or "no geometry" in whole[0].fault.tolist()


def test_an_index_of_what_is_nowhere_is_not_asked(country, monkeypatch):
    """A latitude of 95 degrees, far from the line: told of, as it is where all features are read."""
    path, boxes = country
    things = geopandas.read_file(path)
    things.loc[9, "geometry"] = shapely.Point(9, 95)
    things.to_file(path, layer="things")
    whole = read_country(path, boxes)
    assert sum("no place in the working frame" in fault for fault in whole[0].fault) == 1
    monkeypatch.setattr("corridor.inputs.reach._MANY", 10)
    same_obstacles(whole, read_country(path, boxes))


def test_boxes_hold_every_span():
    """Of two lines, one of more spans than a box holds: each span within one box."""
    rng = np.random.default_rng(3)
    line = np.array(["a"] * 250 + ["b"] * 2)
    place = np.cumsum(rng.normal(0, 300, (252, 2)), axis=0)
    boxes = boxes_about(SimpleNamespace(line=line, easting=place[:, 0], northing=place[:, 1]))
    assert len(boxes) == 4
    for i in np.flatnonzero(line[1:] == line[:-1]):
        low, high = np.minimum(*place[i:i + 2]), np.maximum(*place[i:i + 2])
        assert ((boxes[:, :2] <= low) & (boxes[:, 2:] >= high)).all(axis=1).any()


def test_layers_in_turn_and_none(tmp_path):
    path = layer(tmp_path / "o.gpkg", [ROAD])
    sections = [
        SimpleNamespace(**(BLANK | {"name": k, "file": "o.gpkg", "category": k, "height": 0.0}))
        for k in ("a", "b")
    ]
    found, _ = read_obstacles(sections, lambda name: tmp_path / name, FRAME)
    assert found.layer.tolist() == ["a", "b"] and found.obstacle.tolist() == ["a:1", "b:1"]
    none, _ = read_obstacles([], lambda name: name, FRAME)
    assert len(none) == 0 and none.absolute.dtype == bool and none.height.dtype == float
    assert path.exists()


def test_obstacle_layers_that_cannot_be_used(tmp_path):
    path = layer(tmp_path / "o.gpkg", [ROAD], hight=[1.0])
    refused(
        ["obstacles.things.height_column", "perhaps hight?"],
        obstacles,
        path,
        height_column="height",
    )
    refused(["obstacles.things.layer", "perhaps things?"], obstacles, path, layer="thing")
    refused(["no CRS"], obstacles, layer(tmp_path / "p.gpkg", [ROAD], crs=None), height=0.0)


# --- right-of-way


def strip(path, **section):
    settings = SimpleNamespace(
        **({"half_width": None, "file": path and path.name, "layer": None} | section)
    )
    return read_right_of_way(settings, lambda name: path.parent / name, FRAME)


def test_right_of_way(tmp_path):
    assert read_right_of_way(None, None, FRAME).half_width is None
    assert strip(None, half_width=20.0).half_width == 20
    path = layer(tmp_path / "r.gpkg", [SQUARE, shapely.box(E0 + 10, N0, E0 + 20, N0 + 10)])
    found = strip(path)
    assert (
        found.half_width is None
        and found.polygon.area == pytest.approx(200)
        and found.polygon.geom_type == "Polygon"
    )


@pytest.mark.parametrize(
    "geometry, words",
    [
        ([SQUARE, ROAD], ["feature 2", "no polygon"]),
        ([SQUARE, BOW], ["feature 2", "crosses itself"]),
        ([None, SQUARE], ["feature 1", "no geometry"]),
        ([], ["no polygons"]),
    ],
)
def test_doubtful_right_of_way_is_refused(tmp_path, geometry, words):
    refused(words, strip, layer(tmp_path / "r.gpkg", geometry))


# --- digests and facts


def test_digest_of_a_file_is_that_of_any_program(tmp_path):
    """The SHA-256 of "abc", FIPS 180-4's own example (recalled)."""
    (tmp_path / "a").write_text("abc")
    assert (
        digest(tmp_path / "a") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    assert digest(tmp_path / "gone") == ""


def test_digest_of_a_shapefile_and_a_folder_is_of_all_their_files(tmp_path):
    path = write(
        tmp_path / "a.shp", {"name": ["N1", "N2"]}, shapely.points([E0, E0], [N0, N0]), layer=None
    )
    before, whole = digest(path), digest(tmp_path)
    (tmp_path / "other.txt").write_text("not of the shapefile")
    assert digest(path) == before and digest(tmp_path) != whole
    table = tmp_path / "a.dbf"
    table.write_bytes(table.read_bytes().replace(b"N2", b"N9"))
    assert digest(path) != before


def test_digest_of_an_archive(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.zip", "w") as archive:
        archive.writestr("in.txt", "abc")
    expected = hashlib.sha256((tmp_path / "a.zip").read_bytes()).hexdigest()
    assert digest(f"/vsizip/{tmp_path}/a.zip/in.txt") == expected
    assert digest("/vsicurl/https://example.org/a.tif") == ""


def test_facts_of_a_layer(tmp_path):
    path = layer(tmp_path / "o.gpkg", [SOLID], crs="EPSG:25832+6360")
    facts = layer_facts(open_layer(path, None, "obstacles.things"))
    assert (facts.layer, facts.features, facts.crs) == ("things", 1, "ETRS89 / UTM zone 32N")
    assert (
        facts.vertical_crs == "NAVD88 height (ftUS)"
        and facts.unit.startswith("0.3048")
        and facts.digest == digest(path)
    )
