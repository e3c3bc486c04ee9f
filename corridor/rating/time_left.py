"""How long a current may flow from now on, until the first span is short."""

from dataclasses import replace

import numpy as np

from corridor.rating.year import clearing
from corridor.thermal.rating import step_response

__all__ = ["HORIZON", "NEVER", "NOW", "OVER_NOW", "UNASSESSED", "time_left_rows"]

#: How far it is looked ahead, and in what steps [s].
HORIZON, STEP = 4 * 3600.0, 10.0
NOW, LATER, BEYOND, NEVER = "short now", "short in time", "short after more than 4 h", "stays clear"
#: The same where the span clears as far as is known, and above that is not known to.
OVER_NOW, OVER_LATER = "hotter now than it is known to clear", "hotter in time than it is known to clear"
OVER_BEYOND = "hotter after more than 4 h than it is known to clear"
UNASSESSED, UNKNOWN_WEATHER = "not assessed", "weather or current not known"
_OVER = {NOW: OVER_NOW, LATER: OVER_LATER, BEYOND: OVER_BEYOND}


def time_left_rows(ratings, option, before, current, limits, azimuth, *, earlier=None):
    """Return how long each span stays clear from now on, as columns, the shortest first.

    The wire is steady at the current before, in the weather of now or that of `earlier`, in which it is the hotter;
    then the current of now flows on in that of now. The time is that of the last step at which the wire is no hotter
    than it may be, so that it is never too long. Where a radial conductivity is given, the core is hotter by its steady
    excess at once.

    Parameters
    ----------
    ratings, earlier : Ratings
        In the weather of now, and of the hour before where that is known.
    option : int
    before, current : float
        Per phase [A].
    limits : dict of ndarray
        Columns of the layer `limits`.
    azimuth : ndarray, shape (row of limits,)
        Bearings of the spans [deg].

    Returns
    -------
    dict of ndarray
        line, span, option, temperature_now_c, steady_temperature_c, clearing_temperature_c (of a span that clears at
        the maximum of the option: that maximum, above which it is not known to), time_left_s (nan: it stays clear, or
        that is not known), state, which tells spans that are short from those that are not known to clear.
    """
    rows = np.flatnonzero(limits["option"] == ratings.options[option].name)
    bearings, place = np.unique(np.round(azimuth[rows], 3), return_inverse=True)
    wiring = ratings.options[option].wiring
    c, n, weather = wiring.conductor, wiring.bundle, ratings.weather_at(bearings)
    one, surface = np.ones(len(bearings)), replace(ratings, radial_conductivity=None)
    start = surface.temperature_at(option, before * one, bearings)
    if earlier is not None:
        hotter = replace(earlier, radial_conductivity=None).temperature_at(option, before * one, bearings)
        start = np.maximum(start, hotter)
    times = np.arange(0, HORIZON + STEP, STEP)
    T = step_response(ratings.method, current / n * one, times, weather, ratings.wires[option],
                      initial_temperature=start, heat_capacity=c.outer_heat + np.nan_to_num(c.core_heat))
    T = T + ratings.excess(option, T, np.full(T.shape, float(current)))
    steady = ratings.temperature_at(option, current * one, bearings)
    clears, only = (column[rows] for column in clearing(limits))
    state, left = zip(*(_one(T[b], steady[b], top, times) for b, top in zip(place, clears, strict=True)), strict=True)
    state = [_OVER.get(word, word) if to_maximum else word for word, to_maximum in zip(state, only, strict=True)]
    left = np.array(left, float)
    steady = np.where(np.isinf(steady), np.nan, steady)
    found = {"line": limits["line"][rows], "span": limits["span"][rows], "option": limits["option"][rows],
             "temperature_now_c": T[place, 0], "steady_temperature_c": steady[place],
             "clearing_temperature_c": np.where(np.isinf(clears), np.nan, clears), "time_left_s": left,
             "state": np.array(state, object)}
    # What was not assessed may be the worst of all.
    order = np.lexsort([np.nan_to_num(left, nan=np.inf), ~np.isin(found["state"], (UNASSESSED, UNKNOWN_WEATHER))])
    return {name: column[order] for name, column in found.items()}


def _one(T, steady, top, times):
    """State and time left of one span."""
    if np.isnan(top):
        return UNASSESSED, np.nan
    if np.isnan(T).any() or np.isnan(steady):
        return UNKNOWN_WEATHER, np.nan
    hotter = np.flatnonzero(T > top)
    if len(hotter):
        return (NOW, 0.0) if hotter[0] == 0 else (LATER, times[hotter[0] - 1])
    return (NEVER, np.nan) if steady <= top else (BEYOND, times[-1])
