"""The least height of a wire above a surface that is known piece by piece along it.

Below a wire the surface is given on a ragged row of nodes: knots at which it changes piece, and one node in the
middle of each piece, on which it is quadratic (a bilinear raster along a straight line is exactly that).
The height of the wire above it is then a parabola on each piece, up to the catenary's own third and fourth
order over a few metres (well below a micrometre), so the vertex of the parabola through the three
nodes is the minimum: nothing hides between samples.
"""

from typing import NamedTuple

import numpy as np

__all__ = ["Least", "Rows", "heights", "least_heights", "take_rows"]

#: Array elements worked on at once: a few arrays of that size stay in a core's cache.
_CHUNK = 150_000


class Rows(NamedTuple):
    """Wires over pieces of surface, one row each.

    `first` (row + 1,) offsets into `fraction` and `surface` (node,): place along the span, 0 to 1, knots and
    middles in turn, and elevation of the surface [m], nan where unknown. `span`, `start`, `rise` (row,):
    length of the span [m], elevation of the wire's start and its end above that [m].
    """

    first: np.ndarray
    fraction: np.ndarray
    surface: np.ndarray
    span: np.ndarray
    start: np.ndarray
    rise: np.ndarray


class Least(NamedTuple):
    """Least height [m], where along the span [-] and the wire's elevation there [m]; shape (row, state).

    All nan where no node of the row is known or the state has no answer.
    """

    height: np.ndarray
    fraction: np.ndarray
    elevation: np.ndarray


def heights(fraction, span, start, rise, constant):
    """Return the elevation of a wire in still air at shares of its span [m], broadcasting."""
    S, h, C = span, rise, constant
    x0 = S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
    return start + C * (np.cosh((fraction * S - x0) / C) - np.cosh(x0 / C))


def least_heights(rows, constant):
    """Return the least height of each row's wire above its surface, in each state.

    Parameters
    ----------
    rows : Rows
    constant : ndarray, shape (row, state)
        Catenary constant [m]; nan for a state without answer.

    Returns
    -------
    Least
    """
    count = np.diff(rows.first)
    order = np.argsort(count, kind="stable")
    result = Least(*(np.full(constant.shape, np.nan) for _ in range(3)))
    for chosen in _chunks(order, count, constant.shape[1]):
        nodes = rows.first[chosen, None] + np.minimum(np.arange(count[chosen].max()), count[chosen, None] - 1)
        shape = (v[chosen, None] for v in (rows.span, rows.start, rows.rise))
        least = _least(rows.fraction[nodes], rows.surface[nodes], *shape, constant[chosen])
        for whole, part in zip(result, least, strict=True):
            whole[chosen] = part
    return result


def _chunks(order, count, states):
    """Rows of like length, as many as make a chunk; rows without nodes are left out."""
    order = order[count[order] > 0]
    position = 0
    while position < len(order):
        # Rows are sorted, so the last of a chunk is its longest.
        size = max(1, _CHUNK // (states * count[order[position]]))
        while size > 1 and count[order[min(position + size, len(order)) - 1]] * size * states > 2 * _CHUNK:
            size //= 2
        yield order[position:position + size]
        position += size


def _least(t, surface, S, start, rise, constant):
    """Exact least height of a padded block: nodes (row, node), states (row, state)."""
    C = constant.T[..., None]
    f = heights(t, S, start, rise, C)
    f -= surface
    left, middle, right = f[..., :-1:2], f[..., 1::2], f[..., 2::2]
    bend = left + right - 2 * middle
    lean = (left - right) / 4
    with np.errstate(invalid="ignore", divide="ignore"):
        # Vertex of the parabola through three nodes, in half pieces from the middle.
        place = np.clip(np.where(bend > 0, 2 * lean / bend, np.sign(lean)), -1, 1)
    value = middle - 2 * lean * place + bend / 2 * place**2
    value = np.where(np.isnan(value), np.inf, value)
    piece = value.argmin(axis=-1)[..., None]
    place = np.take_along_axis(place, piece, -1)
    row = np.arange(len(t))[:, None]
    middle_t, half = t[row, 2 * piece + 1], (t[row, 2 * piece + 2] - t[row, 2 * piece]) / 2
    least, where = np.take_along_axis(value, piece, -1)[..., 0].T, (middle_t + place * half)[..., 0].T
    known = np.isfinite(least)
    elevation = heights(where, S, start, rise, constant)
    return [np.where(known, v, np.nan) for v in (least, where, elevation)]


def take_rows(rows, chosen):
    """Return some rows of `Rows`, in the given order; `chosen` holds their indices."""
    count = np.diff(rows.first)[chosen]
    first = np.r_[0, np.cumsum(count)]
    node = np.repeat(rows.first[chosen] - first[:-1], count) + np.arange(first[-1])
    return Rows(first, rows.fraction[node], rows.surface[node],
                rows.span[chosen], rows.start[chosen], rows.rise[chosen])
