"""The subconductors of a phase as one: where they are about its middle, and the one round wire that stands for them."""

import numpy as np

from corridor.arrays import Array, ArrayLike

__all__ = ["equivalent_radius", "subconductor_places"]


def subconductor_places(count: int, spacing: float, arrangement: str | None = None) -> Array:
    """Return where subconductors are about the middle of their bundle, right and up (count, 2) [m].

    Parameters
    ----------
    count : int
    spacing : float
        Between neighbours [m]; not used for one wire.
    arrangement : str, optional
        "horizontal" or "vertical": a row or a column; "triangle", pointing up, "square", on a side; else a ring.

    Examples
    --------
    >>> subconductor_places(2, 0.4).round(3).tolist()
    [[0.2, 0.0], [-0.2, 0.0]]
    """
    if count == 1:
        return np.zeros((1, 2))
    if arrangement in ("horizontal", "vertical"):
        row = (np.arange(count) - (count - 1) / 2) * spacing
        return np.stack([row, np.zeros(count)] if arrangement == "horizontal" else [np.zeros(count), row], axis=-1)
    first = {"triangle": np.pi / 2, "square": np.pi / 4}.get(arrangement or "", 0.0)
    angle = first + 2 * np.pi * np.arange(count) / count
    return spacing / (2 * np.sin(np.pi / count)) * np.stack([np.cos(angle), np.sin(angle)], axis=-1)


def equivalent_radius(places: ArrayLike, own: float) -> float:
    """Return the radius of the one wire that a bundle acts as [m].

    `r_eq = (own^n prod(d_ij, i != j))^(1/n^2)`: the geometric mean of all distances, those of a subconductor from
    itself taken as `own`. With its radius it is for charges, with its geometric mean radius for reactance.

    Parameters
    ----------
    places : array_like, shape (subconductor, 2)
        [m]
    own : float
        [m]

    References
    ----------
    J. J. Grainger, W. D. Stevenson, *Power System Analysis*, McGraw-Hill 1994, sections 4.9 and 5.6.

    Examples
    --------
    Two wires `d` apart: `sqrt(own d)`.

    >>> round(equivalent_radius([[0.0, 0.0], [0.45, 0.0]], 0.0142), 4)
    0.0799
    """
    p = np.asarray(places, np.float64)
    d = np.linalg.norm(p[:, None] - p, axis=-1) + own * np.eye(len(p))
    return float(np.exp(np.log(d).mean()))
