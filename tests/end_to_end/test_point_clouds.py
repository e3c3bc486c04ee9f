"""Surveyed points against wires: by brute force, as they are excluded, and as ground where the raster has none."""

import os
import tomllib
from pathlib import Path

import laspy
import numpy as np
import pytest
import shapely
from matplotlib.tri import LinearTriInterpolator, Triangulation
from pyproj import CRS, Transformer

import corridor
from corridor.errors import InputError
from corridor.jobs.diff import compare_findings

EAST, NORTH = 500_000.0, 5_600_000.0
GROUND, HIGH, ROOF, CONDUCTOR, TOWER = 2, 5, 6, 14, 15
CLOUD = '\n[[point_clouds]]\nname = "survey"\nfiles = ["tile.laz"]\n'
RULES = "tree,tree,radial,3,,,,,,\nroof,building,vertical,5,,,,,,\nwall,building,horizontal,4,,,,,,\n" \
        "crossing,line,vertical,3,,,,,,\n"


def write_tile(path, place, class_, crs="EPSG:25832", factor=1.0):
    """Write points (point, 3) on the grid as a LAS 1.4 tile."""
    header = laspy.LasHeader(point_format=6, version="1.4")
    if crs is not None:
        header.add_crs(CRS.from_user_input(crs))
    header.scales, header.offsets = np.full(3, 0.001), np.floor(place.min(axis=0))
    tile = laspy.LasData(header)
    tile.x, tile.y, tile.z = (place * [1, 1, factor]).T
    tile.classification = np.broadcast_to(class_, len(place)).astype(np.uint8)
    tile.write(str(path))


def wires_of(findings, span, option, case, count=6001):
    """Places (wire, place, 3) of wires in still air in metres of ground from the first structure of the tiny study, by
    the closed form of the catenary (Irvine, Cable Structures, 1981) between the ends that the findings have."""
    factor = float(findings.row("spans", span=span)["ground_factor"])
    places = []
    for _, row in findings.rows("wires", span=span, option=option, case=case).iterrows():
        a, b = shapely.get_coordinates(row.geometry, include_z=True)[[0, -1]]
        C, S, h = row.catenary_constant_m, np.hypot(*(b - a)[:2]) * factor, b[2] - a[2]
        t = np.linspace(0, 1, count)[:, None]
        low = S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
        curve = a + t * (b - a)
        curve[:, 2] = a[2] + C * (np.cosh((t[:, 0] * S - low) / C) - np.cosh(low / C))
        places.append((curve - [EAST, NORTH, 0]) * [factor, factor, 1])
    return np.array(places), factor


def canopy(rng):
    """Vegetation: trees that stand near the wires of the first span, and scattered growth; and a roof."""
    centre = np.column_stack([rng.uniform(60, 250, 7), rng.uniform(-14, 14, 7)])
    trees = np.repeat(np.column_stack([centre, rng.uniform(5, 10, 7)]), 60, axis=0)
    trees += rng.normal(0, [1.5, 1.5, 1.2], trees.shape)
    growth = np.column_stack([rng.uniform(-20, 330, 900), rng.uniform(-40, 40, 900), rng.uniform(0, 4, 900)])
    roof = np.stack(np.meshgrid(np.arange(140, 152, 0.6), np.arange(-9, 0, 0.6)), -1).reshape(-1, 2)
    roof = np.column_stack([roof, rng.uniform(5.5, 6.5, len(roof))])
    place = np.vstack([trees, growth, roof])
    place[:, 2] += 100 + 0.02 * place[:, 0] + 0.01 * place[:, 1]
    class_ = np.r_[np.full(len(trees) + len(growth), HIGH), np.full(len(roof), ROOF)]
    return np.round(place + [EAST, NORTH, 0], 3), class_


@pytest.fixture(scope="module")
def measured(make, tmp_path_factory):
    """Findings of a tiny study with two options and a canopy, and its points."""
    study = make.TinyStudy(tmp_path_factory.mktemp("cloud") / "study")
    study.text += make.SECOND_OPTION + CLOUD
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.rules += RULES
    place, class_ = canopy(np.random.default_rng(3))
    write_tile(study.folder / "tile.laz", place, class_)
    return study.check(), place, class_


