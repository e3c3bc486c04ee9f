"""The page in use, on a desk and on a telephone, in Chromium: opt-in as in test_page.py.

Outside: GDAL reads the findings; colours and places of boxes are those that the browser computed. 390 pixels are a
common width of telephones (common practice, no source).
"""

import shutil
from urllib.parse import quote

import numpy as np
import pytest
import shapely

from tests.common import ask
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy, plane

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
def study(tmp_path_factory):
    """Two options; a wire is blown over a bank, trees fall and stand, a road is near, and ground is not known."""
    study = TinyStudy(tmp_path_factory.mktemp("use") / "study")
    study.text += SECOND_OPTION
    study.change('checks = ["horizontal"]', 'checks = ["horizontal", "vertical"]')
    study.rules = ("rule,against,measure,base\nopen,ground,vertical,6\nroad,road,vertical,9\ntree,tree,radial,4\n"
                   "fall,falling_tree,radial,3\n")
    study.write_ground(lambda e, n: plane(e, n) + 8.0 * ((n - NORTH < -7) & (np.abs(e - EAST - 450) < 60)), cell=2.0,
                       unknown=lambda e, n: np.abs(e - EAST - 800) < 15)
    study.add_roads()
    places = shapely.points([[EAST + 140.0, NORTH + 12.0], [EAST + 760.0, NORTH + 5.5]])
    study.add_obstacle("trees", "tree", places, 'height_column = "height"\nradius = 0.5\nfalls = true',
                       height=[14.0, 10.0])
    return study


@pytest.fixture(scope="module")
def rows(study):
    return study.check()["violations"]


@pytest.fixture(scope="module")
def driver(rows, study):
    options = webdriver.ChromeOptions()
    for flag in ("--headless=new", "--no-sandbox", "--window-size=1400,950", "--proxy-server=127.0.0.1:9"):
        options.add_argument(flag)
    options.binary_location = _BROWSER
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(_DRIVER))
    driver.get(ask(study.path, "report").output.as_uri())
    WebDriverWait(driver, 10).until(lambda d: d.execute_script("return document.body.dataset.ready") == "yes")
    yield driver
    driver.quit()


