"""How high the ground may be: against the findings, closed forms, brute force, and the structure of the raster file."""

from xml.etree import ElementTree

import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from scipy.stats import norm

from corridor.clearance import ground_limit as cellwise
from corridor.clearance.shapes import room
from corridor.cli import main
from corridor.errors import CorridorError, InputError
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs import ground_limit as job
from corridor.opened import prepare
from corridor.outputs import ground_limit_raster as files
from corridor.outputs.files import Files
from corridor.outputs.ground_limit_style import ground_limit_style
from corridor.outputs.guard import MARK
from corridor.study import load_study
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, line_of

CELL = 2.0


def rough(e, n):
    """A rough side slope of 25 %."""
    return (100 + 0.25 * (n - NORTH) + 0.8 * np.sin((e - EAST) / 17) * np.cos((n - NORTH) / 9)
            + 0.4 * np.sin((e + 2 * n - EAST - 2 * NORTH) / 7))


@pytest.fixture(scope="module")
def slopes(tmp_path_factory):
    """Three spans with strings over rough ground with a hole, two options; findings and rasters."""
    study = TinyStudy(tmp_path_factory.mktemp("slopes") / "s")
    study.text += SECOND_OPTION
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.rules = study.rules.replace("4.5", "7.5")
    study.write_ground(rough, cell=CELL, low=(EAST - 60, NORTH - 60), high=(EAST + 960, NORTH + 60),
                       unknown=lambda e, n: (np.abs(e - EAST - 700) < 6) & (np.abs(n - NORTH) < 60))
    study.structures["base_elevation"] = 100.0
    study.findings = study.check()
    study.rasters = ask(study.path, "ground_limit")
    return study


def bands(result, option):
    """Bands of one option, masked, and its grid."""
    with rasterio.open(result.paths[option]) as dataset:
        return dataset.read(masked=True), dataset.transform


def at(transform, geometry):
    row, column = rasterio.transform.rowcol(transform, geometry.x.to_numpy(), geometry.y.to_numpy())
    return np.array(row), np.array(column)


def test_the_same_numbers_as_the_findings(slopes):
    """The cell of each finding on the ground shows no more room than it, and the worst of a span shows its margin.

    Single precision and the coarser steps of the swing: a tenth of a millimetre. Beside the worst place cells may
    show less than that finding, if they belong to the next span: none does here.
    """
    for option, name in enumerate(("today", "alloy")):
        (_, left, outcome), transform = bands(slopes.rasters, option)
        rows = slopes.findings.rows("clearances", option=name, against="ground")
        assert {"hot", "ice", "swung"} == set(rows["case"])
        there = left[at(transform, rows.geometry)].filled(np.inf)
        assert (there - rows["margin_m"] < 1e-4).all()
        worst = rows.loc[rows.groupby("span")["margin_m"].idxmin()]
        there = left[at(transform, worst.geometry)].filled(np.inf)
        np.testing.assert_allclose(there, worst["margin_m"], atol=1e-3)
        verdict = outcome[at(transform, worst.geometry)]
        assert (verdict == np.where(worst["margin_m"] < 0, 3, 1)).all()
        assert left.min() == pytest.approx(rows["margin_m"].min(), abs=1e-3)
    assert set(slopes.findings.rows("violations", against="ground")["option"]) == {"today", "alloy"}


