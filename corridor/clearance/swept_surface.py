"""The surface that a wire sweeps through its blow, and how far a place of the ground is from it.

The ground is solid: of a place of it counts how far a place of the wire is aside, and how far above. A wire that sags
sweeps a surface from where it is blown to the left to where it is blown to the right, in still air a line, which with
all that is above it is convex. So one place of it is the nearest to a place of the ground, and the plane through there,
normal to the way between the two, has the whole surface on its far side: what is before that plane is no nearer than
the plane is.
"""

from functools import cached_property
from typing import NamedTuple

import numpy as np

from corridor.arrays import join

__all__ = ["Feet", "SweptSurface"]

#: Nodes of the swing, where there is wind, and along a wire: between them it goes by the parabola through three.
_TURNS, _SHARES = 17, 9
#: Swings at which the first guess is looked for, as every so many nodes.
_EVERY = 4
#: Steps of Newton's method at most, and what is left of one at the last [nodes].
_STEPS, _SMALL = 32, 1e-4
#: How far off the ends of wires feet are first looked for [nodes].
_OFF_ENDS = 1 / 4
#: Rows worked on at once.
_AT_ONCE = 60_000
#: Half the width of what the last step looks at [nodes].
_CLOSE = 1 / 8


class Feet(NamedTuple):
    """The nearest places of wires, (row,): distance [m]; `turn`, `share` of it in nodes; and the unit vector from there
    to the ground (row, 3), 0 where both are one place."""

    distance: np.ndarray
    turn: np.ndarray
    share: np.ndarray
    away: np.ndarray


