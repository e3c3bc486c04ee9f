"""What wires are strung by: sag and tension of every span at every temperature, in travellers and clipped in."""

from dataclasses import replace

import numpy as np

from corridor.arrays import join
from corridor.clearance.clipping import sag_in_travellers
from corridor.line.elongation_laws import choose_law, reshape_law, take_law
from corridor.line.model import clip_wires
from corridor.line.temperature_range import at_temperatures
from corridor.mechanics.return_wave import return_time

__all__ = ["CONDITIONS", "EVERY", "as_strung", "chart_rows", "clipped_as_strung"]

#: Conditions of a wire, in the order of its life.
CONDITIONS = ("initial", "final")
#: Stands for the option where a wire is the same in all of them.
EVERY = "every option"


def chart_rows(scene, pull_ends, T, returns):
    """Return the rows of a stringing chart: one a wire in a span, option and temperature.

    Parameters
    ----------
    scene : Scene
        Of whole sections.
    pull_ends : sequence of str
        As in `corridor.clearance.clipping.clipping_rows`.
    T : ndarray, shape (temperature,)
        Of the wire [°C].
    returns : int
        Returns of a jerk that the watch counts.

    Returns
    -------
    dict of ndarray
    """
    part, final = as_strung(scene)
    scene = replace(scene, model=clipped_as_strung(scene, part))
    parts = []
    for option in range(len(scene.options)):
        # Shield wires without a conductor of their own cannot be strung.
        known = np.isfinite(scene.strung.rts[scene.group, option])
        wires = np.flatnonzero(((scene.wires.kind != "shield") | (option == 0)) & known)
        lying = _in_travellers(scene, wires, option, T, part, pull_ends)
        parts.append(_rows(scene, wires, option, T, returns, part, final[:, option], lying))
    return join(parts)


def clipped_as_strung(scene, part):
    """Return the model of a scene with every wire clipped in in the condition that it is sagged in, of which `part` is
    the law."""
    model = scene.model
    return model if model.unstressed is None else clip_wires(model, model.clipped_at, part)


def _in_travellers(scene, wires, option, T, part, pull_ends):
    """Horizontal tension [N] and sag [m] of wires before they are clipped in, (wire, temperature).

    By the ruling span one tension for all spans, as where the equilibrium is not known.
    """
    even = at_temperatures(replace(scene.model, unstressed=None), wires, option, T, part)
    tension, sag = even.horizontal_tension.copy(), even.sag.copy()
    exact = scene.model.exact[scene.model.place_of(wires)[0]]
    if exact.any():
        law = take_law(reshape_law(part, scene.strung.excess.shape), np.s_[:, option])
        tension[exact], sag[exact] = sag_in_travellers(scene, wires[exact], option, T, law, pull_ends)
    return tension, sag


def _rows(scene, wires, option, T, returns, part, final, lying):
    """Rows of some wires in one option, wire by wire."""
    hung = at_temperatures(scene.model, wires, option, T, part)
    w, k = (index.ravel() for index in np.indices(hung.sag.shape))
    each = wires[w]
    kind, span = scene.wires.kind[each], scene.wires.span[each]
    time = return_time(hung.span, hung.rise, hung.constant, returns=returns)
    return {
        "line": scene.spans.line[span], "section": scene.sections.name[scene.spans.section[span]],
        "span": scene.spans.name[span], "wire": scene.wires.wire[each], "wire_kind": kind,
        "option": np.where(kind == "shield", EVERY, scene.options[option].name),
        "condition": np.where(final[scene.group[each]], *reversed(CONDITIONS)), "temperature_c": T[k],
        "span_length_m": scene.spans.length[span], "rise_m": hung.rise[w, k],
        "load_n_per_m": scene.strung.bare_weight[scene.group[each], option],
        "horizontal_tension_n": hung.horizontal_tension[w, k], "sag_m": hung.sag[w, k],
        "returns": np.full(len(w), returns), "return_time_s": time[w, k],
        "traveller_tension_n": lying[0][w, k], "traveller_sag_m": lying[1][w, k],
    }


def as_strung(scene):
    """Return the law of every group and option in the condition it is sagged in, and True for groups where that is the
    final one."""
    strung = scene.strung
    final = strung.measured_final | np.array([each.existing for each in scene.options])
    final[scene.groups.kind == "shield"] = False
    return choose_law(final, strung.final, strung.initial), final