def test_the_function_finds_what_the_check_finds(slopes):
    """Without the findings' own places: in still air to a micrometre, along the swing within 2 cm of the worst swing.

    Of the swings that are laid half a cell apart the nearest is up to a quarter of a cell aside of the worst one.
    """
    inputs = read_inputs(load_study(slopes.path))
    with inputs.terrain:
        facts, plan, ground = prepare(inputs)
        cells = job._cells(inputs.terrain, facts, plan, job._guards(None, facts, plan, "ground")[0], None, 0.0)
        scene, _ = job.make_scene(facts, plan, 0, 1)
        rows = np.flatnonzero(scene.wires.span == 1)
        for case, tolerance in ((0, 1e-6), (1, 1e-6), (2, 0.02)):
            # The rule above the ground; the electrical distance in space is less.
            guard = cellwise.guards(facts, case, "ground", 120.0)[0]
            required, some = guard.required, {case: [guard]}
            ends = [curves for _, curves in job._curves(scene, rows, 0, some, CELL)]
            window, *_ = cellwise.window_of(cells, np.concatenate(ends))
            room = cellwise.empty_room(window)
            for curves in ends:
                cellwise.lower(room, window, curves, ground.sample, required)
            found = slopes.findings.row("clearances", option="today", against="ground", span="2-3",
                                        case=facts.cases[case].name)
            assert room.left.min() == pytest.approx(found["margin_m"], abs=tolerance)
            assert room.left.min() > found["margin_m"] - 1e-6


def test_cells_against_wires_of_the_findings(slopes):
    """By hand: every wire of the layer, cut finely, minus what is required and the ground of the formula there.

    The layer has chords that lie up to 2 cm above wires, and the raster's ground is bilinear between cells of 2 m, by
    up to `h^2/8` of the curvature of the formula off it: 0.01/m, half a centimetre, in both directions.
    """
    (allowed, left, _), transform = bands(slopes.rasters, 0)
    wires = slopes.findings.rows("wires", option="today")
    terms = slopes.findings.rows("clearances", option="today", against="ground")
    seen = 0
    for case in ("hot", "ice"):
        required = terms.loc[terms["case"] == case, "required_m"].max()
        for line in wires.geometry[wires["case"] == case]:
            e, n, z = shapely.get_coordinates(shapely.segmentize(line, 0.2), include_z=True).T
            row, column = (np.array(v) for v in rasterio.transform.rowcol(transform, e, n))
            assert (allowed[row, column] < z - required + 1e-3).all()
            known = ~np.ma.getmaskarray(left)[row, column]
            assert (left[row, column] < z - required - rough(e, n) + 0.02)[known].all()
            seen += known.sum()
    assert seen > 10_000


def test_what_the_ground_lacks(slopes):
    """Over the hole the allowed elevation stands and the room does not; the outcome is not assessed."""
    (allowed, left, outcome), transform = bands(slopes.rasters, 0)
    row, column = (int(v) for v in rasterio.transform.rowcol(transform, EAST + 700, NORTH - 5))
    assert allowed[row, column] > 100 and left[row, column] is np.ma.masked and outcome[row, column] == 2
    assert slopes.rasters.status == 3 and (slopes.rasters.options["not_assessed_area_m2"] > 100).all()
    unknown = outcome == 2
    assert np.ma.getmaskarray(left)[unknown.filled(False)].all()
    # Nothing is said where no wire ever hangs above.
    assert all(band[0, 0] is np.ma.masked for band in (allowed, left, outcome))


def test_volume_is_that_of_the_cells(slopes):
    """Sum of the negative cells by their area in metres of the ground."""
    factor = slopes.findings["spans"]["ground_factor"].mean()
    for option in (0, 1):
        (_, left, _), _ = bands(slopes.rasters, option)
        short = left.compressed()[left.compressed() < 0].astype(float)
        assert slopes.rasters.options["cut_volume_m3"][option] == pytest.approx(-short.sum() * (CELL * factor)**2)
        assert slopes.rasters.options["short_area_m2"][option] == pytest.approx(len(short) * (CELL * factor)**2)


