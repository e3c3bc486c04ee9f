"""A year by the hour over all spans: the hottest wire, the span that holds the line back, and how often each does.

Hours are taken a few at a time, and of each only what is asked is kept: memory does not grow with the spans.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from corridor.arrays import join
from corridor.conductor.materials import find_material
from corridor.rating.limits import CLEARANCE, ICE, NO_TEMPERATURE, UNKNOWN
from corridor.rating.margins import HourMargins, Margins
from corridor.rating.series import CHUNK, THREADS, Course, Hours, in_weather, piece_of, with_bearings
from corridor.thermal.strength import remaining_after

__all__ = ["Place", "Year", "clearing", "hour_rows", "known_to_clear", "places_near", "strength_law", "strength_left",
           "year_of", "year_span_rows"]


#: By what law aluminium loses strength.
_LAWS = {"hard-drawn aluminium": "as IEEE Std 1283 (recalled, medium confidence)",
         "annealed aluminium": "soft aluminium has none to lose"}
#: A span that clears only a wire colder than any air [°C] clears none.
_COLD = -80.0


class Place(NamedTuple):
    """Hours of one station, and the spans (index into those of the line) that have its weather."""

    hours: Hours
    spans: np.ndarray


@dataclass(frozen=True)
class Year:
    """One option through the hours.

    `course` (hour, 1) the hottest wire and the maximum loss of any span; `temperature_margin` (hour,) [K] the least by
    which a wire is colder than its span is known to clear, and `tightest` (hour,) the row of limits it is of; `rating`
    (hour,) [A] per phase that every span known allows, and `limiting` (hour,) the row that sets it, -1: the wire
    itself. `rows` of limits that are of the option, and of each (row,): `short`, `unknown`, `holds` (it sets the
    rating) and `short_of_required`, in steps; `lost` whether it was not assessed.
    `margin` (hour,) [m] the least of all spans that have one, told by no more than `low_by` too low, `nearest` the row
    of limits it is of, `without` how many spans have none; `least_margin` (row,) [m] of all hours known.
    """

    course: Course
    temperature_margin: np.ndarray
    tightest: np.ndarray
    rating: np.ndarray
    limiting: np.ndarray
    rows: np.ndarray
    short: np.ndarray
    unknown: np.ndarray
    holds: np.ndarray
    short_of_required: np.ndarray
    lost: np.ndarray
    margin: np.ndarray
    nearest: np.ndarray
    low_by: np.ndarray
    without: np.ndarray
    least_margin: np.ndarray


class _Spans(NamedTuple):
    """Spans about one station: rows of limits, temperature to which each is known to clear [°C] (-inf: none, nan: not
    assessed), whether it may clear above, too; the place of each among the bearings, and of each bearing the minimum
    temperature (inf: none below) and its row."""

    rows: np.ndarray
    clears: np.ndarray
    only_to_maximum: np.ndarray
    place: np.ndarray
    least: np.ndarray
    worst: np.ndarray


def places_near(stations, x, y, east, north, given=None):
    """Return the Places of stations: each span takes the nearest, where it is not given.

    Parameters
    ----------
    stations : sequence of Hours
    x, y : array_like, shape (station,)
        Where they are [m], nan where that is not known; of a single one it does not matter.
    east, north : ndarray, shape (span,)
        Middles of the spans [m].
    given : ndarray of int, shape (span,), optional
        Its station, -1 for the nearest.
    """
    if len(stations) == 1:
        return (Place(stations[0], np.arange(len(east))),)
    away = np.hypot(east[:, None] - np.asarray(x), north[:, None] - np.asarray(y))
    near = np.where(np.isnan(away), np.inf, away).argmin(axis=1)
    near = near if given is None else np.where(given >= 0, given, near)
    return tuple(Place(hours, np.flatnonzero(near == i)) for i, hours in enumerate(stations) if np.any(near == i))


def known_to_clear(limits, state="maximum"):
    """Return the temperature up to which spans are known to clear, where the wire's own limit does not come first.

    Parameters
    ----------
    limits : dict of ndarray
        Columns of the layer `limits`.
    state : str
        "maximum" or "emergency".

    Returns
    -------
    ndarray, shape (row,)
        [°C]: inf where the span clears at the limit of the wire, -inf where no temperature clears, nan where it was
        not assessed, or the study has no case at that temperature.
    """
    governs, key = ("governs", "clearing_temperature_c") if state == "maximum" else (
        "emergency_governs", "emergency_limit_temperature_c")
    by, T = limits[governs], np.asarray(limits[key], float)
    found = np.where(np.isin(by, (CLEARANCE, ICE[CLEARANCE])), T, np.inf)
    found = np.where(by == NO_TEMPERATURE, -np.inf, found)
    return np.where([each is None or each == UNKNOWN for each in by], np.nan, found)


def clearing(limits):
    """Return the temperature up to which each span is known to clear [°C], and whether it may clear above, too.

    -inf where no temperature clears, nan where the span was not assessed.
    """
    known = known_to_clear(limits)
    to_maximum = np.isposinf(known)
    return np.where(to_maximum, limits["maximum_temperature_c"], known).astype(float), to_maximum


def year_of(ratings, option, places, limits, span_of_row, azimuth, margins=None):
    """Return an option (index) through the hours of all spans.

    Parameters
    ----------
    ratings : Ratings
        With a weather, which stands in for what the series lacks.
    option : int
    places : sequence of Place
    limits : dict of ndarray
        Columns of the layer `limits`.
    span_of_row : ndarray of int, shape (row of limits,)
        The span of each row.
    azimuth : ndarray, shape (span,)
        Bearings of the spans [deg].
    margins : Margins, optional
        Of all rows of limits; default: none is known.

    Returns
    -------
    Year
    """
    rows = np.flatnonzero(limits["option"] == ratings.options[option].name)
    clears, only = clearing(limits)
    count = len(places[0].hours.current)
    margins = Margins(np.array([-1e3, -999.0]), np.full((len(clears), 2), np.nan)) if margins is None else margins
    whole = [np.full(count, -np.inf), np.full(count, -np.inf), np.full(count, np.inf), np.full(count, -1),
             np.full(count, np.inf), np.full(count, -1), np.full(count, np.inf), np.full(count, -1)]
    short, unknown, over = (np.zeros(len(clears)) for _ in range(3))
    least, without, low_by = np.full(len(clears), np.nan), np.zeros(count), np.full(count, np.nan)
    for place in places:
        here = with_bearings(ratings, place.hours, azimuth[place.spans])
        of_place = rows[np.isin(span_of_row[rows], place.spans)]
        spans = _spans(here, of_place, clears, only, azimuth[span_of_row[of_place]])
        near = HourMargins.of(margins, of_place, spans.place, len(here.bearings))
        coldest, warmest = np.full(len(here.bearings), np.inf), np.full(len(here.bearings), -np.inf)
        for first, *told in _pieces(here, option, place.hours, spans, near):
            part, (hottest, lost, *of_least), counted, (low, high, may_be, none) = told
            at = slice(first, first + len(part))
            whole[0][at], whole[1][at] = (np.maximum(a[at], b) for a, b in zip(whole[:2], (hottest, lost), strict=True))
            for k, value, row in zip((2, 4, 6), of_least[::2], of_least[1::2], strict=True):
                # What is not known is the least, and stays it.
                less = (value < whole[k][at]) | (np.isnan(value) & ~np.isnan(whole[k][at]))
                whole[k][at], whole[k + 1][at] = (np.where(less, new, old) for new, old in
                                                  ((value, whole[k][at]), (row, whole[k + 1][at])))
            for total, more in zip((short, unknown, over), counted, strict=True):
                total[of_place] += more
            without[at] += none
            low_by[at] = np.where(less, may_be, low_by[at])
            coldest, warmest = np.fmin(coldest, low), np.fmax(warmest, high)
        least[of_place] = near.of_range(coldest, warmest)
    holds = np.bincount(whole[5][whole[5] >= 0], minlength=len(clears)).astype(float)
    course = Course(np.zeros(1), whole[0][:, None], whole[1][:, None])
    required = over if ratings.required_current is not None else np.full(len(clears), np.nan)
    margin = np.where(np.isinf(whole[6]), np.nan, whole[6])
    return Year(course, *whole[2:6], rows, *(v[rows] for v in (short, unknown, holds, required)),
                np.isnan(clears[rows]), margin, whole[7], low_by, without, least[rows])


def _spans(ratings, rows, clears, only, azimuth):
    place = np.abs(np.round(azimuth, 3)[:, None] - ratings.bearings).argmin(axis=1)
    least, worst = np.full(len(ratings.bearings), np.inf), np.full(len(ratings.bearings), -1)
    known = np.where(np.isnan(clears[rows]) | only[rows], np.inf, clears[rows])
    for i in np.argsort(-known, kind="stable"):
        if known[i] < np.inf:
            least[place[i]], worst[place[i]] = known[i], rows[i]
    return _Spans(rows, clears[rows], only[rows], place, least, worst)


def _pieces(ratings, option, hours, spans, near):
    """Yield what a few hours at a time come to."""
    count = max(min(CHUNK // len(ratings.bearings), -(-len(hours.current) // THREADS)), 1)
    with ThreadPoolExecutor(THREADS) as pool:
        firsts = range(0, len(hours.current), count)
        yield from pool.map(lambda first: (first, *_piece(ratings, option, hours.part(slice(first, first + count)),
                                                          spans, near)), firsts)


def _piece(ratings, option, hours, spans, near):
    """The current of some hours; their hottest wire, maximum loss, least temperature_margin, rating, margin, what sets
    these; the steps of each span; and by bearing the coldest and hottest wire, by hour the spans without a margin."""
    T, lost = piece_of(ratings, option, hours)
    top, line = ratings.options[option].wiring.maximum_temperature, np.arange(len(T))
    # A span is known to clear up to the maximum at most.
    clears = np.minimum(spans.least, top)
    room = np.where(np.isnan(T), np.nan, clears - T)
    b = np.argmin(np.where(np.isnan(room), -np.inf, room), axis=1)
    here, none = in_weather(ratings, hours), clears < _COLD
    current = np.where(none, 0.0, here.current_at(option, np.broadcast_to(np.where(none, top, clears), T.shape),
                                                  here.bearings))
    least = np.argmin(np.where(np.isnan(current), -np.inf, current), axis=1)
    rating = current[line, least]
    told = (T.max(axis=1), lost.max(axis=1), room[line, b], np.where(np.isnan(room[line, b]), -1, spans.worst[b]),
            rating, np.where(np.isnan(rating), -1, spans.worst[least]))
    margin, nearest, low_by, without = near.look(T)
    return (hours.current, (*told, margin, nearest), _counted(ratings, option, hours, spans, T),
            (np.fmin.reduce(T, axis=0), np.fmax.reduce(T, axis=0), low_by, without))


def _counted(ratings, option, hours, spans, T):
    """Steps in which each span is short, in which that is not known, and in which it is at the required current."""
    def hotter(at):
        return np.sum(at[:, spans.place] > spans.clears, axis=0)

    more = hotter(T)
    lost = np.sum(np.isnan(T), axis=0)[spans.place]
    over = np.zeros(len(more))
    if ratings.required_current is not None:
        flat = replace(hours, current=np.full(len(hours.current), float(ratings.required_current)))
        over = hotter(piece_of(ratings, option, flat)[0])
    only = spans.only_to_maximum
    return np.where(only, 0, more), lost + np.where(only, more, 0), np.where(only, 0, over)


def year_span_rows(limits, years, step):
    """Return the hours in which each span would have been short of its rule, or held the line back, as columns.

    Parameters
    ----------
    limits : dict of ndarray
        Columns of the layer `limits`.
    years : sequence of Year
        One per option.
    step : float
        [h]

    Returns
    -------
    dict of ndarray
        line, span, option, clearing_temperature_c; hours_short (nan: the span was not assessed); hours_unknown: those
        without a temperature, and those hotter than the option's maximum over a span that is only known to clear there;
        hours_limiting, in which no other span allows less current, and the wire more; hours_short_at_required, were the
        required current to flow; minimum_margin_m of all hours known, nan where the wire was hotter than it may be.
    """
    columns = {name: np.full(len(limits["span"]), np.nan) for name in
               ("hours_short", "hours_unknown", "hours_limiting", "hours_short_at_required")}
    for year in years:
        for name, steps in zip(columns, (year.short, year.unknown, year.holds, year.short_of_required), strict=True):
            columns[name][year.rows] = np.where(year.lost & (name != "hours_unknown"), np.nan, steps * step)
    least = np.full(len(limits["span"]), np.nan)
    for year in years:
        least[year.rows] = year.least_margin
    return {name: limits[name] for name in ("line", "span", "option", "clearing_temperature_c")} | columns | {
        "minimum_margin_m": least}


def hour_rows(ratings, years, limits, hours):
    """Return one row per option and hour, as columns: load, wire, temperature_margin, and what every span known allows.

    `assessed_rating_a` is the rating of the line where `spans_not_assessed` is 0, and else no more than an upper bound;
    `assessed_margin_m` likewise the minimum margin where `spans_without_margin` is 0. It is told by `margin_low_by_m`
    too low at most; empty where a wire is hotter than it may be.
    """
    parts = []
    for option, year in zip(ratings.options, years, strict=True):
        count = len(hours.current)
        names = np.append(limits["span"], None).astype(object)
        parts.append({
            "option": np.full(count, option.name, object), "hour": np.arange(count) * hours.step / 3600,
            "time": np.full(count, None, object) if hours.time is None else hours.time.astype(str).astype(object),
            "current_a": hours.current, "wire_temperature_c": np.where(np.isinf(year.course.temperature[:, 0]), np.nan,
                                                                       year.course.temperature[:, 0]),
            "temperature_margin_k": np.where(np.isfinite(year.temperature_margin), year.temperature_margin, np.nan),
            "tightest_span": names[year.tightest], "assessed_rating_a": year.rating,
            "limiting_span": names[year.limiting], "spans_not_assessed": np.full(count, float(year.lost.sum())),
            "assessed_margin_m": year.margin, "margin_low_by_m": year.low_by, "margin_span": names[year.nearest],
            "spans_without_margin": year.without})
    return join(parts)


def strength_law(option):
    """Return by what law the aluminium of an Option loses strength, in words; where none is known here, that.

    By IEC 62004 a thermal alloy loses a tenth at most over the time and at the temperature of its class; how much at
    others is not told, so that there is no number.
    """
    c = option.wiring.conductor
    kind = find_material(c.outer_material).description if c.outer_material else "wires of no material"
    if kind == "hard-drawn aluminium" and np.isnan(c.outer_wire_diameter):
        return "not given: the diameter of the wires is not known"
    return _LAWS.get(kind, f"not given: no law is known here for {kind}")


def strength_left(option, temperature, step, years):
    """Return what is left of the strength of an option's aluminium after years of such hours [%]; nan: no law is known.

    Parameters
    ----------
    option : Option
    temperature : ndarray, shape (hour,)
        [°C]; nan is left out.
    step : float
        [h]
    years : float
    """
    law = strength_law(option)
    if law != _LAWS["hard-drawn aluminium"]:
        return 100.0 if law in _LAWS.values() else np.nan
    known = np.ceil(temperature[~np.isnan(temperature)])
    T, count = np.unique(known, return_counts=True)
    return remaining_after(T, count * step * years, option.wiring.conductor.outer_wire_diameter)
