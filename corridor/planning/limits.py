"""How hot each span may get before its worst vertical margin is gone.

A bare wire in still air has one shape for each catenary constant, whatever its conductor. So the constant at which a
span just clears is found once for all options; each option then turns it into its own tension, strain and
temperature in closed form.
"""

from typing import NamedTuple

import numpy as np

from corridor.clearance import rules as rule_tables
from corridor.clearance.findings import against_of, obstacle_name, other_voltage, span_chords
from corridor.clearance.ground import unknown_share
from corridor.geometry.distance import Rows, least_heights, take_rows
from corridor.mechanics.ruling_span import temperature_for_tension

__all__ = ["Clears", "clearing_constant", "limit_rows"]

#: Temperature past which a clearing temperature is not told [degC].
HOTTEST = 400.0

_ITERATIONS = 30
_TOLERANCE = 1e-7


class Clears(NamedTuple):
    """Least catenary constant at which a row clears [m], the place [-] and the margin left there [m].

    `constant` is 0 where the row clears however slack the wire, inf where even a taut one falls short, and nan where
    its surface is unknown.
    """

    constant: np.ndarray
    fraction: np.ndarray
    margin: np.ndarray


def clearing_constant(rows, required, *, slackest=4.0):
    """Return the catenary constant at which the least height of each row equals the required one.

    Newton in `k = 1/C` on the exact margin. Sag is nearly proportional to k, so the margin is nearly the lowest of
    a set of falling straight lines: Newton from the slack side never oversteps by more than the catenary's
    curvature, and a bracket holds it.

    Parameters
    ----------
    rows : Rows
    required : ndarray, shape (row,)
        Clearance [m].
    slackest : float
        The slackest wire looked at, as span over constant [-].
    """
    S = rows.span
    taut, slack = np.full(S.shape, 1e-9) / S, slackest / S
    m_taut, m_slack = (_margin(rows, required, k)[0] for k in (taut, slack))
    k = np.minimum(slack, 0.3 / S)
    low, high = taut.copy(), slack.copy()
    open_rows = np.flatnonzero((m_taut > 0) & (m_slack < 0))
    margin, place = np.full(S.shape, np.nan), np.full(S.shape, np.nan)
    for _ in range(_ITERATIONS):
        if not len(open_rows):
            break
        r = open_rows
        margin[r], place[r], sag = _margin(take_rows(rows, r), required[r], k[r])
        low[r] = np.where(margin[r] > 0, k[r], low[r])
        high[r] = np.where(margin[r] <= 0, k[r], high[r])
        with np.errstate(divide="ignore", invalid="ignore"):
            new = k[r] + margin[r] * k[r] / sag
        inside = (new > low[r]) & (new < high[r])
        done = np.abs(margin[r]) < _TOLERANCE
        k[r] = np.where(done, k[r], np.where(inside, new, (low[r] + high[r]) / 2))
        open_rows = r[~done]
    constant = 1 / k
    constant = np.where(m_taut <= 0, np.inf, np.where(m_slack >= 0, 0.0, constant))
    unknown = np.isnan(m_taut) | np.isnan(m_slack)
    return Clears(np.where(unknown, np.nan, constant), place, margin)


def _margin(rows, required, k):
    """Margin, place and sag there at the least height, for one constant per row."""
    least = least_heights(rows, 1 / k[:, None])
    height, place, elevation = (v[:, 0] for v in least)
    sag = rows.start + rows.rise * place - elevation
    return height - required, place, sag


def limit_rows(scene, below, crossed, side, current_at, columns):
    """Return the rows of `limits`: one per span and option.

    Parameters
    ----------
    scene : Scene
    below : Rows
        Ground under each wire span.
    crossed : Crossed
    side : ndarray, shape (row of crossed,)
        1 where the wire passes above. Only phase wires above something have a limit temperature.
    current_at : callable
        `(option index, temperature) -> current per phase [A]`.
    columns : dict of ndarray
        Of `clearances`, for the governing case.
    """
    wire, obstacle, rows = _candidates(scene, below, crossed, side)
    required = _required(scene, rows, obstacle)
    has = np.isfinite(required)
    wire, obstacle, required = wire[has], obstacle[has], required[has]
    clears = clearing_constant(take_rows(rows, np.flatnonzero(has)), required)
    constant = np.where(unknown_share(rows)[has] > 0, np.nan, clears.constant)
    clears = clears._replace(constant=constant)
    span, worst, unknown = _worst(scene.wires.span[wire], constant, len(scene.spans))
    return _table(scene, wire, obstacle, clears, span, worst, unknown, current_at, columns)


def _candidates(scene, below, crossed, side):
    """Rows of surface below phase wires: the ground's and those of objects passed over."""
    phase = scene.wires.kind == "phase"
    ground = np.flatnonzero(phase)
    over = np.flatnonzero(phase[crossed.wire] & (side > 0))
    a, b = take_rows(below, ground), take_rows(crossed.rows, over)
    rows = Rows(np.r_[a.first, a.first[-1] + b.first[1:]],
                *(np.concatenate([x, y]) for x, y in zip(a[1:], b[1:], strict=True)))
    obstacle = np.r_[np.full(len(ground), -1), crossed.obstacle[over]]
    return np.r_[ground, crossed.wire[over]], obstacle, rows


def _hot_case(cases):
    """Name of the bare case in still air that rules for hot wires are chosen by; "" where there is none."""
    bare = [case for case in cases if not case.ice and not case.wind and "vertical" in case.checks]
    hot = [case for case in bare if isinstance(case.temperature, str)] or bare
    return hot[0].name if hot else ""