def test_level_ground_below_a_still_wire(tmp_path):
    """`z(x) - R` of the catenary by its textbook form, at every cell below a wire between level ends.

    A cell has the least over its width; on 1 m the wire falls by `sinh(x/C)` of it.
    """
    study = TinyStudy(tmp_path / "s")
    study.structures = line_of(count=2)
    study.write_ground(lambda e, n: 100 + 0 * e, cell=5.0)
    study.framings = study.framings.replace("hold,B,phase,1,5,19", "hold,B,phase,1,5,18")
    study.rules = "rule,against,measure,base\nopen,ground,vertical,6\n"
    findings = study.check()
    (allowed, left, _), transform = bands(ask(study.path, "ground_limit", cell=1.0), 0)
    # The lower of the hot and the iced wire, which is the one of the lesser constant.
    C = findings.rows("clearances", against="ground")["catenary_constant_m"].min()
    factor = findings["spans"]["ground_factor"].iloc[0]
    x = np.arange(1, 299) + 0.0
    r, c = (np.array(v) for v in rasterio.transform.rowcol(transform, EAST + (x + 0.5) / factor,
                                                           np.full(len(x), NORTH + 4 / factor)))
    half = findings["spans"]["length_m"].iloc[0] / 2
    by_hand = 118 + C * (np.cosh((x + 0.5 - half) / C) - np.cosh(half / C)) - 6
    fall = np.abs(np.sinh((x + 0.5 - half) / C))
    assert (np.abs(allowed[r, c] - by_hand) < fall + 2e-4).all()
    np.testing.assert_allclose(left[r, c], allowed[r, c] - 100, atol=1e-4)


def test_wires_taken_wider(tmp_path):
    """On a plane side slope a wire 3 m wider is so much nearer to the ground as the slope rises on 3 m."""
    study = TinyStudy(tmp_path / "s")
    study.structures = line_of(count=2)
    study.structures["base_elevation"] = 100.0
    study.write_ground(lambda e, n: 95 + 0.2 * (n - NORTH), cell=2.0)
    study.check()
    plain, wide = (ask(study.path, "ground_limit", folder=tmp_path / name, beside=beside)
                   for name, beside in (("plain", 0.0), ("wide", 3.0)))
    least = [result.options["minimum_room_m"][0] for result in (plain, wide)]
    assert least[0] - least[1] == pytest.approx(3 * 0.2, abs=1e-3)
    count = [np.ma.count(bands(result, 0)[0][0]) for result in (plain, wide)]
    # Without it they cover the electrical distance to either side, 1 m, and two wires' swing.
    assert count[1] > 1.3 * count[0]


@pytest.mark.parametrize("against", ["ground", "tree"])
def test_what_is_required_is_not_known(tmp_path, against):
    """Above the voltages of the electrical distances, and above the altitude up to which a rule goes: not assessed."""
    study = TinyStudy(tmp_path / "s")
    study.structures = line_of(count=2)
    study.structures["base_elevation"] = 100.0
    study.write_ground(lambda e, n: 90 + 0 * e, cell=5.0)
    study.rules = ("rule,against,measure,base,max_altitude\nopen,ground,vertical,2,\n"
                   "tree,tree,radial,2,50\ntree,tree,horizontal,2,50\n")
    study.change('voltage = "110 kV"', 'voltage = "1150 kV"')
    study.change('"123 kV"', '"1200 kV"')
    study.check()
    result = ask(study.path, "ground_limit", against=against)
    assert result.status == 3 and (result.options["not_assessed_area_m2"] > 0).all()
    assert not (result.options["minimum_room_m"] > 0).any()


def test_a_tube_about_the_wire(tmp_path):
    """With a radial row: where a wire keeps a tube of R free over a plane of slope b, the room is `h - R/cos b`.

    The lower side of the tube is R below the wire across the slope, so `R/cos b` below it along the plumb; on a level
    plane R itself. Cells of half a metre see the tube at steps of 25 cm: within a centimetre.
    """
    for slope in (0.0, 0.5):
        study = TinyStudy(tmp_path / f"s{slope}")
        study.structures = line_of(count=2)
        study.structures["base_elevation"] = 100.0
        study.write_ground(lambda e, n, slope=slope: 95 + slope * (n - NORTH), cell=5.0)
        study.rules = "rule,against,measure,base\nopen,ground,vertical,2\nslope,ground,radial,6\n"
        findings = study.check()
        result = ask(study.path, "ground_limit", cell=0.5)
        tilt = np.hypot(1, slope / findings["spans"]["ground_factor"].iloc[0])
        height = findings.rows("clearances", against="ground", measure="vertical")["actual_m"].min()
        assert result.options["minimum_room_m"][0] == pytest.approx(height - 6 * tilt, abs=0.01)
        radial = findings.rows("clearances", against="ground", measure="radial")["margin_m"].min()
        assert result.options["minimum_room_m"][0] == pytest.approx(radial * tilt, abs=0.01)


