"""Wires of other lines: strung between the attachments that a layer of points gives, or of an assumed state."""

from dataclasses import dataclass
from types import SimpleNamespace

import numpy as np
import shapely

from corridor.arrays import join
from corridor.geometry.distance import heights
from corridor.inputs.cells import cells
from corridor.inputs.voltages import voltages
from corridor.line.facts import Case, Limit, Measured, Option, OtherState, Wiring
from corridor.line.section_wires import WireGroups
from corridor.line.states import solve_states
from corridor.mechanics.ruling_span import ruling_span
from corridor.units import scale

__all__ = ["Hanging", "assumed_states", "hanging_of", "height_factor", "string_wires"]

#: Vertices of a wire of another line.
_PLACES = 17
#: Temperature of a wire without load where the study knows none of the air [°C].
_AIR = 15.0


@dataclass(frozen=True)
class Hanging:
    """What the wires of a section of obstacles are and how they hang in each case of the study.

    `below`, `iced` cases of theirs without load and with our ice, one for each case of ours (`iced` None where ours has
    none); `worst` the case at their maximum temperature.
    """

    conductor: object
    tension: float
    temperature: float
    below: tuple
    iced: tuple
    worst: Case


def hanging_of(wires, conductor, cases, ambient):
    """Return the Hanging of the table `wires` of a section.

    Parameters
    ----------
    wires : OtherWires
    conductor : Conductor
    cases : sequence of Case
        Of the study.
    ambient : float or None
        Temperature of the air for ratings [°C].
    """
    def air(case):
        if not isinstance(wires.unloaded, str):
            return float(wires.unloaded)
        numbered = not isinstance(case.temperature, str)
        return float(case.temperature) if numbered else _AIR if ambient is None else float(ambient)

    def cold(case):
        return 0.0 if isinstance(case.temperature, str) else float(case.temperature)

    below = tuple(Case(f"unloaded {k}", air(case)) for k, case in enumerate(cases))
    iced = tuple(Case(f"iced {k}", cold(case), "final", case.ice, case.ice_density, ice_weight=case.ice_weight,
                      ice_weight_per_diameter=case.ice_weight_per_diameter) if case.icy else None
                 for k, case in enumerate(cases))
    return Hanging(conductor, wires.tension, wires.temperature, below, iced, Case("worst", wires.maximum_temperature))


def assumed_states(section, count, cases):
    """Return the states of features whose state is assumed, or None for each where it is not."""
    if getattr(section, "state", "surveyed") != "assumed":
        return np.full(count, None, object)
    told = (f"state assumed: up to {section.movement:g} m from where it was surveyed",) * cases
    states = np.full(count, None, object)
    states[:] = [OtherState(*[None] * 6, told, told, movement=section.movement)] * count
    return states


def string_wires(section, layer, portions, frame, hanging):
    """Return the columns of `Obstacles`, one row per span of another line's wire.

    All spans of a wire are one section, which hangs by its ruling span: what its structures are is not known.

    Parameters
    ----------
    section : object
        The study's, with `wires`.
    layer : Layer
    portions : iterable of Portion
    frame : Frame
    hanging : Hanging
    """
    points = _points(section, layer, portions, frame)
    rows = []
    for key in dict.fromkeys(zip(points["line"], points["wire"], strict=True)):
        own = [i for i, each in enumerate(zip(points["line"], points["wire"], strict=True)) if each == key]
        own = sorted(own, key=lambda i: points["order"][i])
        rows += _spans(section, points, own, " ".join(str(part) for part in key if part is not None), frame, hanging)
    count = len(rows)
    columns = {name: np.array([row[name] for row in rows], object) for name in ("obstacle", "fault")}
    for name in ("geometry", "states"):
        columns[name] = np.full(count, None, object)
        columns[name][:] = [row[name] for row in rows]
    voltage = section.voltage if section.voltage is not None else np.nan
    of_column = section.voltage_column is not None
    return columns | {
        "layer": np.full(count, section.name, object), "category": np.full(count, section.category, object),
        "absolute": np.ones(count, bool), "height": np.full(count, np.nan),
        "voltage": np.array([row["voltage"] if of_column else voltage for row in rows], float),
        "without_unit": np.full(count, of_column and section.voltage_unit is None),
        "radius": np.full(count, np.nan), "falls": np.zeros(count, bool)}


def _points(section, layer, portions, frame):
    """Columns of all attachments: place, order, line, wire, voltage and fault."""
    wires, parts = section.wires, []
    for portion in portions:
        fault = portion.fault.copy()
        geometry = frame.transform(portion.geometry, layer.crs)
        kind = np.array([g is not None and g.geom_type == "Point" and not g.is_empty for g in geometry], bool)
        fault[(fault == "") & ~kind] = "an attachment that is no point"
        xyz = np.full((len(geometry), 3), np.nan)
        xyz[kind] = shapely.get_coordinates(geometry[kind], include_z=True)
        xyz[:, 2] *= height_factor(section, layer)
        if section.elevation_column is not None:
            xyz[:, 2] = cells(portion.columns[section.elevation_column], "length", section.elevation_unit)[0]
        lost = ~np.isfinite(xyz).all(axis=1) | (xyz[:, 2] < -500) | (xyz[:, 2] > 9000)
        fault[(fault == "") & lost] = "an attachment without elevation"
        order = cells(portion.columns[wires.order_column], "ratio")[0]
        fault[(fault == "") & np.isnan(order)] = "an attachment without order"
        parts.append({"xyz": xyz, "order": order, "fault": fault, "fid": portion.fid,
                      "line": _texts(portion, wires.line_column), "wire": _texts(portion, wires.wire_column),
                      "voltage": _voltages(portion, section.voltage_column, section.voltage_unit)})
    return join(parts)


