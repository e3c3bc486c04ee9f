"""The load of every wire span in every case, also of ice that some spans or wires carry and others do not.

What sets a wire's permanent elongation and its tension is another question: there the whole ice of a case counts, on
all of the section.
"""

from collections.abc import Sequence

import numpy as np

from corridor.arrays import Array, Booleans
from corridor.constants import GRAVITY
from corridor.line.build import Spans, WireSpans
from corridor.line.case_loads import case_loads
from corridor.line.facts import Case, Option, Wiring
from corridor.line.section_wires import WireGroups
from corridor.line.states import Strung
from corridor.mechanics.loads import ice_weight, wind_force

__all__ = ["carries_ice", "wire_loads"]


def carries_ice(case: Case, wires: WireSpans, spans: Spans) -> Booleans:
    """Return whether each wire span carries the ice of a case, shape (wire span,).

    Parameters
    ----------
    case : Case
    wires : WireSpans
    spans : Spans
    """
    place = np.arange(len(spans)) - np.searchsorted(spans.section, spans.section)
    chosen = {"all": place >= 0, "odd": place % 2 == 0, "even": place % 2 == 1}[case.ice_spans]
    if case.ice_on:
        chosen = np.isin(spans.name.astype(str), case.ice_on)
    return chosen[wires.span] & (wires.wire != case.ice_off_wire)


def wire_loads(strung: Strung, groups: WireGroups, wires: WireSpans, spans: Spans, options: Sequence[Option],
               cases: Sequence[Case], shield: Wiring | None) -> tuple[Array, Array]:
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
    weight, wind : ndarray, shape (wire span, option, case)
        Load per length [N/m], without the constants that codes add for tension.
    """
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
            spared = ~carries_ice(case, wires, spans) & own
            ice = ice_weight(D, case.ice_elsewhere, case.ice_density)
            weight[spared, :, k] = (m * GRAVITY + ice)[spared]
            wind[spared, :, k] = wind_force(D, case.ice_elsewhere, case.wind)[spared]
    return weight, wind
