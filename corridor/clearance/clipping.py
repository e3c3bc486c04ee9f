"""Where the clamps of a new wire go: the layer `clipping_offsets`."""

from typing import NamedTuple

import numpy as np

from corridor.arrays import names_of, take
from corridor.geometry.catenary import greatest_sag
from corridor.line.elongation_laws import reshape_law, take_law
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.clipping import clipping_offsets, lying_in_travellers
from corridor.mechanics.supports import HELD, Supports

__all__ = ["clipping_rows", "sag_in_travellers"]


class _SagSections(NamedTuple):
    """Sag sections one after the other along each wire run; columns (sag section,).

    `run`; `first`, `last` node of it, both ends of the sag section.
    """

    run: np.ndarray
    first: np.ndarray
    last: np.ndarray


def clipping_rows(scene, pull_ends=()):
    """Return the rows of `clipping_offsets`: one per structure that a new phase wire runs through, and option.

    Strings shall hang plumb once the wire is clipped in, at the tension that the ruling span has at the stringing
    temperature in the initial condition.

    Parameters
    ----------
    scene : Scene
    pull_ends : sequence of str
        Suspension structures at which a pull ends; without one a sag section is a whole section. There the wire is
        anchored where it will be clamped: no offset, no traveller.

    Returns
    -------
    dict of ndarray
        Without rows where wires are hung by the ruling span. Offsets are nan where strings do not hang in that state.
    """
    model, new = scene.model, [o for o, option in enumerate(scene.options) if not option.existing]
    runs = np.flatnonzero((scene.wires.kind[model.runs.row[:, 0]] == "phase") & (model.unstressed is not None))
    if not len(runs) or not new:
        return _rows(scene, *(np.zeros(0, int) for _ in range(5)), *(np.zeros(0) for _ in range(6)))
    all_laid = _sag_sections(scene, runs, pull_ends)
    b, o = (index.ravel() for index in np.indices((len(all_laid.run), len(new))))
    option, laid = np.array(new)[o], take(all_laid, b)
    T = np.array([each.wiring.stringing_temperature for each in scene.options])[option]
    H, found, lean = _in_travellers(scene, laid, option, T)
    count = laid.last - laid.first
    through = laid.last < model.runs.count[laid.run]
    row, node = np.nonzero(np.arange(1, found.offset.shape[1]) < (count + through)[:, None])
    node += 1
    after = model.runs.row[laid.run[row], laid.first[row] + node]
    anchored = node == count[row]
    # Past an anchor comes the next sag section of the same wire run and option.
    ahead_row, ahead_node = np.where(anchored, row + len(new), row), np.where(anchored, 0, node)
    return _rows(scene, after, option[row], scene.spans.tail[scene.wires.span[after]],
                 *_ends(scene, laid, row), T[row], H[row], np.where(anchored, 0.0, found.offset[row, node]),
                 np.where(anchored, np.nan, lean[row, node]), found.horizontal_tension[row, node - 1],
                 found.horizontal_tension[ahead_row, ahead_node])


def sag_in_travellers(scene, wires, option, temperature, law, pull_ends=()):
    """Return what wires are sagged to while their sag sections lie in travellers, bare and in still air.

    Parameters
    ----------
    scene : Scene
        Its model with the wires as they will be clipped in.
    wires : ndarray of int, shape (wire,)
        Wire spans whose sections the model hangs.
    option : int
    temperature : ndarray, shape (temperature,)
        Of the conductor [°C].
    law : law of arrays (group,)
        Of the option, in the condition it is sagged in.
    pull_ends : sequence of str
        As in `clipping_rows`.

    Returns
    -------
    horizontal_tension, sag : ndarray, shape (wire, temperature)
        [N], [m]; nan where travellers find no balance.
    """
    model, strung = scene.model, scene.strung
    run, place = model.place_of(wires)
    all_laid = _sag_sections(scene, np.unique(run), pull_ends)
    b, k = (index.ravel() for index in np.indices((len(all_laid.run), len(temperature))))
    laid, o = take(all_laid, b), np.full(len(b), option)
    g, T = model.group[laid.run], np.asarray(temperature, float)[k]
    part, weight = take_law(law, g), strung.bare_weight[g, option]
    supports, _ = _supports(model, laid, o)
    span = laid.first[:, None] + np.arange(supports.hinge.shape[1] - 1)
    unstressed = model.unstressed[laid.run[:, None], option, np.minimum(span, model.unstressed.shape[-1] - 1)]
    start = ruling.tension(strung.excess[g, option], scene.groups.span[g], weight, T, part).horizontal_tension
    H, end = lying_in_travellers(supports, unstressed, start, weight[:, None] * [0.0, 0.0, -1.0], T, part,
                                 count=laid.last - laid.first)
    chord = np.diff(end, axis=1)
    sag = greatest_sag(np.hypot(chord[..., 0], chord[..., 1]), chord[..., 2], H / weight[:, None])
    many = model.runs.row.shape[1] + 1
    own = np.searchsorted(all_laid.run * many + all_laid.first, run * many + place, side="right") - 1
    at = own[:, None] * len(temperature) + np.arange(len(temperature)), (place - all_laid.first[own])[:, None]
    return H[at], sag[at]


