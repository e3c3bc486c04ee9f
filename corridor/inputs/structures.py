"""Structures, from a layer of points."""

from collections import Counter
from dataclasses import dataclass, field

import numpy as np
import shapely
from pyproj import Transformer

from corridor.errors import NO_NAMES, InputError, nearest
from corridor.inputs.cells import cells
from corridor.inputs.frame import horizontal
from corridor.inputs.framings import check_framings, read_framings
from corridor.inputs.layers import Layer, open_layer, portions
from corridor.inputs.route import order_along
from corridor.line.facts import ROLES, Structures
from corridor.units import KINDS

__all__ = ["FORMER_AZIMUTH", "RawStructures", "check_framings", "open_structures", "place", "plain_name",
           "read_framings", "read_structures"]

#: Names of the columns, unless the study gives others.
COLUMNS = {
    name: name
    for name in ("structure", "line", "order", "role", "framing", "base_elevation", "crossarm_azimuth")
}
_OPTIONAL = ("line", "base_elevation", "crossarm_azimuth")
#: What the column of the crossarm was called before: read where the layer has it and the study names no other.
FORMER_AZIMUTH = "bisector"
#: Name of the line where the layer has no column for it.
ONE_LINE = "line"
#: Maximum turn of a line at a structure [deg]; a sharper one means that the order is wrong.
_SHARPEST = 150.0
#: Maximum elevation of a base, of either sign [m]: a number that stands for none is doubted, one beyond refused.
_HIGHEST = 1e5
#: Minimum distance of neighbours in a line [m].
_NEAREST = 1.0


@dataclass(frozen=True)
class RawStructures:
    """Structures as the layer has them, sorted by line and order; columns of shape (structure,).

    `x`, `y` in the layer's own CRS, x to the east or longitude; `longitude`, `latitude` on WGS 84
    [deg]. The other columns are those of `corridor.line.facts.Structures`; `crossarm_azimuth` is counted
    from the north of the layer's own CRS. `left_out` values of rows that do not count, with their numbers; `words` what
    is to be said of the order."""

    layer: Layer
    x: np.ndarray
    y: np.ndarray
    longitude: np.ndarray
    latitude: np.ndarray
    line: np.ndarray
    structure: np.ndarray
    order: np.ndarray
    role: np.ndarray
    framing: np.ndarray
    base_elevation: np.ndarray
    crossarm_azimuth: np.ndarray
    left_out: Counter = field(default_factory=Counter)
    words: tuple = ()


def read_structures(path, *, layer=None, columns=None, units=None, section=None, route=None):
    """Return the structures of a layer of points, in its own CRS.

    Parameters
    ----------
    path : path or str
    layer : str or None
        None: the only one.
    columns : mapping, or object with attributes, or None
        Names of the layer's columns by those of the contract, where they differ.
    units : mapping or None
        Units of the numbers in `base_elevation` and `crossarm_azimuth`, None where they are m and deg.
    section : Source, optional
        Which rows count, what values mean, and where points are.
    route : (Route, path), optional
        The line along which structures without order stand.

    Returns
    -------
    RawStructures

    Raises
    ------
    InputError
        Anything that leaves a structure, its place in the line or its role in doubt.
    """
    names = _column_names(columns)
    source = open_layer(path, layer, "structures", section, None if section is None else names)
    if names["crossarm_azimuth"] == COLUMNS["crossarm_azimuth"] and FORMER_AZIMUTH in source.fields:
        if COLUMNS["crossarm_azimuth"] in source.fields:
            raise InputError(source.path, f"layer {source.name}", f"the columns crossarm_azimuth and {FORMER_AZIMUTH}, "
                             "its former name", "one of them, or structures.columns.crossarm_azimuth")
        names["crossarm_azimuth"] = FORMER_AZIMUTH
    optional = _OPTIONAL if route is None else (*_OPTIONAL, "order")
    present = {
        key: source.require(name, f"structures.columns.{key}")
        for key, name in names.items()
        if key not in optional or name != COLUMNS[key] or name in source.fields
    }
    read = list(portions(source, present.values()))
    if not read:
        raise InputError(
            source.path, f"layer {source.name}", "no structures", "a point for each structure"
        )
    fid = np.concatenate([part.fid for part in read])
    table = {
        key: np.concatenate([part.columns[name] for part in read]) for key, name in present.items()
    }
    geometry = _points(source, fid, read)
    left_out = sum((part.left_out for part in read), Counter())
    raw = _raw(source, fid, geometry, table, units or {}, None if "order" in present else route, left_out)
    _check_lines(raw)
    return raw


