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

import corridor.check
from corridor.errors import InputError
from corridor.jobs.curves import curve_study
from corridor.jobs.read_back import own_findings
from corridor.outputs.frames import read_layer
from corridor.outputs.geoparquet import folder_digests
from corridor.session import open_study
from tests.end_to_end.test_point_clouds import wires_of
from tests.end_to_end.test_surface_model import ALL, blocks_of, given
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


def two_roads(make, study):
    """Roads in two layers of one file, as one layer of obstacles."""
    for name, x in (("north", 100), ("south", 420)):
        line = shapely.LineString([(make.EAST + x, make.NORTH - 60), (make.EAST + x + 15, make.NORTH + 60)])
        gpd.GeoDataFrame({"kind": ["road"]}, geometry=[line], crs=make.GRID).to_file(
            study.folder / "roads.gpkg", layer=name)
    study.text += ('\n[[obstacles]]\nname = "roads"\nfile = "roads.gpkg"\nlayer = ["north", "south"]\n'
                   'category = "road"\nheight = 0\nradius = 4\nwhere = {kind = "road"}\n')


def test_findings_of_two_layers_of_one_file_are_read_back(study, make):
    two_roads(make, study)
    findings = study.check()
    with open_study(study.path) as opened:
        assert own_findings(opened) == findings.path
    part = gpd.read_file(study.folder / "roads.gpkg", layer="south")
    part.geometry = part.geometry.translate(1.0)
    part.to_file(study.folder / "roads.gpkg", layer="south")
    with open_study(study.path) as opened, pytest.raises(InputError, match=r"another roads\.gpkg"):
        own_findings(opened)


def everything(make, folder):
    """Parts of a study by another file with a former key, a surface with classes and cleared places, tiles of the
    ground, a filter over layers of one file, and an assumption."""
    study = make.TinyStudy(folder)
    study.structures["bisector"] = [None, 2.0, None, None]
    study.write()
    two_roads(make, study)

    def surface(e, n):
        return make.plane(e, n) + np.where((abs(n - make.NORTH) < 12) & ((e - make.EAST) % 100 < 50), 12.0, 0.0)

    given(study, surface, keys='surface_cleared = "gone.gpkg"\n')
    in_tiles(folder, make.GRID)
    study.change('"ground.tif"', '"dem/tiles.gpkg"')
    study.write_ground(lambda e, n: np.where(e < make.EAST + 400, 5.0, 6.0), name="classes.tif", cell=7.0)
    gpd.GeoDataFrame(geometry=[shapely.box(make.EAST + 300, make.NORTH, make.EAST + 400, make.NORTH + 20)],
                     crs=make.GRID).to_file(folder / "gone.gpkg", layer="gone")
    part = ('[terrain.surface_classes]\nfile = "../classes.tif"\nvalues = {5 = "tree", 6 = "building"}\n'
            '[stringing]\nblock_ends = ["2"]\n[structures]\ncrossarm_azimuth_unit = "deg"\n'
            '[[assumptions]]\nkey = "study.voltage"\nvalue = "110 kV"\nreason = "from the name of the line"\n')
    (folder / "more").mkdir()
    (folder / "more" / "part.toml").write_text(part)
    study.text = 'include = ["more/part.toml"]\n' + study.text
    study.write()
    return study


def touch_tile(folder):
    with rasterio.open(folder / "dem" / "east.tif", "r+") as tile:
        tile.write(tile.read(1) + 0.5, 1)


def touch_classes(folder):
    with rasterio.open(folder / "classes.tif", "r+") as classes:
        classes.write(classes.read(1) * 0 + 5, 1)


def touch_cleared(folder):
    gone = gpd.read_file(folder / "gone.gpkg")
    gone.geometry = gone.geometry.translate(5.0)
    gone.to_file(folder / "gone.gpkg", layer="gone")


def touch_part(folder):
    part = folder / "more" / "part.toml"
    part.write_text(part.read_text().replace('6 = "building"', '6 = "tree"'))


def touch_surface(folder):
    with rasterio.open(folder / "surface.tif", "r+") as surface:
        surface.write(surface.read(1) + 0.5, 1)


