"""How near wires come in space to wires of other lines, along their whole swing."""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.clearance.other_lines import states_of
from corridor.clearance.trees import checked_rows, closest, local, near_pairs
from corridor.geometry.between import Curve, to_wire

__all__ = ["near_lines"]

#: What stands for the catenary constant of a straight piece of a line [m]: it hangs by a millimetre in 900 m.
_STRAIGHT = 1e8
#: Places along ours and turns of its swing in the first look.
_FIRST = 65, 17
#: Rows worked on at once.
_AT_ONCE = 400


class _Theirs(NamedTuple):
    """Wires of other lines as curves, one row for each piece or state: `start`, `end` (row, 3) on the grid [m],
    `constant` [m]; `part` of the index; `movement` [m] that they may be off."""

    start: np.ndarray
    end: np.ndarray
    constant: np.ndarray
    part: np.ndarray
    movement: np.ndarray


def near_lines(scene, index, partners, cases, chosen, reach):
    """Return the least distance in space from wires, along their whole swing, to wires of other lines.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
    partners : Partners
    cases : ndarray of int
        All with wind, or all without.
    chosen : ndarray of bool, shape (part,)
        Lines with elevations of their own.
    reach : float
        Distance within which they are looked for, from wherever wind blows ours [m].

    Returns
    -------
    Checked
        `measure` "radial", `position` "above" or "below". Theirs is still, in whichever of its states is nearest; one
        of an assumed state is nearer by how much it may be off.
    """
    wire, part = near_pairs(scene, index, cases, chosen, np.full(len(chosen), reach))
    theirs = _curves(index, np.unique(part))
    pair, row = _expanded(part, theirs.part)
    shape = len(pair), len(scene.options), len(cases)
    at, o, k = (v.ravel() for v in np.indices(shape))
    w, row = wire[pair[at]], row[at]
    met = partners.meet(scene.wires.span[w], index.of_part[theirs.part[row]], o)
    w, row, o, k = w[met], row[met], o[met], cases[k[met]]
    least, place, height = np.full(len(w), np.nan), np.full((len(w), 3), np.nan), np.full(len(w), np.nan)
    way = scene.way(w, o, k)
    for first in range(0, len(w), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        curve = _taken(scene, theirs, row[some], w[some])
        least[some], place[some], height[some] = _look(scene, way[some], curve)
    least = np.maximum(least - theirs.movement[row], 0)
    position = np.where(place[:, 2] >= height, "above", "below").astype(object)
    return checked_rows(scene, index, w, theirs.part[row], o, k, least, place, position, height)


def _curves(index, parts):
    """The curves of some parts: pieces of what is surveyed, states of what is strung."""
    obstacles, rows = index.obstacles, []
    stated = states_of(obstacles)
    for p in parts:
        thing = index.of_part[p]
        state = obstacles.states[thing] if stated[thing] else None
        if state is not None and state.below is not None:
            rows += [(*ends, p, state.movement) for ends in zip(state.start, state.end, state.constant, strict=True)]
            continue
        xyz = shapely.get_coordinates(index.part[p], include_z=True)
        movement = 0.0 if state is None else state.movement
        rows += [(a, b, _STRAIGHT, p, movement) for a, b in zip(xyz[:-1], xyz[1:], strict=True)
                 if (a[:2] != b[:2]).any()]
    start, end = (np.array([row[i] for row in rows], float).reshape(-1, 3) for i in (0, 1))
    return _Theirs(start, end, *(np.array([row[i] for row in rows], kind) for i, kind in ((2, float), (3, int),
                                                                                         (4, float))))


def _expanded(part, of_curve):
    """Pairs of a row of parts and of a curve of that part."""
    order = np.argsort(of_curve, kind="stable")
    begin, stop = (np.searchsorted(of_curve[order], part, side=side) for side in ("left", "right"))
    count = stop - begin
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.repeat(np.arange(len(part)), count), order[np.repeat(begin, count) + within]


def _taken(scene, theirs, row, wire):
    """Curves in the frames of the spans of our wires."""
    ends = [np.column_stack([local(scene, wire, point[row, :2]), point[row, 2]])
            for point in (theirs.start, theirs.end)]
    return Curve(*ends, theirs.constant[row])


def _look(scene, way, curve):
    """Least distance of rows, its place on our wire, and the elevation of theirs."""
    def distance(place):
        return to_wire(place.reshape(len(place), -1, 3), curve)[0].reshape(place.shape[:3])

    value, place = closest(scene, way, np.zeros(len(way)), np.ones(len(way)), distance, _FIRST)
    share = to_wire(place[:, None], curve)[1]
    return value, place, curve.at(share)[0][:, 0, 2]
