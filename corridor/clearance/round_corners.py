"""Rounded corners: how near wires come, along their swing, to the room about things whose corner is an arc.

What a wire is outside of such a room (`corridor.clearance.shapes`) is no smooth function of its place: it is least
where two of its terms meet, most often, on lines that run aslant through swing and wire. Distance and height are
smooth, or nearly so. So these are taken between few nodes as parabolas, and the least is looked for in them, about ever
closer nodes.
"""

import numpy as np
import shapely

from corridor.clearance.shapes import room
from corridor.clearance.vertical import least_rows
from corridor.line.swing import to_grid

__all__ = ["nearest_rooms"]

#: Swings and shares of the first look, how many there are after it at most, and how close nodes of the last ones are
#: along the wire [-].
_SWINGS, _SHARES, _LOOKS, _CLOSE = np.linspace(-1, 1, 17), np.linspace(0, 1, 65), 60, 3e-7
#: Lines between three nodes, from -1 to 1, on each of which the least is looked for at so many places, and how often
#: these are narrowed to the two next to the lowest; a window that has it farther off its middle than so much is moved.
_LINES, _ON_LINE, _NARROWED, _OUT = np.linspace(-1, 1, 9), 13, 3, 0.6
#: Windows are followed, and moved, as long as their nodes are not higher than the lowest before by more than this [m].
_SAME_PLACE = 1e-9
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
        its height alone, the least distance in plan of all its places there.
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
        first = np.broadcast_to(_SWINGS, (len(row), len(_SWINGS))), np.broadcast_to(_SHARES, (len(row), len(_SHARES)))
        of, at = self._starts(row, _known(value(row, *self.apart(row, *first))))
        half = np.tile(2 * np.array([_SWINGS[1] - _SWINGS[0], _SHARES[1]]), (len(of), 1))
        least, best, left = np.full(len(of), np.inf), at.copy(), np.arange(len(of))
        for _ in range(_LOOKS):
            if not len(left):
                break
            some, wide = row[of[left]], half[left]
            middle = np.clip(at[left], wide - [1, 0], 1 - wide)
            nodes = middle[..., None] + wide[..., None] * np.array([-1, 0, 1])
            fields = self.apart(some, nodes[:, 0], nodes[:, 1])
            found, node = _lowest(value(some, *fields), nodes)
            nearer, here = found < least[left], (found < least[left] + _SAME_PLACE)[:, None]
            least[left[nearer]], best[left[nearer]] = found[nearer], node[nearer]
            found, close = _lowest_between(lambda d, v, some=some: value(some, d, v), fields)
            close = middle + wide * close
            here &= np.isfinite(found)[:, None]
            at[left] = np.where(here, close, best[left])
            # What leads out of the window is followed with another one of its width.
            out = np.abs(np.clip(close, wide - [1, 0], 1 - wide) - middle) > _OUT * wide
            half[left] = np.where(here & out.any(axis=1, keepdims=True), wide, wide / 2)
            left = left[half[left, 1] > _CLOSE]
        return best[least_rows(of, least)].T[..., None]

    def _starts(self, row, first):
        """Of first looks (row, swing, share) the lowest along the wire that may hold the least, which changes by no
        more than the way: number of the row, and swing and share (start, 2)."""
        wires, swing = self._scene.wires, first.argmin(axis=1)
        low = first.min(axis=1)
        step = np.linalg.norm((wires.end - wires.start)[self._rows.wire[row], :2], axis=-1) * _SHARES[1]
        around = np.pad(low, ((0, 0), (1, 1)), constant_values=np.inf)
        some = (low < around[:, :-2]) & (low <= around[:, 2:]) & (low <= low.min(axis=1, keepdims=True) + step[:, None])
        some[np.isinf(low).all(axis=1), 0] = True
        of, share = np.nonzero(some)
        return of, np.stack([_SWINGS[swing[of, share]], _SHARES[share]], axis=-1)


def _known(value):
    return np.where(np.isnan(value), np.inf, value)


def _lowest(value, nodes):
    """Least of values (row, swing, share) and the swing and share of it, of nodes (row, 2, node)."""
    value, every = _known(value).reshape(len(value), -1), np.arange(len(value))
    swing, share = np.divmod(value.argmin(axis=1), nodes.shape[-1])
    return value.min(axis=1, initial=np.inf), np.stack([nodes[every, 0, swing], nodes[every, 1, share]], axis=-1)


def _parabola(at):
    """Factors of the values at -1, 0 and 1, of the parabola through them."""
    return at * (at - 1) / 2, 1 - at**2, at * (at + 1) / 2


def _lowest_between(value, fields):
    """Least (row,) of the value of fields (row, 3, 3) between their nodes, and its swing and share (row, 2), -1 to 1.

    At each of many shares it is sought along the swing, and at each of many swings along the wire: however aslant low
    places run, one of both has them."""
    across, there = _lowest_of_lines(value, fields)
    along, here = _lowest_of_lines(value, [field.swapaxes(1, 2) for field in fields])
    return np.minimum(across, along), np.where((across <= along)[:, None], there, here[:, ::-1])


def _lowest_of_lines(value, fields):
    """Least (row,) of the value of fields (row, 3, 3) on lines along the first of both ways, and where (row, 2)."""
    columns = [field @ np.stack(_parabola(_LINES)) for field in fields]
    every = np.arange(len(columns[0]))
    low, high = (np.full((len(every), len(_LINES)), end) for end in (-1.0, 1.0))
    for _ in range(_NARROWED):
        at = low[..., None] + (high - low)[..., None] * np.linspace(0, 1, _ON_LINE)
        factors = _parabola(at)
        found = _known(value(*(sum(f * column[:, k, :, None] for k, f in enumerate(factors)) for column in columns)))
        node = found.argmin(axis=-1)[..., None]
        middle, half = np.take_along_axis(at, node, -1)[..., 0], (high - low) / (_ON_LINE - 1)
        low, high = np.maximum(middle - half, low), np.minimum(middle + half, high)
    least = found.min(axis=-1)
    share = least.argmin(axis=1)
    return least[every, share], np.stack([middle[every, share], _LINES[share]], axis=-1)
