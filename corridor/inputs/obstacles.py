"""Obstacles, from layers of points, lines and polygons.

A feature that cannot be used is kept, with its fault: it is reported as not assessed, never left
out."""

from collections import Counter

import numpy as np
import shapely

from corridor.clearance.crossings import REACH
from corridor.clearance.parcels import PARCEL
from corridor.errors import NO_NAMES
from corridor.inputs.cells import cells
from corridor.inputs.layers import open_layer, portions
from corridor.inputs.other_lines import assumed_states, height_factor, string_wires
from corridor.inputs.reach import indexed, kept, together
from corridor.inputs.voltages import several_voltages, voltages, without_unit
from corridor.line.facts import LayerRead, Obstacles

__all__ = ["check_shape", "open_obstacles", "read_obstacles"]

#: Elevations that can be [m].
_LOWEST, _HIGHEST = -500.0, 9000.0
#: Heights above the ground that can be [m].
_DEEPEST, _TALLEST = -50.0, 1000.0
#: A lower voltage of a line than this is a number of kilovolts, or no voltage [V].
_LEAST_VOLTAGE = 100.0
#: Kinds of geometry in the order of shapely's numbers, and those that are used.
_KINDS = ("Point", "LineString", "LinearRing", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon",
          "GeometryCollection")
_USABLE = ("Point", "LineString", "Polygon", "MultiPoint", "MultiLineString", "MultiPolygon")
_OPTIONS = (
    "column",
    "height_column",
    "elevation_column",
    "voltage_column",
    "id_column",
    "radius_column",
)


def open_obstacles(section, resolve):
    """Return the layer that a part of an obstacle section of the study names."""
    columns = {key: getattr(section, "column" if key == "category" else f"{key}_column", None)
               for key in ("category", "height", "elevation", "voltage", "radius", "id")}
    return open_layer(resolve(section.file), section.layer, f"obstacles.{section.name}", section, columns)


def read_obstacles(sections, resolve, frame, *, boxes=None, cases=0, hangings=None):
    """Return all obstacles near the line, in the working frame, and what each layer held, near or not.

    Parameters
    ----------
    sections : sequence
        The study's `obstacles`, in its order.
    resolve : callable
        From a path in the study to one that opens.
    frame : Frame
    boxes : ndarray, shape (box, 4), or None
        About the spans, as `corridor.inputs.reach.boxes_about` makes them; None: everything is kept.
    cases : int
        Number of cases of the study.
    hangings : dict of Hanging, optional
        By name of the sections whose points are the attachments of another line's wires.

    Returns
    -------
    obstacles : Obstacles
        In the order of sections and features. A feature without a place is kept wherever the line
        is.
    layers : tuple of LayerRead

    Raises
    ------
    InputError
        No such file, layer or column, or no CRS.
    """
    context = frame, boxes, cases, hangings or {}
    parts, read = [], []
    for section in sections:
        portions_read = [each for part in getattr(section, "parts", (section,))
                         for each in _read(part, resolve, *context)]
        parts += [rows for rows, _ in portions_read if rows is not None]
        read.append(together(section.name, [held for _, held in portions_read]))
    names = ("layer", "obstacle", "category", "geometry", "absolute", "height", "voltage", "radius", "fault", "falls",
             "states")
    kinds = {"absolute": bool, "falls": bool, "height": float, "voltage": float, "radius": float}
    return Obstacles(
        *(
            np.concatenate([np.empty(0, kinds.get(name, object)), *(part[name] for part in parts)])
            for name in names
        )
    ), tuple(read)


def _read(section, resolve, frame, boxes, cases, hangings):
    layer = open_obstacles(section, resolve)
    if section.name in hangings:
        wires = section.wires
        columns = [wires.order_column, wires.line_column, wires.wire_column, section.elevation_column,
                   section.voltage_column]
        wanted = [layer.require(name, f"obstacles.{section.name}") for name in columns if name is not None]
        parts = list(portions(layer, wanted))
        rows = string_wires(section, layer, parts, frame, hangings[section.name])
        yield kept(rows, boxes, REACH, left_out=sum((part.left_out for part in parts), Counter()),
                   counted=np.concatenate([part.fid for part in parts]) if layer.selection.where else None)
        return
    wanted = [
        layer.require(getattr(section, key), f"obstacles.{section.name}.{key}")
        for key in _OPTIONS
        if getattr(section, key, None) is not None
    ]
    # How many rows a filter leaves out is known of a whole layer alone; an index knows nothing of columns of places.
    whole = layer.selection.where or layer.selection.places
    numbers = None if whole else indexed(layer, frame, boxes, REACH)
    for portion in portions(layer, wanted, numbers):
        rows = _rows(section, layer, portion, frame)
        rows["states"] = assumed_states(section, len(portion.fid), cases)
        yield kept(rows, boxes, REACH, (portion, layer.crs, frame), portion.left_out,
                   portion.fid if layer.selection.where else None)
    if numbers is not None:
        yield None, LayerRead("", layer.features - len(numbers), 0, np.full(4, np.nan), False)


