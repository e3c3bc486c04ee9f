"""From what was compared to findings: requirement, margin, place and severity of every row, as columns.

A finding has one of three outcomes. A row of `clearances` with a margin of zero or more is clear, with a negative
one it is a violation; whatever has no margin is a row of `not_assessed` with its reason, never a pass.
"""

from dataclasses import dataclass

import numpy as np
import shapely

from corridor.clearance import rules as rule_tables
from corridor.clearance.band import margin_band
from corridor.clearance.other_lines import told_states
from corridor.clearance.right_of_way import RIGHT_OF_WAY
from corridor.line.swing import to_grid

__all__ = [
    "Scene",
    "against_of",
    "assess",
    "gap_rows",
    "obstacle_name",
    "other_voltage",
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


@dataclass(frozen=True)
class Scene:
    """What the rows of one batch of spans refer to.

    `plumb` is the frame with all strings plumb, `by_ruling_span` where wires hang by that method;
    `wires` and `frame` have the wires where they rest, as the option of today was clipped in; `hung` tells where
    they are in every state, `model` can hang them in others, `ends` and `aside` (wire span, option, case) where
    strings have moved them from rest.
    """

    structures: object
    base_elevation: np.ndarray
    route: object
    spans: object
    sections: object
    wires: object
    groups: object
    frame: object
    obstacles: object
    options: tuple
    cases: tuple
    strung: object
    group: np.ndarray
    rules: object
    voltage: float
    hung: object
    model: object
    ends: object
    aside: np.ndarray
    plumb: object
    by_ruling_span: object

    @property
    def constant(self):
        """Catenary constants in still air [m], or with the wind to the right, shape (wire span, option, case)."""
        return self.hung.constant[..., 0]


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
    against = against_of(checked.obstacle, scene.obstacles)
    case_name = np.array([case.name for case in scene.cases], object)[checked.case]
    terms, names, unruled = _terms(scene, checked, against, case_name)
    has = unruled == ""
    kept = type(checked)(*(getattr(checked, name)[has] for name in checked.__dataclass_fields__))
    columns = _place(scene, kept) | _keys(scene, kept, against[has], case_name[has])
    columns |= {"rule": names[has], "measure": kept.measure, "actual_m": kept.actual, "position": kept.position}
    columns |= {f"{name}_m": term[has] for name, term in terms._asdict().items()}
    columns["margin_m"] = kept.actual - columns["required_m"]
    columns["other_state"] = told_states(scene.obstacles, kept.obstacle, kept.position, kept.case)
    columns["margin_low_m"], columns["margin_high_m"] = margin_band(scene, kept, columns["required_m"])
    return columns, kept, unruled


def _terms(scene, checked, against, case_name):
    """Requirement of every row, the name of its rule, and why it has none."""
    U, U_other = scene.voltage / 1e3, other_voltage(scene, checked.obstacle) / 1e3
    windy = np.array([case.wind > 0 for case in scene.cases])[checked.case]
    falling = rule_tables.falling_rule(scene.rules, against)[0]
    against = np.where(checked.position == "falling", falling, against)
    corner = checked.position == "corner"
    measure = np.where(corner, "horizontal", checked.measure)
    rule = rule_tables.choose(scene.rules, against, measure, case_name, U, swung=windy, other_kv=U_other)
    if corner.any():
        rule[corner] = _of_corner(scene, checked, against, case_name, windy, rule)[corner]
    apart = (rule < 0) & (checked.position == "galloping")
    edge = (rule < 0) & (checked.obstacle == RIGHT_OF_WAY) | apart
    terms = rule_tables.requirement(scene.rules, rule, U, _altitude(checked), other_kv=U_other)
    # Where no rule is for the right-of-way, its edge itself is the limit; ellipses of galloping shall not touch.
    terms = type(terms)(*(np.where(edge, 0.0, term) for term in terms))
    names = np.where(edge, np.where(apart, APART, EDGE), np.append(scene.rules.rule, "")[rule])
    why = np.full(len(rule), "", object)
    why[np.isnan(terms.required)] = "the voltage is unknown, or voltage or altitude are above those of the rule"
    why[(rule < 0) & ~edge] = "the rules hold none for this in this case"
    return terms, names, why


def _of_corner(scene, checked, against, case_name, windy, beside):
    """The rule that a rounded corner goes by: of those beside and above, the one that requires more."""
    U = scene.voltage / 1e3
    above = rule_tables.choose(scene.rules, against, "vertical", case_name, U, swung=windy)
    more = [rule_tables.requirement(scene.rules, rule, U, _altitude(checked)).required for rule in (above, beside)]
    return np.where(more[0] > more[1], above, beside)


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


def _keys(scene, checked, against, case_name):
    wires, spans = scene.wires, scene.spans
    w, o, k = checked.wire, checked.option, checked.case
    span, group = wires.span[w], scene.group[w]
    strung = scene.strung
    return {
        "line": spans.line[span], "span": spans.name[span],
        "section": scene.sections.name[spans.section[span]], "wire": wires.wire[w],
        "option": np.array([option.name for option in scene.options], object)[o], "case": case_name,
        "against": against, "obstacle": obstacle_name(checked.obstacle, scene.obstacles),
        "conductor_temperature_c": strung.temperature[group, o, k],
        "horizontal_tension_n": scene.hung.horizontal_tension[w, o, k, 0],
        "catenary_constant_m": scene.constant[w, o, k],
    }


def severity(columns, existing, flashover):
    """Return the severity of violations, and whether the existing wire falls short at the same place.

    A: nearer than the electrical distance with the wire that hangs today (act now). B: short of the rule at
    maximum temperature or ice, or with an option. C: the rule is met, the buffer is not.

    Parameters
    ----------
    columns : dict of ndarray
        Rows of `clearances` with a negative margin.
    existing : str or None
        Name of the existing option.
    flashover : float
        Electrical distance at the line's highest voltage [m].

    Returns
    -------
    severity : ndarray of str
    inherited : ndarray of bool or None
    """
    short = columns["margin_m"] + columns["buffer_m"] < 0
    today = columns["option"] == existing if existing else np.zeros(len(short), bool)
    near = today & (columns["actual_m"] < flashover) & (columns["against"] != "right_of_way")
    near &= ~np.isin(columns["position"].astype(str), ("falling", "galloping"))
    grade = np.where(near, "A", np.where(short, "B", "C")).astype(object)
    if existing is None:
        return grade, np.full(len(short), None, object)
    names = ("line", "span", "case", "against", "obstacle", "measure")
    key = list(zip(*(columns[name] for name in names), columns["position"] == "falling", strict=True))
    has = {k for k, is_today in zip(key, today, strict=True) if is_today}
    return grade, np.array([k in has for k in key], bool)


def violation_rows(columns, existing, flashover):
    """Return the rows of `violations`: those of `clearances` that fall short, with severity."""
    chosen = np.flatnonzero(columns["margin_m"] < 0)
    rows = {name: values[chosen] for name, values in columns.items()}
    grade, inherited = severity(rows, existing, flashover)
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
