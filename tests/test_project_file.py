"""The project for a desktop GIS, by the XML parser of the standard library; sources and filters by GDAL.

Where QGIS is installed `tests/desktop/test_project.py` opens it there.
"""

import re
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from xml.etree import ElementTree

import geopandas
import numpy as np
import pandas
import pyogrio
import pytest
import shapely

from corridor import check_study
from corridor.errors import InputError
from corridor.jobs.project import not_known
from corridor.outputs.planned_for import write_planned_for
from corridor.outputs.project_file import _quoted
from tests.common import ask

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The folder of `demo_and_project` with a raster of ground limits, and the project as XML."""
    return demo_and_project(tmp_path_factory.mktemp("demo") / "corridor", Path.touch)


def demo_and_project(copy, add_raster):
    """Write the demo, its findings, a plan of one item and, by `add_raster(path)`, a raster of ground limits beside
    them, and the project; return the folder, and the project as XML."""
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "findings.gpkg"))
    findings = copy / "findings.gpkg"
    check_study(copy / "study.toml")
    spans = pyogrio.read_dataframe(findings, layer="spans")
    work = geopandas.GeoDataFrame({"item": ["pull"], "kind": ["pull"], "outage": [1], "hours": [8.0],
                                   "circuits_out": ["one"]}, geometry=[spans.geometry[2]], crs=spans.crs)
    pyogrio.write_dataframe(work, copy / "plan.gpkg", layer="work_items")
    begin = pandas.to_datetime(["2027-03-01 07:00"])
    outages = work[["outage", "circuits_out", "geometry"]].assign(start=begin, end=begin + pandas.Timedelta("8h"))
    outages = pandas.concat([outages, outages.assign(outage=2, geometry=[spans.geometry[5]], start=begin
                             + pandas.Timedelta("24h"), end=begin + pandas.Timedelta("30h"))])
    pyogrio.write_dataframe(outages, copy / "plan.gpkg", layer="outages")
    write_planned_for(copy / "plan.gpkg", findings)
    add_raster(copy / "findings_ground_limit_thermal_alloy.tif")
    path, _ = ask(copy / "study.toml", "export", "qgs")
    assert path == copy / "findings.qgs"
    return copy, ElementTree.parse(path).getroot()


def _layers(root):
    return {layer.findtext("id"): layer for layer in root.iter("maplayer")}


def test_every_option_has_a_group_of_its_own_rows(made):
    """As many rows as the findings have of the option, and what is open for every option in each; one is shown."""
    folder, root = made
    options = pyogrio.read_dataframe(folder / "findings.gpkg", layer="options")
    groups = {group.get("name"): group for group in root.find("layer-tree-group").findall("layer-tree-group")}
    assert {leaf.get("name") for leaf in groups.pop("plan").iter("layer-tree-layer")} == {"work", "outages"}
    assert list(groups) == list(options["option"])
    shown = [name for name, group in groups.items() if group.get("checked") == "Qt::Checked"]
    assert shown == [options.loc[options["violations"].idxmax(), "option"]]
    layers = _layers(root)
    for option, group in groups.items():
        for leaf in group.iter("layer-tree-layer"):
            path, name, where = re.fullmatch(r"\./(.*)\|layername=(\w+)\|subset=(.*)",
                                             layers[leaf.get("id")].findtext("datasource")).groups()
            rows, every = (pyogrio.read_dataframe(folder / path, layer=name, where=w) for w in (where, None))
            own = (every["option"] == option) | every["option"].isna()
            assert len(rows) == own.sum()


def test_each_source_is_there_and_relative(made):
    folder, root = made
    for layer in root.iter("maplayer"):
        source = layer.findtext("datasource")
        assert source.startswith("./") and (folder / source.partition("|")[0]).is_file()
        if "layername=" in source:
            name = source.partition("layername=")[2].partition("|")[0]
            assert name in {known for known, _ in pyogrio.list_layers(folder / source.partition("|")[0])}
    assert root.findtext("projectCrs/spatialrefsys/authid") == "EPSG:25832"
    assert {leaf.get("id") for leaf in root.iter("layer-tree-layer")} == set(_layers(root))


def test_rows_have_names_tips_and_looks(made):
    """Each vector layer says what a row is called and what is told of it; labels of violations name the worst alone."""
    _, root = made
    for layer in root.iter("maplayer"):
        if layer.get("type") == "vector":
            assert layer.findtext("previewExpression") and "[%" in layer.findtext("mapTip")
            assert layer.find("renderer-v2") is not None
    labels = {layer.find("labeling/settings/text-style").get("fieldName") for layer in root.iter("maplayer")
              if "layername=violations|" in layer.findtext("datasource")}
    [label] = labels
    assert all(part in label for part in ('order_by:="margin_m"', '"span"', '"obstacle"', "format_number"))
    work = next(layer for layer in root.iter("maplayer") if "work_items" in layer.findtext("datasource"))
    assert "outage" in work.find("labeling/settings/text-style").get("fieldName")
    outages = next(layer for layer in root.iter("maplayer") if "name=outages" in layer.findtext("datasource"))
    assert "outage" in outages.find("labeling/settings/text-style").get("fieldName")
    # Times of the columns of each row, by the number that QGIS has for that (from memory); work without dates has none.
    assert outages.find("temporal").attrib.items() >= {"enabled": "1", "mode": "2", "startField": "start",
                                                       "endField": "end"}.items()
    assert work.find("temporal") is None
    [open_] = [layer for layer in root.iter("maplayer") if layer.find("pipe/rasterrenderer") is not None
               and layer.find("pipe/rasterrenderer").get("type") == "paletted"]
    assert open_.find("pipe/rasterrenderer/colorPalette/paletteEntry").get("value") == "2"


def test_unknown_ground_is_hatched_where_it_is(made):
    """The hole that the findings tell of: 20.6 m of 410 m, along the span, within the squares in which it is asked."""
    folder, root = made
    rows = pyogrio.read_dataframe(folder / "findings_not_known.gpkg")
    spans = pyogrio.read_dataframe(folder / "findings.gpkg", layer="spans").set_index("span").geometry
    assert list(rows["span"]) == ["N14-N15"]
    crossed = shapely.length(shapely.intersection(rows.geometry[0], shapely.force_2d(spans["N14-N15"])))
    assert 20 < crossed < 24
    layer = next(layer for layer in root.iter("maplayer") if "ground_not_known" in layer.findtext("datasource"))
    assert layer.find(".//layer[@class='LinePatternFill']") is not None


def test_a_span_without_bare_squares_is_hatched_whole():
    """A gap whose hole is not found, and none at all: by hand."""
    chord = shapely.linestrings([[0.0, 0.0], [100.0, 0.0]])
    spans = geopandas.GeoDataFrame({"line": ["l"], "span": ["1-2"]}, geometry=[chord], crs="EPSG:25832")
    gaps = geopandas.GeoDataFrame({"line": ["l"], "span": ["1-2"], "against": ["ground"], "reason": ["none"]},
                                  geometry=[chord], crs=spans.crs)
    whole = not_known(spans, gaps, lambda e, n: np.zeros(len(e)))
    assert whole.geometry[0].area == pytest.approx(100 * 30)
    half = not_known(spans, gaps, lambda e, n: np.where(e < 50, np.nan, 0.0))
    assert half.geometry[0].area == pytest.approx(50 * 31, rel=0.01)
    assert not len(not_known(spans, gaps.iloc[:0], None))


@pytest.mark.parametrize("name", ["a|layerid=3", "it's | so", "x|option:¦", "plain"])
def test_a_name_with_bars_is_no_part_of_a_source(name):
    """A bar would begin another part of the source, and the layer be empty: SQLite reads the name."""
    text = _quoted(name)
    assert "|" not in text
    with closing(sqlite3.connect(":memory:")) as database:
        assert database.execute(f"SELECT {text}").fetchone() == (name,)


def test_refused(made):
    folder, _ = made
    with pytest.raises(InputError, match="kind"):
        ask(folder / "study.toml", "export", "shp")
