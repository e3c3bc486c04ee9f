"""One batch of spans from facts to findings: strung, loaded, compared, limited.

Everything here is a function of its arguments. The ground is asked for through two callables, so the same code
serves a raster, a plane in a test, or anything else that knows elevations.
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from corridor.clearance import right_of_way as way
from corridor.clearance import rules as rule_tables
from corridor.clearance.crossings import ObstacleIndex, cross, part_tops
from corridor.clearance.findings import (
    Scene,
    against_of,
    assess,
    gap_rows,
    violation_rows,
)
from corridor.clearance.ground import ground_rows
from corridor.clearance.radial import near_points
from corridor.clearance.reasons import missing_rows
from corridor.clearance.stretches import violation_stretches
from corridor.clearance.swing import span_frame, swing
from corridor.clearance.vertical import join, over_ground, over_objects, sides
from corridor.clearance.wires import section_rows, wire_rows
from corridor.geometry.distance import take_rows
from corridor.line.build import attach, cut
from corridor.line.facts import Framings, RightOfWay, Structures, Wiring
from corridor.line.states import group_wires, solve_states
from corridor.planning.limits import limit_rows

__all__ = ["Facts", "Ground", "Plan", "assess_spans"]


@dataclass(frozen=True)
class Facts:
    """All that a study says, in the working frame.

    `voltage` is the highest, line to line [V]; `heat` the ratings of the options (`corridor.planning.ratings`).
    """

    structures: Structures
    framings: Framings
    index: ObstacleIndex
    right_of_way: RightOfWay
    rules: object
    options: tuple
    cases: tuple
    shield: Wiring | None
    voltage: float
    heat: object

    @property
    def existing(self):
        """Name of the option that hangs today, None where none does."""
        return next((option.name for option in self.options if option.existing), None)


@dataclass(frozen=True)
class Plan:
    """The line laid out: route, spans and sections, and the elevation of every base [m]."""

    route: object
    spans: object
    sections: object
    base_elevation: np.ndarray


@dataclass(frozen=True)
class Ground:
    """What knows elevations: `sample(easting, northing)` [m], and `profiles(e0, n0, e1, n1)`."""

    sample: object
    profiles: object


def assess_spans(facts, plan, ground, first, last):
    """Return the findings of spans `first` to `last` (whole sections), as columns by layer.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    ground : Ground
    first, last : int
        Spans of the plan, `last` included.

    Returns
    -------
    dict of dict of ndarray
        Layer name to columns: sections, wires, clearances, violations, violation_stretches, limits, not_assessed.
    """
    scene, unmatched = _scene(facts, plan, first, last)
    wires, index = scene.wires, facts.index
    profile = ground.profiles(*wires.start[:, :2].T, *wires.end[:, :2].T)
    below = ground_rows(wires, profile.first, profile.fraction, profile.elevation)
    crossed = cross(wires, index, below, ground.sample)
    tops = part_tops(index, ground.sample, _wanted(facts, index, wires))
    constant = scene.strung.constant[scene.group]
    still, sideways = _cases(facts.cases)
    side = sides(wires, crossed, _reference(facts, constant, still), index.obstacles)
    blown = _blown(scene, sideways) if len(sideways) else None
    compared = _upright(facts, scene, below, crossed, constant, _asked(facts.cases, still, "vertical"), side, tops)
    compared += _sideways(facts, scene, blown, sideways, tops)
    checked = join(compared)
    columns, kept, unruled = assess(scene, checked)
    gaps = missing_rows(scene, facts, below, crossed, checked, unruled, tops, unmatched,
                        _asked(facts.cases, still, "vertical"))
    flashover = rule_tables.electrical_distance(facts.voltage / 1e3)
    return {
        "sections": section_rows(scene),
        "wires": wire_rows(scene, blown, sideways),
        "clearances": columns,
        "violations": violation_rows(columns, facts.existing, flashover),
        "violation_stretches": violation_stretches(scene, kept, columns, below, crossed),
        "limits": limit_rows(scene, below, crossed, side, facts.heat.current_at, columns),
        "not_assessed": gap_rows(gaps, scene.structures, scene.base_elevation, scene.spans),
    }


def _scene(facts, plan, first, last):
    spans, sections = cut(plan.spans, plan.sections, first, last)
    wires, unmatched = attach(facts.structures, plan.base_elevation, plan.route, spans, facts.framings)
    groups = group_wires(spans, wires)
    strung = solve_states(groups, facts.options, facts.cases, facts.shield)
    frame = span_frame(facts.structures, plan.route, spans, wires)
    return Scene(facts.structures, plan.base_elevation, plan.route, spans, sections, wires, groups, frame,
                 facts.index.obstacles, facts.options, facts.cases, strung, groups.of_wire_span, facts.rules,
                 facts.voltage), unmatched


def _cases(cases):
    """Indices of the cases in still air, and of those in which wires are looked at sideways."""
    still = np.array([case.wind == 0 for case in cases])
    sideways = ~still | np.array(["horizontal" in case.checks for case in cases])
    return np.flatnonzero(still), np.flatnonzero(sideways)


def _asked(cases, indices, check):
    """Those of the cases in which a check is asked for."""
    return np.array([k for k in indices if check in cases[k].checks], int)


def _blown(scene, sideways):
    strung, group = scene.strung, scene.group
    H, w, p = (v[group][:, :, sideways] for v in (strung.horizontal_tension, strung.weight, strung.wind))
    return swing(scene.frame, scene.wires, scene.spans, scene.route.line_angle, H, w, p)


def _upright(facts, scene, below, crossed, constant, vertical, side, tops):
    """Compare wires in still air with the ground, with what they cross, and with points near them."""
    wires, index = scene.wires, facts.index
    radial = _has_rule(facts, index, "radial") & ~np.isnan(tops)
    chosen = _has_rule(facts, index, "vertical", crossed.obstacle)
    ruled = replace(crossed, wire=crossed.wire[chosen], obstacle=crossed.obstacle[chosen],
                    rows=take_rows(crossed.rows, np.flatnonzero(chosen)))
    return [over_ground(wires, below, constant, vertical),
            over_objects(wires, ruled, constant, vertical, side[chosen]),
            near_points(wires, index, constant, vertical, tops, radial,
                        ground_factor=scene.spans.ground_factor[wires.span])]


def _sideways(facts, scene, blown, sideways, tops):
    """Compare swung wires with the right-of-way and with what stands beside them."""
    horizontal = _asked(facts.cases, sideways, "horizontal")
    if not len(horizontal):
        return []
    at = np.searchsorted(sideways, horizontal)
    chosen = replace(blown, points=blown.points[:, :, at])
    args = scene.wires, scene.spans, scene.structures
    parts = []
    if facts.right_of_way.half_width is not None or facts.right_of_way.polygon is not None:
        parts.append(way.within_right_of_way(chosen, *args, facts.right_of_way, horizontal))
    above = np.where(_has_rule(facts, facts.index, "horizontal"), tops + _vertical_room(facts), np.nan)
    parts.append(way.beside_objects(chosen, *args, facts.index, horizontal, above))
    return parts


def _reference(facts, constant, still):
    """Constants of the option of today, or else of the first, in still air: (wire span, state)."""
    option = next((i for i, option in enumerate(facts.options) if option.existing), 0)
    return constant[:, option][:, still]


def _has_rule(facts, index, measure, obstacle=None):
    """True for the parts (or rows of given obstacles) whose category has a rule of a measure in any case."""
    obstacle = index.of_part if obstacle is None else obstacle
    return rule_tables.has_rule(facts.rules, against_of(obstacle, index.obstacles), measure)


def _vertical_room(facts):
    """Vertical clearance required above each part [m], 0 where no rule asks for one."""
    against = against_of(facts.index.of_part, facts.index.obstacles)
    rule = rule_tables.choose(facts.rules, against, "vertical", "", facts.voltage / 1e3)
    terms = rule_tables.requirement(facts.rules, np.maximum(rule, 0), facts.voltage / 1e3, 0.0)
    return np.where(rule >= 0, terms.required, 0.0)


def _wanted(facts, index, wires):
    """True for the parts near these wires whose top is asked for by a radial or horizontal rule."""
    ruled = _has_rule(facts, index, "radial") | _has_rule(facts, index, "horizontal")
    ends = np.concatenate([wires.start[:, :2], wires.end[:, :2]])
    low, high = np.nanmin(ends, axis=0) - way.REACH, np.nanmax(ends, axis=0) + way.REACH
    near = np.zeros(len(ruled), bool)
    near[index.tree.query(shapely.box(*low, *high))] = True
    return ruled & near
