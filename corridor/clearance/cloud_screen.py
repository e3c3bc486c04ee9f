"""Which surveyed points matter for one span: those too near a wire, in clusters, and the nearest of all others."""

from typing import NamedTuple

import numpy as np
import scipy  # its parts load when they are first used

from corridor.clearance.cloud_curves import PLACES, near_curves

__all__ = ["MEASURES", "Needs", "Screened", "beside_path", "clusters", "likely", "screen", "slack_of"]

#: Fields of `Needs` and `Near`.
MEASURES = ("radial", "vertical", "horizontal", "round")
#: Points, of those that may be the nearest, from which it is found how near the nearest one is.
_FIRST = 300
#: What distances to straight pieces may be off by [m].
_SLACK = 0.03
#: Ties at one turn or the next that are worth a closer look.
_TIES = 6
#: Objects farther away in plan than this are not compared sideways [m].
_BESIDE = 60.0
#: Parts along the wires, of each of which the nearest points of a cluster are taken: in other states the wires hang
#: otherwise, and another part may be the nearest then.
_PARTS = 256


class Needs(NamedTuple):
    """What a category requires by measure and case, each (case,) [m]; nan where it is not compared.

    `round` is for the rounded corner between what is kept free above and beside; `room` height above the top up to
    which a wire counts as beside [m].
    """

    radial: np.ndarray
    vertical: np.ndarray
    horizontal: np.ndarray
    round: np.ndarray
    room: float

    @property
    def most(self):
        """The most that any rule may ask for, as a distance from a point [m]."""
        corner = np.hypot(self.horizontal, self.room)
        return float(np.nanmax(np.stack([self.radial, self.vertical, corner, self.round]), initial=0.0))


class Screened(NamedTuple):
    """What matters of some points: `cluster` (point,) from 0, -1 for those too near no wire; `chosen` (point,), those
    that may be the nearest of their cluster, or of the rest, in some option, case and measure, and the nearest of each
    part of a cluster along the wires; `count`, by cluster, option, case and measure how many are too near."""

    cluster: np.ndarray
    chosen: np.ndarray
    count: np.ndarray


def clusters(spot, distance):
    """Return the number of the cluster of each point, in plan, from the first along the line on.

    Points in the same or neighbouring squares of a side are of one cluster: those nearer to one another than the side
    always are, those farther apart than 2.9 sides only through others between them.

    Parameters
    ----------
    spot : ndarray, shape (point, 2 or 3)
        [m]
    distance : float
        The side [m].
    """
    cell = np.floor(spot[:, :2] / distance).astype(np.int64)
    cells, of = np.unique(cell, axis=0, return_inverse=True)
    key = cells[:, 0] * (1 << 32) + cells[:, 1]
    pairs = []
    for step in (1, (1 << 32) - 1, 1 << 32, (1 << 32) + 1):
        at = np.minimum(np.searchsorted(key, key + step), max(len(key) - 1, 0))
        here = np.flatnonzero(key[at] == key + step) if len(key) else np.zeros(0, int)
        pairs.append(np.stack([here, at[here]]))
    a, b = np.concatenate(pairs, axis=1)
    pairs = scipy.sparse.coo_array((np.ones(len(a)), (a, b)), shape=(len(key), len(key)))
    label = scipy.sparse.csgraph.connected_components(pairs, directed=False)[1]
    label = label[of.ravel()]
    # Numbered along the line, so that names do not depend on how the points came.
    first = np.full(label.max(initial=-1) + 1, np.inf)
    np.minimum.at(first, label, spot[:, 0])
    return np.argsort(np.argsort(first, kind="stable"), kind="stable")[label]


