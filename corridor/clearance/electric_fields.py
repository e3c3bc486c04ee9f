"""Rows of the layer `fields`: the electric field below every span, what it induces, and that at the wires.

Where the hot wires of a span come nearest to the ground, all of them count as long and parallel over level ground, at
the highest voltage of the system; wires of other lines are left out. Which wire has which phase is not known: of
several circuits the worst order counts.
"""

from dataclasses import dataclass, fields

import numpy as np

from corridor.clearance.bundles import known_places
from corridor.clearance.findings import span_chords
from corridor.clearance.induced_current import largest_vehicle
from corridor.clearance.not_assessed import Gap
from corridor.electric.bundles import equivalent_radius
from corridor.electric.charges import greatest_near_ground, line_charges, phase_orders, surface_gradient
from corridor.electric.vehicles import short_circuit_current
from corridor.geometry.catenary import elevation_above_start
from corridor.geometry.surface_rows import surface_at
from corridor.line.phases import phases_of

__all__ = ["field_rows", "hot_case"]

#: Places along a wire where its height above the ground is looked at.
_PLACES = 33
#: Height above the ground at which the field is told [m]: IEEE Std 644, IEC 61786 (recalled).
_HEIGHT = 1.0
#: Circuits whose phases are tried in all orders.
_MOST = 4


@dataclass
class _Found:
    """What is found of spans, in every option, (span, option): numbers nan and names None where there is a `reason`."""

    along: np.ndarray
    clear: np.ndarray
    field: np.ndarray
    offset: np.ndarray
    gradient: np.ndarray
    wire: np.ndarray
    lowest: np.ndarray
    note: np.ndarray
    reason: np.ndarray


def hot_case(cases):
    """Return the case (index) at the maximum temperature of the options, its wires bare, whole and in still air, None
    without one."""
    return next((k for k, case in enumerate(cases)
                 if case.temperature == "maximum" and case.ordinary), None)


def field_rows(scene, below, shield, frequency, rule):
    """Return the rows of `fields`, one per span and option, and gaps where a rule asks for what is not known.

    Parameters
    ----------
    scene : Scene
    below : Rows
        The ground under each wire span.
    shield : Wiring or None
    frequency : float
        [Hz]
    rule : CurrentRule or None

    Returns
    -------
    columns : dict of ndarray
    gaps : list of Gap
    """
    case = hot_case(scene.cases)
    found = _find(scene, below, shield, case)
    s, o = (v.ravel() for v in np.indices(found.field.shape))
    row = _Found(*(getattr(found, each.name)[s, o] for each in fields(_Found)))
    spans = scene.spans
    temperature = np.array([each.wiring.maximum_temperature for each in scene.options], float)[o]
    columns = {
        **scene.keys(s, o), "case": np.full(len(s), None if case is None else scene.cases[case].name, object),
        "conductor_temperature_c": temperature, "wire": row.lowest, "lowest_height_m": row.clear,
        "station_m": scene.route.station[spans.tail[s]] + row.along, "distance_from_start_m": row.along,
        "field_kv_per_m": row.field / 1e3, "field_offset_m": row.offset,
        "surface_gradient_kv_per_cm": row.gradient / 1e5, "gradient_wire": row.wire, "field_note": row.note,
        "geometry": span_chords(scene.structures, scene.base_elevation, spans)[s],
    }
    judged, reason = _judge(scene.voltage, row, frequency, rule, temperature)
    lacking = np.flatnonzero((reason != "") & (rule is not None and scene.voltage / np.sqrt(3) > rule.voltage))
    gaps = [Gap(int(s[i]), None, columns["option"][i], columns["case"][i], "vehicle", None, reason[i]) for i in lacking]
    return columns | judged | {"reason": row.reason}, gaps


def _judge(voltage, row, frequency, rule, temperature):
    """The columns of the current in a vehicle, and why it could not be judged, "" where it could."""
    asked = rule is not None and voltage / np.sqrt(3) > rule.voltage
    vehicle = rule.vehicle if asked else largest_vehicle()
    current = short_circuit_current(frequency, row.field, vehicle.area)
    columns = {"vehicle": np.full(len(current), vehicle.name, object), "vehicle_current_ma": 1e3 * current}
    reason = row.reason.copy()
    if not asked:
        return columns, reason
    reason[(reason == "") & (temperature < rule.temperature)] = \
        f"the rule is for wires at {rule.temperature:g} °C or more, which the option does not reach"
    above = np.where((reason == "") & np.isfinite(current), current > rule.limit, None)
    texts = {"rule": rule.rule, "rule_confidence": rule.confidence, "rule_edition": rule.edition}
    return columns | {name: np.full(len(current), text, object) for name, text in texts.items()} | {
        "vehicle_limit_ma": np.full(len(current), 1e3 * rule.limit), "above_limit": above}, reason


def _find(scene, below, shield, case):
    shape = len(scene.spans), len(scene.options)
    found = _Found(*np.full((5, *shape), np.nan), *(np.full(shape, None, object) for _ in range(3)),
                   np.full(shape, "", object))
    if case is None:
        found.reason[:] = "no case at the maximum temperature in still air, without ice"
        return found
    found.reason[:] = "no wire hangs here"
    order = np.argsort(scene.wires.span, kind="stable")
    alike = {}
    for own in np.split(order, np.flatnonzero(np.diff(scene.wires.span[order])) + 1):
        key = tuple(zip(*(getattr(scene.wires, name)[own] for name in ("wire", "kind", "circuit")), strict=True))
        alike.setdefault(key, []).append(own)
    for own in alike.values():
        _fill(found, scene, below, shield, case, np.array(own))
    return found


