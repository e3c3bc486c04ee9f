"""Radial clearance of wires in still air to points of some height and width: trees, masts."""

import numpy as np
import shapely

from corridor.clearance.crossings import chords
from corridor.clearance.vertical import Checked, worst_of
from corridor.geometry.distance import Ends, elevations, heights

__all__ = ["near_points"]

#: Points farther than this from every wire of a span are not compared [m].
REACH = 30.0
_PLACES = 65


def near_points(wires, index, constant, cases, tops, chosen, *, ground_factor, ends=None):
    """Return the least radial distance from wires to points that stand near them.

    A point is an upright of some radius up to its top: the distance is
    `hypot(max(d - r, 0), max(z - top, 0))` with the plan distance d and the wire's elevation z.

    Parameters
    ----------
    wires : WireSpans
    index : ObstacleIndex
    constant : ndarray, shape (wire span, option, case)
        Catenary constants [m].
    cases : ndarray of int
        Cases in still air.
    tops : ndarray, shape (part,)
        Elevation of the top of each part [m], nan where unknown.
    chosen : ndarray of bool, shape (part,)
        Parts that a radial rule is for.
    ground_factor : ndarray, shape (wire span,)
    ends : Ends, optional
        Of shape (wire span, option, case), where strings have moved the wires' ends along the chord and up.

    Returns
    -------
    Checked
        `measure` "radial".
    """
    wire, part = _pairs(wires, index, chosen)
    low, high, plan = _window(wires, index, wire, part)
    C = constant[wire][:, :, cases].reshape(len(wire), constant.shape[1] * len(cases))
    rise = wires.end[wire, 2] - wires.start[wire, 2]
    S, start = wires.length[wire], wires.start[wire, 2]
    radius = np.nan_to_num(index.obstacles.radius[index.of_part[part]])
    factor = ground_factor[wire]

    moved = None if ends is None else Ends(*(f[wire][:, :, cases].reshape(C.shape).T[..., None] for f in ends))

    def elevation(place):
        """Elevation of wires at places (state, pair, place)."""
        if moved is None:
            return heights(place, S[:, None], start[:, None], rise[:, None], C.T[..., None])
        return elevations(place, S[:, None], C.T[..., None], moved)

    def distance(place):
        """Distance at places (state, pair, place)."""
        z = elevation(place)
        beside = plan(place) * factor[:, None] - radius[:, None]
        return np.hypot(np.maximum(beside, 0), np.maximum(z - tops[part][:, None], 0))

    # Twice over ever narrower windows: the distance has one minimum near the foot of the point.
    for _ in range(3):
        place = low[..., None] + (high - low)[..., None] * np.linspace(0, 1, _PLACES)
        value = distance(place)
        best = np.where(np.isnan(value), np.inf, value).argmin(axis=-1)[..., None]
        centre = np.take_along_axis(np.broadcast_to(place, value.shape), best, -1)[..., 0]
        half = (high - low) / (_PLACES - 1)
        low, high = np.clip(centre - half, 0, 1), np.clip(centre + half, 0, 1)
    least = np.take_along_axis(value, best, -1)[..., 0].T
    height = elevation(np.broadcast_to(centre, least.T.shape)[..., None])[..., 0].T
    return _rows(wires, index, wire, part, cases, tops, least, centre.T, height)


def _pairs(wires, index, chosen):
    point = chosen & (shapely.get_type_id(index.part) == 0)
    if not point.any():
        return np.zeros(0, int), np.zeros(0, int)
    wire, part = index.tree.query(chords(wires), predicate="dwithin", distance=REACH)
    return wire[point[part]], part[point[part]]


def _window(wires, index, wire, part):
    """Shares of the span between which the nearest place lies, and the plan distance as a function of place."""
    spot = shapely.get_coordinates(index.part[part])
    start, end = wires.start[wire, :2], wires.end[wire, :2]
    along = end - start
    size = np.hypot(*along.T)
    foot = ((spot - start) * along).sum(1) / size**2
    across = np.abs(along[:, 0] * (spot - start)[:, 1] - along[:, 1] * (spot - start)[:, 0]) / size
    reach = 2 * REACH / size
    low, high = np.clip(foot - reach, 0, 1), np.clip(foot + reach, 0, 1)
    return low[None], high[None], lambda place: np.hypot(across[:, None], (place - foot[:, None]) * size[:, None])


def _rows(wires, index, wire, part, cases, tops, least, centre, height):
    obstacle = index.of_part[part]
    key = wires.span[wire] * (obstacle.max(initial=0) + 1) + obstacle
    row = worst_of(key, least)[1]
    state = np.broadcast_to(np.arange(row.shape[1]), row.shape)[row >= 0]
    r = row[row >= 0]
    option, case = np.divmod(state, max(len(cases), 1))
    place = np.broadcast_to(centre, least.shape)[r, state]
    z = height[r, state]
    top = tops[part[r]]
    position = np.where(z >= top, "above", "beside").astype(object)
    return Checked(wire[r], option, cases[case], obstacle[r], np.full(len(r), "radial", object), position,
                   least[r, state], place, z, np.minimum(top, z), np.full(len(r), np.nan))
