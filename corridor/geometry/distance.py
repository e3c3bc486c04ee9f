"""The minimum height of a wire above a surface that is known piece by piece along it.

Below a wire the surface is given on a ragged row of nodes: knots at which it changes piece, and one node in the
middle of each piece, on which it is quadratic (a bilinear raster along a straight line is exactly that).
The height of the wire above it is then a parabola on each piece, up to the catenary's own third and fourth
order over a few metres (well below a micrometre), so the vertex of the parabola through the three
nodes is the minimum: nothing hides between samples.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Integers, ragged, take
from corridor.geometry.catenary import low_point

__all__ = ["Ends", "Least", "Rows", "elevations", "heights", "least_heights", "take_rows"]

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

    first: Integers
    fraction: Array
    surface: Array
    span: Array
    start: Array
    rise: Array


class Ends(NamedTuple):
    """Ends of the wire of each row in each state, where strings have moved them; (row, state).

    `span` between them along the row's direction [m]; `start` elevation [m] and `rise`; `shift` of the start along
    the row, positive towards its end [m].
    """

    span: Array
    start: Array
    rise: Array
    shift: Array


class Least(NamedTuple):
    """Minimum height [m], where along the span [-] and the wire's elevation there [m]; shape (row, state).

    All nan where no node of the row is known or the state has no answer.
    """

    height: Array
    fraction: Array
    elevation: Array


def heights(fraction: ArrayLike, span: ArrayLike, start: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return the elevation of a wire in still air at shares of its span [m], broadcasting."""
    t, S, z, h, C = (np.asarray(v, np.float64) for v in (fraction, span, start, rise, constant))
    x0 = low_point(S, h, C)
    return z + C * (np.cosh((t * S - x0) / C) - np.cosh(x0 / C))


def elevations(fraction: Array, span: Array, constant: Array, ends: Ends) -> Array:
    """Return the elevation of a wire between moved ends at shares of the row's own span [m], broadcasting."""
    return heights((fraction * span - ends.shift) / ends.span, ends.span, ends.start, ends.rise, constant)


