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
#: Pieces in a group.
_GROUP = 12


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

    Notes
    -----
    Rows are cut into groups of pieces. Over a group the wire hangs no lower than its greatest drop there, and the
    surface stands no higher than its highest point there: groups whose difference of both is above a height
    already found elsewhere in the row cannot hold the least, and are left out. What is left is computed exactly.
    """
    result = Least(*(np.full(constant.shape, np.nan) for _ in range(3)))
    for low, high in _parts(rows.first, constant.shape[1]):
        part = Rows(rows.first[low:high + 1], rows.fraction, rows.surface,
                    *(v[low:high] for v in rows[3:]))
        for whole, some in zip(result, _least_of_part(part, constant[low:high]), strict=True):
            whole[low:high] = some
    return result


def _parts(first, states):
    """Ranges of rows whose groups' ends fill a chunk."""
    size = np.maximum(_CHUNK * _GROUP // max(states, 1), 1)
    number = (first[:-1] - first[0]) // size if len(first) > 1 else first[:0]
    edges = np.flatnonzero(np.diff(number)) + 1
    bounds = np.r_[0, edges, len(number)]
    return [(a, b) for a, b in zip(bounds[:-1], bounds[1:], strict=True) if b > a]


class _Groups(NamedTuple):
    """Groups of pieces: `row` that owns each, `node` (group, 2 pieces + 1) indices, `top` highest surface over the
    chord [m], -inf where all is unknown; `low`, `high` ends [-]; `first`, `last` surface over the chord there [m]."""

    row: np.ndarray
    node: np.ndarray
    top: np.ndarray
    low: np.ndarray
    high: np.ndarray
    first: np.ndarray
    last: np.ndarray


def _group(rows):
    pieces = np.maximum(np.diff(rows.first) // 2, 0)
    count = -(-pieces // _GROUP)
    row = np.repeat(np.arange(len(pieces)), count)
    place = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    node = np.minimum(rows.first[row, None] + 2 * _GROUP * place[:, None] + np.arange(2 * _GROUP + 1),
                      rows.first[row + 1, None] - 1)
    t = rows.fraction[node]
    over = rows.surface[node] - (rows.start[row, None] + rows.rise[row, None] * t)
    # Between its nodes a parabola rises above them by an eighth of its bend at most.
    bend = np.abs(over[:, :-1:2] + over[:, 2::2] - 2 * over[:, 1::2]) / 8
    top = np.fmax.reduce(over, axis=1) + np.fmax.reduce(bend, axis=1, initial=0.0)
    return _Groups(row, node, np.where(np.isnan(top), -np.inf, top), t[:, 0], t[:, -1], over[:, 0], over[:, -1])


def _least_of_part(rows, constant):
    groups = _group(rows)
    shape = constant.T.shape
    blank = [np.full(shape, np.nan).T for _ in range(3)]
    if not groups.row.size:
        return blank
    chosen = _candidates(rows, groups, constant)
    if not len(chosen):
        return blank
    node, row = groups.node[chosen], groups.row[chosen]
    value, where = (np.empty((shape[0], len(chosen))) for _ in range(2))
    step = max(_CHUNK // (shape[0] * node.shape[1]), 1)
    for a in range(0, len(chosen), step):
        some = slice(a, a + step)
        value[:, some], where[:, some] = _least(rows, node[some], row[some], constant)
    return _best(rows, row, value, where, constant)


def _shape(rows, row):
    return [v[row] for v in (rows.span, rows.start, rows.rise)]


def _candidates(rows, groups, constant):
    """Groups that may hold the least height of their row in some state."""
    S, h, C = rows.span[:, None], rows.rise[:, None], constant
    x0 = S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
    peak = (x0 + C * np.arcsinh(h / S)) / S
    zero = np.zeros_like(S)
    deepest = h * peak - heights(peak, S, zero, h, C)
    row = groups.row
    span, rise, C = rows.span[row], rows.rise[row], constant[row].T
    drop = [rise * t - heights(t, span, 0.0, rise, C) for t in (groups.low, groups.high)]
    inside = (peak[row].T > groups.low) & (peak[row].T < groups.high)
    drop_max = np.where(inside, deepest[row].T, np.maximum(*drop))
    known = np.fmin(-drop[0] - groups.first, -drop[1] - groups.last)
    known = np.where(np.isnan(known), np.inf, known)
    begin = np.flatnonzero(np.r_[True, row[1:] != row[:-1]])
    bound = np.repeat(np.minimum.reduceat(known, begin, axis=1), np.diff(np.r_[begin, len(row)]), axis=1)
    with np.errstate(invalid="ignore"):
        may = -drop_max - groups.top <= bound + 1e-9
    return np.flatnonzero(may.any(axis=0) & np.isfinite(groups.top))


def _least(rows, node, row, constant):
    """Least height over each group, and where: both (state, group)."""
    t = rows.fraction[node]
    f = heights(t, *(v[:, None] for v in _shape(rows, row)), constant[row].T[..., None])
    f -= rows.surface[node]
    left, middle, right = f[..., :-1:2], f[..., 1::2], f[..., 2::2]
    bend = left + right - 2 * middle
    lean = (left - right) / 4
    with np.errstate(invalid="ignore", divide="ignore"):
        # Vertex of the parabola through three nodes, in half pieces from the middle.
        place = np.clip(np.where(bend > 0, 2 * lean / bend, np.sign(lean)), -1, 1)
    value = middle - 2 * lean * place + bend / 2 * place**2
    value = np.where(np.isnan(value), np.inf, value)
    piece = value.argmin(axis=-1)[..., None]
    place = np.take_along_axis(place, piece, -1)[..., 0]
    group, piece = np.arange(len(t)), piece[..., 0]
    middle_t, half = t[group, 2 * piece + 1], (t[group, 2 * piece + 2] - t[group, 2 * piece]) / 2
    return np.take_along_axis(value, piece[..., None], -1)[..., 0], middle_t + place * half


def _best(rows, row, value, where, constant):
    """Best group of every row and state."""
    begin = np.flatnonzero(np.r_[True, row[1:] != row[:-1]])
    least = np.minimum.reduceat(value, begin, axis=1)
    repeat = np.diff(np.r_[begin, len(row)])
    index = np.where(value == np.repeat(least, repeat, axis=1), np.arange(len(row)), len(row))
    at = np.minimum.reduceat(index, begin, axis=1)
    owner = row[begin]
    place = np.take_along_axis(where, np.minimum(at, len(row) - 1), axis=1)
    known = np.isfinite(least)
    result = [np.full(constant.shape, np.nan) for _ in range(3)]
    elevation = heights(place, *_shape(rows, owner), constant[owner].T)
    for whole, some in zip(result, (least, place, elevation), strict=True):
        whole[owner] = np.where(known, some, np.nan).T
    return result


def take_rows(rows, chosen):
    """Return some rows of `Rows`, in the given order; `chosen` holds their indices."""
    count = np.diff(rows.first)[chosen]
    first = np.r_[0, np.cumsum(count)]
    node = np.repeat(rows.first[chosen] - first[:-1], count) + np.arange(first[-1])
    return Rows(first, rows.fraction[node], rows.surface[node],
                rows.span[chosen], rows.start[chosen], rows.rise[chosen])
