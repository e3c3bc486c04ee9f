"""Sagging by eye: the line of sight that just touches a wire, from a place below one of its ends."""

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.geometry.catenary import low_point

__all__ = ["sight_from"]

_ITERATIONS = 60


def sight_from(span: ArrayLike, rise: ArrayLike, constant: ArrayLike, depth: ArrayLike) -> tuple[Array, Array]:
    """Return the line of sight from below the start of a wire that touches the wire from below.

    Parameters
    ----------
    span, rise : array_like
        Of the wire's ends [m].
    constant : array_like
        Catenary constant C [m].
    depth : array_like
        Of the eye below the wire's start [m].

    Returns
    -------
    slope : ndarray
        Of the line, rise over run [-]; nan where none from there touches the wire between its ends.
    far : ndarray
        How far below the wire's end the line passes there: the setting of a target [m].

    Notes
    -----
    The line through (0, -a) touches `y = C (cosh((x - x0)/C) - cosh(x0/C))` where `y - x y' = -a`. The left side falls
    from 0 as x grows, so it is found by halving.
    """
    S, h, C, a = np.broadcast_arrays(*(np.asarray(v, float) for v in (span, rise, constant, depth)))
    x0 = low_point(S, h, C)

    def curve(x: Array) -> tuple[Array, Array]:
        return C * (np.cosh((x - x0) / C) - np.cosh(x0 / C)), np.sinh((x - x0) / C)

    low, high = np.zeros_like(S), S.copy()
    for _ in range(_ITERATIONS):
        middle = (low + high) / 2
        y, slope = curve(middle)
        before = y - middle * slope > -a
        low, high = np.where(before, middle, low), np.where(before, high, middle)
    slope = curve(high)[1]
    y, last = curve(S)
    found = (a > 0) & (y - S * last <= -a)
    return np.where(found, slope, np.nan), np.where(found, y - (S * slope - a), np.nan)
