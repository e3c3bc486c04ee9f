"""A surface model against wires: blocks of cells by hand, and as the same squares given as polygons.

Between a square and the disc about it, which it counts as, there is up to (1 - 1/sqrt(2)) of half its diagonal.
"""

import re
import shutil
from pathlib import Path
from xml.etree import ElementTree

import geopandas as gpd
import numpy as np
import pytest
import rasterio
import shapely
from pyproj import Transformer
from rasterio.transform import Affine

from corridor.errors import InputError
from corridor.jobs.draw import draw_study
from corridor.jobs.export import export_study
from corridor.jobs.surroundings import about_line
from corridor.outputs.cuts import cut_of, cut_places
from corridor.planning.remedies.plan import plan_study
from corridor.session import open_study
from tests.end_to_end.test_point_clouds import wires_of

ROOT = Path(__file__).parents[2]
EAST, NORTH = 500_000.0, 5_600_000.0
#: About the line, wide enough for all that is looked at.
LOW, HIGH = (EAST - 120, NORTH - 120), (EAST + 1020, NORTH + 120)
RULES = "tree,tree,radial,3,,,,,,\nroof,building,vertical,5,,,,,,\nwall,building,horizontal,4,,,,,,\n"
ALL = "surface_wire_distance = 0\nsurface_structure_distance = 0\n"
SURFACE = 'ground = ["ground.tif"]\nsurface = ["surface.tif"]\n'


def disc(cell):
    """How much nearer the disc about a square may be than the square itself [m]."""
    return cell / 2 * (np.sqrt(2) - 1) * 1.01 + 2e-3


def blocks_of(make, *blocks):
    """A surface that is the ground but for blocks: middle, half side along and across, height of their flat top."""
    def surface(e, n):
        z = make.plane(e, n)
        for x, y, half, across, height in blocks:
            within = (np.abs(e - EAST - x) < half) & (np.abs(n - NORTH - y) < across)
            z = np.where(within, make.plane(EAST + x, NORTH + y) + height, z)
        return z
    return surface


def given(study, surface, *, cell=1.0, keys='surface_category = "tree"', **how):
    """Name a surface in a study, and write it."""
    study.rules += RULES
    study.change('ground = ["ground.tif"]\n', f"{SURFACE}{keys}\n")
    study.write_ground(surface, name="surface.tif", cell=cell, **{"low": LOW, "high": HIGH} | how)


def squares(make, *blocks):
    """The same blocks as polygons at their tops."""
    return [shapely.force_3d(shapely.box(EAST + x - a, NORTH + y - b, EAST + x + a, NORTH + y + b),
                             make.plane(EAST + x, NORTH + y) + height) for x, y, a, b, height in blocks]


def boxes(blocks, make, factor):
    """Corners (block, 2) and tops (block,) of blocks in metres of ground from the first structure."""
    x, y, a, b, height = np.array(blocks, float).T
    low, high = np.stack([x - a, y - b], axis=-1) * factor, np.stack([x + a, y + b], axis=-1) * factor
    return low, high, make.plane(EAST + x, NORTH + y) + height


def by_hand(blocks, make, curves, factor):
    """Minimum distance of wires from solids below flat tops, height over these where they are above, and distance in
    plan where they are less than 5 m above: every place of the wire against every block [m]."""
    low, high, top = boxes(blocks, make, factor)
    p = curves.reshape(-1, 1, 3)
    flat = np.hypot(*np.moveaxis(np.maximum(np.maximum(low - p[..., :2], p[..., :2] - high), 0), -1, 0))
    up = p[..., 2] - top
    return (np.hypot(flat, np.maximum(up, 0)).min(), np.where(flat == 0, up, np.inf).min(),
            np.where(up < 5, flat, np.inf).min())


