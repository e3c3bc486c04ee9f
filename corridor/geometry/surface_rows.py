"""Ragged surface profiles: the surface at a place, and the part of a profile between two places.

A profile row holds knots and middles in turn (see `corridor.geometry.distance`); on each piece between two
knots the surface is quadratic, so three nodes give it at any place, exactly.
"""

import numpy as np

from corridor.arrays import Array, Integers, ragged

__all__ = ["parts_of_rows", "surface_at"]


def _key(first: Integers, fraction: Array) -> Array:
    """Nodes as one ascending number: row index times two plus place."""
    row, _ = ragged(np.diff(first))
    return 2.0 * row + fraction


def surface_at(first: Integers, fraction: Array, surface: Array, row: Integers, place: Array) -> Array:
    """Return the surface of profile rows at places [m], nan where a node of the piece is unknown.

    Parameters
    ----------
    first, fraction, surface
        Ragged profile, as in `corridor.geometry.distance.Rows`.
    row : ndarray of int, shape (n,)
    place : ndarray, shape (n,)
        Share of the span, 0 to 1 [-].
    """
    node = np.searchsorted(_key(first, fraction), 2.0 * row + place, side="right") - 1
    piece = np.clip((node - first[row]) // 2, 0, (first[row + 1] - first[row] - 3) // 2)
    left = first[row] + 2 * piece
    return _quadratic(fraction, surface, left, place)


def _quadratic(fraction: Array, surface: Array, left: Integers, place: Array) -> Array:
    width = fraction[left + 2] - fraction[left]
    s = np.where(width > 0, (place - fraction[left]) / np.where(width > 0, width, 1), 0)
    a, m, b = surface[left], surface[left + 1], surface[left + 2]
    value = a * (1 - s) * (1 - 2 * s) + 4 * m * s * (1 - s) + b * s * (2 * s - 1)
    # A knot is known where what is on either side of it is.
    return np.where(s == 0, a, np.where(s == 1, b, value))


def parts_of_rows(first: Integers, fraction: Array, surface: Array, row: Integers, low: Array,
                  high: Array) -> tuple[Integers, Array, Array]:
    """Return the parts of profile rows between two places, as ragged rows of their own.

    Parameters
    ----------
    first, fraction, surface
        Ragged profile.
    row : ndarray of int, shape (part,)
    low, high : ndarray, shape (part,)
        Ends of the part, shares of the span; they may coincide.

    Returns
    -------
    first : ndarray of int, shape (part + 1,)
    fraction, surface : ndarray, shape (node,)
    """
    owner, number = ragged(np.diff(first))
    knot = np.flatnonzero(number % 2 == 0)
    knot_key = 2.0 * owner[knot] + fraction[knot]
    begin = np.searchsorted(knot_key, 2.0 * row + low, side="right")
    stop = np.maximum(np.searchsorted(knot_key, 2.0 * row + high, side="left"), begin)
    inner = stop - begin
    offsets = np.r_[0, np.cumsum(2 * inner + 3)]
    place = np.empty(offsets[-1])
    place[offsets[:-1]] = low
    place[offsets[1:] - 1] = high
    own, within = ragged(inner)
    place[offsets[own] + 2 * (within + 1)] = fraction[knot[begin[own] + within]]
    part, number = ragged(2 * inner + 3)
    index = np.flatnonzero(number % 2 == 1)
    place[index] = (place[index - 1] + place[index + 1]) / 2
    return offsets, place, surface_at(first, fraction, surface, row[part], place)
