"""Structures, framings, obstacles and the right-of-way as people have them: what is taken, told and
refused."""

from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from pyproj import CRS, Geod
from shapely import LineString, MultiPoint, Point

from corridor.inputs.frame import Frame, choose_frame
from corridor.inputs.structures import check_framings, place, read_framings, read_structures

from .vector_files import refused, write

FRAME = Frame(CRS("EPSG:25832"), "ETRS89 / UTM zone 32N", "")
E0, N0 = 500_000.0, 5_600_000.0


def line(**columns):
    table = {
        "structure": ["N1", "N2", "N3"],
        "order": [1, 2, 3],
        "role": ["terminal", "suspension", "terminal"],
        "framing": ["end", "mid", "end"],
    }
    return table | columns


POINTS = [Point(E0, N0), Point(E0 + 300, N0 + 20), Point(E0 + 600, N0)]


# --- structures


def test_structures_are_sorted_by_order_and_placed(tmp_path):
    turned = {key: values[::-1] for key, values in line().items()}
    raw = read_structures(write(tmp_path / "a.gpkg", turned, POINTS[::-1]), layer="structures")
    found = place(raw, FRAME)
    assert found.structure.tolist() == ["N1", "N2", "N3"]
    np.testing.assert_allclose(found.easting, E0 + np.array([0, 300, 600]))
    assert np.isnan(found.base_elevation).all() and np.isnan(found.crossarm_azimuth).all()
    assert found.line.tolist() == ["line"] * 3
    # The central meridian of the zone is at 9 degrees east by definition.
    assert raw.longitude[0] == pytest.approx(9.0, abs=1e-9)


def test_own_column_names_numbers_as_names_and_optional_columns(tmp_path):
    table = {
        "name": [1.0, 2.0, 3.0],
        "circuit": ["a"] * 3,
        "n": ["10", "20", "30"],
        "does": ["Strain", "suspension ", "strain"],
        "frame": ["x"] * 3,
        "base": [100.5, np.nan, 99],
        "arm": [90.0, np.nan, 0],
    }
    names = SimpleNamespace(
        structure="name",
        line="circuit",
        order="n",
        role="does",
        framing="frame",
        base_elevation="base",
        crossarm_azimuth="arm",
    )
    found = place(read_structures(write(tmp_path / "a.gpkg", table, POINTS), columns=names), FRAME)
    assert found.structure.tolist() == ["1", "2", "3"] and found.role.tolist() == [
        "strain",
        "suspension",
        "strain",
    ]
    np.testing.assert_array_equal(found.base_elevation, [100.5, np.nan, 99])
    np.testing.assert_allclose(found.crossarm_azimuth, [90, np.nan, 0], atol=1e-9)
    assert found.order.tolist() == [10, 20, 30]


def test_azimuth_of_a_crossarm_is_turned_with_the_grid(tmp_path):
    """True azimuths of a geographic layer: the crossarm's end, 100 m away by pyproj.Geod, lies that
    way in the frame."""
    lon, lat = np.array([11.0, 11.01, 11.02]), np.array([50.0, 50.0, 50.0])
    table = line(crossarm_azimuth=[30.0, 120.0, 210.0])
    raw = read_structures(
        write(tmp_path / "a.gpkg", table, shapely.points(lon, lat), crs="EPSG:4258")
    )
    found = place(raw, FRAME)
    far = Geod(ellps="GRS80").fwd(lon, lat, table["crossarm_azimuth"], [100] * 3)
    e, n = FRAME.transform_points(far[0], far[1], CRS("EPSG:4258"))
    azimuth = np.degrees(np.arctan2(e - found.easting, n - found.northing)) % 360
    np.testing.assert_allclose(found.crossarm_azimuth, azimuth, atol=1e-3)
    # Meridian convergence two degrees east of the central meridian: about 2 sin 50 degrees.
    assert (found.crossarm_azimuth - table["crossarm_azimuth"])[0] == pytest.approx(
        -2 * np.sin(np.radians(50)), abs=0.01
    )


def test_structures_of_a_shapefile_in_feet(tmp_path):
    points = [Point(1e6 + 1000 * k, 2e5) for k in range(3)]
    raw = read_structures(write(tmp_path / "a.shp", line(), points, crs="EPSG:2263", layer=None))
    found = place(raw, choose_frame(None, raw.layer.crs, raw.longitude, raw.latitude))
    np.testing.assert_allclose(np.diff(found.easting), 1000 * 1200 / 3937, rtol=1e-9)