def height_factor(section, layer):
    """Return metres per unit of the Z of a layer: what the study says, else its CRS, else 1."""
    unit = getattr(section, "elevation_unit", None)
    return layer.height_factor if unit is None else scale(unit, "length")[0]


def _texts(portion, column):
    if column is None:
        return np.full(len(portion.fid), None, object)
    return np.array([str(v) for v in portion.columns[column].tolist()], object)


def _voltages(portion, column, unit):
    if column is None:
        return np.full(len(portion.fid), np.nan)
    return voltages(portion.columns[column], unit)[0]


def _spans(section, points, own, name, frame, hanging):
    """Rows of the spans of one wire, its attachments in order; a span with a fault hangs nowhere."""
    xyz, rows = points["xyz"][own], []
    named = [points["order"][i] for i in own]
    words = [f"{section.name}:{f'{name} ' if name else ''}{a:g}-{b:g}" for a, b in
             zip(named[:-1], named[1:], strict=True)]
    if not words:
        return [_row(f"{section.name}:{name or points['fid'][own[0]]}", None, None, np.nan, "a wire of one attachment")]
    faults = [points["fault"][a] or points["fault"][b] for a, b in zip(own[:-1], own[1:], strict=True)]
    plan = xyz[:, :2].T
    factor = frame.ground_factor(*plan[:, :-1], *plan[:, 1:], (xyz[:-1, 2] + xyz[1:, 2]) / 2)
    length = np.hypot(*np.diff(plan, axis=1)) * factor
    states = None if any(faults) else _hung(hanging, xyz, length)
    whole = next((fault for fault in faults if fault), "")
    for i, word in enumerate(words):
        fault = faults[i] or (whole and f"another span of the wire has {whole}")
        fault = fault or ("" if np.isfinite(states[i].constant).all() else "no tension found for the wire")
        shape = _line(xyz[i], xyz[i + 1], None if fault else states[i])
        rows.append(_row(word, shape, None if fault else states[i], points["voltage"][own[i]], fault))
    return rows


def _row(name, geometry, states, voltage, fault):
    return {"obstacle": name, "geometry": geometry, "states": states, "voltage": voltage, "fault": fault}


def _line(start, end, state):
    """A span as a line with the elevations of the first case without load; of one that hangs nowhere the chord."""
    if not np.isfinite(np.r_[start[:2], end[:2]]).all():
        return None
    if state is None:
        return shapely.linestrings([start[:2], end[:2]])
    share, first = np.linspace(0, 1, _PLACES), state.below[0][0]
    z = heights(share, state.length[first], start[2], end[2] - start[2], state.constant[first])
    return shapely.linestrings(np.column_stack([start[:2] + share[:, None] * (end - start)[:2], z]))


def _hung(hanging, xyz, length):
    """OtherState of every span of a wire between attachments (point, 3)."""
    h, rise = hanging, np.diff(xyz[:, 2])
    limit = Limit("as it hangs", "tension", h.tension, h.temperature, None, "final")
    wiring = Wiring(h.conductor, h.worst.temperature, None, (limit,), everyday_temperature=h.temperature,
                    stringing_temperature=h.temperature, measured=(Measured("", "all", h.temperature, h.tension,
                                                                            np.nan),))
    whole = WireGroups(np.zeros(1, int), np.array(["phase"], object), np.zeros(len(length), int),
                       np.array([ruling_span(length)]), length[None], rise[None])
    known = [case for case in (*h.below, *h.iced, h.worst) if case is not None]
    strung = solve_states(whole, [Option("other", wiring)], known, None,
                          SimpleNamespace(name=np.array(["all"], object), line=np.array([""], object)))
    C = {case.name: float(strung.constant[0, 0, k]) for k, case in enumerate(known)}
    place = {case.name: (k,) for k, case in enumerate(known)}
    # Of two ends of its history it hangs at the lower where it is above our wires, and at the higher below them.
    constant = np.r_[strung.constant[0, 0], strung.taut_tension[0, 0] / np.hypot(strung.weight, strung.wind)[0, 0]]
    # A smaller constant hangs lower; what is unknown under ice is unknown.
    lowest = [h.worst if ice is None or C[h.worst.name] <= C[ice.name] else ice for ice in h.iced]
    above = tuple(list(place[case.name]) for case in lowest)
    below = tuple([k + len(known) for k in place[case.name]] for case in h.below)
    told_below = tuple(f"at {case.temperature:g} °C without load" for case in h.below)
    told_above = tuple(f"at its maximum temperature, {h.worst.temperature:g} °C" if case is h.worst else
                       f"with our ice at {case.temperature:g} °C" for case in lowest)
    states = len(constant)
    return [OtherState(*(np.tile(each, (states, 1)) for each in (a, b)), np.full(states, S), constant, below, above,
                       told_below, told_above)
            for a, b, S in zip(xyz[:-1], xyz[1:], length, strict=True)]
