"""Plan and profile of the demo: sheets read back by pypdf, with size and fonts as PDF has them; DXF by ezdxf."""

import re
import shutil
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from matplotlib.figure import Figure

from corridor import check_study
from corridor.errors import CorridorError, InputError
from corridor.outputs.drawings.paper import Sheet
from corridor.outputs.drawings.sheet_plan import _draw_contours
from corridor.outputs.drawings.sheets import _aside, _pieces
from corridor.outputs.drawings.style import PENS
from tests.common import ask

DEMO = Path(__file__).resolve().parents[1] / "demo_corridor"


@pytest.fixture(scope="module")
def study(tmp_path_factory):
    copy = tmp_path_factory.mktemp("demo") / "corridor"
    shutil.copytree(DEMO, copy, ignore=shutil.ignore_patterns("*.py", "findings.gpkg"))
    check_study(copy / "study.toml")
    return copy / "study.toml"


@pytest.fixture(scope="module")
def pages(study):
    pypdf = pytest.importorskip("pypdf")
    result = ask(study, "draw", options=("thermal alloy",), scale=10_000)
    pages = pypdf.PdfReader(result.output).pages
    # Behind the sheets comes one of cross-sections.
    assert len(pages) == result.sheets + 1
    return pages


@pytest.fixture(scope="module")
def figures(study):
    """The figures of two options, by option: all sheets, and those of cross-sections behind them."""
    drawn, given = {}, pytest.MonkeyPatch()

    class Book:
        def __init__(self, *_, **__):
            self.figures = drawn[option] = []

        def __enter__(self):
            return self

        def __exit__(self, *_):
            Path(study.with_name("x.pdf")).write_bytes(b"%PDF")

        def savefig(self, figure):
            self.figures.append(figure)

    with given.context() as patch:
        patch.setattr("corridor.outputs.drawings.sheets.PdfPages", Book)
        patch.setattr("corridor.outputs.files.Files.new", lambda self, path, *_: path)
        for option in ("thermal alloy", "annealed on carbon"):
            ask(study, "draw", output=study.with_name("x.pdf"), options=(option,), scale=10_000, overwrite=True)
    return drawn


def test_paper(pages):
    """A3 across (ISO 216: 420 x 297 mm), fonts embedded as TrueType."""
    for page in pages:
        size = [float(v) * 25.4 / 72 for v in page.mediabox[2:]]
        assert size == pytest.approx([420, 297], abs=0.1)
        for font in page["/Resources"]["/Font"].values():
            below = font.get_object()["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
            assert "/FontFile2" in below["/FontDescriptor"]


def test_every_structure_and_what_is_wrong_is_told(pages, study):
    """Each structure, each gap and each margin below zero of the findings can be read on the sheets."""
    findings = study.with_name("findings.gpkg")
    text = "\n".join(page.extract_text() for page in pages)
    for name in pyogrio.read_dataframe(findings, layer="structures")["structure"]:
        assert name in text
    short = pyogrio.read_dataframe(findings, layer="violations")
    short = short[short["option"] == "thermal alloy"]
    for margin in short.groupby(["span", "against", "obstacle"], dropna=False)["margin_m"].min():
        assert f"{margin:+.2f}" in text.replace("\u2212", "-")
    gaps = pyogrio.read_dataframe(findings, layer="not_assessed")
    assert text.count("NOT ASSESSED") >= gaps.loc[gaps["option"] == "thermal alloy", "span"].nunique() > 0
    assert "exaggerated" in text and "DHHN2016" in text


def panels(figures):
    """Cross-sections: what their titles say is there and required [m], and their axes."""
    for figure in figures:
        for axes in figure.axes:
            found = re.search(r"is (-?[0-9.]+) m, required ([0-9.]+) m", axes.get_title(loc="left"))
            if found:
                yield axes.get_title(loc="left"), *map(float, found.groups()), axes


def lengths(axes):
    """Lengths of straight lines of two points, and radii of circles, of the artists of a cross-section [m]."""
    found = []
    for line in axes.lines:
        xy = line.get_xydata()
        if len(xy) == 2 and line.get_transform() == axes.transData:
            found.append(np.hypot(*(xy[1] - xy[0])))
        if len(xy) == 181:
            found.append(np.ptp(xy[:, 0]) / 2)
    return np.array(found)


def test_cross_sections_draw_what_the_rows_say(figures, study):
    """Each swung, falling, upward and beside: what is drawn has the lengths of the row, to a line's width."""
    rows = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="violations")
    for option, sheets in figures.items():
        own = rows[(rows["option"] == option) & ((rows["measure"] != "vertical") | (rows["case"] == "swung"))]
        told = list(panels(sheets))
        assert len(told) == len(own.groupby(["span", "against", "obstacle"], dropna=False))
        for title, actual, required, axes in told:
            for length in (actual, required):
                assert np.abs(lengths(axes) - length).min() < 0.006, title


