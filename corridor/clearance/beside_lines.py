"""How near wires come to wires of other lines, along their whole swing: in space, and sideways."""

from dataclasses import replace
from functools import partial
from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import matches, take
from corridor.clearance.least_places import least_places, place_step
from corridor.clearance.other_lines import states_of
from corridor.clearance.trees import checked_rows, closest, near_pairs
from corridor.geometry.between import Curve, to_wire
from corridor.line.swing import from_grid

__all__ = ["lines_beside", "near_lines"]

#: What stands for the catenary constant of a straight piece of a line [m]: it hangs by a millimetre in 900 m.
_STRAIGHT = 1e8
#: A line that follows the ground goes straight between places as far apart [m]; half the length of a lone point.
_DRAPED, _POINT = 10.0, 0.01
#: Places along ours and turns of its swing in the first look, and in the glance that tells what is far from the least.
_FIRST, _GLANCE = (65, 17), (33, 5)
#: A swung wire between four places of a glance is no farther from all of them than this times half the steps' sum: its
#: ways bow out between them.
_BOWED = 1.1
#: Places of theirs that are looked at, as shares of the distance required, to both sides of the nearest in plan.
_ALONG = np.linspace(-1, 1, 5)
#: How much farther than is required lines are looked for [m]: what just clears has a row as well, and no limit jumps.
_JUST_CLEAR = 1e-3
#: Two ways of being within are told apart by more than this [m].
_SAME = 1e-3
#: More than any distance [m].
_FAR = 1e6
#: Rows worked on at once.
_AT_ONCE = 400


class _Theirs(NamedTuple):
    """Wires of other lines as curves, one row for each piece or state: `start`, `end` (row, 3) on the grid [m],
    `constant` [m]; `part` of the index; `movement` [m] that they may be off, and `radius` that they are wide."""

    start: np.ndarray
    end: np.ndarray
    constant: np.ndarray
    part: np.ndarray
    movement: np.ndarray
    radius: np.ndarray


class _Pairs(NamedTuple):
    """Wires of ours and curves of theirs that are compared, one row a pair, option and case: `wire`, `row` of theirs,
    `option`, `case`."""

    wire: np.ndarray
    row: np.ndarray
    option: np.ndarray
    case: np.ndarray


def near_lines(scene, index, sample, partners, cases, chosen, reach, known=None):
    """Return the minimum distance in space from wires, along their whole swing, to wires of other lines.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
    sample : callable
        `(easting, northing) -> ground elevation [m]`, for lines of which the height above it is known.
    partners : Partners
    cases : ndarray of int
        All with wind, or all without.
    chosen : ndarray of bool, shape (part,)
        Lines whose elevation is known.
    reach : float
        Distance within which they are looked for, from wherever wind blows ours [m].
    known : dict, optional
        The least that has been found [m], by span, obstacle, option and case: what is not nearer need not come.

    Returns
    -------
    Checked
        `measure` "radial", `position` "above" or "below". Theirs is still, in whichever of its states is nearest; one
        of an assumed state is nearer by how much it may be off.
    """
    theirs, pairs = _pairs(scene, index, sample, partners, cases, chosen, reach)
    pairs = _hopeful(scene, index, theirs, pairs, known)
    count = len(pairs.wire)
    least, place, height = np.full(count, np.nan), np.full((count, 3), np.nan), np.full(count, np.nan)
    for some, way, curve in _some(scene, theirs, pairs):
        least[some], place[some], height[some] = _look(scene, way, curve)
    least = np.maximum(least - (theirs.movement + theirs.radius)[pairs.row], 0)
    position = np.where(place[:, 2] >= height, "above", "below").astype(object)
    return _checked(scene, index, theirs, pairs, least, place, position, height)


def lines_beside(scene, index, sample, partners, cases, chosen, beside, above):
    """Return how far wires pass sideways of wires of other lines that they are not far enough above or below of.

    Parameters
    ----------
    scene, index, sample, partners, cases
        As in `near_lines`.
    chosen : ndarray of bool, shape (part,)
        Lines, and points of lines, whose elevation is known.
    beside : ndarray, shape (part, case of `cases`)
        What is required sideways [m].
    above : ndarray, shape (part,)
        What is required above and below: a wire that has it is not beside [m].

    Returns
    -------
    Checked
        `measure` "horizontal", `position` "beside": the distance in plan where `max(d - H, |z - z'| - V)` is least,
        with d and z - z' to each place of theirs; where the latter of both is that, the minimum distance in plan within
        the room, and no row where nothing is within.
    """
    reach = beside.max(initial=0.0, where=chosen[:, None]) + scene.reach.around.max(initial=0.0) + _JUST_CLEAR
    theirs, pairs = _pairs(scene, index, sample, partners, cases, chosen, reach)
    column = np.searchsorted(cases, pairs.case)
    wide = scene.reach.around[pairs.wire, pairs.option, pairs.case]
    H, V = beside[theirs.part[pairs.row], column] + wide, above[theirs.part[pairs.row]] + wide
    least, place, height = np.full(len(H), np.nan), np.full((len(H), 3), np.nan), np.full(len(H), np.nan)
    for some, way, curve in _some(scene, theirs, pairs):
        room = _Room(curve, H[some], V[some], theirs.radius[pairs.row[some]], theirs.movement[pairs.row[some]])
        place[some], least[some], height[some] = _least_outside(scene, pairs.wire[some], way, room)
    found = _checked(scene, index, theirs, pairs, least, place, np.full(len(H), "beside", object), height)
    return replace(found, measure=np.full(len(found.wire), "horizontal", object))


