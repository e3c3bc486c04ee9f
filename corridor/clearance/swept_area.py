"""Objects between the swings at which wires are hung: found with buffers about them, and told apart by the swept area.

Between two swings a wire passes over ground that it is hung over at neither. Objects are buffered by half of the
maximum step that the wire makes, so that one of the swings meets them; what the swept area itself does not touch is
let go again.
"""

from dataclasses import replace

import numpy as np
import shapely

__all__ = ["buffered", "steps_of", "swept_pairs"]


def steps_of(swung, swings):
    """Return how far apart neighbouring swings of each wire lie at most, at mid-span in plan [m].

    Parameters
    ----------
    swung : Nodes
    swings : int
        Number of swings of each wire.

    Returns
    -------
    row : ndarray of int, shape (wire,)
        A row of each wire.
    step : ndarray, shape (wire,)
        The next of 0.25, 0.5, 1, 2 ... m that is no less: it depends on that wire alone, and few numbers stand for all.
    """
    order = np.lexsort((swung.swing, swung.path))
    middle = swung.points(np.array([0.5]))[order, 0, 1]
    step = np.nan_to_num(np.abs(np.diff(middle.reshape(-1, swings), axis=1))).max(axis=1, initial=0.0)
    return order[::swings], 2.0 ** np.ceil(np.log2(np.maximum(step, 0.25)))


def buffered(index, plan, distance):
    """Return the index of what lies within a box, its footprints buffered by a distance.

    Parameters
    ----------
    index : ObstacleIndex
    plan : ndarray, shape (point, 2)
        Points that the box shall hold.
    distance : float
        [m]
    """
    low, high = np.nanmin(plan, axis=0) - distance, np.nanmax(plan, axis=0) + distance
    near = np.sort(index.tree.query(shapely.box(*low, *high)))
    part, of_part = index.part[near], index.of_part[near]
    footprint = index.footprint.buffered(near, distance)
    return replace(index, part=part, footprint=footprint, of_part=of_part, tree=footprint)


def swept_pairs(index, key, curves):
    """Return the pairs of key and obstacle whose footprint the area swept by the key's curves touches.

    Parameters
    ----------
    index : ObstacleIndex
        With footprints as they are.
    key : ndarray of int, shape (row,)
        What each curve belongs to: one wire at all its swings.
    curves : ndarray, shape (row, vertex, 2)

    Returns
    -------
    ndarray of int
        Keys times the number of obstacles, and obstacle.
    """
    if not len(key):
        return key

    keys, owner = np.unique(key, return_inverse=True)
    count = np.bincount(owner)
    flat = curves[np.argsort(owner, kind="stable")].reshape(-1, 2)
    hulls = shapely.convex_hull(shapely.multipoints(flat, indices=np.repeat(np.arange(len(keys)),
                                                                           count * curves.shape[1])))
    hull, part = index.tree.query(hulls, predicate="intersects")
    return np.unique(keys[hull] * len(index.obstacles) + index.of_part[part])
