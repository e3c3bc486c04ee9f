"""Every violation, and what was not assessed, for people in the field: geographic coordinates and plain words.

GeoJSON by RFC 7946 (WGS 84, longitude first, no other CRS), KML by OGC 07-147r2 (KML 2.2), whose coordinates are WGS 84
too. Elevations are told in words alone: both standards want heights above an ellipsoid or a geoid, and those of the
findings are above the datum of the ground raster.
"""

import json
import re
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import shapely

from corridor.errors import InputError, nearest
from corridor.outputs.guard import MARK
from corridor.outputs.styles import COLOURS

__all__ = ["KINDS", "field_rows", "line_rows", "structure_places", "work_rows", "write_geojson", "write_kml"]

_SEVERITY = {"flashover": "flashover, nearer than the electrical distance", "rule": "rule, short of it",
             "buffer": "buffer, the rule is met and the owner's buffer is not"}
_WAY = {"above": "too low above", "below": "too high below"}
#: Numbers that travel with a place; null where they are not known.
_NUMBERS = ["margin_m", "required_m", "actual_m", "station_m", "wire_elevation_m", "other_elevation_m"]
_KEY = ["option", "line", "span", "against", "obstacle"]
#: Digits of a degree: a centimetre on the ground.
_DIGITS = 7


def field_rows(violations, gaps, option=None):
    """Return one row per place to go to, in geographic coordinates.

    Parameters
    ----------
    violations, gaps : GeoDataFrame
        The layers `violations` and `not_assessed`.
    option : str, optional
        The option that is told of; default: all.

    Returns
    -------
    GeoDataFrame
        EPSG:4326, in plan; `name`, `description`, `outcome` (violation, not assessed), the keys, and numbers of the
        worst row: margin, required, actual, station, elevations of wire and thing [m]. Of one object
        below one span the worst case and wire; the other cases are named. Gaps keep a row each, without a place where
        their span is not known.

    Raises
    ------
    InputError
        There is no such option.
    """
    known = [*dict.fromkeys([*violations["option"], *gaps["option"].dropna()])]
    if option is not None and option not in known:
        raise InputError(None, "option", repr(option), ", ".join(map(repr, known)) or "none: there is no violation",
                         nearest(option, known))
    if option is not None:
        violations = violations[violations["option"] == option]
        gaps = gaps[gaps["option"].isna() | (gaps["option"] == option)]
    short = _worst(violations)
    short = _told(short, "violation", [_short_words(row) for row in short.itertuples()])
    open_ = _told(gaps, "not assessed", [_gap_words(row) for row in gaps.itertuples()])
    return pd.concat([_geographic(frame) for frame in (short, open_)], ignore_index=True)


def _geographic(frame):
    """A layer in longitude and latitude. Heights stay behind: a change of CRS must not touch them, nor fail for want of
    a grid of the geoid."""
    return frame.set_geometry(shapely.force_2d(frame.geometry.values), crs=frame.crs).to_crs(4326)


def structure_places(structures):
    """Return where structures are, as columns: those of the layer, easting and northing [m], longitude and latitude
    (WGS 84) [deg].

    Parameters
    ----------
    structures : GeoDataFrame
        The layer `structures`.
    """
    there = _geographic(structures).geometry
    columns = {name: structures[name].to_numpy() for name in structures.columns if name != structures.geometry.name}
    return columns | {"easting_m": structures.geometry.x.to_numpy(), "northing_m": structures.geometry.y.to_numpy(),
                      "longitude_deg": there.x.to_numpy(), "latitude_deg": there.y.to_numpy()}