class SweptSurface:
    """The surfaces that wires sweep, (wire,).

    Parameters
    ----------
    ways : WirePaths
    path : ndarray of int, shape (wire,)
    windy : bool
        Whether there is wind on them.

    Attributes
    ----------
    windy : bool
    table : ndarray, shape (wire, turn, share, 3)
        Places of the wires in the frames of their spans [m], at even swings, one in still air, and shares.
    """

    def __init__(self, ways, path, windy):
        self._ways, self._path, self.windy = ways, path, windy
        turns = np.linspace(-1, 1, _TURNS) if windy else np.zeros(1)
        self._last = np.array([len(turns) - 1, _SHARES - 1])
        self.table = ways.places(path, np.tile(turns, (len(path), 1)), np.tile(np.linspace(0, 1, _SHARES),
                                                                             (len(path), 1)))

    @cached_property
    def lowest(self):
        """An elevation that no place of each wire is below, (wire,) [m]."""
        lowest = self.table[..., 2].min(axis=1)
        # Between two nodes a wire sags by less than about an eighth of the bend of three.
        return lowest.min(axis=1, initial=np.inf) - np.abs(np.diff(lowest, 2, axis=1)).max(axis=1, initial=0.0) / 4

    def first(self, wire, spot):
        """Return a guess of the feet of places (row, 3), in nodes: turn and share."""
        ends = self.table[wire, self._last[0] // 2][:, [0, -1], 0]
        share = np.clip((spot[:, 0] - ends[:, 0]) / (ends[:, 1] - ends[:, 0]), 0, 1) * self._last[1]
        turns = np.arange(0, self._last[0] + 1, _EVERY)
        # All turns are one place at an end.
        inside = np.clip(np.rint(share).astype(int), 1, self._last[1] - 1)
        place = self.table[wire[:, None], turns, inside[:, None]]
        off = place - spot[:, None]
        off[..., 2] = np.maximum(off[..., 2], 0)
        return turns[(off**2).sum(axis=-1).argmin(axis=1)].astype(float), share

    def nearest(self, wire, spot, turn, share, radius=None):
        """Return the feet of places.

        Parameters
        ----------
        wire : ndarray of int, shape (row,)
        spot : ndarray, shape (row, 3)
            In the frame of the span [m].
        turn, share : ndarray, shape (row,)
            A guess [nodes].
        radius : ndarray, shape (row,), optional
            What is level about the places reaches so far [m]: distances are from there. Default: 0.
        """
        radius = np.zeros(len(wire)) if radius is None else radius
        cuts = range(_AT_ONCE, len(wire), _AT_ONCE)
        found = [_settled(self.table, self._last, *part) for part in
                 zip(*(np.split(v, cuts) for v in (wire, spot, turn, share, radius)), strict=True)]
        return join(found)

    def exactly(self, wire, spot, turn, share, radius=None):
        """Return the nearest places (row, 3) to some, by a table as fine as need be about each guess."""
        nodes = [np.clip(at[:, None], _CLOSE, last - _CLOSE) + np.linspace(-_CLOSE, _CLOSE, 3) if last else at[:, None]
                 for at, last in zip((turn, share), self._last, strict=True)]
        table = self._ways.places(self._path[wire], self._swing(nodes[0]), nodes[1] / self._last[1])
        here = [(at - around[:, 0]) / _CLOSE for at, around in zip((turn, share), nodes, strict=True)]
        radius = np.zeros(len(wire)) if radius is None else radius
        feet = _settled(table, np.minimum(self._last, 2), np.arange(len(wire)), spot, *here, radius)
        at = [around[:, 0] + _CLOSE * node for around, node in zip(nodes, (feet.turn, feet.share), strict=True)]
        shares = at[1] / self._last[1]
        return self._ways.places(self._path[wire], self._swing(at[0])[:, None], shares[:, None])[:, 0, 0], shares

    def _swing(self, turn):
        """Signed shares of the swing at nodes."""
        return 2 * turn / self._last[0] - 1 if self.windy else np.zeros_like(turn)


def _settled(table, last, wire, spot, turn, share, radius):
    """The feet of places by Newton's method, one parabola after the other."""
    # At an end all turns are one place, and which of them leads back to the wire is not seen.
    at = np.stack([turn, np.clip(share, _OFF_ENDS, last[1] - _OFF_ENDS) if last[0] else share], axis=-1)
    left = np.arange(len(wire))
    best, least = at.copy(), np.full(len(wire), np.inf)
    for _ in range(_STEPS):
        new, off = _step(table, last, wire[left], spot[left], at[left], radius[left])
        value = (off**2).sum(axis=1)
        # Where a step led away from the place, half of it.
        away = value > least[left] * (1 + 1e-12)
        new[away] = (best[left[away]] + at[left[away]]) / 2
        best[left[~away]], least[left[~away]] = at[left[~away]], value[~away]
        moved = np.abs(new - at[left]).max(axis=1, initial=0.0)
        at[left] = new
        left = left[moved > _SMALL]
        if not len(left):
            break
    off = _off(table, last, wire, spot, at, radius)[0]
    worse = np.flatnonzero((off**2).sum(axis=1) > least)  # the last step was the last of all, and led away
    at[worse] = best[worse]
    off[worse] = _off(table, last, wire[worse], spot[worse], at[worse], radius[worse])[0]
    distance = np.sqrt((off**2).sum(axis=1))
    away = np.divide(-off, distance[:, None], out=np.zeros_like(off), where=distance[:, None] > 0)
    return Feet(distance, at[:, 0], at[:, 1], away)


def _off(table, last, wire, spot, at, radius):
    """From places of the ground to those of the wire (row, 3) [m], 0 in height where the ground is above; and how these
    change with turn and share: first, second and mixed derivatives; in still air with the share alone, first and second
    derivative."""
    node = np.clip(np.rint(at).astype(int), np.minimum(1, last), np.maximum(last - 1, 0))
    u = at - node
    around = np.arange(-1, 2)
    value, slope = (u * (u - 1) / 2, 1 - u**2, u * (u + 1) / 2), (u - 0.5, -2 * u, u + 0.5)

    def through(factors, which, nodes):
        shape = (-1, *(1,) * (nodes.ndim - 2))
        return sum(factor[:, which].reshape(shape) * nodes[:, i] for i, factor in enumerate(factors))

    if not last[0]:
        along = table[wire[:, None], 0, node[:, 1:] + around]
        place, found = through(value, 1, along), (through(slope, 1, along), along[:, 0] - 2 * along[:, 1] + along[:, 2])
    else:
        G = table[wire[:, None, None], (node[:, :1] + around)[:, :, None], (node[:, 1:] + around)[:, None, :]]
        along, by_turn = (through(factors, 0, G) for factors in (value, slope))
        bent = G[:, 0] - 2 * G[:, 1] + G[:, 2]
        place, ft, ftt = (through(value, 1, nodes) for nodes in (along, by_turn, bent))
        fs, fts = (through(slope, 1, nodes) for nodes in (along, by_turn))
        found = ft, fs, ftt, fts, along[:, 0] - 2 * along[:, 1] + along[:, 2]
    off = place - spot
    below = off[:, 2] < 0
    off[below, 2] = 0
    for each in found:
        each[below, 2] = 0
    return _beyond(off, found, radius) if radius.any() else (off, found)


def _beyond(off, found, radius):
    """The same from the edges of what is level about places, outwards, about the edge and upwards: there the way turns
    with the place the less, the nearer that is to the edge."""
    beside = np.hypot(off[:, 0], off[:, 1])
    out = np.divide(off[:, :2], beside[:, None], out=np.zeros_like(off[:, :2]), where=beside[:, None] > 0)
    past = np.maximum(beside - radius, 0)
    turns = np.sqrt(np.divide(past, beside, out=np.zeros_like(past), where=beside > 0))
    within = past == 0

    def about(v):
        outwards = np.where(within, 0, (v[:, :2] * out).sum(axis=1))
        return np.column_stack([outwards, turns * (v[:, 1] * out[:, 0] - v[:, 0] * out[:, 1]), v[:, 2]])

    return np.column_stack([past, np.zeros_like(past), off[:, 2]]), tuple(about(v) for v in found)


def _step(table, last, wire, spot, at, radius):
    """The next turn and share of each row (row, 2), and how far off the last was (row, 3)."""
    off, found = _off(table, last, wire, spot, at, radius)
    if not last[0]:
        fs, fss = found
        c = (fs * fs).sum(axis=1) + np.maximum((off * fss).sum(axis=1), 0) + 1e-12
        share = np.clip(at[:, 1] - np.clip((off * fs).sum(axis=1) / c, -1, 1), 0, last[1])
        return np.stack([at[:, 0], share], axis=1), off
    ft, fs, ftt, fts, fss = found
    g = np.stack([(off * ft).sum(axis=1), (off * fs).sum(axis=1)])
    # As if the wire went straight on where it bends towards the place: Newton's step would lead away from it.
    a, c = ((f * f).sum(axis=1) + np.maximum((off * each).sum(axis=1), 0) + 1e-12 for f, each in ((ft, ftt), (fs, fss)))
    b = (ft * fs + off * fts).sum(axis=1)
    b = np.clip(b, -0.95 * np.sqrt(a * c), 0.95 * np.sqrt(a * c))
    det = a * c - b * b
    move = np.stack([(b * g[1] - c * g[0]) / det, (b * g[0] - a * g[1]) / det], axis=1)
    low, high = np.maximum(at - 1, 0), np.minimum(at + 1, last)
    new = np.clip(at + move, low, high)
    # Where one of the two stops, at its end or after a node, the other goes on alone.
    for one, other, own in ((0, 1, c), (1, 0, a)):
        stopped = new[:, one] != at[:, one] + move[:, one]
        alone = at[:, other] - (g[other] + b * (new[:, one] - at[:, one])) / own
        new[:, other] = np.where(stopped, np.clip(alone, low[:, other], high[:, other]), new[:, other])
    return new, off
