"""From what was compared to findings: requirement, margin, place and severity of every row, as columns.

A finding has one of three outcomes. A row of `clearances` with a margin of zero or more is clear, with a negative
one it is a violation; whatever has no margin is a row of `not_assessed` with its reason, never a pass.
"""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import names_of, take
from corridor.clearance import rules as rule_tables
from corridor.clearance.bundles import reach_of_rows
from corridor.clearance.checked import GROUND
from corridor.clearance.margin_band import margin_band
from corridor.clearance.other_lines import told_states
from corridor.clearance.right_of_way import RIGHT_OF_WAY
from corridor.line.swing import to_grid

__all__ = [
    "Required",
    "against_of",
    "assess",
    "gap_rows",
    "obstacle_name",
    "other_voltage",
    "requirements",
    "severity",
    "span_chords",
    "span_rows",
    "structure_rows",
    "violation_rows",
]

#: The rule of a right-of-way for which the table holds none.
EDGE = "edge of the right-of-way"
#: Likewise of galloping wires.
APART = "ellipses apart"


def against_of(obstacle, obstacles):
    """Return what stands for each obstacle index in the column `against`."""
    names = np.concatenate([obstacles.category.astype(object), ["right_of_way", "ground"]])
    return names[np.where(obstacle >= 0, obstacle, obstacle + len(names))]


def obstacle_name(obstacle, obstacles):
    """Return the column `obstacle`: the obstacle's name, None for ground and right-of-way."""
    names = np.concatenate([obstacles.obstacle.astype(object), [None, None]])
    return names[np.where(obstacle >= 0, obstacle, obstacle + len(names))]


def assess(scene, checked):
    """Return the columns of `clearances` for compared rows, and those rows for which there is no rule.

    Parameters
    ----------
    scene : Scene
    checked : Checked

    Returns
    -------
    columns : dict of ndarray
        One row per compared row that a rule is for, `geometry` included.
    kept : Checked
        Those rows.
    unruled : ndarray of str, shape (row,)
        Why a row has no requirement, "" where it has one.
    """
    asked = requirements(scene, checked)
    terms, names, unruled = asked.terms, asked.name, asked.unruled
    has = (unruled == "") & ~asked.told
    kept = take(checked, has)
    columns = _place(scene, kept) | _keys(scene, kept)
    columns |= {"rule_confidence": asked.confidence[has], "rule_edition": asked.edition[has]}
    columns |= {"rule": names[has], "measure": kept.measure, "actual_m": kept.actual, "position": kept.position}
    columns |= {f"{name}_m": term[has] for name, term in terms._asdict().items()}
    columns["margin_m"] = kept.actual - columns["required_m"]
    columns["bundle_m"] = reach_of_rows(scene, kept)
    columns["other_state"] = told_states(scene.obstacles, kept.obstacle, kept.position, kept.case)
    columns["margin_low_m"], columns["margin_high_m"] = margin_band(scene, kept, columns["required_m"])
    return columns, kept, unruled


class Required(NamedTuple):
    """What is required of compared rows: `terms` [m]; `name` of the rule, its `confidence` and its `edition`, "" where
    it says none; `unruled` why there is no requirement, "" where there is one; `told` where rules have rows for the
    thing in the same state, and the electrical distance is kept and adds nothing."""

    terms: rule_tables.Terms
    name: np.ndarray
    unruled: np.ndarray
    told: np.ndarray
    confidence: np.ndarray
    edition: np.ndarray