def line_rows(structures, spans):
    """Return structures and spans as rows for the field: EPSG:4326, `name`, `description`, `outcome`.

    Parameters
    ----------
    structures, spans : GeoDataFrame
        Layers of the findings.
    """
    posts, ways = _geographic(structures), _geographic(spans)
    posts["name"], posts["outcome"] = posts["structure"], "structure"
    posts["description"] = [f"{row.role} structure {row.structure} of line {row.line}: framing {row.framing}, station "
                            f"{row.station_m:.1f} m, base {row.base_elevation_m:.1f} m, line angle "
                            f"{row.line_angle_deg:.1f} deg." for row in posts.itertuples()]
    ways["name"], ways["outcome"] = ways["span"], "line"
    ways["description"] = [f"Span {row.span} of line {row.line}: {row.length_m:.1f} m, section {row.section}."
                           for row in ways.itertuples()]
    kept = ["line", "name", "description", "outcome", "geometry"]
    return pd.concat([ways[kept], posts[kept]], ignore_index=True)


def work_rows(items):
    """Return the work of a plan as rows for the field: EPSG:4326, `name`, `description`, `outcome`.

    Parameters
    ----------
    items : GeoDataFrame
        The layer `work_items` of a plan.
    """
    rows = _geographic(items)
    rows["name"], rows["outcome"] = rows["item"], "work"
    told = [name for name in items.columns if name not in ("item", items.geometry.name)]
    rows["description"] = ["; ".join(f"{name.replace('_', ' ')}: {value}" for name, value in zip(told, row, strict=True)
                                     if value is not None and value == value)
                           for row in items[told].itertuples(index=False)]
    return rows[["name", "description", "outcome", "geometry"]]


def _worst(violations):
    """The worst row of each object below each span, and the other cases in which it is in violation."""
    ordered = violations.sort_values("margin_m", kind="stable")
    groups = ordered.groupby(_KEY, dropna=False, sort=False)
    first = groups.head(1).copy()
    # Groups come in the order of their first rows, which is that of `first`.
    first["more"] = [list(dict.fromkeys(rows["case"]))[1:] for _, rows in groups]
    return first


def _told(frame, outcome, words):
    kept = frame[[*_KEY, "case", "wire", "geometry"]].copy()
    for name in _NUMBERS:
        kept[name] = frame[name].astype(float) if name in frame else np.nan
    kept["outcome"] = outcome
    kept["name"] = [name for name, _ in words]
    kept["description"] = [text for _, text in words]
    return kept


def _thing(row):
    if not isinstance(row.obstacle, str):
        return row.against.replace("_", " ") if isinstance(row.against, str) else "anything"
    return f"{row.against} {row.obstacle}"


def _short_words(row):
    missing = -row.margin_m
    way = _WAY.get(row.position, "too near to") if row.measure != "horizontal" else "too near to"
    words = [f"Wire {row.wire} of option {row.option!r} is {missing:.2f} m {way} {_thing(row)} in case {row.case!r}.",
             f"Clearance {row.actual_m:.2f} m ({row.measure}), "
             f"required {row.required_m:.2f} m by {row.rule}{_trust(row)}.",
             f"{row.distance_from_start_m:.0f} m from the first structure of span {row.span}, line {row.line}."]
    if row.more:
        words.append(f"Short in {', '.join(map(repr, row.more))} too.")
    if np.isfinite(row.wire_elevation_m):
        words.append(f"Elevation of the wire {row.wire_elevation_m:.2f} m at {row.conductor_temperature_c:.0f} °C.")
    words.append(f"Severity: {_SEVERITY.get(row.severity, row.severity)}.")
    return f"{row.span}: {missing:.2f} m short, {_thing(row)}", " ".join(words)


def _trust(row):
    """How the number of the rule is known, in brackets; nothing where its table does not say."""
    said = getattr(row, "rule_confidence", None)
    return f" ({said})" if isinstance(said, str) else ""


def _gap_words(row):
    where = row.span if isinstance(row.span, str) else "line"
    of = f" (option {row.option!r})" if isinstance(row.option, str) else ""
    return f"{where}: not assessed, {_thing(row)}", f"Not assessed{of}, not a pass: {row.reason}."


def _properties(row, columns):
    values = {name: getattr(row, name) for name in columns}
    return {name: value if isinstance(value, str) else round(value, 4) if name in _NUMBERS and np.isfinite(value)
            else None for name, value in values.items()}


