"""Wires beside things: the minimum distance in plan along their swing, where they hang low enough to be beside them.

A wire sweeps a strip in plan, from where it hangs when blown to the left to where it hangs when blown to the right; a
place of it that rises above a level counts as far as it swings below that, to either side of where it is lowest. The
strip is cut into cells along the wire, which are cut again wherever what they leave out may matter.
"""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import join, take
from corridor.clearance.checked import keys_of, least_rows, placed
from corridor.clearance.right_of_way import reach_of
from corridor.clearance.round_corners import nearest_rooms
from corridor.line.swing import to_grid

__all__ = ["Corners", "beside_things"]

#: Cells that a wire is cut into at first, and each again.
_CELLS, _AGAIN = 32, 8
#: How far the edge of the strip may be off the sides of a cell [m], and how often cells are cut again for it.
_OFF, _CUTS = 2.5e-4, 12
#: Swings among which the lowest is looked for, parts of the way from there to a side among which a place gets above its
#: level, and steps of the search in between.
_SWINGS, _TURNS, _STEPS = np.linspace(-1, 1, 17), np.linspace(0, 1, 9), 12
#: Wires that stay so much farther above their levels than a parabola over three swings dips are not looked at [m].
_DIP = 0.5
#: Rows worked on at once.
_AT_ONCE = 1000


class Corners(NamedTuple):
    """Where the room about objects has a rounded corner: elevation of the `top` (part,), and what is required `beside`
    and `above` it (part, case) [m], nan where the corner is square."""

    top: np.ndarray
    beside: np.ndarray
    above: np.ndarray


class _Rows(NamedTuple):
    """Wires and parts of things; columns (row,): wire span, part, option, place of the case among those asked for, way,
    the thing's footprint, and `level` below which the wire is beside it [m]."""

    wire: np.ndarray
    part: np.ndarray
    option: np.ndarray
    case: np.ndarray
    way: np.ndarray
    footprint: np.ndarray
    level: np.ndarray


def beside_things(scene, index, cases, clear_above, corners=None, aside=0.0):
    """Return the minimum horizontal distance from wires, along their whole swing, to things that stand beside them.

    A wire that passes higher than the vertical clearance over a thing's top is not beside it; on the way between two
    swings it is until it has risen so high. Where a rounded corner is what a wire is clear by, its distance from the
    edge of the top counts instead.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
    cases : ndarray of int
    clear_above : ndarray, shape (part,)
        Elevation [m] above which a wire is over the part of the index, not beside it; nan: not to be compared.
    corners : Corners, optional
        `beside` and `above` by the cases asked for.
    aside : array_like, shape (wire span, option, asked case)
        How far wires of a bundle reach to either side [m].

    Returns
    -------
    Checked
        `measure` "horizontal", or at corners "radial" with `position` "corner". `actual` is off by half a millimetre at
        most, to the safe side.
    """
    rows = _rows(scene, index, cases, clear_above)
    if corners is None:
        corners = Corners(np.full(len(index.part), np.nan), *np.full((2, len(index.part), len(cases)), np.nan))
    rounded = (np.isfinite(corners.beside) & np.isfinite(corners.above))[rows.part, rows.case]
    aside = np.broadcast_to(aside, (*scene.temperature.shape[:2], len(cases)))[rows.wire, rows.option, rows.case]
    none = take(rows, np.zeros(0, int))
    parts = [_Found(none, np.empty(0), np.empty((0, 3)), "horizontal", "beside")]
    for some, find in ((~rounded, _in_plan), (rounded, _about_corners)):
        chosen = np.flatnonzero(some)
        for first in range(0, len(chosen), _AT_ONCE):
            at = chosen[first:first + _AT_ONCE]
            parts += find(scene, index, take(rows, at), aside[at], corners)
    return _worst_wires(scene, index, parts, cases, corners.top)


def _rows(scene, index, cases, clear_above):
    """Wires and the things near them, in every option and case; those of one span and thing after one another."""
    wires, spans, reach = scene.wires, scene.spans, reach_of(scene, cases, _CELLS + 1)
    line = scene.structures.lines(spans.tail[wires.span], spans.head[wires.span])
    wire, part = index.tree.query(line, predicate="dwithin", distance=reach)
    wanted = np.isfinite(clear_above[part])
    wire, part = wire[wanted], part[wanted]
    order = np.lexsort((wire, index.of_part[part], wires.span[wire]))
    pair, o, k = scene.asked(wire[order], cases)
    w, p = wire[order][pair], part[order][pair]
    return _Rows(w, p, o, k, scene.way(w, o, cases[k]), index.footprint[p], clear_above[p])


# Square corners: strips in plan


