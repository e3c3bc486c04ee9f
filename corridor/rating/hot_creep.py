"""How much a wire creeps besides in its hot hours, and how much lower it hangs for that.

The history of a wire holds its creep at the everyday temperature. What hot hours add is put on the aluminium, as there,
and the wire is hung anew with it, from the length that it has.
"""

from dataclasses import replace

import numpy as np

from corridor.conductor.materials import find_material
from corridor.line.elongation_laws import with_sets
from corridor.line.history_ends import law_at_end
from corridor.line.temperature_range import at_temperatures
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.history import HOT, creep_when_hot, outer_set_of_creep, predicted_creep

__all__ = ["LAW", "LEAST_STEEL", "creep_law", "hot_creep_rows", "nothing_known"]

#: Share of steel from which on no law is given.
LEAST_STEEL = 0.075
#: By what law hot wires creep.
LAW = "as Harvey and Larson 1972, IEEE Std 1283 (recalled, low to medium confidence)"


def creep_law(option):
    """Return by what law the conductor of an Option creeps when hot, in words; where none is known here, that."""
    c = option.wiring.conductor
    outer, core = (find_material(name).description if name else "" for name in (c.outer_material, c.core_material))
    if outer != "hard-drawn aluminium" or not core.startswith("galvanised steel"):
        return f"not given: no law is known here for {outer or 'wires of no material'}{f' on {core}' if core else ''}"
    steel = c.core_area / (c.outer_area + c.core_area)
    if not steel < LEAST_STEEL:
        return (f"not given: the law known here is for less than {100 * LEAST_STEEL:g} % of steel in the area, "
                f"this has {100 * steel:.1f} %")
    return LAW


def nothing_known(line, span, option, law):
    """Return rows of an option for which there is no law, as those of `hot_creep_rows`."""
    unknown = np.full(len(span), np.nan)
    return {"line": line, "span": span, "option": np.full(len(span), option.name, object),
            "creep_law": np.full(len(span), law, object), "hot_hours": unknown, "creep_before_percent": unknown,
            "creep_added_percent": unknown, "sag_added_everyday_m": unknown, "sag_added_maximum_m": unknown}


def hot_creep_rows(scene, number, temperature, hours):
    """Return what the hot hours of all years do to the spans of a scene in an option that has a law, as columns.

    Parameters
    ----------
    scene : Scene
    number : int
        The option.
    temperature, hours : ndarray, shape (n,)
        Wire temperatures [°C], and how long the wire has each in all years [h].

    Returns
    -------
    dict of ndarray
        line, span, option, creep_law, hot_hours; creep_before_percent, of the history by the law of ordinary
        temperatures; creep_added_percent; sag_added_everyday_m and sag_added_maximum_m of the phase wire that sinks
        most at the everyday and at the maximum temperature. nan where a wire has no answer, or would melt.
    """
    option, spans = scene.options[number], scene.spans
    phase = np.flatnonzero(scene.wires.kind == "phase")
    before, added = _creep(scene, number, temperature, hours)
    T = np.array([option.wiring.everyday_temperature, option.wiring.maximum_temperature])
    model = scene.model
    sag = [at_temperatures(each, phase, number, T).sag for each in (model, _longer(model, number, added))]
    found = np.full((len(spans), 2), -np.inf)
    np.maximum.at(found, scene.wires.span[phase], sag[1] - sag[0])
    group = np.zeros(len(spans), int)
    group[scene.wires.span[phase]] = scene.group[phase]
    found = np.where(np.isfinite(found), found, np.nan)
    rows = nothing_known(spans.line, spans.name, option, LAW)
    return rows | {"hot_hours": np.full(len(spans), hours[temperature > HOT].sum()),
                   "creep_before_percent": 100 * before[group], "creep_added_percent": 100 * added[group],
                   "sag_added_everyday_m": found[:, 0], "sag_added_maximum_m": found[:, 1]}


def _creep(scene, number, temperature, hours):
    """Creep before, and added by the hot hours [-], (group,).

    The tension is that at `HOT`: a hotter wire pulls less.
    """
    strung, wiring, g = scene.strung, scene.options[number].wiring, np.arange(len(scene.groups))
    o, weight = np.full(len(g), number), strung.bare_weight[:, number]

    def share(T):
        T = np.full(len(g), T)
        law = law_at_end(strung, g, o, scene.groups.span, weight, T, taut=True)
        H = ruling.tension(strung.excess[:, number], scene.groups.span, weight, T, law).horizontal_tension
        return H / strung.rts[:, number]

    before = predicted_creep(share(wiring.everyday_temperature), wiring.age)
    return before, creep_when_hot(share(HOT), temperature, hours, before) - before


def _longer(model, number, added):
    """The model with wires of one option, whose parts have crept so much more (group,) [-]."""
    strung = model.strung
    shape = strung.excess.shape

    def more(law):
        outer = np.broadcast_to(law.outer_set, shape).copy()
        of_option = type(law)(*(np.broadcast_to(field, shape)[:, number] for field in law))
        outer[:, number] += outer_set_of_creep(added, of_option)
        return with_sets(law, outer, law.core_set)

    return replace(model, strung=replace(strung, final=more(strung.final), unloaded=more(strung.unloaded)))