def _rows(section, layer, portion, frame):
    """The columns of `Obstacles` for a portion of a layer."""
    count, fault = len(portion.fid), portion.fault.copy()
    category = _category(section, portion, fault)
    voltage = _voltage(section, portion, fault)
    radius = _value(section, portion, "radius", "length", fault)
    _accept(fault, radius, 0, 500, "radius")
    geometry = frame.transform(portion.geometry, layer.crs)
    check_shape(geometry, fault)
    land = category == PARCEL
    area = np.isin(shapely.get_type_id(geometry), (3, 6))
    _blame(fault, land & ~area, "a parcel that is no polygon")
    geometry, absolute, height = _top(section, layer, portion, geometry, fault, land)
    geometry, height = _grown(section, geometry, absolute, height)
    return {
        "layer": np.full(count, section.name, object),
        "obstacle": np.array(_names(section, portion), object),
        "category": category,
        "geometry": geometry,
        "absolute": absolute,
        "height": height,
        "voltage": voltage,
        "radius": frame.widen(radius, geometry),
        "fault": fault,
        "without_unit": without_unit(
            None if getattr(section, "voltage_unit", None) else _column(section, portion, "voltage"), count),
        "several": several_voltages(_column(section, portion, "voltage"), count),
        "falls": np.full(count, bool(getattr(section, "falls", False))),
    }


def _names(section, portion):
    """Names of features: that of the section and their identifier, or else their number in the file."""
    ids = _column(section, portion, "id")
    ids = portion.fid if ids is None else ids
    before = f"{section.name}:{getattr(section, 'label', '')}"
    if ids.dtype.kind in "iu":
        return [f"{before}{v}" for v in ids.tolist()]
    return [
        f"{before}{fid if v is None or v != v else _plain(v)}"
        for v, fid in zip(ids.tolist(), portion.fid.tolist(), strict=True)
    ]


def _plain(value):
    return int(value) if isinstance(value, float) and value.is_integer() else value


def _column(section, portion, what):
    name = getattr(section, f"{what}_column", None)
    return None if name is None else portion.columns[name]


def _blame(fault, wrong, text, values=None):
    """Note a fault where there is none yet; the first one found is told. `text` has a place for the
    value of a feature where there are `values`."""
    free = np.flatnonzero(wrong)
    free = free[fault[free] == ""]
    fault[free] = text if values is None else [text.format(values[i]) for i in free]


def _category(section, portion, fault):
    if getattr(section, "column", None) is None:
        return np.full(len(portion.fid), section.category, object)
    values = [
        str(v).strip() if v is not None and v == v and str(v).strip() not in NO_NAMES else ""
        for v in portion.columns[section.column].tolist()
    ]
    values = np.array(values, object)
    fallback = section.category or ""
    _blame(fault, (values == "") & (not fallback), "no category")
    return np.where(values == "", fallback, values)


def _value(section, portion, what, kind, fault):
    """A column's numbers, or the one number of the section, or nan."""
    values = _column(section, portion, what)
    if values is None:
        given = getattr(section, what, None)
        return np.full(len(portion.fid), np.nan if given is None else given, float)
    numbers, wrong = cells(values, kind, getattr(section, f"{what}_unit", None))
    _blame(fault, wrong == "missing", f"no {what}")
    _blame(fault, wrong != "", f"{what} {{}} is not a number", wrong)
    return numbers


def _accept(fault, values, low, high, what):
    """Numbers outside of what can be become nan and a fault."""
    wrong = (values < low) | (values > high)
    _blame(fault, wrong, f"{what} of {{:g}}", values)
    values[wrong] = np.nan


