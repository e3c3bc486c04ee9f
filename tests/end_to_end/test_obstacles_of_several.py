"""Several files, or several layers of one, as one layer of obstacles: the findings of all of it in one."""

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely

KEYS = ["span", "option", "case", "measure"]


def roads(make, places, crs=None):
    lines = [shapely.LineString([(make.EAST + x, make.NORTH - 60), (make.EAST + x + 15, make.NORTH + 60)])
             for x in places]
    frame = gpd.GeoDataFrame({"number": np.arange(len(places)) + 1}, geometry=lines, crs=make.GRID)
    return frame if crs is None else frame.to_crs(crs)


def section(file, more=""):
    return f'\n[[obstacles]]\nname = "roads"\nfile = {file}\ncategory = "road"\nheight = 0\nradius = 4\n{more}\n'


@pytest.mark.parametrize("how", ["files", "layers"])
def test_as_one_layer(study, other_study, make, how):
    """Numbers are the same in both parts, names are not; one part is in another CRS."""
    first, second = (100, 420), (210, 700)
    roads(make, first + second).to_file(study.folder / "roads.gpkg", layer="all")
    study.text += section('"roads.gpkg"')
    whole = study.check()
    north, south = ("north.gpkg", "south.gpkg") if how == "files" else ("roads.gpkg",) * 2
    roads(make, first).to_file(other_study.folder / north, layer="north" if how == "layers" else "lines")
    roads(make, second, "EPSG:25831").to_file(other_study.folder / south, layer="south" if how == "layers" else "lines")
    other_study.text += section(f'["{north}", "{south}"]', 'id_column = "number"') if how == "files" else section(
        '"roads.gpkg"', 'layer = ["north", "south"]\nid_column = "number"')
    parts = other_study.check()
    rows = [each.rows("clearances", against="road").sort_values([*KEYS, "station_m"]) for each in (whole, parts)]
    # Another zone's coordinates come back to a millimetre.
    np.testing.assert_allclose(rows[1]["margin_m"], rows[0]["margin_m"], atol=1e-3)
    assert set(rows[1]["obstacle"]) == {"roads:north 1", "roads:north 2", "roads:south 1", "roads:south 2"}
    files = parts.rows("inputs", part="obstacles.roads")
    assert len(files) == 2 and (files["features"] == 4).all() and (files["features_compared"] == 4).all()


def test_files_of_one_name(study, make):
    """Those in folders of their own are told by these."""
    for folder, place in (("a", 100), ("b", 420)):
        (study.folder / folder).mkdir()
        roads(make, (place,)).to_file(study.folder / folder / "roads.gpkg", layer="roads")
    study.text += section('["a/roads.gpkg", "b/roads.gpkg"]')
    names = set(study.check().rows("clearances", against="road")["obstacle"])
    assert names == {"roads:a/roads.gpkg 1", "roads:b/roads.gpkg 1"}


def test_a_plan_takes_away_of_one_of_several(study, make):
    """The planned copy has all that is left of both files, in one; its findings clear."""
    for name, places in (("north", (150,)), ("south", (450, 60))):
        points = [shapely.Point(make.EAST + x, make.NORTH + 4) for x in places]
        gpd.GeoDataFrame({"high": [12.0 if x != 60 else 2.0 for x in places]}, geometry=points, crs=make.GRID).to_file(
            study.folder / f"{name}.gpkg", layer="trees")
    study.rules += "tree,tree,radial,3,,,,,,\n"
    study.text += ('\n[[obstacles]]\nname = "trees"\nfile = ["north.gpkg", "south.gpkg"]\ncategory = "tree"\n'
                   'height_column = "high"\n\n[plan]\nremedies = ["remove"]\nremovable = ["tree"]\n')
    assert set(study.check().rows("violations")["obstacle"]) == {"trees:north 1", "trees:south 1"}
    assert make.run("plan", study.path, "--option", "today", "--folder", study.folder.parent / "planned") == 0
    left = pyogrio.read_dataframe(study.folder.parent / "planned" / "obstacles 1.gpkg")
    assert left["feature_before"].tolist() == ["south 2"]
