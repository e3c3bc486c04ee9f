"""The page: its data against the GeoPackage read by other libraries, its safety, and what it refuses.

Outside: GDAL (pyogrio) and SQLite read the findings, the standard library's HTML parser reads the page, Bokeh reads its
own plots back; the ground is a plane known by its formula. That a page needs nothing from outside is looked for in the
text and forbidden by its content security policy (W3C CSP level 3); tests/browser looks with the network cut.
"""

import json
import re
import shutil
import sqlite3
from html.parser import HTMLParser

import geopandas
import numpy as np
import pandas
import pyogrio
import pytest
import shapely
from bokeh.document import Document
from bokeh.models import ColumnDataSource

from corridor.cli import main
from corridor.errors import CorridorError, InputError
from corridor.jobs.read_back import plan_layers
from corridor.jobs.report_extras import pack_plan
from corridor.outputs.page.content import LAYERS
from corridor.outputs.page.ground import ask_once, line_nodes, tile_line
from corridor.outputs.page.library import library
from corridor.outputs.page.pack import Packer, quantised, unpack
from corridor.outputs.page.shapes import pack_shapes
from corridor.outputs.planned_for import write_planned_for
from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, plane


class _Reader(HTMLParser):
    """Texts of a page by the id of their element, and every attribute that could load something."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.texts, self.loads, self._id = {}, [], None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self._id = dict(attrs).get("id")
        self.loads += [(tag, name) for name, _ in attrs if name in ("src", "href", "srcset", "action", "poster")]

    def handle_data(self, data):
        if self._id:
            self.texts[self._id] = self.texts.get(self._id, "") + data


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A study of two options with a low road rule, its findings, and the page as text and data."""
    study = TinyStudy(tmp_path_factory.mktemp("page") / "study")
    study.text += SECOND_OPTION + '[capacity]\nfile = "capacity.csv"\n'
    (study.folder / "capacity.csv").write_text("framing,wire,vertical,transverse\nhang,B,4 kN,90 kN\n")
    study.write_ground(lambda e, n: plane(e, n) + 6.0 * (np.abs(e - EAST - 450) < 60),
                       unknown=lambda e, n: np.abs(e - EAST - 800) < 15)
    study.add_roads()
    findings = study.check()
    report = ask(study.path, "report")
    text = report.output.read_text(encoding="utf-8")
    page = _Reader(text)
    return study, findings, report, text, page, unpack(page.texts["data"])


def test_the_page_stands_beside_the_findings_and_says_its_size(made):
    study, _, report, text, _, _ = made
    assert report.output == study.output.with_suffix(".html")
    assert report.size == len(text.encode())


