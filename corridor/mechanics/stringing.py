"""Stringing limits: how tight a section may be strung, and which limit says so.

Each limit names a state (temperature, load, initial or final) and a bound there: a maximum tension at any
support of the section, or a catenary constant. In its own state each limit alone would give one unstressed
length; the longest of them respects every limit, and its limit governs.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Integers, Number
from corridor.geometry.catenary import end_tension_ratios
from corridor.mechanics.elongation import Law
from corridor.mechanics.ruling_span import unstressed_excess

__all__ = [
    "greatest_tension",
    "horizontal_tension_for",
    "least_tension",
    "limit_tensions",
    "loaded_plane",
    "longest",
]

_ITERATIONS = 60


def loaded_plane(span: ArrayLike, rise: ArrayLike, weight: Number, wind: Number) -> tuple[Array, Array]:
    """Return span and rise of a wire in the plane of its load [m], for wind normal to the span.

    Parameters
    ----------
    span, rise : array_like
        Horizontal distance and height of the right end above the left [m].
    weight, wind : array_like
        Vertical and transverse load w, p [N/m], `|q| = hypot(w, p)`.

    Returns
    -------
    span, rise : ndarray
        `h' = h w/|q|` and `S' = sqrt(S^2 + h^2 - h'^2)`.
    """
    S, h = np.asarray(span, float), np.asarray(rise, float)
    tilted = h * weight / np.hypot(weight, wind)
    return np.sqrt(S**2 + h**2 - tilted**2), tilted


def greatest_tension(horizontal_tension: ArrayLike, spans: ArrayLike, rises: ArrayLike, weight: ArrayLike,
                     wind: ArrayLike) -> Array:
    """Return the maximum tension at any support of a section [N].

    Parameters
    ----------
    horizontal_tension, weight, wind : array_like, shape (...)
    spans, rises : array_like, shape (..., span)
        Of the section's spans [m]; nan fills short sections.
    """
    H = np.asarray(horizontal_tension, float)[..., None]
    w, p = np.asarray(weight, float)[..., None], np.asarray(wind, float)[..., None]
    S, h = loaded_plane(spans, rises, w, p)
    with np.errstate(over="ignore", invalid="ignore"):
        left, right = end_tension_ratios(S, h, H / np.hypot(w, p))
        return np.fmax.reduce(H * np.fmax(left, right), axis=-1)


def horizontal_tension_for(limit: ArrayLike, spans: ArrayLike, rises: ArrayLike, weight: ArrayLike,
                           wind: ArrayLike) -> Array:
    """Return the H at which the maximum tension of a section equals a limit [N].

    The taut solution of the two; nan where the spans are so heavy that no wire could hang within the limit.

    Parameters
    ----------
    limit : array_like, shape (...)
        Tension [N].
    spans, rises, weight, wind
        As in `greatest_tension`.
    """
    limit = np.asarray(limit, float)
    H = np.broadcast_to(limit, np.broadcast_shapes(limit.shape, np.shape(spans)[:-1])).copy()
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        for _ in range(_ITERATIONS):
            T = greatest_tension(H, spans, rises, weight, wind)
            new = H * limit / T
            moves = np.abs(new - H) > 1e-12 * limit
            if not moves.any():
                break
            # What has come to rest stays there, however long its neighbours take.
            H = np.where(moves, new, H)
        over = np.asarray(greatest_tension(H, spans, rises, weight, wind) / limit - 1)
        # Near the least that the section can be strung with, that creeps.
        near = (np.abs(over) >= 1e-8) & (np.abs(over) < 0.1)
        if near.any():
            some = _some_of(near, H.shape, spans, rises, weight, wind)
            H[near] = _taut(np.broadcast_to(limit, H.shape)[near], *some)
            over[near] = greatest_tension(H[near], *some) / np.broadcast_to(limit, H.shape)[near] - 1
    return np.where(np.abs(over) < 1e-8, H, np.nan)


def _some_of(index: Booleans, shape: tuple[int, ...], spans: ArrayLike, rises: ArrayLike, weight: ArrayLike,
             wind: ArrayLike) -> list[Array]:
    """Some sections of a batch of this shape."""
    n = np.shape(spans)[-1]
    return [*(np.broadcast_to(v, (*shape, n))[index] for v in (spans, rises)),
            *(np.broadcast_to(v, shape)[index] for v in (weight, wind))]


def _taut(limit: Array, spans: Array, rises: Array, weight: Array, wind: Array) -> Array:
    """H by halving between where the maximum tension is least and the limit."""
    low, high = _slackest(spans, rises, weight, wind), limit
    for _ in range(_ITERATIONS):
        middle = np.sqrt(low * high)
        below = greatest_tension(middle, spans, rises, weight, wind) < limit
        low, high = np.where(below, middle, low), np.where(below, high, middle)
    return high


def least_tension(spans: ArrayLike, rises: ArrayLike, weight: ArrayLike, wind: ArrayLike) -> tuple[Array, Integers]:
    """Return the least that the maximum tension of a section can be, however tight it is strung, and where.

    Slacker than there, the wire pulls more by its own weight. A limit below that leaves no wire.

    Parameters
    ----------
    spans, rises, weight, wind
        As in `greatest_tension`.

    Returns
    -------
    tension : ndarray
        [N]
    place : ndarray of int
        Index of the span at whose support it is.

    Notes
    -----
    Golden sections in ln H; at each support the tension falls with H as far as its least, and rises beyond. Of a level
    span it is `0.754 q S`, at `H = 0.417 q S`.

    Examples
    --------
    >>> tension, place = least_tension([200.0, 300.0], [0.0, 0.0], 10.0, 0.0)
    >>> round(float(tension) / 3000, 4), int(place)
    (0.7544, 1)
    """
    spans, rises, weight, wind = (np.asarray(v, float) for v in (spans, rises, weight, wind))
    H = _slackest(spans, rises, weight, wind)[..., None]
    each = greatest_tension(H, spans[..., None], rises[..., None], weight[..., None], wind[..., None])
    return np.fmax.reduce(each, axis=-1), np.where(np.isnan(each), -np.inf, each).argmax(axis=-1)


def _slackest(spans: Array, rises: Array, weight: Array, wind: Array) -> Array:
    """H at which the maximum tension of a section is least [N]."""
    longest = np.fmax.reduce(np.hypot(spans, rises), axis=-1) * np.hypot(weight, wind)
    low, high = np.log(longest / 50), np.log(longest * 50)
    share = (np.sqrt(5) - 1) / 2
    for _ in range(_ITERATIONS):
        inner, outer = high - share * (high - low), low + share * (high - low)
        falls = greatest_tension(np.exp(outer), spans, rises, weight, wind) < greatest_tension(
            np.exp(inner), spans, rises, weight, wind)
        low, high = np.where(falls, inner, low), np.where(falls, high, outer)
    return np.exp((low + high) / 2)


def limit_tensions(bounds: Array, is_constant: ArrayLike, spans: ArrayLike, rises: ArrayLike, weight: ArrayLike,
                   wind: ArrayLike) -> Array:
    """Return the horizontal tension of each limit in its own state [N], nan where it cannot be met.

    The law of elongation does not matter: the tension of a limit does not depend on it, the unstressed length does.

    Parameters
    ----------
    bounds : array_like, shape (..., limit)
        Tensions [N] or catenary constants [m]; nan where there is no such limit.
    is_constant : array_like of bool, shape (..., limit)
    spans, rises : array_like, shape (..., 1, span)
        Of the section [m].
    weight, wind : array_like, shape (..., limit)
        Loads [N/m] of the limit's state.
    """
    by_tension = horizontal_tension_for(np.where(is_constant, np.nan, bounds), spans, rises, weight, wind)
    return np.where(is_constant, bounds * np.hypot(weight, wind), by_tension)


def longest(horizontal_tension: ArrayLike, given: Booleans, span: Number, load: Number, temperature: ArrayLike,
            part: Law) -> tuple[Array, Integers]:
    """Return the longest of the unstressed lengths that limits ask for, and which limit that is.

    Parameters
    ----------
    horizontal_tension, load, temperature : array_like, shape (..., limit)
        H [N], load [N/m] and temperature [°C] of each limit's state.
    given : array_like of bool, shape (..., limit)
        False where there is no such limit.
    span : array_like, shape (..., 1)
        Ruling span [m].
    part : TwoPart or Curved of arrays (..., limit)
        In the limit's condition, initial or final.

    Returns
    -------
    excess : ndarray, shape (...)
        `L0/S - 1`; nan where a limit cannot be met at all.
    governing : ndarray of int, shape (...)
        Index of the governing limit; -1 where there is none.
    """
    excess = unstressed_excess(span, horizontal_tension, load, temperature, part)
    unmet = (given & ~np.isfinite(excess)).any(axis=-1) | ~given.any(axis=-1)
    ranked = np.where(given & np.isfinite(excess), excess, -np.inf)
    governing = np.where(unmet, -1, ranked.argmax(axis=-1))
    return np.where(unmet, np.nan, ranked.max(axis=-1)), governing
