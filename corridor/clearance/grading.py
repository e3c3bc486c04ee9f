"""How much ground has to go so that wires clear it: area and volume from margin."""

from typing import NamedTuple

import numpy as np

__all__ = ["Grading", "grading"]


class Grading(NamedTuple):
    """What is to be dug: `area` [m²] of the cells that are in violation, `volume` [m³] above what is allowed there."""

    area: np.ndarray
    volume: np.ndarray


def grading(margin, cell_area):
    """Return what has to be removed from the ground so that no cell is in violation.

    Parameters
    ----------
    margin : array_like, shape (..., cell)
        Highest elevation that the rules allow, less the ground [m]: negative where the ground is too high. nan where it
        is not known, or where no rule bounds the ground; such cells count nothing.
    cell_area : array_like, shape (..., cell) or broadcasting to it
        In metres of ground [m²], not of the grid.

    Returns
    -------
    Grading
        `volume = sum(max(-margin, 0) cell_area)`, of shape (...): of vertical cuts, without the slopes that earth
        stands at, and without what loosened earth fills. It is the least that can be dug. nan where no cell is known,
        of which nothing can be said.

    Examples
    --------
    >>> found = grading([0.4, -0.5, -0.25, float("nan")], 4.0)
    >>> [float(value) for value in found]
    [8.0, 3.0]
    """
    h, A = np.broadcast_arrays(np.asarray(margin, float), np.asarray(cell_area, float))
    known = np.isfinite(h)
    cut = np.where(known & (h < 0), -h, 0.0)
    some = known.any(axis=-1)
    return Grading(*(np.where(some, (A * of).sum(axis=-1), np.nan) for of in (cut > 0, cut)))
