"""The page in a real browser, with the network cut: Chromium, driven over the W3C WebDriver protocol.

Opt-in: skipped where Chromium, its driver or the package selenium is missing.
"""

import shutil
import sqlite3

import geopandas
import numpy as np
import pyogrio
import pytest
import shapely

from corridor.outputs.planned_for import write_planned_for
from tests.common import ask
from tests.end_to_end.conftest import EAST, SECOND_OPTION, TinyStudy, plane

selenium = pytest.importorskip("selenium", reason="needs the package selenium: pip install selenium")
from selenium import webdriver  # noqa: E402
from selenium.webdriver.common.by import By  # noqa: E402
from selenium.webdriver.support.ui import Select, WebDriverWait  # noqa: E402

_BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")
_DRIVER = shutil.which("chromedriver")
pytestmark = [
    pytest.mark.skipif(not (_BROWSER and _DRIVER), reason="needs Chromium and chromedriver on the path"),
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
]


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    study = TinyStudy(tmp_path_factory.mktemp("browser") / "study")
    study.text += SECOND_OPTION
    study.write_ground(lambda e, n: plane(e, n) + 6.0 * (np.abs(e - EAST - 450) < 60),
                       unknown=lambda e, n: np.abs(e - EAST - 800) < 15)
    study.add_roads()
    study.check()
    return study.output, ask(study.path, "report").output


@pytest.fixture(scope="module")
def browser(findings):
    options = webdriver.ChromeOptions()
    for flag in ("--headless=new", "--no-sandbox", "--window-size=1300,1500", "--proxy-server=127.0.0.1:9"):
        options.add_argument(flag)
    options.binary_location = _BROWSER
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(_DRIVER))
    driver.get(findings[1].as_uri())
    WebDriverWait(driver, 10).until(lambda d: d.execute_script("return document.body.dataset.ready") == "yes")
    yield driver
    driver.quit()


def _query(path, text, *values):
    with sqlite3.connect(path) as database:
        return database.execute(text, values).fetchall()


def _state(browser):
    return browser.execute_script("return {...document.body.dataset, view: {...corridorPage.map.view}}")


def _drawn(browser, plot, source):
    """Columns of a source of a plot."""
    return browser.execute_script(
        "const s = corridorPage.plots[arguments[0]].find(arguments[1]);"
        "return Object.fromEntries(s.columns().map(c => [c, [...s.data[c]]]))", plot, source)


def _pixel(browser, plot, east, north):
    """Where a place of a plot lies, from the corner of its element [px]."""
    return browser.execute_script(
        "const p = corridorPage.plots[arguments[0]], {x_range: x, y_range: y} = p.figure, [dx, dy] = p.pixel;"
        "const view = p.views.get(p.figure), box = view.el.getBoundingClientRect(), own = p.element"
        ".getBoundingClientRect(), frame = view.frame.bbox;"
        "return [box.left - own.left + frame.left + (arguments[1] - x.start) / dx,"
        " box.top - own.top + frame.bottom - (arguments[2] - y.start) / dy]", plot, float(east), float(north))


def _cells(browser, part, column):
    """Texts of a column of a table, by its heading."""
    return browser.execute_script(
        "const t = document.querySelector(`#${arguments[0]} table`);"
        "const k = [...t.tHead.rows[0].cells].findIndex(c => c.textContent === arguments[1]);"
        "return [...t.tBodies[0].rows].map(r => r.cells[k].textContent)", part, column)


def test_it_loads_without_a_word_on_the_console_and_asks_for_nothing(browser):
    assert browser.get_log("browser") == []
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0


def test_switching_the_option_shows_the_values_of_the_findings(browser, findings):
    for option in ("alloy", "today"):
        Select(browser.find_element(By.ID, "option")).select_by_visible_text(option)
        rows = _query(findings[0], 'SELECT margin_m FROM violations WHERE "option" = ? ORDER BY margin_m', option)
        assert rows
        assert [float(text) for text in _cells(browser, "violations", "Margin [m]")] == pytest.approx(
            [row[0] for row in rows], abs=0.00501)
        limits = _query(findings[0], 'SELECT span, limit_temperature_c FROM limits WHERE "option" = ?', option)
        shown = dict(zip(_cells(browser, "limits", "Span"), _cells(browser, "limits", "Limit temperature [°C]"),
                         strict=True))
        assert shown == {span: "" if value is None else f"{value:.1f}" for span, value in limits}


def test_switching_the_case_leaves_its_rows(browser, findings):
    case = Select(browser.find_element(By.ID, "case"))
    case.select_by_visible_text("hot")
    assert set(_cells(browser, "violations", "Case")) == {"hot"}
    count = _query(findings[0], """SELECT count(*) FROM violations WHERE "option" = 'today' AND "case" = 'hot'""")
    assert len(_cells(browser, "violations", "Case")) == count[0][0]
    case.select_by_visible_text("every case")