def test_the_end_of_what_is_there_lies_on_the_ground(figures):
    """The wire that is blown over the crag: below it, the drawn ground is where the drawn distance ends."""
    (_, actual, _, axes), = [each for each in panels(figures["thermal alloy"]) if "ground, swung" in each[0]]
    ground = max(axes.lines, key=lambda line: len(line.get_xdata()))
    segment = next(line for line in axes.lines if len(line.get_xdata()) == 2
                   and abs(np.ptp(line.get_ydata()) - actual) < 0.006)
    x, foot = segment.get_xdata()[0], min(segment.get_ydata())
    assert np.interp(x, *ground.get_data()) == pytest.approx(foot, abs=0.05)


def test_a_profile_has_no_ring_where_it_does_not_show_the_wire(figures):
    """Rings are where a still wire is too near to what lies below it: drawn wire, drawn ring."""
    for sheet in figures["thermal alloy"][:-1]:
        for axes in sheet.axes:
            wires = [line for line in axes.lines if len(line.get_xdata()) > 5 and line.get_linewidth() == 0.9
                     and line.get_color() in {pen["color"] for pen in PENS}]
            for ring in axes.lines:
                if ring.get_marker() == "o" and len(ring.get_xdata()) == 1 and ring.get_markersize() == 6:
                    x, z = (float(v[0]) for v in ring.get_data())
                    near = [abs(np.interp(x, *line.get_data()) - z) for line in wires
                            if line.get_xdata()[0] <= x <= line.get_xdata()[-1]]
                    assert min(near) < 0.5


def test_contours_run_where_the_ground_is_as_high_as_they_say():
    """Of a plane whose height is known by hand, on a sheet that is turned; none where the ground is not known."""
    def sample(e, n):
        return np.where(e < 200, 100 + 0.06 * e + 0.02 * n, np.nan)

    way = (0.8, 0.6)
    sheet = Sheet("a", None, None, 500.0, 900.0, (0.0, 0.0), way, 1, 1, 2000.0, 500.0)
    axes = Figure().add_subplot()
    interval = _draw_contours(axes, sample, sheet, 60.0)
    lines, = axes.collections
    assert interval == 2 and len(lines.levels) > 5
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        e, n = sheet.in_grid(*path.vertices.T)
        assert len(e) and e.max() < 200
        np.testing.assert_allclose(100 + 0.06 * e + 0.02 * n, level, atol=1e-6)
        np.testing.assert_allclose(sheet.turned(np.column_stack([e, n])), path.vertices.T, atol=1e-9)


def profiles(figures):
    """Axes of the profiles of sheets, by their label of elevation."""
    return [axes for figure in figures for axes in figure.axes if axes.get_ylabel() == "Elevation [m]"]


def test_all_profiles_of_a_set_have_one_scale(figures):
    """Metres of elevation to a millimetre of paper; all axes are as high."""
    for sheets in figures.values():
        tall = [np.ptp(axes.get_ylim()) for axes in profiles(sheets)]
        assert len(tall) > 1 and np.ptp(tall) < 1e-9