def test_nothing_is_loaded_from_outside(made):
    *_, text, page, _ = made
    assert page.loads == []
    without_data = text.replace(page.texts["data"], "")
    # A name of a vocabulary is no address: W3C, Namespaces in XML 1.0, section 3.
    vocabularies = {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xhtml", "http://www.w3.org/1998/Math/MathML"}
    assert set(re.findall(r"https?://[\w./-]+", without_data)) <= vocabularies
    ours = without_data.replace(library(), "")
    assert len(without_data) - len(ours) > 1e6
    assert not re.search(r"https?:|//[a-z0-9-]+\.[a-z]|@import|url\(", ours)
    assert "default-src 'none'" in ours and "unsafe-eval" not in ours


def test_plots_are_read_back_by_their_library_and_hold_no_data(made):
    *_, page, _ = made
    plots = json.loads(page.texts["plots"])
    assert set(plots) == {"map", "profile", "cut", "sag", "ladder", "calendar"}
    for name, item in plots.items():
        [plot] = Document.from_json(item["doc"]).roots
        assert plot.name == name
        sources = list(plot.select({"type": ColumnDataSource}))
        assert sources and all(not len(column) for source in sources for column in source.data.values())


@pytest.mark.parametrize("name", ["options", "violations", "limits", "ladder", "not_assessed", "inputs"])
def test_tables_hold_every_row_and_value_of_the_layer(made, name):
    _, findings, *_, data = made
    layer = pyogrio.read_dataframe(findings.path, layer=name, read_geometry=False)
    assert len(layer)
    table = data["tables"][name]
    assert set(layer.columns) <= set(table)
    for column in layer.columns:
        if layer[column].dtype.kind in "fiub":
            np.testing.assert_array_equal(table[column], layer[column].to_numpy(float))
        else:
            assert [v or None for v in table[column]] == [v if isinstance(v, str) else None for v in layer[column]]


def test_a_page_tells_how_sure_margins_are_where_the_study_does(made, tmp_path):
    """Layers by GDAL; a page of a study that does not ask says nothing of it."""
    study, *_, data = made
    assert not len(data["tables"]["uncertainty"]["input"]) and "margin_sd_m" not in data["clearances"]
    shutil.copytree(study.folder, tmp_path / "sure")
    sure = TinyStudy(tmp_path / "sure")
    sure.text, sure.output = study.text + "\n[uncertainty]\n", tmp_path / "sure" / "findings.gpkg"
    sure.write_ground(lambda e, n: plane(e, n) + 6.0 * (np.abs(e - EAST - 450) < 60))
    findings = sure.check()
    page = unpack(_Reader(ask(sure.path, "report").output.read_text(encoding="utf-8")).texts["data"])
    for name in ("uncertainty", "violations"):
        layer = pyogrio.read_dataframe(findings.path, layer=name, read_geometry=False)
        assert len(layer)
        for column in {"input", "share", "source", "margin_sd_m", "probability_short"} & set(layer.columns):
            np.testing.assert_array_equal(page["tables"][name][column], layer[column].to_numpy())
    shown, rows = page["clearances"]["probability_short"], findings["clearances"].probability_short
    np.testing.assert_allclose(np.sort(shown), np.sort(rows), atol=0.5e-4 + 1e-12)


def test_margins_of_every_clearance_are_those_of_the_findings_within_their_step_and_never_above(made):
    _, findings, *_, data = made
    with sqlite3.connect(findings.path) as database:
        rows = database.execute("SELECT span, option, \"case\", wire, against, obstacle, margin_m, required_m, "
                                "distance_from_start_m FROM clearances").fetchall()
    c, names = data["clearances"], data["spans"]["span"]
    span = np.repeat(names, np.diff(c["first"]).astype(int))
    keys = ("option", "case", "wire", "against", "obstacle")
    page = {(s, *(c[k][i] for k in keys)): [c[k][i] for k in ("margin_m", "required_m", "distance_from_start_m")]
            for i, s in enumerate(span)}
    assert len(page) == len(rows)
    for *key, margin, required, distance in rows:
        ours = page[tuple(key)]
        assert -1e-9 <= margin - ours[0] <= 1e-4 + 1e-9      # rounded down
        assert ours[1:] == pytest.approx([required, distance], abs=0.0051)
        assert (ours[0] < 0) == (margin < 0)


def test_the_least_shortfall_stays_one():
    margins = np.array([-1e-9, -4e-5, 0.0, 1e-9, np.nan])
    packer = Packer()
    back = unpack(packer.text({"margin": packer.whole(margins, 1e-4, down=True)}))["margin"]
    assert (back < 0).tolist() == [True, True, False, False, False]
    assert np.isnan(back[-1])


@pytest.mark.parametrize("kind", ["int16", "int32"])
def test_numbers_too_great_for_their_steps_get_larger_steps(kind):
    whole, scale = quantised([1e6, -1e6, np.nan, 0.5], 0.01, kind)
    assert scale >= 0.01
    np.testing.assert_allclose(whole[[0, 1]] * scale, [1e6, -1e6], rtol=1e-4)
    assert whole[2] == np.iinfo(kind).min


def test_what_is_not_finite_is_unknown_and_leaves_the_rest():
    """A wire of one metal has its knee nowhere: inf. The rest keeps its steps."""
    whole, scale = quantised([71.07, np.inf, -np.inf], 0.1)
    assert (whole.tolist(), scale) == ([711, *[np.iinfo("int32").min] * 2], 0.1)


def test_wires_lie_where_the_file_has_them(made):
    """Ends and the drops of the page against the vertices of the layer, read by GDAL; 1 cm steps, half of one off."""
    _, findings, *_, data = made
    wires = pyogrio.read_dataframe(findings.path, layer="wires")
    w, names = data["wires"], data["spans"]["span"]
    span = np.repeat(names, np.diff(w["first"]).astype(int))
    number = {(s, w["wire"][i], w["option"][i], w["case"][i]): i for i, s in enumerate(span)}
    assert len(number) == len(wires)
    length = dict(zip(names, data["spans"]["length_m"], strict=True))
    for row in wires.itertuples():
        i = number[row.span, row.wire, row.option, row.case]
        x, z = shapely.get_coordinates(row.geometry, include_z=True)[:, [0, 2]].T
        n = len(z) - 1
        chord = z[0] + (z[-1] - z[0]) * np.arange(n + 1) / n
        drops = (chord - z)[[n // 4, n // 2, 3 * n // 4]]
        assert [w[f"d{k}"][i] for k in range(3)] == pytest.approx(drops, abs=0.006)
        assert [w["z0"][i], w["z1"][i]] == pytest.approx([z[0], z[-1]], abs=0.006)
        # The line runs to the east, so that eastings are distances but for the scale of the grid, 4 in 10,000.
        assert length[row.span] + w["x1"][i] - w["x0"][i] == pytest.approx(x[-1] - x[0], abs=0.14)


def test_ground_of_the_profile_is_the_plane_and_unknown_where_the_raster_is(made):
    """The mean of a plane's neighbours is the plane: nodes away from the bump and the hole must lie on it."""
    *_, data = made
    first = data["ground"]["first"].astype(int)
    for line in data["ground"]["lines"]:
        share = np.linspace(0, 1, first[1])
        on_bump = np.abs(300 * share - 450) < 75
        assert not on_bump.any()
        offset = (line[0] - plane(EAST, NORTH)) / -0.01      # metres right of the line, which runs to the east
        np.testing.assert_allclose(line[:first[1]], plane(EAST + 300 * share, NORTH - offset), atol=0.011)
    assert np.isnan(data["ground"]["lines"][0][first[2]:first[3]]).any()


def test_ground_lines_lie_beside_the_span_they_belong_to():
    route = np.array([[[0.0, 0.0], [30.0, 40.0]]])
    nodes = line_nodes(route, np.array([50.0]), np.array([[0.0], [5.0]]))
    first, lines = nodes.first, (nodes.easting + 1000 * nodes.northing).T
    assert lines[0][[0, -1]].tolist() == [0.0, 40030.0]
    # Right of a line that goes to (3, 4) / 5 is (4, -3) / 5.
    assert lines[1][0] == pytest.approx(4 - 3000)
    assert first.tolist() == [0, lines.shape[1]]


def test_shading_knows_slope_and_ignorance():
    """Lambert's law: a level ground gets the cosine of the sun's zenith angle, 45 degrees; a slope to the sun more."""
    route = np.array([[[0.0, 0.0], [400.0, 0.0]]])
    tiles = tile_line(route)
    fall = 0.2 * (tiles.easting - tiles.northing)           # to the north-west, where the light is
    level, toward, away, unknown = (tiles.shaded(ground) for ground in (0 * fall, fall, -fall, np.nan * fall))
    seen = level.light > 0
    assert set(level.light[seen]) == {int(1 + 254 * np.sqrt(0.5))}
    assert toward.light[seen].min() > level.light[seen].max() > away.light[seen].max()
    assert not unknown.light.any()
    known_area = seen.sum() * level.cell**2
    # Within 450 m of a line of 400 m: a rectangle and a circle; pixels at its rim lack a neighbour.
    assert known_area == pytest.approx(400 * 900 + np.pi * 450**2, rel=0.05)


def test_places_are_asked_once_square_by_square_and_come_back_in_their_order():
    generator = np.random.default_rng(3)
    first, second = generator.uniform(-2000, 2000, (2, 500)), generator.uniform(-2000, 2000, (2, 40, 3))
    seen = []

    def sample(e, n):
        seen.extend(zip(np.floor(e / 256), np.floor(n / 256), strict=True))
        return e - 3 * n

    for places, elevation in zip((first, second), ask_once(sample, first, second), strict=True):
        np.testing.assert_array_equal(elevation, places[0] - 3 * places[1])
    squares = [square for square, before in zip(seen, [None, *seen], strict=False) if square != before]
    assert len(squares) == len(set(squares)) > 100


def test_less_ground_is_shown_beside_a_long_line(monkeypatch):
    """Of 3 km² a line of 5 km gets 300 m to either side, one of 40 km the least, one of 100 m no more than 450 m."""
    monkeypatch.setattr("corridor.outputs.page.ground.AREA", 3e6)

    def widest(length):
        tiles = tile_line(np.array([[[0.0, 0.0], [length, 0.0]]]))
        return np.abs(tiles.northing).max(), tiles.cell

    for length, reach in ((4e4, 60.0), (5e3, 300.0), (100.0, 450.0)):
        found, cell = widest(length)
        assert reach - 1.5 * cell <= found <= reach + 1e-6


def test_outlines_keep_holes_and_the_widths_of_lines():
    """Areas by the shoelace formula: shell less hole; a straight road of 40 m by 2 x 3 m."""
    court = shapely.Polygon([(0, 0), (10, 0), (10, 10), (0, 10)], [[(2, 2), (2, 6), (6, 6), (6, 2)]])
    parts = np.array([court, shapely.LineString([(0, 20), (40, 20)]), shapely.Point(5, 30)], object)
    names, packer = np.array(["court", "lane", "tree"], object), Packer()
    route = np.array([[[0.0, 0.0], [50.0, 0.0]]])
    packed = pack_shapes(parts, names, names, np.array([np.nan, 3.0, 2.0]), route, packer)
    d = unpack(packer.text(packed))
    assert d["kind"].tolist() == [2, 2, 0] and d["name"].tolist() == names.tolist()
    assert [_area(d, 0), _area(d, 1)] == pytest.approx([100 - 16, 240])
    assert np.diff(d["piece"]).tolist() == [2, 1, 1]


@pytest.fixture(scope="module")
def swung(tmp_path_factory):
    """A page, and its violations, of a wire that is blown over a bank, falling and standing trees, and a road."""
    study = TinyStudy(tmp_path_factory.mktemp("swung") / "study")
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.rules = ("rule,against,measure,base\nopen,ground,vertical,6\nroad,road,vertical,9\ntree,tree,radial,4\n"
                   "fall,falling_tree,radial,3\n")
    study.write_ground(lambda e, n: plane(e, n) + 8.0 * ((n - NORTH < -7) & (np.abs(e - EAST - 450) < 60)), cell=2.0)
    study.add_roads()
    places = shapely.points([[EAST + 140.0, NORTH + 12.0], [EAST + 760.0, NORTH + 5.5]])
    study.add_obstacle("trees", "tree", places, 'height_column = "height"\nradius = 0.5\nfalls = true',
                       height=[14.0, 10.0])
    findings = study.check()
    page = unpack(_Reader(ask(study.path, "report").output.read_text(encoding="utf-8")).texts["data"])
    return page, findings["violations"]


def _lines(d, k):
    """Lines of a packed cross-section: kind and places (n, 2) [m]."""
    for line in range(int(d["first"][k]), int(d["first"][k + 1])):
        part = slice(int(d["place"][line]), int(d["place"][line + 1]))
        yield d["kind"][line], np.column_stack([d["x"][part], d["z"][part]])


def test_cross_sections_have_the_lengths_of_their_rows(swung):
    """Of every row that has a place: a straight line, or a circle about the wire, as long as the row says (3 mm)."""
    page, rows = swung
    d, wire = page["cuts"], page["cuts"]["wire"].reshape(-1, 2)
    assert {"vertical", "radial"} <= set(rows["measure"]) and (rows["position"] == "falling").any()
    for i, row in enumerate(rows.itertuples()):
        k = int(d["of"][i])
        assert k >= 0 and wire[k] == pytest.approx([row.offset_m, row.wire_elevation_m], abs=1e-3)
        drawn = dict(_lines(d, k))
        for kind, length in (("required", row.required_m), ("actual", row.actual_m)):
            far = np.hypot(*(drawn[kind] - wire[k]).T)
            assert (far.max() if len(far) == 2 else far.mean()) == pytest.approx(abs(length), abs=0.003)


def test_what_is_there_ends_at_the_ground_or_the_thing_that_counts(swung):
    """Below the wire the ground; of a falling tree the arc of its top: the wire is as far off it as the row says."""
    page, rows = swung
    d = page["cuts"]
    across = d["known"].reshape(-1, 2)
    ground, seen = d["ground"].reshape(len(across), -1), set()
    for i, row in enumerate(rows.itertuples()):
        k, drawn = int(d["of"][i]), dict(_lines(d, int(d["of"][i])))
        if row.against == "ground" and row.measure == "vertical":
            below = np.interp(row.offset_m, np.linspace(*across[k], ground.shape[1]), ground[k])
            assert row.wire_elevation_m - row.actual_m == pytest.approx(below, abs=0.02)
            seen.add("ground")
        if row.position == "falling":
            # Below zero the wire is within the reach of the top.
            far = np.hypot(*(drawn["fall"] - [row.offset_m, row.wire_elevation_m]).T).min()
            assert far == pytest.approx(abs(row.actual_m), abs=0.03)
            seen.add("falling")
    assert seen == {"ground", "falling"}


def test_what_stands_beside_is_packed_at_its_own_height(swung):
    """Feet on the plane of the formula, tops as high above it as the layer says: not at the height of the wire."""
    page, _ = swung
    d = page["shapes"]
    point = np.flatnonzero(d["kind"] == 0)
    assert len(point)
    for k in point:
        at = int(d["place"][int(d["piece"][k])])
        foot = plane(d["origin"][0] + d["e"][at], d["origin"][1] + d["n"][at])
        assert d["foot"][k] == pytest.approx(foot, abs=0.3) and d["top"][k] - d["foot"][k] > 1


def _area(d, i):
    """Area of a packed shape [m²]: its first piece less the others."""
    areas = []
    for k in range(int(d["piece"][i]), int(d["piece"][i + 1])):
        e, n = (d[axis][int(d["place"][k]):int(d["place"][k + 1])] for axis in ("e", "n"))
        areas.append(abs(np.sum(e[:-1] * n[1:] - e[1:] * n[:-1])) / 2)
    return 2 * areas[0] - sum(areas)


def test_envelopes_are_those_of_the_findings(made):
    _, findings, *_, data = made
    rows = pyogrio.read_dataframe(findings.path, layer="swing_envelopes")
    d, spans = data["envelopes"], data["spans"]["span"]
    span = np.repeat(spans, np.diff(d["first"]).astype(int))
    place = {(span[i], d["option"][i], d["case"][i]): i for i in range(len(span))}
    assert len(place) == len(rows) > 0
    for row in rows.itertuples():
        i = place[row.span, row.option, row.case]
        assert _area(d, i) == pytest.approx(row.geometry.area, rel=0.03)       # outlines are simplified by 0.2 m
        assert d["room_m"][i] == pytest.approx(min(row.room_left_m, row.room_right_m), abs=1.1e-3, nan_ok=True)


def test_curves_end_where_the_findings_have_the_section_and_know_its_knee(made):
    """A curve at the temperature of a case, and its knee, against the layer `sections`, read by SQLite."""
    _, findings, *_, data = made
    c, options = data["curves"], data["names"]["option"]
    with sqlite3.connect(findings.path) as database:
        rows = database.execute("""SELECT section, "option", temperature_c, catenary_constant_m, knee_temperature_c,
            knee_low_c, knee_high_c FROM sections WHERE wire_kind = 'phase' AND "case" = 'hot'""").fetchall()
    compared = 0
    for section, option, T, constant, *knee in rows:
        s, o = list(c["section"]).index(section), options.index(option)
        steps, C = c["temperature"][o], c["constant"][o].reshape(len(c["section"]), -1)[s]
        assert steps[-1] >= T and (np.diff(steps) > 0).all() and (np.diff(C) < 0).all()
        assert np.interp(T, steps, C) == pytest.approx(constant, rel=2e-4)     # between points 5 K apart
        found = [c[key].reshape(len(c["section"]), -1)[s, o] for key in ("knee", "knee_low", "knee_high")]
        assert found == pytest.approx([np.nan if k is None else k for k in knee], abs=0.051, nan_ok=True)
        compared += steps[-1] == T
    assert compared and [["hot", 75.0]] == [case for case in c["bare"][0] if case[0] == "hot"]


def test_loads_are_the_worst_of_every_structure(made):
    _, findings, *_, data = made
    with sqlite3.connect(findings.path) as database:
        rows = database.execute("""SELECT structure, "option", max(ratio_to_existing) FROM structure_loads
            GROUP BY 1, 2""").fetchall()
        lifted = set(database.execute("""SELECT DISTINCT structure, "option", wire FROM structure_loads
            WHERE uplift"""))
        full = set(database.execute("""SELECT structure, "option", max(of_capacity), over_capacity FROM structure_loads
            WHERE of_capacity NOT NULL GROUP BY 1, 2"""))
    t, found = data["tables"]["structure_loads"], {}
    for key, ratio in zip(zip(t["structure"], t["option"], strict=True), t["ratio_to_existing"], strict=True):
        found[key] = max(found.get(key, ratio), ratio)
    assert rows and found == {(structure, option): ratio for structure, option, ratio in rows}
    assert lifted <= set(zip(*(t[name] for name in ("structure", "option", "wire")), strict=True))
    assert full <= set(zip(*(t[name] for name in ("structure", "option", "of_capacity", "over_capacity")), strict=True))
    assert {over for *_, over in full} == {1}


def test_options_stand_beside_each_other_with_the_numbers_of_the_findings(made):
    _, findings, _, text, *_ = made
    [table] = re.findall(r"<table><thead>.*?</table>", text)
    rows = [re.findall(r"<t[hd]>(.*?)</t[hd]>", row) for row in table.split("</tr>")]
    shown = {row[0]: row[1:] for row in rows if row}
    with sqlite3.connect(findings.path) as database:
        for i, option in enumerate(shown["of the options"]):
            def one(query, option=option):
                return database.execute(query, (option,)).fetchone()[0]

            assert int(shown["violations"][i]) == one('SELECT count(*) FROM violations WHERE "option" = ?')
            sag = one("""SELECT max(sag_m) FROM wires WHERE kind = 'phase' AND "case" = 'hot' AND "option" = ?""")
            assert shown["maximum sag, hot [m]"][i] == f"{sag:.2f}"
            rts = one('SELECT rated_strength_n FROM options WHERE "option" = ?')
            assert shown["rated strength (RTS) [kN]"][i] == f"{rts / 1e3:.1f}"


def test_a_plan_beside_the_findings_is_shown(made, tmp_path):
    """Layers as `corridor plan` writes them: a raise where two spans meet, a pull of the third span."""
    study, findings, *_ = made
    spans = pyogrio.read_dataframe(findings.path, layer="spans")
    first, second, third = spans.geometry.force_2d()[:3]
    items = geopandas.GeoDataFrame(
        {"item": ["raise 2", "pull 3-4"], "kind": ["raise", "pull"], "outage": [1, 2], "start_h": [0.0, 8.0],
         "end_h": [8.0, 20.0], "hours": [8.0, 12.0], "circuits_out": ["c1", None],
         "start": pandas.to_datetime(["2027-03-01T07:00", None])},
        geometry=[shapely.union_all([first, second]), third], crs=spans.crs)
    path = tmp_path / "plan.gpkg"
    pyogrio.write_dataframe(items, path, layer="work_items", promote_to_multi=True)
    costs = pandas.DataFrame({"part": ["remedies", "wire"], "cost": [12.5, np.nan], "currency": "kEUR"})
    pyogrio.write_dataframe(costs, path, layer="costs", append=True)
    source = shutil.copy(findings.path, tmp_path / "findings.gpkg")
    write_planned_for(path, source)
    route, packer = shapely.get_coordinates(spans.geometry).reshape(-1, 2, 2), Packer()
    assert pack_plan(plan_layers(tmp_path / "none" / "findings.gpkg"), route, packer) is None
    plan = unpack(packer.text(pack_plan(plan_layers(source), route, packer)))
    assert plan["span_first"].tolist() == [0, 2, 3] and plan["span"].tolist() == [0, 1, 2]
    work = plan["work_items"]
    assert [work["easting"][0], work["northing"][0]] == pytest.approx(first.coords[1], abs=0.006)
    assert np.isnan(work["easting"][1]) and work["circuits_out"].tolist() == ["c1", None]
    assert work["start"].tolist() == ["2027-03-01 07:00", None]
    assert plan["costs"]["currency"].tolist() == ["kEUR", "kEUR"]
    np.testing.assert_array_equal(plan["costs"]["cost"], [12.5, np.nan])


def test_a_missing_library_is_named_with_its_extra(made, monkeypatch, tmp_path):
    study, *_ = made
    monkeypatch.setattr("corridor.outputs.page.library.find_spec", lambda name: None)
    with pytest.raises(CorridorError, match=re.escape("pip install 'corridor[html]'")):
        ask(study.path, "report", output=tmp_path / "page.html")
    assert not (tmp_path / "page.html").exists()


def test_findings_of_another_version_are_refused(made, tmp_path):
    study, findings, *_ = made
    other = tmp_path / "other.gpkg"
    shutil.copy(findings.path, other)
    with sqlite3.connect(other) as database:
        database.execute("ALTER TABLE ladder DROP COLUMN note")
    database.close()
    with pytest.raises(InputError, match="ladder.note.*another version.*corridor check"):
        ask(study.path, "report", findings=other)


def test_words_of_a_study_cannot_become_markup(made):
    study, findings, *_ = made
    title = "</title><script>alert(1)</script> & [[data]]"
    other = TinyStudy(study.folder.parent / "other")
    other.change("[study]", f'[study]\ntitle = "{title}"')
    other.check()
    text = ask(other.path, "report").output.read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert "&lt;/title&gt;&lt;script&gt;alert(1)&lt;/script&gt; &amp; [[data]]" in text


def test_findings_of_what_has_changed_are_refused(made, tmp_path):
    study = TinyStudy(tmp_path / "study")
    study.write()
    with pytest.raises(InputError, match="no such file.*corridor check"):
        ask(study.path, "report")
    study.check()
    target = tmp_path / "page.html"
    study.path.write_text(study.text + "\n# changed\n", encoding="utf-8")
    with pytest.raises(InputError, match="study_digest"):
        ask(study.path, "report", output=target)
    study.path.write_text(study.text, encoding="utf-8")
    study.write_ground(lambda e, n: plane(e, n) + 1)
    with pytest.raises(InputError, match=re.escape("another ground.tif")):
        ask(study.path, "report", output=target)
    assert not target.exists()


@pytest.mark.parametrize("content", [b"my thesis", b""])
def test_another_file_is_never_replaced(made, tmp_path, content):
    study, *_ = made
    target = tmp_path / "page.html"
    target.write_bytes(content)
    with pytest.raises(InputError, match="a file that corridor did not write"):
        ask(study.path, "report", output=target)
    assert target.read_bytes() == content


def test_the_same_findings_make_the_same_page(made, tmp_path):
    study, _, _, text, *_ = made
    again = ask(study.path, "report", output=tmp_path / "again.html")
    assert again.output.read_text(encoding="utf-8") == text


def test_all_layers_that_a_page_needs_are_layers_of_the_findings(made):
    _, findings, *_ = made
    assert set(LAYERS) <= {name for name, _ in pyogrio.list_layers(findings.path)}


def test_json_of_the_check_is_one_object_that_agrees_with_the_file(made, tmp_path, capfd):
    study, findings, *_ = made
    with pytest.raises(SystemExit) as end:
        main(["check", str(study.path), "--json", "-o", str(tmp_path / "f.gpkg")])
    out, err = capfd.readouterr()
    result = json.loads(out, parse_constant=lambda word: pytest.fail(f"{word} is no JSON (RFC 8259)"))
    assert (result["status"], err) == (end.value.code, "")
    with sqlite3.connect(findings.path) as database:
        counts = [database.execute(f"SELECT count(*) FROM {name}").fetchone()[0]
                  for name in ("violations", "not_assessed")]
        margins = database.execute('SELECT "option", worst_margin_m FROM options').fetchall()
    assert [result["violations"], result["not_assessed"]] == counts
    assert [(row["option"], row["worst_margin_m"]) for row in result["options"]] == [
        (name, pytest.approx(value)) for name, value in margins]
