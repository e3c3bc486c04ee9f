"""Wires blown out by wind against the edge of the right-of-way, and against what stands beside them."""

import numpy as np
import shapely

from corridor.clearance.swing import to_grid
from corridor.clearance.vertical import Checked, worst_of

__all__ = ["RIGHT_OF_WAY", "beside_objects", "within_right_of_way"]

#: What stands for the right-of-way where an obstacle's index is asked for.
RIGHT_OF_WAY = -2

#: Objects farther than this from the straight span are not looked at [m].
REACH = 60.0


def within_right_of_way(swung, wires, spans, structures, way, cases):
    """Return the least distance from any swung wire of each span to the edge of the right-of-way.

    Parameters
    ----------
    swung : Swung
        Axes (wire span, option, case, side).
    wires : WireSpans
    spans : Spans
    structures : Structures
    way : RightOfWay
        A half width is measured from the line between structure centres, a polygon in plan.
    cases : ndarray of int
        What the case axis of `swung` stands for.

    Returns
    -------
    Checked
        `measure` "horizontal"; `actual` negative where the wire is outside.
    """
    points = swung.points
    if way.polygon is None:
        room = way.half_width - np.abs(points[..., 1])
    else:
        room = _room_in(way.polygon, to_grid(points, structures, spans, wires.span))
        room *= spans.ground_factor[wires.span].reshape(-1, 1, 1, 1, 1)
    return _reduce(room, points, swung.share, wires, np.arange(len(wires)), RIGHT_OF_WAY, cases)


def _room_in(polygon, points):
    """Distance to the edge of a polygon, negative outside [m of the grid]."""
    known = np.isfinite(points[..., :2]).all(axis=-1)
    spot = shapely.points(points[known][:, :2])
    shapely.prepare(polygon)
    distance = shapely.distance(spot, shapely.boundary(polygon))
    room = np.full(points.shape[:-1], np.nan)
    room[known] = np.where(shapely.contains(polygon, spot), distance, -distance)
    return room


def beside_objects(swung, wires, spans, structures, index, cases, clear_above):
    """Return the least horizontal distance from swung wires to objects that stand beside them.

    A wire that passes higher than the vertical clearance over the object's top is not beside it, and is not
    compared there.

    Parameters
    ----------
    swung, wires, spans, structures, cases
        As in `within_right_of_way`.
    index : ObstacleIndex
    clear_above : ndarray, shape (part,)
        Elevation [m] above which a wire is over the part of the index, not beside it; nan: not to be compared.

    Returns
    -------
    Checked
    """
    pairs = _near_pairs(wires, spans, structures, index, clear_above)
    points = to_grid(swung.points, structures, spans, wires.span)
    found = []
    for wire, part in pairs:
        beside = points[wire][..., 2] < clear_above[part]
        spot = shapely.points(points[wire][..., :2])
        distance = shapely.distance(spot, index.footprint[part]) * spans.ground_factor[wires.span[wire]]
        found.append(np.where(beside, distance, np.nan))
    if not found:
        return _reduce(np.zeros((0, *swung.points.shape[1:-1])), swung.points[:0], swung.share, wires,
                       np.zeros(0, int), np.zeros(0, int), cases)
    wire = np.array([w for w, _ in pairs])
    obstacle = index.of_part[[p for _, p in pairs]]
    return _reduce(np.array(found), swung.points[wire], swung.share, wires, wire, obstacle, cases)


def _near_pairs(wires, spans, structures, index, clear_above):
    tail, head = spans.tail[wires.span], spans.head[wires.span]
    line = shapely.linestrings(np.stack([
        np.stack([structures.easting[s], structures.northing[s]], axis=-1) for s in (tail, head)], axis=1))
    wire, part = index.tree.query(line, predicate="dwithin", distance=REACH)
    wanted = np.isfinite(clear_above[part])
    return list(zip(wire[wanted].tolist(), part[wanted].tolist(), strict=True))


def _reduce(room, points, share, wires, wire, obstacle, cases):
    """Worst place, side and wire of each span, option and case; room (row, option, case, side, place)."""
    rows, options, count, sides, places = room.shape
    flat = np.where(np.isnan(room), np.inf, room).reshape(rows, options * count, sides * places)
    at = flat.argmin(axis=-1) if rows else np.zeros((0, options * count), int)
    least = np.take_along_axis(flat, at[..., None], -1)[..., 0]
    least = np.where(np.isfinite(least), least, np.nan)
    obstacle = np.broadcast_to(obstacle, wire.shape)
    key = wires.span[wire] * (obstacle.max(initial=0) + 3) + obstacle + 2
    row = worst_of(key, least)[1]
    state = np.broadcast_to(np.arange(row.shape[1]), row.shape)[row >= 0]
    r = row[row >= 0]
    option, case = np.divmod(state, max(count, 1))
    side, place = np.divmod(at[r, state], places)
    spot = points[r, option, case, side, place]
    height = np.full(len(r), np.nan)
    return Checked(wire[r], option, cases[case], obstacle[r], np.full(len(r), "horizontal", object),
                   np.full(len(r), "beside", object), least[r, state], share[place], spot[:, 2], height, spot[:, 1])
