"""Rasters as people have them, sampled; against the function that filled them, and scipy."""

import hashlib
from pathlib import Path

import numpy as np
import pytest
import rasterio
from pyproj import CRS, Transformer
from rasterio import Affine
from scipy.ndimage import map_coordinates

from corridor.errors import InputError
from corridor.inputs.frame import Frame
from corridor.inputs.terrain import open_terrain

FRAME = Frame(CRS("EPSG:25832"), "ETRS89 / UTM zone 32N", "")
E0, N0 = 500_000.0, 5_600_000.0


def plane(e, n):
    return 200 + 0.05 * (e - E0) - 0.03 * (n - N0)


PLAIN = {"driver": "GTiff", "count": 1, "crs": "EPSG:25832"}


def write(path, z, *, transform=None, tags=None, scale=None, unit=None, mask=None, **profile):
    z = np.asarray(z)
    transform = transform or Affine(1, 0, E0, 0, -1, N0)
    with rasterio.open(
        path,
        "w",
        height=z.shape[-2],
        width=z.shape[-1],
        dtype=z.dtype,
        transform=transform,
        **(PLAIN | profile),
    ) as dataset:
        dataset.write(z, 1)
        if scale:
            dataset.scales, dataset.offsets = [scale[0]], [scale[1]]
        if unit:
            dataset.units = [unit]
        if mask is not None:
            dataset.write_mask(mask)
        if tags:
            dataset.update_tags(**tags)
    return path


def centres(transform, shape):
    row, column = np.mgrid[: shape[0], : shape[1]] + 0.5
    a, b, c, d, e, f = tuple(transform)[:6]
    return a * column + b * row + c, d * column + e * row + f


def plane_of(transform, shape, kind="float64"):
    return plane(*centres(transform, shape)).astype(kind)


def sample(paths, e, n, **settings):
    with open_terrain(paths, FRAME, **settings) as terrain:
        return terrain.sample(e, n)


GRIDS = {
    "north up": Affine(1, 0, E0, 0, -1, N0),
    "south up": Affine(1, 0, E0, 0, 1, N0 - 40),
    "rotated": Affine(0.8, 0.6, E0, 0.6, -0.8, N0),
    "cells wider than high": Affine(2, 0, E0, 0, -0.5, N0),
    "cells of 0.3 m": Affine(0.3, 0, E0, 0, -0.3, N0),
}


@pytest.mark.parametrize("transform", GRIDS.values(), ids=GRIDS)
def test_a_plane_comes_back_whatever_way_the_grid_lies(tmp_path, transform):
    path = write(tmp_path / "a.tif", plane_of(transform, (40, 50)), transform=transform)
    column, row = np.random.default_rng(1).uniform(0.5, 39.5, (2, 500))
    a, b, c, d, e, f = tuple(transform)[:6]
    e, n = a * column + b * row + c, d * column + e * row + f
    np.testing.assert_allclose(sample(path, e, n), plane(e, n), atol=1e-8)


def test_a_rough_surface_is_that_of_scipy(tmp_path):
    z = np.random.default_rng(2).normal(300, 20, (300, 500))
    path = write(
        tmp_path / "a.tif", z, tiled=True, blockxsize=64, blockysize=64, compress="deflate"
    )
    r, c = np.random.default_rng(3).uniform(0, [[299], [499]], (2, 4000))
    found = sample(path, E0 + c + 0.5, N0 - r - 0.5)
    np.testing.assert_allclose(found, map_coordinates(z, (r, c), order=1), atol=1e-6)


def test_the_whole_cell_of_area_or_point_is_never_shifted_twice(tmp_path):
    transform = GRIDS["north up"]
    for kind in ("Area", "Point"):
        path = write(
            tmp_path / f"{kind}.tif", plane_of(transform, (9, 9)), tags={"AREA_OR_POINT": kind}
        )
        assert sample(path, E0 + 4.25, N0 - 3.5) == pytest.approx(
            plane(E0 + 4.25, N0 - 3.5), abs=1e-9
        )


