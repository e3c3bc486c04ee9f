"""The way of a wire through its blow: where it hangs at any share of the wind, to either side.

In still air a way is one position. In wind the wire is hung, in exact equilibrium, at even steps of its swing; between
them both its ends and its catenary constant are polynomials of the swing, and the load is known. So the wire is a
catenary in the plane of its load at every swing. Pieces are halved until the wire that is hung in between lies within
`TOLERANCE` of that. The way of a wire depends on that wire alone.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Integers, join, take
from corridor.geometry.catenary import Plane, plane_of, points
from corridor.line.hang import case_states, hang, pressure_share
from corridor.line.model import Model

__all__ = ["NODES", "TOLERANCE", "Nodes", "WirePaths", "follow"]

#: How far a wire may be off the way that stands for it [m]. The least of distances is off by no more.
TOLERANCE = 2e-4
#: Nodes of a piece, at even steps; where in it the wire is hung once more to see how far off it is.
NODES = 5
_BETWEEN = (0.125, 0.875)
#: Ends of the pieces that a way begins with, and the minimum width of a piece [-]: below that it keeps its error.
_PIECES, _THINNEST = ((-1.0, 0.0), (0.0, 1.0)), 1 / 16
#: Places along a wire at which it is looked how far off it is.
_PLACES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])


class Nodes(NamedTuple):
    """Wires at single swings, of shape (...) or (..., 3): `path`, `swing`, `start`, `end` in the frame of the span [m],
    catenary `constant` [m], `load` [N/m]."""

    path: Integers
    swing: Array
    start: Array
    end: Array
    constant: Array
    load: Array

    @property
    def plane(self) -> Plane:
        """The plane of every wire."""
        return plane_of(self.start, self.end, self.load)

    def points(self, share: ArrayLike) -> Array:
        """Return places of the wires (..., place, 3) [m] at shares of shape (..., place)."""
        return points(self.start, self.plane, self.constant, share)


@dataclass(frozen=True)
class WirePaths:
    """Ways of wires, columns of shape (path,), and the pieces they are made of, (piece,).

    `windy` whether there is wind; `hangs` whether there is a wire in the full wind to either side, `partly` whether
    there is none in part of the wind then: places are nan there; `error` by how much a wire may be off where the pieces
    are thinnest [m].
    `first` (path + 1,) piece of each; swings `low`, `high` at its ends; `weight`, `wind` of the full blow [N/m]; at its
    nodes `start`, `end` (piece, NODES, 3) in the frame of the span [m] and catenary `constant` (piece, NODES) [m].
    """

    windy: Booleans
    hangs: Booleans
    partly: Booleans
    error: Array
    first: Integers
    low: Array
    high: Array
    weight: Array
    wind: Array
    start: Array
    end: Array
    constant: Array

    def __len__(self) -> int:
        return len(self.windy)

    def at(self, path: Integers, swing: Array) -> Nodes:
        """Return wires at signed shares of their swing; `path` (row,), `swing` (row, ...) and the answer likewise."""
        path = np.broadcast_to(np.reshape(path, (-1, *(1,) * (np.ndim(swing) - 1))), np.shape(swing))
        piece = self._piece(path, swing)
        width = (self.high - self.low)[piece]
        u = np.divide(swing - self.low[piece], width, out=np.zeros(np.shape(swing)), where=width > 0)
        factor = _through(u)
        start, end = (np.einsum("...n,...nk->...k", factor, v[piece]) for v in (self.start, self.end))
        constant = np.einsum("...n,...n->...", factor, self.constant[piece])
        p = pressure_share(swing) * self.wind[piece]
        load = np.stack([np.zeros_like(p), p, -self.weight[piece]], axis=-1)
        return Nodes(path, np.asarray(swing, float), start, end, constant, load)

    def places(self, path: Integers, swing: Array, share: Array) -> Array:
        """Return places of wires in the frames of their spans [m].

        Parameters
        ----------
        path : ndarray of int, shape (row,)
        swing : ndarray, shape (row, swing)
            Signed share, positive to the right; in still air it does not matter.
        share : ndarray, shape (row, place)
            Place along the wire [-].

        Returns
        -------
        ndarray, shape (row, swing, place, 3)
        """
        return self.at(path, swing).points(share[:, None])

    def raised(self, by: Array) -> "WirePaths":
        """Return the ways of wires raised by so much, (path,) [m]."""
        up = np.repeat(by, np.diff(self.first))[:, None, None] * np.array([0.0, 0.0, 1.0])
        return replace(self, start=self.start + up, end=self.end + up)

    @cached_property
    def _begins(self) -> Array:
        """Where pieces begin, those of one path beyond those of the path before, ascending."""
        return 2.5 * np.repeat(np.arange(len(self)), np.diff(self.first)) + self.low

    def _piece(self, path: Integers, swing: Array) -> Integers:
        """The piece of each path that holds a swing."""
        at = np.searchsorted(self._begins, 2.5 * path + swing, side="right") - 1
        return np.clip(at, self.first[path], self.first[path + 1] - 1)


def _through(u: Array) -> Array:
    """Factors of the values at the nodes of the polynomial through them (..., NODES), by Lagrange; u from 0 to 1."""
    nodes = np.linspace(0, 1, NODES)
    factor = np.ones((*np.shape(u), NODES))
    for i in range(NODES):
        for j in range(NODES):
            if i != j:
                factor[..., i] *= (u - nodes[j]) / (nodes[i] - nodes[j])
    return factor


class _Pieces(NamedTuple):
    """Pieces of paths while they are made."""

    path: Integers
    low: Array
    high: Array
    start: Array
    end: Array
    constant: Array
    error: Array


def follow(model: Model, wire: Integers, option: Integers, case: Integers, temperature: Array) -> WirePaths:
    """Return the ways of wires in cases of the study, at temperatures of their own.

    Parameters
    ----------
    model : Model
    wire, option, case : ndarray of int, shape (row,)
    temperature : ndarray, shape (row,)
        Of the conductor [°C].
    """
    load = model.loads.weight[wire, option, case], model.loads.wind[wire, option, case]
    return _made(model, _Asked(wire, option, case, temperature, *load))


class _Asked(NamedTuple):
    """What is asked for: names, temperature, and the load of the full blow [N/m]; columns (row,)."""

    wire: Integers
    option: Integers
    case: Integers
    temperature: Array
    weight: Array
    wind: Array


def _made(model: Model, asked: _Asked) -> WirePaths:
    """The ways of what is asked for."""
    still, swung = np.flatnonzero(asked.wind == 0), np.flatnonzero(asked.wind > 0)
    one = _hung(model, asked, still[:, None], np.zeros((len(still), 1)))
    start, end, constant = (np.repeat(v, NODES, axis=1) for v in one)
    nought = np.zeros(len(still))
    made = [_Pieces(still, nought, nought, start, end, constant, nought)]
    low, high = np.array(_PIECES).T
    pieces = _pieces(model, asked, np.repeat(swung, len(low)), np.tile(low, len(swung)), np.tile(high, len(swung)))
    while len(pieces.path):
        rough = (pieces.error > TOLERANCE) & (pieces.high - pieces.low > _THINNEST)
        made.append(take(pieces, ~rough))
        path, low, high = pieces.path[rough], pieces.low[rough], pieces.high[rough]
        middle = (low + high) / 2
        pieces = _pieces(model, asked, np.tile(path, 2), np.r_[low, middle], np.r_[middle, high])
    return _joined(join(made), asked)


def _hung(model: Model, asked: _Asked, rows: Integers, swing: Array) -> tuple[Array, Array, Array]:
    """Ends and constants of rows at swings, of one shape (row, swing); nan of those of no temperature."""
    rows, swing = np.broadcast_arrays(rows, swing)
    start, end, constant = (np.full((*rows.shape, *more), np.nan) for more in ((3,), (3,), ()))
    known = np.isfinite(asked.temperature[rows])
    row = rows[known]
    if len(row):
        hung = hang(model, case_states(model, asked.wire[row], asked.option[row], asked.case[row], swing[known],
                                       asked.temperature[row]))
        start[known], end[known], constant[known] = hung.start, hung.end, hung.constant
    return start, end, constant


def _pieces(model: Model, asked: _Asked, path: Integers, low: Array, high: Array) -> _Pieces:
    """Pieces hung at their nodes, and how far off they are in between."""
    width = (high - low)[:, None]
    nodes = low[:, None] + width * np.linspace(0, 1, NODES)
    between = low[:, None] + width * np.array(_BETWEEN)
    start, end, constant = _hung(model, asked, path[:, None], np.concatenate([nodes, between], axis=1))
    made = _Pieces(path, low, high, start[:, :NODES], end[:, :NODES], constant[:, :NODES], np.zeros(len(path)))
    factor = _through(np.array(_BETWEEN))
    off = [np.einsum("bn,pn...->pb...", factor, v) for v in made[3:6]]
    load = asked.weight[path], pressure_share(between) * asked.wind[path, None]
    return made._replace(error=_apart(load, (start[:, NODES:], end[:, NODES:], constant[:, NODES:]), off))


def _apart(load: tuple[Array, Array], hung: Sequence[Array], taken: Sequence[Array]) -> Array:
    """Maximum distance of wires as they hang from the ways that stand for them (piece,) [m]: 0 where these are
    unknown, beyond all bounds where a wire that is known at its nodes hangs nowhere between them."""
    w, p = load
    q = np.stack([np.zeros_like(p), p, np.broadcast_to(-w[:, None], p.shape)], axis=-1)
    places = [points(start, plane_of(start, end, q), C, _PLACES) for start, end, C in (hung, taken)]
    off = np.linalg.norm(places[0] - places[1], axis=-1).max(axis=(1, 2), initial=0.0)
    known = np.isfinite(places[1]).all(axis=(1, 2, 3))
    return np.where(np.isnan(off), np.where(known, np.inf, 0.0), off)


def _joined(pieces: _Pieces, asked: _Asked) -> WirePaths:
    """The ways of all rows, with their pieces in order."""
    order = np.lexsort((pieces.low, pieces.path))
    p = take(pieces, order)
    known = np.isfinite(p.constant + p.start.sum(axis=-1) + p.end.sum(axis=-1))
    rows = len(asked.wire)
    tips, holes, error = np.zeros((rows, 2), bool), np.zeros(rows, bool), np.zeros(rows)
    still = p.low == p.high
    for side, (tip, node) in enumerate(((still | (p.low == -1), 0), (still | (p.high == 1), -1))):
        tips[p.path[tip], side] = known[tip, node]
    holes[p.path[~known.all(axis=1) | np.isinf(p.error)]] = True
    np.maximum.at(error, p.path, p.error)
    hangs = tips[:, 0] & tips[:, 1]
    return WirePaths(asked.wind > 0, hangs, hangs & holes, error,
                     np.searchsorted(p.path, np.arange(rows + 1)), p.low, p.high, asked.weight[p.path],
                     asked.wind[p.path], p.start, p.end, p.constant)
