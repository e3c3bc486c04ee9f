"""How hot each span may get before its worst vertical margin is gone, by a bracketed root on the exact model.

A span is asked about in one state alone: bare, in still air, final. At the option's maximum temperature it either
clears, and then the maximum governs, or it does not, and the temperature at which its margin is zero is found: the
section is hung anew at every trial.
"""

from dataclasses import dataclass

import numpy as np

from corridor.clearance import rules as rule_tables
from corridor.clearance.displaced import ASIDE, below_chords
from corridor.clearance.findings import against_of, obstacle_name, other_voltage, span_chords
from corridor.clearance.ground import unknown_share
from corridor.geometry.distance import Ends, Rows, group, least_heights, take_rows
from corridor.line.bare import hang_bare

__all__ = ["find_limits", "limit_rows"]

#: Temperatures between which a limit is sought [degC], unless the option's maximum is lower.
COLDEST = -60.0
_ITERATIONS = 60
#: Margin that counts as none [m], and width of a bracket below which it is found [K].
_MARGIN, _WIDTH = 1e-6, 1e-9

#: What sets a limit, in the column `governs`.
CLEARANCE, MAXIMUM = "clearance", "maximum temperature"
NO_TEMPERATURE, UNKNOWN = "no temperature clears", "not assessed"
#: The same where the span falls short under ice besides.
ICE = {CLEARANCE: "clearance and ice", MAXIMUM: "ice"}


@dataclass(frozen=True)
class Limits:
    """Limits of spans in every option; arrays (span, option).

    `temperature` [degC] at which the worst margin is zero, nan where it is not below the maximum; `governs` what sets
    the limit; `row` of surface that is nearest at the limit, or at the maximum, -1 where none is known; `place` share
    of the span there [-].
    """

    temperature: np.ndarray
    governs: np.ndarray
    row: np.ndarray
    place: np.ndarray


@dataclass(frozen=True)
class _Below:
    """Surfaces below phase wires that a vertical rule is for.

    `wire` and `obstacle` of each row, its `rule` and the highest voltage [kV] of the `other` line; the rows, cut into
    groups; the spans of which some part is unknown; what knows the `ground` elsewhere.
    """

    wire: np.ndarray
    obstacle: np.ndarray
    rule: np.ndarray
    other: np.ndarray
    grouped: object
    unknown: np.ndarray
    ground: object


def limit_rows(scene, below, crossed, side, ground, current_at, columns):
    """Return the rows of `limits`: one per span and option.

    Parameters
    ----------
    scene : Scene
    below : Rows
        Ground under each wire span.
    crossed : Crossed
    side : ndarray, shape (row of crossed,)
        1 where the wire passes above. Only phase wires above something have a limit temperature.
    ground : Ground
        For wires that strings hold aside of where they rest.
    current_at : callable
        `(option index, temperature [degC], bearing of the span [deg]) -> current per phase [A]`.
    columns : dict of ndarray
        Of `clearances`, for the governing case.
    """
    surfaces = _surfaces(scene, below, crossed, side, ground)
    limits = find_limits(scene, surfaces)
    return _table(scene, surfaces, limits, current_at, columns)


def _surfaces(scene, below, crossed, side, ground):
    """Rows of surface below phase wires that a rule is for: the ground's and those of objects passed over."""
    phase = scene.wires.kind == "phase"
    bare = np.flatnonzero(phase)
    over = np.flatnonzero(phase[crossed.wire] & (side > 0))
    a, b = take_rows(below, bare), take_rows(crossed.rows, over)
    rows = Rows(np.r_[a.first, a.first[-1] + b.first[1:]],
                *(np.concatenate([x, y]) for x, y in zip(a[1:], b[1:], strict=True)))
    wire, obstacle = np.r_[bare, crossed.wire[over]], np.r_[np.full(len(bare), -1), crossed.obstacle[over]]
    against, other = against_of(obstacle, scene.obstacles), other_voltage(scene, obstacle) / 1e3
    case, voltage = _hot_case(scene.cases), scene.voltage / 1e3
    rule = rule_tables.choose(scene.rules, against, "vertical", case, voltage, swung=False, other_kv=other)
    ruled = np.flatnonzero(rule >= 0)
    unknown = np.zeros(len(scene.spans), bool)
    unknown[scene.wires.span[wire[(unknown_share(rows) > 0) & (rule >= 0)]]] = True
    # A span below which no rule is for anything, or whose wires have no place, is as unknown.
    unknown |= ~np.isin(np.arange(len(scene.spans)), scene.wires.span[wire[ruled]])
    grouped = group(take_rows(rows, ruled))
    return _Below(wire[ruled], obstacle[ruled], rule[ruled], other[ruled], grouped, unknown, ground)