WRONG_LINES = {
    "an unknown role": (
        line(role=["terminal", "suspention", "terminal"]),
        POINTS,
        ["suspention", "suspension?"],
    ),
    "no role": (line(role=["terminal", None, "terminal"]), POINTS, ["feature 2", "no role"]),
    "the same order": (line(order=[1, 2, 2]), POINTS, ["N2 and N3", "same order"]),
    "an order in words": (line(order=["1", "two", "3"]), POINTS, ["feature 2", "two"]),
    "no order": (line(order=[1, None, 3]), POINTS, ["feature 2", "order missing"]),
    "the same name": (line(structure=["N1", "N2", "N1"]), POINTS, ["two structures named N1"]),
    "hung at the end": (
        line(role=["terminal", "suspension", "suspension"]),
        POINTS,
        ["N3 at an end"],
    ),
    "a line of one": (
        line(line=["a", "a", "b"], role=["terminal"] * 3),
        POINTS,
        ["line b", "one structure only"],
    ),
    "no point": (line(), [POINTS[0], None, POINTS[2]], ["feature 2", "no geometry"]),
    "an empty point": (line(), [POINTS[0], Point(), POINTS[2]], ["feature 2", "no geometry"]),
    "a line for a point": (
        line(),
        [POINTS[0], LineString(POINTS[:2]), POINTS[2]],
        ["feature 2", "no point"],
    ),
    # The writer makes multipoints of all where there is one.
    "points in one": (
        line(),
        [POINTS[0], MultiPoint(POINTS[:2]), POINTS[2]],
        ["feature 1", "no point"],
    ),
    "a base in words": (
        line(base_elevation=["1", "high", "3"]),
        POINTS,
        ["base_elevation", "high"],
    ),
    "a base beyond all measure": (
        line(base_elevation=[1.0, -1e308, 3.0]),
        POINTS,
        ["base_elevation -1e+308 m", "100000 m at most"],
    ),
}


@pytest.mark.parametrize("columns, geometry, words", WRONG_LINES.values(), ids=WRONG_LINES)
def test_doubtful_structures_are_refused(tmp_path, columns, geometry, words):
    refused(["a.gpkg", *words], read_structures, write(tmp_path / "a.gpkg", columns, geometry))


def test_line_out_of_order_and_structures_in_one_place(tmp_path):
    back = [POINTS[0], POINTS[2], POINTS[1]]
    raw = read_structures(write(tmp_path / "a.gpkg", line(), back))
    refused(["a.gpkg", "unordered line", "doubles back at N2"], place, raw, FRAME)
    raw = read_structures(write(tmp_path / "b.gpkg", line(), [POINTS[0], POINTS[0], POINTS[1]]))
    refused(["N1 and N2 in one place"], place, raw, FRAME)


def test_sharp_but_possible_turn_is_taken(tmp_path):
    turn = [POINTS[0], POINTS[2], Point(E0 + 500, N0 + 300)]
    assert len(place(read_structures(write(tmp_path / "a.gpkg", line(), turn)), FRAME)) == 3


def test_structure_files_that_cannot_be_used(tmp_path):
    path = write(tmp_path / "a.gpkg", line(), POINTS)
    refused(["gone.gpkg", "structures"], read_structures, tmp_path / "gone.gpkg")
    (tmp_path / "text.gpkg").write_text("no data")
    refused(["text.gpkg"], read_structures, tmp_path / "text.gpkg")
    refused(["'structure'", "perhaps structures?"], read_structures, path, layer="structure")
    refused(
        ["no column 'framming'", "perhaps framing?"],
        read_structures,
        path,
        columns={"framing": "framming"},
    )
    refused(
        ["structures.columns.line", "'route'"], read_structures, path, columns={"line": "route"}
    )
    refused(
        ["structures.columns.rôle", "perhaps role?"], read_structures, path, columns={"rôle": "x"}
    )
    write(path, line(), POINTS, layer="second")
    refused(["none named", "structures, second"], read_structures, path)
    refused(
        ["no structures"], read_structures, write(tmp_path / "b.gpkg", {k: [] for k in line()}, [])
    )
    refused(["no CRS"], read_structures, write(tmp_path / "c.gpkg", line(), POINTS, crs=None))


# --- framings

HEADING = "framing,wire,kind,circuit,offset,height,string,string_length,string_mass\n"
MID = "mid,A,phase,1,-3.1,18,suspension,1.4,45\nmid,S,shield,,0,24,suspension,0,\n"
END = "end,A,phase,1,-3.1,16.6,strain,,\nend,S,shield,,0,24,strain,,\n"


def table(path, text):
    path.write_text(text, encoding="utf-8-sig")
    return path


def test_framings(tmp_path):
    found = read_framings(table(tmp_path / "f.csv", HEADING + MID + "\n" + END))
    assert (
        found.framing.tolist() == ["mid", "mid", "end", "end"]
        and found.circuit.tolist() == ["1"] * 4
    )
    assert found.string_length.tolist() == [1.4, 0, 0, 0] and found.string_mass.tolist() == [
        45,
        0,
        0,
        0,
    ]
    assert found.offset.tolist() == [-3.1, 0, -3.1, 0]


