"""Trees and masts: how near a wire comes to a crown, in still air or along its swing, and a falling tree to a wire.

A wire is followed through its whole blow (`corridor.line.wire_path`), so no crown between two swings is missed; in
still air it hangs where its strings hold it, aside of where it rests as well.
"""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import matches
from corridor.clearance import rules as rule_tables
from corridor.clearance.checked import keys_of, least_rows, placed
from corridor.clearance.crossings import chords
from corridor.clearance.findings import against_of, obstacle_name
from corridor.clearance.not_assessed import Gap
from corridor.clearance.swept_surface import SweptSurface
from corridor.clearance.swung_wires import hung_curves
from corridor.line.swing import from_grid

__all__ = [
    "checked_rows",
    "closest",
    "fall_gaps",
    "fall_in",
    "feet_on",
    "feet_of",
    "near_pairs",
    "near_points",
    "surfaces_of",
    "tallest",
]

#: How far off points are compared at least [m].
REACH = 30.0
#: Places along the wire and turns between its two sides in the first look, and in each of the narrower ones.
_FIRST, _NEXT, _LOOKS = (65, 17), (9, 9), 12
#: How far off at most distances are that a table of places alone tells [m].
_ROUGHLY = 0.5
#: Height for which things are looked for whose tops alone are known [m].
_TALLEST = 100.0
#: Rows worked on at once.
_AT_ONCE = 500


def near_points(scene, index, cases, tops, chosen, reach=REACH, within=np.inf):
    """Return the minimum radial distance from wires, along their whole swing, to points that stand near them.

    A point is an upright of some radius up to its top: the distance is `hypot(max(d - r, 0), max(z - top, 0))` with the
    plan distance d and the wire's elevation z.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
    cases : ndarray of int
        All with wind, or all without.
    tops : ndarray, shape (part,)
        Elevation of the top of each part [m].
    chosen : ndarray of bool, shape (part,)
        Parts that a radial rule is for and whose top is known.
    reach : float
        Distance within which all are found; what is farther off than that in plan is not told [m].
    within : float
        Nor is what is farther off than this in space [m].

    Returns
    -------
    Checked
        `measure` "radial".
    """
    radius = np.nan_to_num(index.obstacles.radius[index.of_part])

    def distance(place, spot, part):
        beside = np.hypot(*np.moveaxis(place[..., :2] - spot, -1, 0)) - radius[part]
        return np.hypot(np.maximum(beside, 0), np.maximum(place[..., 2] - tops[part], 0))

    wide = np.full(len(tops), reach + scene.reach.around.max(initial=0.0))
    target = _Target(tops, radius, np.full(len(tops), -np.inf), distance)
    found = _nearest(scene, index, cases, chosen, wide, target, within + scene.reach.around.max(initial=0.0))
    top = tops[found.part]
    position = np.where(found.place[:, 2] >= top, "above", "beside").astype(object)
    return checked_rows(scene, index, *found[:6], position, np.minimum(top, found.place[:, 2]), found.near)


def fall_in(scene, index, cases, tops, feet, chosen, reach=REACH):
    """Return how near trees that fall come to wires: `hypot(d, z - f) - h`.

    The tree turns about its foot, at elevation f, in whatever direction; d is the distance in plan from the foot to the
    wire, z the wire's elevation and h the height of the tree. The width of the crown is left out. Negative: so much of
    the tree's top reaches beyond the wire.

    Parameters
    ----------
    scene, index, tops, chosen
        As in `near_points`.
    cases : ndarray of int
        All with wind, or all without.
    feet : ndarray, shape (part,)
        Elevation of the foot of each part [m].
    reach : float
        Distance from where tops may fall to, within which all are found; what is farther off in plan is not told [m].

    Returns
    -------
    Checked
        `measure` "radial", `position` "falling"; `other` the elevation of the foot.
    """
    height = tops - feet

    def distance(place, spot, part):
        flat = np.hypot(*np.moveaxis(place[..., :2] - spot, -1, 0))
        return np.hypot(flat, place[..., 2] - feet[part]) - height[part]

    found = _nearest(scene, index, cases, chosen, np.maximum(height, 0) + reach,
                     _Target(feet, np.zeros(len(feet)), feet, distance))
    return checked_rows(scene, index, *found[:6], np.full(len(found.part), "falling", object), feet[found.part],
                        found.near)


class _Found(NamedTuple):
    """Nearest places: wire span, part, option, case, distance [m], place in the frame of the span (row, 3); and whether
    that is within reach in plan: what is near by another option's swing alone is not told."""

    wire: np.ndarray
    part: np.ndarray
    option: np.ndarray
    case: np.ndarray
    least: np.ndarray
    place: np.ndarray
    near: np.ndarray


class _Target(NamedTuple):
    """What wires are measured from: elevation and radius of a level disc about each part [m], which wires that hang no
    lower than `lowest` are nearest to where the distance is least; `distance` [m] from places (row, turn, place, 3) and
    points (row, 1, 1, 2) in the frames of the spans, and parts (row, 1, 1)."""

    elevation: np.ndarray
    radius: np.ndarray
    lowest: np.ndarray
    distance: callable