def requirements(scene, checked):
    """Return what is required of compared rows (`Required`), columns of shape (row,).

    Parameters
    ----------
    scene : Scene
    checked : Checked
    """
    against = against_of(checked.obstacle, scene.obstacles)
    case_name = names_of(scene.cases)[checked.case]
    U, U_other = scene.voltage / 1e3, other_voltage(scene, checked.obstacle) / 1e3
    windy = np.array([case.wind > 0 for case in scene.cases])[checked.case]
    falling = rule_tables.falling_rule(scene.rules, against)[0]
    against = np.where(checked.position == "falling", falling, against)
    corner = checked.position == "corner"
    measure = np.where(corner, "horizontal", checked.measure)
    Z = _altitude(checked)
    rule, terms = rule_tables.required(scene.rules, against, measure, case_name, U, Z, swung=windy, other_kv=U_other)
    if corner.any():
        above, more = rule_tables.required(scene.rules, against, "vertical", case_name, U, Z, swung=windy,
                                           other_kv=U_other)
        # A rounded corner goes by the rule, of those beside and above, that requires more.
        upper = corner & (more.required > terms.required)
        rule = np.where(upper, above, rule)
        terms = type(terms)(*(np.where(upper, a, b) for a, b in zip(more, terms, strict=True)))
    apart = (rule == rule_tables.NONE) & (checked.position == "galloping")
    edge = (rule == rule_tables.NONE) & (checked.obstacle == RIGHT_OF_WAY) | apart
    # Where no rule is for the right-of-way, its edge itself is the limit; ellipses of galloping shall not touch.
    terms = type(terms)(*(np.where(edge, 0.0, term) for term in terms))
    # From the end: NONE, ELECTRICAL.
    names = np.where(edge, np.where(apart, APART, EDGE), np.r_[scene.rules.rule, [rule_tables.FLOOR, ""]][rule])
    sure, apart_by = (np.r_[column, ["", ""]][rule] for column in (scene.rules.confidence,
                                                                   scene.rules.electrical_distance))
    of_distance = rule_tables.distance_confidence(np.fmax(U, U_other))
    sure = np.where(apart_by == "", sure, sure + "; " + apart_by + " " + of_distance)
    sure = np.where(rule == rule_tables.ELECTRICAL, of_distance, sure)
    edition = np.r_[scene.rules.edition, [rule_tables.DISTANCES_FROM, ""]][rule]
    least = terms.required
    if np.isfinite(rule_tables.electrical_distance(U)):
        least = np.where(np.isnan(U_other), rule_tables.greatest_distance() * (1 + rule_tables.thin_air(Z)), least)
    told = _told_by_rules(scene, checked, rule, least, terms.required)
    why = np.full(len(rule), "", object)
    why[np.isnan(terms.required) & ~told] = "the voltage is unknown, or voltage or altitude are above those of the rule"
    lone = np.flatnonzero((rule == rule_tables.NONE) & ~edge)
    why[lone] = [f"the rules hold no {each} row for {what} in this case" for each, what in
                 zip(measure[lone], against[lone], strict=True)]
    return Required(terms, names, why, told, sure, edition)


def _told_by_rules(scene, checked, rule, least, required):
    """True for rows in space that keep the electrical distance, the greatest of all where the voltage of the other line
    is unknown, of things that rules have rows for in the same state; and for those of the ground where a row that falls
    short is nearer than that distance, too."""
    floor = (rule == rule_tables.ELECTRICAL) & (checked.measure == "radial")
    if not floor.any():
        return floor
    shape = len(scene.spans), len(scene.options), len(scene.cases), len(scene.obstacles) + 2
    at = scene.wires.span[checked.wire], checked.option, checked.case, checked.obstacle % shape[-1]
    key = np.ravel_multi_index(at, shape)
    kept = (checked.actual >= least) & np.isin(key, key[rule >= 0])
    short = checked.actual < np.fmin(required, rule_tables.electrical_distance(scene.voltage / 1e3))
    return floor & (kept | (checked.obstacle == GROUND) & np.isin(key, key[(rule >= 0) & short]))


def other_voltage(scene, obstacle):
    """Highest voltage of the line that is crossed [V], nan where unknown; our own where it is no line."""
    is_line = np.r_[scene.obstacles.category == "line", False, False]
    voltage = np.r_[scene.obstacles.voltage.astype(float), 0.0, 0.0]
    index = np.where(obstacle >= 0, obstacle, obstacle + len(voltage))
    return np.where(is_line[index], voltage[index], scene.voltage)


def _altitude(checked):
    """Elevation that counts for the altitude share: of the thing, or of the wire beside it [m]."""
    return np.where(np.isnan(checked.other), checked.elevation, checked.other)


def _place(scene, checked):
    wires, spans, frame = scene.wires, scene.spans, scene.frame
    w = checked.wire
    start, end = frame.start[w], frame.end[w]
    along = start[:, 0] + checked.fraction * (end[:, 0] - start[:, 0])
    first, last = np.moveaxis(scene.aside[w, checked.option, checked.case], -1, 0)
    still = start[:, 1] + checked.fraction * (end[:, 1] - start[:, 1])
    still += first + checked.fraction * (last - first)
    offset = np.where(np.isnan(checked.offset), still, checked.offset)
    local = np.stack([along, offset, checked.elevation], axis=-1)
    tail = spans.tail[wires.span[w]]
    return {
        "geometry": shapely.points(to_grid(local, scene.structures, spans, wires.span[w])),
        "station_m": scene.route.station[tail] + along, "distance_from_start_m": along, "offset_m": offset,
        "wire_elevation_m": checked.elevation, "other_elevation_m": checked.other,
    }


