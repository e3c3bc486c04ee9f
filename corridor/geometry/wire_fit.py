"""Wires through surveyed points: a catenary in the plane of its load, fitted in space though some points are wrong.

In the frame of its chord in plan, `x` along it and `y` to the right, a wire of swing `phi` and constant `C` is where
`y = (1 - t) y1 + t y2 + sin(phi) D` and `z = (1 - t) z1 + t z2 - cos(phi) D`, with `t = x/S` and its sag `D` in its own
plane. `D` is nearly proportional to `1/C`: with `g = C D` at a value of `C` that is near, both coordinates are linear
in three numbers each, `(y1, y2, sin(phi)/C)` and `(z1, z2, cos(phi)/C)`, that go with the same three columns `1 - t`,
`t`, `g`. So wires are fitted by two linear regressions over and over, all wires side by side. None of these numbers is
nearly that of another, as low point and constant are where the low point lies beyond the span.

Points far from the wire are wrong, and count less or not at all (Tukey's biweight), `w = (1 - r^2/c^2)^2`: `c` shrinks
with the spread of those that count.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Integers, join
from corridor.geometry.catenary import greatest_sag, sag_at

__all__ = ["Fit", "chord_sag", "fit_wires"]

#: Beyond so many standard deviations of the points a point is wrong [-].
_WIDTH = 5.0
#: Spread of points by biweight over that of all, if their errors are normal in both coordinates [-]: with
#: `s = (r/sd)^2` of mean 2 and `k = _WIDTH^2`, `E[w s]/(2 E[w])`.
_SHRUNK = (2 - 16 / _WIDTH**2 + 48 / _WIDTH**4) / (2 * (1 - 4 / _WIDTH**2 + 8 / _WIDTH**4))
#: What weights leave of the variance of good points, E[w^2 r^2]/sd^2 in one direction [-], rounded down.
_LEFT = 0.6
#: Steps of the fit; the change of sag at which it ends [m].
_STEPS, _STILL = 40, 1e-6
#: Parts of the span, of each of which it is told whether points lie on it.
_PARTS = 20
#: Points worked on at once: a few arrays of that size stay in a core's cache.
_AT_ONCE = 100_000


class Fit(NamedTuple):
    """Wires that were fitted, columns of shape (wire,), lengths in [m].

    `start`, `end` (wire, 2): right of the chord in plan, and elevation, of the wire's ends; `constant` of its
    catenary and `constant_sd`, its standard deviation if the errors of points are independent: a floor, since those
    of one flight are not; `swing` of its plane [rad], positive to the right; `sag` greatest, along the load; `rms`
    of the distance of the points that count, in one direction; `points` how many count, `within` how many lie
    within the first reach; `cover` how many twentieths of the span have points that count, over all [-]. `swing`
    and `constant` are nan where there is no wire.
    """

    start: Array
    end: Array
    constant: Array
    constant_sd: Array
    swing: Array
    sag: Array
    rms: Array
    points: Integers
    within: Integers
    cover: Array


def chord_sag(share: Array, span: ArrayLike, start: Array, end: Array, constant: ArrayLike, swing: ArrayLike) -> Array:
    """Return the drop of wires below their chord along the load [m], at shares of their span in plan.

    `start`, `end` (..., 2) as of `Fit`; `swing` [rad]; all broadcast.
    """
    U, h = _in_plane(np.asarray(span, float), start, end, np.asarray(swing, float))
    return sag_at(share * U, U, h, constant)


def _in_plane(span: Array, start: Array, end: Array, swing: Array) -> tuple[Array, Array]:
    """Distance of the ends normal to the load, and rise against it [m]."""
    across, up = np.moveaxis(end - start, -1, 0)
    return (np.hypot(span, across * np.cos(swing) + up * np.sin(swing)),
            up * np.cos(swing) - across * np.sin(swing))


def fit_wires(first: Integers, place: Array, span: Array, start: Array, end: Array, constant: Array, swing: Array, *,
              reach: float = 1.2, accuracy: float = 0.05, held: float = 0.5,
              apart: tuple[Array, ...] | None = None) -> Fit:
    """Return the wires that run through points.

    Parameters
    ----------
    first : ndarray of int, shape (wire + 1,)
        Offsets of the points of each wire.
    place : ndarray, shape (point, 3)
        Along the chord in plan from the wire's start, right of it, and elevation [m].
    span : ndarray, shape (wire,)
        Length of the chord in plan [m].
    start, end : ndarray, shape (wire, 2)
        Where the ends are thought to be: right of the chord, and elevation [m].
    constant, swing : ndarray, shape (wire,)
        Where to begin [m], [rad].
    reach : float
        Beyond this distance from there points are not looked at [m].
    accuracy : float
        Standard deviation of good points in each direction, at least [m].
    held : float
        Standard deviation of the ends that are thought [m]: matters where points are few.
    apart : tuple of ndarray, optional
        Of each wire where its subconductors are about their middle, right and up (subconductor, 2) [m]: a point is one
        of the nearest. Default: single wires.

    Returns
    -------
    Fit
        Of the middle of the subconductors.
    """
    parts = [_fit(first[low:high + 1] - first[low], place[first[low]:first[high]], span[low:high],
                  np.stack([start[low:high], end[low:high]], axis=1), constant[low:high], swing[low:high], reach,
                  accuracy, held, None if apart is None else apart[low:high])
             for low, high in _portions(first)]
    return join(parts)


def _portions(first: Integers) -> list[tuple[int, int]]:
    """Ranges of wires that have about as many points as are worked on at once; one range at least."""
    cuts = np.unique(np.searchsorted(first, np.arange(0, first[-1], _AT_ONCE)))
    edges = np.unique(np.r_[0, cuts, len(first) - 1])
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True)) or [(0, 0)]


def _fit(first: Integers, place: Array, span: Array, given: Array, constant: Array, swing: Array, reach: float,
         accuracy: float, held: float, apart: tuple[Array, ...] | None) -> Fit:
    """The wires of a portion, their ends `given` (wire, 2, 2)."""
    count = np.diff(first)
    row = np.repeat(np.arange(len(count)), count)
    share = place[:, 0] / span[row]
    tilt = np.arctan2(given[:, 1, 1] - given[:, 0, 1], span)
    now = _Wires(given, np.stack([np.sin(swing), np.cos(swing)], axis=-1) / constant[:, None], np.cos(tilt))
    limit, sd, sag = np.full(len(count), reach), np.full(len(count), accuracy), np.full(len(count), np.inf)
    moving = np.ones(len(count), bool)
    for _ in range(_STEPS):
        shape, away = _residuals(now, row, share, place, span, apart)
        weight = _biweight(away, now.level[row], limit[row])
        change = _change(now, given, row, share, shape, away, weight, sd / held, span)
        now = now.changed(np.where(moving[:, None, None], change, 0.0))
        # Points that were far may be near now, and the other way round.
        shape, away = _residuals(now, row, share, place, span, apart)
        weight = _biweight(away, now.level[row], limit[row])
        spread = _sum(weight * _square(away, now.level[row]), row, len(count))
        spread = np.sqrt(spread / np.maximum(2 * _sum(weight, row, len(count)), 1e-9) / _SHRUNK)
        sd = np.where(moving, np.maximum(spread, accuracy), sd)
        limit = np.where(moving, np.clip(np.maximum(_WIDTH * sd, limit / 2), None, reach), limit)
        before, sag = sag, now.sag(span)
        # Each wire stops by itself, so that its fit is its own whatever stands beside it.
        moving &= np.abs(sag - before) >= _STILL
        if not moving.any():
            break
    return _told(now, row, share, shape, away, limit, reach, span, sd, accuracy, held)


class _Wires(NamedTuple):
    """Wires on the way: `ends` (wire, 2, 2), start and end, right and up [m]; `bend` (wire, 2) sine and cosine of the
    swing over the catenary constant [1/m]; `level` cosine of the chord's slope [-]."""

    ends: Array
    bend: Array
    level: Array

    @property
    def constant(self) -> Array:
        return 1 / np.hypot(*self.bend.T)

    @property
    def swing(self) -> Array:
        return np.arctan2(*self.bend.T)

    def changed(self, change: Array) -> "_Wires":
        """The wires moved, by as much as `_change` says."""
        bend = self.bend + change[:, 2] * [1.0, -1.0]
        # A wire hangs: points that say otherwise make none.
        bend[:, 1] = np.maximum(bend[:, 1], 1e-7)
        return self._replace(ends=self.ends + change[:, :2], bend=bend)

    def sag(self, span: Array) -> Array:
        """Maximum sag [m]."""
        return greatest_sag(*_in_plane(span, self.ends[:, 0], self.ends[:, 1], self.swing), self.constant)


