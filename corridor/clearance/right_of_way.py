"""Wires blown out by wind against the edge of the right-of-way."""

import numpy as np
import shapely

from corridor.clearance import rules as rule_tables
from corridor.clearance.checked import Checked, worst_of
from corridor.clearance.footprints import prepared
from corridor.clearance.swung_wires import Swung, hung_curves
from corridor.line.swing import to_grid

__all__ = ["RIGHT_OF_WAY", "all_swings", "reach_of", "rooms", "within_right_of_way"]

#: What stands for the right-of-way where an obstacle's index is asked for.
RIGHT_OF_WAY = -2

#: Distance of the places at which it is asked how far a wire gets outside of a polygon [m].
_STEP = 0.25

#: Swings at which wires are compared with a polygon that does not hold all that they sweep.
_SWINGS = np.linspace(-1, 1, 41)

#: Objects farther than this from the straight span are not looked at [m], nor farther than so much beyond wires that
#: wind blows out that far.
REACH, _BEYOND = 60.0, 20.0


def within_right_of_way(swung, wires, spans, structures, way, cases, aside=0.0):
    """Return the minimum distance from any swung wire of each span to the edge of the right-of-way.

    Parameters
    ----------
    swung : Swung
        Axes (wire span, option, case, side): to both sides in full wind, and for a polygon as `all_swings` tells.
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
    least, share, spot = _least(room - np.asarray(aside)[..., None, None], spots, share)
    if way.polygon is not None:
        # An island so narrow that it lies between two swings is somewhere within half of their distance.
        missed = ~_swept_within(swung, wires, spans, structures, way) & (least >= 0)
        least = np.where(missed, -_step(swung) / 2, least)
    return _worst_wires(least, share, spot, wires, cases)


def all_swings(scene, way, cases):
    """Return wires in full wind to both sides and, where an edge of a polygon lies within what they sweep, on their way
    from side to side as well.

    Parameters
    ----------
    scene : Scene
    way : RightOfWay
    cases : ndarray of int

    Returns
    -------
    Swung
        Axes (wire span, option, case, side).
    """
    full = hung_curves(scene.hung, cases)
    if way.polygon is None:
        return full
    across = ~_swept_within(full, scene.wires, scene.spans, scene.structures, way)
    if not across.any():
        return full
    w, o, k = np.nonzero(across)
    path, count = scene.way(w, o, cases[k]), len(_SWINGS)
    shape = (*full.points.shape[:3], count, *full.points.shape[4:])
    between = np.broadcast_to(full.points[..., :1, :, :], shape).copy()
    between[w, o, k] = scene.ways.places(path, np.tile(_SWINGS, (len(path), 1)), np.tile(full.share, (len(path), 1)))
    return Swung(np.concatenate([full.points, between], axis=3), full.share)


def _swept_within(swung, wires, spans, structures, way):
    """Whether a polygon holds all that wires sweep in plan, (wire span, option, case); True where that is not known."""
    plan = to_grid(swung.points[..., :2, :, :], structures, spans, wires.span)[..., :2]
    ring = np.concatenate([plan[..., 0, :, :], plan[..., 1, ::-1, :]], axis=-2)
    known = np.isfinite(ring).all(axis=(-1, -2))
    within = np.ones(known.shape, bool)
    within[known] = shapely.contains_properly(prepared(way.polygon), shapely.polygons(ring[known]))
    return within


def _step(swung):
    """How far wires move in plan from one swing to the next at most, (wire span, option, case) [m]."""
    if swung.points.shape[3] == 2:
        return np.zeros(swung.points.shape[:3])
    steps = np.diff(swung.points[..., 2:, :, :2], axis=3)
    return np.linalg.norm(steps, axis=-1).max(axis=(-1, -2))


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
    return (swung.points[..., 1:, :] + swung.points[..., :-1, :]) / 2, (swung.share[1:] + swung.share[:-1]) / 2


def _room_in(polygon, points):
    """Distance of the chords between neighbouring places to the edge of a polygon; of those that leave it, how far
    outside they get, negative [m of the grid]."""
    chords = np.stack([points[..., :-1, :2], points[..., 1:, :2]], axis=-2)
    known = np.isfinite(chords).all(axis=(-1, -2))
    lines = shapely.linestrings(chords[known])
    polygon = prepared(polygon)
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


def reach_of(scene, cases, places=9):
    """Return how far from straight spans things are looked for in cases [m of the grid]: farther where wind blows wires
    that far, or where a rule asks for more."""
    swung = float(np.nanmax(np.abs(hung_curves(scene.hung, cases, places=places).points[..., 1]), initial=0.0))
    asked = rule_tables.most_required(scene.rules, "horizontal", scene.voltage / 1e3)
    wide = float(scene.reach.aside.max(initial=0.0))
    return max(REACH, swung + max(_BEYOND, asked + wide)) / scene.spans.ground_factor.min(initial=1.0)


def _least(room, points, share):
    """Minimum room over sides and places (..., side, place) [m], nan where there is none, its share of the span and its
    place."""
    flat = np.where(np.isnan(room), np.inf, room).reshape(*room.shape[:-2], -1)
    at = flat.argmin(axis=-1)[..., None]
    least = np.take_along_axis(flat, at, -1)[..., 0]
    spot = np.take_along_axis(points.reshape(*flat.shape, 3), at[..., None], -2)[..., 0, :]
    return np.where(np.isfinite(least), least, np.nan), share[at[..., 0] % room.shape[-1]], spot


def _worst_wires(least, share, spot, wires, cases):
    """Worst wire of each span, option and case; all of shape (wire span, option, case)."""
    rows, options, count = least.shape
    row = worst_of(wires.span, least.reshape(rows, options * count))
    r, (option, case) = row[row >= 0], np.divmod(np.nonzero(row >= 0)[1], max(count, 1))
    at = r, option, case
    return Checked(r, option, cases[case], np.full(len(r), RIGHT_OF_WAY), np.full(len(r), "horizontal", object),
                   np.full(len(r), "beside", object), least[at], share[at], spot[at][:, 2], np.full(len(r), np.nan),
                   spot[at][:, 1])
