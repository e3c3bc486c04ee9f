"""One batch of spans from facts to findings: strung, loaded, compared, limited.

Everything here is a function of its arguments. The ground is asked for through two callables, so the same code
serves a raster, a plane in a test, or anything else that knows elevations.
"""

from dataclasses import dataclass, replace

import numpy as np

from corridor.arrays import names_of
from corridor.clearance.at_structures import body_gaps
from corridor.clearance.capacity import Capacities
from corridor.clearance.clipping import clipping_rows
from corridor.clearance.cloud_obstacles import count_points, meet_clouds
from corridor.clearance.crossings import ObstacleIndex
from corridor.clearance.electric_fields import field_rows
from corridor.clearance.envelopes import envelope_rows
from corridor.clearance.findings import assess, gap_rows, violation_rows
from corridor.clearance.induced_current import CurrentRule
from corridor.clearance.mixes import put_together, totals_with_mixes, with_mixes
from corridor.clearance.not_assessed import missing_rows, unmatched_gaps
from corridor.clearance.own_wires import join_columns, own_findings
from corridor.clearance.parcels import parcel_rows
from corridor.clearance.proximity import compare, surroundings
from corridor.clearance.scene import Scene
from corridor.clearance.spread import spread
from corridor.clearance.stretches import violation_stretches
from corridor.clearance.structure_loads import load_rows
from corridor.clearance.study_lines import beside_lines
from corridor.clearance.wires import section_rows, wire_rows
from corridor.geometry.distance import Ends
from corridor.line.build import NoWires, attach, part_of_line
from corridor.line.facts import Framings, OwnWires, RightOfWay, Structures, Wiring
from corridor.line.hang import SIDES, case_states, hang, on_both_sides
from corridor.line.mixes import Mix, runs_alike
from corridor.line.model import clip_wires, clipping_state, model_of, rest_frame
from corridor.line.section_wires import group_wires
from corridor.line.states import solve_states
from corridor.line.surveyed import Surveyed, as_attached, as_seen
from corridor.line.swing import span_frame, to_grid
from corridor.line.uncertainty import Uncertainty
from corridor.line.uneven import SpanLoads, wire_loads
from corridor.rating.least_margin import margin_rows
from corridor.rating.limits import limit_rows
from corridor.rating.mixes import limits_less_known

__all__ = ["Facts", "Ground", "OPTIONAL", "Plan", "assess_spans", "make_scene", "meet", "whole_loads"]