def open_structures(path, section):
    """Return the layer that the table of structures of a study names."""
    return open_layer(path, section.layer, "structures", section, _column_names(section.columns))


def _column_names(columns):
    if columns is None:
        return dict(COLUMNS)
    if isinstance(columns, dict):
        unknown = next((key for key in columns if key not in COLUMNS), None)
        if unknown is not None:
            raise InputError(
                None,
                f"structures.columns.{unknown}",
                "no such column",
                ", ".join(COLUMNS),
                nearest(unknown, COLUMNS),
            )
        return COLUMNS | columns
    return {key: getattr(columns, key, name) for key, name in COLUMNS.items()}


def _points(source, fid, read):
    geometry = np.concatenate([part.geometry for part in read])
    fault = np.concatenate([part.fault for part in read])
    other = (shapely.get_type_id(geometry) != shapely.GeometryType.POINT.value) & (fault == "")
    fault[other] = "a geometry that is no point"
    xy = np.full((len(fid), 2), np.nan)
    xy[fault == ""] = shapely.get_coordinates(geometry[fault == ""])
    fault[(fault == "") & ~np.isfinite(xy).all(axis=1)] = "a point without coordinates"
    _refuse(source, fid, fault != "", fault, "a point for each structure")
    return xy


def _refuse(source, fid, wrong, found, accepted, hint=None):
    """Raise InputError for the first feature that is wrong."""
    if wrong.any():
        index = np.flatnonzero(wrong)[0]
        raise InputError(
            source.path,
            f"layer {source.name}, feature {fid[index]}",
            found[index],
            accepted,
            hint(index) if hint else None,
        )


def _raw(source, fid, xy, table, units, route, left_out):
    count = len(fid)
    text = {key: _text(source, fid, table, key) for key in ("structure", "role", "framing")}
    text["line"] = (
        _text(source, fid, table, "line") if "line" in table else np.full(count, ONE_LINE, object)
    )
    text["role"] = np.array([role.lower() for role in text["role"]], object)
    _refuse(
        source,
        fid,
        ~np.isin(text["role"].astype(str), ROLES),
        [f"the role {role!r}" for role in text["role"]],
        " | ".join(ROLES),
        lambda index: nearest(text["role"][index], ROLES),
    )
    number = {
        "order": _numbers(source, fid, table, "order", "ratio", required=route is None),
        "base_elevation": _numbers(source, fid, table, "base_elevation", "length", units.get("base_elevation"),
                                   most=_HIGHEST),
        "crossarm_azimuth": _numbers(source, fid, table, "crossarm_azimuth", "angle", units.get("crossarm_azimuth")),
    }
    change = Transformer.from_crs(horizontal(source.crs), "EPSG:4326", always_xy=True)
    longitude, latitude = (np.asarray(v) for v in change.transform(*xy.T))
    _refuse(
        source,
        fid,
        ~(np.isfinite(longitude) & (np.abs(latitude) <= 90)),
        [f"a point at {x:g}, {y:g}" for x, y in xy],
        f"a place within {source.crs.name}",
    )
    words = ()
    if route is not None:
        number["order"], words = order_along(*route, longitude, latitude, text["line"], text["structure"])
    sort = np.lexsort((number["order"], text["line"].astype(str)))
    columns = {key: values[sort] for key, values in (text | number).items()}
    return RawStructures(source, *xy[sort].T, longitude[sort], latitude[sort], **columns, left_out=left_out,
                         words=words)


def _text(source, fid, table, key):
    values = np.array(
        ["" if v is None or v != v else plain_name(v) for v in table[key].tolist()], object
    )
    _refuse(source, fid, values == "", [f"no {key}"] * len(fid), f"a {key} for each structure")
    _refuse(source, fid, np.isin(values, list(NO_NAMES)), [f"{key} {v!r}" for v in values], "another name")
    return values


def plain_name(value):
    """Return a name as text; one that a table has turned into a number gets no decimals."""
    return (
        str(int(value)) if isinstance(value, float) and value.is_integer() else str(value).strip()
    )


