"""The page: its data against the GeoPackage read by other libraries, its safety, and what it refuses.

Outside: GDAL (pyogrio) and SQLite read the findings, the standard library's HTML parser reads the page; the ground is a
plane known by its formula. That a page needs nothing from outside is looked for in the text and forbidden by its
content security policy (W3C CSP level 3); tests/browser looks with the network cut.
"""

import json
import re
import sqlite3
from html.parser import HTMLParser

import numpy as np
import pyogrio
import pytest
import shapely

from corridor.cli import main
from corridor.errors import InputError
from corridor.jobs.report import report_study
from corridor.outputs.page.content import LAYERS
from corridor.outputs.page.ground import ground_lines, shade
from corridor.outputs.page.pack import Packer, quantised, unpack
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
    study.text += SECOND_OPTION
    study.write_ground(lambda e, n: plane(e, n) + 6.0 * (np.abs(e - EAST - 450) < 60),
                       unknown=lambda e, n: np.abs(e - EAST - 800) < 15)
    study.add_roads()
    findings = study.check()
    report = report_study(study.path)
    text = report.output.read_text(encoding="utf-8")
    page = _Reader(text)
    return study, findings, report, text, page, unpack(page.texts["data"])


def test_the_page_stands_beside_the_findings_and_says_its_size(made):
    study, _, report, text, _, _ = made
    assert report.output == study.output.with_suffix(".html")
    assert report.size == len(text.encode())


def test_nothing_is_loaded_from_outside(made):
    *_, text, page, _ = made
    without_data = text.replace(page.texts["data"], "")
    assert page.loads == []
    assert not re.search(r"https?:|//[a-z0-9-]+\.[a-z]|@import|url\(", without_data)
    assert "default-src 'none'" in without_data


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
    first, lines = ground_lines(lambda e, n: e + 1000 * n, route, np.array([50.0]), np.array([[0.0], [5.0]]))
    assert lines[0][[0, -1]].tolist() == [0.0, 40030.0]
    # Right of a line that goes to (3, 4) / 5 is (4, -3) / 5.
    assert lines[1][0] == pytest.approx(4 - 3000)
    assert first.tolist() == [0, lines.shape[1]]


def test_shading_knows_slope_and_ignorance():
    """Lambert's law: a level ground gets the cosine of the sun's zenith angle, 45 degrees; a slope to the sun more."""
    route = np.array([[[0.0, 0.0], [400.0, 0.0]]])
    level = shade(lambda e, n: np.zeros_like(e), route)
    toward = shade(lambda e, n: 0.2 * (e - n), route)           # falls to the north-west, where the light is
    away = shade(lambda e, n: -0.2 * (e - n), route)
    unknown = shade(lambda e, n: np.full_like(e, np.nan), route)
    seen = level.light > 0
    assert set(level.light[seen]) == {int(1 + 254 * np.sqrt(0.5))}
    assert toward.light[seen].min() > level.light[seen].max() > away.light[seen].max()
    assert not unknown.light.any()
    known_area = seen.sum() * level.cell**2
    # Within 450 m of a line of 400 m: a rectangle and a circle; pixels at its rim lack a neighbour.
    assert known_area == pytest.approx(400 * 900 + np.pi * 450**2, rel=0.05)


def test_words_of_a_study_cannot_become_markup(made):
    study, findings, *_ = made
    title = "</title><script>alert(1)</script> & [[data]]"
    other = TinyStudy(study.folder.parent / "other")
    other.change("[study]", f'[study]\ntitle = "{title}"')
    other.check()
    text = report_study(other.path).output.read_text(encoding="utf-8")
    assert "<script>alert" not in text
    assert "&lt;/title&gt;&lt;script&gt;alert(1)&lt;/script&gt; &amp; [[data]]" in text


def test_findings_of_what_has_changed_are_refused(made, tmp_path):
    study = TinyStudy(tmp_path / "study")
    study.write()
    with pytest.raises(InputError, match="no such file.*corridor check"):
        report_study(study.path)
    study.check()
    target = tmp_path / "page.html"
    study.path.write_text(study.text + "\n# changed\n", encoding="utf-8")
    with pytest.raises(InputError, match="study_digest"):
        report_study(study.path, output=target)
    study.path.write_text(study.text, encoding="utf-8")
    study.write_ground(lambda e, n: plane(e, n) + 1)
    with pytest.raises(InputError, match=re.escape("another ground.tif")):
        report_study(study.path, output=target)
    assert not target.exists()


@pytest.mark.parametrize("content", [b"my thesis", b""])
def test_another_file_is_never_replaced(made, tmp_path, content):
    study, *_ = made
    target = tmp_path / "page.html"
    target.write_bytes(content)
    with pytest.raises(InputError, match="no page of corridor"):
        report_study(study.path, output=target)
    assert target.read_bytes() == content


def test_the_same_findings_make_the_same_page(made, tmp_path):
    study, _, _, text, *_ = made
    again = report_study(study.path, output=tmp_path / "again.html")
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