def _sag_sections(scene, runs, pull_ends):
    """Blocks of some wire runs."""
    model, found = scene.model, []
    ends = np.isin(scene.structures.structure.astype(str), list(pull_ends))
    for c in runs:
        count = model.runs.count[c]
        within = scene.spans.tail[scene.wires.span[model.runs.row[c, 1:count]]]
        cuts = [0, *(1 + np.flatnonzero(ends[within])).tolist(), count]
        found += [(c, a, b) for a, b in zip(cuts[:-1], cuts[1:], strict=True)]
    return _SagSections(*np.array(found).T)


def _ends(scene, laid, row):
    """Structures at both ends of the sag sections of rows."""
    runs, span = scene.model.runs, scene.wires.span
    return (scene.spans.tail[span[runs.row[laid.run, laid.first]]][row],
            scene.spans.head[span[runs.row[laid.run, laid.last - 1]]][row])


def _in_travellers(scene, laid, o, T):
    """Tension after clipping in [N], sag sections in travellers, and how far their strings lean ahead [m]."""
    model, strung = scene.model, scene.strung
    g = model.group[laid.run]
    law = take_law(reshape_law(strung.initial, strung.excess.shape), (g, o))
    weight = strung.bare_weight[g, o]
    H = ruling.tension(strung.excess[g, o], scene.groups.span[g], weight, T, law).horizontal_tension
    load = weight[:, None] * np.array([0.0, 0.0, -1.0])
    supports, right = _supports(model, laid, o)
    found = clipping_offsets(supports, H, load, T, law, count=laid.last - laid.first)
    moved = found.sheave - supports.hinge
    return H, found, moved[..., 1] * right[..., 0] - moved[..., 0] * right[..., 1]


def _supports(model, laid, option):
    """What holds each sag section, anchored within a section where the wire will be; and the right of the line."""
    runs = model.runs
    node = laid.first[:, None] + np.arange((laid.last - laid.first).max() + 1)
    within = np.minimum(node, runs.row.shape[1])
    at = laid.run[:, None], within
    anchored = (node == laid.first[:, None]) & (laid.first > 0)[:, None]
    anchored |= (node == laid.last[:, None]) & (laid.last < runs.count[laid.run])[:, None]
    s = runs.supports
    hinge = np.where(anchored[..., None], model.clipped.end[laid.run[:, None], option[:, None], within],
                     s.hinge[at])
    share = 1 / model.subconductors[model.group[laid.run], option][:, None]
    held = Supports(hinge, np.where(anchored, HELD, s.kind[at]), s.string_length[at], s.string_weight[at] * share,
                    np.zeros_like(hinge), s.stiffness[at] * share, s.across[at])
    return held, model.right(laid.run)[np.arange(len(node))[:, None], within]


def _rows(scene, wire, option, structure, first, last, temperature, tension, offset, lean, back, ahead):
    section, name = scene.spans.section[scene.wires.span[wire]], scene.structures.structure
    return {
        "line": scene.structures.line[structure], "structure": name[structure],
        "wire": scene.wires.wire[wire], "section": scene.sections.name[section],
        "sag_section": np.array([f"{a}-{b}" for a, b in zip(name[first], name[last], strict=True)], object),
        "option": names_of(scene.options)[option],
        "temperature_c": temperature, "horizontal_tension_n": tension, "clipping_offset_m": offset,
        "traveller_lean_m": lean, "back_tension_n": back, "ahead_tension_n": ahead,
    }
