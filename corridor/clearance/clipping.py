"""Where the clamps of a new wire go: the layer `clipping`."""

import numpy as np

from corridor.line.laws import reshape_law, take_law
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.clipping import clipping_offsets

__all__ = ["clipping_rows"]


def clipping_rows(scene):
    """Return the rows of `clipping`: one per structure that a new phase wire runs through, and option.

    The block that is strung is the whole section. Strings shall hang plumb once the wire is clipped in, at the tension
    that the ruling span has at the stringing temperature in the initial condition.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    dict of ndarray
        Without rows where wires are hung by the ruling span. Offsets are nan where strings do not hang in that state.
    """
    model, new = scene.model, [o for o, option in enumerate(scene.options) if not option.existing]
    chains = np.zeros(0, int) if model is None else np.flatnonzero(scene.wires.kind[model.chains.row[:, 0]] == "phase")
    c, o = (np.repeat(chains, len(new)), np.tile(np.array(new, int), len(chains)))
    if not len(c):
        return _rows(scene, *(np.zeros(0, int) for _ in range(3)), *(np.zeros(0) for _ in range(6)))
    T = np.array([scene.options[i].wiring.stringing_temperature for i in new])[np.searchsorted(new, o)]
    H, found, lean = _in_travellers(scene, c, o, T)
    count = model.chains.count[c]
    row, node = np.nonzero(np.arange(1, found.offset.shape[1] - 1) < count[:, None])
    node += 1
    after = model.chains.row[c[row], node]
    back, ahead = found.horizontal_tension[row, node - 1], found.horizontal_tension[row, node]
    return _rows(scene, after, o[row], scene.spans.tail[scene.wires.span[after]], T[row], H[row],
                 found.offset[row, node], lean[row, node], back, ahead)


def _in_travellers(scene, c, o, T):
    """Tension after clipping in [N], blocks in travellers, and how far their strings lean ahead [m]."""
    model, strung = scene.model, scene.strung
    g = model.group[c]
    law = take_law(reshape_law(strung.initial, strung.excess.shape), (g, o))
    weight = strung.bare_weight[g, o]
    H = ruling.tension(strung.excess[g, o], scene.groups.span[g], weight, T, law).horizontal_tension
    load = weight[:, None] * np.array([0.0, 0.0, -1.0])
    supports = model.supports(c)
    found = clipping_offsets(supports, H, load, T, law, count=model.chains.count[c])
    moved, right = found.sheave - supports.hinge, model.right(c)
    return H, found, moved[..., 1] * right[..., 0] - moved[..., 0] * right[..., 1]


def _rows(scene, wire, option, structure, temperature, tension, offset, lean, back, ahead):
    section = scene.spans.section[scene.wires.span[wire]]
    return {
        "line": scene.structures.line[structure], "structure": scene.structures.structure[structure],
        "wire": scene.wires.wire[wire], "section": scene.sections.name[section],
        "option": np.array([each.name for each in scene.options], object)[option],
        "temperature_c": temperature, "horizontal_tension_n": tension, "clipping_offset_m": offset,
        "traveller_lean_m": lean, "back_tension_n": back, "ahead_tension_n": ahead,
    }
