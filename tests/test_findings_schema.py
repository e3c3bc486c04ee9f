"""The layers and columns of the findings: what they promise, what they refuse, how they look."""

import re
import sqlite3
from contextlib import closing
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
import shapely

from corridor.cli import COMMANDS
from corridor.outputs.batches import known_layer, record_batch
from corridor.outputs.column_index import write_index
from corridor.outputs.columns import SUFFIXES
from corridor.outputs.schema import LAYERS, layer, write_reference
from corridor.outputs.stringing_layers import STRINGING_LAYERS
from corridor.outputs.style_documents import style
from corridor.outputs.styles import COLOURS, LABELS, STYLES

ROOT = Path(__file__).parent.parent

#: The columns that other programs read, copied from the agreement with them, not from the schema.
PROMISED = {
    "structures": ("Point Z", "line structure role station_m base_elevation_m line_angle_deg"),
    "spans": ("LineString Z", "line span section length_m rise_m"),
    "sections": (None, "section option case ruling_span_m horizontal_tension_n maximum_tension_n "
                 "percent_rts condition governing_limit"),
    "wires": ("LineString Z", "line span wire option case sag_m horizontal_tension_n "
              "maximum_tension_n percent_rts conductor_temperature_c condition swing_deg"),
    "clearances": ("Point Z", "line span option case wire against obstacle rule measure required_m "
                   "actual_m margin_m station_m offset_m wire_elevation_m other_elevation_m"),
    "violations": ("Point Z", "line span option case wire against obstacle rule measure required_m "
                   "actual_m margin_m station_m offset_m wire_elevation_m other_elevation_m "
                   "severity"),
    "violation_stretches": ("LineString Z", "option case line span wire against obstacle length_m "
                            "worst_margin_m"),
    "limits": ("LineString Z", "line span option limit_temperature_c limit_current_a "
               "maximum_temperature_c governing_against governing_obstacle governing_case"),
    "not_assessed": ("LineString Z", "option case line span wire against obstacle reason"),
    "options": (None, "option conductor continuous_current_a violations worst_margin_m "
                "greatest_sag_m greatest_percent_rts"),
    "run": (None, "software_version study_digest inputs time warnings"),
}

LINES = shapely.linestrings([[[e, 5e6, 200.0], [e + 100, 5e6, 203.0]] for e in (5e5, 6e5, 7e5)])
with np.errstate(invalid="ignore"):
    NOWHERE = shapely.linestrings([[[0, np.nan, 1], [1, 1, 1]]] * 3)
SPANS = {"line": np.full(3, "north", object), "span": np.array(["0-1", "1-2", "2-3"], object),
         "length_m": np.full(3, 100.0), "geometry": LINES}


def test_promised_layers_and_columns():
    """Every layer and column that others read is there, in the order agreed."""
    names = [each.name for each in LAYERS]
    assert [name for name in names if name in PROMISED] == list(PROMISED)
    for name, (geometry, columns) in PROMISED.items():
        assert layer(name).geometry == geometry
        assert set(columns.split()) <= {column.name for column in layer(name).columns}


# What is refused