def _required(scene, rows, obstacle):
    """Vertical clearance required of each row in the hot case [m], nan where no rule is for it."""
    against = against_of(obstacle, scene.obstacles)
    U, U_other = scene.voltage / 1e3, other_voltage(scene, obstacle) / 1e3
    rule = rule_tables.choose(scene.rules, against, "vertical", _hot_case(scene.cases), U, swung=False)
    terms = rule_tables.requirement(scene.rules, rule, U, rows.start, other_kv=U_other)
    return terms.required


def _worst(span, constant, count):
    """Row of the greatest constant of each span, -1 where there is none, and whether any row is unknown."""
    unknown = np.bincount(span, np.isnan(constant), minlength=count) > 0
    order = np.lexsort((np.nan_to_num(constant, nan=-1.0, posinf=np.finfo(float).max), span))
    worst = np.full(count, -1)
    worst[span[order]] = order
    return np.arange(count), worst, unknown


def _table(scene, wire, obstacle, clears, span, worst, unknown, current_at, columns):
    count, options = len(span), scene.options
    s, o = np.repeat(span, len(options)), np.tile(np.arange(len(options)), count)
    row = worst[s]
    has = row >= 0
    row = np.maximum(row, 0)
    if not len(wire):
        return _empty(scene, s, o)
    C, w = clears.constant[row], wire[row]
    T, state = _temperature(scene, C, w, o, has, unknown[s])
    maximum = np.array([option.wiring.maximum_temperature for option in options])[o]
    capped = np.where(np.isnan(T), np.nan, np.minimum(T, maximum))
    current = np.full(len(s), np.nan)
    for option in range(len(options)):
        current[o == option] = current_at(option, capped[o == option])
    current = np.where(state == NO_TEMPERATURE, 0.0, current)
    state = np.where((state == CLEARANCE) & (T > maximum), MAXIMUM, state)
    return _common(scene, s, o) | {
        "limit_temperature_c": capped, "limit_current_a": current,
        "clearing_temperature_c": np.where(np.isinf(T), np.nan, T), "maximum_temperature_c": maximum, "governs": state,
        "governing_against": np.where(has, against_of(obstacle[row], scene.obstacles), None),
        "governing_obstacle": np.where(has, obstacle_name(obstacle[row], scene.obstacles), None),
        "governing_wire": np.where(has, scene.wires.wire[w], None),
        "governing_case": _governing_case(scene, s, o, columns),
        "station_m": np.where(has, _station(scene, w, clears.fraction[row]), np.nan),
    }


#: What sets a limit, in the column `governs`.
CLEARANCE, MAXIMUM = "clearance", "maximum temperature"
NO_TEMPERATURE, UNKNOWN = "no temperature clears", "not assessed"


def _temperature(scene, C, wire, option, has, unknown):
    """Temperature at which the span has the constant C [degC], and what governs."""
    strung, g = scene.strung, scene.group[wire]
    at = g, option
    part = type(strung.final)(*(np.broadcast_to(p, strung.excess.shape)[at] for p in strung.final))
    w = strung.bare_weight[at]
    with np.errstate(invalid="ignore", divide="ignore"):
        H = np.where((C > 0) & np.isfinite(C), C, 1.0) * w
        T = temperature_for_tension(H, strung.excess[at], scene.groups.span[g], w, part)
    # Hotter than any wire can be is not reached.
    T = np.where((C == 0) | (T > HOTTEST), np.inf, T)
    lost = unknown | ~has | np.isnan(strung.excess[at]) | np.isnan(C)
    state = np.where(lost, UNKNOWN, np.where(np.isinf(C), NO_TEMPERATURE, CLEARANCE)).astype(object)
    return np.where(state == CLEARANCE, T, np.nan), state


def _governing_case(scene, span, option, columns):
    """Case of the least vertical margin of each span and option, None where none was compared."""
    names = {option.name: index for index, option in enumerate(scene.options)}
    place = {name: index for index, name in enumerate(zip(scene.spans.line, scene.spans.name, strict=True))}
    vertical = np.flatnonzero(columns["measure"] == "vertical")
    key = np.array([place[pair] for pair in zip(columns["line"][vertical], columns["span"][vertical], strict=True)],
                   int) * len(names)
    key += np.array([names[name] for name in columns["option"][vertical]], int)
    order = np.lexsort((-columns["margin_m"][vertical], key))
    case = np.full(len(scene.spans) * len(names), None, object)
    case[key[order]] = columns["case"][vertical][order]
    return case[span * len(names) + option]


def _station(scene, wire, fraction):
    frame, tail = scene.frame, scene.spans.tail[scene.wires.span[wire]]
    along = frame.start[wire, 0] + fraction * (frame.end[wire, 0] - frame.start[wire, 0])
    return scene.route.station[tail] + along


def _common(scene, span, option):
    spans = scene.spans
    return {"line": spans.line[span], "span": spans.name[span],
            "section": scene.sections.name[spans.section[span]],
            "option": np.array([each.name for each in scene.options], object)[option],
            "geometry": span_chords(scene.structures, scene.base_elevation, spans)[span]}


def _empty(scene, span, option):
    """Rows of spans of which nothing is known."""
    nothing = np.full(len(span), np.nan)
    none = np.full(len(span), None, object)
    maximum = np.array([each.wiring.maximum_temperature for each in scene.options])[option]
    return _common(scene, span, option) | {
        "limit_temperature_c": nothing, "limit_current_a": nothing, "clearing_temperature_c": nothing,
        "maximum_temperature_c": maximum, "governs": np.full(len(span), UNKNOWN, object),
        "governing_against": none, "governing_obstacle": none, "governing_wire": none, "governing_case": none,
        "station_m": nothing}
