"""The way of a wire through its blow: where it hangs at any share of the wind, to either side.

In still air a way is one position. In wind the wire is hung, in exact equilibrium, at even steps of its swing; between
them both its ends and its catenary constant are polynomials of the swing, and the load is known. So the wire is a
catenary in the plane of its load at every swing. Pieces are halved until the wire that is hung in between lies within
`TOLERANCE` of that. The way of a wire depends on that wire alone.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from corridor.geometry.catenary import Plane, plane_of, points
from corridor.line.hang import Bools, Floats, Ints, Model, States, bare_states, case_states, hang, pressure_share

__all__ = ["NODES", "TOLERANCE", "Nodes", "WirePaths", "bare_paths", "follow"]

#: How far a wire may be off the way that stands for it [m]. The least of distances is off by no more.
TOLERANCE = 2e-4
#: Nodes of a piece, at even steps; where in it the wire is hung once more to see how far off it is.
NODES = 5
_BETWEEN = (0.125, 0.875)
#: Ends of the pieces that a way begins with, and the least width of a piece [-]: below that it keeps its error.
_PIECES, _THINNEST = ((-1.0, 0.0), (0.0, 1.0)), 1 / 16
#: Places along a wire at which it is looked how far off it is.
_PLACES = np.array([0.0, 0.25, 0.5, 0.75, 1.0])


class Nodes(NamedTuple):
    """Wires at single swings; columns of shape (row,) or (row, 3): `path`, `swing`, `start`, `end` in the frame of the
    span [m], catenary `constant` [m], `load` [N/m]."""

    path: Ints
    swing: Floats
    start: Floats
    end: Floats
    constant: Floats
    load: Floats

    def take(self, index: ArrayLike) -> "Nodes":
        """Return some rows."""
        return Nodes(*(field[index] for field in self))

    @property
    def plane(self) -> Plane:
        """The plane of every wire."""
        return plane_of(self.start, self.end, self.load)

    def points(self, share: ArrayLike) -> Floats:
        """Return places of the wires (row, place, 3) [m] at shares (place,) or (row, place)."""
        return points(self.start, self.plane, self.constant, share)


@dataclass(frozen=True)
class WirePaths:
    """Ways of wires, columns of shape (path,), and the pieces they are made of, (piece,).

    `wire`, `option`, `case` indices; `temperature` of the conductor [degC]; `exact` whether it is in equilibrium;
    `windy` whether there is wind; `partly` whether no wire hangs in part of the wind though one does in all of it;
    `error` by how much a wire may be off where the pieces are thinnest [m].
    `path` of every piece, in order; swings `low`, `high` at its ends; `weight`, `wind` of the full blow [N/m]; at its
    nodes `start`, `end` (piece, NODES, 3) in the frame of the span [m] and catenary `constant` (piece, NODES) [m].
    """

    wire: Ints
    option: Ints
    case: Ints
    temperature: Floats
    exact: Bools
    windy: Bools
    partly: Bools
    error: Floats
    path: Ints
    low: Floats
    high: Floats
    weight: Floats
    wind: Floats
    start: Floats
    end: Floats
    constant: Floats

    def __len__(self) -> int:
        return len(self.wire)

    @property
    def first(self) -> Ints:
        """First piece of each path, and the number of pieces."""
        return np.searchsorted(self.path, np.arange(len(self) + 1))

    def take(self, chosen: ArrayLike) -> "WirePaths":
        """Return some of the paths, in order; `chosen` is True for them, or their ascending indices."""
        keep = np.zeros(len(self), bool)
        keep[chosen] = True
        number, piece = np.cumsum(keep) - 1, keep[self.path]
        own = {f.name: getattr(self, f.name)[keep] for f in fields(self)[:8]}
        rest = {f.name: getattr(self, f.name)[piece] for f in fields(self)[8:]}
        return WirePaths(**own, **(rest | {"path": number[rest["path"]]}))

    def at(self, piece: Ints, swing: Floats) -> Nodes:
        """Return the wires of pieces at swings of their own, of one shape (row, ...)."""
        piece = np.asarray(piece).reshape(-1, *(1,) * (np.ndim(swing) - 1))
        width = (self.high - self.low)[piece]
        u = np.divide(swing - self.low[piece], width, out=np.zeros(np.shape(swing)), where=width > 0)
        factor = _through(u)
        piece = np.broadcast_to(piece, u.shape)
        start, end, constant = ((factor[..., None] * v[piece]).sum(axis=-2) if v.ndim == 3 else
                                (factor * v[piece]).sum(axis=-1) for v in (self.start, self.end, self.constant))
        p = pressure_share(swing) * self.wind[piece]
        load = np.stack([np.zeros_like(p), p, -self.weight[piece]], axis=-1)
        return Nodes(self.path[piece], np.asarray(swing, float), start, end, constant, load)

    def places(self, piece: Ints, swing: Floats, share: Floats) -> Floats:
        """Return places of wires in the frames of their spans [m].

        Parameters
        ----------
        piece : ndarray of int, shape (row,)
        swing : ndarray, shape (row, swing)
            Within the piece.
        share : ndarray, shape (row, place)
            Place along the wire [-].

        Returns
        -------
        ndarray, shape (row, swing, place, 3)
        """
        return self.at(piece, swing).points(share[:, None])

    def nodes(self) -> Nodes:
        """Return the wires at the nodes of all pieces, each once: by path, from the left to the right."""
        node = np.arange(NODES)
        swing = self.low[:, None] + (self.high - self.low)[:, None] * node / (NODES - 1)
        # The last node of a piece is the first of the next one of its path; a way in still air has one alone.
        follows = np.r_[self.path[1:] == self.path[:-1], False] & np.r_[self.low[1:] == self.high[:-1], False]
        keep = ~(follows[:, None] & (node == NODES - 1)) & ((self.high > self.low)[:, None] | (node == 0))
        piece, at = np.nonzero(keep)
        p = pressure_share(swing[piece, at]) * self.wind[piece]
        load = np.stack([np.zeros_like(p), p, -self.weight[piece]], axis=-1)
        return Nodes(self.path[piece], swing[piece, at], self.start[piece, at], self.end[piece, at],
                     self.constant[piece, at], load)

    def piece_of(self, path: Ints, swing: Floats) -> Ints:
        """Return the piece of each path that holds a swing, or the nearest one."""
        first = self.first
        at = np.searchsorted(2.5 * self.path + self.low, 2.5 * path + np.maximum(swing, -1), side="right") - 1
        return np.clip(at, first[path], first[path + 1] - 1)


def _through(u: Floats) -> Floats:
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

    path: Ints
    low: Floats
    high: Floats
    start: Floats
    end: Floats
    constant: Floats
    error: Floats


def follow(model: Model, wire: Ints, option: Ints, case: Ints, temperature: ArrayLike | None = None) -> WirePaths:
    """Return the ways of wires in cases of the study, of those that hang in the full wind.

    Parameters
    ----------
    model : Model
    wire, option, case : ndarray of int, shape (row,)
    temperature : array_like, shape (row,), optional
        Of the conductor [degC]; default: that of the case.
    """
    own = model.strung.temperature[model.groups.of_wire_span[wire], option, case]
    T = own if temperature is None else np.broadcast_to(np.asarray(temperature, float), wire.shape)
    load = model.weight[wire, option, case], model.wind[wire, option, case]

    def states(rows: Ints, swing: Floats) -> States:
        return case_states(model, wire[rows], option[rows], case[rows], swing, T[rows])

    return _made(model, states, _Asked(wire, option, case, T, *load))


def bare_paths(model: Model, wire: Ints, option: Ints, case: int, temperature: Floats) -> WirePaths:
    """Return the ways of bare wires in still air, final, of those that hang; they go by the name of a case (index)."""
    def states(rows: Ints, swing: Floats) -> States:
        return bare_states(model, wire[rows], option[rows], temperature[rows])

    weight = model.strung.bare_weight[model.groups.of_wire_span[wire], option]
    return _made(model, states, _Asked(wire, option, np.full(len(wire), case), temperature, weight, 0.0 * weight))


class _Asked(NamedTuple):
    """What is asked for: names, temperature, and the load of the full blow [N/m]; columns (row,)."""

    wire: Ints
    option: Ints
    case: Ints
    temperature: Floats
    weight: Floats
    wind: Floats


#: Hangs rows at a swing each.
_States = Callable[[Ints, Floats], States]


def _made(model: Model, states: _States, asked: _Asked) -> WirePaths:
    """The ways of what is asked for."""
    still, blown = np.flatnonzero(asked.wind == 0), np.flatnonzero(asked.wind > 0)
    one = _hung(model, states, still[:, None], np.zeros((len(still), 1)))
    made = [_Pieces(still, *np.zeros((2, len(still))), *(np.repeat(v, NODES, axis=1) for v in one),
                    np.zeros(len(still)))]
    low, high = np.array(_PIECES).T
    pieces = _pieces(model, states, np.repeat(blown, len(low)), np.tile(low, len(blown)), np.tile(high, len(blown)),
                     asked)
    while len(pieces.path):
        rough = (pieces.error > TOLERANCE) & (pieces.high - pieces.low > _THINNEST)
        made.append(_Pieces(*(v[~rough] for v in pieces)))
        path, low, high = pieces.path[rough], pieces.low[rough], pieces.high[rough]
        middle = (low + high) / 2
        pieces = _pieces(model, states, np.tile(path, 2), np.r_[low, middle], np.r_[middle, high], asked)
    return _joined(model, _Pieces(*(np.concatenate(v) for v in zip(*made, strict=True))), asked)


def _hung(model: Model, states: _States, rows: Ints, swing: Floats) -> tuple[Floats, Floats, Floats]:
    """Ends and constants of rows at swings, of one shape (row, swing)."""
    rows, swing = np.broadcast_arrays(rows, swing)
    if not rows.size:
        return np.zeros((*rows.shape, 3)), np.zeros((*rows.shape, 3)), np.zeros(rows.shape)
    hung = hang(model, states(rows.ravel(), swing.ravel()))
    return hung.start.reshape(*rows.shape, 3), hung.end.reshape(*rows.shape, 3), hung.constant.reshape(rows.shape)


def _pieces(model: Model, states: _States, path: Ints, low: Floats, high: Floats, asked: _Asked) -> _Pieces:
    """Pieces hung at their nodes, and how far off they are in between."""
    width = (high - low)[:, None]
    nodes = low[:, None] + width * np.linspace(0, 1, NODES)
    between = low[:, None] + width * np.array(_BETWEEN)
    start, end, constant = _hung(model, states, path[:, None], np.concatenate([nodes, between], axis=1))
    made = _Pieces(path, low, high, start[:, :NODES], end[:, :NODES], constant[:, :NODES], np.zeros(len(path)))
    factor = _through(np.array(_BETWEEN))
    off = [np.einsum("bn,pn...->pb...", factor, v) for v in made[3:6]]
    load = asked.weight[path], pressure_share(between) * asked.wind[path, None]
    return made._replace(error=_apart(load, (start[:, NODES:], end[:, NODES:], constant[:, NODES:]), off))


def _apart(load: tuple[Floats, Floats], hung: Sequence[Floats], taken: Sequence[Floats]) -> Floats:
    """Greatest distance of wires as they hang from the ways that stand for them (piece,) [m], 0 where unknown."""
    w, p = load
    q = np.stack([np.zeros_like(p), p, np.broadcast_to(-w[:, None], p.shape)], axis=-1)
    places = [points(start, plane_of(start, end, q), C, _PLACES) for start, end, C in (hung, taken)]
    return np.nan_to_num(np.linalg.norm(places[0] - places[1], axis=-1).max(axis=(1, 2), initial=0.0))


def _joined(model: Model, pieces: _Pieces, asked: _Asked) -> WirePaths:
    """The ways of all rows that have one, with their pieces in order."""
    order = np.lexsort((pieces.low, pieces.path))
    p = _Pieces(*(v[order] for v in pieces))
    known = np.isfinite(p.constant + p.start.sum(axis=-1) + p.end.sum(axis=-1)).all(axis=1)
    rows = len(asked.wire)
    outer, holes, error = np.zeros((rows, 2), bool), np.zeros(rows, bool), np.zeros(rows)
    still = p.low == p.high
    for side, (tip, node) in enumerate(((still | (p.low == -1), 0), (still | (p.high == 1), -1))):
        outer[p.path[tip], side] = np.isfinite(p.constant[tip, node] + p.start[tip, node, 2] + p.end[tip, node, 2])
    holes[p.path[~known]] = True
    np.maximum.at(error, p.path, p.error)
    hangs = outer.all(axis=1)
    keep = known & hangs[p.path]
    of = p.path[keep]
    exact = model.exact[model.place_of(asked.wire[hangs])[0]]
    return WirePaths(*(v[hangs] for v in asked[:4]), exact, asked.wind[hangs] > 0, holes[hangs], error[hangs],
                     (np.cumsum(hangs) - 1)[of], p.low[keep], p.high[keep], asked.weight[of], asked.wind[of],
                     p.start[keep], p.end[keep], p.constant[keep])