@pytest.fixture(scope="module")
def bare(make, tmp_path_factory):
    """Findings of the tiny study without a cloud."""
    return make.TinyStudy(tmp_path_factory.mktemp("bare") / "study").check()


def test_points_that_no_rule_is_for(study, make):
    """Growth 0.7 m below the wire under a table that knows no trees: the electrical distance is kept, 1.0 m at 123 kV
    (EN 50341-1, recalled), and what no rule is for is told."""
    curves, factor = wires_of(study.check(), "1-2", "today", "hot")
    low = curves[0][len(curves[0]) // 2]
    growth = low / [factor, factor, 1] + [EAST, NORTH, 0] - [[0, 0, 0.7], [0, 0, 6.0]]
    study.text += CLOUD
    write_tile(study.folder / "tile.laz", growth, HIGH)
    findings = study.check()
    row = findings.rows("violations", against="tree", case="hot").iloc[0]
    assert row["rule"] == "electrical distance" and row["required_m"] == pytest.approx(1.0)
    assert row["actual_m"] == pytest.approx(0.7, abs=2e-3) and row["points"] == 1
    gaps = findings.rows("not_assessed", against="tree")
    assert findings.result.status == 1 and gaps["reason"].str.contains("the rules hold none for tree").any()


STATES = [(option, case) for option in ("today", "alloy") for case in ("hot", "ice")]


@pytest.mark.parametrize("option, case", STATES)
def test_vegetation_as_by_brute_force(measured, option, case):
    """Minimum distance of all points from all wires, and how many are too near: every point against 6,001 places."""
    findings, place, class_ = measured
    curves, factor = wires_of(findings, "1-2", option, case)
    spot = (place[class_ == HIGH] - [EAST, NORTH, 0]) * [factor, factor, 1]
    least = np.full(len(spot), np.inf)
    for curve in curves:
        flat = np.hypot(spot[:, None, 0] - curve[:, 0], spot[:, None, 1] - curve[:, 1])
        up = np.maximum(curve[:, 2] - spot[:, None, 2], 0)
        least = np.minimum(least, np.hypot(flat, up).min(axis=1))
    rows = findings.rows("clearances", span="1-2", option=option, case=case, against="tree")
    assert rows["actual_m"].min() == pytest.approx(least.min(), abs=1e-3)
    assert rows["points"].sum() == (least < 3).sum()
    assert (rows["points"] > 0).sum() == (rows["margin_m"] < 0).sum() > 0
    rest = rows[rows["obstacle"] == "survey:vegetation"]
    assert len(rest) == 1 and rest["margin_m"].iloc[0] >= 0 and rest["points"].iloc[0] == 0


@pytest.mark.parametrize("option, case", STATES)
def test_roofs_as_by_brute_force(measured, option, case):
    """Minimum height of wires over points that stand for discs of 0.5 m."""
    findings, place, class_ = measured
    curves, factor = wires_of(findings, "1-2", option, case)
    spot = (place[class_ == ROOF] - [EAST, NORTH, 0]) * [factor, factor, 1]
    least = np.inf
    for curve in curves:
        inside = np.hypot(spot[:, None, 0] - curve[:, 0], spot[:, None, 1] - curve[:, 1]) <= 0.5
        least = min(least, np.where(inside, curve[:, 2] - spot[:, None, 2], np.inf).min())
    rows = findings.rows("clearances", span="1-2", option=option, case=case, against="building", measure="vertical")
    # A step along the curve is 0.05 m, on which the wire sinks by up to 5 mm where it enters a disc.
    assert rows["actual_m"].min() == pytest.approx(least, abs=5e-3)


def test_never_farther_in_wind_than_where_the_wire_hangs(measured):
    """Over the whole swing a wire comes at least as near as in the full wind, where the findings draw it."""
    findings, place, class_ = measured
    spot = place[class_ == HIGH]
    for option in ("today", "alloy"):
        least = np.inf
        for _, row in findings.rows("wires", span="1-2", option=option, case="swung").iterrows():
            fine = shapely.get_coordinates(shapely.segmentize(row.geometry, 0.05), include_z=True)
            for x in np.array_split(spot, 20):
                d = np.hypot(x[:, None, 0] - fine[:, 0], x[:, None, 1] - fine[:, 1])
                least = min(least, np.hypot(d, np.maximum(fine[:, 2] - x[:, None, 2], 0)).min())
        rows = findings.rows("clearances", span="1-2", option=option, case="swung", against="tree")
        assert rows["actual_m"].min() <= least + 5e-3
        assert rows["actual_m"].min() > least - 3


def test_clusters_lie_apart_and_are_counted(measured):
    findings, *_ = measured
    rows = findings.rows("violations", against="tree")
    assert rows["points"].min() >= 1
    names = rows["obstacle"].unique()
    assert all(name.startswith(("survey:vegetation 1-2 ", "survey:vegetation 2-3 ")) for name in names)
    one = findings.rows("clearances", span="1-2", option="alloy", case="hot", against="tree")
    places = one[one["obstacle"].isin(names)].geometry
    assert len(places) >= 3
    assert min(a.distance(b) for i, a in enumerate(places) for b in list(places)[:i]) > 1
    tally = findings.row("point_clouds", span="1-2")
    assert tally["compared"] == tally["points"] and tally["too_near"] >= one["points"].sum()


def test_as_from_a_layer_of_points(study, other_study, make):
    """Along the whole swing, too: no point that counts is left out."""
    place, class_ = canopy(np.random.default_rng(9))
    place, class_ = place[::11], class_[::11]
    write_tile(study.folder / "tile.laz", place, class_)
    for each in (study, other_study):
        each.text += make.SECOND_OPTION
        each.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
        each.rules += RULES
    study.text += CLOUD
    for name, number, radius in (("tree", HIGH, 0), ("building", ROOF, 0.5)):
        other_study.add_obstacle(name, name, shapely.points(place[class_ == number]), f"radius = {radius}")
    # That a thing keeps the electrical distance is told where it has no other row, so points that are one have fewer.
    least = [each.check()["clearances"].query(
        "against in ('tree', 'building') and (rule != 'electrical distance' or margin_m < 0)").groupby(
        ["span", "option", "case", "against", "measure"])["margin_m"].min() for each in (study, other_study)]
    assert {"swung", "hot"} <= set(least[0].index.get_level_values("case"))
    assert least[0].index.equals(least[1].index)
    # Above a roof in wind a point counts that lies within half a step of the swing beside the path, if the wire passes
    # over another of the same obstacle: nearer by what the wire rises there.
    keys = least[0].index
    beside = (keys.get_level_values("case") == "swung") & (keys.get_level_values("measure") == "vertical")
    few, every = (each.to_numpy() for each in least)
    np.testing.assert_allclose(few[~beside], every[~beside], atol=1e-6)
    assert beside.any() and (few[beside] < every[beside] + 1e-6).all() and (few[beside] > every[beside] - 0.1).all()


@pytest.mark.parametrize("shape", ["strip_beside", "corner"])
def test_a_wall_beside_the_swung_wire(study, other_study, shape):
    """Margin to the room kept free about a wall of points, 4 m beside and 5 m above, every point against every place of
    the wire that the findings draw blown to it; and as from a layer of the same points, none of which is left out."""
    study.rules = "rule,against,measure,base,buffer,shape\nopen,ground,vertical,5.6,,\nroof,building,vertical,5,,\n" \
                  f"wall,building,horizontal,4,,{shape}\n"
    other_study.rules = study.rules
    x = np.arange(100.0, 200, 1.7)
    rng = np.random.default_rng(6)
    top = rng.uniform(7, 13, len(x)) if shape == "strip_beside" else rng.uniform(5, 8, len(x))
    place = np.column_stack([EAST + x, NORTH - rng.uniform(10, 12, len(x)), 100 + 0.02 * x + top])
    study.text += CLOUD
    write_tile(study.folder / "tile.laz", place, ROOF)
    findings = study.check()
    factor = float(findings.row("spans", span="1-2")["ground_factor"])
    wires = [shapely.get_coordinates(shapely.segmentize(g, 0.1), include_z=True)
             for g in findings.rows("wires", span="1-2", case="swung").geometry]
    wire = np.concatenate(wires)
    d = np.hypot(*(place[:, None, :2] - wire[:, :2]).transpose(2, 0, 1)) * factor - 0.5
    v = wire[:, 2] - place[:, None, 2]
    round_ = np.hypot(np.maximum(d, 0), np.maximum(v, 0)) - 5 if shape == "corner" else -np.inf
    margin = np.where(v < 5, np.maximum(d - 4, round_), np.inf).min()
    rows = findings.rows("clearances", span="1-2", case="swung", against="building")
    # At a rounded corner the lowest place and the minimum distance of a chord of 9 m count together, and a wire that is
    # not there yet may be nearer than the full swing that is drawn.
    assert margin - (0.15 if shape == "corner" else 0.01) < rows["margin_m"].min() < margin + 0.01
    assert (rows["measure"] == "radial").any() == (shape == "corner")
    other_study.add_obstacle("wall", "building", shapely.points(np.round(place, 3)), "radius = 0.5")
    rows = [each.rows("clearances", against="building") for each in (findings, other_study.check())]
    few, every = (each.groupby(["span", "case"])["margin_m"].min() for each in rows)
    assert few.index.equals(every.index)
    np.testing.assert_allclose(few, every, atol=1e-6)
    # Beside a rounded corner, what is beside and what is round it are two rows. That of the points which do not govern
    # may miss one whose chord, by its lowest place, counts as beside.
    few, every = (each.groupby(["span", "case", "measure"])["margin_m"].min() for each in rows)
    assert few.index.equals(every.index)
    np.testing.assert_allclose(few, every, atol=0.25 if shape == "corner" else 1e-6)


def own_and_other(findings):
    """Points of our wire A where it hangs hot and where cold, and of another line 4 m below it."""
    curves, factor = wires_of(findings, "2-3", "today", "hot", 400)
    hot = curves[0] / [factor, factor, 1] + [EAST, NORTH, 0]
    inner = hot[20:-20]
    cooler = inner + [0.3, 0.2, 0.6]
    tower = np.array([EAST + 300, NORTH, 110.0]) + np.random.default_rng(1).uniform([-2, -5, 0], [2, 5, 10], (200, 3))
    x = np.linspace(-30, 30, 121)
    other = np.column_stack([np.full(121, inner[180, 0]), NORTH + x, np.full(121, inner[180, 2] - 4.0)])
    return np.vstack([inner, cooler]), tower, other


def test_own_wires_and_structures_are_left_out(study, bare):
    """And the wires of others are not: 4 m below ours, 1 m to spare by the rule of 3 m."""
    study.rules += RULES
    own, tower, other = own_and_other(bare)
    study.text += CLOUD + "wire_voltage = 20_000\n"
    class_ = np.r_[np.full(len(own), CONDUCTOR), np.full(len(tower), TOWER), np.full(len(other), CONDUCTOR)]
    write_tile(study.folder / "tile.laz", np.vstack([own, tower, other]), class_)
    findings = study.check()
    assert not len(findings["not_assessed"]), findings["not_assessed"]["reason"].tolist()
    rows = findings.rows("clearances", span="2-3", case="hot", against="line")
    assert len(rows) == 1
    assert rows["obstacle"].iloc[0] == "survey:wire" and rows["position"].iloc[0] == "above"
    # A disc of 0.5 m beside the lowest point of our wire: a few millimetres nearer.
    assert rows["actual_m"].iloc[0] == pytest.approx(4.0, abs=0.02)
    study.text += 'wire_movement = "0.7 m"\n'
    moved = study.check().rows("clearances", span="2-3", case="hot", against="line")
    assert moved["actual_m"].iloc[0] == pytest.approx(rows["actual_m"].iloc[0] - 0.7, abs=1e-6)
    study.text = study.text.replace('"0.7 m"', '"20 m"')
    moved = study.check().rows("clearances", span="2-3", case="hot", against="line")
    assert moved["position"].iloc[0] == "above" and moved["margin_m"].iloc[0] < -3
    tally = findings.row("point_clouds", span="2-3")
    assert tally["own_points"] == len(own) + len(tower) and tally["compared"] == len(other)


def test_wires_of_others_without_a_voltage_are_not_assessed(study, bare):
    """Where the rule counts the voltage of the other line, and nobody told it."""
    study.rules = "rule,against,measure,base,other_per_kv,altitude_share,minimum,buffer\n" \
                  "open,ground,vertical,4.5,,,5.6,0.4\ncrossing,line,vertical,2,0.01,,,\n"
    *_, other = own_and_other(bare)
    study.text += CLOUD
    write_tile(study.folder / "tile.laz", other, CONDUCTOR)
    findings = study.check()
    gaps = findings["not_assessed"]
    assert set(gaps["obstacle"]) == {"survey:wire"} and findings.result.status == 3
    assert gaps["reason"].str.contains("voltage is unknown").all()
    assert not len(findings.rows("clearances", against="line"))


def test_points_of_no_known_class(study, bare):
    """Nearer than the strictest rule (5 m, of roofs) allows: told as not assessed; or ignored, where the study says."""
    study.rules += RULES
    curves, factor = wires_of(bare, "1-2", "today", "hot", 401)
    place = curves[0][200:205] / [factor, factor, 1] + [EAST, NORTH, 0] - [[0, 0, z] for z in (4.0, 3.0, 2.0, 1.0, 9.0)]
    write_tile(study.folder / "tile.laz", place, np.array([1, 64, 7, 18, 1]))
    study.text += CLOUD
    findings = study.check()
    gap = findings.row("not_assessed")
    assert "2 surveyed points of class 1, 64" in gap["reason"] and "within 3.0 m" in gap["reason"]
    assert gap["span"] == "1-2" and findings.result.status == 3
    assert any("3 of 5 points near the line are of no class that the study" in t for t in findings.result.warnings)
    study.text += 'unknown = "ignored"\n'
    findings = study.check()
    assert not len(findings["not_assessed"])
    assert any("ignored, as the study says" in text for text in findings.result.warnings)


def hole(easting, northing):
    """A hole in the raster of 60 by 40 m, below the first span."""
    return (np.abs(easting - EAST - 150) < 30) & (np.abs(northing - NORTH) < 20)


def ground_points(make, rng, step=1.5):
    e, n = (v.ravel() for v in np.meshgrid(np.arange(100, 200, step), np.arange(-40, 40, step)))
    e, n = e + rng.uniform(-0.5, 0.5, len(e)) + EAST, n + rng.uniform(-0.5, 0.5, len(n)) + NORTH
    return np.column_stack([e, n, make.plane(e, n)])


def test_ground_points_fill_what_the_raster_lacks(study, make, bare):
    """On a plane the triangles are the plane itself: the findings are those with a raster without a hole."""
    whole = bare.rows("clearances", against="ground")
    study.write_ground(unknown=hole)
    study.text += CLOUD + "ground = true\n"
    write_tile(study.folder / "tile.laz", ground_points(make, np.random.default_rng(2)), GROUND)
    findings = study.check()
    assert not len(findings["not_assessed"])
    filled = findings.rows("clearances", against="ground")
    np.testing.assert_allclose(filled["actual_m"], whole["actual_m"], atol=2e-3)
    assert any("taken from the ground points of: survey" in text for text in findings.result.warnings)


def test_a_gap_between_ground_points_stays_unknown(study, make):
    """No triangle with an edge longer than allowed: what lies in it is not assessed."""
    study.write_ground(unknown=hole)
    study.text += CLOUD + "ground = true\n"
    points = ground_points(make, np.random.default_rng(2))
    apart = np.hypot(points[:, 0] - EAST - 150, points[:, 1] - NORTH + 4) > 6
    write_tile(study.folder / "tile.laz", points[apart], GROUND)
    gaps = study.check()["not_assessed"]
    assert len(gaps) and gaps["reason"].str.contains("no values (?:below|beside)").all()
    study.text += 'ground_gap = "15 m"\n'
    assert not len(study.check()["not_assessed"])


def test_heights_in_feet_and_another_grid(study, measured):
    """The same points in another CRS, with heights in feet: the same findings to the rounding of a millimetre."""
    _, place, class_ = measured
    study.rules += RULES
    study.text += CLOUD
    write_tile(study.folder / "tile.laz", place, class_)
    first = study.check().rows("clearances", against="tree", option="today")
    moved = place.copy()
    moved[:, 0], moved[:, 1] = Transformer.from_crs("EPSG:25832", "EPSG:25831", always_xy=True).transform(
        place[:, 0], place[:, 1])
    study.text += 'vertical_unit = "ft"\n'
    write_tile(study.folder / "tile.laz", moved, class_, crs="EPSG:25831", factor=1 / 0.3048)
    again = study.check().rows("clearances", against="tree", option="today")
    assert again["obstacle"].tolist() == first["obstacle"].tolist()
    np.testing.assert_allclose(again["actual_m"], first["actual_m"], atol=3e-3)


@pytest.mark.parametrize("crs, shift, words", [
    ("EPSG:25832", 90_000.0, "no point within 80 m of the line"),
    ("EPSG:25833", 0.0, "no point within 80 m of the line"),
    ("EPSG:25832+7837", -400.0, "no point within 80 m of the line"),
    ("EPSG:4326", 0.0, "in degrees, with x from 50"),
    (None, 0.0, "crs: found none"),
])
def test_tiles_that_lie_elsewhere(study, make, crs, shift, words):
    """Points that were read from somewhere else are no clear corridor: the run stops and says so."""
    study.text += CLOUD
    place = ground_points(make, np.random.default_rng(2), 6.0)
    write_tile(study.folder / "tile.laz", place + [0, shift, 0], GROUND, crs=crs)
    with pytest.raises(InputError, match=words):
        study.check()
    assert not study.output.exists()


def test_a_tile_off_the_line_is_not_read(study, make):
    """Its outline tells; that it is cut short does not matter then. Points no elevation can have are left out."""
    place = ground_points(make, np.random.default_rng(2), 6.0)
    study.text += CLOUD.replace('"tile.laz"', '"tile.laz", "far.laz"')
    write_tile(study.folder / "tile.laz", np.vstack([place, place[:3] + [0, 0, 20_000]]), GROUND)
    write_tile(study.folder / "far.laz", np.repeat(place + [0, 60_000, 0], 9, axis=0), GROUND)
    (study.folder / "far.laz").write_bytes((study.folder / "far.laz").read_bytes()[:-500])
    words = study.check().result.warnings
    assert "survey: 1 of 2 tiles are not near the line" in words
    assert "survey: 3 points are below -500 m or above 9000 m; left out" in words


def test_a_tile_cut_short(study, make):
    study.text += CLOUD
    write_tile(study.folder / "tile.laz", ground_points(make, np.random.default_rng(2), 1.0), GROUND)
    whole = (study.folder / "tile.laz").read_bytes()
    (study.folder / "tile.laz").write_bytes(whole[:-9000])
    with pytest.raises(InputError, match="tile.laz"):
        study.check()
    assert not study.output.exists()


def test_a_cluster_keeps_its_name_when_another_comes(study, make):
    """Another tree nearer to the start of the span: what was there before is the same row, and nothing else is lost."""
    study.rules += RULES
    study.text += CLOUD
    rng = np.random.default_rng(4)

    def tree(x):
        place = np.array([EAST + x, NORTH + 4, 0]) + rng.uniform(-1, 1, (40, 3)) * [1, 1, 0]
        place[:, 2] = make.plane(*place[:, :2].T) + 8 + rng.uniform(0, 1, 40)
        return place

    old, new = tree(180), tree(120)
    names = []
    for number, place in enumerate((old, np.vstack([new, old]))):
        write_tile(study.folder / "tile.laz", place, HIGH)
        findings = study.check(study.folder / f"findings {number}.gpkg")
        names.append(set(findings.rows("violations", against="tree")["obstacle"]))
    assert len(names[0]) == 1 and len(names[1]) == 2 and names[0] < names[1]
    difference = compare_findings(study.folder / "findings 0.gpkg", study.folder / "findings 1.gpkg")
    counts = difference.counts
    assert counts["same"] > 0 and counts["new"] > 0 and counts["not compared"] == counts["worse"] == 0
    assert set(difference.rows.loc[difference.rows["change"] == "same", "obstacle"]) == names[0]


@pytest.mark.skipif("POINT_CLOUDS" not in os.environ, reason="POINT_CLOUDS names no folder with append-bug.laz")
def test_a_line_through_a_real_tile(study):
    """The classified tile that the source distribution of laspy 2.7 carries (BSD licence), wooded ground in Lambert-93:
    a span laid over its dense corner, with ground and vegetation from the tile alone."""
    path = Path(os.environ["POINT_CLOUDS"]) / "append-bug.laz"
    tile = laspy.read(path)
    place, class_ = np.column_stack([tile.x, tile.y, tile.z]), np.asarray(tile.classification)
    dense = (place[:, 0] < 698_050) & (place[:, 1] > 6_259_900)
    place, class_ = place[dense], class_[dense]
    origin = np.array([698_006.0, 6_259_924.0])
    ground = LinearTriInterpolator(Triangulation(*(place[class_ == 2, :2] - origin).T), place[class_ == 2, 2])
    base = ground([0, 0], [0, 58]).filled(np.nan)
    study.structures = study.structures.iloc[[0, 3]].assign(order=[1.0, 2.0], easting=origin[0],
                                                            northing=origin[1] + [0, 58.0], base_elevation=base)
    study.crs = "EPSG:2154"
    study.write_ground(lambda e, n: 0 * e + base[0], crs="EPSG:2154", low=origin - 20, high=origin + [20, 5], cell=5.0)
    study.rules += RULES
    study.text += CLOUD.replace("tile.laz", str(path)) + "ground = true\n"
    findings = study.check()
    rows = findings.rows("clearances", against="ground")
    x, y = shapely.get_coordinates(rows.geometry).T
    expected = ground(x - origin[0], y - origin[1])
    beyond = y > origin[1] + 8
    assert beyond.any() and not np.ma.is_masked(expected[beyond])
    # Read off in cells of 1 m, between which the ground is bilinear; the tile has some 4 ground points a square metre.
    assert np.abs(rows["other_elevation_m"] - expected)[beyond].max() < 0.15
    assert findings["point_clouds"]["unknown"].sum() > 0
    wire = np.concatenate([shapely.get_coordinates(shapely.segmentize(g, 0.1), include_z=True)
                           for g in findings.rows("wires", case="hot").geometry])
    tops = place[np.isin(class_, [3, 4, 5])]
    least = np.inf
    for some in np.array_split(tops, 40):
        flat = np.hypot(*(some[:, None, :2] - wire[:, :2]).transpose(2, 0, 1))
        least = min(least, np.hypot(flat, np.maximum(wire[:, 2] - some[:, None, 2], 0)).min())
    found = findings.rows("clearances", case="hot", against="tree")["actual_m"].min()
    assert found == pytest.approx(least, abs=0.01)


def test_the_demo_with_its_survey(make, tmp_path):
    """The tile fills the hole of the raster, and one tree of it is too near the wires that sag most."""
    demo = Path(corridor.__file__).parent.parent / "demo_corridor"
    with_points, without = (tomllib.loads((demo / name).read_text(encoding="utf-8"))
                            for name in ("surveyed.toml", "study.toml"))
    assert with_points.pop("point_clouds")[0]["files"] == ["surveyed.laz"]
    assert with_points.pop("surveys")[0]["files"] == ["shots.csv"]
    with_points["study"]["output"] = without["study"]["output"]
    assert with_points == without
    result = corridor.check_study(demo / "surveyed.toml", tmp_path / "findings.gpkg")
    assert result.gaps == 0
    rows = make.Findings(tmp_path / "findings.gpkg", result).rows("violations", against="tree", span="N14-N15")
    assert set(rows["obstacle"]) == {"survey:vegetation N14-N15 565398 5647984"}
    assert set(rows["option"]) == {"thermal alloy", "annealed on steel"}
    seen = make.Findings(tmp_path / "findings.gpkg", result)["surveyed_wires"]
    assert seen.used.all() and len(seen) == 15 and set(seen.section) == {"N11-N16"}
    assert seen.sag_difference_m.between(0.05, 0.4).all()