def _hot_case(cases):
    """Name of the bare case in still air that rules for hot wires are chosen by; "" where there is none."""
    bare = [case for case in cases if not case.ice and not case.wind and "vertical" in case.checks]
    hot = [case for case in bare if isinstance(case.temperature, str)] or bare
    return hot[0].name if hot else ""


def find_limits(scene, surfaces):
    """Return the limits of all spans.

    Parameters
    ----------
    scene : Scene
    surfaces : _Below

    Returns
    -------
    Limits
    """
    columns = [_find(scene, surfaces, option) for option in range(len(scene.options))]
    return Limits(*(np.stack(v, axis=1) for v in zip(*columns, strict=True)))


def _find(scene, surfaces, option):
    """Temperature, what governs, row and place of every span in one option."""
    maximum = scene.options[option].wiring.maximum_temperature
    spans = np.arange(len(scene.spans))
    hot, row, place = _worst(scene, surfaces, option, spans, np.full(len(spans), maximum))
    governs = np.where(surfaces.unknown | np.isnan(hot), UNKNOWN, np.where(hot < 0, CLEARANCE, MAXIMUM)).astype(object)
    temperature = np.full(len(spans), np.nan)
    short = np.flatnonzero(governs == CLEARANCE)
    if len(short):
        temperature[short], governs[short], row[short], place[short] = _root(scene, surfaces, option, short, hot[short],
                                                                             maximum)
    return temperature, governs, row, place


def _root(scene, surfaces, option, spans, hot, maximum):
    """Temperatures at which spans just clear, what governs, and the row and place that are nearest.

    False position on the margin, which falls as the wire gets longer, with the stale end's value halved.
    """
    low, high = np.full(len(spans), COLDEST), np.full(len(spans), float(maximum))
    cold, row, place = _worst(scene, surfaces, option, spans, low)
    f_low, f_high = cold.copy(), hot.copy()
    T, margin = np.full(len(spans), np.nan), np.full(len(spans), np.nan)
    side = np.zeros(len(spans))
    todo = np.flatnonzero(cold > 0)
    for _ in range(_ITERATIONS):
        if not len(todo):
            break
        t = todo
        step = f_low[t] / (f_low[t] - f_high[t])
        T[t] = low[t] + (high[t] - low[t]) * np.clip(step, 0.01, 0.99)
        margin[t], row[t], place[t] = _worst(scene, surfaces, option, spans[t], T[t])
        above = margin[t] > 0
        f_high[t] = np.where(above, np.where(side[t] > 0, f_high[t] / 2, f_high[t]), margin[t])
        f_low[t] = np.where(above, margin[t], np.where(side[t] < 0, f_low[t] / 2, f_low[t]))
        low[t], high[t] = np.where(above, T[t], low[t]), np.where(above, high[t], T[t])
        side[t] = np.where(above, 1, -1)
        todo = t[(np.abs(margin[t]) > _MARGIN) & (high[t] - low[t] > _WIDTH)]
    found = np.abs(margin) <= 1e-4
    governs = np.where(found, CLEARANCE, np.where(cold <= 0, NO_TEMPERATURE, UNKNOWN)).astype(object)
    return np.where(found, T, np.nan), governs, row, place


def _worst(scene, surfaces, option, spans, temperature):
    """Worst margin [m], its row and place of spans at temperatures of their own; nan and -1 where unknown."""
    of_span = scene.wires.span[surfaces.wire]
    position = np.full(len(scene.spans), -1)
    position[spans] = np.arange(len(spans))
    rows = np.flatnonzero(position[of_span] >= 0)
    if not len(rows):
        return np.full(len(spans), np.nan), np.full(len(spans), -1), np.full(len(spans), np.nan)
    wires = np.unique(surfaces.wire[rows])
    bare = hang_bare(scene, wires, option, temperature[position[scene.wires.span[wires]]])
    at = np.searchsorted(wires, surfaces.wire[rows])
    ends = Ends(*(f[at, None] for f in bare.ends))
    least = least_heights(surfaces.grouped, bare.constant[at, None], only=rows, ends=ends)
    height, place, elevation = (v[:, 0].copy() for v in least)
    aside = np.flatnonzero((np.abs(bare.aside) > ASIDE).any(axis=-1)[at] & (surfaces.obstacle[rows] < 0))
    if len(aside):
        at = at[aside]
        height[aside], place[aside], elevation[aside] = below_chords(scene, wires[at], bare.start[at], bare.end[at],
                                                                     bare.constant[at], surfaces.ground)
    required = rule_tables.requirement(scene.rules, surfaces.rule[rows], scene.voltage / 1e3, elevation - height,
                                       other_kv=surfaces.other[rows]).required
    margin = height - required
    span = position[of_span[rows]]
    order = np.lexsort((np.where(np.isnan(margin), np.inf, margin), span))
    first = order[np.r_[True, span[order][1:] != span[order][:-1]]] if len(order) else order
    result = np.full(len(spans), np.nan), np.full(len(spans), -1), np.full(len(spans), np.nan)
    for whole, some in zip(result, (margin[first], rows[first], place[first]), strict=True):
        whole[span[first]] = some
    lost = np.bincount(span, np.isnan(margin), minlength=len(spans)) > 0
    return np.where(lost, np.nan, result[0]), result[1], result[2]