def _residuals(now: _Wires, row: Integers, share: Array, place: Array, span: Array,
               apart: tuple[Array, ...] | None) -> tuple[Array, Array]:
    """Sag of points over curvature, C D, and how far points are right of the wire and above it, (point, 2) [m]."""
    constant = now.constant
    drop = chord_sag(share, span[row], now.ends[row, 0], now.ends[row, 1], constant[row], now.swing[row])
    shape = drop * constant[row]
    chord = now.ends[row, 0] + share[:, None] * (now.ends[row, 1] - now.ends[row, 0])
    away = place[:, 1:] - chord
    away[:, 0] -= now.bend[row, 0] * shape
    away[:, 1] += now.bend[row, 1] * shape
    if apart is not None:
        away = _of_nearest(away, row, apart)
    return shape, away


def _of_nearest(away: Array, row: Integers, apart: tuple[Array, ...]) -> Array:
    """How far points are from the nearest subconductor of their wire, (point, 2) [m]."""
    most = max(len(each) for each in apart)
    # A row of fewer has its last one again.
    places = np.stack([np.concatenate([each, np.repeat(each[-1:], most - len(each), axis=0)]) for each in apart])
    best = np.full(len(away), np.inf)
    found = away.copy()
    for k in range(most):
        left = away - places[row, k]
        size = (left**2).sum(axis=1)
        nearer = size < best
        found[nearer], best = left[nearer], np.minimum(best, size)
    return found


