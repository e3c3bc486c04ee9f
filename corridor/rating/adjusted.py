"""Ratings adjusted to the air: over its temperature, by day and night, for ever and for a time, and what limits each.

A line carries the lesser of two currents: the one that its wire may take, and the one at which its worst span just
clears. Where a span was not assessed, the line has no rating: what the others allow is told beside it.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from corridor.conductor.materials import find_material
from corridor.rating.limits import UNKNOWN
from corridor.rating.ratings import Sky
from corridor.rating.seasons import daylight, in_season
from corridor.rating.year import known_to_clear
from corridor.thermal.rating import Weather
from corridor.thermal.strength import temperature_for

__all__ = ["SPAN", "WIRE", "adjusted_rows", "duration_text", "wire_limit"]

#: What limits a cell, besides `UNKNOWN` of the limits.
WIRE, SPAN = "wire", "span"
_COLD = -80.0


class _Spans(NamedTuple):
    """Spans of a line in one option, in one state: the temperature up to which each is known to clear (span,) [°C],
    -inf where none clears, nan where it was not assessed, inf where the wire's own limit comes first; names, bearings
    [deg], and what each clears in words."""

    clears: np.ndarray
    name: np.ndarray
    azimuth: np.ndarray
    words: np.ndarray


@dataclass(frozen=True)
class _State:
    """For ever (`duration` nan) or for a time [s]; the temperature that the wire may take [°C], and the reason."""

    duration: float
    temperature: float
    reason: str


def duration_text(seconds):
    """Return a duration in words.

    >>> duration_text(float("nan")), duration_text(1800.0), duration_text(7200.0)
    ('continuous', '30 min', '2 h')
    """
    if np.isnan(seconds):
        return "continuous"
    return f"{seconds / 3600:g} h" if seconds >= 3600 else f"{seconds / 60:g} min"


def wire_limit(wiring, strength, emergency):
    """Return the temperature that a wire may take [°C] and why: its own limit, or what strength it would lose."""
    T, word = wiring.maximum_temperature, "maximum temperature"
    if emergency and wiring.emergency_temperature is not None:
        T, word = wiring.emergency_temperature, "emergency temperature"
    reason = f"{word} {T:g} °C"
    hours = None if strength is None else strength.emergency_hours if emergency else strength.hours
    c = wiring.conductor
    if hours is None or not c.outer_material or find_material(c.outer_material).description != "hard-drawn aluminium":
        return T, reason
    weak = temperature_for(100 * strength.greatest_loss, hours / 3600, c.outer_wire_diameter)
    if np.isnan(weak):
        return T, f"{reason}; loss of strength not known: no diameter of the aluminium wires"
    if weak >= T:
        return T, reason
    return weak, f"loss of strength: {100 * strength.greatest_loss:g} % in {hours / 3600:g} h at {weak:.1f} °C"


def adjusted_rows(ratings, seasons, ambients, limits, azimuth, *, latitude, strength=None):
    """Return the table of ratings adjusted to the air, as columns.

    Parameters
    ----------
    ratings : Ratings
        With a weather.
    seasons : sequence of Season
    ambients : sequence of float
        [°C]
    limits : dict of ndarray
        Columns of the layer `limits`.
    azimuth : ndarray, shape (row of limits,)
        Bearings of the spans [deg].
    latitude : float
        Of the line [deg].
    strength : Strength, optional
        Of the study.
    """
    Ta, parts = np.asarray(ambients, float), []
    for index, option in enumerate(ratings.options):
        for line in dict.fromkeys(limits["line"]):
            rows = np.flatnonzero((limits["option"] == option.name) & (limits["line"] == line))
            here = {name: column[rows] for name, column in limits.items()}
            for season in seasons:
                for night in (False, True):
                    hours = daylight(latitude, season.days)
                    keys = {"line": line, "option": option.name, "season": season.name,
                            "sun": "night" if night else "day",
                            "from_hour": hours[night], "to_hour": hours[not night]}
                    made = in_season(ratings, season, night=night)
                    parts += [keys | _cells(made, index, season, Ta, state, here, azimuth[rows]) for state in
                              _states(option.wiring, season, strength)]
    return _stacked(parts, len(Ta))


def _states(wiring, season, strength):
    lasting = _State(np.nan, *wire_limit(wiring, strength, False))
    return [lasting, *(_State(t, *wire_limit(wiring, strength, True)) for t in season.durations)]


def _cells(ratings, option, season, ambients, state, limits, azimuth):
    """Columns of one option, line, season, half of the day and duration over the air."""
    in_need = not np.isnan(state.duration) and ratings.options[option].wiring.emergency_temperature is not None
    spans = _Spans(known_to_clear(limits, "emergency" if in_need else "maximum"), limits["span"], azimuth,
                   _words(limits, in_need))
    lost = np.isnan(spans.clears)
    bearings, T, worst = _by_bearing(ratings, spans, state.temperature)
    alone = _least_cooled(ratings, bearings, np.zeros(len(bearings)))
    held_back = _least_cooled(ratings, bearings, T)
    T, worst = np.r_[np.inf, T[held_back]], np.r_[-1, worst[held_back]]
    hot = np.r_[np.full(len(alone), state.temperature), np.maximum(T[1:], _COLD)]
    current = _current(ratings, option, season, ambients, state, hot, bearings[np.r_[alone, held_back]])
    wire = current[:, :len(alone)].min(axis=1)
    of_spans = np.column_stack([np.full(len(ambients), np.inf), current[:, len(alone):]])
    of_spans[:, T == -np.inf] = 0.0
    at = np.argmin(of_spans, axis=1)
    span = of_spans[np.arange(len(at)), at]
    held = span < wire
    least = np.where(held, span, wire)
    by = np.full(len(at), UNKNOWN if lost.any() else "", object)
    if not lost.any():
        by[:] = np.where(held, SPAN, WIRE)
    reason = [_reason(state, spans, worst[b], h, c) for b, h, c in zip(at, held, least, strict=True)]
    if lost.any():
        reason = [f"{_not_assessed(spans.name[lost], limits, in_need)}; at most {c:.0f} A: {why}"
                  for c, why in zip(least, reason, strict=True)]
    return {"duration": duration_text(state.duration), "duration_s": state.duration,
            "pre_load_a": np.nan if season.pre_load is None or np.isnan(state.duration) else season.pre_load,
            "ambient_c": ambients, "current_a": np.where(lost.any(), np.nan, least), "limited_by": by,
            "limit_temperature_c": np.where(held, T[at], state.temperature),
            "limiting_span": np.where(held, spans.name[np.maximum(worst[at], 0)], None),
            "reason": np.array(reason, object), "wire_current_a": wire, "wire_temperature_c": state.temperature,
            "assessed_spans_current_a": np.where(np.isfinite(span), span, np.nan),
            "spans_not_assessed": float(lost.sum())}


def _by_bearing(ratings, spans, top):
    """Bearings that differ in weather, and of each the minimum temperature to which its spans clear below the wire's
    own, nan where that comes first, and the span (-1: none)."""
    rounded = np.round(spans.azimuth, 3) if ratings.sky.matters else np.zeros(len(spans.azimuth))
    bearings, place = np.unique(rounded, return_inverse=True)
    T, worst = np.full(len(bearings), np.nan), np.full(len(bearings), -1)
    clears = np.where(np.isnan(spans.clears), np.inf, spans.clears)
    for row in np.argsort(-clears, kind="stable"):
        if clears[row] < top:
            T[place[row]], worst[place[row]] = clears[row], row
    # A span that clears only a wire colder than any air clears none.
    return bearings, np.where(T < _COLD, -np.inf, T), worst


def _least_cooled(ratings, bearings, temperature):
    """Bearings (index) of which one carries least, at temperatures, in any air and for any time: for every other there
    is one with no more temperature, no more angle to the wind and no less sun."""
    weather = ratings.weather_at(bearings)
    T, angle, sun = (np.broadcast_to(v, bearings.shape) for v in (temperature, weather.wind_angle, -weather.solar))
    known = np.flatnonzero(~np.isnan(T))
    T, angle, sun = T[known], angle[known], sun[known]
    no_more = np.all([v[:, None] <= v for v in (T, angle, sun)], axis=0)
    # Of equals the first stays.
    beaten = no_more & ~(no_more.T & (known[:, None] >= known))
    return known[~beaten.any(axis=0)]


def _current(ratings, option, season, ambients, state, temperature, bearings):
    """Current per phase [A] at temperatures on bearings, (ambient, bearing)."""
    weather = ratings.weather_at(bearings)
    shape = (len(ambients), len(bearings))
    each = {name: np.broadcast_to(getattr(weather, name), shape) for name in
            ("wind_speed", "wind_angle", "emissivity", "absorptivity", "solar", "elevation")}
    here = replace(ratings, weather=Weather(ambient=np.broadcast_to(ambients[:, None], shape), **each), sky=Sky(),
                   emergency_duration=state.duration, pre_load=season.pre_load)
    T = np.broadcast_to(temperature, shape)
    if np.isnan(state.duration):
        return here.current_at(option, T, np.zeros(shape))
    return here.short_time_current(option, T, np.zeros(shape))


def _words(limits, in_need):
    """What each span clears, in words."""
    if in_need:
        return np.full(len(limits["span"]), "at the emergency temperature", object)
    columns = (limits[name] for name in ("governing_against", "governing_obstacle", "governing_measure"))
    return np.array([f"{obstacle or against or 'what is below it'} ({measure or 'measure not known'})"
                     for against, obstacle, measure in zip(*columns, strict=True)], object)


def _reason(state, spans, row, held, current):
    tail = "; the air, the sun or the pre-load alone makes it hotter" if current <= 0 else ""
    if not held:
        return state.reason + tail
    if spans.clears[row] < _COLD:
        return f"span {spans.name[row]}: no temperature clears, {spans.words[row]}"
    return f"span {spans.name[row]}: clears to {spans.clears[row]:.1f} °C, {spans.words[row]}{tail}"


def _not_assessed(names, limits, in_need):
    if in_need and all(each is None for each in limits["emergency_governs"]):
        return "clearance not assessed: the study has no case at the emergency temperature"
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return f"clearance not assessed in {', '.join(names[:3])}{more}"


def _stacked(parts, count):
    def column(name):
        values = [part[name] for part in parts]
        kind = float if np.asarray(values[0]).dtype.kind == "f" else object
        return np.concatenate([np.broadcast_to(np.asarray(value, kind), count) for value in values])

    return {name: column(name) for name in parts[0]}
