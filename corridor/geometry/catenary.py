"""The shape of a wire: the catenary in the plane of its load, and that plane in space.

A wire of constant load per unit of arc length hangs in the plane that holds its chord and the load. In that
plane it is an ordinary catenary with constant `C = H/|q|`, whether the span is level, inclined, iced or
swung. All functions take arrays and broadcast; lengths are in [m], tensions in [N].

Planar letters, the same everywhere: `S` distance between the ends normal to the load (`span`), `h` height of
the right end above the left, against the load (`rise`), `C` catenary constant (`constant`), `x` distance
from the left end normal to the load.

References
----------
Handbook form of the level and inclined catenary: L. L. Grigsby (ed.), *Electric Power Generation,
Transmission, and Distribution*, CRC Press, 2nd ed. 2007, chapter 14.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike

__all__ = [
    "Plane",
    "arc_length",
    "elevation_above_start",
    "end_tension_ratios",
    "greatest_sag",
    "low_point",
    "mean_tension_ratio",
    "plane_of",
    "points",
    "sag_at",
    "sinh_excess",
    "slack",
]


def sinh_excess(u: ArrayLike) -> Array:
    """Return `sinh u - u` without cancellation.

    The slack of a taut wire is a few parts in ten thousand of its length; the plain difference loses it.

    Parameters
    ----------
    u : array_like
        Argument [-], any sign.

    Returns
    -------
    ndarray
        `u^3/6 (1 + u^2/20 (1 + u^2/42 (1 + u^2/72 (1 + u^2/110))))` for `|u| < 0.5`, else the difference.

    Examples
    --------
    >>> float(sinh_excess(1e-4)) == 1e-12 / 6 * (1 + 1e-8 / 20)
    True
    >>> float(sinh_excess(0.0))
    0.0
    """
    u = np.asarray(u, np.float64)
    v = u * u
    series = u * v / 6 * (1 + v / 20 * (1 + v / 42 * (1 + v / 72 * (1 + v / 110))))
    return np.where(np.abs(u) < 0.5, series, np.sinh(u) - u)


def low_point(span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return the distance of the low point from the left end, `x0 = S/2 - C asinh(h / (2C sinh(S/2C)))` [m].

    It may lie outside the span: then the lower end is lifted by the wire.

    Examples
    --------
    >>> round(float(low_point(300.0, 30.0, 1500.0)), 4)
    0.4974
    """
    S, h, C = (np.asarray(v, np.float64) for v in (span, rise, constant))
    return S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))