def _square(away: Array, level: Array) -> Array:
    """Squares of the distances of points from the wire [m²]."""
    return away[:, 0]**2 + (away[:, 1] * level)**2


def _biweight(away: Array, level: Array, limit: Array) -> Array:
    return np.maximum(1 - _square(away, level) / limit**2, 0.0)**2


def _sum(values: Array, row: Integers, count: int) -> Array:
    return np.bincount(row, values, count).astype(float)


def _normal(weight: Array, row: Integers, share: Array, shape: Array, count: int) -> Array:
    """Sums of `w a a'` over the points of each wire, (wire, 3, 3), with `a` = (1 - t, t, g)."""
    columns = 1 - share, share, shape
    found = np.empty((count, 3, 3))
    for i in range(3):
        for j in range(i, 3):
            found[:, i, j] = found[:, j, i] = _sum(weight * columns[i] * columns[j], row, count)
    return found


def _with_ends(normal: Array, ratio: Array, span: Array) -> Array:
    """The sums with what is thought of the ends, and scaled where no point tells the curvature."""
    whole = normal.copy()
    whole[:, 0, 0] += ratio**2
    whole[:, 1, 1] += ratio**2
    # Far below what any point says; a wire without points keeps its curvature.
    whole[:, 2, 2] += 1e-12 * span**4
    return whole


def _change(now: _Wires, given: Array, row: Integers, share: Array, shape: Array, away: Array, weight: Array,
            ratio: Array, span: Array) -> Array:
    """By how much wires move to where the squares of what is away are least: of start, end and bend, right and up,
    (wire, 3, 2)."""
    count = len(span)
    normal = _with_ends(_normal(weight, row, share, shape, count), ratio, span)
    right = np.empty((count, 3, 2))
    for k in range(2):
        for i, column in enumerate((1 - share, share, shape)):
            right[:, i, k] = _sum(weight * column * away[:, k], row, count)
    right[:, :2] += (ratio**2)[:, None, None] * (given - now.ends)
    return np.linalg.solve(normal, right).astype(float)


def _told(now: _Wires, row: Integers, share: Array, shape: Array, away: Array, limit: Array, reach: float, span: Array,
          sd: Array, accuracy: float, held: float) -> Fit:
    """What the fit comes to; its covariance is the sandwich `A^-1 B A^-1` of robust regression (Huber and Ronchetti,
    Robust Statistics, 2nd ed. 2009, section 7.6), with `A` the sum of the derivatives of `w r` and `B` of its squares.
    """
    wires, square = len(span), _square(away, now.level[row])
    near = np.maximum(1 - square / limit[row]**2, 0.0)
    points = np.bincount(row[near > 0], minlength=wires)
    ends = np.diag([1.0, 1.0, 0.0]) / held**2
    variance = np.zeros((2, wires))
    for k, level in enumerate((np.ones(len(row)), now.level[row])):
        r = away[:, k] * level
        steep = _normal(near**2 - 4 * near * r**2 / limit[row]**2, row, share, shape, wires)
        spread = _sum(near**4 * r**2, row, wires) / np.maximum(points - 3, 1)
        # Few points may lie on a wire by chance.
        spread = np.maximum(spread, _LEFT * accuracy**2)[:, None, None]
        A = np.linalg.inv(_with_ends(steep, sd / held, span))
        B = spread * _normal((near > 0).astype(float), row, share, shape, wires) + sd[:, None, None]**4 * ends
        variance[k] = (A @ B @ A)[:, 2, 2]
    along = np.stack([np.sin(now.swing), np.cos(now.swing)])
    within = np.bincount(row[square < reach**2], minlength=wires)
    rms = np.sqrt(_sum(np.where(near > 0, square, 0.0), row, wires) / 2 / np.maximum(points, 1))
    C, swing, sag, rms = (np.where(points > 0, v, np.nan) for v in (now.constant, now.swing, now.sag(span), rms))
    part = np.clip(share[near > 0] * _PARTS, 0, _PARTS - 1).astype(int)
    covered = np.zeros((wires, _PARTS), bool)
    covered[row[near > 0], part] = True
    return Fit(now.ends[:, 0], now.ends[:, 1], C, np.sqrt((along**2 * variance).sum(axis=0)) * C**2, swing, sag, rms,
               points, within, covered.mean(axis=1))