def least_heights(rows: Rows, constant: Array, *, ends: Ends | None = None) -> Least:
    """Return the minimum height of each row's wire above its surface, in each state.

    Parameters
    ----------
    rows : Rows
    constant : ndarray, shape (row, state)
        Catenary constant [m]; nan for a state without answer.
    ends : Ends, optional
        Where strings have moved the wire's ends, of the shape of `constant`; without it they are the row's own.

    Returns
    -------
    Least

    Notes
    -----
    Rows are cut into groups of pieces. Over a group the wire hangs no lower than its maximum drop there, and the
    surface stands no higher than its highest point there: groups whose difference of both is above a height
    already found elsewhere in the row cannot hold the least, and are left out. What is left is computed exactly.
    """
    grouped = _group(rows)
    result = Least(*(np.full(constant.shape, np.nan) for _ in range(3)))
    if not len(grouped.row):
        return result
    size = max(_CHUNK // max(constant.shape[1], 1), 1)
    edges = np.flatnonzero(np.diff(grouped.row, prepend=-1))
    cuts = edges[np.flatnonzero(np.diff(edges // size, prepend=-1))]
    for a, b in zip(cuts, np.r_[cuts[1:], len(grouped.row)], strict=True):
        _fill(result, rows, take(grouped, slice(a, b)), constant, ends)
    return result


class _Groups(NamedTuple):
    """Rows cut into groups of pieces; columns of shape (group,).

    `row` that owns each, ascending, `begin`, `stop` its first and last node, `top` highest surface over the chord [m],
    -inf where all is unknown; `low`, `high` ends [-]; `first`, `last` surface over the chord there [m].
    """

    row: Integers
    begin: Integers
    stop: Integers
    top: Array
    low: Array
    high: Array
    first: Array
    last: Array


class _Curves(NamedTuple):
    """Wires of rows: their own `span`, `start`, `rise` (row,); and of each state (state, row): the low point `x0` from
    the row's start, the constant `C`, and the elevation `base` of the catenary's own zero, all [m]."""

    span: Array
    start: Array
    rise: Array
    x0: Array
    C: Array
    base: Array

    def at(self, t: Array, row: Integers) -> Array:
        """Elevations at shares t of the span, for rows `row` and all states in front."""
        extra = (None,) * (t.ndim - 1)
        C = self.C[(slice(None), row, *extra)]
        x = t * self.span[(row, *extra)] - self.x0[(slice(None), row, *extra)]
        return self.base[(slice(None), row, *extra)] + C * np.cosh(x / C)


def _curves(rows: Rows, row: Integers, constant: Array, ends: Ends | None) -> _Curves:
    """Curves of some rows."""
    S0, z0, h0 = (v[row] for v in rows[3:])
    C = constant[row].T
    S, z, h, shift = (S0, z0, h0, 0.0) if ends is None else (v[row].T for v in ends)
    x0 = low_point(S, h, C)
    return _Curves(S0, z0, h0, x0 + shift, C, z - C * np.cosh(x0 / C))


def _group(rows: Rows) -> _Groups:
    pieces = np.maximum(np.diff(rows.first) // 2, 0)
    count = -(-pieces // _GROUP)
    row, place = ragged(count)
    begin = rows.first[row] + 2 * _GROUP * place
    stop = np.minimum(begin + 2 * _GROUP, rows.first[row + 1] - 1)
    nodes = np.diff(rows.first)
    over = rows.surface - (np.repeat(rows.start, nodes) + np.repeat(rows.rise, nodes) * rows.fraction)
    bend = _bends(over, rows.first, nodes)
    top = _most(over, begin, stop) + np.fmax(_most(bend, begin, stop), 0.0)
    return _Groups(row, begin, stop, np.where(np.isnan(top), -np.inf, top), rows.fraction[begin], rows.fraction[stop],
                   over[begin], over[stop])


def _bends(over: Array, first: Integers, nodes: Integers) -> Array:
    """How far a parabola may rise above its nodes [m]: an eighth of its bend, at middle nodes; nan at knots."""
    bend = np.full(len(over), np.nan)
    inner = bend[1:-1]
    np.add(over[:-2], over[2:], out=inner)
    inner -= 2 * over[1:-1]
    np.abs(inner, out=inner)
    inner /= 8
    odd = np.zeros(len(over), bool)
    odd[1::2] = True
    bend[odd == np.repeat((first[:-1] % 2).astype(bool), nodes)] = np.nan
    return bend


def _most(values: Array, begin: Integers, stop: Integers) -> Array:
    """Maximum known value from each `begin` to its `stop`, nan where none is known."""
    if not len(begin):
        return np.zeros(0)
    return np.fmax.reduceat(np.append(values, np.nan), np.stack([begin, stop + 1], axis=1).ravel())[::2]


def _fill(result: Least, rows: Rows, groups: _Groups, constant: Array, ends: Ends | None) -> None:
    """Fill in the rows that own the groups: all groups of each."""
    new = np.diff(groups.row, prepend=-1) > 0
    begin, local = np.flatnonzero(new), np.cumsum(new) - 1
    owner = groups.row[begin]
    curves = _curves(rows, owner, constant, ends)
    chosen = _candidates(groups, local, begin, curves)
    if not len(chosen):
        return
    groups, local = take(groups, chosen), local[chosen]
    value, where = (np.empty((len(curves.C), len(chosen))) for _ in range(2))
    step = max(_CHUNK // (len(curves.C) * (2 * _GROUP + 1)), 1)
    for a in range(0, len(chosen), step):
        some = slice(a, a + step)
        value[:, some], where[:, some] = _least(rows, take(groups, some), local[some], curves)
    _best(result, owner, local, value, where, curves)


def _candidates(groups: _Groups, local: Integers, begin: Integers, curves: _Curves) -> Integers:
    """Groups that may hold the minimum height of their row in some state.

    Drops are counted from the row's own chord. A wire is convex, so its drop is greatest at one end of the group, or
    where the wire runs parallel to the chord.
    """
    S, z, h = curves.span, curves.start, curves.rise
    peak = (curves.x0 + curves.C * np.arcsinh(h / S)) / S
    every = np.arange(len(S))
    deepest = z + h * peak - _row_at(curves, peak, every)
    drop = [z[local] + h[local] * t - curves.at(t, local) for t in (groups.low, groups.high)]
    peak = peak[:, local]
    drop_max = np.where((peak > groups.low) & (peak < groups.high), deepest[:, local], np.maximum(*drop))
    known = np.fmin(-drop[0] - groups.first, -drop[1] - groups.last)
    known = np.where(np.isnan(known), np.inf, known)
    bound = np.minimum.reduceat(known, begin, axis=1)[:, local]
    with np.errstate(invalid="ignore"):
        may = -drop_max - groups.top <= bound + 1e-9
    return np.flatnonzero(may.any(axis=0) & np.isfinite(groups.top))


def _row_at(curves: _Curves, t: Array, row: Integers) -> Array:
    """Elevations at places (state, row) of their own in every state."""
    C = curves.C[:, row]
    return curves.base[:, row] + C * np.cosh((t * curves.span[row] - curves.x0[:, row]) / C)


def _least(rows: Rows, groups: _Groups, local: Integers, curves: _Curves) -> tuple[Array, Array]:
    """Minimum height over each group, and where: both (state, group)."""
    node = np.minimum(groups.begin[:, None] + np.arange(2 * _GROUP + 1), groups.stop[:, None])
    t = rows.fraction[node]
    f = curves.at(t, local)
    f -= rows.surface[node]
    left, middle, right = f[..., :-1:2], f[..., 1::2], f[..., 2::2]
    bend = left + right - 2 * middle
    lean = (left - right) / 4
    with np.errstate(invalid="ignore", divide="ignore"):
        # Vertex of the parabola through three nodes, in half pieces from the middle.
        place = np.clip(np.where(bend > 0, 2 * lean / bend, np.sign(lean)), -1, 1)
    value = middle - 2 * lean * place + bend / 2 * place**2
    if np.isnan(value).any():
        value, place = _lone_nodes(value, place, left, middle, right)
    piece = value.argmin(axis=-1)[..., None]
    place = np.take_along_axis(place, piece, -1)[..., 0]
    every, piece = np.arange(len(t)), piece[..., 0]
    middle_t, half = t[every, 2 * piece + 1], (t[every, 2 * piece + 2] - t[every, 2 * piece]) / 2
    return np.take_along_axis(value, piece[..., None], -1)[..., 0], middle_t + place * half


def _lone_nodes(value: Array, place: Array, left: Array, middle: Array, right: Array) -> tuple[Array, Array]:
    """On pieces that are not known whole, the least of their known nodes; inf where none is."""
    nodes = np.stack([left, middle, right])
    nodes = np.where(np.isnan(nodes), np.inf, nodes)
    unknown = np.isnan(value)
    return np.where(unknown, nodes.min(axis=0), value), np.where(unknown, nodes.argmin(axis=0) - 1.0, place)


def _best(result: Least, owner: Integers, local: Integers, value: Array, where: Array, curves: _Curves) -> None:
    """Best group of every row and state, put into the result."""
    begin = np.flatnonzero(np.diff(local, prepend=-1))
    repeat = np.diff(np.r_[begin, len(local)])
    least = np.minimum.reduceat(value, begin, axis=1)
    index = np.where(value == np.repeat(least, repeat, axis=1), np.arange(len(local)), len(local))
    at = np.minimum.reduceat(index, begin, axis=1)
    place = np.take_along_axis(where, np.minimum(at, len(local) - 1), axis=1)
    known, rows = np.isfinite(least), local[begin]
    elevation = _row_at(curves, place, rows)
    for whole, some in zip(result, (least, place, elevation), strict=True):
        whole[owner[rows]] = np.where(known, some, np.nan).T


def take_rows(rows: Rows, chosen: Integers) -> Rows:
    """Return some rows of `Rows`, in the given order; `chosen` holds their indices."""
    count = np.diff(rows.first)[chosen]
    first = np.r_[0, np.cumsum(count)]
    node = np.repeat(rows.first[chosen] - first[:-1], count) + np.arange(first[-1])
    return Rows(first, rows.fraction[node], rows.surface[node],
                rows.span[chosen], rows.start[chosen], rows.rise[chosen])
