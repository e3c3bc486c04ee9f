"""What the wire that hangs today leaves room for, from its findings: the sag, the swing and the height of a new one.

Shapes are told by the constant of the vertical curve `C = H/w`, in wind too: with as much of it a wire hangs as low,
whatever it is, a share x along a span S by `x (1 - x) S^2/(2 C)`. Where a margin m was found, a wire may hang lower by
it, or below another line higher: `1/C` may be more, or less, by `2 m/(x (1 - x) S^2)`.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from corridor.check import find
from corridor.line.laws import take_law
from corridor.mechanics.ruling_span import tension
from corridor.planning.conductor_search.screening import swung_out
from corridor.planning.limits import NO_TEMPERATURE, UNKNOWN
from corridor.rating.ladder import Limits

__all__ = ["Margins", "Today", "allowed_constant", "asked_of_today", "rooms_beside", "shape_bounds"]

#: Temperature up to which it is sought how far the wire of today may sag [degC].
_HOTTEST = 250.0

#: What is kept of a margin in bounds of the height: a ruling span tells it to about so much [m].
_RESERVE = 0.1


@dataclass(frozen=True)
class Today:
    """The wire of today over a line that is laid out; `phase` are the groups of phase wires that can be strung."""

    facts: object
    plan: object
    wires: object
    groups: object
    strung: object
    phase: np.ndarray


class Margins(NamedTuple):
    """Margins of the wire of today, one row per clearance: index of its `case` and `span`, `measure`, `position`, place
    `x` along the span [-], and `margin` [m]."""

    case: np.ndarray
    span: np.ndarray
    measure: np.ndarray
    position: np.ndarray
    x: np.ndarray
    margin: np.ndarray


def asked_of_today(facts, plan, ground, progress=None):
    """Return the limits of the wire of today, sought beyond its maximum, and its Margins.

    Named temperatures, as the maximum, are 250 degC in them.
    """
    today = facts.options[0]
    hot = replace(today, wiring=replace(today.wiring, maximum_temperature=_HOTTEST, emergency_temperature=_HOTTEST))
    limits, parts = Limits(), []
    for layer, columns in find(replace(facts, options=(hot,)), plan, ground, progress=progress):
        limits.add(layer, columns)
        if layer == "clearances":
            parts.append(_margins(facts, plan, columns))
    return limits.columns, Margins(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def _margins(facts, plan, columns):
    cases = {case.name: k for k, case in enumerate(facts.cases)}
    spans = {pair: i for i, pair in enumerate(zip(plan.spans.line, plan.spans.name, strict=True))}
    span = np.array([spans[pair] for pair in zip(columns["line"], columns["span"], strict=True)], int)
    case = np.array([cases[name] for name in columns["case"]], int)
    x = np.clip(columns["distance_from_start_m"] / plan.spans.length[span], 0, 1)
    return Margins(case, span, columns["measure"], columns["position"], x, columns["margin_m"])


def allowed_constant(today, rows):
    """Return the least catenary constant [m] at which every span of each phase group still clears; and notes.

    Parameters
    ----------
    today : Today
    rows : dict of ndarray
        Columns of `limits`.
    """
    plan, groups, strung = today.plan, today.groups, today.strung
    place = {pair: i for i, pair in enumerate(zip(plan.spans.line, plan.spans.name, strict=True))}
    section = plan.spans.section[[place[pair] for pair in zip(rows["line"], rows["span"], strict=True)]]
    unknown, never = rows["governs"] == UNKNOWN, rows["governs"] == NO_TEMPERATURE
    maximum = today.facts.options[0].wiring.maximum_temperature
    T = np.where(unknown | never, maximum, rows["limit_temperature_c"].astype(float))
    constant = np.array([_constant(strung, groups, g, np.min(T[section == groups.section[g]])) for g in today.phase])
    held = "there a new wire sags no more than the existing one at its maximum"
    notes = [f"{number} of the {words}" for number, words in (
        (unknown.sum(), f"spans were not assessed, so it is not known what sag they allow: {held}"),
        (never.sum(), f"spans clear at no temperature of the existing wire: {held}"),
        (np.sum(groups.kind == "phase") - len(today.phase),
         "sections cannot be strung with the existing wire: left out")) if number]
    return constant, tuple(notes)


def _constant(strung, groups, g, temperature):
    """Constant of the wire of today at a temperature [m]."""
    w, law = strung.bare_weight[g, 0], take_law(strung.final, (g, 0))
    H = tension(strung.excess[g, 0], groups.span[g], w, temperature, law).horizontal_tension
    return float(H / w)


def rooms_beside(today, margins, k):
    """Return the spans that something is beside in a case: length, strings, and how far a wire may swing out [m].

    The wire of today swings out so far, and has so much to spare; where it has nothing, no more than it does.

    Returns
    -------
    ndarray, shape (group, span, 3)
        nan where nothing is beside.
    """
    wires, groups, strung, spans = today.wires, today.groups, today.strung, today.plan.spans
    least = np.full(len(spans), np.inf)
    beside = (margins.measure == "horizontal") & (margins.case == k)
    np.minimum.at(least, margins.span[beside], margins.margin[beside])
    least[np.isinf(least)] = np.nan
    found = []
    for g in today.phase:
        here = np.flatnonzero(spans.section == groups.section[g])
        strings = [np.mean([wires.string_start[wires.span == i], wires.string_end[wires.span == i]]) for i in here]
        S, L = spans.length[here], np.array(strings)
        out = swung_out(S, L, *(v[g, 0, k] for v in (strung.horizontal_tension, strung.weight, strung.wind)))
        found.append(np.stack([S, L, out + np.maximum(least[here], 0)], axis=1))
    longest = max(map(len, found))
    return np.stack([np.pad(each, ((0, longest - len(each)), (0, 0)), constant_values=np.nan) for each in found])


def shape_bounds(today, margins):
    """Return the least and the greatest constant `H/w` of wires in each phase group and case, (group, case) [m].

    The least is told for cases with wind: over what a wire is blown over it sags no more than what is to spare there.
    The greatest is told for all cases: below the wires of other lines it hangs no higher. 0 and inf where nothing asks.
    """
    cases, S = today.facts.cases, today.plan.spans.length[margins.span]
    windy = np.array([case.wind > 0 for case in cases])[margins.case]
    room = np.maximum(margins.margin - _RESERVE, 0)
    flat = 2 * room / (np.maximum(margins.x * (1 - margins.x), 1e-3) * S**2)
    vertical = (margins.measure == "vertical") & np.isfinite(margins.margin)
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
    return least, _in_still_air(greatest, cases)


def _nearest(margins, windy, chosen):
    """Of chosen rows those of the least margin of each span, still and in wind: from a state far off, as a hot one, a
    ruling span tells nothing to the centimetre."""
    key = margins.span * 2 + windy
    least = np.full(2 * (margins.span.max(initial=0) + 1), np.inf)
    np.minimum.at(least, key[chosen], margins.margin[chosen])
    return chosen & (margins.margin <= least[key])


def _in_still_air(greatest, cases):
    """A wire that hangs too high in one case in still air does so in all of them: the least of the bounds."""
    still = np.flatnonzero([case.wind == 0 for case in cases])
    greatest = greatest.copy()
    if len(still):
        greatest[:, still] = greatest[:, still].min(axis=1, keepdims=True)
    return greatest


def _vertical_constant(today, g, k):
    """Constant `H/w` of the wire of today in a case [m], as in the findings that were asked for."""
    if isinstance(today.facts.cases[k].temperature, str):
        return _constant(today.strung, today.groups, g, _HOTTEST)
    return float(today.strung.horizontal_tension[g, 0, k] / today.strung.weight[g, 0, k])