def test_workers_see_what_one_process_sees(make, tmp_path, monkeypatch):
    """All findings, and the status; and what workers left is told apart by everything that they read."""
    distributed = pytest.importorskip("distributed")
    from corridor.cluster import ClusterWorkers
    from corridor.cluster.workers import _name_of

    monkeypatch.setattr(corridor.check, "BATCH", 2)
    study = everything(make, tmp_path / "study")
    outputs = [study.folder.parent / name for name in ("one.parquet", "two.parquet")]
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1",
                                  dashboard_address=None, silence_logs=50) as cluster:
        for output, workers in zip(outputs, (None, ClusterWorkers(cluster.scheduler_address)), strict=True):
            with open_study(study.path) as opened:
                found = corridor.check.check(opened, output, workers=workers)
            assert found.status == 1 and found.inspection.assumptions
    assert folder_digests(outputs[0]) == folder_digests(outputs[1])
    assert {"tree", "building"} <= {*read_layer(outputs[1], "violations")["against"]}
    assert {"roads:north 1", "roads:south 1"} <= {*read_layer(outputs[1], "clearances")["obstacle"]}
    names = set()
    for touch in (lambda folder: None, touch_tile, touch_classes, touch_cleared, touch_part, touch_surface):
        touch(study.folder)
        with open_study(study.path) as opened:
            names.add(_name_of(opened, 0, b"mine"))
    assert len(names) == 6


def test_a_plan_that_takes_trees_away_leaves_what_is_of_another_class(study, make):
    """The easternmost cells of a block are of two classes, tree and building: without the tree the building stands."""
    given(study, blocks_of(make, (147.5, 4.5, 3.5, 3.5, 9.0)), keys="")
    study.write_ground(lambda e, n: np.where(e < make.EAST + 150.5, 5.0, 6.0), name="classes.tif", cell=1.0,
                       low=(make.EAST - 120.5, make.NORTH - 120.5), high=(make.EAST + 1020.5, make.NORTH + 120.5))
    study.change("[structures]", '[terrain.surface_classes]\nfile = "classes.tif"\n'
                                 'values = {5 = "tree", 6 = "building"}\n[structures]')
    study.text += '\n[plan]\nremedies = ["remove"]\nremovable = ["tree"]\n'
    assert {*study.check()["violations"]["against"]} == {"tree", "building"}
    assert ask(study.path, "plan", "today", study.folder.parent / "planned").status == 1
    # All that goes: the copy finds the trees gone, and the building where it was.
    study.change('removable = ["tree"]', 'removable = ["tree", "building"]')
    assert ask(study.write(), "plan", "today", study.folder.parent / "planned").status == 0
    gone = gpd.read_file(study.folder.parent / "planned" / "cleared.gpkg")
    assert {*gone["surface_category"]} == {"tree", "building"}
    gone[gone["surface_category"] == "tree"].to_file(study.folder / "gone.gpkg")
    study.change("[terrain.surface_classes]", 'surface_cleared = "gone.gpkg"\n[terrain.surface_classes]')
    assert {*study.check()["violations"]["against"]} == {"building"}
    gone.assign(surface_category="treee").to_file(study.folder / "gone.gpkg")
    with pytest.raises(InputError, match="'treee'; accepted: building, tree; perhaps tree"):
        study.check()


def test_of_things_of_one_name_a_copy_loses_none_that_stays(study, make):
    """Three trees of one identifier, of which one is too near: the copy has all, and is not clear."""
    study.rules += "tree,tree,radial,3,,,,,,\n"
    study.add_obstacle("things", "tree", [shapely.Point(make.EAST + x, make.NORTH + 4) for x in (60, 200, 150)],
                       'id_column = "id"\nheight_column = "high"', id=["oak"] * 3, high=[2.5, 2.5, 12.0])
    study.text += '\n[plan]\nremedies = ["remove"]\nremovable = ["tree"]\n'
    folder = study.folder.parent / "planned"
    assert ask(study.write(), "plan", "today", folder).status == 1
    rows = gpd.read_file(folder / "findings.gpkg", layer="clearances")
    assert (rows[rows["obstacle"] == "things:oak"]["margin_m"] < 0).any()
