"""The ground under wires, as rows of surface."""

import numpy as np

from corridor.geometry.distance import Rows

__all__ = ["ground_rows", "unknown_share"]


def ground_rows(wires, first, fraction, elevation):
    """Return the ground profile under every wire span as `Rows`, one row per wire span.

    Parameters
    ----------
    wires : WireSpans
    first, fraction, elevation
        Ragged profile of the ground raster along each wire's chord; elevation nan where there is none [m].
    """
    rise = wires.end[:, 2] - wires.start[:, 2]
    return Rows(first, fraction, elevation, wires.length, wires.start[:, 2], rise)


def unknown_share(rows):
    """Return the share of each row's length over pieces whose surface is unknown [-], shape (row,)."""
    owner = np.repeat(np.arange(len(rows.first) - 1), np.diff(rows.first))
    knot = np.flatnonzero((np.arange(len(owner)) - rows.first[owner]) % 2 == 0)
    left = knot[:-1][owner[knot[:-1]] == owner[knot[1:]]]
    unknown = np.isnan(rows.surface[left] + rows.surface[left + 1] + rows.surface[left + 2])
    width = rows.fraction[left + 2] - rows.fraction[left]
    return np.bincount(owner[left], width * unknown, minlength=len(rows.first) - 1)