def likely(curves, spot, radius, needs, two_sided):
    """Return indices of the points that may be too near, or the nearest, in any option and case.

    Parameters
    ----------
    curves : dict of int to Curves
        By case.
    spot : ndarray, shape (point, 3)
        In the frame of the span [m].
    radius : float
        [m]
    needs : Needs
    two_sided : bool
        Whether wires may pass below the points.
    """
    *_, low, lean, _ = _envelope(curves)
    z, under = spot[:, 2], np.interp(spot[:, 0], *low)
    beside, off = beside_path(curves, spot, radius)
    slack = max(slack_of(c, radius) for c in curves.values())
    least = np.hypot(np.hypot(beside, np.maximum(under - z, 0)) / np.hypot(1, lean), off) - slack
    first = np.argsort(least, kind="stable")[:_FIRST]
    near = {k: near_curves(c, spot[first], radius, needs.room) for k, c in curves.items()}
    reach = {name: _farthest(near, needs, name) for name in MEASURES}
    keep = least <= max(needs.most, reach["radial"])
    if np.isfinite(needs.vertical).any():
        height = -np.inf if two_sided else under - z - slack
        keep |= (beside <= slack) & (off <= radius) & (height <= reach["vertical"])
    if np.isfinite(needs.horizontal).any():
        far = min(max(reach["horizontal"], reach["round"]), _BESIDE)
        keep |= (z + needs.room + slack >= under) & (np.hypot(beside, off) <= far + slack)
    return np.flatnonzero(keep)


def beside_path(curves, spot, radius):
    """Return how far points (point, 2 or 3) of a radius are beside all that wires sweep, and beyond their ends (point,)
    [m]; 0 where they are within."""
    left, right, *_ = _envelope(curves)
    x, y = spot[:, 0], spot[:, 1]
    beside = np.maximum(np.maximum(np.interp(x, *left) - y, y - np.interp(x, *right)) - radius, 0)
    return beside, np.maximum(np.maximum(left[0][0] - x, x - left[0][-1]), 0)


def slack_of(curves, radius):
    """Return what distances of points to curves may be off by [m]: half a step of the swing, the bend of a piece, and
    what the wire rises or turns over half a point, of which only the middle is looked at."""
    return curves.step + _SLACK + radius * curves.lean


def _envelope(curves):
    """Leftmost, rightmost and lowest place of all wires along the span, the steepest lean, and the maximum step."""
    every = list(curves.values())
    low = min(np.nanmin(c.first) for c in every)
    high = max(np.nanmax(c.first + c.run) for c in every)
    x = np.linspace(low, high, PLACES)
    parts = [np.stack([_least(c.right), -_least(-c.right), _least(c.up)]) for c in every]
    left, right, up = (np.stack(column) for column in zip(*parts, strict=True))
    # Ends move by less than a piece from state to state: widen by one place to either side.
    left, right, up = (_widen(v) for v in (left.min(axis=0), -right.max(axis=0), up.min(axis=0)))
    return (x, left), (x, -right), (x, up), max(c.lean for c in every), max(c.step for c in every)


def _least(values):
    """Least over wires, options and turns at each place."""
    return np.where(np.isnan(values), np.inf, values).min(axis=(0, 1, 2))


def _widen(values):
    padded = np.pad(values, 1, mode="edge")
    return np.minimum(np.minimum(padded[:-2], padded[2:]), values)


def _farthest(near, needs, name):
    """Greatest over options and cases of the distance of the nearest point [m], inf where some have none."""
    asked = [k for k in near if np.isfinite(getattr(needs, name)[k])]
    found = [getattr(near[k], name).min(axis=1, initial=np.inf) for k in asked]
    return float(np.max(found)) if found else -np.inf