class _Cells(NamedTuple):
    """Cells of strips; `row` (cell,), shares `low`, `high` at the ends, and `sides` the outermost places at the low
    end, in the middle and at the high end, to the left and to the right (cell, 3, 2, 3) in the frame of the span, with
    their `swing` (cell, 3, 2)."""

    row: np.ndarray
    low: np.ndarray
    high: np.ndarray
    sides: np.ndarray
    swing: np.ndarray


def _in_plan(scene, index, rows, aside, corners):
    """The minimum distance in plan of rows from their things, where the wire is below the level."""
    key = keys_of(scene.wires.span[rows.wire], index.of_part[rows.part], rows.option, rows.case)
    key = np.unique(key, return_inverse=True)[1]
    cells = _outermost(scene.ways, rows, *_low_parts(scene.ways, rows))
    least, place = _beyond_ends(scene, rows, cells)
    least -= aside
    best = np.full(key.max(initial=-1) + 1, np.inf)
    np.fmin.at(best, key, least)
    for cut in range(_CUTS + 1):
        shape, apart, off = _apart(scene, rows, cells)
        bound, beyond = np.maximum(apart - off, 0) - aside[cells.row], apart + off - aside[cells.row]
        done = (off <= _OFF) | (cut == _CUTS)
        nearer = np.flatnonzero(done & ~(bound >= least[cells.row]))
        nearer = nearer[least_rows(cells.row[nearer], bound[nearer])]
        least[cells.row[nearer]] = bound[nearer]
        place[cells.row[nearer]] = _nearest_places(scene, rows, take(cells, nearer), shape[nearer])
        np.fmin.at(best, key[cells.row], np.where(done, bound, beyond))
        cells = take(cells, np.flatnonzero(~done & (bound < best[key[cells.row]])))
        if not len(cells.row):
            break
        cells = _cut(scene.ways, rows, cells)
    return [_Found(rows, least, place, "horizontal", "beside")]


def _low_parts(ways, rows):
    """Stretches of the wires that are below their levels at any swing: rows, and shares at both ends."""
    share = np.linspace(0, 1, 2 * _CELLS + 1)
    z = _height_above_level(ways, rows, share)
    here, middle, there = z[:, :-1:2], z[:, 1::2], z[:, 2::2]
    bend, rise = here - 2 * middle + there, there - here
    with np.errstate(invalid="ignore", divide="ignore"):
        lowest = np.clip(np.nan_to_num(-rise / (2 * bend)), -1, 1)
    belly = (here >= 0) & (there >= 0) & (middle + rise / 2 * lowest + bend / 2 * lowest**2 < 0)
    first, last = np.broadcast_arrays(share[:-1:2], here)[0], np.broadcast_arrays(share[2::2], here)[0]
    deep = first + (lowest + 1) / 2 * (last - first)
    parts = [(np.nonzero(some)[0], a[some], b[some]) for some, a, b in (
        ((here < 0) & (there < 0), first, last), ((here < 0) & (there >= 0), first, last),
        ((here >= 0) & (there < 0), last, first), (belly, deep, first), (belly, deep, last))]
    for i, (row, below, above) in enumerate(parts[1:], 1):
        cut = _crossing(lambda at, row=row: _lowest(ways, rows.way[row], at)[1] - rows.level[row], below, above)
        parts[i] = row, np.minimum(below, cut), np.maximum(below, cut)
    return [np.concatenate(column) for column in zip(*parts, strict=True)]


def _height_above_level(ways, rows, share):
    """How high places of wires get above their levels where they hang lowest, (row, place) [m]; of wires that are below
    them at all swings, or above, only whether they are."""
    known = len(rows.way), len(share)
    left, still, right = np.moveaxis(ways.places(rows.way, np.tile([-1.0, 0.0, 1.0], (known[0], 1)), np.broadcast_to(
        share, known))[..., 2] - rows.level[:, None, None], 1, 0)
    highest, least = (np.max([left, still, right], axis=0), np.min([left, still, right], axis=0))
    # A parabola over the swing dips by so much below its middle or ends.
    bend = np.abs(left - 2 * still + right)
    dip = np.divide((right - left)**2, 8 * bend, out=np.abs(right - left), where=bend > 0)
    some = ~((highest < 0).all(axis=1) | (least - 2 * dip > _DIP).all(axis=1))
    z = np.where(highest < 0, -1.0, 1.0)
    path = np.repeat(rows.way[some], len(share))
    z[some] = _lowest(ways, path, np.tile(share, int(some.sum())))[1].reshape(-1, len(share)) - rows.level[some, None]
    return np.where(np.isnan(still), np.nan, z)


