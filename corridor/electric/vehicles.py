"""What the field induces in a vehicle that stands below a line: the current to the ground when someone touches it.

The vehicle is a box of metal down to the ground, in the even field that the line would have there without it. That is
the greatest that a vehicle of its length, width and height can take: real ones stand on tyres and fill less, and
handbook values for them are 15 to 25 % lower.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.electric.charges import PERMITTIVITY

__all__ = ["box_charges", "equivalent_area", "short_circuit_current"]

#: Parts across the width of a box: 0.2 % short of twice as many.
_PARTS = 6


def short_circuit_current(frequency: ArrayLike, field: ArrayLike, area: ArrayLike) -> Array:
    """Return the current from a vehicle to the ground, effective [A]: `I = 2 pi f eps0 E S`.

    Parameters
    ----------
    frequency : array_like
        f [Hz].
    field : array_like
        E, near the ground without the vehicle, effective [V/m].
    area : array_like
        S, `equivalent_area` [m²].

    References
    ----------
    Electric Power Research Institute, *Transmission Line Reference Book, 345 kV and Above*, 2nd ed. 1982, section 8.8
    (recalled).
    """
    f, E, S = (np.asarray(v, np.float64) for v in (frequency, field, area))
    return 2 * np.pi * f * PERMITTIVITY * E * S


def equivalent_area(length: float, width: float, height: float) -> float:
    """Return the area of level ground that takes the charge of an earthed box in an even field [m²].

    Parameters
    ----------
    length, width, height : float
        [m], width and height of one order.

    Examples
    --------
    >>> round(equivalent_area(22.4, 2.59, 4.11))
    339
    """
    return float(4 * box_charges(length, width, height)[1].sum())


def box_charges(length: float, width: float, height: float, parts: int = _PARTS) -> tuple[Array, Array]:
    """Return the parts of a quarter of an earthed box on the ground, and the charge of each in an even field.

    By boundary elements: even charges on plane parts, with their images in the ground and in both planes of symmetry,
    that leave the middle of each part without potential.

    Parameters
    ----------
    length, width, height : float
        [m]
    parts : int
        Across the lesser of width and height.

    Returns
    -------
    places : ndarray, shape (part, 3)
        Middle of the parts of the roof and two walls [m].
    charges : ndarray, shape (part,)
        Over `eps0 E` [m²].
    """
    (dx, x), (dy, y), (dz, z) = (_cut(size, min(width, height) / parts) for size in (length / 2, width / 2, height))
    faces = [(x, y, np.array([height]), dx, dy), (x, np.array([width / 2]), z, dx, dz),
             (np.array([length / 2]), y, z, dy, dz)]
    places = np.concatenate([np.stack(np.meshgrid(*face[:3]), -1).reshape(-1, 3) for face in faces])
    counts = [len(x) * len(y), len(x) * len(z), len(y) * len(z)]
    area = np.repeat([a * b for *_, a, b in faces], counts)
    own = np.repeat([_own_potential(a, b) for *_, a, b in faces], counts)
    total = np.zeros((len(places), len(places)))
    for sign in np.stack(np.meshgrid([1, -1], [1, -1], [1, -1]), -1).reshape(-1, 3):
        distance = np.linalg.norm(places[:, None] - places * sign, axis=-1)
        same = np.eye(len(places), dtype=bool) & bool((sign > 0).all())
        total += sign[2] * np.where(same, own, area / np.where(same, 1.0, distance))
    return places, np.linalg.solve(total / (4 * np.pi), places[:, 2]) * area


def _cut(size: float, step: float) -> tuple[float, Array]:
    """Length of about a step that fits into a size, and the middles of such parts [m]."""
    count = max(round(size / step), 2)
    return size / count, (np.arange(count) + 0.5) * size / count


def _own_potential(a: float, b: float) -> float:
    """The integral of one over the distance from its middle over a rectangle [m]."""
    d = np.hypot(a, b)
    return float(2 * (a * np.log((b + d) / a) + b * np.log((a + d) / b)))