def _keys(scene, checked):
    wires = scene.wires
    w, o, k = checked.wire, checked.option, checked.case
    span, group = wires.span[w], scene.group[w]
    strung, taut, higher = scene.strung, scene.taut or scene, checked.taut
    return {
        **scene.keys(span, o, k), "wire": wires.wire[w],
        "against": against_of(checked.obstacle, scene.obstacles),
        "obstacle": obstacle_name(checked.obstacle, scene.obstacles),
        "broken_span": scene.broken_spans(w, k), "conductor_temperature_c": strung.temperature[group, o, k],
        "horizontal_tension_n": np.where(higher, taut.hung.horizontal_tension[w, o, k, 0],
                                         scene.hung.horizontal_tension[w, o, k, 0]),
        "catenary_constant_m": np.where(higher, taut.constant[w, o, k], scene.constant[w, o, k]),
    }


def severity(columns, existing, voltage_kv):
    """Return the severity of violations, and whether the existing wire is in violation at the same place.

    "flashover": nearer, in space, than the electrical distance, between phases where it is another wire; "rule": short
    of the rule; "buffer": the rule is met, the owner's buffer is not.

    Parameters
    ----------
    columns : dict of ndarray
        Rows of `clearances` with a negative margin.
    existing : str or None
        Name of the existing option.
    voltage_kv : float
        Highest voltage of the line, line to line [kV].

    Returns
    -------
    severity : ndarray of str
    inherited : ndarray of bool or None
    """
    against, position = columns["against"].astype(str), columns["position"].astype(str)
    wire = np.isin(against, ("line", "own_phase", "own_circuit"))
    gap = np.where(wire, *(rule_tables.electrical_distance(voltage_kv, kind) for kind in ("D_pp", "D_el")))
    gap = gap * (1 + rule_tables.thin_air(columns["wire_elevation_m"]))
    over = np.fmax(columns["wire_elevation_m"] - columns["other_elevation_m"], 0)
    # What a wire is beside of it may be well above.
    away = np.where((columns["measure"] == "horizontal") & (over > 0), np.hypot(np.fmax(columns["actual_m"], 0), over),
                    columns["actual_m"])
    near = (away < gap) & (against != "right_of_way") & ~np.isin(position, ("falling", "galloping"))
    short = columns["margin_m"] + columns["buffer_m"] < 0
    grade = np.where(near, "flashover", np.where(short, "rule", "buffer")).astype(object)
    if existing is None:
        return grade, np.full(len(short), None, object)
    names = ("line", "span", "case", "against", "obstacle", "measure")
    key = list(zip(*(columns[name] for name in names), columns["position"] == "falling", strict=True))
    has = {k for k, option in zip(key, columns["option"], strict=True) if option == existing}
    return grade, np.array([k in has for k in key], bool)


def violation_rows(columns, existing, voltage_kv):
    """Return the rows of `violations`: those of `clearances` that are in violation, with severity."""
    chosen = np.flatnonzero(columns["margin_m"] < 0)
    rows = {name: values[chosen] for name, values in columns.items()}
    grade, inherited = severity(rows, existing, voltage_kv)
    return rows | {"severity": grade, "inherited": inherited}


def gap_rows(gaps, structures, base_elevation, spans):
    """Return the rows of `not_assessed` for a list of `Gap`; a span of -1 is none."""
    span = np.array([gap.span for gap in gaps], int)
    text = {name: np.array([getattr(gap, name) for gap in gaps], object)
            for name in ("wire", "option", "case", "against", "obstacle", "reason")}
    has = span >= 0
    chords = span_chords(structures, base_elevation, spans)
    return text | {"line": np.where(has, spans.line[span], None), "span": np.where(has, spans.name[span], None),
                   "geometry": np.where(has, chords[span], None)}


def span_chords(structures, base_elevation, spans):
    """Return the line between the bases of the structures of every span."""
    ends = [np.stack([structures.easting[i], structures.northing[i], base_elevation[i]], axis=-1)
            for i in (spans.tail, spans.head)]
    return shapely.linestrings(np.stack(ends, axis=1))


def structure_rows(structures, base_elevation, route):
    """Return the rows of `structures`."""
    coordinates = np.stack([structures.easting, structures.northing, base_elevation], axis=-1)
    return {"line": structures.line, "structure": structures.structure, "role": structures.role,
            "framing": structures.framing, "order": structures.order, "station_m": route.station,
            "base_elevation_m": base_elevation, "line_angle_deg": route.line_angle,
            "crossarm_azimuth_deg": route.crossarm, "geometry": shapely.points(coordinates)}


def span_rows(structures, base_elevation, spans, sections):
    """Return the rows of `spans`."""
    base = base_elevation
    return {"line": spans.line, "span": spans.name, "section": sections.name[spans.section],
            "from_structure": structures.structure[spans.tail], "to_structure": structures.structure[spans.head],
            "length_m": spans.length, "rise_m": base[spans.head] - base[spans.tail],
            "ground_factor": spans.ground_factor, "geometry": span_chords(structures, base, spans)}