REFUSED = {
    "unknown column": ({"lenght_m": np.ones(3)}, "length_m"),
    "missing key": ({"line": None}, "spans.line"),
    "null key": ({"line": np.array(["a", None, "b"], object)}, "1 of 3"),
    "text for a number": ({"length_m": np.array(["1", "2", "3"])}, "real is wanted"),
    "number for a text": ({"span": np.arange(3)}, "text is wanted"),
    "number among texts": ({"span": np.array(["a", 2, "c"], object)}, "spans.span"),
    "the word nan": ({"span": np.array(["a", "nan", "c"])}, "nan"),
    "infinite": ({"length_m": np.array([1, np.inf, 2])}, "infinite"),
    "lengths differ": ({"length_m": np.ones(2)}, "shape"),
    "flat": ({"geometry": shapely.force_2d(LINES)}, "has no Z"),
    "mixed Z": ({"geometry": np.array([shapely.force_2d(LINES[0]), *LINES[1:]])}, "1 of 3"),
    "point among lines": ({"geometry": np.array([shapely.Point(1, 2, 3), *LINES[1:]])},
                          "1 of 3 rows: is no LineString Z"),
    "multi line": ({"geometry": np.array([shapely.multilinestrings([g]) for g in LINES])},
                   "3 of 3 rows: is no LineString Z"),
    "empty": ({"geometry": shapely.from_wkt(["LINESTRING Z EMPTY"] * 3)}, "is empty"),
    "nowhere": ({"geometry": NOWHERE},
                "not finite"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_rows_that_break_the_schema(name):
    """GDAL accepts nearly all of these and stores something else: each is an error here."""
    change, message = REFUSED[name]
    rows = {key: value for key, value in (SPANS | change).items() if value is not None}
    with pytest.raises(ValueError, match=message):
        record_batch(layer("spans"), rows)


def test_rows_that_keep_the_schema():
    """What the refusals above start from is taken, so that each is refused for its one change."""
    assert record_batch(layer("spans"), SPANS).num_rows == 3
    assert record_batch(layer("spans"), {}).num_rows == 0


def test_unknown_layer():
    with pytest.raises(ValueError, match="no layer 'span'; perhaps 'spans'"):
        known_layer("span")


# The names


def test_names_that_gdal_would_swallow():
    """SQL names do not tell case; `fid` would become the key, `geom` is the geometry."""
    for each in LAYERS:
        names = [column.name.lower() for column in each.columns]
        assert len(set(names)) == len(names)
        assert not {"fid", "geom", "geometry", "ogc_fid", "rowid"} & set(names)
        assert len({column.alias for column in each.columns}) == len(names)


def test_names_end_in_their_unit():
    """A name and its unit agree, so that nobody reads feet or kilonewtons."""
    endings = sorted((end for end in SUFFIXES.values() if end), key=len, reverse=True)
    for column in (column for each in LAYERS for column in each.columns):
        ending = next((end for end in endings if column.name.endswith(end)), "")
        if column.type == "real":
            assert ending == SUFFIXES.get(column.unit, ""), column
        assert column.doc and (column.unit is None or column.type == "real")


def test_reference_page_is_up_to_date(tmp_path):
    write_reference(tmp_path / "findings.md")
    written = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
    assert written == (tmp_path / "findings.md").read_text(encoding="utf-8")


def test_index_of_columns_is_up_to_date(tmp_path):
    write_index(tmp_path / "columns.md")
    assert (ROOT / "docs" / "columns.md").read_text(encoding="utf-8") == (tmp_path / "columns.md").read_text(
        encoding="utf-8")


def test_glossary_names_every_command_and_layer():
    rows = re.findall(r"^\| `([^`]+)` \|", (ROOT / "docs" / "glossary.md").read_text(encoding="utf-8"), re.MULTILINE)
    assert rows == [*COMMANDS, *(each.name for each in (*LAYERS, *STRINGING_LAYERS))]


# The looks


def parsed(name):
    """The rules of a style as (filter, symbol element), read from its XML."""
    root = ElementTree.fromstring(style(name).removeprefix("<!DOCTYPE qgis>"))
    assert root.tag == "qgis" and root.get("version")
    symbols = {each.get("name"): each for each in root.iterfind("renderer-v2/symbols/symbol")}
    return [(rule.get("filter"), symbols[rule.get("symbol")])
            for rule in root.iterfind("renderer-v2/rules/rule")]


def test_every_spatial_layer_has_a_style_of_its_kind():
    assert set(STYLES) == {each.name for each in LAYERS if each.geometry}
    kinds = {"Point Z": "marker", "LineString Z": "line", "Polygon": "fill", "MultiPolygon": "fill"}
    for name in STYLES:
        for _, symbol in parsed(name):
            assert symbol.get("type") == kinds[layer(name).geometry]
            assert symbol.find("layer/Option") is not None


def taken(name, row):
    """The filters of a layer that take a row, by SQLite, whose comparisons a GIS shares."""
    filters = [text for text, _ in parsed(name) if text not in ("", "ELSE")]
    columns = ", ".join(f':{column} AS "{column}"' for column in row)
    with closing(sqlite3.connect(":memory:")) as database:
        return [text for text in filters if database.execute(
            f"SELECT 1 FROM (SELECT {columns}) WHERE {text}", row).fetchone()]


MARGINS = [(-1e-9, ['"margin_m" < 0']), (0.0, ['"margin_m" >= 0']), (2.0, ['"margin_m" >= 0']),
           (None, [])]


@pytest.mark.parametrize("margin, filters", MARGINS)
def test_a_margin_has_one_look_and_a_null_never_looks_clear(margin, filters):
    assert taken("clearances", {"margin_m": margin}) == filters
    assert parsed("clearances")[-1][0] == "ELSE"


LOOKS = [(60.0, "clearance", [0]), (75.0, "maximum temperature", [1]), (None, "not assessed", []),
         (None, "no temperature clears", [0]), (None, None, []), (75.0, "ice", [0]), (60.0, "clearance and ice", [0])]


@pytest.mark.parametrize("limit, governs, rules", LOOKS)
def test_a_limit_has_one_look_and_a_null_never_looks_clear(limit, governs, rules):
    row = {"limit_temperature_c": limit, "maximum_temperature_c": 75.0, "governs": governs}
    filters = [text for text, _ in parsed("limits")]
    assert taken("limits", row) == [filters[rule] for rule in rules]
    assert filters[-1] == "ELSE"


LOADS = [(1, 0, [0]), (1, 1, [0]), (0, 1, [1]), (None, 1, [1]), (0, 0, [2]), (None, 0, []), (None, None, [])]


@pytest.mark.parametrize("above, uplift, rules", LOADS)
def test_a_load_has_one_look_and_a_null_never_looks_harmless(above, uplift, rules):
    filters = [text for text, _ in parsed("structure_loads")]
    for over in (None, 0, 1):
        row = {"above_existing": above, "uplift": uplift, "over_capacity": over}
        assert taken("structure_loads", row) == ([filters[3]] if over else [filters[rule] for rule in rules])
    assert filters[-1] == "ELSE"


def test_filters_name_columns_that_are_there_and_compare_truth_with_truth():
    """A desktop GIS (QGIS 3.22, seen) holds `"flag" = 1` false in a renderer for a flag that is true."""
    for name in STYLES:
        kinds = {column.name: column.type for column in layer(name).columns}
        texts = [rule.filter for rule in STYLES[name]] + ([LABELS[name].expression] if name in LABELS else [])
        for text in texts:
            for column, value in re.findall(r'"(\w+)"(?: (?:=|IS) (\w+))?', text):
                assert kinds[column] != "boolean" or value in ("true", "false", "NULL"), text


def test_aliases_and_labels_are_in_the_document():
    for each in LAYERS:
        root = ElementTree.fromstring(style(each.name).removeprefix("<!DOCTYPE qgis>"))
        told = {alias.get("field"): alias.get("name") for alias in root.iterfind("aliases/alias")}
        assert told == {column.name: column.alias for column in each.columns}
        assert (root.find("labeling/settings/text-style") is not None) == (each.name in LABELS)
        assert (root.find("renderer-v2") is not None) == bool(each.geometry)


def test_outcomes_differ_without_colour():
    """By shape or by dash; and every violation is the wider line."""
    drawn = {rule.label: rule.drawn for rule in STYLES["clearances"]}
    shapes = {label: tuple(part.shape for part in parts) for label, parts in drawn.items()}
    assert len(set(shapes.values())) == 3
    short, clear, unknown = (rule.drawn[0] for rule in STYLES["limits"])
    assert short.width > 2 * clear.width and (clear.dash, unknown.dash) == ("solid", "dash")


#: sRGB to CIE XYZ (D65) of IEC 61966-2-1, recalled.
XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
#: What the eye without one pigment sees of linear sRGB: Vienot, Brettel and Mollon 1999, recalled.
EYES = {
    "usual": np.eye(3),
    "protan": np.array([[0.11238, 0.88762, 0], [0.11238, 0.88762, 0], [0.00401, -0.00401, 1]]),
    "deutan": np.array([[0.29275, 0.70725, 0], [0.29275, 0.70725, 0], [-0.02234, 0.02234, 1]]),
}


def linear(code):
    """Linear sRGB of "#rrggbb"."""
    c = np.array([int(code[i:i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(rgb):
    """CIE 1976 L*a*b* of linear sRGB (ISO/CIE 11664-4)."""
    t = XYZ @ np.clip(rgb, 0, 1) / XYZ.sum(axis=1)
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("colour", COLOURS)
def test_contrast_with_white(colour):
    """WCAG 2.1, success criterion 1.4.11: at least 3 to 1 for graphics."""
    assert 1.05 / (XYZ[1] @ linear(COLOURS[colour]) + 0.05) >= 3


@pytest.mark.parametrize("eye", EYES)
def test_outcomes_differ_for_every_eye(eye):
    """CIE 1976 difference of 20 or more; a just noticeable one is 2.3 (common practice)."""
    seen = [lab(EYES[eye] @ linear(COLOURS[name])) for name in ("clear", "short", "unknown")]
    assert min(np.linalg.norm(a - b) for a, b in combinations(seen, 2)) > 20