def test_any_shape(tmp_path):
    path = write(tmp_path / "a.tif", plane_of(GRIDS["north up"], (9, 9)))
    assert sample(path, E0 + 3.0, N0 - 3.0).shape == ()
    assert sample(path, np.full((2, 1), E0 + 3), np.full(3, N0 - 3)).shape == (2, 3)
    assert sample(path, [], []).shape == (0,)


def test_outside_and_in_the_outer_half_cell_nothing_is_known(tmp_path):
    path = write(tmp_path / "a.tif", np.zeros((9, 9), "float32"))
    found = sample(path, E0 + np.array([-1, 0.4, 0.5, 8.5, 8.6, 50, np.nan]), N0 - 4.2)
    assert np.isnan(found).tolist() == [True, True, False, False, True, True, True]


@pytest.mark.parametrize(
    "kind, nodata, hole",
    [
        ("int16", -32768, -32768),
        ("uint16", 65535, 65535),
        ("float32", -9999.0, -9999.0),
        ("float64", -9999.0, np.nan),
        ("float32", np.nan, np.nan),
        ("float32", -3.4028234663852886e38, -3.4028234663852886e38),
        ("float32", -9999.9, -9999.9),
        ("float32", -9999.0, -3.4e38),
        ("float32", None, -9999.0),
        ("float32", None, np.inf),
        ("float32", None, np.nan),
        ("int16", None, -9999),
    ],
)
def test_a_hole_is_unknown_in_every_kind_of_number(tmp_path, kind, nodata, hole):
    z = np.full((9, 9), 100, kind)
    z[4, 4] = hole
    path = write(tmp_path / "a.tif", z, nodata=nodata)
    # On the centre of its neighbour the hole has no weight; beside it, it has.
    found = sample(path, E0 + np.array([3.5, 3.6, 4.5, 5.4, 5.5]), N0 - 4.5)
    np.testing.assert_array_equal(found, [100, np.nan, np.nan, np.nan, 100])


def test_what_is_masked_without_a_tag_is_said(tmp_path):
    z = np.full((9, 9), 100, "float32")
    z[4, 3:6] = -9999
    with open_terrain([write(tmp_path / "a.tif", z)], FRAME, "m") as terrain:
        assert terrain.warnings == ()
        terrain.sample(E0 + 4.5, N0 - 4.5)
        assert (
            len(terrain.warnings) == 1
            and "3 cells" in terrain.warnings[0]
            and "a.tif" in terrain.warnings[0]
        )


def test_the_files_own_mask_is_heeded(tmp_path):
    mask = np.full((9, 9), 255, "uint8")
    mask[4, 4] = 0
    path = write(tmp_path / "a.tif", np.full((9, 9), 100, "float32"), mask=mask)
    assert np.isnan(sample(path, E0 + 4.5, N0 - 4.5)) and sample(path, E0 + 2.5, N0 - 4.5) == 100


def test_whole_numbers_are_interpolated_not_rounded_nor_overflowed(tmp_path):
    z = np.array([[32000, 0], [-400, 1]] * 2, "int16")
    path = write(tmp_path / "a.tif", np.minimum(z, 8000).astype("int16"))
    assert sample(path, E0 + 1.0, N0 - 1.0) == pytest.approx((8000 + 0 - 400 + 1) / 4)


def test_scale_and_offset_of_the_band_are_applied_after_nodata(tmp_path):
    z = np.array([[1000, 2000], [3000, 65535]], "uint16")
    path = write(tmp_path / "a.tif", z, scale=(0.1, -50.0), nodata=65535)
    assert sample(path, E0 + 0.5, N0 - 0.5) == pytest.approx(50.0, abs=1e-9)
    assert sample(path, E0 + 1.0, N0 - 0.5) == pytest.approx(100.0, abs=1e-9)
    assert np.isnan(sample(path, E0 + 1.4, N0 - 1.4))