@dataclass(frozen=True)
class Facts:
    """All that a study says, in the working frame.

    `voltage` is the highest, line to line [V]; `heat` the ratings of the options (`corridor.rating.ratings`),
    `method` one of `corridor.line.hang.METHODS`; `unread` gaps for what nothing is compared
    with, though the study names it; `clouds` the surveyed points; `pull_ends` structures at which a pull of
    stringing ends; `capacities` what structures bear, None where nothing is given; `induced` what the rules ask of the
    current in a vehicle; `surveyed` wires as a survey saw them; `uncertainty` how sure inputs are, None where that is
    not asked for; `margins_at` wire temperatures (option, node) [°C] at which the minimum margin of every span is asked
    for, None: at none; `mixes` of options, which hang in sections of the plan.
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
    pull_ends: tuple = ()
    capacities: Capacities | None = None
    induced: CurrentRule | None = None
    surveyed: Surveyed | None = None
    uncertainty: Uncertainty | None = None
    margins_at: np.ndarray | None = None
    mixes: tuple[Mix, ...] = ()

    @property
    def names(self):
        """Names of the options, and of the mixes after them."""
        return [each.name for each in (*self.options, *self.mixes)]

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
    """What knows elevations: `sample(easting, northing)` [m], `profiles(e0, n0, e1, n1)`, and `cells(e0, n0, e1, n1,
    reach)`, as of `corridor.inputs.terrain.Terrain`."""

    sample: object
    profiles: object
    cells: object


#: Layers that no other is made of, and that may be left out; `chances` are also what `clearances` tell of how sure
#: margins are, and `parcels` go with `swing_envelopes`.
OPTIONAL = frozenset({"limits", "violation_stretches", "swing_envelopes", "clipping_offsets", "chances"})
#: About how much of the work is done when wires hang, when they are compared with all, and when it is known how sure
#: that is: on the demo.
_HUNG, _COMPARED, _SURE = 0.02, 0.68, 0.7


def assess_spans(facts, plan, ground, first, last, needless=frozenset(), tell=None, only=None):
    """Return the findings of spans `first` to `last` (whole sections), as columns by layer.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    ground : Ground
    first, last : int
        Spans of the plan, `last` included.
    needless : set of str
        Those of `OPTIONAL` that nobody reads.
    tell : callable, optional
        `tell(share)` of the work that is done, 0 to 1, by and by.
    only : str, optional
        The option whose clearances are asked for, of a study without mixes: of others they are neither looked for nor
        told of as not assessed.

    Returns
    -------
    dict of dict of ndarray
        Layer name to columns: sections, wires, clearances, violations, violation_stretches, limits, not_assessed and
        others, `margins` where they are asked for; and, under `structure_totals`, the arguments of
        `corridor.clearance.capacity.Totals.add`, under `chances` those of `corridor.clearance.spread.LineChances.add`.
    """
    runs, parts = runs_alike(facts.mixes, plan.spans, first, last), []
    for low, high in runs:
        def told(share, low=low, high=high):
            return tell((low - first + share * (high + 1 - low)) / (last + 1 - first))

        part, lost = with_mixes(facts, plan, low, high, _assess_run(facts, plan, ground, low, high, needless,
                                                                   told if tell else None, only))
        if lost and "limits" in part:
            part["limits"] = limits_less_known(part["limits"], lost)
        parts.append(part)
    return parts[0] if len(parts) == 1 else put_together(parts)


def whole_loads(facts, plan, first, last):
    """Return what wires of spans `first` to `last` (whole sections) do to structures, as `assess_spans` has it under
    `structure_totals`, and look at nothing else."""
    parts = []
    for low, high in runs_alike(facts.mixes, plan.spans, first, last):
        scene, _ = make_scene(facts, plan, low, high)
        if scene is not None:
            _, totals = load_rows(scene, facts.framings, facts.capacities, True)
            parts.append(totals_with_mixes(facts, plan, low, totals))
    return tuple(np.concatenate(each) for each in zip(*parts, strict=True))


def _assess_run(facts, plan, ground, first, last, needless, tell, only):
    """The findings of spans in which each mix is one option alone, without those of mixes."""
    ends = np.r_[plan.spans.tail[first:last + 1], plan.spans.head[first:last + 1]]
    place = np.stack([facts.structures.easting[ends], facts.structures.northing[ends]], axis=1)
    facts = replace(facts, index=facts.index.near(place.min(axis=0), place.max(axis=0)))
    scene, unmatched = make_scene(facts, plan, first, last)
    if scene is None:
        spans, _ = part_of_line(plan.spans, plan.sections, first, last)
        return {"not_assessed": gap_rows(unmatched_gaps(unmatched), facts.structures, plan.base_elevation, spans)}
    tell = tell or (lambda share: None)
    tell(_HUNG)
    facts, scene, met = meet(facts, plan, scene, first, last)
    around = surroundings(facts, scene, ground, met.partners)
    if only is not None:
        around = replace(around, scene=scene.of_option(names_of(facts.options).tolist().index(only)))
    met_with = compare(around, tell=lambda share: tell(_HUNG + share * (_COMPARED - _HUNG)))
    tell(_COMPARED)
    columns, kept, unruled = assess(scene, met_with.checked)
    columns["points"] = count_points(met, kept)
    sure = () if facts.uncertainty is None or "chances" in needless else spread(
        scene, kept, columns["required_m"], facts.shield, facts.uncertainty)
    columns |= sure[0] if sure else {}
    tell(_SURE)
    gaps = missing_rows(around, met_with, unruled, unmatched)
    own, unknown = own_findings(facts, lambda cases: make_scene(replace(facts, cases=cases), plan, first, last)[0])
    gaps += [*met.gaps, *unknown]
    electric, unjudged = field_rows(scene, around.below, facts.shield, facts.heat.frequency, facts.induced)
    found = join_columns([columns, *own])
    loads, totals = load_rows(scene, facts.framings, facts.capacities, bool(facts.mixes))
    more = {
        "violation_stretches": lambda: violation_stretches(scene, kept, columns, around, met_with.swept),
        "swing_envelopes": lambda: envelope_rows(scene, facts.right_of_way),
        "clipping_offsets": lambda: clipping_rows(scene, facts.pull_ends),
        "limits": lambda: limit_rows(around, found, gaps, facts.heat.current_at),
    }
    batch = {
        "sections": section_rows(scene),
        "wires": wire_rows(scene),
        "clearances": found,
        "violations": violation_rows(found, facts.existing, facts.voltage / 1e3),
        "structure_loads": loads,
        "structure_totals": totals,
        "chances": (sure[1], found) if sure else (),
        **({} if facts.margins_at is None else {"margins": margin_rows(around, gaps, facts.margins_at)}),
        "fields": electric,
        "point_clouds": met.columns,
        "not_assessed": gap_rows([*gaps, *unjudged, *body_gaps(loads)], scene.structures, scene.base_elevation,
                                 scene.spans),
    } | {layer: rows() for layer, rows in more.items() if layer not in needless}
    if "swing_envelopes" in batch:
        batch["parcels"] = parcel_rows(scene, batch["swing_envelopes"])
    return batch


def meet(facts, plan, scene, first, last):
    """Return facts and scene with the wires of other lines of the study, and what surveyed points come to, among their
    obstacles; and what these are and for whom (`Met`)."""
    lines = beside_lines(facts, plan, facts.index, first, last, lambda some, *ends: make_scene(some, plan, *ends)[0])
    met = meet_clouds(scene, lines.index, lines.partners, facts.clouds, facts.reference)
    met = replace(met, gaps=(*lines.gaps, *met.gaps))
    return replace(facts, index=met.index), scene.among(met.index.obstacles), met


def make_scene(facts, plan, first, last):
    """Return the Scene of spans `first` to `last` (whole sections), hung in every state, None where no wire hangs in
    any of them; and wires that end nowhere.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    first, last : int
        Spans of the plan, `last` included.
    """
    spans, sections = part_of_line(plan.spans, plan.sections, first, last)
    try:
        wires, unmatched = attach(facts.structures, plan.base_elevation, plan.route, spans, facts.framings)
    except NoWires as none:
        return None, none.unmatched
    wires = as_attached(wires, spans, facts.surveyed)
    groups = group_wires(spans, wires)
    strung = solve_states(groups, facts.options, facts.cases, facts.shield, sections)
    plumb = span_frame(facts.structures, plan.route, spans, wires)
    loads = wire_loads(strung, groups, wires, spans, facts.options, facts.cases, facts.shield)
    plain = model_of(wires, spans, plumb, groups, strung, plan.route.line_angle, loads, facts.cases,
                     facts.options)
    model, frame = plain, plumb
    if facts.method == "equilibrium":
        plain = as_seen(plain, facts.options, facts.surveyed)
        model = clip_wires(plain, *clipping_state(strung, groups.kind, facts.options, facts.shield))
        frame = rest_frame(model, facts.reference)
        start, end = (to_grid(point, facts.structures, spans, wires.span) for point in (frame.start, frame.end))
        length = np.linalg.norm((frame.end - frame.start)[:, :2], axis=-1)
        wires = replace(wires, start=start, end=end, length=length)
    (hung, tensed), (_, tensed_roughly) = (_in_every_state(each, facts.cases) for each in (model, plain))
    ends, aside = hung.moved(frame)
    scene = Scene(facts.structures, plan.base_elevation, plan.route, spans, sections, wires, groups, frame,
                  facts.index.obstacles, facts.options, facts.cases, strung, groups.of_wire_span, facts.rules,
                  facts.voltage, hung, model, Ends(*(field[..., 0] for field in ends)), aside[..., 0, :], plumb,
                  strung.temperature[groups.of_wire_span], np.arange(len(wires)), tensed, tensed_roughly)
    return replace(scene, taut=_at_the_taut_end(scene, plain)), unmatched


def _at_the_taut_end(scene, plain):
    """The scene with wires at that end of their history at which they hang higher, None where both ends are one; what
    has no equilibrium there hangs, for loads, by the `plain` model's ruling span."""
    doubtful = scene.strung.final_doubtful[scene.group]
    if not doubtful.any():
        return None
    rows = on_both_sides(*np.nonzero(doubtful))
    model, spare = (replace(each, taut=True) for each in (scene.model, plain))
    found = _hung(model, scene.cases, *rows, held=True)
    hung, tensed = (whole.with_rows(rows, some)
                    for whole, some in zip((scene.hung, scene.tensed), found, strict=True))
    lost = tuple(column[np.isnan(found[1].horizontal_tension)] for column in rows)
    roughly = scene.tensed_by_ruling_span
    if len(lost[0]):
        roughly = roughly.with_rows(lost, _hung(spare, scene.cases, *lost, held=True)[1])
    return scene.hung_as(hung, tensed=tensed, model=model, tensed_by_ruling_span=roughly,
                         temperature=np.where(doubtful, scene.temperature, np.nan))


def _in_every_state(model, cases):
    """Every wire in every option and case, with the wind to either side, (wire span, option, case, side); and the same
    under the constants that cases add for tension."""
    shape = (*model.loads.weight.shape, len(SIDES))
    return (each.reshaped(*shape) for each in
            _hung(model, cases, *(v.ravel() for v in np.indices(shape)), held=True))


def _hung(model, cases, w, o, k, side, held=False):
    """Wires in options, cases and sides (row,); and the same under the constants that cases add for tension."""
    hung = hang(model, case_states(model, w, o, k, SIDES[side]), held=held)
    heavier = np.flatnonzero(np.array([case.constant > 0 for case in cases])[k])
    if not len(heavier):
        return hung, hung
    own = model.groups.of_wire_span
    # No case with a constant differs from span to span.
    weight, wind = model.strung.weight[own], model.strung.wind[own]
    pulled = replace(model, loads=SpanLoads(weight, wind, weight, wind))
    states = case_states(pulled, *(v[heavier] for v in (w, o, k)), SIDES[side[heavier]])
    return hung, hung.with_rows(heavier, hang(pulled, states, held=held))