def _nearest(scene, index, cases, chosen, reach, target, within=np.inf):
    """Minimum distance of every wire to every chosen point within its reach, in every option and case; nan where that
    is more than `within`."""
    wire, part = _whole_spans(scene, *near_pairs(
        scene, index, cases, chosen & (shapely.get_type_id(index.part) == 0), reach))
    pair, o, k = scene.asked(wire, cases)
    w, p = wire[pair], part[pair]
    least, place = np.full(len(w), np.nan), np.full((len(w), 3), np.nan)
    row, spot = scene.way(w, o, cases[k]), _spots(scene, index, w, p)
    surface, number = surfaces_of(scene, row)
    low = np.where(number < 0, np.nan, surface.lowest[number]) if len(surface.lowest) else np.full(len(w), np.nan)
    rows = np.flatnonzero((low > target.lowest[p]) & (low - target.elevation[p] <= within))
    disc, radius = np.column_stack([spot[rows], target.elevation[p[rows]]]), target.radius[p[rows]]
    close, found = feet_on(surface, number[rows], disc, radius, within)
    rows = rows[close]
    place[rows] = found
    each = np.s_[:, None, None]
    least[rows] = target.distance(place[rows][each], spot[rows][each], p[rows][each])[:, 0, 0]
    rows = np.flatnonzero(~(low > target.lowest[p]))
    for first in range(0, len(rows), _AT_ONCE):
        some = rows[first:first + _AT_ONCE]
        least[some], place[some] = _look(scene, row[some], w[some], p[some], spot[some], reach, target.distance)
    near = np.hypot(*(place[:, :2] - spot).T) <= target.radius[p] + reach[p]
    return _Found(w, p, o, cases[k], least, place, near)


def surfaces_of(scene, way):
    """Return the SweptSurface of ways (row,), each once, and the number of that of each row, -1 where a wire hangs
    nowhere in part of the wind."""
    ways, of = np.unique(way, return_inverse=True)
    whole = scene.ways.hangs[ways] & ~scene.ways.partly[ways]
    surface = SweptSurface(scene.ways, ways[whole], scene.ways.windy[ways].any())
    return surface, np.where(whole, np.cumsum(whole) - 1, -1)[of]


def near_pairs(scene, index, cases, chosen, reach):
    """Return wire spans and parts within reach of the wire, however far the wind blows it from its chord.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
    cases : ndarray of int
    chosen : ndarray of bool, shape (part,)
    reach : ndarray, shape (part,)
        On the ground [m].

    Returns
    -------
    wire, part : ndarray of int, shape (pair,)
    """
    wires, frame = scene.wires, scene.frame
    if not chosen.any() or not len(cases):
        return np.zeros(0, int), np.zeros(0, int)
    y = hung_curves(scene.hung, cases, places=9)
    chord = frame.start[:, 1, None] + y.share * (frame.end - frame.start)[:, 1, None]
    away = np.abs(y.points[..., 1] - chord[:, None, None, None])
    # Between nine places a parabola is deeper by a 64th at most.
    bow = 1.02 * np.where(np.isnan(away), 0.0, away).max(axis=(1, 2, 3, 4)) + 0.02
    lines, factor = chords(wires), scene.spans.ground_factor[wires.span]
    most = (reach[chosen].max() + bow.max(initial=0.0)) / factor.min(initial=1.0)
    wire, part = index.tree.query(lines, predicate="dwithin", distance=most)
    wire, part = wire[chosen[part]], part[chosen[part]]
    near = index.footprint.near(lines[wire], part, (reach[part] + bow[wire]) / factor[wire])
    return wire[near], part[near]


def _whole_spans(scene, wire, part):
    """The pairs of all wires of a span of which one is near a part."""
    pairs = np.unique(np.stack([scene.wires.span[wire], part]), axis=1)
    row, wire = matches(pairs[0], scene.wires.span)
    return wire, pairs[1][row]


def feet_on(surface, wire, middle, radius, within):
    """Return which wires of a surface (row,) are not farther than so much [m] from level discs about middles (row, 3),
    and their places nearest to these."""
    feet = surface.nearest(wire, middle, *surface.first(wire, middle), radius)
    near = np.flatnonzero(feet.distance <= within + _ROUGHLY)
    return near, surface.exactly(wire[near], middle[near], feet.turn[near], feet.share[near], radius[near])[0]


def _spots(scene, index, w, p):
    """Points of parts in plan, in the frames of the spans of wires (row, 2) [m]."""
    spot = np.pad(shapely.get_coordinates(index.part[p]), ((0, 0), (0, 1)))
    return from_grid(spot, scene.structures, scene.spans, scene.wires.span[w])[:, :2]


def _look(scene, row, w, p, spot, reach, distance):
    """Minimum distance of rows to points, and its place."""
    start, run = scene.frame.start[w, :2], (scene.frame.end - scene.frame.start)[w, :2]
    size = np.linalg.norm(run, axis=-1)
    foot = ((spot - start) * run).sum(-1) / size**2
    wide = 2 * reach[p] / size
    spot, part = spot[:, None, None], p[:, None, None]
    return closest(scene, row, np.clip(foot - wide, 0, 1), np.clip(foot + wide, 0, 1),
                   lambda place: distance(place, spot, part))