def test_a_violation_chosen_in_the_table_moves_map_and_profile(browser, findings):
    browser.find_element(By.ID, "after").click()
    browser.find_element(By.ID, "all").click()
    before, rings = _state(browser), {name: _drawn(browser, name, "rings") for name in ("map", "profile")}
    row = browser.find_element(By.CSS_SELECTOR, "#violations tbody tr")
    browser.execute_script("arguments[0].click()", row)
    after = _state(browser)
    assert after["violation"] == row.get_attribute("data-row") != before["violation"]
    worst = _query(findings[0], """SELECT span, station_m, distance_from_start_m, wire_elevation_m FROM violations
                                   WHERE "option" = 'today' ORDER BY margin_m LIMIT 1""")[0]
    assert after["span"] == worst[0]
    # The map is centred on the place: the line runs to the east, station and easting differ by the scale of the grid.
    assert after["view"]["e"] - EAST == pytest.approx(worst[1], rel=5e-4)
    assert after["view"]["scale"] > 1.5 * before["view"]["scale"]
    assert all(_drawn(browser, name, "rings") != old for name, old in rings.items())
    assert worst[3] in [pytest.approx(y) for y in _drawn(browser, "profile", "rings")["y"]]
    title = browser.find_element(By.ID, "sag-title").text
    assert worst[0] in title


def test_a_click_on_the_map_chooses_the_span_there_and_one_on_the_profile_the_mark(browser):
    browser.execute_script("window.scrollTo(0, 0); corridorPage.map.fit([0, 1, 2])")
    (a, b), (c, d) = browser.execute_script("return corridorPage.map.ends(2)")
    _click(browser, "map", _pixel(browser, "map", (a + c) / 2, (b + d) / 2), 6)
    assert _state(browser)["span"] == "3-4" and _state(browser)["violation"] == ""
    browser.execute_script("corridorPage.chooseSpan(1)")
    mark = browser.execute_script("return corridorPage.profile.marks[0]")
    _click(browser, "profile", _pixel(browser, "profile", *mark["at"]))
    assert _state(browser)["violation"] == str(mark["k"])


def test_spans_wear_what_they_come_to_by_width_and_dash(browser, findings):
    looks = dict(zip(_drawn(browser, "map", "spans")["tip"], zip(*(_drawn(browser, "map", "spans")[name] for name in
                 ("width", "dash")), strict=True), strict=True))
    for tip, (width, dash) in looks.items():
        assert ("violation" in tip) == (width == 6) and ("not assessed" in tip) == (dash == "7 5")


def test_sag_over_temperature_meets_the_findings(browser, findings):
    """The dots are rows of the layer `wires`; the curve, by the ruling span, lies within a few cm of them."""
    browser.execute_script("corridorPage.changeKeys('today', null); corridorPage.chooseSpan(1)")
    marks, lines = _drawn(browser, "sag", "marks"), _drawn(browser, "sag", "lines")
    dots = [(x, y) for x, y, kind in zip(marks["x"], marks["y"], marks["marker"], strict=True) if kind == "circle"]
    rows = _query(findings[0], """SELECT conductor_temperature_c, sag_m FROM wires WHERE span = '2-3' AND wire = 'A'
                                  AND "case" = 'hot'""")
    assert len(rows) == 2 and sorted(dots) == [pytest.approx(row, abs=0.0051) for row in sorted(rows)]
    curves = [np.interp(x, xs, ys) for (x, y) in sorted(dots) for xs, ys, name in
              zip(lines["xs"], lines["ys"], lines["tip"], strict=True) if (name == "today") == (x == 75)]
    assert curves == pytest.approx([y for _, y in sorted(dots)], abs=0.25)


def test_a_row_of_a_section_shows_all_of_it(browser, findings):
    row = browser.find_element(By.CSS_SELECTOR, "#sections tbody tr")
    name = _cells(browser, "sections", "Section")[0]
    browser.execute_script("arguments[0].click()", row)
    spans = _query(findings[0], "SELECT count(*) FROM spans WHERE section = ?", name)[0][0]
    poles = [x0 for x0, x1, width in zip(*(_drawn(browser, "profile", "bars")[k] for k in ("x0", "x1", "width")),
                                         strict=True) if width == 3 and x0 == x1]
    assert len(poles) == spans + 1
    browser.execute_script("document.getElementById('extent').value = corridorPage.extent = 'span'")


def test_names_are_words_in_tips_and_keys(browser):
    """HTML living standard: text set as text is no markup; a tip is shown by the library from a column."""
    browser.execute_script("window.touched = 0; const s = corridorPage.plots.map.find('spans'), data = {...s.data};"
                           "data.tip = data.tip.map(() => '<img src=x onerror=\"window.touched = 1\">'); s.data = data;"
                           "window.scrollTo(0, 0); corridorPage.map.fit([0, 1, 2])")
    (a, b), (c, d) = browser.execute_script("return corridorPage.map.ends(2)")
    _click(browser, "map", _pixel(browser, "map", a + 0.4 * (c - a), (b + d) / 2), click=False)
    WebDriverWait(browser, 3).until(lambda x: "onerror" in x.execute_script(_TIPS))
    assert browser.execute_script("return window.touched") == 0
    browser.execute_script("corridorPage.map.draw()")