def _lowest(ways, path, share):
    """Swing at which places of wires are lowest, and their elevation there [m], (row,)."""
    z = ways.places(path, np.tile(_SWINGS, (len(path), 1)), share[:, None])[:, :, 0, 2]
    at = np.where(np.isnan(z), np.inf, z).argmin(axis=1)
    each, inner = np.arange(len(path)), np.clip(at, 1, len(_SWINGS) - 2)
    before, here, after = (z[each, inner + step] for step in (-1, 0, 1))
    bend = before - 2 * here + after
    step = np.divide(before - after, 2 * bend, out=np.zeros(len(path)), where=bend > 0)
    swing = np.where(at == inner, _SWINGS[inner] + np.clip(step, -1, 1) * (_SWINGS[1] - _SWINGS[0]), _SWINGS[at])
    lower = ways.places(path, swing[:, None], share[:, None])[:, 0, 0, 2]
    return np.where(lower <= z[each, at], swing, _SWINGS[at]), np.fmin(lower, z[each, at])


def _crossing(height, below, above):
    """Where heights change their sign between places at which they are below zero and others at which they are not,
    (row,), by false position with the weight of an end halved that stays."""
    low, high = height(below), height(above)
    low, stays = np.minimum(low, -1e-12), np.zeros(len(below))
    for _ in range(_STEPS):
        at = above - high * (above - below) / (high - low)
        value = height(at)
        under = value < 0
        high = np.where(under & (stays > 0), high / 2, high)
        low = np.where(~under & (stays < 0), low / 2, low)
        below, low = np.where(under, at, below), np.where(under, value, low)
        above, high = np.where(under, above, at), np.where(under, high, value)
        stays = np.where(under, 1.0, -1.0)
    return at


def _outermost(ways, rows, row, low, high):
    """Cells of rows between shares, with the outermost places to either side that are below the level."""
    share = low[:, None] + (high - low)[:, None] * np.array([0.0, 0.5, 1.0])
    path, level = rows.way[row], rows.level[row]
    sides = np.moveaxis(ways.places(path, np.tile([-1.0, 1.0], (len(row), 1)), share), 1, 2)
    cell, at, side = np.nonzero(sides[..., 2] >= level[:, None, None])
    some, there, level = path[cell], share[cell, at], level[cell]
    start = _lowest(ways, some, there)[0]
    run = np.array([-1.0, 1.0])[side] - start

    def height(turn):
        return ways.places(some, start[:, None] + run[:, None] * turn, there[:, None])[:, :, 0, 2] - level[:, None]

    below = height(_TURNS) < 0
    below[:, 0] = True
    last = len(_TURNS) - 1 - below[:, ::-1].argmax(axis=1)
    over = np.minimum(last + 1, len(_TURNS) - 1)
    turn = _crossing(lambda turn: height(turn[:, None])[:, 0], _TURNS[last], _TURNS[over])
    swing = np.tile([-1.0, 1.0], (len(row), 3, 1))
    swing[cell, at, side] = start + run * turn
    sides[cell, at, side] = ways.places(some, swing[cell, at, side][:, None], there[:, None])[:, 0, 0]
    known = np.isfinite(sides).all(axis=(1, 2, 3))
    return take(_Cells(row, low, high, sides, swing), known)


def _cut(ways, rows, cells):
    """The cells that cells are cut into."""
    share = cells.low[:, None] + (cells.high - cells.low)[:, None] * np.linspace(0, 1, _AGAIN + 1)
    return _outermost(ways, rows, np.repeat(cells.row, _AGAIN), share[:, :-1].ravel(), share[:, 1:].ravel())


def _apart(scene, rows, cells):
    """Shapes of cells in plan, how far they are from their things, and how far the strip may bow from their sides [m of
    ground]."""
    wire = rows.wire[cells.row]
    outline = _outline(scene, rows, cells)
    shape, windy = np.empty(len(wire), object), scene.ways.windy[rows.way[cells.row]]
    shape[windy] = shapely.polygons(outline[windy])
    shape[~windy] = shapely.linestrings(outline[~windy, :3])
    apart = shapely.distance(shape, rows.footprint[cells.row]) * scene.spans.ground_factor[scene.wires.span[wire]]
    return shape, apart, _bow(*np.moveaxis(cells.sides, 1, 0)).max(axis=1)


def _bow(start, middle, end):
    """How far middles (..., 3) are off the lines from starts to ends, in plan [m]."""
    run, bow = (each[..., :2] - start[..., :2] for each in (end, middle))
    length = np.linalg.norm(run, axis=-1)
    across = np.abs(run[..., 0] * bow[..., 1] - run[..., 1] * bow[..., 0])
    return np.divide(across, length, out=np.linalg.norm(bow, axis=-1), where=length > 0)