def _numbers(source, fid, table, key, kind, unit=None, *, required=False, most=np.inf):
    if key not in table:
        return np.full(len(fid), np.nan)
    numbers, fault = cells(table[key], kind, unit)
    wrong = (fault != "") & (required | (fault != "missing"))
    _refuse(source, fid, wrong, [f"{key} {text}" for text in fault], f"a number as {key}")
    far, name = np.abs(numbers) > most, KINDS[kind].unit
    _refuse(source, fid, far, [f"{key} {value:g} {name}" for value in numbers], f"{most:g} {name} at most as {key}")
    return numbers


def _check_lines(raw):
    """Refuse what leaves the order of a line, or its ends, in doubt."""
    same = raw.line[1:] == raw.line[:-1]
    pair = np.flatnonzero(same & (raw.order[1:] == raw.order[:-1]))
    if len(pair):
        a, b = raw.structure[pair[0]], raw.structure[pair[0] + 1]
        raise _line_fault(
            raw,
            pair[0],
            f"structures {a} and {b} with the same order {raw.order[pair[0]]:g}",
            "an order of its own for each structure of a line",
        )
    seen = set()
    for index, key in enumerate(zip(raw.line, raw.structure, strict=True)):
        if key in seen:
            raise _line_fault(
                raw,
                index,
                f"two structures named {raw.structure[index]}",
                "names that are unique within the line",
            )
        seen.add(key)
    starts, stops = np.r_[True, ~same], np.r_[~same, True]
    lone = np.flatnonzero(starts & stops)
    if len(lone):
        raise _line_fault(
            raw,
            lone[0],
            f"one structure only, {raw.structure[lone[0]]}",
            "at least two structures in a line",
        )
    held = np.flatnonzero((starts | stops) & (raw.role == "suspension"))
    if len(held):
        raise _line_fault(
            raw,
            held[0],
            f"the suspension structure {raw.structure[held[0]]} at an end of the line",
            "a terminal or strain structure first and last",
            "the order",
        )


def _line_fault(raw, index, found, accepted, hint=None):
    where = f"layer {raw.layer.name}, line {raw.line[index]}"
    return InputError(raw.layer.path, where, found, accepted, hint)


def place(raw, frame):
    """Return structures in the working frame.

    Parameters
    ----------
    raw : RawStructures
    frame : Frame

    Returns
    -------
    Structures
        `crossarm_azimuth` is turned from the layer's north to the frame's.

    Raises
    ------
    InputError
        A line doubles back, or two neighbours stand in one place: the order is wrong.
    """
    e, n = frame.transform_points(raw.x, raw.y, raw.layer.crs)
    _check_course(raw, e, n)
    return Structures(
        raw.line,
        raw.structure,
        raw.order,
        raw.role,
        raw.framing,
        e,
        n,
        raw.base_elevation,
        (raw.crossarm_azimuth + _turn(raw, frame, e, n)) % 360,
    )


def _check_course(raw, easting, northing):
    step = np.diff(easting) + 1j * np.diff(northing)
    same = raw.line[1:] == raw.line[:-1]
    near = np.flatnonzero(same & (np.abs(step) < _NEAREST))
    if len(near):
        a, b = raw.structure[near[0]], raw.structure[near[0] + 1]
        raise _line_fault(
            raw,
            near[0],
            f"structures {a} and {b} in one place",
            f"neighbours at least {_NEAREST:g} m apart",
        )
    turn = np.abs(np.degrees(np.angle(step[1:] * np.conj(step[:-1]))))
    back = np.flatnonzero(same[1:] & same[:-1] & (turn > _SHARPEST))
    if len(back):
        index = back[0] + 1
        raise _line_fault(
            raw,
            index,
            f"an unordered line: it doubles back at {raw.structure[index]} "
            f"(a turn of {turn[back[0]]:.0f} degrees)",
            "structures in the order of the line",
            "the order",
        )


def _turn(raw, frame, easting, northing):
    """Grid azimuth, in the frame, of the layer's own north [deg]."""
    crs = horizontal(raw.layer.crs)
    # A step of some metres to the north of the layer's own axes.
    step = 1e-4 if crs.is_geographic else 10.0
    e, n = frame.transform_points(raw.x, raw.y + step, raw.layer.crs)
    return np.degrees(np.arctan2(e - easting, n - northing))
