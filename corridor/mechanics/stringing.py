"""Stringing limits: how tight a section may be strung, and which limit says so.

Each limit names a state (temperature, load, initial or final) and a bound there: a greatest tension at any
support of the section, or a catenary constant. In its own state each limit alone would give one unstressed
length; the longest of them respects every limit, and its limit governs.
"""

import numpy as np

from corridor.geometry.catenary import end_tension_ratios
from corridor.mechanics.ruling_span import unstressed_excess

__all__ = [
    "greatest_tension",
    "horizontal_tension_for",
    "limit_tensions",
    "loaded_plane",
    "longest",
    "string_to_limits",
]

_ITERATIONS = 60


def loaded_plane(span, rise, weight, wind):
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


def greatest_tension(horizontal_tension, spans, rises, weight, wind):
    """Return the greatest tension at any support of a section [N].

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


def horizontal_tension_for(limit, spans, rises, weight, wind):
    """Return the H at which the greatest tension of a section equals a limit [N].

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
        reached = np.abs(greatest_tension(H, spans, rises, weight, wind) / limit - 1) < 1e-8
    return np.where(reached, H, np.nan)


def string_to_limits(bounds, is_constant, spans, rises, span, weight, wind, temperature, part):
    """Return the unstressed length that respects every limit, and which limit governs.

    Parameters
    ----------
    bounds : array_like, shape (..., limit)
        Tensions [N] or catenary constants [m]; nan where there is no such limit.
    is_constant : array_like of bool, shape (..., limit)
    spans, rises : array_like, shape (..., 1, span)
        Of the section [m].
    span : array_like, shape (..., 1)
        Ruling span [m].
    weight, wind, temperature : array_like, shape (..., limit)
        Loads [N/m] and conductor temperature [degC] of the limit's state.
    part : TwoPart of arrays (..., limit)
        In the limit's condition, initial or final.

    Returns
    -------
    excess : ndarray, shape (...)
        `L0/S - 1`; nan where a limit cannot be met at all.
    governing : ndarray of int, shape (...)
        Index of the governing limit; -1 where there is none.
    """
    H = limit_tensions(bounds, is_constant, spans, rises, weight, wind)
    return longest(H, np.isfinite(bounds), span, np.hypot(weight, wind), temperature, part)


def limit_tensions(bounds, is_constant, spans, rises, weight, wind):
    """Return the horizontal tension of each limit in its own state [N], nan where it cannot be met.

    Parameters are those of `string_to_limits`. The law of elongation is not among them: the tension of a limit does
    not depend on it, the unstressed length does.
    """
    by_tension = horizontal_tension_for(np.where(is_constant, np.nan, bounds), spans, rises, weight, wind)
    return np.where(is_constant, bounds * np.hypot(weight, wind), by_tension)


def longest(horizontal_tension, given, span, load, temperature, part):
    """Return the longest of the unstressed lengths that limits ask for, and which limit that is.

    Parameters
    ----------
    horizontal_tension, load, temperature : array_like, shape (..., limit)
        H [N], load [N/m] and temperature [degC] of each limit's state.
    given : array_like of bool, shape (..., limit)
        False where there is no such limit.
    span : array_like, shape (..., 1)
    part : TwoPart or Curved of arrays (..., limit)

    Returns
    -------
    excess, governing : ndarray, shape (...)
        As of `string_to_limits`.
    """
    excess = unstressed_excess(span, horizontal_tension, load, temperature, part)
    unmet = (given & ~np.isfinite(excess)).any(axis=-1) | ~given.any(axis=-1)
    ranked = np.where(given & np.isfinite(excess), excess, -np.inf)
    governing = np.where(unmet, -1, ranked.argmax(axis=-1))
    return np.where(unmet, np.nan, ranked.max(axis=-1)), governing
