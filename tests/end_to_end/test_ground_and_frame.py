"""Units and frames: the same corridor given in another way has the same findings; lengths are those of the geodesic.

Geodesics are pyproj's (Karney 2013); a ground length is the geodesic times 1 + h/R.
"""

import numpy as np
import pandas as pd
import pytest
import shapely
from pyproj import Geod, Transformer

from .curves import RADIUS


def same(first, second, *, columns=("margin_m", "actual_m", "required_m", "wire_elevation_m"), atol=1e-3):
    """Hold two findings against one another, row by row."""
    keys = ["line", "span", "option", "case", "against", "obstacle"]
    a, b = (findings["clearances"].sort_values(keys).reset_index(drop=True) for findings in (first, second))
    assert a[keys].fillna("").equals(b[keys].fillna("")) and len(a)
    for column in columns:
        np.testing.assert_allclose(a[column], b[column], rtol=0, atol=atol)


@pytest.mark.parametrize(("unit", "metres"), [("ft", 0.3048), ("us-ft", 1200 / 3937)])
def test_a_raster_in_feet(study, other_study, unit, metres):
    """The same ground, its heights in feet: the same findings within 1 mm."""
    for each in (study, other_study):
        each.add_roads()
    other_study.write_ground(factor=1 / metres)
    other_study.change('vertical_unit = "m"', f'vertical_unit = "{unit}"')
    same(study.check(), other_study.check(), atol=1e-6)


def test_structures_in_degrees(study, other_study):
    """The same places as longitude and latitude, worked in a local grid: ground, wires and margins within 1 mm.

    A grid line between structures is a straight one of either grid: they part by less than a millimetre in 300 m.
    """
    for each in (study, other_study):
        each.add_roads()
    other_study.crs = "EPSG:4326"
    change = Transformer.from_crs(study.crs, "EPSG:4326", always_xy=True)
    places = change.transform(*study.structures[["easting", "northing"]].to_numpy().T)
    other_study.structures["easting"], other_study.structures["northing"] = places
    found = other_study.check()
    assert "local transverse Mercator" in found["run"]["frame"][0]
    assert "EPSG:4326" not in str(found["spans"].crs) and found["spans"].crs.is_projected
    same(study.check(), found)


def test_structures_in_web_mercator(study):
    """Its lengths are half as long again here: the run names another grid, and spans are those of the geodesic."""
    study.add_roads()
    change = Transformer.from_crs(study.crs, "EPSG:3857", always_xy=True)
    degrees = Transformer.from_crs(study.crs, "EPSG:4326", always_xy=True)
    places = study.structures[["easting", "northing"]].to_numpy().T
    study.crs = "EPSG:3857"
    study.structures["easting"], study.structures["northing"] = change.transform(*places)
    findings = study.check()
    assert "local transverse Mercator" in findings["run"]["frame"][0]
    lon, lat = degrees.transform(*places)
    geodesic = Geod(ellps="WGS84").inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
    expected = geodesic * (1 + np.array([103, 109, 115]) / RADIUS)
    np.testing.assert_allclose(findings["spans"]["length_m"], expected, rtol=0, atol=1e-3)
    assert np.all(np.hypot(*np.diff(study.structures[["easting", "northing"]].to_numpy().T)) > 460)


def test_spans_of_a_grid_are_geodesics_too(short, make):
    change = Transformer.from_crs(make.GRID, "EPSG:4258", always_xy=True)
    lon, lat = change.transform(make.EAST + 300.0 * np.arange(4), np.full(4, make.NORTH))
    geodesic = Geod(ellps="GRS80").inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
    expected = geodesic * (1 + np.array([103, 109, 115]) / RADIUS)
    np.testing.assert_allclose(short["spans"]["length_m"], expected, rtol=0, atol=1e-3)


def survey_study(study, make, crs, unit, metres):
    """The line in a state plane grid (NAD83 / North Carolina), in one of its units, heights in another."""
    per = {"EPSG:32119": 1.0, "EPSG:2264": 1200 / 3937}[crs]
    east, north = 609_600.0, 200_000.0
    study.crs = crs
    study.structures["easting"] = (east + 300 * np.arange(4)) / per
    study.structures["northing"] = north / per
    study.write_ground(lambda e, n: 100 + 0.02 * (e * per - east) + 0.01 * (n * per - north), crs=crs,
                       low=((east - 400) / per, (north - 400) / per), high=((east + 1400) / per, (north + 400) / per),
                       cell=10 / per, factor=1 / metres)
    study.change('vertical_unit = "m"', f'vertical_unit = "{unit}"')
    road = shapely.LineString([((east + 450) / per, (north - 60) / per), ((east + 450) / per, (north + 60) / per)])
    study.add_obstacle("roads", "road", [road], "height = 0\nradius = 4", crs=crs)


def test_us_survey_feet(study, other_study, make):
    """The grid and the heights in US survey feet or in metres: the same findings, in metres, within 1 mm."""
    survey_study(study, make, "EPSG:32119", "m", 1.0)
    survey_study(other_study, make, "EPSG:2264", "us-ft", 1200 / 3937)
    metric, feet = study.check(), other_study.check()
    same(metric, feet)
    assert feet["spans"].crs.axis_info[0].unit_name == "metre"
    np.testing.assert_allclose(shapely.get_coordinates(metric["spans"].geometry),
                               shapely.get_coordinates(feet["spans"].geometry), rtol=0, atol=1e-3)


