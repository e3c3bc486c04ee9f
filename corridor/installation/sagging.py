"""How new wires are sagged and clipped in: spans whose sag is watched, settings, times, marks, and what time does."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from corridor.geometry.catenary import greatest_sag
from corridor.geometry.sighting import sight_from
from corridor.installation.chart import as_strung, chart_rows
from corridor.line.elongation_laws import choose_law, reshape_law, take_law, with_sets
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.curves import Curved
from corridor.mechanics.elongation import strain
from corridor.mechanics.history import HOURS_PER_YEAR, outer_set_of_creep, predicted_creep, sets_after
from corridor.mechanics.return_wave import return_time

__all__ = ["EYE", "RETURNS", "Watched", "choose_control_spans", "control_rows", "creep_sag", "watched_spans"]

#: Height of an eye, or an instrument, above the base of a structure [m] (common practice, no source).
EYE = 1.5
#: Returns of a jerk that are counted.
RETURNS = (3, 5, 10)
#: Spans sagged at once for one that is watched, for two; more have three (common practice, no source).
_SPANS = (5, 10)


class Watched(NamedTuple):
    """Spans whose sag is watched: `section` (index), `span` (index), and `ruling_span` [m] of the section."""

    section: int
    span: int
    ruling_span: float


def choose_control_spans(length, rise):
    """Return the spans (indices) whose sag is watched while some spans are sagged at once: near the ruling span, level.

    Parameters
    ----------
    length, rise : ndarray, shape (span,)
        In order [m].

    Examples
    --------
    >>> choose_control_spans(np.array([120.0, 310, 300, 450]), np.array([0.0, 30, 2, 5]))
    [2]
    """
    ruling_span = ruling.ruling_span(length)
    # A short span tells little of the tension of the others, a steep one less.
    badness = np.abs(length / ruling_span - 1) + np.abs(rise) / length
    count = min(1 + int(np.searchsorted(_SPANS, len(length))), len(length))
    return [int(part[badness[part].argmin()]) for part in np.array_split(np.arange(len(length)), count)]


def watched_spans(scene, pull_ends):
    """Return the watched spans of all sections of a scene, sag section by sag section.

    Parameters
    ----------
    scene : Scene
    pull_ends : sequence of str
        Suspension structures at which a pull ends.
    """
    spans, found = scene.spans, []
    rise = np.zeros(len(spans))
    phase = np.flatnonzero(scene.wires.kind == "phase")[::-1]
    rise[scene.wires.span[phase]] = (scene.wires.end - scene.wires.start)[phase, 2]
    name = scene.structures.structure.astype(str)
    cut = np.isin(name[spans.tail], list(pull_ends)) | (np.diff(spans.section, prepend=-1) != 0)
    for first, last in zip(np.flatnonzero(cut), [*np.flatnonzero(cut)[1:], len(spans)], strict=True):
        own = np.arange(first, last)
        section = int(spans.section[first])
        whole = float(ruling.ruling_span(spans.length[spans.section == section]))
        found += [Watched(section, int(own[i]), whole) for i in choose_control_spans(spans.length[own], rise[own])]
    return found


def creep_sag(scene, temperature, seconds):
    """Return the sag that a wire gains by creeping in its travellers before it is sagged, in its ruling span.

    The creep at the stringing temperature and the tension that is wanted there is that of the published predictor
    (`corridor.mechanics.history.predicted_creep`); it lies on the aluminium.

    Parameters
    ----------
    scene : Scene
    temperature : ndarray, shape (temperature,)
        Of the wire when it is sagged [°C].
    seconds : float or None
        Time from pulling to sagging [s].

    Returns
    -------
    ndarray, shape (group, option, temperature)
        [m]; nan where no time is given, or the predictor is not for such a wire: it is for hard-drawn aluminium on a
        core.
    """
    strung = scene.strung
    shape = strung.excess.shape
    wires = [option.wiring.conductor for option in scene.options]
    known = np.array([wire.outer_material == "AL1" and wire.core_area > 0 for wire in wires])
    if seconds is None or not known.any():
        return np.full((*shape, len(temperature)), np.nan)
    law = reshape_law(as_strung(scene)[0], shape)
    T = np.array([option.wiring.stringing_temperature for option in scene.options])
    span, load = scene.groups.span[:, None], strung.bare_weight
    H = ruling.tension(strung.excess, span, load, T, law).horizontal_tension
    if isinstance(law, Curved):
        outer, core = sets_after(strain(H, T, law), T, law)
        law = with_sets(law, np.maximum(outer, law.outer_set), np.maximum(core, law.core_set))
    creep = predicted_creep(H / strung.rts, seconds / 3600 / HOURS_PER_YEAR)
    crept = law._replace(outer_set=law.outer_set + outer_set_of_creep(creep, law))
    sags = []
    for each in (crept, law):
        part = take_law(each, np.s_[..., None])
        found = ruling.tension(strung.excess[..., None], span[..., None], load[..., None], temperature, part)
        sags.append(greatest_sag(span[..., None], 0.0, found.horizontal_tension / load[..., None]))
    return np.where(known[:, None], sags[0] - sags[1], np.nan)


#: Condition of a gap type in the first of two stages.
ALONE = "core alone"


def _charts(scene, pull_ends, temperature):
    """The chart of all wires, and after it that of gap types in the first stage, in which the core carries alone."""
    chart = chart_rows(scene, pull_ends, temperature, RETURNS[0])
    gap = [option.wiring.conductor.elongation == "gap" for option in scene.options]
    if not any(gap):
        return chart
    initial = scene.strung.initial
    # An outer part that is longer by the whole span never carries.
    alone = with_sets(initial._replace(outer_compression=0 * initial.outer_compression),
                      np.ones_like(initial.outer_set), initial.core_set)
    first = chart_rows(replace(scene, strung=replace(scene.strung, initial=choose_law(
        np.broadcast_to(gap, initial.outer_set.shape), alone, initial))), pull_ends, temperature, RETURNS[0])
    own = np.isin(first["option"], [option.name for option, is_gap in zip(scene.options, gap, strict=True) if is_gap])
    first["condition"] = np.where(first["condition"] == "initial", ALONE, first["condition"])
    return {name: np.concatenate([chart[name], column[own]]) for name, column in first.items()}


def control_rows(scene, plan, pull_ends, temperature, seconds):
    """Return the rows of `control_spans`, as columns.

    Parameters
    ----------
    scene : Scene
        Of whole sections.
    plan : Plan
    pull_ends : sequence of str
    temperature : ndarray, shape (temperature,)
        Of the wire [°C].
    seconds : float or None
        Time in travellers, as of `creep_sag`.
    """
    chart = _charts(scene, pull_ends, temperature)
    watched = watched_spans(scene, pull_ends)
    first = {}
    for w in np.flatnonzero(scene.wires.kind == "phase"):
        first.setdefault(int(scene.wires.span[w]), int(w))
    rows = {(scene.spans.line[each.span], scene.spans.name[each.span], scene.wires.wire[first[each.span]]): each
            for each in watched if each.span in first}
    keys = list(zip(chart["line"], chart["span"], chart["wire"], strict=True))
    chosen = np.flatnonzero([key in rows for key in keys])
    each = [rows[keys[i]] for i in chosen]
    span, wire = np.array([w.span for w in each], int), np.array([first[w.span] for w in each], int)
    c = {name: column[chosen] for name, column in chart.items()}
    S, h, constant = c["span_length_m"], c["rise_m"], c["traveller_tension_n"] / c["load_n_per_m"]
    eye = scene.wires.start[wire, 2] - plan.base_elevation[scene.spans.tail[span]] - EYE
    slope, far = sight_from(S, h, constant, eye)
    gained = creep_sag(scene, temperature, seconds)
    option = np.array([[o.name for o in scene.options].index(name) for name in c["option"]], int)
    k = np.searchsorted(temperature, c["temperature_c"])
    in_span = np.array([w.ruling_span for w in each]).reshape(-1)
    return {
        **{name: c[name] for name in ("line", "section", "span", "wire", "option", "condition", "temperature_c",
                                      "span_length_m", "traveller_sag_m", "traveller_tension_n",
                                      "horizontal_tension_n")},
        "wire_rise_m": h, "clipped_sag_m": c["sag_m"],
        "creep_sag_m": np.where(c["condition"] == "initial", gained[scene.group[wire], option, k], np.nan)
                       * (S / in_span)**2,
        "sight_deg": np.degrees(np.arctan2(h, S)), "base_sight_deg": np.degrees(np.arctan(slope)),
        "base_target_m": far,
        **{f"return_{n}_s": return_time(S, h, constant, returns=n) for n in RETURNS},
    }