def _least_outside(scene, wire, way, room):
    """Places of wires (row, 3) that are least outside of rooms, their distance in plan from theirs [m], nan where they
    are clear by their height, and the elevation of theirs there."""
    row, step, fields = np.arange(len(way)), place_step(scene.wires, wire), partial(room.fields, scene.ways, way)
    at = least_places(row, step, fields, room.margin)
    margin = room.margin(row, *fields(row, *at))[:, 0, 0]
    place = scene.ways.places(way, *at)[:, 0, 0]
    apart, height = room.apart(row, place, room.margin)
    deep = np.flatnonzero((margin < 0) & (apart - room.beside < margin - _SAME))
    if len(deep):
        at = least_places(deep, step[deep], fields, room.plan_within)
        place[deep] = scene.ways.places(way[deep], *at)[:, 0, 0]
        apart[deep], height[deep] = room.apart(deep, place[deep], room.plan_within)
    return place, np.where((margin < 0) | (apart >= room.beside), apart, np.nan), height


class _Room(NamedTuple):
    """The room about curves of theirs that ours keep out of, row by row: `beside`, `above` and below; `radius` and
    `movement` of theirs [m]."""

    curve: Curve
    beside: np.ndarray
    above: np.ndarray
    radius: np.ndarray
    movement: np.ndarray

    def fields(self, ways, way, row, swing, share):
        """From each place of theirs in `_ALONG` to places of ours (row, swing, share): east, north and up [m]."""
        place = ways.places(way[row], swing, share)
        off = place.reshape(len(row), -1, 3) - self._theirs(row, place.reshape(len(row), -1, 3))
        return list(np.moveaxis(off, -1, 1).reshape(-1, *place.shape[:3]))

    def margin(self, row, *fields):
        """How far places with such fields are outside [m]."""
        return np.min([self._outside(row, *fields[k:k + 3])[0] for k in range(0, len(fields), 3)], axis=0)

    def plan_within(self, row, *fields):
        """Distances in plan within the room, and beyond all others without [m]."""
        found = [self._outside(row, *fields[k:k + 3]) for k in range(0, len(fields), 3)]
        return np.min([np.where(margin < 0, d, _FAR + margin) for margin, d in found], axis=0)

    def apart(self, row, place, value):
        """Distance in plan of places (row, 3) from the one of theirs of which a value is least, and its elevation."""
        theirs = self._theirs(row, place[:, None])[:, :, 0]
        found = np.stack([value(row, *(place - each).T) for each in theirs])
        best = np.where(np.isnan(found), np.inf, found).argmin(axis=0), np.arange(len(row))
        off = place - theirs[best]
        return self._outside(row, *off.T)[1], theirs[best][:, 2]

    def _outside(self, row, east, north, up):
        """How far places so far from one of theirs are outside, and their distance in plan from it [m]."""
        beside, above, radius, movement = (v[row].reshape(-1, *(1,) * (east.ndim - 1)) for v in self[1:])
        d = np.maximum(np.hypot(east, north) - radius, 0)
        return np.maximum(d - beside, np.abs(up) - movement - above), d

    def _theirs(self, row, place):
        """Places of theirs, (place of theirs, row, place of ours, 3)."""
        curve = take(self.curve, row)
        chord = (curve.end - curve.start)[:, None, :2]
        size = np.linalg.norm(chord, axis=-1)
        foot = ((place[..., :2] - curve.start[:, None, :2]) * chord).sum(axis=-1) / size**2
        return np.stack([curve.at(np.clip(foot + step * self.beside[row, None] / size, 0, 1)) for step in _ALONG])


def _pairs(scene, index, sample, partners, cases, chosen, reach):
    """The curves of chosen parts, and all that is compared of ours and them."""
    wire, part = near_pairs(scene, index, cases, chosen, np.full(len(chosen), reach))
    theirs = _curves(index, sample, np.unique(part))
    pair, row = matches(part, theirs.part)
    at, o, k = scene.asked(wire[pair], cases)
    w, row = wire[pair[at]], row[at]
    met = partners.meet(scene.wires.span[w], index.of_part[theirs.part[row]], o)
    return theirs, _Pairs(w[met], row[met], o[met], cases[k[met]])