def _fill(found, scene, below, shield, case, rows):
    """Find the fields of spans whose wires are named alike, `rows` (span, wire) their wire spans."""
    wires, span = scene.wires, scene.wires.span[rows[:, 0]]
    name, kind, circuit = (getattr(wires, each)[rows[0]] for each in ("wire", "kind", "circuit"))
    phases, reasons = phases_of(name, kind, circuit)
    if reasons or not phases or len(phases) > _MOST:
        found.reason[span] = next(iter(reasons.values()), "no phase wires" if not phases else
                                  f"more than {_MOST} circuits, whose phases are not known")
        return
    column = {(c, w): i for i, (c, w) in enumerate(zip(circuit, name, strict=True))}
    phase = np.array([column[each, wire] for each, three in phases.items() for wire in three])
    place, along, clear, lowest, reason = _lowest(scene, below, case, rows, phase)
    earthed = np.flatnonzero(kind == "shield")
    hung = shield is not None and np.isfinite(place[:, :, earthed]).all()
    chosen = np.concatenate([phase, earthed if hung else earthed[:0]])
    found.note[span] = "shield wires are left out: how they hang is not known" if len(earthed) and not hung else None
    found.lowest[span] = name[phase][lowest]
    found.along[span], found.clear[span] = along, clear
    U = np.zeros((len(chosen), 6 ** (len(phases) - 1)), complex)
    U[:len(phase)] = scene.voltage / np.sqrt(3) * phase_orders(len(phases))
    for o, option in enumerate(scene.options):
        r, why = option.wiring.conductor.diameter / 2, reason[:, o]
        about = known_places(option.wiring)
        if about is None:
            why = np.where(why == "", "the spacing of the bundle is not given", why)
        else:
            radii = np.full(len(chosen), equivalent_radius(about, r))
            radii[len(phase):] = shield.conductor.diameter / 2 if hung else 0.0
            why = np.where((why == "") & _touch(place[:, o, chosen], radii.max()), "two wires are at one place", why)
        found.reason[span, o] = why
        known = np.flatnonzero(why == "")
        if not len(known):
            continue
        at = place[known, o][:, chosen]
        charges = line_charges(at, radii, U)
        near, s = greatest_near_ground(at, charges, _HEIGHT), span[known]
        found.field[s, o], found.offset[s, o] = near
        gradient = surface_gradient(charges[:, :len(phase)], r, about).max(axis=-1)
        found.gradient[s, o], found.wire[s, o] = gradient.max(axis=-1), name[phase][gradient.argmax(axis=-1)]


def _touch(place, radius):
    """Whether any two wires (span, wire, 2) are no farther apart than they are thick."""
    apart = np.linalg.norm(place[:, :, None] - place[:, None], axis=-1)
    return (apart + np.where(np.eye(place.shape[1], dtype=bool), np.inf, 0.0) <= 2 * radius).any(axis=(1, 2))


def _lowest(scene, below, case, rows, phase):
    """Where the phase wires of spans come nearest to the ground, in every option.

    Returns
    -------
    place : ndarray, shape (span, option, wire, 2)
        Right of the line and above the ground there [m], of all wires.
    along, clear : ndarray, shape (span, option)
        Place along the span, height of the lowest wire above the ground [m].
    lowest : ndarray of int
        Which phase wire that is.
    reason : ndarray of str
        Why nothing is known, "" where it is.
    """
    share = np.linspace(0, 1, _PLACES)
    start, end = (ends[rows][:, :, :, case, 0].swapaxes(1, 2) for ends in (scene.hung.start, scene.hung.end))
    C = scene.hung.constant[rows][..., case, 0].swapaxes(1, 2)[..., None]
    way = end - start
    S = np.linalg.norm(way[..., :2], axis=-1)[..., None]
    z = start[..., 2:] + elevation_above_start(share * S, S, way[..., 2:], C)
    row, at = np.broadcast_arrays(rows[..., None], share)
    ground = surface_at(below.first, below.fraction, below.surface, row.ravel(), at.ravel()).reshape(row.shape)
    above = (z - ground[:, None])[:, :, phase]
    reason = np.full(above.shape[:2], "", object)
    reason[np.isnan(ground[:, phase]).any(axis=(1, 2))] = "the ground below the span is not known"
    reason[np.isnan(z[:, :, phase]).any(axis=(2, 3))] = "a phase wire hangs nowhere in this case"
    flat = np.where(np.isnan(above), np.inf, above).reshape(*above.shape[:2], -1)
    best = flat.argmin(axis=-1)
    lowest, n = np.divmod(best, _PLACES)
    clear = np.take_along_axis(flat, best[..., None], -1)[..., 0]
    reason[(reason == "") & (clear <= 2 * _HEIGHT)] = f"a wire is no more than {2 * _HEIGHT:g} m above the ground"
    under = ground[np.arange(len(rows))[:, None], phase[lowest], n]
    height = np.take_along_axis(z, n[..., None, None], -1)[..., 0] - under[..., None]
    uneven = (height[:, :, phase] <= 2 * _HEIGHT).any(axis=-1)
    reason[(reason == "") & uneven] = "the ground across the line is too uneven to count as level"
    right = start[..., 1] + share[n][..., None] * way[..., 1]
    mine = np.take_along_axis(start[..., 0] + share[n][..., None] * way[..., 0], phase[lowest][..., None], -1)[..., 0]
    blank = reason != ""
    return (np.stack([right, height], axis=-1), np.where(blank, np.nan, mine), np.where(blank, np.nan, clear), lowest,
            reason)
