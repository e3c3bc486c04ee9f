"""What two features come to together: limits over a surface, indexes beside columns of places, plans over tiles.

There is no outside source: each is compared with the same thing asked in a plainer way.
"""

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from rasterio.transform import Affine
from rasterio.windows import Window

from corridor.jobs.curves import curve_study
from corridor.session import open_study
from tests.end_to_end.test_point_clouds import wires_of
from tests.end_to_end.test_surface_model import ALL, given
from tests.test_plan_guards import ask, dug, hillock_at

HOT = '[[cases]]\nname = "hot"\ntemperature = "maximum"\nchecks = ["vertical"]\n'


def still(study, case, maximum):
    """The study with one case, and another maximum temperature [°C]."""
    first, rules = study.text.index("[[cases]]"), study.text.index("[rules]")
    study.text = study.text[:first] + case + study.text[rules:]
    study.change("maximum_temperature = 75", f"maximum_temperature = {maximum}")
    study.change("emergency_temperature = 90\n", "")
    return study


@pytest.fixture
def wood(make, tmp_path):
    """What makes studies of a wood below the first span, short of the wires at 100 °C by `short(x)` [m]."""
    curves, factor = wires_of(still(make.TinyStudy(tmp_path / "bare"), HOT, 100).check(), "1-2", "today", "hot")
    x = np.arange(301.0)
    low = np.min([np.interp(x, c[:, 0] / factor, c[:, 2]) for c in curves.reshape(-1, curves.shape[-2], 3)], axis=0)

    def made(name, short, case=HOT, maximum=100):
        def surface(e, n):
            z, along = make.plane(e, n), e - make.EAST
            top = np.interp(along, x, low) - 3 + short(along)
            return np.where((abs(n - make.NORTH) < 12) & (along > 12) & (along < 288), np.maximum(top, z), z)

        study = still(make.TinyStudy(tmp_path / name), case, maximum)
        given(study, surface, keys=f'surface_category = "tree"\n{ALL}')
        return study
    return made


def least(findings):
    rows = findings.rows("clearances", span="1-2")
    return rows["margin_m"].min()


def test_a_limit_over_one_wood_put_back_is_no_violation(wood):
    """In the middle the wood is nearest at the maximum temperature; beside the tower, where wires hardly rise as they
    cool, a little farther: there the limit is."""
    def short(x):
        return np.where(abs(x - 150) < 6, 1.0, np.where(abs(x - 25) < 6, 0.7, 0.15))

    limit = wood("limit", short).check().row("limits", span="1-2")["limit_temperature_c"]
    assert 0 < limit < 5
    assert least(wood("back", short, maximum=round(limit, 6)).check()) > -1e-3
    assert least(wood("more", short, maximum=round(limit + 2, 6)).check()) < -1e-2


def test_no_limit_hotter_than_points_were_looked_for(wood):
    """In the one case, a cold one, the wood is nearest beside the tower; at the maximum temperature in the middle."""
    def short(x):
        return np.where(abs(x - 150) < 6, 1.0, np.where(abs(x - 25) < 6, 0.0, -0.6))

    cold = wood("cold", short, HOT.replace('"maximum"', "10")).check()
    assert least(cold) > 0 and cold.row("limits", span="1-2")["governs"] == "not assessed"
    assert cold.row("limits", span="3-4")["governs"] == "maximum temperature"
    hot = wood("hot", short).check()
    assert least(hot) < -0.9 and hot.row("limits", span="1-2")["governs"] == "clearance"


def test_curves_know_where_a_wood_is_reached_beyond_the_maximum(wood):
    """The wire may be hotter than the maximum temperature of the study: to where a check has its limit."""
    def short(x):
        return np.where(abs(x - 150) < 6, 1.0, np.where(abs(x - 25) < 6, 0.0, -0.6))

    hot = wood("hot", short).check().row("limits", span="1-2")["limit_temperature_c"]
    with open_study(wood("cooler", short, maximum=50).write()) as opened:
        curve = next(iter(curve_study(opened, span="1-2").options))
    assert curve.clears_to == pytest.approx(hot, abs=0.05)


def test_columns_of_places_are_not_looked_for_by_an_index(study, make, monkeypatch):
    """Geometries of the layer lie elsewhere: its spatial index knows nothing of where its columns say things are."""
    monkeypatch.setattr("corridor.inputs.reach._MANY", 3)
    there = [shapely.Point(make.EAST + 100, make.NORTH + 300)] + [shapely.Point(make.EAST, make.NORTH + 9000)] * 4
    study.add_obstacle("cars", "road", there, 'height = 3\nradius = 2\nx_column = "x"\ny_column = "y"\n',
                       x=make.EAST + 20.0 * np.arange(1, 6), y=[make.NORTH + 4.0] * 5)
    row = study.check().row("inputs", part="obstacles.cars")
    assert row["features"] == row["features_near"] == row["features_compared"] == 5


def in_tiles(folder, crs):
    """Cut a raster in two, listed in an index in a folder of its own."""
    (folder / "dem").mkdir()
    with rasterio.open(folder / "ground.tif") as whole:
        profile, half = whole.profile, whole.width // 2
        for name, first, last in (("west.tif", 0, half), ("east.tif", half, whole.width)):
            shape = {"width": last - first, "transform": whole.transform @ Affine.translation(first, 0)}
            with rasterio.open(folder / "dem" / name, "w", **profile | shape) as tile:
                tile.write(whole.read(1, window=Window(first, 0, last - first, whole.height)), 1)
        boxes = [shapely.box(*whole.bounds)] * 2
    (folder / "ground.tif").unlink()
    gpd.GeoDataFrame({"location": ["west.tif", "east.tif"]}, geometry=boxes, crs=crs).to_file(
        folder / "dem" / "tiles.gpkg", layer="tiles")


def test_ground_in_an_index_of_tiles_is_cut(tmp_path, make):
    """As one raster is: the copy of the plan has the cut before the index."""
    study = hillock_at(tmp_path / "study", 450.0)
    in_tiles(study.folder, make.GRID)
    study.change('"ground.tif"', '"dem/tiles.gpkg"')
    assert ask(study.write(), "plan", "today", tmp_path / "plan").status == 0
    assert np.hypot(*(dug(tmp_path / "plan") - [make.EAST + 450, make.NORTH]).T).min() < 2.0