@pytest.mark.parametrize(
    "crs, unit, given, factor, said",
    [
        ("EPSG:25832", None, "ft", 0.3048, None),
        ("EPSG:25832", None, "us-ft", 1200 / 3937, None),
        ("EPSG:25832+6360", None, None, 1200 / 3937, None),
        ("EPSG:25832+8228", None, None, 0.3048, None),
        ("EPSG:25832+7837", None, None, 1.0, None),
        ("EPSG:25832", "US survey foot", None, 1200 / 3937, None),
        ("EPSG:25832", "ft", None, 0.3048, None),
        ("EPSG:25832", None, None, 1.0, "not stated"),
        ("EPSG:25832+7837", "ft", None, 1.0, "not that of its vertical CRS"),
        ("EPSG:25832+6360", None, "m", 1.0, "as the study says"),
    ],
)
def test_heights_are_metres_whatever_the_file_is_in(tmp_path, crs, unit, given, factor, said):
    path = write(tmp_path / "a.tif", np.full((9, 9), 1000.0, "float32"), crs=crs, unit=unit)
    with open_terrain([path], FRAME, given) as terrain:
        assert terrain.sample(E0 + 4, N0 - 4) == pytest.approx(1000 * factor, rel=1e-12)
        assert len(terrain.warnings) == (said is not None)
        assert said is None or said in terrain.warnings[0]


def test_a_grid_in_feet_of_unknown_height_unit_is_said_loudly(tmp_path):
    frame = Frame(CRS("EPSG:26918"), "", "")
    path = write(
        tmp_path / "a.tif",
        np.full((9, 9), 100.0),
        crs="EPSG:2263",
        transform=Affine(3, 0, 1e6, 0, -3, 2e5),
    )
    with open_terrain([path], frame) as terrain:
        assert "US survey foot" in terrain.warnings[0] and "vertical_unit" in terrain.warnings[0]
        e, n = Transformer.from_crs(2263, 26918, always_xy=True).transform(1e6 + 13, 2e5 - 13)
        assert terrain.sample(e, n) == 100
        # Three US survey feet.
        assert terrain.cell_size == pytest.approx(3 * 1200 / 3937, rel=1e-3)


def test_geographic_raster(tmp_path):
    """Seconds of arc; a plane in longitude and latitude, sampled at transformed places (pyproj)."""
    step = 1 / 3600
    z = 100 + 1000 * np.arange(60) * step - 500 * np.arange(60)[:, None] * step
    path = write(
        tmp_path / "a.tif", z, crs="EPSG:4258", transform=Affine(step, 0, 9.0, 0, -step, 50.0)
    )
    lon, lat = (
        9.0 + np.random.default_rng(4).uniform(1, 59, 100) * step,
        50 - np.linspace(1, 59, 100) * step,
    )
    e, n = Transformer.from_crs(4258, 25832, always_xy=True).transform(lon, lat)
    expected = 100 + 1000 * (lon - 9 - step / 2) - 500 * (50 - step / 2 - lat)
    with open_terrain([path], FRAME) as terrain:
        np.testing.assert_allclose(terrain.sample(e, n), expected, atol=1e-6)
        # One second of longitude at 50 degrees north on GRS 80: 19.9 m; of latitude 30.9 m.
        assert terrain.cell_size == pytest.approx(19.9, abs=0.05)


def tiles(tmp_path, z, cuts, **settings):
    paths = []
    for index, (a, b) in enumerate(zip(cuts[:-1], cuts[1:], strict=True)):
        transform = Affine(1, 0, E0 + a, 0, -1, N0)
        paths.append(
            write(tmp_path / f"tile{index}.tif", z[:, a:b], transform=transform, **settings)
        )
    return paths


def test_tiles_of_one_grid_are_joined_without_a_seam(tmp_path):
    z = np.random.default_rng(9).normal(300, 20, (80, 300)).astype("float32")
    whole = write(tmp_path / "whole.tif", z)
    parts = tiles(tmp_path, z, [0, 97, 205, 300])
    e, n = E0 + np.linspace(0.5, 299.5, 5000), N0 - np.linspace(79.5, 0.5, 5000)
    np.testing.assert_array_equal(sample(parts, e, n), sample(whole, e, n))


def test_the_first_raster_wins_and_the_next_fills_its_holes(tmp_path):
    z = np.full((9, 9), 10, "float32")
    z[4, 4] = np.nan
    first, second = (
        write(tmp_path / "1.tif", z),
        write(tmp_path / "2.tif", np.full((9, 9), 20, "float32")),
    )
    np.testing.assert_array_equal(
        sample([first, second], E0 + np.array([2.5, 4.5]), N0 - 4.5), [10, 20]
    )
    assert sample([second, first], E0 + 2.5, N0 - 4.5) == 20