def _hopeful(scene, index, theirs, pairs, known):
    """Those of the pairs that may be nearest, of all of their span, option, case and line, and than what is known."""
    low, high = np.empty((2, len(pairs.wire)))
    for some, way, curve in _some(scene, theirs, pairs):
        low[some], high[some] = _glance(scene, way, curve)
    nearer = (theirs.movement + theirs.radius)[pairs.row]
    keys = scene.wires.span[pairs.wire], index.of_part[theirs.part[pairs.row]], pairs.option, pairs.case
    _, group = np.unique(np.stack(keys), axis=1, return_inverse=True)
    least = np.full(len(low), np.inf)
    np.minimum.at(least, group.ravel(), high - nearer)
    # Bundles reach about their middle by as much in all wires of a kind, and shield wires by nothing.
    wide = scene.reach.around[pairs.wire, pairs.option, pairs.case]
    most = least[group.ravel()]
    if known is not None:
        most = np.fmin(most, [known.get(key, np.inf) for key in zip(*keys, strict=True)])
    hopeful = np.flatnonzero(low - nearer - wide <= most)
    return take(pairs, hopeful)


def _glance(scene, way, curve):
    """Bounds of the minimum distance of rows [m]: no less than the first, no more than the second; inf of both where no
    place is known."""
    places, turns = _GLANCE
    turn = np.linspace(-1, 1, turns) if scene.ways.windy[way].any() else np.zeros(1)
    place = scene.ways.places(way, *(np.tile(v, (len(way), 1)) for v in (turn, np.linspace(0, 1, places))))
    value = to_wire(place.reshape(len(way), -1, 3), curve)[0]
    high = np.where(np.isnan(value), np.inf, value).min(axis=1)
    step = sum(np.nan_to_num(np.linalg.norm(np.diff(place, axis=axis), axis=-1)).max(axis=(1, 2), initial=0.0)
               for axis in (1, 2))
    return np.maximum(high - _BOWED * step / 2, 0), high


def _some(scene, theirs, pairs):
    """Some rows at once, the numbers of their ways, and the curves of theirs in the frames of our spans."""
    way = scene.way(pairs.wire, pairs.option, pairs.case)
    for first in range(0, len(way), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        yield some, way[some], _taken(scene, theirs, pairs.row[some], pairs.wire[some])


def _checked(scene, index, theirs, pairs, *found):
    return checked_rows(scene, index, pairs.wire, theirs.part[pairs.row], pairs.option, pairs.case, *found)


def _curves(index, sample, parts):
    """The curves of some parts: pieces of what is drawn, states of what is strung."""
    obstacles, rows = index.obstacles, []
    stated = states_of(obstacles)
    for p in parts:
        thing = index.of_part[p]
        state = obstacles.states[thing] if stated[thing] else None
        wide = np.nan_to_num(obstacles.radius[thing])
        if state is not None and state.below is not None:
            rows += [(*ends, p, state.movement, wide)
                     for ends in zip(state.start, state.end, state.constant, strict=True)]
            continue
        xyz = _drawn(index.part[p], obstacles.absolute[thing], obstacles.height[thing], sample)
        movement = 0.0 if state is None else state.movement
        rows += [(a, b, _STRAIGHT, p, movement, wide) for a, b in zip(xyz[:-1], xyz[1:], strict=True)
                 if (a[:2] != b[:2]).any()]
    start, end = (np.array([row[i] for row in rows], float).reshape(-1, 3) for i in (0, 1))
    kinds = (2, float), (3, int), (4, float), (5, float)
    return _Theirs(start, end, *(np.array([row[i] for row in rows], kind) for i, kind in kinds))


def _drawn(shape, absolute, height, sample):
    """Places of a line from each of which it goes straight to the next, (place, 3) [m]; a point is a short line."""
    if shape.geom_type == "Point":
        return shapely.get_coordinates(shape, include_z=True) + _POINT * np.array([[-1.0, 0, 0], [1.0, 0, 0]])
    if absolute:
        return shapely.get_coordinates(shape, include_z=True)
    flat = shapely.get_coordinates(shapely.segmentize(shape, _DRAPED))
    return np.column_stack([flat, sample(*flat.T) + height])


def _taken(scene, theirs, row, wire):
    """Curves in the frames of the spans of our wires."""
    ends = [from_grid(point[row], scene.structures, scene.spans, scene.wires.span[wire])
            for point in (theirs.start, theirs.end)]
    return Curve(*ends, theirs.constant[row])


def _look(scene, way, curve):
    """Minimum distance of rows, its place on our wire, and the elevation of theirs."""
    def distance(place):
        return to_wire(place.reshape(len(place), -1, 3), curve)[0].reshape(place.shape[:3])

    value, place = closest(scene, way, np.zeros(len(way)), np.ones(len(way)), distance, _FIRST)
    share = to_wire(place[:, None], curve)[1]
    return value, place, curve.at(share)[:, 0, 2]