def test_lines_of_two_zones_in_the_crs_that_the_study_names(study, other_study, make):
    """A line in UTM zone 32 and one in zone 33, each with ground, roads and crowns in its own zone, both in the grid of
    the former: the latter, at 0.44 % of scale there, has the findings that it has in its own zone, and the lengths of
    geodesics. Crowns and lanes are no narrower than on the ground, and 0.44 % of 4 m wider at most."""
    east, zone = 700_000.0, "EPSG:25833"
    moved = make.line_of(line="far")
    moved["easting"] += east - make.EAST
    extent = {"low": (east - 400, make.NORTH - 400), "high": (east + 1400, make.NORTH + 400)}
    for each in (study, other_study):
        each.write_ground(lambda e, n: make.plane(e - east + make.EAST, n), name="east.tif", crs=zone, **extent)
        each.change('["ground.tif"]', '["ground.tif", "east.tif"]')
        spot = shapely.points([(east + 100, make.NORTH + 12), (east + 460, make.NORTH - 9)])
        each.add_obstacle("crowns", "road", spot, "height = 6\nradius = 4", crs=zone)
        ends = [[(east + 150, make.NORTH - 60), (east + 170, make.NORTH + 60)]]
        each.add_obstacle("lanes", "road", shapely.linestrings(ends), "height = 0\nradius = 4", crs=zone)
    other_study.structures, other_study.crs = moved, zone
    home = study.structures
    degrees = [Transformer.from_crs(crs, "EPSG:4258", always_xy=True) for crs in (make.GRID, zone)]
    both = pd.concat([home, moved], ignore_index=True)
    places = np.concatenate([np.stack(change.transform(line["easting"], line["northing"]), axis=1)
                             for change, line in zip(degrees, (home, moved), strict=True)])
    both[["easting", "northing"]] = places
    study.structures, study.crs = both, "EPSG:4258"
    study.change("[study]\n", '[study]\ncrs = "EPSG:25832"\n')
    found, alone = study.check(), other_study.check()
    assert all(found[layer].crs.to_epsg() == 25832 for layer in ("spans", "wires", "clearances"))
    assert found["spans"].crs.to_epsg() != alone["spans"].crs.to_epsg() == 25833
    far = {layer: found.rows(layer, line="far") for layer in ("clearances", "spans")}
    same(far, alone, columns=("required_m",))
    margins = [each["clearances"].set_index(["span", "case", "against", "obstacle", "measure"])["margin_m"].sort_index()
               for each in (far, alone)]
    off = margins[0].to_numpy() - margins[1].to_numpy()
    wide = margins[0].index.get_level_values("obstacle").notna()
    assert np.abs(off[~wide]).max() < 1.5e-3 and off[wide].min() > -0.0044 * 4 - 1.5e-3 and off[wide].max() < 1.5e-3
    assert {"crowns", "lanes"} <= {name.split(":")[0] for name in far["clearances"]["obstacle"].dropna()}
    lon, lat = places[4:].T
    geodesic = Geod(ellps="GRS80").inv(lon[:-1], lat[:-1], lon[1:], lat[1:])[2]
    np.testing.assert_allclose(far["spans"]["length_m"], geodesic * (1 + np.array([103, 109, 115]) / RADIUS), atol=1e-3)
    assert "off by up to 0.44% at far" in found["run"]["warnings"][0]
    assert "off by" not in (alone["run"]["warnings"][0] or "")


def test_lines_beside_in_a_grid_that_stretches(study, make):
    """A line 19.95 m beside our outer wire of which 20 m are required, in a grid in which 19.95 m are 20.06 m. No
    source: geometry."""
    study.change("[study]\n", '[study]\ncrs = "EPSG:2180"\n')
    study.change('checks = ["vertical"]', 'checks = ["vertical", "horizontal"]')
    study.rules += "beside,line,horizontal,20,,,,,,\npast,line,vertical,15,,,,,,\n"
    e, n = make.EAST + np.array([30.0, 270.0]), make.NORTH - 5 - 19.95
    xyz = np.column_stack([e, [n, n], 117 + 0.02 * (e - make.EAST)])
    study.add_obstacle("beside", "line", [shapely.LineString(xyz)], 'voltage = "20 kV"')
    assert study.check().row("clearances", case="hot", obstacle="beside:1", measure="horizontal")[
        "margin_m"] == pytest.approx(-0.05, abs=0.015)


@pytest.mark.parametrize("grid", ["EPSG:25832", "EPSG:2180"])
def test_farther_beside_than_things_are_looked_for_as_a_rule(study, make, grid):
    """Houses as far from the outer wire as their rule asks for to 0.1 m, more than 60 m. No source: geometry."""
    study.change("[study]\n", f'[study]\ncrs = "{grid}"\n')
    study.change('checks = ["vertical"]', 'checks = ["vertical", "horizontal"]')
    study.rules += "house,building,horizontal,75,,,,,,\n"
    e, n = make.EAST + 150, make.NORTH - 5 - 74.9
    study.add_obstacle("house", "building", [shapely.box(e - 100, n - 10, e + 100, n)], "height = 30")
    assert study.check().row("clearances", case="hot", obstacle="house:1", measure="horizontal")[
        "margin_m"] == pytest.approx(-0.1, abs=0.04)