def closest(scene, row, low, high, distance, first=_FIRST):
    """Return the minimum distance of wires along their swing, and where it is, in ever narrower windows.

    Parameters
    ----------
    scene : Scene
    row : ndarray of int, shape (row,)
        Numbers of the ways.
    low, high : ndarray, shape (row,)
        Shares of the span between which the place is looked for [-].
    distance : callable
        From places (row, turn, place, 3) in the frames of the spans to distances [m].
    first : (int, int)
        Places and turns of the first look.

    Returns
    -------
    least : ndarray, shape (row,)
        [m], nan where no place is known.
    place : ndarray, shape (row, 3)
    """
    left, right = -np.ones(len(row)), np.ones(len(row))
    for places, turns in (first, *(_NEXT,) * _LOOKS):
        share = low[:, None] + (high - low)[:, None] * np.linspace(0, 1, places)
        turn = left[:, None] + (right - left)[:, None] * np.linspace(0, 1, turns if scene.ways.windy[row].any() else 1)
        place = scene.ways.places(row, turn, share)
        value = distance(place).reshape(len(row), -1)
        best = np.where(np.isnan(value), np.inf, value).argmin(axis=1)
        u, s = np.divmod(best, places)
        low, high = _around(share, s, low, high)
        left, right = _around(turn, u, left, right)
    each = np.arange(len(row))
    return value[each, best], place[each, u, s]


def _around(grid, at, low, high):
    """Two cells to either side of the chosen node of each grid: low places run aslant through place and turn."""
    centre = np.take_along_axis(grid, at[:, None], 1)[:, 0]
    half = 2 * (high - low) / max(grid.shape[1] - 1, 1)
    return np.maximum(centre - half, low), np.minimum(centre + half, high)


def checked_rows(scene, index, wire, part, option, case, least, place, position, other, near=True):
    """Return the rows of the worst wire of each span, option, case and obstacle, `measure` "radial".

    Columns of shape (row,): `least` distance [m], of which what bundles reach about their middle is taken off; `place`
    (row, 3) in the frame of the span, `other` elevation of the thing there [m]. Things whose worst wire is not `near`
    are left out.
    """
    obstacle, least = index.of_part[part], least - scene.reach.around[wire, option, case]
    r = least_rows(keys_of(scene.wires.span[wire], obstacle, option, case), least)
    r = r[np.broadcast_to(near, np.shape(wire))[r]]
    return placed(scene, wire[r], option[r], case[r], obstacle[r], "radial", position[r], least[r], place[r], other[r])


def feet_of(index, tops, sample, falling):
    """Return the elevation of the foot of points that can fall [m], shape (part,), nan for all others.

    Parameters
    ----------
    index : ObstacleIndex
    tops : ndarray, shape (part,)
    sample : callable
        `(easting, northing) -> ground elevation [m]`.
    falling : ndarray of bool, shape (part,)
    """
    absolute = index.obstacles.absolute[index.of_part]
    feet = np.where(falling & ~absolute, tops - index.obstacles.height[index.of_part], np.nan)
    some = np.flatnonzero(falling & absolute & (shapely.get_type_id(index.part) == 0))
    if len(some):
        feet[some] = sample(*shapely.get_coordinates(index.part[some]).T)
    return feet


def tallest(index, falling):
    """Return the maximum height that anything that falls may have [m]: 100 m where only its top is surveyed."""
    height = np.where(index.obstacles.absolute, _TALLEST, index.obstacles.height)[index.of_part]
    return np.fmax.reduce(height[falling], initial=0.0)


def fall_gaps(scene, index, tops, feet, falling):
    """Return the gaps of things near a span that can fall and are not compared.

    Parameters
    ----------
    scene, index, tops, feet
        As in `fall_in`.
    falling : ndarray of bool, shape (part,)
        What can fall.

    Returns
    -------
    list of Gap
    """
    wires, obstacles = scene.wires, index.obstacles
    ruled = rule_tables.falling_rule(scene.rules, against_of(index.of_part, obstacles))[1]
    point = shapely.get_type_id(index.part) == 0
    wire, part = index.tree.query(chords(wires), predicate="dwithin", distance=2 * REACH)
    gaps = {}
    for w, p in zip(wire[falling[part]], part[falling[part]], strict=True):
        reason = _why_not(point[p], ruled[p], tops[p] - feet[p])
        if reason:
            against, name = obstacles.category[index.of_part[p]], obstacle_name(index.of_part[p], obstacles)
            gaps[wires.span[w], p] = Gap(wires.span[w], None, None, None, against, str(name), reason)
    return list(gaps.values())


def _why_not(point, ruled, height):
    if not point:
        return "falling is computed for points only, not for lines and areas"
    if not ruled:
        return "the rules hold none for what falls: neither falling_tree nor its category has a radial row"
    if np.isnan(height):
        return "how high it stands above its foot is unknown, so not how far it falls"
    return None
