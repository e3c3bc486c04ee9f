"""What goes to the field: read back by GDAL, places put back into the grid by pyproj, counts against the findings."""

import json
import shutil
import sqlite3
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pyogrio
import pytest
from pyproj import Transformer

from corridor import check_study
from corridor.errors import InputError
from corridor.jobs.export import export_study

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
    path, _ = export_study(study)
    rows = pyogrio.read_dataframe(path)
    assert rows.crs.to_epsg() == 4326
    assert "crs" not in json.loads(path.read_text(encoding="utf-8"))
    with sqlite3.connect(study.with_name("findings.gpkg")) as database:
        places, = database.execute("SELECT count(*) FROM (SELECT DISTINCT option, line, span, against, obstacle "
                                   "FROM violations)").fetchone()
        gaps, = database.execute("SELECT count(*) FROM not_assessed").fetchone()
        worst, = database.execute("SELECT min(margin_m) FROM violations").fetchone()
    counts = rows["outcome"].value_counts()
    assert (counts["falls short"], counts["not assessed"]) == (places, gaps)
    assert rows["name"].str.contains(f"{-worst:.2f} m short").any()
    assert rows.loc[rows["outcome"] == "not assessed", "description"].str.contains("no pass").all()


def test_places_come_back(study):
    """The worst place, put back into the grid by pyproj, is that of the findings to a centimetre and a half."""
    path, _ = export_study(study)
    rows = pyogrio.read_dataframe(path)
    short = rows[rows["outcome"] == "falls short"]
    there = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="violations")
    back = Transformer.from_crs(4326, 25832, always_xy=True)
    e, n = back.transform(short.geometry.x, short.geometry.y)
    distance = np.hypot(there.geometry.x.to_numpy() - np.array(e)[:, None],
                        there.geometry.y.to_numpy() - np.array(n)[:, None]).min(axis=1)
    assert distance.max() < 0.015  # 1e-7 deg


def test_kml(study):
    """OGC KML 2.2: a folder an option, a placemark a row, longitude before latitude."""
    path, rows = export_study(study, "kml")
    root = ElementTree.parse(path).getroot()
    assert root.tag == KML + "kml"
    assert len(root.findall(f".//{KML}Placemark")) == len(rows)
    point = root.find(f".//{KML}Point/{KML}coordinates").text
    longitude, latitude = map(float, point.split(","))
    assert 9 < longitude < 11 and 50 < latitude < 52


def test_refused(study, tmp_path):
    """No such option; findings of another study; none at all."""
    with pytest.raises(InputError, match="option"):
        export_study(study, option="no such")
    with pytest.raises(InputError, match="no such file"):
        export_study(study, findings=tmp_path / "none.gpkg")
    changed = study.with_name("changed.toml")
    changed.write_text(study.read_text(encoding="utf-8") + "\n# changed\n", encoding="utf-8")
    with pytest.raises(InputError, match="study_digest"):
        export_study(changed)
