"""Wires blown out by wind against the edge of the right-of-way, and against what stands beside them."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import shapely

from corridor.clearance.shapes import ABOVE, ROUND
from corridor.clearance.shapes import room as room_about
from corridor.clearance.vertical import Checked, join, worst_of
from corridor.line.swing import to_grid

__all__ = ["RIGHT_OF_WAY", "Corners", "beside_objects", "reach_of", "rooms", "within_right_of_way"]

#: What stands for the right-of-way where an obstacle's index is asked for.
RIGHT_OF_WAY = -2

#: Distance of the places at which it is asked how far a wire gets outside of a polygon [m].
_STEP = 0.25

#: Objects farther than this from the straight span are not looked at [m], nor farther than so much beyond wires that
#: wind blows out that far.
REACH, _BEYOND = 60.0, 20.0


class Corners(NamedTuple):
    """Where the room about objects has a rounded corner: elevation of the `top` (part,), and what is required `beside`
    and `above` it (part, case) [m], nan where the corner is square."""

    top: np.ndarray
    beside: np.ndarray
    above: np.ndarray


def within_right_of_way(swung, wires, spans, structures, way, cases, aside=0.0):
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
    aside : array_like, shape (wire span, option, case)
        How far wires of a bundle reach to either side [m].

    Returns
    -------
    Checked
        `measure` "horizontal"; `actual` negative where the wire is outside.
    """
    room, spots, share = rooms(swung, wires, spans, structures, way)
    room = room - np.asarray(aside)[..., None, None]
    return _worst_wires(*_least(room, spots, share), wires, np.arange(len(wires)), RIGHT_OF_WAY, cases)


def rooms(swung, wires, spans, structures, way):
    """Return the distance of every place of swung wires to the edge of the right-of-way.

    Parameters
    ----------
    swung, wires, spans, structures, way
        As in `within_right_of_way`.

    Returns
    -------
    room : ndarray, shape (wire span, option, case, side, place)
        [m], negative outside; from a polygon less what the wire bows from its chords.
    spots : ndarray, shape (wire span, option, case, side, place, 3)
        The places in the frames of the spans [m].
    share : ndarray, shape (place,)
        Their shares of the span [-].
    """
    points = swung.points
    if way.polygon is None:
        return way.half_width - _farthest(points), points, swung.share
    room = _room_in(way.polygon, to_grid(points, structures, spans, wires.span)) - _bow(points)
    room *= spans.ground_factor[wires.span].reshape(-1, 1, 1, 1, 1)
    return (room, *_middles(swung))


def _farthest(points):
    """How far aside wires get about each place, by the vertex of the parabola through it and both beside it [m]."""
    y = np.abs(points[..., 1])
    bend, lean = y[..., 2:] - 2 * y[..., 1:-1] + y[..., :-2], (y[..., 2:] - y[..., :-2]) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        vertex = np.where(np.abs(lean) <= -bend, -lean**2 / (2 * bend), 0.0)
    y[..., 1:-1] += np.nan_to_num(vertex)
    return y


def _bow(points):
    """How far wires leave the chords between their places in plan, at most; (..., 1) [m]."""
    bend = points[..., 2:, :2] - 2 * points[..., 1:-1, :2] + points[..., :-2, :2]
    return np.linalg.norm(bend, axis=-1).max(axis=-1, keepdims=True) / 8


def _middles(swung):
    """Middles of the chords between neighbouring places, and their shares of the span."""
    return (swung.points[..., 1:, :] + swung.points[..., :-1, :]) / 2, _middle(swung.share)


def _middle(share):
    return (share[1:] + share[:-1]) / 2


def _room_in(polygon, points):
    """Distance of the chords between neighbouring places to the edge of a polygon; of those that leave it, how far
    outside they get, negative [m of the grid]."""
    chords = np.stack([points[..., :-1, :2], points[..., 1:, :2]], axis=-2)
    known = np.isfinite(chords).all(axis=(-1, -2))
    lines = shapely.linestrings(chords[known])
    shapely.prepare(polygon)
    inside = shapely.contains_properly(polygon, lines)
    distance = shapely.distance(lines, shapely.boundary(polygon))
    outside = shapely.segmentize(shapely.difference(lines[~inside], polygon), _STEP)
    vertices, owner = shapely.get_coordinates(outside, return_index=True)
    out = np.zeros(int((~inside).sum()))
    np.maximum.at(out, owner, shapely.distance(shapely.points(vertices), polygon))
    distance[~inside] = -out
    room = np.full(known.shape, np.nan)
    room[known] = distance
    return room


