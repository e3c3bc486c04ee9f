"""`corridor tables`, end to end: the workbook re-read by openpyxl, CSV files by the csv module, numbers by SQLite."""

import csv
import sqlite3
from itertools import pairwise

import numpy as np
import pytest
from pyproj import Transformer

from corridor.cli import main
from corridor.outputs.schema import LAYERS
from tests.end_to_end.conftest import EAST, NORTH, SECOND_OPTION, TinyStudy

openpyxl = pytest.importorskip("openpyxl")
RATING = '\n[rating]\nrequired_current = "600 A"\nambient = 35\nwind_speed = 0.6\nsolar = 1000\n'
SHEETS = ["violations", "clearance_schedule", "not_assessed", "sag_tension", "sag_tension_spans", "stringing_chart",
          "structures", "structure_loads", "options", "uncertainty", "ratings", "run"]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """A study with violations and with a hole in the ground, its findings and its tables."""
    study = TinyStudy(tmp_path_factory.mktemp("tables") / "study")
    study.text = study.text.replace("[study]", '[study]\noutput = "findings.gpkg"', 1) + RATING + SECOND_OPTION
    study.text += "\n[uncertainty]\n"
    study.write_ground(unknown=lambda e, n: np.abs(e - EAST - 750) < 20)
    study.rules = study.rules.replace("5.5", "8.5")
    study.add_roads()
    study.check()
    with pytest.raises(SystemExit) as end:
        main(["tables", str(study.path), "--folder", str(study.folder / "tables"), "--quiet"])
    assert not end.value.code
    return study.folder


@pytest.fixture(scope="module")
def book(made):
    return openpyxl.load_workbook(made / "tables" / "tables.xlsx")


@pytest.fixture(scope="module")
def query(made):
    database = sqlite3.connect(made / "findings.gpkg")
    yield lambda text: database.execute(text).fetchall()
    database.close()


def columns(sheet):
    """Values of a sheet by heading; numbers with nan where a cell is empty."""
    head, *rows = sheet.iter_rows(values_only=True)
    return {name: list(values) for name, values in zip(head, zip(*rows, strict=True), strict=True)}


def test_every_sheet_can_be_read_and_filtered(book):
    """Heads frozen and bold, filters over all rows, a unit in the head of each column that the schema gives one."""
    assert book.sheetnames == ["cover", *SHEETS]
    units = {column.alias: column.unit for layer in LAYERS for column in layer.columns if column.unit}
    for sheet in book.worksheets[1:]:
        assert sheet.freeze_panes == "A2" and sheet.auto_filter.ref == sheet.dimensions
        assert all(cell.value and cell.font.bold for cell in sheet[1])
        for cell in sheet[1]:
            assert cell.value not in units or cell.value.endswith(f"[{units[cell.value]}]")
    assert {"Margin [m]", "Required [m]"} <= {cell.value for cell in book["clearance_schedule"][1]}
    assert {"Sag [m]", "Horizontal tension [N]"} <= {cell.value for cell in book["stringing_chart"][1]}