def test_rasters_of_different_grids_are_each_sampled_in_their_own(tmp_path):
    fine = write(tmp_path / "fine.tif", plane_of(GRIDS["north up"], (20, 20)))
    shifted = Affine(1, 0, E0 + 19.7, 0, -1, N0 - 0.3)
    coarse = write(tmp_path / "coarse.tif", plane_of(shifted, (20, 20)) + 5, transform=shifted)
    with open_terrain([fine, coarse], FRAME) as terrain:
        assert terrain.sample(E0 + 10.2, N0 - 5) == pytest.approx(
            plane(E0 + 10.2, N0 - 5), abs=1e-9
        )
        assert terrain.sample(E0 + 25.3, N0 - 5) == pytest.approx(
            plane(E0 + 25.3, N0 - 5) + 5, abs=1e-9
        )
        assert np.isnan(terrain.sample(E0 + 19.9, N0 - 5))
        assert any("2 different grids" in text for text in terrain.warnings)


def test_what_no_grid_knows_is_unknown_in_cells(tmp_path):
    """A hole in both grids, and a gap between them, lie in cells of the first; the second adds no block that knows
    nothing."""
    z = plane_of(GRIDS["north up"], (40, 40))
    z[10:20, 10:20] = np.nan
    first = write(tmp_path / "first.tif", z)
    shifted = Affine(1, 0, E0 + 0.4, 0, -1, N0 - 0.3)
    other = np.full((40, 90), np.nan)
    other[:, 60:] = plane_of(shifted, (40, 90))[:, 60:]
    second = write(tmp_path / "second.tif", other, transform=shifted)
    asked = (np.array([E0 + 2.0]), np.array([N0 - 15.0]), np.array([E0 + 85.0]), np.array([N0 - 15.0]), np.array([9.0]))
    with open_terrain([first, second], FRAME) as both, open_terrain([first], FRAME) as one:
        cells, alone = both.cells(*asked), one.cells(*asked)
        for e in (E0 + 15.0, E0 + 50.0):
            assert np.isnan(both.sample(e, N0 - 15.0))
            near = np.hypot(cells.easting - e, cells.northing - (N0 - 15.0)) < 1
            assert near.any() and np.isnan(cells.elevation[near]).any()
        lost, lost_alone = (int(np.isnan(each.elevation).all(axis=(1, 2)).sum()) for each in (cells, alone))
        assert lost == lost_alone > 0 and len(cells.segment) > len(alone.segment)


def test_virtual_mosaic(tmp_path):
    z = plane_of(GRIDS["north up"], (9, 9), "float32")
    write(tmp_path / "a.tif", z)
    text = """<VRTDataset rasterXSize="9" rasterYSize="9"><SRS>EPSG:25832</SRS>
      <GeoTransform>500000, 1, 0, 5600000, 0, -1</GeoTransform><VRTRasterBand dataType="Float32"
      band="1"> <SimpleSource><SourceFilename
      relativeToVRT="1">a.tif</SourceFilename><SourceBand>1</SourceBand>
      </SimpleSource></VRTRasterBand></VRTDataset>"""
    (tmp_path / "m.vrt").write_text(text)
    assert sample(tmp_path / "m.vrt", E0 + 4.25, N0 - 3) == pytest.approx(
        plane(E0 + 4.25, N0 - 3), abs=1e-4
    )


def mosaic(folder, band="<NoDataValue>-9999</NoDataValue>"):
    """Write two tiles side by side and a virtual mosaic of them, the right one not there."""
    z = plane_of(GRIDS["north up"], (9, 18), "float32")
    write(folder / "a.tif", z[:, :9])
    parts = "".join(
        f"""<SimpleSource><SourceFilename relativeToVRT="1">{name}</SourceFilename><SourceBand>1</SourceBand>
        <SrcRect xOff="0" yOff="0" xSize="9" ySize="9"/><DstRect xOff="{left}" yOff="0" xSize="9" ySize="9"/>
        </SimpleSource>"""
        for name, left in (("a.tif", 0), ("gone.tif", 9))
    )
    path = folder / "hole.vrt"
    path.write_text(
        f"""<VRTDataset rasterXSize="18" rasterYSize="9"><SRS>EPSG:25832</SRS>
        <GeoTransform>500000, 1, 0, 5600000, 0, -1</GeoTransform>
        <VRTRasterBand dataType="Float32" band="1">{band}{parts}</VRTRasterBand></VRTDataset>"""
    )
    return path