def beside_objects(swung, wires, spans, structures, index, cases, clear_above, corners=None, aside=0.0):
    """Return the least horizontal distance from swung wires to objects that stand beside them.

    A wire that passes higher than the vertical clearance over the object's top is not beside it, and is not
    compared there; on the way between two swings it is until it has risen so high. Where a rounded corner is what a
    wire is clear by, its distance from the edge of the top counts instead, with the lowest place and the least
    distance of each chord.

    Parameters
    ----------
    swung, wires, spans, structures, cases, aside
        As in `within_right_of_way`; more sides than two are further swings, each next to the one before.
    index : ObstacleIndex
    clear_above : ndarray, shape (part,)
        Elevation [m] above which a wire is over the part of the index, not beside it; nan: not to be compared.
    corners : Corners, optional

    Returns
    -------
    Checked
        `measure` "horizontal", or at corners "radial" with `position` "corner".
    """
    pairs = _near_pairs(wires, spans, structures, index, clear_above, reach_of(swung))
    wire, part = np.array(pairs, int).reshape(-1, 2).T
    points = to_grid(swung.points, structures, spans, wires.span)
    factor, share = spans.ground_factor[wires.span], _middle(swung.share)
    if corners is None:
        corners = Corners(np.full(len(index.part), np.nan), *np.full((2, len(index.part), len(cases)), np.nan))
    found, aside = [], np.broadcast_to(aside, swung.points.shape[:3])
    for w, p in pairs:
        corner = Corners(*(np.atleast_1d(field[p])[:, None, None] for field in corners))
        level = corners.top[p] if np.isfinite(corners.beside[p]).any() else clear_above[p]
        room, low, middle = _along_swings(points[w], swung.points[w], index.footprint[p], clear_above[p], level)
        room = room * factor[w] - aside[w][..., None, None]
        found.append([_least(values, middle, share) for values in _flat_and_arc(room, low, corner)])
    flat, arc = ([np.array([each[way][n] for each in found]) for n in range(3)] for way in (0, 1)) if found else (
        _nothing(swung), _nothing(swung))
    flat, arc = (_worst_wires(*each, wires, wire, index.of_part[part], cases) for each in (flat, arc))
    tops = np.full(len(index.obstacles.category), np.nan)
    np.fmax.at(tops, index.of_part, corners.top)
    flat, arc = (replace(each, other=tops[each.obstacle]) for each in (flat, arc))
    return join([flat, replace(arc, measure=np.full(len(arc.wire), "radial", object),
                               position=np.full(len(arc.wire), "corner", object))])


