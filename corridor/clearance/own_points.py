"""Which surveyed points, and cells of a surface, are of our own wires as they hung on the day of the survey."""

import numpy as np

from corridor.clearance.cloud_curves import PLACES
from corridor.clearance.cloud_screen import beside_path

__all__ = ["along_own_wires", "on_own_wires"]

#: Cells are of a wire of ours where they lie along one curve that it may have hung in, in at least so many of so many
#: equal parts of the span: a few trees are not.
_OF, _PARTS = 7, 20
#: Curves between the lowest and the highest that are tried.
_HEIGHTS = 201


def on_own_wires(curves, reference, spot, distance):
    """Return which points are near where an existing wire hangs in still air, from the lowest to the highest of all
    cases.

    Parameters
    ----------
    curves : dict of int to Curves
        By case.
    reference : int
        Index of the option that hangs today.
    spot : ndarray, shape (point, 3)
        In the frame of the span [m].
    distance : float
        [m]
    """
    near = np.zeros(len(spot), bool)
    for right, up in _bands(curves, reference, spot[:, 0]):
        near |= np.hypot(_beyond(right, spot[:, 1]), _beyond(up, spot[:, 2])) <= distance
    return near


def along_own_wires(curves, reference, spot, distance, radius, length):
    """Return which cells of a surface lie along one curve in which an existing wire may have hung in still air, between
    the lowest and the highest of all cases, where they are all along it.

    A tree that is high enough is not along the same curve as the wire, but where it touches it.

    Parameters
    ----------
    curves, reference, spot
        As for `on_own_wires`.
    distance : float
        How far they may be beside the wire, above and below [m]; at 0 none is taken for ours.
    radius : float
        Of the cells [m].
    length : float
        Of the span [m].
    """
    own = np.zeros(len(spot), bool)
    # Most cells are far from all that wires sweep.
    near = np.flatnonzero(beside_path(curves, spot, radius)[0] <= distance) if distance else np.zeros(0, int)
    for right, up in _bands(curves, reference, spot[near, 0]) if len(near) else ():
        beside = np.flatnonzero(_beyond(right, spot[near, 1]) <= distance + radius)
        (low, high), beside = (v[beside] for v in up), near[beside]
        z = spot[beside, 2]
        share = np.linspace(0, 1, _HEIGHTS)[:, None]
        along = np.abs(z - (low + share * (high - low))) <= distance
        most = along[np.argmax(along.sum(axis=1))]
        part = np.floor(spot[beside[most], 0] / length * _PARTS)
        if len(np.unique(part[(part >= 0) & (part < _PARTS)])) >= _OF:
            own[beside[most]] = True
    return own


def _bands(curves, reference, x):
    """Yield the least and the greatest place to the right and upward of each wire of today at places along the span, a
    pair of (place,) each [m]."""
    places = np.linspace(0, 1, PLACES)
    for wire in range(len(next(iter(curves.values())).first)):
        found = []
        for c in curves.values():
            at = wire, reference, c.first.shape[2] // 2
            if np.isfinite(c.first[at] + c.run[at]):
                knots = c.first[at] + places * c.run[at]
                found.append([np.interp(x, knots, v[at]) for v in (c.right, c.up)])
        if found:
            found = np.array(found)
            yield tuple((found[:, k].min(axis=0), found[:, k].max(axis=0)) for k in (0, 1))


def _beyond(band, place):
    """How far places are beyond a band [m], 0 within."""
    low, high = band
    return np.maximum(np.maximum(low - place, place - high), 0)
