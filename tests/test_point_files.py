"""Tiles of point clouds: what they say of themselves, what is wrong with them, and how points are put aside."""

import gc
from importlib.util import find_spec

import laspy
import numpy as np
import pytest
import shapely
from matplotlib.tri import LinearTriInterpolator, Triangulation
from pyproj import CRS
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from corridor.clearance.cloud_curves import PLACES, Curves, near_curves
from corridor.clearance.cloud_screen import clusters
from corridor.errors import CorridorError, InputError
from corridor.inputs import point_files
from corridor.inputs.frame import Frame
from corridor.inputs.point_files import describe_tile, read_tile
from corridor.inputs.point_ground import triangulated
from corridor.inputs.point_store import BLOCK, PointStore, keys_of, squares_near

PLACE = np.array([[500_000.0, 5_600_000, 100], [500_010, 5_600_020, 130], [500_020, 5_600_010, 110]])


def write(path, place=PLACE, *, crs="EPSG:25832", version="1.4", format_=6, keys=(), class_=2):
    """Write a tile; `keys` are GeoTIFF keys in place of a WKT."""
    header = laspy.LasHeader(point_format=format_, version=version)
    if crs is not None:
        header.add_crs(CRS.from_user_input(crs))
    if keys:
        words = np.array([1, 1, 0, len(keys), *(v for key, value in keys for v in (key, 0, 1, value))], "<u2")
        header.vlrs.append(laspy.VLR("LASF_Projection", 34735, "", words.tobytes()))
    header.scales, header.offsets = np.full(3, 0.001), np.zeros(3) if not len(place) else np.floor(place.min(axis=0))
    tile = laspy.LasData(header)
    if len(place):
        tile.x, tile.y, tile.z = place.T
        tile.classification = np.full(len(place), class_, np.uint8)
    tile.write(str(path))
    return path


def points(tile):
    return [np.concatenate(column) for column in zip(*read_tile(tile), strict=True)]


def test_what_a_tile_says(tmp_path):
    tile = describe_tile(write(tmp_path / "a.laz", crs="EPSG:25832+7837"))
    assert (tile.points, tile.factor, tile.unit) == (3, 1.0, "m")
    assert tile.vertical_name == "DHHN2016 height" and not tile.cautions
    x, y, z, class_ = points(tile)
    np.testing.assert_allclose(np.column_stack([x, y, z]), PLACE, atol=1e-3)
    assert class_.tolist() == [2, 2, 2]


@pytest.mark.parametrize("crs, keys, unit, factor, cautions", [
    ("EPSG:6588+6360", (), "us-ft", 1200 / 3937, 0),
    (None, ((1024, 1), (3072, 6588), (4099, 9003)), "us-ft", 1200 / 3937, 0),
    (None, ((1024, 1), (3072, 25832), (4099, 9002)), "ft", 0.3048, 0),
    ("EPSG:2278", (), "m (assumed)", 1.0, 1),
])
def test_heights_in_feet(tmp_path, crs, keys, unit, factor, cautions):
    """By the vertical CRS, by the GeoTIFF key of the vertical unit (OGC 19-008r4), or stated nowhere: then it is told.

    EPSG:2278 and 6588 are grids in US survey feet, EPSG:6360 the height NAVD88 in the same, 1200/3937 m.
    """
    tile = describe_tile(write(tmp_path / "a.las", crs=crs, keys=keys))
    assert tile.unit == unit and tile.factor == pytest.approx(factor, rel=1e-12)
    np.testing.assert_allclose(points(tile)[2], PLACE[:, 2] * factor, atol=1e-3)
    assert len(tile.cautions) == cautions
    assert all("although its grid is in US survey foot" in text for text in tile.cautions)
    forced = describe_tile(tmp_path / "a.las", vertical_unit="ft")
    assert forced.factor == 0.3048 and bool(forced.cautions) == (unit == "us-ft")


def test_withheld_points_are_left_out(tmp_path):
    tile = laspy.read(write(tmp_path / "a.laz"))
    tile.withheld = np.array([0, 1, 0])
    tile.write(str(tmp_path / "b.laz"))
    assert len(points(describe_tile(tmp_path / "b.laz"))[0]) == 2


@pytest.mark.parametrize("name", ["a.las", "a.laz"])
def test_a_file_that_ends_early(tmp_path, name):
    """Never fewer points than the file tells of, without a word."""
    rng = np.random.default_rng(1)
    path = write(tmp_path / name, PLACE[0] + rng.uniform(0, 500, (60_000, 3)))
    path.write_bytes(path.read_bytes()[:-3000])
    with pytest.raises(InputError, match="whole|points"):
        points(describe_tile(path))


def test_no_tile(tmp_path):
    (tmp_path / "a.laz").write_bytes(b"no points here" * 40)
    (tmp_path / "b.laz").write_bytes(b"")
    for name in ("a.laz", "b.laz", "c.laz"):
        with pytest.raises(InputError, match="no whole point cloud"):
            describe_tile(tmp_path / name)


def test_no_points_and_no_place(tmp_path):
    with pytest.raises(InputError, match="no points"):
        describe_tile(write(tmp_path / "a.las", PLACE[:0]))
    with pytest.raises(InputError, match="crs: found none.*point_clouds.crs"):
        describe_tile(write(tmp_path / "b.las", crs=None))
    assert describe_tile(tmp_path / "b.las", "EPSG:25832+7837").unit == "m"
    with pytest.raises(InputError, match="a coordinate reference system"):
        describe_tile(tmp_path / "b.las", "grid of the valley")


