"""What goes to the field: read back by GDAL, places put back into the grid by pyproj, counts against the findings."""

import json
import shutil
import sqlite3
from pathlib import Path
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import Transformer

from corridor import check_study
from corridor.errors import InputError
from corridor.outputs.planned_for import write_planned_for
from tests.common import ask

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"
KML = "{http://www.opengis.net/kml/2.2}"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    copy = tmp_path_factory.mktemp("demo") / "corridor"
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "findings.gpkg"))
    check_study(copy / "study.toml")
    return copy / "study.toml"


def test_geojson_by_gdal(study):
    """RFC 7946: WGS 84, longitude first; every violation is told of by its worst case, every gap is there."""
    path, _ = ask(study, "export")
    rows = pyogrio.read_dataframe(path)
    assert rows.crs.to_epsg() == 4326
    assert "crs" not in json.loads(path.read_text(encoding="utf-8"))
    with sqlite3.connect(study.with_name("findings.gpkg")) as database:
        places, = database.execute("SELECT count(*) FROM (SELECT DISTINCT option, line, span, against, obstacle "
                                   "FROM violations)").fetchone()
        gaps, = database.execute("SELECT count(*) FROM not_assessed").fetchone()
        worst, = database.execute("SELECT min(margin_m) FROM violations").fetchone()
    counts = rows["outcome"].value_counts()
    assert (counts["violation"], counts["not assessed"]) == (places, gaps)
    assert rows["name"].str.contains(f"{-worst:.2f} m short").any()
    assert rows.loc[rows["outcome"] == "not assessed", "description"].str.contains("not a pass").all()


def test_places_come_back(study):
    """The worst place, put back into the grid by pyproj, is that of the findings to a centimetre and a half."""
    path, _ = ask(study, "export")
    rows = pyogrio.read_dataframe(path)
    short = rows[rows["outcome"] == "violation"]
    there = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="violations")
    back = Transformer.from_crs(4326, 25832, always_xy=True)
    e, n = back.transform(short.geometry.x, short.geometry.y)
    distance = np.hypot(there.geometry.x.to_numpy() - np.array(e)[:, None],
                        there.geometry.y.to_numpy() - np.array(n)[:, None]).min(axis=1)
    assert distance.max() < 0.015  # 1e-7 deg


def test_kml(study):
    """OGC KML 2.2: folders of the line and of each option, a placemark a row, longitude before latitude."""
    path, rows = ask(study, "export", "kml")
    root = ElementTree.parse(path).getroot()
    assert root.tag == KML + "kml"
    line = sum(len(pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer=name))
               for name in ("structures", "spans"))
    assert len(root.findall(f".//{KML}Placemark")) == len(rows) + line
    point = root.find(f".//{KML}Point/{KML}coordinates").text
    longitude, latitude = map(float, point.split(","))
    assert 9 < longitude < 11 and 50 < latitude < 52


def test_kml_by_gdal(study):
    """GDAL finds a layer an option, WGS 84, and every placemark where the GeoJSON has it, with its words."""
    path, rows = ask(study, "export", "kml")
    layers = [name for name, _ in pyogrio.list_layers(path)]
    assert layers == ["Line", *dict.fromkeys(rows["option"].fillna("every option"))]
    got = [pyogrio.read_dataframe(path, layer=name) for name in layers]
    assert all(frame.crs.to_epsg() == 4326 for frame in got)
    told = {(row.Name, row.description): row.geometry for frame in got for row in frame.itertuples()}
    there = pyogrio.read_dataframe(ask(study, "export")[0])
    assert sum(map(len, got[1:])) == len(there) > 0
    for row in there.itertuples():
        assert told[row.name, row.description].distance(row.geometry) < 1e-9


