"""The load of every wire span in every case, also of ice that some spans or wires carry and others do not.

What sets a wire's permanent elongation and its tension is another question: there the whole ice of a case counts, on
all of the section.
"""

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, Booleans
from corridor.constants import GRAVITY
from corridor.line.build import Spans, WireSpans
from corridor.line.case_loads import case_loads
from corridor.line.facts import Case, Option, Wiring
from corridor.line.section_wires import WireGroups
from corridor.line.states import Strung
from corridor.mechanics.loads import ice_weight, wind_force

__all__ = ["SpanLoads", "carries_ice", "wire_loads"]


class SpanLoads(NamedTuple):
    """Load per length of every wire span, option and case [N/m]: `weight` and `wind` where that span is looked at,
    `weight_beside` and `wind_beside` where another of its section is. They differ in cases that are `by_span` alone."""

    weight: Array
    wind: Array
    weight_beside: Array
    wind_beside: Array


def carries_ice(case: Case, wires: WireSpans, spans: Spans, *, looked_at: bool = True) -> Booleans:
    """Return whether each wire span carries the ice of a case, shape (wire span,).

    Parameters
    ----------
    case : Case
    wires : WireSpans
    spans : Spans
    looked_at : bool
        Whether that span is looked at, or another of its section.
    """
    place = np.arange(len(spans)) - np.searchsorted(spans.section, spans.section)
    every = place >= 0
    chosen = {"all": every, "odd": place % 2 == 0, "even": place % 2 == 1, "each": every & looked_at,
              "others": every & (not looked_at)}[case.ice_spans]
    if case.ice_on:
        chosen = np.isin(spans.name.astype(str), case.ice_on)
    return chosen[wires.span] & (wires.wire != case.ice_off_wire)


def wire_loads(strung: Strung, groups: WireGroups, wires: WireSpans, spans: Spans, options: Sequence[Option],
               cases: Sequence[Case], shield: Wiring | None) -> SpanLoads:
    """Return what every wire span carries.

    Parameters
    ----------
    strung : Strung
    groups : WireGroups
    wires : WireSpans
    spans : Spans
    options : sequence of Option
    cases : sequence of Case
    shield : Wiring or None

    Returns
    -------
    SpanLoads
        Without the constants that codes add for tension.
    """
    weight, wind = _loads(strung, groups, wires, spans, options, cases, shield, looked_at=True)
    if not any(case.by_span for case in cases):
        return SpanLoads(weight, wind, weight, wind)
    return SpanLoads(weight, wind, *_loads(strung, groups, wires, spans, options, cases, shield, looked_at=False))


def _loads(strung: Strung, groups: WireGroups, wires: WireSpans, spans: Spans, options: Sequence[Option],
           cases: Sequence[Case], shield: Wiring | None, *, looked_at: bool) -> tuple[Array, Array]:
    """Weight and wind of wire spans that are looked at, or beside those."""
    group = groups.of_wire_span
    weight, wind = strung.weight[group], strung.wind[group]
    wirings = [[shield if kind == "shield" else option.wiring for option in options] for kind in groups.kind]
    D, m = (np.array([[np.nan if w is None else getattr(w.conductor, name) for w in row] for row in wirings])[group]
            for name in ("diameter", "mass"))
    for k, whole in enumerate(cases):
        for kind in np.unique(groups.kind):
            case, own = whole.of(kind), groups.kind[group] == kind
            if case.constant:
                weight[own, :, k], wind[own, :, k] = (load[..., 0] for load in case_loads(D[own], m[own], [case]))
            if not case.uneven:
                continue
            spared = ~carries_ice(case, wires, spans, looked_at=looked_at) & own
            ice = ice_weight(D, case.ice_elsewhere, case.ice_density)
            weight[spared, :, k] = (m * GRAVITY + ice)[spared]
            wind[spared, :, k] = wind_force(D, case.ice_elsewhere, case.wind)[spared]
    return weight, wind
