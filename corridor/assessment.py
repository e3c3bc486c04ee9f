"""One batch of spans from facts to findings: strung, loaded, compared, limited.

Everything here is a function of its arguments. The ground is asked for through two callables, so the same code
serves a raster, a plane in a test, or anything else that knows elevations.
"""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from corridor.clearance import right_of_way as way
from corridor.clearance import rules as rule_tables
from corridor.clearance.clipping import clipping_rows
from corridor.clearance.cloud_obstacles import at_home, count_points, meet_clouds, own_rows
from corridor.clearance.crossings import ObstacleIndex, cross, part_tops
from corridor.clearance.displaced import ASIDE, beside_rest
from corridor.clearance.envelopes import envelope_rows
from corridor.clearance.findings import (
    Scene,
    against_of,
    assess,
    gap_rows,
    violation_rows,
)
from corridor.clearance.ground import ground_rows
from corridor.clearance.other_lines import as_swept, in_hot_case, over_others, parted, states_of
from corridor.clearance.own_wires import join_columns, own_findings
from corridor.clearance.parcels import parcel_rows
from corridor.clearance.radial import near_points
from corridor.clearance.reasons import missing_rows, unswung
from corridor.clearance.slopes import beside_ground
from corridor.clearance.stretches import violation_stretches
from corridor.clearance.structure_loads import load_rows
from corridor.clearance.sweep import sweep
from corridor.clearance.trees import fall_gaps, fall_in, feet_of, near_swung, tallest
from corridor.clearance.vertical import join, over_ground, over_objects, sides, take
from corridor.clearance.wires import section_rows, wire_rows
from corridor.geometry.distance import Ends, take_rows
from corridor.line.blown import swing_curves
from corridor.line.build import attach, cut
from corridor.line.chains import chain_wires
from corridor.line.facts import Framings, OwnWires, RightOfWay, Structures, Wiring
from corridor.line.hanging import Model, clipping_state, hang_by_ruling_span, hang_exactly
from corridor.line.states import group_wires, solve_states
from corridor.line.swing import hung_curves, span_frame, to_grid
from corridor.line.uneven import wire_loads
from corridor.planning.limits import limit_rows

__all__ = ["Facts", "Ground", "Plan", "assess_spans", "look_below", "make_scene", "surveyed"]