def _table(scene, surfaces, limits, current_at, columns):
    count, options = len(scene.spans), len(scene.options)
    s, o = np.repeat(np.arange(count), options), np.tile(np.arange(options), count)
    T, state, row, place = (v[s, o] for v in (limits.temperature, limits.governs, limits.row, limits.place))
    maximum = np.array([option.wiring.maximum_temperature for option in scene.options])[o]
    limit = np.where(state == MAXIMUM, maximum, T)
    current = np.full(len(s), np.nan)
    for option in range(options):
        current[o == option] = current_at(option, limit[o == option], scene.spans.azimuth[s[o == option]])
    current = np.where(state == NO_TEMPERATURE, 0.0, current)
    short = _short_under_ice(scene, columns)[s, o]
    known = row >= 0
    w = surfaces.wire[np.maximum(row, 0)] if len(surfaces.wire) else np.zeros(len(row), int)
    thing = surfaces.obstacle[np.maximum(row, 0)] if len(surfaces.wire) else np.full(len(row), -1)

    def named(values):
        return np.where(known, values, None)

    return _keys(scene, s, o) | {
        "limit_temperature_c": limit, "limit_current_a": current, "clearing_temperature_c": T,
        "maximum_temperature_c": maximum, "governs": _with_ice(state, short),
        "governing_against": named(against_of(thing, scene.obstacles)),
        "governing_obstacle": named(obstacle_name(thing, scene.obstacles)),
        "governing_wire": named(scene.wires.wire[w]), "governing_case": _governing_case(scene, s, o, columns),
        "station_m": np.where(known, _station(scene, w, place), np.nan),
    }


def _with_ice(state, short):
    """What governs, told apart where ice alone brings the span short: no current melts that away."""
    words = np.array([ICE.get(word, word) for word in state], object)
    return np.where(short, words, state)


def _short_under_ice(scene, columns):
    """True where a wire above something falls short in a case with ice, shape (span, option)."""
    icy = np.isin(columns["case"], [case.name for case in scene.cases if case.ice > 0])
    short = icy & (columns["measure"] == "vertical") & (columns["position"] == "above") & (columns["margin_m"] < 0)
    known = np.zeros((len(scene.spans), len(scene.options)), bool)
    known[_places(scene, columns, short)] = True
    return known


def _places(scene, columns, chosen):
    """Index of span and of option of the chosen rows of `clearances`."""
    options = {option.name: index for index, option in enumerate(scene.options)}
    spans = {pair: index for index, pair in enumerate(zip(scene.spans.line, scene.spans.name, strict=True))}
    pairs = zip(columns["line"][chosen], columns["span"][chosen], strict=True)
    return (np.array([spans[pair] for pair in pairs], int),
            np.array([options[name] for name in columns["option"][chosen]], int))


def _governing_case(scene, span, option, columns):
    """Case of the least vertical margin of each span and option, None where none was compared."""
    vertical = np.flatnonzero(columns["measure"] == "vertical")
    at_span, at_option = _places(scene, columns, vertical)
    key = at_span * len(scene.options) + at_option
    order = np.lexsort((-columns["margin_m"][vertical], key))
    case = np.full(len(scene.spans) * len(scene.options), None, object)
    case[key[order]] = columns["case"][vertical][order]
    return case[span * len(scene.options) + option]


def _station(scene, wire, fraction):
    frame, tail = scene.frame, scene.spans.tail[scene.wires.span[wire]]
    along = frame.start[wire, 0] + fraction * (frame.end[wire, 0] - frame.start[wire, 0])
    return scene.route.station[tail] + along


def _keys(scene, span, option):
    spans = scene.spans
    return {"line": spans.line[span], "span": spans.name[span],
            "section": scene.sections.name[spans.section[span]],
            "option": np.array([each.name for each in scene.options], object)[option],
            "geometry": span_chords(scene.structures, scene.base_elevation, spans)[span]}