def test_a_tile_that_is_not_there_is_unknown(tmp_path):
    """The tile beside it, in the same block, is known to its last cell."""
    with open_terrain([mosaic(tmp_path)], FRAME) as terrain:
        e = E0 + np.array([4.25, 8.5, 8.75, 9.5, 14.0])
        expected = np.where(e <= E0 + 8.5, plane(e, N0 - 3), np.nan)
        np.testing.assert_allclose(terrain.sample(e, N0 - 3), expected, atol=1e-4)
        assert any("gone.tif" in text and "unknown" in text for text in terrain.warnings)
        assert {Path(file).name for file in terrain._rasters[0].files} == {"hole.vrt", "a.tif"}


@pytest.mark.parametrize("band", ["", "<NoDataValue>0</NoDataValue><HideNoDataValue>1</HideNoDataValue>"])
def test_a_tile_in_whose_place_would_be_numbers_is_refused(tmp_path, band):
    """Without a value for what is empty GDAL has 0 m there, far below any wire: that would pass."""
    with pytest.raises(InputError, match="gone.tif, which is not there"):
        open_terrain([mosaic(tmp_path, band)], FRAME)


def test_a_raster_elsewhere_is_unknown_and_does_not_touch(tmp_path):
    path = write(tmp_path / "a.tif", np.zeros((9, 9), "float32"))
    with open_terrain([path], FRAME) as terrain:
        assert np.isnan(terrain.sample(E0 + 5000, N0))
        assert terrain.touches(E0 + np.array([4, 5000]), N0 - 4).tolist() == [True, False]


def test_what_is_no_raster_of_heights_is_refused(tmp_path):
    (tmp_path / "text.tif").write_text("no raster")
    bare = write(tmp_path / "bare.tif", np.zeros((9, 9), "float32"), crs=None)
    waves = write(tmp_path / "waves.tif", np.zeros((9, 9), "complex64"))
    local = write(
        tmp_path / "local.tif", np.zeros((9, 9), "float32"), crs='LOCAL_CS["own",UNIT["metre",1]]'
    )
    sound = write(tmp_path / "sound.tif", np.zeros((9, 9), "float32"))
    for paths, unit, words in (
        ([], None, "no raster"),
        ([tmp_path / "text.tif"], None, "text.tif"),
        ([tmp_path / "gone.tif"], None, "gone.tif"),
        ([bare], None, "bare.tif: crs: found none"),
        ([waves], None, "complex"),
        ([local], None, "not tied to the Earth"),
        ([sound], "feet", "terrain.vertical_unit"),
    ):
        with pytest.raises(InputError, match=words):
            open_terrain(paths, FRAME, unit)


def test_a_file_cut_short_is_an_error_not_a_hole(tmp_path):
    path = write(
        tmp_path / "a.tif",
        np.random.default_rng(1).normal(300, 20, (512, 512)).astype("float32"),
        tiled=True,
        blockxsize=256,
        blockysize=256,
    )
    path.write_bytes(path.read_bytes()[:600_000])
    with open_terrain([path], FRAME) as terrain, pytest.raises(InputError, match="cannot be read"):
        terrain.sample(E0 + 400, N0 - 400)


def test_each_block_is_read_once(tmp_path):
    z = np.random.default_rng(2).normal(300, 20, (512, 1024)).astype("float32")
    path = write(
        tmp_path / "a.tif", z, tiled=True, blockxsize=128, blockysize=128, compress="deflate"
    )
    with open_terrain([path], FRAME) as terrain:
        e = E0 + np.linspace(1, 1020, 5000)
        terrain.sample(e, N0 - 60)
        assert terrain.blocks_read == 8
        terrain.profiles(e[:-1], np.full(4999, N0 - 60), e[1:], np.full(4999, N0 - 60))
        assert terrain.blocks_read == 8
        terrain.sample(e, np.full(5000, N0 - 60) - 128)
        assert terrain.blocks_read == 16