#: All text of the page, that of shadow trees included.
_TIPS = """const read = root => [...root.querySelectorAll("*")].map(e => e.shadowRoot ? e.shadowRoot.textContent +
read(e.shadowRoot) : "").join(""); return read(document)"""


def test_on_paper_pictures_stand_for_plots(browser):
    browser.execute_script("window.dispatchEvent(new Event('beforeprint'))")
    pictures = browser.execute_script("return [...document.querySelectorAll('img.paper')].filter(i => "
                                      "!i.closest('[hidden]')).map(i => [i.src.slice(0, 22), i.src.length, i.alt])")
    assert len(pictures) >= 4 and all(src.startswith("data:image/png;base64") and length > 5000 and alt
                                      for src, length, alt in pictures)


def _click(browser, name, point, below=0, *, click=True):
    from selenium.webdriver import ActionChains

    plot = browser.find_element(By.ID, name)
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", plot)
    size = plot.size
    actions = ActionChains(browser).move_to_element_with_offset(
        plot, point[0] - size["width"] / 2, point[1] + below - size["height"] / 2)
    (actions.click() if click else actions.move_by_offset(1, 0)).perform()
    browser.execute_async_script("setTimeout(arguments[0], 60)")


def test_a_span_of_unknown_ground_is_never_shown_as_clear(browser, findings):
    standing = browser.execute_script("return Object.fromEntries(corridorPage.standing.map((s, i) => "
                                      "[corridorPage.title(i), s]))")
    gaps = {row[0] for row in _query(findings[0], "SELECT DISTINCT span FROM not_assessed WHERE span IS NOT NULL")}
    short = {row[0] for row in _query(findings[0], """SELECT DISTINCT span FROM violations WHERE "option" = 'today'""")}
    assert gaps - short and all(standing[span] == "unknown" for span in gaps - short)
    assert short and all(standing[span] == "short" for span in short)


def test_headings_sort(browser):
    heading = browser.find_element(By.CSS_SELECTOR, "#limits th")
    browser.execute_script("arguments[0].click()", heading)
    up = _cells(browser, "limits", "Span")
    browser.execute_script("document.querySelector('#limits th').click()")
    assert up == sorted(up) and _cells(browser, "limits", "Span") == up[::-1]


def test_a_plan_beside_the_findings_gets_a_calendar(browser, findings):
    """Last, for it opens another page. Work as `corridor plan` writes it, in layers that GDAL wrote."""
    spans = pyogrio.read_dataframe(findings[0], layer="spans")
    work = geopandas.GeoDataFrame(
        {"item": ["2: raise by 1 m", "pull 3-4"], "kind": ["raise", "pull"], "outage": [1, 2], "start_h": [0.0, 8.0],
         "end_h": [8.0, 20.0], "hours": [8.0, 12.0], "circuits_out": ["one", "one, other"]},
        geometry=[shapely.union_all(spans.geometry[:2].force_2d()), spans.geometry[2]], crs=spans.crs)
    pyogrio.write_dataframe(work, findings[0].with_name("plan.gpkg"), layer="work_items", promote_to_multi=True)
    write_planned_for(findings[0].with_name("plan.gpkg"), findings[0])
    study = findings[0].with_name("study.toml")
    browser.get(ask(study, "report", output=findings[1].with_name("planned.html")).output.as_uri())
    WebDriverWait(browser, 20).until(lambda d: d.execute_script("return document.body.dataset.ready") == "yes")
    bars = _drawn(browser, "calendar", "bars")
    assert (bars["item"], bars["left"], bars["right"]) == (list(work["item"]), [0, 8], [8, 20])
    assert bars["hatch"][0] != bars["hatch"][1]
    assert len(_drawn(browser, "map", "work")["xs"]) == 1 and len(_drawn(browser, "map", "raises")["x"]) == 1
    assert _cells(browser, "work_items", "Item") == list(work["item"])
    assert browser.title.startswith("Plan: ")       # a page with a plan is told from that without
    names = _drawn(browser, "map", "names")
    dx, dy = browser.execute_script("return corridorPage.plots.map.pixel")
    boxes = [(x / dx + a, y / dy - b, 7.4 * len(words)) for x, y, a, b, words in zip(
        *(names[key] for key in ("x", "y", "dx", "dy", "text")), strict=True)]
    assert len(boxes) > 3 and not [1 for k, (a, b, w) in enumerate(boxes) for c, d, v in boxes[:k]
                                   if a < c + v and c < a + w and abs(b - d) < 14]
    assert browser.get_log("browser") == []
