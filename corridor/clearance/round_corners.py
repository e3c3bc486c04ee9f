"""Rounded corners: how near wires come, along their swing, to the room about things whose corner is an arc.

What a wire is outside of such a room (`corridor.clearance.shapes`) is no smooth function of its place, but distance and
height are, or nearly so: `least_places` looks for the least.
"""

import numpy as np
import shapely

from corridor.clearance.least_places import least_places, place_step
from corridor.clearance.shapes import room
from corridor.line.swing import to_grid

__all__ = ["nearest_rooms"]

#: Two ways of being clear are told apart by more than this [m].
_SAME = 1e-3
#: More than any distance [m].
_FAR = 1e6
#: Rows worked on at once.
_AT_ONCE = 400


def nearest_rooms(scene, rows, top, aside, beside, above):
    """Return how near wires come, along their whole swing, to rooms with a rounded corner.

    Parameters
    ----------
    scene : Scene
    rows
        Columns (row,): `wire` span, `way` and the thing's `footprint`.
    top, aside, beside, above : ndarray, shape (row,)
        Elevation of the thing's top, how far a bundle reaches aside, and what is required beside and above [m].

    Returns
    -------
    least : ndarray, shape (row,)
        Where the wire is least outside of the room, its distance from the thing in plan, or from the edge of its top
        where that is what it is clear by [m]. nan where it is clear by its height alone. Where it is within the room by
        its height alone, the minimum distance in plan of all its places there.
    place : ndarray, shape (row, 3)
        In the frame of the span.
    rounded : ndarray of bool, shape (row,)
        Whether the distance is that from the edge.
    """
    near = _Rooms(scene, rows, top, aside, beside, above)
    least, place, rounded = np.empty(len(top)), np.empty((len(top), 3)), np.zeros(len(top), bool)
    for first in range(0, len(top), _AT_ONCE):
        some = np.arange(first, min(first + _AT_ONCE, len(top)))
        at = near.search(some, near.margin)
        d, r, by_plan, by_arc, within = near.told(some, *at)
        if within.any():
            at[:, within] = near.search(some[within], near.plan_within)
            d = near.apart(some, *at)[0][:, 0, 0]
        least[some] = np.select([by_plan | within, by_arc], [d, r], np.nan)
        place[some], rounded[some] = scene.ways.places(rows.way[some], *at)[:, 0, 0], by_arc
    return least, place, rounded


class _Rooms:
    """Rows of wires and things: how far places of the ones are from the others, and outside of the room about them."""

    def __init__(self, scene, rows, top, aside, beside, above):
        self._scene, self._rows, self._span = scene, rows, scene.wires.span[rows.wire]
        self._factor = scene.spans.ground_factor[self._span]
        self._top, self._aside, self._beside, self._above = (v[:, None, None] for v in (top, aside, beside, above))

    def apart(self, row, swing, share):
        """Distances in plan from things and heights above their tops (row, swing, share) [m]."""
        place = self._scene.ways.places(self._rows.way[row], swing, share)
        flat = to_grid(place.reshape(len(row), -1, 3), self._scene.structures, self._scene.spans, self._span[row])
        d = shapely.distance(shapely.points(flat[..., :2]), self._rows.footprint[row, None]) * self._factor[row, None]
        return d.reshape(place.shape[:-1]) - self._aside[row], place[..., 2] - self._top[row]

    def margin(self, row, d, v):
        """How far such places are outside of the room [m]."""
        return room(d, v, self._beside[row], self._above[row]).margin

    def plan_within(self, row, d, v):
        """Distances in plan within the room, and beyond all others without [m]."""
        margin = self.margin(row, d, v)
        return np.where(margin < 0, d, _FAR + margin)

    def told(self, row, swing, share):
        """Distance in plan and from the edge at one place of each row [m]; whether it is clear, or short, by the one or
        by the other, and whether it is within the room by its height alone."""
        d, v = (each[:, 0, 0] for each in self.apart(row, swing, share))
        beside, above = self._beside[row, 0, 0], self._above[row, 0, 0]
        r, margin = np.hypot(np.maximum(d, 0), np.maximum(v, 0)), room(d, v, beside, above).margin
        by_plan = d - beside >= margin - _SAME
        by_arc = ~by_plan & (d > 0) & (r - np.maximum(beside, above) >= margin - _SAME)
        return d, r, by_plan, by_arc, ~by_plan & ~by_arc & (margin < 0)

    def search(self, row, value):
        """Swings and shares at which values of rows are least, (2, row, 1)."""
        return least_places(row, place_step(self._scene.wires, self._rows.wire[row]), self.apart, value)