def test_blocks_by_hand(study, make):
    """3 by 3 cells each, below a wire and between the two: the closed form of the catenary against the squares."""
    blocks = (150.5, 4.5, 1.5, 1.5, 7.0), (210.5, -0.5, 1.5, 1.5, 11.0)
    given(study, blocks_of(make, *blocks))
    findings = study.check()
    assert not len(findings["not_assessed"])
    for block, west in zip(blocks, ("500149 5600003", "500209 5599998"), strict=True):
        for case in ("hot", "ice"):
            radial, *_ = by_hand([block], make, *wires_of(findings, "1-2", "today", case))
            row = findings.rows("clearances", span="1-2", case=case, against="tree")
            row = row[row["obstacle"] == f"surface:tree 1-2 {west}"]
            assert len(row) == 1 and row["points"].iloc[0] == (9 if radial < 2 else row["points"].iloc[0])
            assert radial - disc(1) < row["actual_m"].iloc[0] < radial + 2e-3


def test_a_roof_by_hand(study, make):
    """The height over it and the distance beside it, each by the rule for it."""
    study.change('checks = ["vertical"]', 'checks = ["vertical", "horizontal"]')
    below, beside = (150.5, 4.5, 1.5, 1.5, 5.0), (90.5, 8.5, 2.5, 1.5, 15.0)
    given(study, blocks_of(make, below, beside), keys='surface_category = "building"')
    findings = study.check()
    curves, factor = wires_of(findings, "1-2", "today", "hot")
    rows = findings.rows("clearances", span="1-2", case="hot", against="building")
    over = rows[rows["measure"] == "vertical"]["actual_m"].min()
    assert by_hand([below], make, curves, factor)[1] == pytest.approx(over, abs=5e-3)
    aside = rows[(rows["measure"] == "horizontal") & rows["obstacle"].str.contains("500088")]["actual_m"].min()
    expected = by_hand([beside], make, curves, factor)[2]
    assert expected - disc(1) < aside < expected + 2e-3


def scattered(make, cell, seed, low=7.0, high=14.0):
    """Single cells at random about the first span, as blocks."""
    rng = np.random.default_rng(seed)
    middle = np.unique(np.floor(np.column_stack([rng.uniform(15, 280, 14), rng.uniform(-16, 16, 14)]) / cell), axis=0)
    return [(*(cell * m + cell / 2), cell / 2, cell / 2, rng.uniform(low, high)) for m in middle]


def least_of(study, category, below=15.0):
    """Minimum margins against a category by span, option, case and measure, of those below so much [m]."""
    rows = study.check()["clearances"].query(f"against == '{category}' and rule != 'electrical distance'")
    found = rows.groupby(["span", "option", "case", "measure"])["margin_m"].min()
    return found[found < below]


@pytest.mark.parametrize("cell, seed", [(1.0, 2), (1.0, 5), (4.0, 3), (10.0, 6)])
def test_never_less_safe_than_polygons(study, other_study, make, cell, seed):
    """Roofs of a cell each at random, in still air and through the blow, beside and above: as near as the squares given
    as polygons with their tops, or nearer by what a disc is wider."""
    blocks = scattered(make, cell, seed)
    for each in (study, other_study):
        each.text += make.SECOND_OPTION
        each.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    given(study, blocks_of(make, *blocks), cell=cell, keys=f'surface_category = "building"\n{ALL}')
    other_study.rules += RULES
    other_study.add_obstacle("cells", "building", squares(make, *blocks))
    few, every = least_of(study, "building", np.inf), least_of(other_study, "building")
    assert {"swung", "hot"} & set(every.index.get_level_values("case"))
    assert not len(every.index.difference(few.index))
    few = few[every.index]
    assert (every < 0).any() and (few < every + 5e-3).all(), (few - every).max()
    # A wire that passes a square by over its disc is above it.
    flat = every.index.get_level_values("measure") == "horizontal"
    assert (few > every - disc(cell))[flat].all(), (few - every)[flat].min()


