"""What a line asks of any wire: what the existing wire does to the structures, and the room that its findings leave.

Shapes are told by the constant of the vertical curve `C = H/w`, in wind too: with as much of it a wire hangs as low,
whatever it is, a share x along a span S by `x (1 - x) S^2/(2 C)`. Where a margin m was found, a wire may hang lower by
it, or below another line higher: `1/C` may be more, or less, by `2 m/(x (1 - x) S^2)`.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from corridor.assessment import OPTIONAL, Facts, Ground, Plan
from corridor.check import find
from corridor.errors import InputError
from corridor.line.build import WireSpans, attach
from corridor.line.case_loads import case_loads
from corridor.line.facts import Case, Limit
from corridor.line.history_ends import law_at_end
from corridor.line.section_wires import WireGroups, group_wires
from corridor.line.states import Strung, solve_states
from corridor.mechanics.ruling_span import tension
from corridor.mechanics.stringing import greatest_tension
from corridor.rating.ladder import Limits
from corridor.rating.limits import NO_TEMPERATURE, UNKNOWN
from corridor.study.design import Design

__all__ = ["Line", "Margins", "Today", "line_of", "shape_bounds", "swung_out"]

#: Temperature up to which it is sought how far the existing wire may sag [°C].
_HOTTEST = 250.0
#: What is kept of a margin in bounds of the height: a ruling span tells it to about so much [m].
_RESERVE = 0.1


@dataclass(frozen=True)
class Line:
    """What the line asks of any wire; columns (section,) or (section, limit).

    `span` ruling span, `hard_span`, `hard_rise` of the span whose ends pull hardest [m]; `constant` least catenary
    constant [m]; `bound` tension [N] that the existing wire sets as a limit, nan where the limit is another. `wind`,
    `weight` most that the existing wire, times the load ratio, brings to the structures [N/m]. `swung` indices of cases
    in which wires swing, and for each of them `swing` (section, span, 3): length of the span, mean length of its
    strings, and how far a wire may swing out [m], nan where nothing is beside. `everyday` [°C], `age` [years];
    `required_current` [A] of a phase, of as many wires as its `bundle` has; loads and tensions are of one. `least`,
    `greatest` of the vertical constant `H/w` (section, case) [m] that what is below blown wires, and other lines above,
    allow. `loads` currents of a phase [A] and the shares of the year in which they flow, for which losses are told;
    none: the required current all the year.
    """

    span: np.ndarray
    hard_span: np.ndarray
    hard_rise: np.ndarray
    constant: np.ndarray
    bound: np.ndarray
    limits: tuple[Limit, ...]
    cases: tuple[Case, ...]
    wind: float
    weight: float
    swung: tuple[int, ...]
    swing: tuple[np.ndarray, ...]
    everyday: float
    age: float
    required_current: float
    least: np.ndarray | None = None
    greatest: np.ndarray | None = None
    bundle: int = 1
    loads: tuple[tuple[float, float], ...] = ()

    def with_less_sag(self, height: float) -> "Line":
        """Return the line with so much less sag allowed at mid-span [m], hot and under ice."""
        flatter = 8 * height / self.hard_span**2
        return replace(self, constant=1 / np.maximum(1 / self.constant - flatter, 1e-9))


@dataclass(frozen=True)
class Today:
    """The existing wire over a line that is laid out; `phase` are the groups of phase wires that can be strung."""

    facts: Facts
    plan: Plan
    wires: WireSpans
    groups: WireGroups
    strung: Strung
    phase: np.ndarray


class Margins(NamedTuple):
    """Margins of the existing wire, one row per clearance: index of its `case` and `span`, `measure`, `position`, place
    `x` along the span [-], and `margin` [m]."""

    case: np.ndarray
    span: np.ndarray
    measure: np.ndarray
    position: np.ndarray
    x: np.ndarray
    margin: np.ndarray


def line_of(facts: Facts, plan: Plan, ground: Ground, section: Design, required: float,
            progress: Callable[[int, int], None] | None = None) -> tuple[Line, tuple[str, ...]]:
    """Return what the line asks of a wire, and notes in words.

    `facts` have the existing option alone; `required` is a current [A].
    """
    wires, _ = attach(facts.structures, plan.base_elevation, plan.route, plan.spans, facts.framings)
    groups, wire, ratio = group_wires(plan.spans, wires), facts.options[0].wiring, section.load_ratio
    of_tension = ratio * (1 - section.tension_reserve)
    strung = solve_states(groups, facts.options, facts.cases, facts.shield, plan.sections)
    phase = np.flatnonzero((groups.kind == "phase") & np.isfinite(strung.horizontal_tension[:, 0]).any(axis=1))
    if not len(phase):
        raise InputError(None, f"option {facts.options[0].name}", "no section that can be strung with it",
                         "an existing wire that hangs somewhere: see not_assessed of the check")
    today = Today(facts, plan, wires, groups, strung, phase)
    rows, margins = _asked_of_today(today, ground, progress)
    constant, notes = _allowed_constant(today, rows)
    swung = tuple(k for k, case in enumerate(facts.cases) if case.wind and "horizontal" in case.checks)
    limits = _limits(facts, section, of_tension)
    hard = [_hardest(today, g) for g in phase]
    bound = np.array([[_bound(today, limit, g, *at) for limit in limits] for g, at in zip(phase, hard, strict=True)])
    if of_tension != 1:  # a study can name the tension of the existing wire, not a share of it: the least, then
        bound = np.broadcast_to(bound.min(axis=0), bound.shape)
    weight, wind = (float(ratio * load.max()) for load in
                    case_loads(wire.conductor.diameter, wire.conductor.mass, facts.cases))
    everyday = next((limit.temperature for limit in limits if limit.temperature is not None), 15.0)
    hard_span, hard_rise = np.transpose(hard)
    least, greatest = shape_bounds(today, margins)
    return Line(span=groups.span[phase], hard_span=hard_span, hard_rise=hard_rise, constant=constant, bound=bound,
                limits=limits, cases=facts.cases, wind=wind, weight=weight, swung=swung,
                swing=tuple(_rooms_beside(today, margins, k) for k in swung), everyday=everyday, age=10.0,
                required_current=required, least=least, greatest=greatest, bundle=wire.bundle), notes


def _limits(facts, section, share):
    """Limits that candidates are strung to: those of the study, and a share of the tension of the existing wire in each
    case."""
    own = tuple(Limit(s.limit.text, s.limit.kind, s.limit.value, s.temperature, s.case, s.condition)
                for s in section.stringing) or facts.options[0].wiring.stringing
    return own + tuple(Limit(f"tension of the existing wire in {case.name}, {case.condition}", "existing",
                             share, None, case.name, case.condition)
                       for case in facts.cases if "tension" in case.checks and case.broken is None)


def _hardest(today, g):
    """Span and rise [m] whose ends pull hardest in the worst case of a group."""
    H, w, p = (getattr(today.strung, name)[g, 0] for name in ("horizontal_tension", "weight", "wind"))
    k = np.nanargmax(H * np.hypot(w, p))
    S, h = today.groups.spans[g], today.groups.rises[g]
    worst = np.nanargmax(greatest_tension(H[k], S[:, None], h[:, None], w[k], p[k]))
    return S[worst], h[worst]


def _bound(today, limit, g, span, rise):
    """Tension of the existing wire [N] times the factor of a limit; nan where the limit is another."""
    if limit.kind != "existing":
        return np.nan
    k = [case.name for case in today.facts.cases].index(limit.case)
    H, w, p = (getattr(today.strung, name)[g, 0, k] for name in ("horizontal_tension", "weight", "wind"))
    return limit.value * float(greatest_tension(H, np.array([span]), np.array([rise]), w, p))


def _asked_of_today(today, ground, progress):
    """Limits of the existing wire, sought beyond its maximum, and its Margins: named temperatures are 250 °C."""
    facts, plan, (option,) = today.facts, today.plan, today.facts.options
    hot = replace(option, wiring=replace(option.wiring, maximum_temperature=_HOTTEST, emergency_temperature=_HOTTEST))
    limits, parts = Limits(), []
    needless = OPTIONAL - {"limits"}
    for layer, columns in find(replace(facts, options=(hot,)), plan, ground, progress=progress, needless=needless):
        limits.add(layer, columns)
        if layer == "clearances":
            parts.append(_margins(facts, plan, columns))
    return limits.columns, Margins(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _margins(facts, plan, columns):
    # Galloping is no case of the study, and a ruling span knows nothing of spans in unlike states: finalists meet both
    # in their check.
    cases = {case.name: k for k, case in enumerate(facts.cases) if not case.uneven}
    asked = np.array([name in cases for name in columns["case"]], bool)
    columns = {name: column[asked] for name, column in columns.items()}
    span = _spans_of(plan, columns)
    case = np.array([cases[name] for name in columns["case"]], int)
    x = np.clip(columns["distance_from_start_m"] / plan.spans.length[span], 0, 1)
    return Margins(case, span, columns["measure"], columns["position"], x, columns["margin_m"])


def _spans_of(plan, rows):
    place = {pair: i for i, pair in enumerate(zip(plan.spans.line, plan.spans.name, strict=True))}
    return np.array([place[pair] for pair in zip(rows["line"], rows["span"], strict=True)], int)


def _allowed_constant(today, rows):
    """Least catenary constant [m] at which every span of each phase group still clears, by `limits`; and notes."""
    groups, section = today.groups, today.plan.spans.section[_spans_of(today.plan, rows)]
    unknown, never = rows["governs"] == UNKNOWN, rows["governs"] == NO_TEMPERATURE
    maximum = today.facts.options[0].wiring.maximum_temperature
    T = np.where(unknown | never, maximum, rows["limit_temperature_c"].astype(float))
    constant = np.array([_constant(today, g, np.min(T[section == groups.section[g]])) for g in today.phase])
    held = "there a new wire sags no more than the existing one at its maximum"
    notes = [f"{number} of the {words}" for number, words in (
        (unknown.sum(), f"spans were not assessed, so it is not known what sag they allow: {held}"),
        (never.sum(), f"spans clear at no temperature of the existing wire: {held}"),
        (np.sum(groups.kind == "phase") - len(today.phase),
         "sections cannot be strung with the existing wire: left out")) if number]
    return constant, tuple(notes)


def _constant(today, g, temperature):
    """Constant of the existing wire at a temperature [m]."""
    w, at = today.strung.bare_weight[g, 0], (np.array([g]), np.array([0]))
    law = law_at_end(today.strung, *at, today.groups.span[[g]], np.array([w]), np.array([temperature], float))
    H = tension(today.strung.excess[at], today.groups.span[[g]], w, temperature, law).horizontal_tension
    return float(H[0] / w)


def _rooms_beside(today, margins, k):
    """Spans that something is beside in a case, (group, span, 3): length, strings, how far a wire may swing out [m].

    The existing wire swings out so far, and has so much to spare; where it has nothing, no more than it does. nan where
    nothing is beside.
    """
    wires, groups, strung, spans = today.wires, today.groups, today.strung, today.plan.spans
    least = np.full(len(spans), np.inf)
    beside = (margins.measure == "horizontal") & (margins.case == k)
    np.minimum.at(least, margins.span[beside], margins.margin[beside])
    least[np.isinf(least)] = np.nan
    found = []
    for g in today.phase:
        here = np.flatnonzero(spans.section == groups.section[g])
        L = np.array([np.mean([(wires.string_start * (wires.vee_start == 0))[wires.span == i],
                               (wires.string_end * (wires.vee_end == 0))[wires.span == i]]) for i in here])
        out = swung_out(spans.length[here], L, *(v[g, 0, k] for v in (strung.horizontal_tension, strung.weight,
                                                                      strung.wind)))
        found.append(np.stack([spans.length[here], L, out + np.maximum(least[here], 0)], axis=1))
    longest = max(map(len, found))
    return np.stack([np.pad(each, ((0, longest - len(each)), (0, 0)), constant_values=np.nan) for each in found])


def swung_out(span, string, horizontal_tension, weight, wind):
    """Return how far wind blows the middle of a span aside [m], strings included."""
    return wind * span**2 / (8 * horizontal_tension) + string * wind / np.hypot(weight, wind)


def shape_bounds(today: Today, margins: Margins) -> tuple[np.ndarray, np.ndarray]:
    """Return the least and the greatest constant `H/w` of wires in each phase group and case, (group, case) [m].

    The least is told for cases with wind: over what a wire is blown over it sags no more than what is to spare there.
    The greatest is told for all cases: below the wires of other lines it hangs no higher. 0 and inf where nothing asks.
    """
    cases, S = today.facts.cases, today.plan.spans.length[margins.span]
    windy = np.array([case.wind > 0 for case in cases])[margins.case]
    flat = 2 * np.maximum(margins.margin - _RESERVE, 0) / (np.maximum(margins.x * (1 - margins.x), 1e-3) * S**2)
    vertical = margins.measure == "vertical"
    low = vertical & windy & (margins.position == "above")
    high = _nearest(margins, windy, vertical & (margins.position == "below"))
    least, greatest = np.zeros((2, len(today.phase), len(cases)))
    greatest += np.inf
    section = today.plan.spans.section[margins.span]
    for place, g in enumerate(today.phase):
        own = np.array([_vertical_constant(today, g, k) for k in range(len(cases))])[margins.case]
        here = section == today.groups.section[g]
        np.maximum.at(least[place], margins.case[here & low], 1 / (1 / own + flat)[here & low])
        with np.errstate(divide="ignore"):
            most = 1 / np.maximum(1 / own - flat, 0)
        np.minimum.at(greatest[place], margins.case[here & high], most[here & high])
    # A wire that hangs too high in one case in still air does so in all of them: the least of the bounds.
    still = np.flatnonzero([case.wind == 0 for case in cases])
    greatest[:, still] = greatest[:, still].min(axis=1, keepdims=True, initial=np.inf)
    return least, greatest


def _nearest(margins, windy, chosen):
    """Of chosen rows those of the minimum margin of each span, still and in wind: from a state far off, as a hot one, a
    ruling span tells nothing to the centimetre."""
    key = margins.span * 2 + windy
    least = np.full(2 * (margins.span.max(initial=0) + 1), np.inf)
    np.minimum.at(least, key[chosen], margins.margin[chosen])
    return chosen & (margins.margin <= least[key])


def _vertical_constant(today, g, k):
    """Constant `H/w` of the existing wire in a case [m], as in the findings that were asked for."""
    if isinstance(today.facts.cases[k].temperature, str):
        return _constant(today, g, _HOTTEST)
    return float(today.strung.horizontal_tension[g, 0, k] / today.strung.weight[g, 0, k])