def _along_swings(points, local, footprint, clear_above, level):
    """Distance in plan (option, case, side, chord), elevation, and middles of the chords of one wire, at its swings
    and then between them.

    A chord that is still below a level at full swing is nearest there, and not looked at before: below the room above
    the object, or below its top where the corner is round.
    """
    over = ~(points[:, :, -2:, :, 2] < level)
    passes = over[..., 1:] | over[..., :-1]
    if not passes.any():
        points, local = points[:, :, -2:], local[:, :, -2:]
    earlier = np.tile(passes, (1, 1, points.shape[2] // 2 - 1, 1))
    wanted = np.concatenate([earlier, np.ones_like(passes)], axis=2)
    middle = (local[..., 1:, :] + local[..., :-1, :]) / 2
    at_swings = *_distances(points, footprint, clear_above, wanted), middle
    between = _distances_between(points, local, footprint, clear_above)
    return [np.concatenate(two, axis=2) for two in zip(at_swings, between, strict=True)]


def _flat_and_arc(room, low, corner):
    """What counts of each chord: its distance beside, and that from the edge of a rounded top; nan where neither."""
    margin, way = room_about(room, low - corner.top, corner.beside, corner.above)
    square = np.isnan(margin)
    flat = np.where(square | (way != ROUND) & ~((way == ABOVE) & (margin >= 0)), room, np.nan)
    arc = np.hypot(np.maximum(room, 0), np.maximum(low - corner.top, 0))
    return flat, np.where(~square & (way == ROUND), arc, np.nan)


def _nothing(swung):
    """The least of no pair."""
    shape = 0, *swung.points.shape[1:3]
    return np.empty(shape), np.empty(shape), np.empty((*shape, 3))


def _distances(points, footprint, clear_above, wanted):
    """Distance in plan of each chord between neighbouring places from a footprint, nan where both ends are over it or
    it is not wanted, and the least elevation of the wire there.

    A chord of which one end is over the object counts as far as the wire, which hangs lower than its chord, is not.
    What the wire bows from its chords in plan, where it is blown out by 10 m a centimetre, is taken off.
    """
    z = points[..., 2]
    bend = (z[..., :-2] - 2 * z[..., 1:-1] + z[..., 2:]).max(axis=-1, keepdims=True) / 8
    room = clear_above - z + bend
    here, there = room[..., :-1], room[..., 1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        cut = np.clip(here / (here - there), 0, 1)[..., None]
    first, last = points[..., :-1, :2], points[..., 1:, :2]
    crossing = first + np.nan_to_num(cut) * (last - first)
    ends = [np.where((room > 0)[..., None], end, crossing) for room, end in ((here, first), (there, last))]
    beside = ((here > 0) | (there > 0)) & wanted
    distance = np.full(beside.shape, np.nan)
    distance[beside] = shapely.distance(shapely.linestrings(np.stack(ends, axis=-2)[beside]), footprint)
    return np.maximum(distance - _bow(points), 0), clear_above - np.maximum(here, there)


def _distances_between(points, local, footprint, clear_above):
    """Distance in plan of chords of the wire where it rises over an object between two swings, nan where it does not;
    its elevation there, and the middles of the chords in the span's frame.

    Between swings a wire's places go straight, which is off by less than a centimetre for steps of an eighth.
    """
    room = clear_above - points[..., 2]
    here, there = room[:, :, :-2], room[:, :, 2:]
    with np.errstate(invalid="ignore", divide="ignore"):
        cut = np.where((here > 0) != (there > 0), here / (here - there), np.nan)
    # A chord of which one end alone gets so high counts there.
    first, last = cut[..., :-1], cut[..., 1:]
    first, last = np.where(np.isnan(first), last, first), np.where(np.isnan(last), first, last)
    distance = np.full(first.shape, np.nan)
    rises = np.isfinite(first)
    ends = [_between(points[..., :2], first, slice(None, -1)), _between(points[..., :2], last, slice(1, None))]
    chords = np.stack([end[rises] for end in ends], axis=-2)
    distance[rises] = shapely.distance(shapely.linestrings(chords), footprint)
    middle = (_between(local, first, slice(None, -1)) + _between(local, last, slice(1, None))) / 2
    return distance, np.full(distance.shape, clear_above), middle


def _between(points, cut, places):
    """Places a share of the way from one swing to the next."""
    here, there = points[:, :, :-2, places], points[:, :, 2:, places]
    return here + cut[..., None] * (there - here)


def reach_of(swung):
    """Return how far from straight spans things are looked for [m]: farther where wind blows wires that far."""
    return max(REACH, float(np.nanmax(np.abs(swung.points[..., 1]), initial=0.0)) + _BEYOND)


def _near_pairs(wires, spans, structures, index, clear_above, reach):
    line = structures.lines(spans.tail[wires.span], spans.head[wires.span])
    wire, part = index.tree.query(line, predicate="dwithin", distance=reach)
    wanted = np.isfinite(clear_above[part])
    return list(zip(wire[wanted].tolist(), part[wanted].tolist(), strict=True))


def _least(room, points, share):
    """Least room over sides and places (..., side, place) [m], nan where there is none, its share of the span and its
    place."""
    flat = np.where(np.isnan(room), np.inf, room).reshape(*room.shape[:-2], -1)
    at = flat.argmin(axis=-1)[..., None]
    least = np.take_along_axis(flat, at, -1)[..., 0]
    spot = np.take_along_axis(points.reshape(*flat.shape, 3), at[..., None], -2)[..., 0, :]
    return np.where(np.isfinite(least), least, np.nan), share[at[..., 0] % room.shape[-1]], spot


def _worst_wires(least, share, spot, wires, wire, obstacle, cases):
    """Worst wire of each span, option and case; all of shape (row, option, case)."""
    rows, options, count = least.shape
    obstacle = np.broadcast_to(obstacle, wire.shape)
    key = wires.span[wire] * (obstacle.max(initial=0) + 3) + obstacle + 2
    row = worst_of(key, least.reshape(rows, options * count))[1]
    state = np.broadcast_to(np.arange(row.shape[1]), row.shape)[row >= 0]
    r = row[row >= 0]
    option, case = np.divmod(state, max(count, 1))
    at = r, option, case
    return Checked(wire[r], option, cases[case], obstacle[r], np.full(len(r), "horizontal", object),
                   np.full(len(r), "beside", object), least[at], share[at], spot[at][:, 2], np.full(len(r), np.nan),
                   spot[at][:, 1])