def test_sheets_are_as_alike_in_length_as_structures_let_them_be(study):
    """Maximum length over least, by hand: no fewer sheets, and no cut moved by one structure makes them more alike."""
    posts = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="structures").sort_values("station_m")
    station, plan = posts["station_m"].to_numpy(), np.column_stack([posts.geometry.x, posts.geometry.y])
    for scale in (3000.0, 5000.0, 8000.0):
        pieces = _pieces(plan, station, scale)
        cuts = [pieces[0][0], *(last for _, last in pieces)]
        assert [b for _, b in pieces[:-1]] == [a for a, _ in pieces[1:]]
        assert (cuts[0], cuts[-1]) == (0, len(station) - 1)
        assert all(b - a > 1 for a, b in pieces)             # no sheet of one span
        own = np.sum(np.diff(station[cuts])**2)
        for k in range(1, len(cuts) - 1):
            for by in (-1, 1):
                moved = np.array(cuts) + by * (np.arange(len(cuts)) == k)
                lengths = np.diff(station[moved])
                across = [_aside(plan[a:b + 1]) for a, b in zip(moved[:-1], moved[1:], strict=True) if b - a > 1]
                fits = lengths.max() <= 0.37 * scale and max(across) <= 0.36 * scale * 0.062
                assert not fits or np.sum(lengths**2) >= own - 1e-6


def test_what_was_not_assessed_is_hatched_as_long_as_it_is(figures):
    """The hole of the demo is 20.6 m long, as the findings say; ground is drawn at every metre, so to two metres."""
    for sheets in figures.values():
        found = [area.get_paths()[0].get_extents().width for axes in profiles(sheets) for area in axes.collections
                 if area.get_hatch()]
        assert found and all(20.6 - 0.1 <= wide <= 20.6 + 4 for wide in found)


def test_each_drawn_case_has_its_temperature_and_each_span_its_sag(pages, study):
    """Temperatures of the study file (ice at 0 °C); sag and pull of the layer `wires`."""
    text = "\n".join(page.extract_text() for page in pages)
    for words in ("hot 150 °C", "emergency 170 °C", "ice 0 °C", "Rev.", "Checked"):
        assert words in text
    assert re.search(r"\b(200|400) m\b", text) and re.search(r"E 56\d{4}\nN 564\d{4}", text)
    wires = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="wires")
    wires = wires.query("option == 'thermal alloy' and case == 'hot' and kind == 'phase'")
    told = set(text.split())
    for row in wires.loc[wires.groupby("span")["sag_m"].idxmax()].itertuples():
        assert {f"{row.sag_m:.2f}", f"{row.horizontal_tension_n / 1e3:.1f}"} <= told


def test_refused(study):
    """An option or case that the study has not."""
    with pytest.raises(InputError, match="option"):
        ask(study, "draw", options=("no such",))
    with pytest.raises(InputError, match="case"):
        ask(study, "draw", cases=("no such",))


def test_letters_are_legible(pages):
    """ISO 3098-1 (recalled): capitals of 1.8 mm at least. Capitals of DejaVu Sans are 0.729 of the size (its file)."""
    sizes = []
    for page in pages:
        page.extract_text(visitor_text=lambda text, cm, tm, font, size: text.strip() and sizes.append(
            size * abs(tm[0] * tm[3] - tm[1] * tm[2]) ** 0.5 * abs(cm[0] * cm[3] - cm[1] * cm[2]) ** 0.5))
    assert len(sizes) > 100
    assert min(sizes) * 25.4 / 72 * 0.729 >= 1.8