def test_kml_colours(study):
    """KML 2.2 clause 16.8.2 (recalled): aabbggrr; each placemark has the look of its outcome, which its name tells."""
    path, _ = ask(study, "export", "kml")
    root = ElementTree.parse(path).getroot()
    looks = {style.get("id"): style.find(f"{KML}LineStyle/{KML}color").text for style in root.iter(KML + "Style")}
    assert looks["short"] == "ff004ac8" and looks["unknown"] == "ff9f73b5"  # c84a00 and b5739f, read backwards
    for mark in root.iter(KML + "Placemark"):
        assert mark.find(KML + "styleUrl").text.removeprefix("#") in looks
        if mark.find(KML + "styleUrl").text in ("#structure", "#line", "#work"):
            continue
        unknown = "not assessed" in mark.find(KML + "name").text
        assert mark.find(KML + "styleUrl").text == ("#unknown" if unknown else "#short")


def test_every_geometry_of_the_kml_is_where_the_findings_have_it(study):
    """Structures, spans and the work of a plan, raised as areas, lines and several at once; put back by pyproj."""
    spans = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="spans")
    posts = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="structures")
    court = shapely.buffer(posts.geometry[3], 20).difference(shapely.buffer(posts.geometry[3], 5))
    names = ["raise", "pull", "clear"]
    work = gpd.GeoDataFrame({"item": names, "kind": names, "hours": [8.0, 9.0, 1.0]},
                            geometry=[shapely.union_all(spans.geometry[:2].force_2d()), spans.geometry[4], court],
                            crs=spans.crs)
    pyogrio.write_dataframe(work, study.with_name("plan.gpkg"), layer="work_items")
    with pytest.raises(InputError, match="run corridor plan again"):
        ask(study, "export", "kml", output=study.with_name("whole.kml"))
    write_planned_for(study.with_name("plan.gpkg"), study.with_name("findings.gpkg"))
    path, _ = ask(study, "export", "kml", output=study.with_name("whole.kml"))
    study.with_name("plan.gpkg").unlink()
    back = Transformer.from_crs(4326, 25832, always_xy=True)

    def told(layer):
        frame = pyogrio.read_dataframe(path, layer=layer)
        return {row.Name: shapely.transform(shapely.force_2d(row.geometry), lambda c: np.column_stack(
            back.transform(*c.T))) for row in frame.itertuples()}

    line, there = told("Line"), told("Work of the plan")
    assert set(line) == {*spans["span"], *posts["structure"]} and set(there) == set(work["item"])
    wanted = [*zip(spans["span"], spans.geometry, strict=True), *zip(posts["structure"], posts.geometry, strict=True)]
    for name, shape in wanted:
        assert shapely.hausdorff_distance(line[name], shapely.force_2d(shape)) < 0.02
    for name, shape in zip(work["item"], work.geometry, strict=True):
        assert shapely.hausdorff_distance(there[name], shapely.force_2d(shape)) < 0.02
    assert there["clear"].area == pytest.approx(court.area, rel=0.01)


def test_geojson_has_the_numbers_of_the_worst_row(study):
    """As numbers, by the JSON of the standard library; null for what was not assessed."""
    features = json.loads(ask(study, "export")[0].read_text(encoding="utf-8"))["features"]
    rows = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="violations")
    keys, numbers = ["option", "line", "span", "against", "obstacle"], ["margin_m", "required_m", "actual_m",
                                                                       "station_m", "wire_elevation_m"]
    worst = rows.sort_values("margin_m").drop_duplicates(keys)
    wanted = {tuple(None if v != v else v for v in key): values for key, values in zip(
        worst[keys].itertuples(index=False, name=None), worst[numbers].to_numpy(float), strict=True)}
    for feature in features:
        p = feature["properties"]
        if p["outcome"] == "not assessed":
            assert [p[name] for name in numbers] == [None] * 5
        else:
            assert [p[name] for name in numbers] == pytest.approx(wanted[tuple(p[k] for k in keys)], abs=1e-4)


def test_refused(study, tmp_path):
    """No such option; findings of another study; none at all."""
    with pytest.raises(InputError, match="option"):
        ask(study, "export", option="no such")
    with pytest.raises(InputError, match="no such file"):
        ask(study, "export", findings=tmp_path / "none.gpkg")
    changed = study.with_name("changed.toml")
    changed.write_text(study.read_text(encoding="utf-8") + "\n# changed\n", encoding="utf-8")
    with pytest.raises(InputError, match="study_digest"):
        ask(changed, "export")