def _beyond_ends(scene, rows, cells):
    """The minimum distance of rows from their things (row,) and its place, of the ends of wires alone: on their way
    from side to side these leave the line that closes a cell."""
    least, place = np.full(len(rows.wire), np.nan), np.full((len(rows.wire), 3), np.nan)
    for at, share in ((0, 0.0), (2, 1.0)):
        some = take(cells, np.flatnonzero((cells.low, cells.high)[at // 2] == share))
        left, right = some.swing[:, at].T
        swing = left[:, None] + (right - left)[:, None] * np.linspace(0, 1, len(_SWINGS))
        way = scene.ways.places(rows.way[some.row], swing, np.full((len(some.row), 1), share))[:, :, 0]
        span = scene.wires.span[rows.wire[some.row]]
        plan = to_grid(way, scene.structures, scene.spans, span)[..., :2]
        bow = _bow(way[:, :-2], way[:, 1:-1], way[:, 2:]).max(axis=1) / 4
        apart = shapely.distance(shapely.linestrings(plan), rows.footprint[some.row]) * scene.spans.ground_factor[span]
        apart = np.maximum(apart - bow, 0)
        nearest = shapely.distance(shapely.points(plan), rows.footprint[some.row][:, None]).argmin(axis=1)
        nearer = ~(apart >= least[some.row])
        least[some.row[nearer]] = apart[nearer]
        place[some.row[nearer]] = way[nearer, nearest[nearer]]
    return least, place


def _outline(scene, rows, cells):
    """Outlines of cells in plan (cell, 6, 2): along the left side, and back along the right one."""
    places = np.concatenate([cells.sides[:, :, 0], cells.sides[:, ::-1, 1]], axis=1)
    return to_grid(places, scene.structures, scene.spans, scene.wires.span[rows.wire[cells.row]])[..., :2]


def _nearest_places(scene, rows, cells, shape):
    """Places of wires that are nearest to their things, one in each cell (cell, 3), in the frames of the spans."""
    if not len(cells.row):
        return np.empty((0, 3))
    spot = shapely.get_coordinates(shapely.shortest_line(shape, rows.footprint[cells.row])).reshape(-1, 2, 2)[:, 0]
    outline = _outline(scene, rows, cells)
    along = _share(spot, (outline[:, 0] + outline[:, 5]) / 2, (outline[:, 2] + outline[:, 3]) / 2)[:, None, None]
    factor = [(1 - along) * (1 - 2 * along), 4 * along * (1 - along), along * (2 * along - 1)]
    place = sum(f * cells.sides[:, n] for n, f in enumerate(factor))
    flat = sum(f * np.stack([outline[:, n], outline[:, 5 - n]], axis=1) for n, f in enumerate(factor))
    across = _share(spot, flat[:, 0], flat[:, 1])[:, None]
    return place[:, 0] + across * (place[:, 1] - place[:, 0])


def _share(spot, start, end):
    """How far along from a start to an end places are, from 0 to 1; 0 where both are one."""
    run = end - start
    size = (run**2).sum(axis=-1)
    return np.clip(np.divide(((spot - start) * run).sum(axis=-1), size, out=np.zeros(len(size)), where=size > 0), 0, 1)


# Rounded corners


def _about_corners(scene, index, rows, aside, corners):
    """The minimum distance in plan of rows from their things, or that from the edge of the top where that is what
    counts about a rounded corner."""
    required = (each[rows.part, rows.case] for each in (corners.beside, corners.above))
    least, place, rounded = nearest_rooms(scene, rows, corners.top[rows.part], aside, *required)
    return [_Found(take(rows, some), least[some], place[some], *what) for some, what in (
        (~rounded, ("horizontal", "beside")), (rounded, ("radial", "corner")))]


# Rows of findings


class _Found(NamedTuple):
    """Rows, and the `least` of each [m] (row,), nan where there is none, with its `place` (row, 3) in the frame of the
    span, its measure and position."""

    rows: _Rows
    least: np.ndarray
    place: np.ndarray
    measure: str
    position: str


def _worst_wires(scene, index, found, cases, tops):
    """Worst wire of each span, option, case and thing, by measure."""
    rows = join([each.rows for each in found])
    least, place = (np.concatenate([getattr(each, name) for each in found]) for name in ("least", "place"))
    measure, position = (np.concatenate([np.full(len(each.least), getattr(each, name), object) for each in found])
                         for name in ("measure", "position"))
    thing = index.of_part[rows.part]
    r = least_rows(keys_of(scene.wires.span[rows.wire], thing, rows.option, rows.case, position == "corner"), least)
    return placed(scene, rows.wire[r], rows.option[r], cases[rows.case[r]], thing[r], measure[r], position[r], least[r],
                  place[r], tops[rows.part[r]])