def made(folder, rooms, *, rows=1300, columns=700, crs="EPSG:25832+7837"):
    """A raster of some rooms at given rows and columns."""
    cells = cellwise.Cells(1000.0, 9000.0, 0.5, rows, columns)
    with Files() as out, files.GroundLimitRaster(out, folder / "h.tif", cells, crs, {"OPTION": "a & b <c>"}) as raster:
        for room, row, column in rooms:
            raster.merge(room, row, column)
        raster.close()
    return folder / "h.tif"


def a_room(seed, *, unknown=0.1):
    rng = np.random.default_rng(seed)
    shape = 40, 60
    left = rng.uniform(-1, 9, shape)
    some = rng.random(shape) < 0.5
    return cellwise.Room(np.where(some, 100 + left, np.inf), np.where(some, left, np.inf),
                         some & (rng.random(shape) < unknown))


def test_structure_of_the_file(tmp_path):
    """A Cloud-Optimized GeoTIFF by GDAL's own word, tiled, with statistics; coarser levels hold the least of cells.

    Against numpy's reduction of the finest level; OGC 21-026 asks for tiles and reduced-resolution levels in order.
    """
    rooms = [(a_room(seed), 30 * seed, 511 + 3 * seed) for seed in range(40)]
    path = made(tmp_path, rooms)
    with rasterio.open(path) as dataset:
        assert dataset.tags(ns="IMAGE_STRUCTURE")["LAYOUT"] == "COG" and dataset.profile["tiled"]
        assert dataset.overviews(1) == dataset.overviews(2) == dataset.overviews(3) == [2, 4]
        assert dataset.nodata == files.NODATA and dataset.units[:2] == ("metre", "metre")
        assert "room" in dataset.descriptions[1] and dataset.tags()["OPTION"] == "a & b <c>"
        assert dataset.crs.to_wkt().startswith("COMPD") and dataset.res == (0.5, 0.5)
        fine = dataset.read(masked=True)
        assert float(dataset.tags(2)["STATISTICS_MINIMUM"]) == pytest.approx(fine[1].min())
    for level in (1, 2):
        with rasterio.open(path, overview_level=level - 1) as dataset:
            coarse = dataset.read(masked=True)
        size = 2**level
        for band, best in ((0, np.min), (1, np.min), (2, np.max)):
            fill = np.inf if best is np.min else -np.inf
            padded = np.pad(fine[band].filled(fill), [(0, -n % size) for n in fine[band].shape], constant_values=fill)
            four = padded.reshape(padded.shape[0] // size, size, padded.shape[1] // size, size)
            np.testing.assert_array_equal(coarse[band].filled(fill), best(best(four, axis=3), axis=1))


def test_what_meets_in_a_cell(tmp_path):
    """Of several wires the lower counts; what is not known hides room, and hides no want of it."""
    def room(allowed, left, unknown):
        return cellwise.Room(*(np.array([v]) for v in (allowed, left, unknown)))

    first = room([100.0, 100.0, 100.0, np.inf], [2.0, 2.0, -1.0, np.inf], [False, True, False, False])
    second = room([99.0, 101.0, 101.0, np.inf], [1.0, 3.0, np.inf, np.inf], [False, False, True, True])
    for order in ((first, second), (second, first)):
        with rasterio.open(made(tmp_path, [(each, 0, 0) for each in order], rows=3, columns=4)) as dataset:
            bands = dataset.read(masked=True)[:, 0]
        assert bands[0].tolist() == [99, 100, 100, None]
        assert bands[1].tolist() == [1, None, -1, None]
        assert bands[2].tolist() == [1, 2, 3, 2]


def test_nothing_half_written(tmp_path):
    """A wire outside of the raster, or a failure, leaves neither file nor folder; an old file stays."""
    old = f"old, {MARK}".encode()
    (tmp_path / "h.tif").write_bytes(old)
    with pytest.raises(CorridorError, match="outside"):
        made(tmp_path, [(a_room(0), 1290, 0)])
    assert [path.name for path in tmp_path.iterdir()] == ["h.tif"]
    assert (tmp_path / "h.tif").read_bytes() == old
    with pytest.raises(CorridorError, match="no folder"):
        made(tmp_path / "none", [])


def test_a_wire_without_answer_is_not_assessed(slopes, monkeypatch):
    """Where a wire is not known all cells below its span say so, and none is clear."""
    monkeypatch.setattr(cellwise, "hung_still", lambda scene, rows, option, case: np.full((1, 3, 3), np.nan))
    result = ask(slopes.path, "ground_limit", folder=slopes.folder / "broken")
    allowed, left, outcome = bands(result, 0)[0]
    assert np.ma.count(allowed) == np.ma.count(left) == 0
    assert set(outcome.compressed()) == {2} and outcome.count() > 800
    assert result.status == 3 and len(result.left_out) == 6 and "not known" in result.left_out[0]


def test_the_command(slopes, capsys):
    with pytest.raises(SystemExit) as end:
        main(["ground-limit", str(slopes.path), "--folder", str(slopes.folder / "told")])
    assert end.value.code == 3
    out, err = capsys.readouterr()
    assert "minimum room m" in out and "alloy" in out and "findings_ground_limit_today.tif" in err
    assert {path.suffix for path in (slopes.folder / "told").iterdir()} == {".tif", ".qml"}


def test_what_is_refused(study_without, tmp_path):
    with pytest.raises(InputError, match="no such file.*run `corridor check` first"):
        ask(study_without.write(), "ground_limit")
    study_without.rules = study_without.rules.replace("ground,vertical", "field,vertical")
    study_without.check()
    with pytest.raises(InputError, match="no row against ground"):
        ask(study_without.path, "ground_limit")
    with pytest.raises(InputError, match="no row against rod.*rows against field, road.*perhaps road"):
        ask(study_without.path, "ground_limit", against="rod")
    with pytest.raises(InputError, match="cell: found '?0.01 m"):
        ask(study_without.path, "ground_limit", cell=0.01)
    with pytest.raises(InputError, match="beside: found '?-1 m"):
        ask(study_without.path, "ground_limit", beside=-1.0)


@pytest.fixture
def study_without(tmp_path):
    study = TinyStudy(tmp_path / "bare")
    study.structures = line_of(count=2)
    return study


def test_findings_name_the_rasters_study(slopes):
    digest, = pyogrio.read_dataframe(slopes.output, layer="run")["study_digest"]
    with rasterio.open(slopes.rasters.paths[0]) as dataset:
        tags = dataset.tags()
    assert tags["STUDY_DIGEST"] == digest and tags["OPTION"] == "today" and tags["RULES"] == "open"


def test_the_style_tells_short_from_clear():
    """Well-formed, of the band of the room, whole from below to above, and reds up to nought."""
    renderer = ElementTree.fromstring(ground_limit_style()).find("pipe/rasterrenderer")
    assert renderer.get("band") == "2" and "room" in files.BANDS[1][0]
    items = renderer.findall("rastershader/colorrampshader/item")
    ends = [float(item.get("value")) for item in items]
    assert ends == sorted(ends) and ends[-1] == np.inf and 0.0 in ends
    for end, item in zip(ends, items, strict=True):
        red, _, blue = (int(item.get("color")[i:i + 2], 16) for i in (1, 3, 5))
        assert ("short" in item.get("label")) == (end <= 0)
        assert red > blue or end > 1


@pytest.mark.parametrize("shape", ["strip_beside", "corner"])
def test_how_high_a_building_may_be(tmp_path, shape):
    """`z` less what the shape of the rule keeps free: on its edge `corridor.clearance.shapes.room` has no margin.

    At cells beside the right wire in still air, at mid-span: with the wire at the far side of a cell of 0.5 m there is
    room, at the near side there is none. A strip ends with the requirement, and above it nothing is said.
    """
    study = TinyStudy(tmp_path / "s")
    study.structures = line_of(count=2)
    study.structures["base_elevation"] = 100.0
    study.write_ground(lambda e, n: 90 + 0 * e, cell=5.0)
    study.change('checks = ["vertical"]', 'checks = ["vertical", "horizontal"]')
    study.change('[[cases]]\nname = "swung"\ntemperature = 10\nwind = "290 Pa"\nchecks = ["horizontal"]\n', "")
    study.change('temperature = 0\nice = "12 mm"', 'temperature = 0\nchecks = ["tension"]')
    study.rules = ("rule,against,measure,shape,base\nopen,ground,vertical,,2\nroof,building,vertical,,5\n"
                   f"wall,building,horizontal,{shape},6\n")
    findings = study.check()
    result = ask(study.path, "ground_limit", cell=0.5, against="building")
    assert result.paths[0].name == "findings_ground_limit_building_today.tif"
    (allowed, _, _), transform = bands(result, 0)
    wire = findings.row("wires", case="hot", wire="B").geometry
    middle = shapely.get_coordinates(wire, include_z=True)[16]
    factor = findings["spans"]["ground_factor"].iloc[0]
    for aside in np.arange(0.25, 5.5, 0.5):
        row, column = rasterio.transform.rowcol(transform, middle[0], middle[1] - aside / factor)
        top = float(allowed[int(row), int(column)])
        margins = [room(d, middle[2] - top, 6.0, 5.0, rounded=shape == "corner").margin
                   for d in (max(aside - 0.5, 0), aside + 0.5)]
        assert margins[0] < 0.02 and margins[1] > -0.02
        if shape == "strip_beside":
            assert middle[2] - top == pytest.approx(5.0, abs=0.01)
    row, column = rasterio.transform.rowcol(transform, middle[0], middle[1] - 6.6)
    assert allowed[int(row), int(column)] is np.ma.masked


@pytest.mark.parametrize("probability", [0.5, 0.95, 0.999])
def test_wires_count_as_lower_by_how_sure_they_are(tmp_path, probability):
    """The normal quantile of scipy times the deviation of the findings, at their places: the worst cell has the least
    of margin less that."""
    study = TinyStudy(tmp_path / "s")
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.text += "\n[uncertainty]\n"
    findings, plain = study.check(), ask(study.path, "ground_limit")
    sure = ask(study.path, "ground_limit", probability=probability)
    assert [path.name.replace(f"_p{100 * probability:g}".replace(".", "_"), "") for path in sure.paths] == [
        path.name for path in plain.paths]
    with rasterio.open(sure.paths[0]) as dataset:
        assert dataset.tags()["PROBABILITY"] == f"{probability:g}"
    (before, _), (after, transform) = bands(plain, 0), bands(sure, 0)
    less = (before[1] - after[1]).compressed()
    times = norm.ppf(probability)
    if probability == 0.5:
        np.testing.assert_allclose(less, 0, atol=1e-5)
        return
    rows = findings.rows("clearances", against="ground")
    assert (times * 0.1 < less).all() and less.max() < times * 1.01 * rows.margin_sd_m.max()
    lowered = rows.margin_m - times * rows.margin_sd_m
    assert after[1].min() == pytest.approx(lowered.min(), abs=2e-3)
    row, column = at(transform, rows.geometry)
    assert (after[1][row, column] <= lowered.to_numpy() + 1e-5).all()


@pytest.mark.parametrize("probability", [0.3, 1.0, float("nan")])
def test_a_probability_that_would_raise_wires_is_refused(slopes, probability):
    with pytest.raises(InputError, match="probability"):
        ask(slopes.path, "ground_limit", probability=probability)


def test_a_study_that_does_not_say_how_sure_it_is_has_no_probability(slopes):
    with pytest.raises(InputError, match="uncertainty"):
        ask(slopes.path, "ground_limit", probability=0.95)