def arc_length(span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return the length of wire between the ends, `L = sqrt(h^2 + (2C sinh(S/2C))^2)` [m]."""
    S, h, C = (np.asarray(v, np.float64) for v in (span, rise, constant))
    return np.hypot(h, 2 * C * np.sinh(S / (2 * C)))


def slack(span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return arc length less chord [m], exact for taut wires.

    `L - c = ((2C sinh u)^2 - S^2) / (L + c)` with `u = S/2C` and `c = hypot(S, h)`.

    Examples
    --------
    >>> round(float(slack(600.0, 0.0, 5758.6837)), 5)
    0.27143
    """
    S, h, C = (np.asarray(v, np.float64) for v in (span, rise, constant))
    u = S / (2 * C)
    excess = 2 * C * sinh_excess(u)
    return excess * (excess + 2 * S) / (arc_length(S, h, C) + np.hypot(S, h))


def elevation_above_start(x: ArrayLike, span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return the height of the wire at `x` above its left end, `y = 2C sinh(x/2C) sinh((x - 2 x0)/2C)` [m]."""
    x, C = np.asarray(x, np.float64), np.asarray(constant, np.float64)
    p = x / (2 * C)
    return 2 * C * np.sinh(p) * np.sinh(p - low_point(span, rise, C) / C)


def sag_at(x: ArrayLike, span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return the drop of the wire below its chord at `x`, `h x/S - y(x)` [m]."""
    x, S, h = (np.asarray(v, np.float64) for v in (x, span, rise))
    return h * x / S - elevation_above_start(x, S, h, constant)


def greatest_sag(span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return the maximum drop below the chord [m], at `x0 + C asinh(h/S)`.

    Other numbers also go by the name of sag: the drop at mid-span, and the low point's below an end.
    In a level span all three are the same.

    Examples
    --------
    >>> round(float(greatest_sag(400.0, -60.0, 1200.0)), 4)
    16.8907
    """
    S, h, C = (np.asarray(v, np.float64) for v in (span, rise, constant))
    return sag_at(low_point(S, h, C) + C * np.arcsinh(h / S), S, h, C)


def end_tension_ratios(span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> tuple[Array, Array]:
    """Return tension over `H` at the left and the right end, `cosh(x0/C)` and `cosh((S - x0)/C)` [-]."""
    S, C = np.asarray(span, np.float64), np.asarray(constant, np.float64)
    x0 = low_point(S, rise, C)
    return np.cosh(x0 / C), np.cosh((S - x0) / C)


def mean_tension_ratio(span: ArrayLike, rise: ArrayLike, constant: ArrayLike) -> Array:
    """Return the mean tension along the wire over `H` [-].

    `(S + C/2 (sinh(2 (S - x0)/C) + sinh(2 x0/C))) / 2L`
    """
    S, C = np.asarray(span, np.float64), np.asarray(constant, np.float64)
    x0 = low_point(S, rise, C)
    both = np.sinh(2 * (S - x0) / C) + np.sinh(2 * x0 / C)
    return (S + C / 2 * both) / (2 * arc_length(S, rise, C))


class Plane(NamedTuple):
    """The plane of a loaded wire: `span` S and `rise` h in it [m], the load's size `load` |q| [N/m], and two
    unit vectors of shape (..., 3): `along` from start to end normal to the load, `against` the load."""

    span: Array
    rise: Array
    load: Array
    along: Array
    against: Array


def plane_of(start: ArrayLike, end: ArrayLike, load: ArrayLike) -> Plane:
    """Return the plane in which a wire between two points hangs under a load.

    Parameters
    ----------
    start, end : array_like, shape (..., 3)
        Ends of the wire, east, north, up [m].
    load : array_like, shape (..., 3)
        Load per unit of arc length [N/m]: a bare wire in still air has (0, 0, -w).

    Returns
    -------
    Plane
        With `q̂ = q/|q|`, `c = end - start`: `h = -c·q̂`, `S = |c - (c·q̂) q̂|`.
    """
    c = np.asarray(end, np.float64) - np.asarray(start, np.float64)
    q = np.asarray(load, np.float64)
    size = np.linalg.norm(q, axis=-1)
    against = -q / size[..., None]
    h = (c * against).sum(axis=-1)
    across = c - h[..., None] * against
    S = np.linalg.norm(across, axis=-1)
    return Plane(S, h, size, across / S[..., None], against)


def points(start: ArrayLike, plane: Plane, constant: ArrayLike, share: ArrayLike) -> Array:
    """Return points of the wire in space.

    Parameters
    ----------
    start : array_like, shape (..., 3)
        Left end [m].
    plane : Plane, of shape (...)
    constant : array_like, shape (...)
        Catenary constant [m].
    share : array_like, shape (n,) or (..., n)
        Place as a share of the distance S, 0 at the start and 1 at the end.

    Returns
    -------
    ndarray, shape (..., n, 3)
    """
    S, h, C = (np.asarray(v, np.float64)[..., None] for v in (plane.span, plane.rise, constant))
    x = np.asarray(share, np.float64) * S
    y = elevation_above_start(x, S, h, C)
    along, against, start = plane.along[..., None, :], plane.against[..., None, :], np.asarray(start)[..., None, :]
    place = np.empty((*np.broadcast_shapes(x.shape, along.shape[:-1], start.shape[:-1]), 3))
    # Coordinate by coordinate: arrays whose last axis has three values are slow to broadcast.
    for i in range(3):
        place[..., i] = start[..., i] + x * along[..., i] + y * against[..., i]
    return place