@pytest.mark.parametrize("name", SHEETS)
def test_csv_and_workbook_agree(made, book, name):
    """Six digits in the CSV, of ratios three behind the point; yes and no are 1 and 0 there; an empty field where the
    cell is empty."""
    with (made / "tables" / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        head, *rows = csv.reader(file)
    _, *cells = book[name].iter_rows(values_only=True)
    assert len(rows) == len(cells) > 0
    for row, line in zip(rows, cells, strict=True):
        for column, text, value in zip(head, row, line, strict=True):
            if column.startswith(("ratio", "of_capacity")) and text:
                assert float(text) == pytest.approx(value, abs=5.1e-4)
            elif isinstance(value, float | int):
                assert float(text) == pytest.approx(value, rel=1e-5, abs=1e-12)
            else:
                assert text == {"yes": "1", "no": "0", None: ""}.get(value, value)


def test_the_schedule_is_that_of_the_findings(book, query):
    """Every clearance once, then what was not assessed; no gap has a margin, so none can read as a pass."""
    table = columns(book["clearance_schedule"])
    margins = [value for value, in query("SELECT margin_m FROM clearances ORDER BY fid")]
    gaps, = query("SELECT count(*) FROM not_assessed")[0]
    assert table["Margin [m]"][:len(margins)] == pytest.approx(margins, abs=5.1e-4)
    assert table["Margin [m]"][len(margins):] == [None] * gaps and gaps > 0
    short = [outcome for outcome in table["Outcome"] if outcome == "violation"]
    assert short and (len(short),) == query("SELECT count(*) FROM violations")[0]
    assert table["Outcome"][len(margins):] == ["not assessed"] * gaps
    assert all(table["Reason"][len(margins):])


def test_loads_options_and_tensions_are_those_of_the_findings(book, query):
    loads = columns(book["structure_loads"])
    for name, column in (("Vertical [N]", "vertical_n"), ("Transverse [N]", "transverse_n"),
                         ("Longitudinal [N]", "longitudinal_n")):
        found = [value for value, in query(f"SELECT {column} FROM structure_loads ORDER BY fid")]
        assert loads[name] == pytest.approx(found, abs=0.51)
    options = columns(book["options"])
    assert dict(zip(options["Option"], options["Violations"], strict=True)) == dict(
        query('SELECT "option", count(v.fid) FROM options LEFT JOIN violations v USING ("option") GROUP BY "option"'))
    tensions = columns(book["sag_tension"])
    told = {key: value for *key, value in zip(*(tensions[name] for name in (
        "Line", "Section", "Wire kind", "Option", "Case", "Condition", "Horizontal tension [N]")), strict=True)
            for key in [tuple(key)]}
    found = query('SELECT line, section, wire_kind, "option", "case", condition, horizontal_tension_n FROM sections '
                  "WHERE wire_kind = 'phase' AND condition = 'final'")
    assert found
    for *key, tension in found:
        assert told[tuple(key)] == pytest.approx(tension, abs=0.51)


def test_the_chart_obeys_the_parabola(book):
    """S = w L^2 / 8H of any textbook of statics: 8HS/L^2 is the weight of the wire, its mass times standard gravity.

    Within 2.5 %: the chart has ground distances of the centres of structures, between which a wire at an angle is up to
    a metre shorter; the catenary and the rise of a span are below 0.5 % on this line.
    """
    chart, options = columns(book["stringing_chart"]), columns(book["options"])
    weights = {name: mass * 9.80665 for name, mass in zip(options["Option"], options["Mass [kg/m]"], strict=True)}
    rows = [row for row in zip(*(chart[name] for name in (
        "Option", "Wire kind", "Horizontal tension [N]", "Sag [m]", "Span length [m]")), strict=True)
            if row[1] == "phase"]
    assert {row[0] for row in rows} == set(weights)
    for option, _, tension, sag, length in rows:
        assert 8 * tension * sag / length**2 == pytest.approx(weights[option], rel=0.025)


def test_the_cover_says_what_each_option_comes_to_and_what_each_sheet_holds(book, query):
    words = {row[0]: row[1] for row in book["cover"].iter_rows(values_only=True) if row[0]}
    for option, short, gaps in query('SELECT "option", violations, not_assessed FROM options'):
        assert words[f"Option {option!r}"].startswith(f"{short} violations, {gaps} not assessed: not a pass")
    assert set(SHEETS) <= set(words) and all(words[name] for name in SHEETS) and words["Caution"]


def test_what_falls_short_has_a_sheet_of_its_own_and_negative_margins_stand_out(book, query):
    sheet = book["violations"]
    margins = [value for value, in query("SELECT margin_m FROM violations ORDER BY margin_m")]
    assert columns(sheet)["Margin [m]"] == pytest.approx(margins, abs=5.1e-4)
    k = next(cell.column for cell in sheet[1] if cell.value == "Margin [m]")
    own = book["clearance_schedule"]
    at = next(cell.column for cell in own[1] if cell.value == "Margin [m]")
    marked = [(cell.value, cell.font.bold) for row in own.iter_rows(min_row=2, min_col=at, max_col=at) for cell in row]
    assert all(sheet.cell(row, k).font.bold for row in range(2, sheet.max_row + 1))
    assert {bold for value, bold in marked if value is not None and value < 0} == {True}
    assert True not in {bold for value, bold in marked if value is None or value >= 0}


def test_sheets_are_as_wide_as_the_paper(book):
    """ECMA-376: as many pages down as there are, one across; the head on each."""
    for sheet in book:
        assert sheet.sheet_properties.pageSetUpPr.fitToPage and sheet.page_setup.orientation == "landscape"
        assert (sheet.page_setup.fitToWidth, sheet.page_setup.fitToHeight) == (1, 0)
        assert sheet.title == "cover" or sheet.print_title_rows == "$1:$1"


def test_structures_have_coordinates_that_lead_to_them(made, book, query):
    """Put back into the grid by pyproj, of the CSV too: a centimetre."""
    with (made / "tables" / "structures.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    table, back = columns(book["structures"]), Transformer.from_crs(4326, 25832, always_xy=True)
    for k, row in enumerate(rows):
        e, n = back.transform(float(row["longitude_deg"]), float(row["latitude_deg"]))
        assert (e, n) == pytest.approx((float(row["easting_m"]), float(row["northing_m"])), abs=0.015)
        assert (e, n) == pytest.approx((EAST + 300.0 * k, NORTH), abs=0.02)
        assert table["Easting [m]"][k] == pytest.approx(e, abs=0.02)


def test_no_ratio_is_told_in_powers_of_ten(made):
    with (made / "tables" / "structure_loads.csv").open(newline="", encoding="utf-8") as file:
        ratios = [row["ratio_to_existing"] for row in csv.DictReader(file)]
    assert any(ratios) and not any("e" in ratio for ratio in ratios)


def test_the_ratings_are_those_of_the_options(book):
    """Temperatures of the rating tables are those of the options sheet, and currents rise with the wind."""
    options, ratings = columns(book["options"]), columns(book["ratings"])
    maxima = dict(zip(options["Option"], options["Maximum temperature [°C]"], strict=True))
    rows = list(zip(ratings["Option"], ratings["State"], ratings["Temperature [°C]"], strict=True))
    assert {option for option, state, _ in rows if state == "normal"} == set(maxima)
    assert all(temperature == maxima[option] for option, state, temperature in rows if state == "normal")
    for name in ("Ambient [°C]", "Wind [m/s]"):
        assert name in ratings
    lines = {}
    for *key, wind, current in zip(*(ratings[name] for name in (
            "Option", "Method", "State", "Ambient [°C]", "Wind [m/s]", "Current [A]")), strict=True):
        lines.setdefault(tuple(key), []).append((wind, current))
    for pairs in lines.values():
        blown = sorted(pair for pair in pairs if pair[0] >= 0.5)
        assert len(blown) > 2 and all(a[1] < b[1] for a, b in pairwise(blown))