@pytest.mark.parametrize("cell, seed", [(1.0, 1), (5.0, 4), (10.0, 7)])
def test_trees_are_between_two_discs(study, other_study, make, cell, seed):
    """Trees of a cell each, through the blow: as near as points whose radius is half the diagonal, and no farther than
    points whose radius is half the side."""
    blocks = scattered(make, cell, seed)
    for each in (study, other_study):
        each.rules += RULES
        each.text += make.SECOND_OPTION
    points = shapely.points([shapely.get_coordinates(s.centroid)[0].tolist() + [top] for s, top in zip(
        squares(make, *blocks), shapely.get_coordinates(squares(make, *blocks), include_z=True)[::5, 2], strict=True)])
    other_study.add_obstacle("inner", "tree", points, f"radius = {cell / 2}")
    inner = least_of(other_study, "tree")
    other_study.change(f"radius = {cell / 2}", f"radius = {cell / np.sqrt(2) * 1.002}")
    outer = least_of(other_study, "tree")
    study.rules = study.rules.replace(RULES, "")
    given(study, blocks_of(make, *blocks), cell=cell, keys=f'surface_category = "tree"\n{ALL}')
    few = least_of(study, "tree", np.inf)
    assert not len(outer.index.difference(few.index)) and (inner < 0).any()
    np.testing.assert_allclose(few[outer.index], outer, atol=1e-6)
    assert (few[inner.index] < inner + 1e-9).all()


def test_the_same_in_tiles_another_unit_and_blocks(study, other_study, make):
    """A surface in two tiles, in feet, in blocks of 16 cells: the same findings, to rounding."""
    blocks = scattered(make, 1.0, 8)
    given(study, blocks_of(make, *blocks))
    whole = study.check()["clearances"]
    other_study.rules += RULES
    other_study.change('ground = ["ground.tif"]\n', 'ground = ["ground.tif"]\nsurface = ["a.tif", "b.tif"]\n'
                       'surface_category = "tree"\nsurface_vertical_unit = "ft"\n')
    for name, low, high in (("a.tif", LOW, (EAST + 140, NORTH + 120)), ("b.tif", (EAST + 140, NORTH - 120), HIGH)):
        other_study.write_ground(blocks_of(make, *blocks), name=name, cell=1.0, low=low, high=high, factor=1 / 0.3048,
                                 tile=16)
    parts = other_study.check()["clearances"]
    assert (whole["against"] == "tree").any() and parts["obstacle"].equals(whole["obstacle"])
    np.testing.assert_allclose(parts["margin_m"], whole["margin_m"], atol=1e-9)


@pytest.mark.parametrize("crs", ["EPSG:25831", "EPSG:4258"])
def test_cells_turned_against_the_frame(study, other_study, make, crs):
    """A raster in the next zone, turned by some 5 degrees, or of degrees with oblong cells: no farther than its squares
    given as polygons in its own CRS."""
    side = (2.0, 2.0) if crs == "EPSG:25831" else (3e-5, 2e-5)
    into, back = (Transformer.from_crs(a, b, always_xy=True) for a, b in (("EPSG:25832", crs), (crs, "EPSG:25832")))
    x, y = into.transform([EAST - 100, EAST + 1000, EAST + 1000, EAST - 100],
                          [NORTH - 100, NORTH - 100, NORTH + 100, NORTH + 100])
    west, north = min(x), max(y)
    shape = int((north - min(y)) / side[1]) + 1, int((max(x) - west) / side[0]) + 1
    columns, rows = np.meshgrid(np.arange(shape[1]), np.arange(shape[0]))
    e, n = back.transform(west + (columns + 0.5) * side[0], north - (rows + 0.5) * side[1])
    z = make.plane(e, n)
    near = np.argwhere((np.abs(n - NORTH) < 14) & (e > EAST + 20) & (e < EAST + 280))
    chosen = near[np.random.default_rng(3).choice(len(near), 14, replace=False)]
    polygons = []
    for row, column in chosen:
        z[row, column] += np.random.default_rng(row).uniform(7, 13)
        corners = [(west + (column + a) * side[0], north - (row + b) * side[1], z[row, column])
                   for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))]
        polygons.append(shapely.Polygon([(*back.transform(*c[:2]), c[2]) for c in corners]))
    with rasterio.open(study.folder / "surface.tif", "w", driver="GTiff", crs=crs, count=1, dtype="float64",
                       width=shape[1], height=shape[0], transform=Affine(side[0], 0, west, 0, -side[1], north)) as file:
        file.write(z, 1)
    study.rules += RULES
    study.change('ground = ["ground.tif"]\n', f'{SURFACE}surface_category = "building"\n{ALL}')
    other_study.rules += RULES
    other_study.add_obstacle("cells", "building", polygons)
    few, every = least_of(study, "building", np.inf), least_of(other_study, "building")
    assert (every < 0).any() and not len(every.index.difference(few.index))
    assert (few[every.index] < every + 5e-3).all()