def _voltage(section, portion, fault):
    """Voltages [V], nan where a column has none or one that cannot be."""
    values = _column(section, portion, "voltage")
    if values is None:
        return _value(section, portion, "voltage", "voltage", fault)
    numbers, wrong = voltages(values, getattr(section, "voltage_unit", None))
    _blame(
        fault,
        ~np.isin(wrong.astype(str), ("", "missing")),
        "voltage {} is not a voltage",
        wrong,
    )
    low = numbers < _LEAST_VOLTAGE
    _blame(fault, low, "voltage of {:g} V, perhaps meant in kV", numbers)
    return np.where(low | (wrong != ""), np.nan, numbers)


def check_shape(geometry, fault):
    """Note what kind of geometry cannot be used."""
    kind = np.append(_KINDS, "")[shapely.get_type_id(geometry)]
    _blame(fault, ~np.isin(kind, _USABLE) & (kind != ""), "a geometry of kind {}", kind)
    bounds = shapely.bounds(geometry)
    _blame(
        fault,
        ~np.isfinite(bounds).all(axis=1),
        "coordinates that have no place in the working frame",
    )
    broken = np.flatnonzero((fault == "") & ~shapely.is_valid(geometry))
    reasons = shapely.is_valid_reason(geometry[broken])
    fault[broken] = [
        "polygon crosses itself"
        if "elf-intersection" in reason
        else f"geometry is not valid: {reason}"
        for reason in reasons
    ]


def _top(section, layer, portion, geometry, fault, land):
    """Geometry, whether its Z is the top, and the height above ground [m].

    A column of elevations gives Z to all vertices; else a height given by the study or a column
    counts from the ground, also where the geometry has Z; else Z is the top; else nothing is known.
    """
    solid = shapely.has_z(geometry)
    elevation = _column(section, portion, "elevation")
    if elevation is not None:
        z, wrong = cells(elevation, "length", getattr(section, "elevation_unit", None))
        _blame(fault, wrong == "missing", "no elevation")
        _blame(fault, wrong != "", "elevation {} is not a number", wrong)
        told = np.isfinite(z)
        geometry[told] = shapely.force_3d(shapely.force_2d(geometry[told]), z[told])
        absolute = np.ones(len(geometry), bool)
    elif _given(section, "height"):
        absolute = np.zeros(len(geometry), bool)
    else:
        absolute = solid
        geometry = _scaled(geometry, height_factor(section, layer))
    _check_z(geometry, absolute & ~land, fault, flat=elevation is None)
    height = (
        _value(section, portion, "height", "length", fault)
        if _given(section, "height") and elevation is None
        else np.full(len(geometry), np.nan)
    )
    _accept(fault, height, _DEEPEST, _TALLEST, "height")
    _blame(fault, ~absolute & ~land & np.isnan(height), "no height and no elevation")
    return geometry, absolute, height


def _grown(section, geometry, absolute, height):
    """Geometry with its tops, and heights above the ground, as they are after the growth that the study gives [m]."""
    growth = getattr(section, "growth", 0.0)
    if not growth:
        return geometry, height
    grown = geometry.copy()
    chosen = absolute & shapely.has_z(geometry)
    grown[chosen] = shapely.transform(geometry[chosen], lambda xyz: xyz + [0, 0, growth], include_z=True)
    return grown, height + growth


def _given(section, what):
    return (
        getattr(section, what, None) is not None
        or getattr(section, f"{what}_column", None) is not None
    )


def _scaled(geometry, factor):
    if factor == 1:
        return geometry
    result = geometry.copy()
    solid = shapely.has_z(result)
    result[solid] = shapely.transform(
        result[solid], lambda xyz: xyz * [1, 1, factor], include_z=True
    )
    return result


def _check_z(geometry, absolute, fault, *, flat):
    """Note elevations that cannot be; `flat`: also Z of 0 throughout, which is how a plan without
    heights is stored."""
    chosen = np.flatnonzero(absolute & (fault == ""))
    xyz, owner = shapely.get_coordinates(geometry[chosen], include_z=True, return_index=True)
    z = xyz[:, 2]
    bad = ~((z > _LOWEST) & (z < _HIGHEST))
    worst = {}
    for index, value in zip(owner[bad], z[bad], strict=True):
        worst.setdefault(index, value)
    for index, value in worst.items():
        fault[chosen[index]] = (
            f"an elevation of {value:g} m" if np.isfinite(value) else "a vertex without elevation"
        )
    level = np.bincount(owner, z != 0, minlength=len(chosen)) == 0
    _blame(
        fault,
        np.isin(np.arange(len(fault)), chosen[level]) & flat,
        "elevation 0 throughout: heights not given",
    )