@pytest.mark.parametrize(
    ("stored", "block"),
    [({"tiled": True, "blockxsize": 128, "blockysize": 128}, (128, 128)),
     ({"tiled": True, "blockxsize": 512, "blockysize": 256}, (256, 512)),
     ({"blockysize": 1}, (64, 900)), ({"blockysize": 50}, (100, 900))],
    ids=["small", "large", "rows", "strips"],
)
def test_along_a_line_each_block_is_read_once(tmp_path, stored, block):
    """Asked piece by piece, with room for a sixth of the cells; against scipy, and against all at once."""
    z = np.random.default_rng(2).normal(300, 20, (1100, 900)).astype("float32")
    path = write(tmp_path / "a.tif", z, compress="deflate", **stored)
    share = np.linspace(0, 1, 20_001).reshape(-1, 1)
    column, row = 30 + 830 * share, 40 + 1000 * share + np.random.default_rng(3).uniform(-40, 40, share.shape)
    pieces = [slice(i, i + 500) for i in range(0, 20_001, 500)]
    with open_terrain([path], FRAME, budget=660_000) as terrain:
        terrain.expect(*(np.array([v]) for v in (E0 + 30, N0 - 40, E0 + 860, N0 - 1040)), 60.0)
        found = np.concatenate([terrain.sample(E0 + column[p], N0 - row[p]) for p in pieces])
        corner = [np.floor(at - 0.5).astype(int) + k for at in (row, column) for k in (0, 1)]
        met = {(r // block[0], c // block[1]) for rows in corner[:2] for columns in corner[2:]
               for r, c in zip(rows.ravel().tolist(), columns.ravel().tolist(), strict=True)}
        assert terrain.blocks_read == len(met)
    np.testing.assert_array_equal(found, sample(path, E0 + column, N0 - row))
    np.testing.assert_allclose(found, map_coordinates(z.astype(float), [row - 0.5, column - 0.5], order=1), atol=1e-6)


def test_little_memory_gives_the_same_answer(tmp_path):
    z = np.random.default_rng(2).normal(300, 20, (512, 1024)).astype("float32")
    path = write(tmp_path / "a.tif", z, tiled=True, blockxsize=128, blockysize=128)
    e, n = (
        E0 + np.random.default_rng(3).uniform(1, 1000, 3000),
        N0 - np.random.default_rng(4).uniform(1, 500, 3000),
    )
    with open_terrain([path], FRAME, budget=1) as terrain:
        np.testing.assert_array_equal(terrain.sample(e, n), sample(path, e, n))
        assert terrain.blocks_read > 32


def test_strips_are_said(tmp_path):
    path = write(tmp_path / "a.tif", np.zeros((70, 2000), "float32"), blockysize=1)
    with open_terrain([path], FRAME) as terrain:
        assert any("strips" in text for text in terrain.warnings)
        assert terrain.sample(E0 + 1000, N0 - 35) == 0


def test_facts_name_the_very_bytes(tmp_path):
    path = write(
        tmp_path / "a.tif", np.zeros((9, 9), "float32"), crs="EPSG:25832+7837", nodata=-9999
    )
    with open_terrain([path], FRAME) as terrain:
        (fact,) = terrain.facts
        assert terrain.vertical_crs == CRS("EPSG:7837")
    assert fact.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert (fact.crs, fact.vertical_crs) == ("ETRS89 / UTM zone 32N", "DHHN2016 height")
    assert (fact.unit, fact.cell_size, fact.dtype, fact.nodata) == ("m", 1.0, "float32", -9999)


def test_height_systems_that_differ_are_said(tmp_path):
    paths = [
        write(tmp_path / f"{v}.tif", np.zeros((9, 9), "float32"), crs=f"EPSG:25832+{v}")
        for v in (7837, 5783)
    ]
    with open_terrain(paths, FRAME) as terrain:
        assert any("different height systems" in text for text in terrain.warnings)