def test_what_the_surface_does_not_know(study, make):
    """A hole below the wires is told for its span; one 30 m beside them hides nothing; where the surface ends, too."""
    def hole(x, y):
        return lambda e, n: (np.abs(e - EAST - x) < 3) & (np.abs(n - NORTH - y) < 3)

    given(study, make.plane, unknown=hole(150, 50))
    assert not len(study.check()["not_assessed"])
    study.write_ground(make.plane, name="surface.tif", cell=1.0, low=LOW, high=HIGH, unknown=hole(450, 0))
    findings = study.check()
    row = findings.row("not_assessed", against="surface")
    assert row["span"] == "2-3" and row["reason"].startswith("the surface has no values in ")
    assert findings.result.status == 3
    study.write_ground(make.plane, name="surface.tif", cell=1.0, low=LOW, high=(EAST + 590, NORTH + 120))
    assert set(study.check().rows("not_assessed", against="surface")["span"]) == {"2-3", "3-4"}
    study.write_ground(make.plane, name="surface.tif", cell=1.0, low=(EAST, NORTH + 500), high=(EAST + 50, NORTH + 600))
    with pytest.raises(InputError, match="rasters that do not touch the line"):
        study.check()


def test_over_a_hole_of_the_ground_all_that_the_surface_has_stands(study, make):
    """Whether it is the ground is not known: it is compared, and what the ground lacks is told besides."""
    given(study, blocks_of(make, (150.5, 4.5, 1.5, 1.5, 7.0)))
    study.write_ground(unknown=lambda e, n: (np.abs(e - EAST - 150) < 30) & (np.abs(n - NORTH) < 20))
    findings = study.check()
    assert (findings.rows("violations", against="tree")["obstacle"] == "surface:tree 1-2 500149 5600003").any()
    assert findings["not_assessed"]["reason"].str.contains("no values (?:below|beside)").any()


def hits(findings, span, higher):
    """Cells of 1 m that the wires of a span hit, so much higher than they hang hot: column and row from the first
    structure, and height [m]."""
    curves, factor = wires_of(findings, span, "today", "hot", 601)
    spot = curves.reshape(-1, 3) / [factor, factor, 1]
    cell = np.floor(spot[:, :2]).astype(int)
    return {tuple(c): z + higher for c, z in zip(cell, spot[:, 2], strict=True)}


def hit_surface(make, *parts):
    """The ground with cells at heights of their own."""
    cells = {place: z for part in parts for place, z in part.items()}

    def surface(e, n):
        z = make.plane(e, n)
        column, row = np.floor(e - EAST).astype(int), np.floor(n - NORTH).astype(int)
        for (c, r), height in cells.items():
            z[(column == c) & (row == r)] = height
        return z
    return surface


@pytest.fixture(scope="module")
def bare(make, tmp_path_factory):
    """Findings of the tiny study without a surface."""
    return make.TinyStudy(tmp_path_factory.mktemp("bare") / "study").check()


def test_our_own_wires_are_left_out_and_told(study, make, bare):
    """Hits of both wires of the first span, half a metre above where they hang hot, are no trees; a doubt says that
    something was left out, until someone accepts it; a tree between two hits that is 1.5 m lower is compared."""
    own = hits(bare, "1-2", 0.5)
    given(study, hit_surface(make, own))
    findings = study.check()
    assert not len(findings.rows("clearances", against="tree", span="1-2")) and not len(findings["violations"])
    # By the structure between them the next span has them, too.
    assert set(findings.rows("doubts", doubt="surface-own")["feature"]) == {"1-2", "2-3"}
    assert findings.result.status == 3
    tally = findings.row("point_clouds", span="1-2")
    assert tally["own_points"] == tally["own_near"] == len(own) and tally["compared"] == 0
    study.text += '\n[[accepted]]\nid = "surface-own"\nreason = "pictures seen"\n'
    assert study.check().result.status == 0
    tree = {place: z - 2.0 for place, z in list(own.items())[290:292]}
    study.write_ground(hit_surface(make, own, tree), name="surface.tif", cell=1.0, low=LOW, high=HIGH)
    findings = study.check()
    assert findings.result.status == 1
    assert findings.rows("violations", against="tree", case="hot")["actual_m"].min() < 1.6


