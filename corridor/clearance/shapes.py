"""The room that a rule keeps free about an object, in the plane of horizontal and vertical distance.

One region stands for all shapes. With the object in the quadrant d <= 0, v <= 0 and its edge in the origin, it is
`{d < H and v < V and hypot(max(d, 0), max(v, 0)) < max(H, V)}`: V kept free above, H beside, and in the corner an arc
about the edge with the greater of the two. A strip above has H = 0, a strip beside V = 0, a circle H = V.
"""

from typing import NamedTuple

import numpy as np

__all__ = ["BESIDE", "ROUND", "ABOVE", "Room", "room"]

#: What a wire is clear of a region by, as `Room.way` tells it: its height, its distance in plan, or its distance from
#: the edge.
ABOVE, BESIDE, ROUND = 0, 1, 2


class Room(NamedTuple):
    """How far wires are outside of regions: `margin` [m], negative inside; `way` one of `ABOVE`, `BESIDE`, `ROUND`."""

    margin: np.ndarray
    way: np.ndarray


def room(d, v, H, V, *, rounded=True):
    """Return how far a wire is outside of the region about an object.

    `margin = max(v - V, d - H, r - max(H, V))`, of which a square corner lacks the last, with the distance r from the
    object, negative within it. The margin is the distance to the edge of the region inside of it, and outside wherever
    the nearest point is no corner of the region; there it is less than the distance, and so on the safe side.

    Parameters
    ----------
    d : array_like, shape (...)
        Horizontal distance from the object's edge [m], outward; 0 or less above and below its top.
    v : array_like, shape (...)
        Height above the object's top [m], negative below it.
    H, V : array_like, shape (...)
        Required beside and above [m], 0 for none.
    rounded : array_like of bool, shape (...)
        Whether the corner is rounded.

    Returns
    -------
    Room
        nan, and `ABOVE`, where a distance or a requirement is unknown.

    Examples
    --------
    >>> room([5.0, -1.0, 3.0], [1.0, 6.0, 3.5], 3.0, 4.0)
    Room(margin=array([2.        , 2.        , 0.60977223]), way=array([1, 0, 2]))
    """
    d, v, H, V = (np.asarray(x, float) for x in (d, v, H, V))
    r = np.hypot(np.maximum(d, 0), np.maximum(v, 0)) + np.minimum(np.maximum(d, v), 0)
    arc = np.where(rounded, r - np.maximum(H, V), -np.inf)
    ways = np.stack(np.broadcast_arrays(v - V, d - H, arc))
    unknown = np.isnan(ways).any(axis=0)
    way = np.where(unknown, ABOVE, np.where(unknown, 0.0, ways).argmax(axis=0))
    return Room(np.where(unknown, np.nan, ways.max(axis=0)), way)