def test_the_extra_is_named(monkeypatch):
    monkeypatch.setattr(point_files, "find_spec", lambda name: None if name == "lazrs" else find_spec(name))
    with pytest.raises(CorridorError, match=r"pip install 'corridor\[cloud\]'"):
        describe_tile("a.laz")


def test_points_are_put_aside_by_squares():
    """All that were put aside near a line come back, to the millimetre; the folder goes with the store."""
    line = shapely.LineString([(-300, -100), (700, 350)])
    squares = squares_near([line], 80.0)
    store = PointStore(squares, (-300.0, -100.0))
    rng = np.random.default_rng(5)
    given = rng.uniform([-600, -500, 0], [1000, 800, 90], (40_000, 3))
    near = store.near(*given[:, :2].T)
    for part in np.array_split(np.flatnonzero(near), 7):
        store.add(*given[part].T, np.full(len(part), 5, np.uint8))
    place, class_ = store.within([line], 80.0)
    assert store.count == near.sum() == len(place) and (class_ == 5).all()
    assert cKDTree(place).query(given[near])[0].max() < 9e-4
    # Every point within reach is there, and none farther than the diagonal of a square beyond it.
    distance = shapely.distance(shapely.points(given[:, :2]), line)
    assert near[distance <= 80].all() and distance[near].max() < 80 + BLOCK * np.sqrt(2)
    assert (keys_of(*place[:, :2].T)[:, None] == squares).any(axis=1).all()
    folder = store.folder
    del store
    gc.collect()
    assert not folder.exists()


def test_clusters_against_a_tree_of_points():
    """Points nearer than the side are of one cluster, and what is joined at 2.9 sides holds every cluster."""
    rng = np.random.default_rng(8)
    spot = rng.uniform(0, 120, (400, 2))
    found = clusters(spot, 2.0)
    assert set(found) == set(range(found.max() + 1))
    tree = cKDTree(spot)

    def joined(distance):
        return connected_components(tree.sparse_distance_matrix(tree, distance), directed=False)[1]

    tight, loose = joined(2.0), joined(2 * 2.0 * np.sqrt(2) + 1e-9)
    for label in range(tight.max() + 1):
        assert len(set(found[tight == label])) == 1
    for label in range(found.max() + 1):
        assert len(set(loose[found == label])) == 1
    first = [spot[found == label, 0].min() for label in range(found.max() + 1)]
    assert first == sorted(first)


def test_triangles_against_matplotlib():
    """Linear between ground points, as matplotlib's own interpolation over the same triangulation has it."""
    rng = np.random.default_rng(4)
    place = rng.uniform([561_000, 5_646_000, 200], [561_060, 5_646_060, 230], (600, 3))
    e, n = rng.uniform([561_005, 5_646_005], [561_055, 5_646_055], (500, 2)).T
    shift = place[:, :2].min(axis=0)
    mesh = Triangulation(*(place[:, :2] - shift).T)
    expected = LinearTriInterpolator(mesh, place[:, 2])(e - shift[0], n - shift[1])
    np.testing.assert_allclose(triangulated(place, e, n, 100.0), expected.filled(np.nan), atol=1e-4)
    short = triangulated(place, e, n, 3.0)
    assert 0.1 < np.isnan(short).mean() < 0.9
    assert np.isnan(triangulated(place[:2], e, n, 100.0)).all()
    assert np.isnan(triangulated(place[0] + np.arange(5)[:, None] * [1, 1, 0], e, n, 100.0)).all()


def test_distance_from_a_steep_wire():
    """A straight wire that rises 3 in 5: the distance of a point below it is perpendicular to it, not plumb."""
    share = np.linspace(0, 1, PLACES)
    curves = Curves(np.zeros((1, 1, 1, PLACES)), (10 + 60 * share).reshape(1, 1, 1, -1), np.zeros((1, 1, 1)),
                    np.full((1, 1, 1), 100.0))
    spot = np.array([[50.0, 0.0, 36.0], [50.0, 3.0, 36.0], [-4.0, 0.0, 12.0]])
    near = near_curves(curves, spot, 0.0, 0.0)
    plumb = 4 / np.hypot(1, 0.6)
    np.testing.assert_allclose(near.radial[0], [plumb, np.hypot(3, plumb), 4.0], rtol=1e-12)
    assert near.vertical[0].tolist() == [4.0, np.inf, np.inf]
    # A disc of 3.5 m reaches below the wire.
    assert near_curves(curves, spot, 3.5, 0.0).vertical[0].tolist() == [4.0, 4.0, np.inf]


def test_a_datum_by_an_older_name_needs_no_caution():
    """EPSG renamed the datum of Lambert-93 when a second realization came; tiles from before have the old name."""
    frame = Frame(CRS("EPSG:2154"), "", "")
    older = CRS.from_wkt(CRS("EPSG:2154").to_wkt().replace("Francais 1993 v1", "Francais 1993"))
    assert older.geodetic_crs.datum != frame.crs.geodetic_crs.datum
    assert frame.caution(older, 3.0, 46.5) is None