def test_few_cells_at_the_height_of_a_wire_are_no_wire(study, make, bare):
    """A pole, or a crown that reaches the wire: on a short part of the span, so it is compared."""
    own = hits(bare, "1-2", 0.0)
    crown = {place: z for place, z in own.items() if 140 < place[0] < 170}
    given(study, hit_surface(make, crown))
    findings = study.check()
    assert findings.result.status == 1 and not len(findings.rows("doubts", doubt="surface-own"))
    assert findings.row("point_clouds", span="1-2")["own_points"] == 0


def test_two_trees_along_a_wire_are_no_wire(study, make, bare):
    """One in the middle of the span and one near its end, each right at the height of the wire: both are compared."""
    own = hits(bare, "1-2", 0.0)
    given(study, hit_surface(make, {place: z for place, z in own.items() if 140 < place[0] < 160 or place[0] > 260}))
    findings = study.check()
    assert findings.row("point_clouds", span="1-2")["own_points"] < 30  # those by the structure
    assert findings.rows("violations", against="tree", case="hot", span="1-2")["actual_m"].min() < 0.1
    assert set(findings.rows("doubts", doubt="surface-own")["feature"]) == {"1-2", "2-3"}


def test_a_crown_about_the_wire_is_not_hidden_by_it(study, make, bare):
    """Hits all along, and a crown of 7 m about one wire at its height: what is beside the hits is compared."""
    own = hits(bare, "1-2", 0.0)
    middle = next(place for place in own if place[0] == 150 and place[1] > 0)
    crown = {(middle[0] + a, middle[1] + b): own[middle] for a in range(-3, 4) for b in range(-3, 4)}
    given(study, hit_surface(make, own, crown))
    findings = study.check()
    assert findings.rows("violations", against="tree", case="hot")["actual_m"].min() < 3


def test_structures_of_ours_are_left_out_and_told(study, make):
    """A tower of cells at the second structure, up to its wires; and a tree 12 m beside it, which counts."""
    given(study, blocks_of(make, (300, 0, 3, 6, 22.0), (315, 7.5, 1.5, 1.5, 16.0)))
    findings = study.check()
    rows = findings.rows("violations", against="tree")
    assert set(rows["span"]) == {"2-3"} and rows["obstacle"].str.endswith("500314 5600006").all()
    assert set(findings.rows("doubts", doubt="surface-own")["feature"]) == {"1-2", "2-3"}


def classes_of(*blocks):
    """A raster of classes: 2 but in blocks of their own."""
    def surface(e, n):
        z = np.full(e.shape, 2.0)
        for x, y, half, class_ in blocks:
            z[(np.abs(e - EAST - x) < half) & (np.abs(n - NORTH - y) < half)] = class_
        return z
    return surface


def test_classes_of_cells(study, make):
    """Each cell by the rules for its class; of a class that is not listed, told where it is too near; and a cell in
    which the raster has two classes counts for both."""
    blocks = (100.5, 4.5, 1.5, 1.5, 5.0), (150.5, 4.5, 1.5, 1.5, 7.0), (200.5, 4.5, 1.5, 1.5, 7.0)
    keys = 'surface_classes = {file = "classes.tif", values = {5 = "tree", 6 = "building"}}'
    given(study, blocks_of(make, *blocks), keys=keys)
    study.write_ground(classes_of((100.5, 4.5, 5, 6), (150.5, 4.5, 5, 5)), name="classes.tif", cell=0.5, low=LOW,
                       high=HIGH)
    findings = study.check()
    found = findings.rows("clearances", case="hot", span="1-2")
    assert set(found.loc[found["against"] == "tree", "obstacle"]) == {"surface:tree 1-2 500149 5600003"}
    assert "surface:building 1-2 500099 5600003" in set(found.loc[found["against"] == "building", "obstacle"])
    gap = findings.row("not_assessed", obstacle="surface:unknown")
    assert gap["span"] == "1-2" and gap["reason"].startswith("9 cells of the surface of class 2,")
    study.write_ground(classes_of((100.5, 4.5, 5, 6), (150.5, 4.5, 1.2, 5), (200.5, 4.5, 5, 5)), name="classes.tif",
                       cell=0.5, low=LOW, high=HIGH)
    findings = study.check()
    assert "of class 2," in findings.row("not_assessed", obstacle="surface:unknown")["reason"]
    assert findings.rows("violations", against="tree")["obstacle"].nunique() == 2


