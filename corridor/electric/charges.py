"""The charges of long parallel wires over the ground, the electric field that they make, and that at their surface.

Wires are infinitely long, straight and parallel over a level ground that conducts; each acts as a line charge in its
middle, and its image below the ground with the opposite charge (Maxwell's potential coefficients). A bundle is one wire
of its equivalent radius. Places are right and up from a point on the ground [m]; voltages are phasors to the ground,
effective values [V], and charges `q` are told over `2 pi eps0` [V].

References
----------
Electric Power Research Institute, *Transmission Line Reference Book, 345 kV and Above*, 2nd ed. 1982, chapters 3 and 8;
J. J. Grainger, W. D. Stevenson, *Power System Analysis*, McGraw-Hill 1994, chapter 5. Both recalled.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from corridor.arrays import Array, ArrayLike

__all__ = ["PERMITTIVITY", "GroundField", "field_at", "greatest_near_ground", "line_charges", "phase_orders",
           "potential_coefficients", "surface_gradient"]

Phasors = NDArray[np.complex128]

#: Permittivity of free space, and of air [F/m] (CODATA).
PERMITTIVITY = 8.8541878128e-12
#: Turn of the phasors of three phases.
_TURN = np.exp(2j * np.pi / 3)
#: Places across the line at which the field is looked for at first, and about the best then.
_FIRST, _THEN = 81, 9


def potential_coefficients(places: ArrayLike, radii: ArrayLike) -> Array:
    """Return the potential of each wire by the charge of each: `ln(D'/D)`, (..., wire, wire).

    `D` is the distance between two wires, of a wire from itself its radius; `D'` that to the image.

    Parameters
    ----------
    places : array_like, shape (..., wire, 2)
        Above the ground [m].
    radii : array_like, shape (..., wire)
        Of one wire, or the equivalent one of a bundle [m].
    """
    y, h = np.moveaxis(np.asarray(places, np.float64), -1, 0)
    r = np.asarray(radii, np.float64)
    across, n = (y[..., :, None] - y[..., None, :]) ** 2, y.shape[-1]
    D = np.sqrt(across + (h[..., :, None] - h[..., None, :]) ** 2)
    D = np.where(np.eye(n, dtype=bool), r[..., :, None], D)
    return np.log(np.sqrt(across + (h[..., :, None] + h[..., None, :]) ** 2) / D)


def line_charges(places: ArrayLike, radii: ArrayLike, voltages: ArrayLike) -> Phasors:
    """Return the charges that hold wires at their voltages, over `2 pi eps0` [V], (..., wire, set).

    Parameters
    ----------
    places : array_like, shape (..., wire, 2)
    radii : array_like, shape (..., wire)
    voltages : array_like, shape (..., wire, set)
        Several sets of phasors at once [V]; 0 of an earthed wire.

    Examples
    --------
    One wire: `U/ln(2 h/r)`.

    >>> q = line_charges([[0.0, 10.0]], [0.01], [[100e3]])
    >>> round(float(q.real[0, 0] * np.log(20 / 0.01)))
    100000
    """
    P = potential_coefficients(places, radii)
    U = np.asarray(voltages, np.complex128)
    return np.asarray(np.linalg.solve(P, np.broadcast_to(U, (*P.shape[:-1], U.shape[-1]))), np.complex128)


def field_at(places: ArrayLike, charges: Phasors, points: ArrayLike) -> Array:
    """Return the effective value of the field at points [V/m], (..., point, set).

    `E = sqrt(|E_y|^2 + |E_z|^2)`, of the charges and their images.

    Parameters
    ----------
    places : array_like, shape (..., wire, 2)
    charges : ndarray, shape (..., wire, set)
        Over `2 pi eps0` [V].
    points : array_like, shape (..., point, 2)
        [m]
    """
    p, c = np.asarray(points, np.float64), np.asarray(places, np.float64)
    total: Array | float = 0.0
    ways = []
    for side in (1.0, -1.0):
        d = p[..., :, None, :] - c[..., None, :, :] * np.array([1.0, side])
        ways.append(side * d / (d**2).sum(axis=-1, keepdims=True))
    way = ways[0] + ways[1]
    for axis in (0, 1):
        total = total + np.abs(way[..., axis] @ charges) ** 2
    return np.sqrt(total)


class GroundField(NamedTuple):
    """The greatest `field` of any set near the ground [V/m], and how far right it is, `offset` [m]; shape (...,)."""

    field: Array
    offset: Array


def greatest_near_ground(places: ArrayLike, charges: Phasors, height: float = 1.0) -> GroundField:
    """Return the maximum field at a height above the ground, of all places across the line and all sets.

    Looked for at 81 places as far beyond the outer wires as the lowest is high, and twice about the best of them.

    Parameters
    ----------
    places : array_like, shape (..., wire, 2)
        All of them above that height.
    charges : ndarray, shape (..., wire, set)
    height : float
        [m]
    """
    c = np.asarray(places, np.float64)
    reach = c[..., 1].min(axis=-1)
    low, high = c[..., 0].min(axis=-1) - reach, c[..., 0].max(axis=-1) + reach
    field = offset = np.zeros(c.shape[:-2])
    for count in (_FIRST, _THEN, _THEN):
        y = low[..., None] + (high - low)[..., None] * np.linspace(0.0, 1.0, count)
        E = field_at(c, charges, np.stack([y, np.full_like(y, height)], axis=-1)).max(axis=-1)
        best = E.argmax(axis=-1)[..., None]
        field, offset = (np.take_along_axis(v, best, -1)[..., 0] for v in (E, y))
        step = (high - low) / (count - 1)
        low, high = offset - step, offset + step
    return GroundField(field, offset)


def surface_gradient(charges: ArrayLike, radius: float, subconductors: ArrayLike) -> Array:
    """Return the maximum field at the surface of a phase, its strands taken as smooth [V/m].

    `E = q/(2 pi eps0 n r) (1 + 2 r max|sum_j d_ij/|d_ij|^2|)`: the mean of n subconductors of radius r, and what the
    others of the bundle add to that of each; of a regular bundle on a circle of radius R that is `1 + (n - 1) r/R`
    (Markt and Mengele). Subconductors count as charged alike: in a row of three the outer ones carry more, and the
    greatest is 6 % above what is told here. The mean of one wire is its greatest, but for a share of `r/(2 h)`.

    Parameters
    ----------
    charges : array_like
        Of the whole phase, over `2 pi eps0`, effective [V].
    radius : float
        Of a subconductor [m].
    subconductors : array_like, shape (subconductor, 2)
        About the middle of the bundle [m].

    References
    ----------
    IEEE Radio Noise Working Group, "A survey of methods for calculating transmission line conductor surface voltage
    gradients", IEEE Trans. Power Apparatus and Systems 98 (1979) 1996 (recalled).
    """
    p = np.asarray(subconductors, np.float64)
    d = p[:, None] - p
    square = (d**2).sum(axis=-1) + np.eye(len(p))
    rise = np.linalg.norm((d / square[..., None]).sum(axis=1), axis=-1).max()
    return np.abs(charges) / (len(p) * radius) * (1 + 2 * radius * rise)


def phase_orders(circuits: int) -> Phasors:
    """Return the phasors of the three wires of each circuit in all orders of the phases, (3 circuits, order).

    Of one circuit all orders make the same field; of several the first is held and the others take their six each.

    Examples
    --------
    >>> phase_orders(1).shape, phase_orders(2).shape
    ((3, 1), (6, 6))
    """
    both = np.array([[1, _TURN, _TURN**2], [1, _TURN**2, _TURN]])
    six = np.concatenate([np.roll(both, step, axis=1) for step in range(3)])
    sets = [both[:1]] + [six] * (circuits - 1)
    grid = np.meshgrid(*(np.arange(len(each)) for each in sets), indexing="ij")
    return np.concatenate([each[index.ravel()].T for each, index in zip(sets, grid, strict=True)], dtype=np.complex128)