def test_framings_in_feet(tmp_path):
    """A foot is 0.3048 m and a pound 0.45359237 kg by international agreement (1959)."""
    found = read_framings(
        table(tmp_path / "f.csv", HEADING + "mid,A,phase,1,-10 ft,60 ft,suspension,55 in,100 lb\n")
    )
    assert found.height[0] == pytest.approx(18.288) and found.offset[0] == pytest.approx(-3.048)
    assert found.string_length[0] == pytest.approx(1.397) and found.string_mass[0] == pytest.approx(
        45.359237
    )


@pytest.mark.parametrize(
    "text, words",
    [
        ("framing,wire,kind,offset,hight,string\n" + MID, ["no column 'height'", "perhaps hight?"]),
        (HEADING.replace(",", ";") + MID, ["separated by commas"]),
        (HEADING, ["no rows"]),
        # A window that is misspelt would else go unchecked, a decimal comma shift cells, a quote swallow rows.
        (HEADING.replace("\n", ",window_lft\n") + "mid,A,phase,1,0,18,post,,,2\n",
         ["'window_lft'", "perhaps window_left?"]),
        (HEADING.replace("circuit", "offset") + MID, ["first row", "'offset' twice"]),
        (HEADING + "mid,A,phase,1,-3,1,18,post,,\n", ["row 2", "10 cells", "double quotes"]),
        (HEADING + 'mid,"A,phase,1,0,18,post,,\nmid,B,phase,1,3,18,post,,\n', ["cannot be read"]),
        (HEADING + MID + MID, ["row 4", "framing mid with wire A again"]),
        (HEADING + "mid,A,phaze,1,0,18,post,,\n", ["row 2: kind", "perhaps phase?"]),
        (HEADING + "mid,A,phase,1,0,18,suspention,,\n", ["row 2: string", "perhaps suspension?"]),
        (HEADING + "mid,A,phase,1,0,tall,post,,\n", ["row 2: height", "'tall'"]),
        (HEADING + "mid,A,phase,1,,18,post,,\n", ["row 2: offset", "nothing"]),
        (HEADING + "mid,A,phase,1,0,18 kg,post,,\n", ["row 2: height", "'18 kg'"]),
        (HEADING + "mid,A,phase,1,0,-18,post,,\n", ["row 2: height", "from 0 to"]),
        # Numbers beyond all measure, of which a sum is infinite.
        (HEADING + "mid,A,phase,1,1e308,18,post,,\n", ["row 2: offset", "from -10000 to 10000 m"]),
        (HEADING + "mid,A,phase,1,0,18,post,1e308,\n", ["row 2: string_length", "from 0 to 10000 m"]),
        (HEADING + "mid,A,phase,1,0,18,post,1,1e12\n", ["row 2: string_mass", "from 0 to 100000 kg"]),
        (HEADING.replace("\n", ",string_wind_area\n") + "mid,A,phase,1,0,18,post,,,1e308\n",
         ["row 2: string_wind_area", "from 0 to 1000 m²"]),
        (HEADING.replace("\n", ",window_left\n") + "mid,A,phase,1,0,18,post,,,1e308\n",
         ["row 2: window_left", "from 0 to 10000 m"]),
        (HEADING.replace("\n", ",swing_limit\n") + "mid,A,phase,1,0,18,post,,,181\n",
         ["row 2: swing_limit", "from 0 to 180 deg"]),
        (HEADING + "mid,A,phase,1,0,18,suspension,,45\n", ["row 2: string_length", "nothing"]),
        (HEADING + ",A,phase,1,0,18,post,,\n", ["row 2: framing"]),
    ],
)
def test_doubtful_framings_are_refused(tmp_path, text, words):
    refused(["f.csv", *words], read_framings, table(tmp_path / "f.csv", text))


def test_framings_must_fit_the_structures(tmp_path):
    def check(text, **columns):
        path = write(tmp_path / "a.gpkg", line(**columns), POINTS)
        check_framings(
            place(read_structures(path), FRAME), read_framings(table(tmp_path / "f.csv", text))
        )

    check(HEADING + MID + END)
    check(HEADING + MID.replace("suspension", "post") + END)
    refused(
        ["structure N2 of line line", "'midd'", "perhaps mid?"],
        check,
        HEADING + MID + END,
        framing=["end", "midd", "end"],
    )
    refused(
        ["framing mid, wire A", "suspension", "strain"],
        check,
        HEADING + MID + END,
        role=["terminal", "strain", "terminal"],
    )
    refused(
        ["framing end, wire A", "'strain' at the suspension"],
        check,
        HEADING + MID + END,
        framing=["end", "end", "end"],
    )