def test_names_stay_when_other_things_come(study, make):
    """A thing keeps its name where another stands before it, so that findings before and after can be compared."""
    blocks = [(150.5, 4.5, 1.5, 1.5, 8.0)]
    given(study, blocks_of(make, *blocks))
    before = set(study.check().rows("violations")["obstacle"])
    study.write_ground(blocks_of(make, (80.5, 4.5, 1.5, 1.5, 12.0), *blocks), name="surface.tif", cell=1.0, low=LOW,
                       high=HIGH)
    after = set(study.check().rows("violations")["obstacle"])
    assert before == {"surface:tree 1-2 500149 5600003"} and after == before | {"surface:tree 1-2 500079 5600003"}


@pytest.mark.parametrize("shift, words", [(0.0, None), (-0.4, None), (-0.7, "-0.70 m off"), (-5.0, "below the ground"),
                                          (40.0, "nowhere near the ground")])
def test_another_datum_is_doubted(study, make, shift, words):
    """Common practice, no source: half a metre is told."""
    given(study, lambda e, n: make.plane(e, n) + shift, keys='surface_category = "tree"\nsurface_above = 2')
    doubts = study.check().rows("doubts", doubt="surface-level")
    assert len(doubts) == (words is not None)
    assert words is None or words in doubts["found"].iloc[0]


def test_drawings_show_what_stands(study, make):
    """The profile for a drawing program has the tops of a block, ten times as high as they are, and nothing beside."""
    ezdxf = pytest.importorskip("ezdxf")
    given(study, blocks_of(make, (150.5, 4.5, 6, 3, 7.0)))
    study.check()
    with open_study(study.path) as opened:
        profile = draw_study(opened, kind="dxf").files[-1]
        project, *_ = export_study(opened, "qgs")
    sources = [layer.findtext("datasource") for layer in ElementTree.parse(project).iter("maplayer")]
    assert "./surface.tif" in sources
    lines = [entity for entity in ezdxf.readfile(profile).modelspace() if entity.dxf.layer == "SURFACE"]
    places = np.concatenate([[point[:2] for point in line.get_points()] for line in lines])
    assert places[:, 0].min() > 143 and places[:, 0].max() < 158
    np.testing.assert_allclose(places[:, 1], 10 * (make.plane(EAST + 150.5, NORTH + 4.5) + 7), atol=1e-6)


def test_what_a_cross_section_shows(study, make):
    """The bar of what stands touches the circle of what is there."""
    given(study, blocks_of(make, (150.5, 4.5, 3, 3, 7.0)))
    findings = study.check()
    with open_study(study.path) as opened:
        spans = findings["spans"]
        about = about_line(opened.inputs, opened.ground, spans.geometry.values, spans["ground_factor"])
    row = findings.rows("violations", case="hot").iloc[[0]]
    across, places = cut_places(row, np.array([[0.0, -1.0]]), [about])
    cut = cut_of(next(row.itertuples()), np.array([0.0, -1.0]), across[0], about.sample(*places[0].T), about)
    (kind, bar), = cut.things
    least = np.hypot(*(bar - cut.wire).T).min()
    assert kind == "top" and row["actual_m"].iloc[0] == pytest.approx(least, abs=0.05)


