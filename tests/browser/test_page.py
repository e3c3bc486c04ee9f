"""The page in a real browser, with the network cut: Chromium, driven over the W3C WebDriver protocol.

Opt-in: skipped where Chromium, its driver or the package selenium is missing.
"""

import shutil
import sqlite3

import numpy as np
import pytest

from corridor.jobs.report import report_study
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
    return study.output, report_study(study.path).output


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


def _picture(browser, name):
    return browser.execute_script("return document.getElementById(arguments[0]).toDataURL()", name)


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
        shown = dict(zip(_cells(browser, "limits", "Span"), _cells(browser, "limits", "Limit temperature [degC]"),
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
    before, pictures = _state(browser), [_picture(browser, name) for name in ("map", "profile")]
    row = browser.find_element(By.CSS_SELECTOR, "#violations tbody tr")
    browser.execute_script("arguments[0].click()", row)
    after = _state(browser)
    assert after["violation"] == row.get_attribute("data-row") != before["violation"]
    worst = _query(findings[0], """SELECT span, ST_MinX(geom) FROM violations WHERE "option" = 'today'
                                   ORDER BY margin_m LIMIT 1""".replace("ST_MinX(geom)", "station_m"))[0]
    assert after["span"] == worst[0]
    # The map is centred on the place: the line runs to the east, station and easting differ by the scale of the grid.
    assert after["view"]["e"] - EAST == pytest.approx(worst[1], rel=5e-4)
    assert all(_picture(browser, name) != old for name, old in zip(("map", "profile"), pictures, strict=True))


def test_a_click_on_the_map_chooses_the_span_there_and_one_on_the_profile_the_mark(browser):
    browser.execute_script("window.scrollTo(0, 0); corridorPage.map.fit([0, 1, 2]); corridorPage.map.draw()")
    point = browser.execute_script("const [a, b] = corridorPage.map.ends(2); return [(a[0] + b[0]) / 2, a[1] + 12]")
    _click(browser, "map", point)
    assert _state(browser)["span"] == "3-4" and _state(browser)["violation"] == ""
    browser.execute_script("corridorPage.chooseSpan(1)")
    mark = browser.execute_script("return corridorPage.profile.marks[0]")
    _click(browser, "profile", [mark["x"], mark["y"]])
    assert _state(browser)["violation"] == str(mark["k"])


def _click(browser, name, point):
    from selenium.webdriver import ActionChains

    canvas = browser.find_element(By.ID, name)
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", canvas)
    size = canvas.size
    ActionChains(browser).move_to_element_with_offset(
        canvas, point[0] - size["width"] / 2, point[1] - size["height"] / 2).click().perform()


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
