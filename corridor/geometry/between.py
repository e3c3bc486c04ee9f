"""The minimum distance in space between two wires in still air."""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array
from corridor.geometry.catenary import low_point

__all__ = ["Between", "Curve", "least_between", "to_wire"]

#: Places along the first wire that are looked at first, then within two steps about the best of them, and how often.
_COARSE, _FINE, _ZOOMS = 33, 17, 4
#: How many places that are nearer than their neighbours are looked about: wires may be all but as near at both ends.
_VALLEYS = 3
#: Steps of Newton towards the nearest place of the second wire: more change no distance by a millionth of a millimetre.
_STEPS = 3


class Curve(NamedTuple):
    """Wires in still air: `start`, `end` (..., 3) [m] in any frame with an upright third axis; `constant` (...) [m]."""

    start: Array
    end: Array
    constant: Array

    def at(self, share: Array) -> Array:
        """Points of the wires (..., place, 3) at shares of their spans (..., place)."""
        chord = (self.end - self.start)[..., None, :2]
        plan = self.start[..., None, :2] + share[..., None] * chord
        z = self.start[..., None, 2] + self.above_start(share)[0]
        return np.concatenate([plan, z[..., None]], axis=-1)

    def above_start(self, share: Array) -> tuple[Array, Array, Array]:
        """Elevations of the wires over their starts [m] at shares of their spans (..., place), and their first and
        second derivatives by the share."""
        chord = (self.end - self.start)[..., None, :]
        S, h, C = np.hypot(chord[..., 0], chord[..., 1]), chord[..., 2], self.constant[..., None]
        # `z = 2C sinh(p) sinh(r)` with p of the place, and r that less the low point's; the slope is `sinh(p + r)`.
        p = share * (S / (2 * C))
        r = p - low_point(S, h, C) / C
        sinh_p, sinh_r = np.sinh(p), np.sinh(r)
        cosh_p, cosh_r = np.sqrt(1 + sinh_p**2), np.sqrt(1 + sinh_r**2)
        return (2 * C * sinh_p * sinh_r, S * (sinh_p * cosh_r + cosh_p * sinh_r),
                S**2 / C * (cosh_p * cosh_r + sinh_p * sinh_r))


class Between(NamedTuple):
    """Minimum distance [m], and where it is as shares of the first and the second wire's span [-]; of shape (...)."""

    distance: Array
    first: Array
    second: Array


def least_between(a: Curve, b: Curve) -> Between:
    """Return the minimum distance between pairs of wires.

    Of each place of the first wire the nearest of the second is found by Newton's method on
    `(r_b(t) - p) r_b'(t) = 0`; the place itself by looking ever closer about those that are nearer than their
    neighbours, the nearest three. Between the last places the distance can be less by `d/2 (s/d)^2` at most, s half
    their spacing, a few hundredths of a metre at 500 m.

    Parameters
    ----------
    a, b : Curve
        Of one shape, in one frame. They hang along each other, as wires of one span do.

    Returns
    -------
    Between
        nan where either wire is unknown.
    """
    share = np.broadcast_to(np.linspace(0, 1, _COARSE), (*a.constant.shape, _COARSE))
    half = 1 / (_COARSE - 1)
    distance = to_wire(a.at(share), b)[0]
    beside = np.pad(distance, [*[(0, 0)] * (distance.ndim - 1), (1, 1)], constant_values=np.inf)
    valley = (distance <= beside[..., :-2]) & (distance <= beside[..., 2:])
    nearest = np.argsort(np.where(valley, distance, np.inf), axis=-1, kind="stable")[..., :_VALLEYS]
    middle = np.take_along_axis(share, nearest, -1)
    for _ in range(_ZOOMS):
        share = np.clip(middle[..., None] + np.linspace(-half, half, _FINE), 0, 1)
        distance, other = (values.reshape(share.shape) for values in to_wire(
            a.at(share.reshape(*share.shape[:-2], -1)), b))
        best = np.where(np.isnan(distance), np.inf, distance).argmin(axis=-1)[..., None]
        distance, middle, other = (np.take_along_axis(values, best, -1)[..., 0] for values in (distance, share, other))
        half *= 2 / (_FINE - 1)
    best = np.where(np.isnan(distance), np.inf, distance).argmin(axis=-1)[..., None]
    found = [np.take_along_axis(values, best, -1)[..., 0] for values in (distance, middle, other)]
    return Between(*(np.where(np.isnan(found[0]), np.nan, values) for values in found))


def to_wire(point: Array, wire: Curve) -> tuple[Array, Array]:
    """Return the distance of points (..., place, 3) from wires (...) [m], and the share of the span that is nearest."""
    chord, away = (wire.end - wire.start)[..., None, :2], point - wire.start[..., None, :]
    S = np.hypot(chord[..., 0], chord[..., 1])
    east, north = chord[..., 0] / S, chord[..., 1] / S
    along, z = away[..., 0] * east + away[..., 1] * north, away[..., 2]
    across = away[..., 1] * east - away[..., 0] * north
    share = np.clip(along / S, 0, 1)
    for _ in range(_STEPS):
        height, first, bend = wire.above_start(share)
        off, up = share * S - along, height - z
        slope = S**2 + first**2 + up * bend
        step = (off * S + up * first) / np.where(slope > 0, slope, np.inf)
        share = np.clip(share - step, 0, 1)
    off, up = share * S - along, wire.above_start(share)[0] - z
    return np.sqrt(off**2 + across**2 + up**2), share