def _size(driver, width, height, **media):
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {
        "width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 500})
    driver.execute_cdp_cmd("Emulation.setEmulatedMedia", {
        "media": media.get("medium", ""), "features": [{"name": "prefers-color-scheme",
                                                        "value": media.get("scheme", "light")}]})
    driver.execute_async_script("setTimeout(arguments[0], 250)")


@pytest.fixture
def desk(driver):
    """The page at 1400 x 950 pixels, at its top, the first option and every case chosen."""
    _size(driver, 1400, 950)
    driver.execute_script("corridorPage.changeKeys('alloy', null); corridorPage.changeKeys('today', null);"
                          "window.scrollTo(0, 0)")
    return driver


@pytest.fixture
def phone(driver):
    _size(driver, 390, 844)
    driver.execute_script("corridorPage.changeKeys('today', null); window.scrollTo(0, 0)")
    yield driver
    _size(driver, 1400, 950)


def _box(driver, name):
    return driver.execute_script("const b = document.getElementById(arguments[0]).getBoundingClientRect();"
                                 "return [b.left, b.top, b.right, b.bottom]", name)


def _chosen(driver):
    return driver.execute_script("return document.body.dataset.violation")


def _drawn(driver, plot, source):
    return driver.execute_script("const s = corridorPage.plots[arguments[0]].find(arguments[1]);"
                                 "return Object.fromEntries(s.columns().map(c => [c, [...s.data[c]]]))", plot, source)


def _choose(driver, row):
    driver.execute_script("corridorPage.changeKeys(arguments[0], null); corridorPage.chooseViolation(arguments[1],"
                          " 'table')", row.option, row.Index)


def test_every_cross_section_is_drawn_as_long_as_its_row_says(desk, rows):
    assert (rows["position"] == "falling").any() and (rows["case"] == "swung").any()
    for row in rows.itertuples():
        _choose(desk, row)
        lines = _drawn(desk, "cut", "lines")
        for kind, length in (("required", row.required_m), ("actual", row.actual_m)):
            k = lines["tip"].index(kind)
            far = np.hypot(np.array(lines["xs"][k]) - row.offset_m, np.array(lines["ys"][k]) - row.wire_elevation_m)
            assert (far.max() if len(far) == 2 else far.mean()) == pytest.approx(abs(length), abs=0.003)
        along, upward = desk.execute_script("return corridorPage.plots.cut.pixel")
        assert along == pytest.approx(upward, rel=1e-6)      # one scale, or the lengths lie


def test_a_profile_has_rings_only_where_a_drawn_wire_is_too_near(desk, rows):
    """What is blown or beside has a dot where the wire is, and no barred ring."""
    aside = (rows["measure"] != "vertical") | (rows["case"] == "swung")
    assert aside.any() and not aside.all()
    for row, beside in zip(rows.itertuples(), aside, strict=True):
        _choose(desk, row)
        strokes = _drawn(desk, "profile", "strokes")
        here = [y for x, y in zip(strokes["x"], strokes["y"], strict=True) if abs(x - row.station_m) < 0.2
                and abs(y - row.wire_elevation_m) < 0.02]
        assert bool(here) is not bool(beside)


def test_trees_beside_stand_on_the_ground_as_high_as_they_are(desk, rows):
    row = next(row for row in rows.itertuples() if row.position == "falling")
    _choose(desk, row)
    bars, height = _drawn(desk, "profile", "bars"), {"trees:1": 14.0, "trees:2": 10.0}[row.obstacle]
    stems = [abs(b - a) for x, z, a, b in zip(bars["x0"], bars["x1"], bars["y0"], bars["y1"], strict=True) if x == z]
    assert any(length == pytest.approx(height, abs=0.02) for length in stems)


def test_a_section_names_the_case_of_each_span(desk):
    desk.execute_script("const e = document.getElementById('extent'); e.value = 'section'; e.onchange()")
    shown = desk.execute_script("return corridorPage.profile.spans.map(i => corridorPage.shownCase(i))")
    words = _drawn(desk, "profile", "names")["text"]
    desk.execute_script("const e = document.getElementById('extent'); e.value = 'span'; e.onchange()")
    assert len(shown) > 1 and all(words.count(case) >= shown.count(case) for case in shown)


def test_keys_step_through_what_falls_short_worst_first_with_map_and_profile_in_view(desk, rows):
    own = rows[rows["option"] == "today"].sort_values("margin_m")
    worst = own.drop_duplicates(["span", "against", "obstacle"])
    assert int(_chosen(desk)) == worst.index[0] and len(worst) > 2
    for index in [*worst.index[1:], worst.index[0]]:
        desk.execute_script("document.activeElement.blur(); document.dispatchEvent(new KeyboardEvent('keydown',"
                            " {key: 'n', bubbles: true}))")
        assert int(_chosen(desk)) == index
        bar = _box(desk, "bar")[3]
        for part in ("map", "profile", "cut"):
            _, top, _, bottom = _box(desk, part)
            assert bar - 1 <= top < bottom <= 951
    assert _box(desk, "map")[2] < _box(desk, "profile")[0]       # side by side
    desk.find_element(By.ID, "worse").click()
    assert int(_chosen(desk)) == worst.index[-1]


def test_an_address_and_the_span_box_choose_the_worst_of_the_span(desk, rows):
    """With its cross-section."""
    page = desk.current_url.partition("#")[0]
    for option, span in rows[["option", "span"]].drop_duplicates().itertuples(index=False):
        desk.get("about:blank")
        desk.get(f"{page}#option={quote(option)}&span={quote(span)}")
        WebDriverWait(desk, 20).until(lambda found: found.execute_script("return document.body.dataset.ready") == "yes")
        own = rows[(rows["option"] == option) & (rows["span"] == span)]
        assert int(_chosen(desk)) == own["margin_m"].idxmin()
        assert desk.find_element(By.ID, "cut-part").is_displayed()


def test_an_option_shows_its_own_worst_span(desk, rows):
    for option in ("alloy", "today"):
        Select(desk.find_element(By.ID, "option")).select_by_visible_text(option)
        own = rows[rows["option"] == option]
        assert desk.execute_script("return document.body.dataset.span") == own.loc[own["margin_m"].idxmin(), "span"]


def test_the_span_box_finds_by_number_by_part_of_a_name_and_by_thing(desk, rows):
    def find(words):
        return desk.execute_script("const e = document.getElementById('span'); e.value = arguments[0]; e.onchange();"
                                   "return document.body.dataset.span", words)

    assert find("3") == "3-4" and find("2-3") == "2-3" and find("roads:1") == "1-2" and find("roads:3") == "3-4"
    assert find("no such thing") == "3-4"
    assert "no such thing" in desk.find_element(By.ID, "where").text


def test_headings_are_not_hidden_by_the_bar(desk):
    for part in ("gap-part", "limit-part", "source-part"):
        desk.execute_script("document.getElementById(arguments[0]).scrollIntoView()", part)
        _, _, _, bottom = _box(desk, "bar")
        assert _box(desk, part)[1] >= bottom - 1 or desk.execute_script(
            "return innerHeight + scrollY >= document.body.scrollHeight - 2")


def test_the_wheel_turns_the_page_until_the_map_is_entered(desk):
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.actions.wheel_input import ScrollOrigin

    desk.execute_script("document.getElementById('desk').scrollIntoView()")
    plot = desk.find_element(By.ID, "map")

    def wheel(click):
        actions = ActionChains(desk).move_to_element(plot)
        (actions.click() if click else actions).perform()
        desk.execute_async_script("setTimeout(arguments[0], 400)")
        before = desk.execute_script("return [scrollY, corridorPage.map.view.scale]")
        ActionChains(desk).scroll_from_origin(ScrollOrigin.from_element(plot), 0, 120).perform()
        desk.execute_async_script("setTimeout(arguments[0], 400)")
        after = desk.execute_script("return [scrollY, corridorPage.map.view.scale]")
        return after[0] != before[0], after[1] != pytest.approx(before[1])

    assert wheel(click=False) == (True, False)
    assert wheel(click=True) == (False, True)
    desk.execute_script("document.dispatchEvent(new PointerEvent('pointerdown', {bubbles: true, composed: true}))")
    assert wheel(click=False) == (True, False)


def test_no_words_have_backticks(desk):
    text = desk.execute_script("return document.body.innerText + [...document.querySelectorAll('[title]')].map(e => "
                               "e.title).join(' ')")
    assert "Cautions" in text and "`" not in text


def test_tables_are_saved_whole(desk, rows):
    desk.execute_script("document.querySelector('#violations .save').click()")
    lines = desk.execute_script("return saver.last").strip().split("\r\n")
    assert len(lines) == 1 + (rows["option"] == "today").sum()
    head, worst = lines[0].replace('"', "").split(","), lines[1].replace('"', "").split(",")
    own = rows[rows["option"] == "today"]
    assert float(worst[head.index("margin_m")]) == pytest.approx(own["margin_m"].min())


def test_on_paper_there_are_no_controls(driver):
    _size(driver, 1400, 950, medium="print")
    shown = driver.execute_script("return [...document.querySelectorAll('select, input, button:not(.card)')].filter("
                                  "e => e.getClientRects().length).map(e => e.outerHTML.slice(0, 80))")
    told = driver.find_element(By.ID, "told").text
    _size(driver, 1400, 950)
    assert shown == [] and "option" in told and "span" in told


def test_dark_where_it_is_asked_for(driver):
    def light():
        return driver.execute_script("return ['backgroundColor', 'color'].map(k => getComputedStyle(document.body)[k]"
                                     ".match(/\\d+/g).slice(0, 3).reduce((a, b) => a + +b, 0))")

    paper, ink = light()
    _size(driver, 1400, 950, scheme="dark")
    dark, bright = light()
    _size(driver, 1400, 950)
    assert paper > 700 > 150 > ink and dark < 150 < 600 < bright


def test_a_telephone_shows_violations_as_cards_with_the_margin_first(phone):
    cards = phone.execute_script("""
        return [...document.querySelectorAll('#violations tbody tr')].map(tr => {
          const seen = [...tr.cells].filter(c => c.getClientRects().length).map(c => {
            const b = c.getBoundingClientRect(); return [c.dataset.name, b.top, b.left, b.right]; });
          return seen.sort((a, b) => a[1] - b[1]); })""")
    assert cards and all(card[0][0] == "margin_m" and len(card) > 4 for card in cards)
    assert all(right <= 390 for card in cards for *_, right in card)
    assert phone.execute_script("return document.documentElement.scrollWidth") <= 390


def test_on_a_telephone_the_bar_folds_and_map_buttons_cover_nothing(phone):
    _, top, _, bottom = _box(phone, "bar")
    assert bottom - top < 64
    assert not phone.find_element(By.ID, "case").is_displayed()
    phone.find_element(By.ID, "fold").click()
    assert phone.find_element(By.ID, "case").is_displayed()
    phone.find_element(By.ID, "fold").click()
    tools = phone.execute_script("return document.querySelector('.tools').getBoundingClientRect().bottom")
    assert tools <= _box(phone, "map")[1] + 1


def test_on_a_telephone_labels_are_whole(phone):
    """Words of the profile end before its frame does: 7.4 pixels a letter at 12 pixels, measured in Chromium."""
    names = _drawn(phone, "profile", "names")
    start, end, step = phone.execute_script("const p = corridorPage.plots.profile, x = p.figure.x_range;"
                                            "return [x.start, x.end, p.pixel[0]]")
    for x, words, align, dx in zip(names["x"], names["text"], names["align"], names["dx"], strict=True):
        wide = 7.4 * len(words) * step
        left = x + dx * step - {"left": 0, "center": 0.5, "right": 1}[align] * wide
        assert start - 2 * step <= left and left + wide <= end + 12 * step, words