def test_some_sheets(study):
    """A range has so many sheets, numbered as among all; those worth a look have a violation or a gap each."""
    pypdf = pytest.importorskip("pypdf")
    some = ask(study, "draw", output=study.with_name("some.pdf"), options=("thermal alloy",), sheets=(2, 3))
    texts = [page.extract_text() for page in pypdf.PdfReader(some.output).pages]
    texts, cuts = [t for t in texts if "PLAN" in t], [t for t in texts if "PLAN" not in t]
    assert len(cuts) == 1 and "Cross-sections" in cuts[0]
    assert some.sheets == len(texts) == 2 and "2 / 6" in texts[0] and "3 / 6" in texts[1]
    findings = study.with_name("findings.gpkg")
    spans = {span for name in ("violations", "not_assessed") for option, span in pyogrio.read_dataframe(
        findings, layer=name, read_geometry=False)[["option", "span"]].dropna().itertuples(index=False)
             if option == "annealed on carbon"}
    few = ask(study, "draw", output=study.with_name("short.pdf"), options=("annealed on carbon",), short=True)
    texts = [page.extract_text() for page in pypdf.PdfReader(few.output).pages]
    texts = [text for text in texts if "PLAN" in text]
    shown = [{span for span in spans if all(name in text for name in span.split("-"))} for text in texts]
    assert few.sheets == len(shown) < 6 and all(shown) and set().union(*shown) == spans
    with pytest.raises(InputError, match="sheets from 1 to 6"):
        ask(study, "draw", sheets=(6, 7))


# DXF, re-read by ezdxf


@pytest.fixture(scope="module")
def dxf(study):
    ezdxf = pytest.importorskip("ezdxf")
    result = ask(study, "draw", kind="dxf", options=("thermal alloy", "existing"), cases=("hot", "ice"))
    drawings = {path.stem.rpartition("_")[2]: ezdxf.readfile(path) for path in result.files}
    assert list(drawings) == ["plan", "profile"]
    return drawings


def by_layer(drawing, kind, layer):
    return drawing.modelspace().query(f'{kind}[layer=="{layer}"]')


def test_dxf_is_sound(dxf):
    """The library's own audit; metres; nothing on layer 0; layers begin with what they show and name their option."""
    for drawing in dxf.values():
        audit = drawing.audit()
        assert not audit.errors and not audit.fixes
        assert drawing.units == 6  # metres, of the DXF reference's $INSUNITS
        used = {entity.dxf.layer for entity in drawing.modelspace()}
        assert "0" not in used and {"VIOLATIONS thermal alloy", "VIOLATIONS existing", "NOT ASSESSED existing"} <= used
        assert "NOT FOR CONSTRUCTION" in drawing.modelspace().query("MTEXT").first.text


def test_dxf_plan_lies_in_the_grid(dxf, study):
    """Structures, spans and violations are where the findings have them, to 1 cm, the line's thinning."""
    findings = study.with_name("findings.gpkg")
    posts = pyogrio.read_dataframe(findings, layer="structures").geometry
    drawn = [tuple(ring.dxf.center)[:2] for ring in by_layer(dxf["plan"], "CIRCLE", "STRUCTURES")]
    assert np.abs(np.array(drawn) - np.column_stack([posts.x, posts.y])).max() < 1e-6
    rows = pyogrio.read_dataframe(findings, layer="violations").query("option == 'thermal alloy'")
    rows = rows.sort_values("margin_m").groupby(["span", "against", "obstacle"], dropna=False).head(1)
    circles = by_layer(dxf["plan"], "CIRCLE", "VIOLATIONS thermal alloy")
    rings = {tuple(np.round(ring.dxf.center, 3)[:2]) for ring in circles}
    assert rings == {(round(p.x, 3), round(p.y, 3)) for p in rows.geometry}
    lines = by_layer(dxf["plan"], "LWPOLYLINE", "WIRES thermal alloy hot")
    wires = pyogrio.read_dataframe(findings, layer="wires").query("option == 'thermal alloy' and case == 'hot'")
    assert len(lines) == len(wires)
    for line, shape in zip(lines, wires.geometry, strict=True):
        got = shapely.linestrings([point[:2] for point in line.get_points()])
        assert shapely.hausdorff_distance(got, shapely.force_2d(shape)) < 0.0101