@dataclass(frozen=True)
class Facts:
    """All that a study says, in the working frame.

    `voltage` is the highest, line to line [V]; `heat` the ratings of the options (`corridor.rating.ratings`),
    `method` one of `corridor.line.hanging.METHODS`; `unread` gaps for what nothing is compared
    with, though the study names it; `clouds` the surveyed points; `block_ends` structures at which a block of
    stringing ends.
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
    method: str = "equilibrium"
    unread: tuple = ()
    clouds: tuple = ()
    own_wires: OwnWires | None = None
    block_ends: tuple = ()

    @property
    def reference(self):
        """Index of the option that hangs today, or else of the first."""
        return next((i for i, option in enumerate(self.options) if option.existing), 0)

    @property
    def existing(self):
        """Name of the option that hangs today, None where none does."""
        return next((option.name for option in self.options if option.existing), None)


@dataclass(frozen=True)
class Plan:
    """The line laid out: route, spans and sections, and the elevation of every base [m].

    `surveyed` False: the ground was not asked yet. Bases that only it knows are nan, and lengths are those at sea
    level; `corridor.check.find` asks it batch by batch, so that it is read once.
    """

    route: object
    spans: object
    sections: object
    base_elevation: np.ndarray
    surveyed: bool = True


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
    scene, unmatched = make_scene(facts, plan, first, last)
    facts, scene, met = surveyed(facts, scene)
    wires, index = scene.wires, facts.index
    below, crossed, side = look_below(facts, scene, ground, met.home)
    tops = part_tops(index, ground.sample, _wanted(facts, index, wires))
    still, sideways = _cases(facts.cases)
    vertical = _asked(facts.cases, still, "vertical")
    compared = _upright(facts, scene, below, crossed, vertical, side, tops, ground)
    beside, halfway = _sideways(facts, scene, sideways, tops)
    compared += beside
    swept = _swept(facts, scene, met, crossed, side, ground)
    compared += [] if swept is None else [swept.checked]
    near, unfallen = _near_trees(facts, scene, tops, ground)
    slopes, unseen = beside_ground(scene, below, ground.sample)
    checked = own_rows(met.home, wires, join(compared + near + slopes))
    columns, kept, unruled = assess(scene, checked)
    columns["points"] = count_points(met, kept)
    gaps = missing_rows(scene, facts, below, crossed, checked, unruled, tops, unmatched, vertical, swept)
    own, unknown = own_findings(facts, lambda cases: make_scene(replace(facts, cases=cases), plan, first, last)[0])
    gaps += [*halfway, *unfallen, *unseen, *met.gaps, *unknown]
    found = join_columns([columns, *own])
    flashover = rule_tables.electrical_distance(facts.voltage / 1e3)
    envelopes = envelope_rows(scene, facts.right_of_way)
    return {
        "sections": section_rows(scene),
        "wires": wire_rows(scene),
        "clearances": found,
        "violations": violation_rows(found, facts.existing, flashover),
        "violation_stretches": violation_stretches(scene, kept, columns, below, crossed, swept, ground, index),
        "swing_envelopes": envelopes,
        "parcels": parcel_rows(scene, envelopes),
        "structure_loads": load_rows(scene),
        "clipping": clipping_rows(scene, facts.block_ends),
        "limits": limit_rows(scene, below, crossed, side, ground, facts.heat.current_at,
                             _in_still_air(facts.cases, columns)),
        "point_clouds": met.columns,
        "not_assessed": gap_rows(gaps, scene.structures, scene.base_elevation, scene.spans),
    }


def surveyed(facts, scene):
    """Return facts and scene with what surveyed points come to as obstacles, and that (`Met`)."""
    met = meet_clouds(scene, facts.index, facts.clouds, facts.reference)
    return replace(facts, index=met.index), replace(scene, obstacles=met.index.obstacles), met


def look_below(facts, scene, ground, home):
    """Return what lies below the wires of a scene: rows of ground, what is crossed, and on which side of it they pass.

    Parameters
    ----------
    facts : Facts
    scene : Scene
    ground : Ground
    home : ndarray of int, shape (obstacle,)
        Span that an obstacle made of surveyed points belongs to, -1 for all others.

    Returns
    -------
    below : Rows
    crossed : Crossed
    side : ndarray, shape (row of crossed,)
        1 where the wire passes above.
    """
    wires, index = scene.wires, facts.index
    profile = ground.profiles(*wires.start[:, :2].T, *wires.end[:, :2].T)
    below = ground_rows(wires, profile.first, profile.fraction, profile.elevation)
    crossed = cross(wires, index, below, ground.sample)
    keep = np.flatnonzero(at_home(home, wires.span[crossed.wire], crossed.obstacle))
    crossed = replace(crossed, wire=crossed.wire[keep], obstacle=crossed.obstacle[keep],
                      rows=take_rows(crossed.rows, keep))
    constant, rest_ends = _reference(facts, scene, _cases(facts.cases)[0])
    side = sides(wires, crossed, constant, index.obstacles, rest_ends)
    return below, in_hot_case(wires, crossed, side, index.obstacles, facts.cases), side


def make_scene(facts, plan, first, last):
    """Return the Scene of spans `first` to `last` (whole sections), hung in every state, and wires that end nowhere.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    first, last : int
        Spans of the plan, `last` included.
    """
    spans, sections = cut(plan.spans, plan.sections, first, last)
    wires, unmatched = attach(facts.structures, plan.base_elevation, plan.route, spans, facts.framings)
    groups = group_wires(spans, wires)
    strung = solve_states(groups, facts.options, facts.cases, facts.shield, sections)
    plumb = span_frame(facts.structures, plan.route, spans, wires)
    loads = wire_loads(strung, groups, wires, spans, facts.options, facts.cases, facts.shield)
    roughly = hang_by_ruling_span(plumb, wires, spans, plan.route.line_angle, strung, groups.of_wire_span, loads)
    wires, frame, hung, model = _hung(facts, spans, wires, groups, strung, plumb, roughly)
    ends, aside = hung.moved(frame)
    return Scene(facts.structures, plan.base_elevation, plan.route, spans, sections, wires, groups, frame,
                 facts.index.obstacles, facts.options, facts.cases, strung, groups.of_wire_span, facts.rules,
                 facts.voltage, hung, model, Ends(*(field[..., 0] for field in ends)), aside[..., 0, :], plumb,
                 roughly), unmatched


def _hung(facts, spans, wires, groups, strung, plumb, roughly):
    """Wires at rest, their frame, where they hang in every state, and the model that hangs them (None: none does)."""
    if facts.method == "ruling_span":
        return wires, plumb, roughly, None
    state = clipping_state(strung, groups.kind, facts.options, facts.shield)
    model = Model(chain_wires(plumb, wires, spans), strung, groups.of_wire_span, groups.span, *state)
    rest, pressure = model.rest(plumb, facts.reference), np.array([case.wind for case in facts.cases])
    start, end = (to_grid(point, facts.structures, spans, wires.span) for point in (rest.start, rest.end))
    length = np.linalg.norm((rest.end - rest.start)[:, :2], axis=-1)
    return replace(wires, start=start, end=end, length=length), rest, hang_exactly(model, roughly, pressure), model


def _cases(cases):
    """Indices of the cases in still air, and of those in which wires are looked at sideways."""
    still = np.array([case.wind == 0 for case in cases])
    sideways = ~still | np.array(["horizontal" in case.checks for case in cases])
    return np.flatnonzero(still), np.flatnonzero(sideways)


def _asked(cases, indices, check):
    """Those of the cases in which a check is asked for."""
    return np.array([k for k in indices if check in cases[k].checks], int)


def _upright(facts, scene, below, crossed, vertical, side, tops, ground):
    """Compare wires in still air with the ground, with what they cross, and with points near them."""
    wires, index, constant, ends = scene.wires, facts.index, scene.constant, scene.ends
    radial = _has_rule(facts, index, "radial") & ~np.isnan(tops)
    chosen = _has_rule(facts, index, "vertical", crossed.obstacle)
    stated = states_of(index.obstacles)[crossed.obstacle]
    ruled, over = parted(crossed, side, chosen & ~stated)
    others, past = parted(crossed, side, chosen & stated)
    far = (np.abs(scene.aside) > ASIDE).any(axis=-1)[:, :, vertical].any(axis=(1, 2))
    near = np.where(np.isin(wires.span, wires.span[far])[:, None, None], np.nan, constant)
    return [over_ground(wires, below, near, vertical, ends),
            beside_rest(scene, np.isin(wires.span, wires.span[far]), vertical, ground),
            over_objects(wires, ruled, constant, vertical, over, ends),
            *over_others(wires, others, constant, vertical, past, index.obstacles, ends),
            near_points(wires, index, constant, vertical, tops, radial, ends=ends,
                        ground_factor=scene.spans.ground_factor[wires.span])]


def _sideways(facts, scene, sideways, tops):
    """Compare swung wires with the right-of-way, and along their swing with what stands beside them; and the gaps."""
    horizontal = _asked(facts.cases, sideways, "horizontal")
    if not len(horizontal):
        return [], []
    args = scene.wires, scene.spans, scene.structures
    parts = []
    if facts.right_of_way.half_width is not None or facts.right_of_way.polygon is not None:
        curves = hung_curves(scene.hung, horizontal)
        parts.append(way.within_right_of_way(curves, *args, facts.right_of_way, horizontal))
    above = np.where(_has_rule(facts, facts.index, "horizontal"), tops + _vertical_room(facts, tops), np.nan)
    if not np.isfinite(above).any():
        return parts, []
    curves, unsolved = swing_curves(scene, horizontal)
    parts.append(way.beside_objects(curves, *args, facts.index, horizontal, above, _corners(facts, horizontal, tops)))
    return parts, unswung(scene, horizontal, unsolved)


def _swept(facts, scene, met, crossed, side, ground):
    """Compare wires along their swing with what is below, in the windy cases that ask for it; None where none does."""
    index = facts.index
    windy = np.array([k for k, case in enumerate(facts.cases) if case.wind > 0 and "vertical" in case.checks], int)
    if not len(windy):
        return None
    every = np.arange(len(index.obstacles.category))
    below = np.isin(every, crossed.obstacle[side < 0])
    ruled = _has_rule(facts, index, "vertical", every)
    found = sweep(scene, as_swept(index, below, windy), ground, windy, above=ruled & ~below, below=ruled & below)
    keep = at_home(met.home, scene.wires.span[found.checked.wire], found.checked.obstacle)
    lost = tuple(each for each in found.lost if at_home(met.home, scene.wires.span[each["wire"]], each["obstacle"]))
    return replace(found, checked=take(found.checked, keep), blown=found.blown.take(keep), lost=lost)


def _near_trees(facts, scene, tops, ground):
    """Compare wires along their swing with points near them, and with trees that fall; and the gaps of these."""
    index = facts.index
    asked = np.array([bool({"vertical", "horizontal"} & set(case.checks)) for case in facts.cases])
    windy = np.array([case.wind > 0 for case in facts.cases])
    radial = _has_rule(facts, index, "radial") & ~np.isnan(tops)
    parts = [near_swung(scene, index, np.flatnonzero(asked & windy), tops, radial)]
    falling = _falling(index)
    if not falling.any():
        return parts, []
    feet = feet_of(index, tops, ground.sample, falling & ~np.isnan(tops))
    ruled = rule_tables.falling_rule(facts.rules, against_of(index.of_part, index.obstacles))[1]
    parts += [fall_in(scene, index, np.flatnonzero(asked & some), tops, feet, ruled & np.isfinite(tops - feet))
              for some in (windy, ~windy)]
    return parts, fall_gaps(scene, index, tops, feet, falling)


def _falling(index):
    """True for the parts that can fall."""
    falls = index.obstacles.falls
    return np.zeros(len(index.of_part), bool) if falls is None else falls[index.of_part]


def _in_still_air(cases, columns):
    """Rows of the cases without wind: the others say nothing of how hot a wire may get."""
    still = np.isin(columns["case"], [case.name for case in cases if case.wind == 0])
    return {name: values[still] for name, values in columns.items()}


def _reference(facts, scene, still):
    """Constants and ends, (wire span, state), of the option of today, or else of the first, in still air."""
    some = slice(None), facts.reference, still
    return scene.constant[some], Ends(*(field[some] for field in scene.ends))


def _has_rule(facts, index, measure, obstacle=None):
    """True for the parts (or rows of given obstacles) whose category has a rule of a measure in any case."""
    obstacle = index.of_part if obstacle is None else obstacle
    return rule_tables.has_rule(facts.rules, against_of(obstacle, index.obstacles), measure)


def _vertical_room(facts, tops):
    """Vertical clearance required above each part [m]: the most that any case asks for, 0 where none does."""
    against, voltage = against_of(facts.index.of_part, facts.index.obstacles), facts.voltage / 1e3
    required = np.zeros(len(against))
    for case in facts.cases:
        rule = rule_tables.choose(facts.rules, against, "vertical", case.name, voltage)
        terms = rule_tables.requirement(facts.rules, rule, voltage, np.nan_to_num(tops))
        required = np.fmax(required, terms.required)
    return required


def _corners(facts, cases, tops):
    """What is required beside and above the parts whose horizontal rule rounds the corner, in some cases."""
    against, voltage = against_of(facts.index.of_part, facts.index.obstacles), facts.voltage / 1e3
    required = np.full((2, len(against), len(cases)), np.nan)
    for column, case in enumerate(facts.cases[k] for k in cases):
        chosen = [rule_tables.choose(facts.rules, against, measure, case.name, voltage, swung=case.wind > 0)
                  for measure in ("horizontal", "vertical")]
        rounded = np.append(facts.rules.shape, "")[chosen[0]] == "corner"
        for row, rule in enumerate(chosen):
            terms = rule_tables.requirement(facts.rules, rule, voltage, tops)
            required[row, :, column] = np.where(rounded, terms.required, np.nan)
    return way.Corners(tops, *required)


def _wanted(facts, index, wires):
    """True for the parts near these wires whose top is asked for by a radial or horizontal rule."""
    ruled = _has_rule(facts, index, "radial") | _has_rule(facts, index, "horizontal") | _falling(index)
    ends = np.concatenate([wires.start[:, :2], wires.end[:, :2]])
    reach = way.REACH + tallest(index, _falling(index))
    low, high = np.nanmin(ends, axis=0) - reach, np.nanmax(ends, axis=0) + reach
    near = np.zeros(len(ruled), bool)
    near[index.tree.query(shapely.box(*low, *high))] = True
    return ruled & near