def screen(curves, finer, spot, radius, needs, distance, side=None):
    """Return which points matter.

    Parameters
    ----------
    curves : dict of int to Curves
        By case.
    finer : callable
        `finer(case)` gives its Curves at many more turns.
    spot : ndarray, shape (point, 3)
        In the frame of the span [m].
    radius : float
        Of the points [m].
    needs : Needs
    distance : float
        Side of the squares of `clusters` [m].
    side : ndarray, shape (wire, 1, 1, point), optional
        -1 where a wire passes below a point.

    Returns
    -------
    Screened
    """
    side = 1.0 if side is None else side
    near = {k: near_curves(c, spot, radius, needs.room, side) for k, c in curves.items()}
    cluster = np.full(len(spot), -1)
    short = {k: _short(near[k], needs, k, slack_of(c, radius)).any(axis=(0, 1)) for k, c in curves.items()}
    flagged = np.logical_or.reduce(list(short.values()))
    cluster[flagged] = clusters(spot[flagged], distance)
    options = next(iter(near.values())).radial.shape[0]
    count = np.zeros((cluster.max(initial=-1) + 1, options, len(needs.radial), len(MEASURES)), int)
    for k in curves:
        for m, rows in enumerate(_short(near[k], needs, k, 0.0)):
            for o in range(options):
                count[:, o, k, m] = np.bincount(cluster[rows[o] & flagged], minlength=len(count))
    chosen = np.zeros(len(spot), bool)
    for label in range(-1, len(count)):
        mine = np.flatnonzero(cluster == label)
        for k, c in curves.items():
            some = side if np.ndim(side) == 0 else side[..., mine]
            chosen[mine[_nearest(near[k], mine, k, c, finer, spot, radius, needs, some)]] = True
    chosen[_of_parts(curves, near, spot, cluster, needs)] = True
    return Screened(cluster, chosen, count)


def _of_parts(curves, near, spot, cluster, needs):
    """Indices of the nearest point of every part of a cluster along the wires, in each option, case and measure: at
    temperatures between those of the cases each part rises by as much as its wires do."""
    rows = np.flatnonzero(cluster >= 0)
    every = list(curves.values())
    low = min(np.nanmin(c.first) for c in every)
    run = max(np.nanmax(c.first + c.run) for c in every) - low
    part = np.clip(np.floor((spot[rows, 0] - low) / run * _PARTS), -1, _PARTS).astype(int)
    key, found = cluster[rows] * (_PARTS + 2) + part, [np.zeros(0, int)]
    for name, k in ((name, k) for k in curves for name in MEASURES if np.isfinite(getattr(needs, name)[k])):
        for values in getattr(near[k], name)[:, rows]:
            order = np.lexsort((values, key))
            first = order[np.flatnonzero(np.diff(key[order], prepend=-2))]
            found.append(rows[first[np.isfinite(values[first])]])
    return np.concatenate(found)


def _short(near, needs, k, slack):
    """True where points are nearer than required, by measure and option."""
    return np.stack([getattr(near, name) - slack < np.nan_to_num(getattr(needs, name)[k], nan=-np.inf)
                     for name in MEASURES])


def _nearest(near, mine, k, curves, finer, spot, radius, needs, side):
    """Places in `mine` of the points that may be the nearest in some option and measure of a case."""
    found = [_ties(getattr(near, name)[:, mine], curves.step + slack_of(curves, radius)) for name in MEASURES
             if np.isfinite(getattr(needs, name)[k])]
    if not found or not len(mine):
        return np.zeros(0, int)
    at = np.unique(np.concatenate(found))
    if len(at) <= _TIES or curves.first.shape[2] == 1:
        return at
    closer = finer(k)
    side = side if np.ndim(side) == 0 else side[..., at]
    again = near_curves(closer, spot[mine[at]], radius, needs.room, side)
    kept = [_ties(getattr(again, name), closer.step + slack_of(closer, radius)) for name in MEASURES
            if np.isfinite(getattr(needs, name)[k])]
    return at[np.unique(np.concatenate(kept))]


def _ties(values, slack):
    """Points that are in some option within a slack of the nearest."""
    least = values.min(axis=1, keepdims=True, initial=np.inf)
    return np.flatnonzero((np.isfinite(values) & (values <= least + slack)).any(axis=0))