def test_parcels_are_in_the_plan(pages, dxf):
    """Edges of land where its layer has them, as far as a strip of the plan goes; and names, on sheets as well."""
    land = pyogrio.read_dataframe(DEMO / "obstacles.gpkg", layer="parcels")
    assert len(land) > 3
    drawn = shapely.union_all([shapely.linestrings([point[:2] for point in line.get_points()])
                               for line in by_layer(dxf["plan"], "LWPOLYLINE", "PARCELS")])
    edges = shapely.boundary(shapely.union_all(land.geometry.values))
    assert drawn.within(edges.buffer(0.0101)) and drawn.length > 0.9 * edges.length
    named = {words.dxf.text for words in by_layer(dxf["plan"], "TEXT", "PARCELS")}
    assert named == {f"parcels:{name}" for name in land["name"]}
    texts = "\n".join(page.extract_text() for page in pages)
    assert all(name in texts for name in named) and "Dots: parcels" in texts


def test_dxf_plan_marks_what_was_not_assessed_as_long_as_it_is(dxf, study):
    """Below one span the ground is not known over a hole of some 20 m, as the raster has it."""
    with rasterio.open(DEMO / "terrain" / "ground.tif") as raster:
        known, transform = raster.read_masks(1) > 0, raster.transform
    lines = [shapely.linestrings([point[:2] for point in line.get_points()])
             for line in by_layer(dxf["plan"], "LWPOLYLINE", "NOT ASSESSED existing")]
    gaps = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="not_assessed").query("option == 'existing'")
    assert set(gaps["against"]) == {"ground"} and gaps["span"].nunique() == 1
    chord = shapely.force_2d(gaps.geometry.iloc[0])
    places = shapely.get_coordinates(shapely.line_interpolate_point(chord, np.arange(0, chord.length, 0.25)))
    bare = shapely.points(places[~known[rasterio.transform.rowcol(transform, *places.T)]])
    drawn = shapely.union_all(lines)
    assert len(bare) > 20 and all(drawn.distance(bare) < 0.1) and drawn.length < 40


def test_dxf_opens_where_it_is_and_names_stand_off_the_wires(dxf, study):
    """$EXTMIN, $EXTMAX of the DXF reference hold every structure; names are 10 m or more from the chords."""
    spans = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="spans").geometry
    low, high = (np.array(dxf["plan"].header[name][:2]) for name in ("$EXTMIN", "$EXTMAX"))
    west, south, east, north = spans.total_bounds
    assert (low <= [west, south]).all() and (high >= [east, north]).all() and (high - low < 4 * (east - west)).all()
    line = shapely.union_all(shapely.force_2d(spans.values))
    for words in by_layer(dxf["plan"], "TEXT", "STRUCTURES"):
        assert shapely.distance(line, shapely.points(tuple(words.dxf.insert)[:2])) > 9


def test_dxf_profile_is_to_scale(dxf, study):
    """Of each span the lowest wire: its maximum depth below its chord is the sag of the findings, ten times (5 mm)."""
    wires = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="wires")
    wires = wires[(wires["option"] == "existing") & (wires["case"] == "ice") & (wires["kind"] == "phase")]
    lines = by_layer(dxf["profile"], "LWPOLYLINE", "PHASE WIRES existing ice")
    assert len(lines) == wires["span"].nunique()
    sags = {round(sag, 2) for sag in wires["sag_m"]}
    for line in lines:
        x, y = np.array([point[:2] for point in line.get_points()]).T
        sag = (np.interp(x, x[[0, -1]], y[[0, -1]]) - y).max() / 10
        assert min(abs(sag - known) for known in sags) < 0.015 + 0.002 * sag
    posts = pyogrio.read_dataframe(study.with_name("findings.gpkg"), layer="structures")
    feet = sorted(tuple(line.get_points()[0][:2]) for line in by_layer(dxf["profile"], "LWPOLYLINE", "STRUCTURES"))
    want = sorted(zip(posts["station_m"], 10 * posts["base_elevation_m"], strict=True))
    assert np.abs(np.array(feet) - want).max() < 1e-6


def test_dxf_without_its_library(study, monkeypatch):
    monkeypatch.setattr("corridor.outputs.drawings.dxf.find_spec", lambda name: None)
    with pytest.raises(CorridorError, match=r"corridor\[dxf\]"):
        ask(study, "draw", kind="dxf")
