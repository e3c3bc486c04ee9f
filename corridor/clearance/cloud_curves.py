"""Where the wires of one span hang, in every state and along their swing, as curves to hold points against.

Points come in millions, so what they are held against is coarse: curves with straight pieces, at even steps of the
swing. It tells which points matter. These then go the way of every other obstacle, and give the findings.
"""

from typing import NamedTuple

import numpy as np

__all__ = ["PLACES", "Curves", "Near", "near_curves", "span_curves"]

#: Vertices of a curve.
PLACES = 65
#: Numbers worked on at once.
_AT_ONCE = 3_000_000


class Curves(NamedTuple):
    """Wires of one span in one case; axes (wire, option, turn, place).

    `right`, `up` [m] in the frame of the span at even places along the wire; `first`, `run` (wire, option, turn) where
    it begins along the span and how far it goes [m].
    """

    right: np.ndarray
    up: np.ndarray
    first: np.ndarray
    run: np.ndarray

    @property
    def step(self):
        """Half of the maximum step between neighbouring turns [m]."""
        steps = np.hypot(np.diff(self.right, axis=2), np.diff(self.up, axis=2))
        return float(np.nanmax(steps, initial=0.0)) / 2 if np.isfinite(steps).any() else 0.0

    @property
    def lean(self):
        """Steepest lean of a piece, by how far it rises or turns along the span [-]."""
        piece = self.run[..., None] / (PLACES - 1)
        return float(np.nanmax(np.hypot(np.diff(self.right) / piece, np.diff(self.up) / piece), initial=0.0))


class Near(NamedTuple):
    """How near points are to curves in each option, shape (option, point) [m]; inf where they are not.

    `radial` from the uprights that the points stand for; `vertical` height of the wire over what is below it;
    `horizontal` distance in plan where the wire is no higher than some room above the top; `round` there the distance
    from the edge of the top.
    """

    radial: np.ndarray
    vertical: np.ndarray
    horizontal: np.ndarray
    round: np.ndarray


def span_curves(scene, span, case, turns):
    """Return the curves of the wires of a span in a case.

    Parameters
    ----------
    scene : Scene
    span : int
    case : int
        Index of the case.
    turns : int
        Number of turns from full wind on the left to full wind on the right, odd; 1 in still air.
    """
    wires, options = np.flatnonzero(scene.wires.span == span), len(scene.options)
    rows = scene.way(wires[:, None], np.arange(options), case).ravel()
    share = np.linspace(0, 1, PLACES)[None]
    turn = np.linspace(-1, 1, turns)[None] if scene.cases[case].wind > 0 else np.zeros((1, 1))
    place = scene.ways.places(rows, np.repeat(turn, len(rows), axis=0), np.repeat(share, len(rows), axis=0))
    place = place.reshape(len(wires), options, turn.shape[1], PLACES, 3)
    x = place[..., 0]
    return Curves(place[..., 1], place[..., 2], x[..., 0], x[..., -1] - x[..., 0])


def near_curves(curves, spot, radius, room, side=1.0):
    """Return how near points are to curves, over all wires and turns.

    Parameters
    ----------
    curves : Curves
    spot : ndarray, shape (point, 3)
        Along, right and up in the frame of the span [m].
    radius : float
        Of the points [m].
    room : float
        Height above the top up to which a wire is beside a point [m].
    side : array_like, shape (wire, 1, 1, point) or scalar
        -1 where the wire passes below the point. Points with such sides hang in the air: a wire is not beside them
        either where it is as far below.

    Returns
    -------
    Near
        With the wire taken as straight about each place, which over the few metres that matter it is.
    """
    states = curves.first.size
    size = max(1, _AT_ONCE // max(states, 1))
    parts = []
    for begin in range(0, max(len(spot), 1), size):
        some = slice(begin, begin + size)
        part = side if np.ndim(side) == 0 else side[..., some]
        parts.append(_near(curves, spot[some], radius, room, part))
    return Near(*(np.concatenate(column, axis=-1) for column in zip(*parts, strict=True)))


def _near(curves, spot, radius, room, side):
    x, y, z = spot.T
    share = (x - curves.first[..., None]) / curves.run[..., None]
    # Beyond its ends a wire is its end.
    at = np.clip(share, 0, 1) * (PLACES - 1)
    i = np.minimum(np.nan_to_num(at).astype(int), PLACES - 2)
    u = at - i
    right, up = ((1 - u) * np.take_along_axis(v, i, -1) + u * np.take_along_axis(v, i + 1, -1)
                 for v in (curves.right, curves.up))
    piece = curves.run[..., None] / (PLACES - 1)
    lean = [(np.take_along_axis(v, i + 1, -1) - np.take_along_axis(v, i, -1)) / piece
            for v in (curves.right, curves.up)]
    off = (share - np.clip(share, 0, 1)) * curves.run[..., None]
    beside, above = np.abs(y - right) - radius, up - z
    d, v = np.maximum(beside, 0), np.maximum(above, 0)
    along = (np.sign(right - y) * d * lean[0] + v * lean[1]) / np.sqrt(1 + lean[0]**2 + lean[1]**2)
    radial = np.sqrt(np.maximum(d**2 + v**2 - along**2, 0) + off**2)
    inside = (np.abs(off) <= radius) & (beside <= curves.step)
    vertical = np.where(inside, side * above, np.inf)
    flat = np.where((above if np.ndim(side) == 0 else np.abs(above)) < room, np.hypot(d, off), np.inf)
    return Near(*(np.where(np.isnan(value), np.inf, value).min(axis=(0, 2))
                  for value in (radial, vertical, flat, np.hypot(flat, v))))