def test_the_example_of_the_page_runs(tmp_path, monkeypatch, capsys):
    """Only spans by the wood are named, and some of them are in violation of it."""
    page = (ROOT / "docs" / "surface.md").read_text(encoding="utf-8")
    code, = re.findall(r"```python\n(.+?)```", page, re.DOTALL)
    shutil.copytree(ROOT / "demo_corridor", tmp_path / "demo_corridor")
    monkeypatch.chdir(tmp_path)
    exec(compile(code, "surface.md", "exec"), {})
    told = dict(re.findall(r"^(N\d\d-N\d\d) +(-?[\d.]+)$", capsys.readouterr().out, re.MULTILINE))
    assert set(told) <= {"N13-N14", "N14-N15", "N15-N16"} and min(map(float, told.values())) < 0


def test_what_was_cleared_since_the_flight(study, make):
    """Cells whose middle lies in a polygon are passed, and counted; the others of the same thing stand."""
    given(study, blocks_of(make, (150.5, 4.5, 1.5, 1.5, 8.0), (200.5, 4.5, 1.5, 1.5, 8.0)),
          keys='surface_category = "tree"\nsurface_cleared = "cleared.gpkg"')
    area = shapely.box(EAST + 148, NORTH, EAST + 152, NORTH + 9)
    gpd.GeoDataFrame(geometry=[area], crs=make.GRID).to_crs("EPSG:4258").to_file(study.folder / "cleared.gpkg")
    findings = study.check()
    assert set(findings.rows("violations", against="tree")["obstacle"]) == {"surface:tree 1-2 500199 5600003"}
    assert findings.row("point_clouds", span="1-2")["passed"] == 9
    assert len(findings.row("inputs", part="terrain.surface_cleared")["digest"]) == 64
    gpd.GeoDataFrame(geometry=[area.centroid], crs=make.GRID).to_file(study.folder / "cleared.gpkg")
    with pytest.raises(InputError, match="no polygon"):
        study.check()


def test_a_plan_takes_trees_of_the_surface_away(study, make):
    """One tree in the middle of a span, one whose cells are too near to wires of both spans beside a structure: each is
    taken away once, at its cost; what is clear stays, and the copy clears."""
    given(study, blocks_of(make, (150.5, 4.5, 1.5, 1.5, 8.0), (300.5, 4.5, 1.5, 3.5, 17.5), (450.5, 20.5, 2.5, 2.5, 6)),
          keys='surface_category = "tree"\nsurface_structure_distance = 0')
    study.text += '\n[plan]\nremedies = ["remove"]\nremovable = ["tree"]\nremove_cost = 0.4\n'
    before = study.check().rows("violations", against="tree")
    assert set(before["span"]) == {"1-2", "2-3"}
    planned = study.folder.parent / "planned"
    with open_study(study.path) as opened:
        plan = plan_study(opened, "today", planned)
    assert plan.status == 0 and plan.cost == pytest.approx(0.8)
    areas = gpd.read_file(planned / "cleared.gpkg")
    assert sorted(name.split()[-2] for name in areas["thing"]) == ["500149", "500299"]
    rows = gpd.read_file(planned / "findings.gpkg", layer="clearances")
    own = rows[rows["against"] == "tree"]
    assert len(own) and (own["margin_m"] >= 0).all() and set(own["obstacle"]) == {"surface:tree"}


def test_a_plan_takes_nothing_away_that_may_not_go(study, make):
    """Roofs, where trees alone may."""
    given(study, blocks_of(make, (150.5, 4.5, 1.5, 1.5, 8.0)), keys='surface_category = "building"')
    study.text += '\n[plan]\nremedies = ["remove"]\nremovable = ["tree"]\n'
    study.write()
    with open_study(study.path) as opened:
        plan = plan_study(opened, "today", study.folder.parent / "planned")
    assert plan.status == 1 and not (study.folder.parent / "planned" / "cleared.gpkg").exists()


def test_a_category_that_no_rule_is_for_is_doubted(study, make):
    """A word that the rules do not have; the one that is nearest is named."""
    given(study, make.plane, keys='surface_category = "treee"')
    doubt = study.check().row("doubts", doubt="category-unruled")
    assert doubt["file"] == "surface.tif" and "perhaps 'tree'" in doubt["expected"]