def write_geojson(path, rows):
    """Write rows of `field_rows` as GeoJSON.

    Parameters
    ----------
    path : path
    rows : GeoDataFrame
    """
    columns = [name for name in rows.columns if name != rows.geometry.name]
    features = [{"type": "Feature", "properties": _properties(row, columns), "geometry": _geojson(shape)}
                for row, shape in zip(rows.itertuples(), rows.geometry, strict=True)]
    text = json.dumps({"type": "FeatureCollection", "origin": MARK, "features": features}, ensure_ascii=False, indent=1)
    Path(path).write_text(text + "\n", encoding="utf-8")


def _geojson(shape):
    if shape is None or shape.is_empty:
        return None
    points = np.round(shapely.get_coordinates(shape), _DIGITS).tolist()
    return {"type": shape.geom_type, "coordinates": points[0] if shape.geom_type == "Point" else points}


def write_kml(path, rows, more=()):
    """Write rows of `field_rows` as KML, a folder for each option.

    Parameters
    ----------
    path : path
    rows : GeoDataFrame
    more : sequence of (name, GeoDataFrame)
        Folders before these: the line, the work of a plan.
    """
    ElementTree.register_namespace("", _KML)
    root = ElementTree.Element(f"{{{_KML}}}kml")
    document = _add(root, "Document")
    document.append(ElementTree.Comment(f" {MARK} "))
    _add(document, "name", "Every violation, and what was not assessed")
    _add_looks(document)
    for name, part in [*more, *rows.groupby(rows["option"].fillna("every option"), sort=False)]:
        folder = _add(document, "Folder")
        _add(folder, "name", name)
        for row, shape in zip(part.itertuples(), part.geometry, strict=True):
            mark = _add(folder, "Placemark")
            _add(mark, "name", row.name)
            _add(mark, "description", row.description)
            _add(mark, "styleUrl", f"#{_LOOKS[row.outcome][0]}")
            if shape is not None and not shape.is_empty:
                _add_shape(mark, shape)
    Path(path).write_bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def _add_shape(parent, shape):
    """Add a point, a line or an area, or several."""
    parts = shapely.get_parts(shape)
    if len(parts) > 1:
        parent = _add(parent, "MultiGeometry")
    for part in parts:
        made = _add(parent, part.geom_type)
        if part.geom_type != "Polygon":
            _add_places(made, part)
            continue
        for kind, ring in [("outer", part.exterior), *(("inner", ring) for ring in part.interiors)]:
            _add_places(_add(_add(made, f"{kind}BoundaryIs"), "LinearRing"), ring)


def _add_places(parent, shape):
    points = np.round(shapely.get_coordinates(shape), _DIGITS)
    _add(parent, "coordinates", " ".join(f"{e},{n}" for e, n in points.tolist()))


#: Name of the look of each outcome, its colour, and how wide its lines are [pixels]; the name tells it as well.
_LOOKS = {"violation": ("short", COLOURS["short"], 4), "not assessed": ("unknown", COLOURS["unknown"], 8),
          "structure": ("structure", COLOURS["clear"], 2), "line": ("line", COLOURS["clear"], 2),
          "work": ("work", COLOURS["wire"], 6)}


def _add_looks(document):
    """Colours stand in KML as opacity, blue, green, red."""
    for name, colour, width in _LOOKS.values():
        code = f"ff{colour[5:7]}{colour[3:5]}{colour[1:3]}"
        look = _add(document, "Style")
        look.set("id", name)
        _add(_add(look, "IconStyle"), "color", code)
        line = _add(look, "LineStyle")
        _add(line, "color", code)
        _add(line, "width", str(width))


#: Characters that XML 1.0 has no place for.
_NO_XML = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_KML = "http://www.opengis.net/kml/2.2"


def _add(parent, name, text=None):
    child = ElementTree.SubElement(parent, f"{{{_KML}}}{name}")
    child.text = text if text is None else _NO_XML.sub(" ", text)
    return child


#: Writers by the ending of their files.
KINDS = {"geojson": write_geojson, "kml": write_kml}
