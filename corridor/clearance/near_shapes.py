"""How near wires come in space to walls, fences, roofs and all else that is drawn as a line or an area."""

import numpy as np
import shapely

from corridor.clearance.checked import least_rows
from corridor.clearance.crossings import roofed
from corridor.clearance.swept_surface import SweptSurface
from corridor.clearance.swung_wires import hung_curves
from corridor.clearance.trees import checked_rows, closest, feet_on, near_pairs, surfaces_of
from corridor.line.swing import from_grid, to_grid

__all__ = ["near_shapes"]

#: Places along the wire and turns of its swing in the first look.
_FIRST = 65, 17
#: Directions and shares of the distance found at which it is asked whether the thing is higher there.
_ROUND, _SHARES = 16, np.linspace(0, 1, 7)[1:]
#: Step along lines and edges whose height changes, as a share of their length, and no less than so much [m of the
#: grid]; how often the step that has the nearest place is narrowed.
_STEP, _NARROWED = (1 / 200, 0.5), 24
#: How much lower a wire may hang than it does at `_PLACES` of it, at most [m].
_LOWER, _PLACES = 1.0, 33
#: Rows worked on at once.
_AT_ONCE = 100


def near_shapes(scene, index, sample, cases, tops, chosen, reach):
    """Return the minimum distance in space from wires, along their whole swing, to lines and areas near them.

    They are solid from their top down to the ground: the distance is `hypot(d, max(z - t, 0))` with the plan distance d
    to a place of the thing, its top t there and the wire's elevation z. What stands on the ground follows it.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
    sample : callable
        `(easting, northing) -> ground elevation [m]`.
    cases : ndarray of int
        All with wind, or all without.
    tops : ndarray, shape (part,)
        Elevation of the top of each part at its highest [m].
    chosen : ndarray of bool, shape (part,)
        Lines and areas whose top is known.
    reach : float
        Distance within which they are looked for, from wherever wind blows wires [m].

    Returns
    -------
    Checked
        `measure` "radial".
    """
    wire, part = near_pairs(scene, index, cases, chosen, np.full(len(chosen), reach))
    lowest = np.nanmin(hung_curves(scene.hung, cases, places=_PLACES).points[wire, ..., 2], axis=(1, 2, 3, 4),
                       initial=np.inf) if len(wire) else np.zeros(0)
    some = lowest - _LOWER <= tops[part] + reach
    wire, part = wire[some], part[some]
    pair, o, k = scene.asked(wire, cases)
    some = _as_near(scene, index, tops, wire[pair], part[pair], scene.way(wire[pair], o, cases[k]), reach)
    w, p, o, k = wire[pair[some]], part[pair[some]], o[some], k[some]
    least, place, top = np.full(len(w), np.nan), np.full((len(w), 3), np.nan), np.full(len(w), np.nan)
    for first in range(0, len(w), _AT_ONCE):
        rows = slice(first, first + _AT_ONCE)
        near = _Near(scene, index, sample, tops, w[rows], p[rows])
        found = closest(scene, scene.way(w, o, cases[k])[rows], *near.window(reach), near.distance, _FIRST)
        least[rows], place[rows], top[rows] = near.along(scene.way(w, o, cases[k])[rows], *near.higher(*found))
    position = np.where(place[:, 2] >= top, "above", "beside").astype(object)
    return checked_rows(scene, index, w, p, o, cases[k], least, place, position, np.minimum(top, place[:, 2]))


def _as_near(scene, index, tops, wire, part, way, reach):
    """Rows of wires that are not farther from parts than so much: those that are from a disc about them, at their top,
    are farther from them, too."""
    shape = index.part[part]
    low, high = np.split(shapely.bounds(shape), 2, axis=1)
    middle = from_grid(np.column_stack([(low + high) / 2, tops[part]]), scene.structures, scene.spans,
                       scene.wires.span[wire])
    factor = scene.spans.ground_factor[scene.wires.span[wire]]
    own = np.nan_to_num(index.obstacles.radius[index.of_part[part]])
    radius = (np.hypot(*(high - low).T) / 2 + own) * np.maximum(factor, 1)
    surface, number = surfaces_of(scene, way)
    known = np.flatnonzero(number >= 0)
    near, _ = feet_on(surface, number[known], middle[known], radius[known],
                      reach + scene.reach.around.max(initial=0.0))
    return np.sort(np.concatenate([np.flatnonzero(number < 0), known[near]]))


class _Near:
    """Rows of a wire span and a part: how far places of the wire are from the part."""

    def __init__(self, scene, index, sample, tops, wire, part):
        obstacles, thing = index.obstacles, index.of_part[part]
        self._scene, self._sample, self._wire = scene, sample, wire
        self._span = scene.wires.span[wire]
        self._factor = scene.spans.ground_factor[self._span]
        self._shape, self._flat = index.part[part], shapely.force_2d(index.part[part])
        self._top, self._height = tops[part], obstacles.height[thing]
        self._radius = np.nan_to_num(obstacles.radius[thing]) * (shapely.get_dimensions(self._flat) == 1)
        self._own = obstacles.absolute[thing] & (shapely.get_dimensions(self._flat) == 1)
        self._drapes = ~obstacles.absolute[thing] & ~roofed(obstacles.category[thing])

    def window(self, reach):
        """Shares of each wire between which it may be within reach of its part, and somewhat beyond."""
        tail = self._scene.wires.start[self._wire, :2]
        run = self._scene.wires.end[self._wire, :2] - tail
        west, south, east, north = shapely.bounds(self._flat).T
        corners = np.stack([np.stack([x, y], axis=-1) for x in (west, east) for y in (south, north)], axis=1)
        size = np.linalg.norm(run, axis=-1, keepdims=True)
        share = ((corners - tail[:, None]) * run[:, None]).sum(axis=-1) / size**2
        wide = 2 * (reach + self._radius) / size[:, 0]
        return np.clip(share.min(axis=1) - wide, 0, 1), np.clip(share.max(axis=1) + wide, 0, 1)

    def distance(self, place):
        """Distance of places (row, turn, place, 3) in the frames of the spans [m]."""
        flat = place.reshape(len(place), -1, 3)
        return self._to(flat, flat)[0].reshape(place.shape[:-1])

    def higher(self, least, place):
        """Minimum distances and places, once more with what is higher round about; and the top that is nearest."""
        angle = np.arange(_ROUND) * 2 * np.pi / _ROUND
        ring = (_SHARES[:, None, None] * np.stack([np.cos(angle), np.sin(angle)], axis=-1)).reshape(-1, 2)
        ring = np.concatenate([np.zeros((1, 2)), ring])
        about = np.repeat(place[:, None], len(ring), axis=1)
        about[..., :2] += least[:, None, None] * ring
        away, top = self._to(np.repeat(place[:, None], len(ring), axis=1), about)
        best = np.where(np.isnan(away), np.inf, away).argmin(axis=1)
        each = np.arange(len(place))
        return np.fmin(least, away[each, best]), place, top[each, best]

    def along(self, path, least, place, top):
        """The same, once more with the place of each wire that is nearest to what the lines and edges of things whose
        height changes reach to: along a straight piece of one, of even slope, it is the least of all."""
        row = np.flatnonzero((self._own | self._drapes) & np.isfinite(least))
        if not len(row):
            return least, place, top
        surface = SweptSurface(self._scene.ways, path[row], self._scene.ways.windy[path[row]].any())
        of, nodes = self._edges(row, surface, least[row])
        feet = self._feet(surface, row, of, nodes[:, 0])
        best = least_rows(of, feet.distance)
        if not len(best):
            return least, place, top
        of, nodes = np.repeat(of[best], 2), nodes[best][:, [1, 0, 0, 2]].reshape(-1, 2, 2)
        low, high = np.zeros(len(of)), np.ones(len(of))
        for _ in range(_NARROWED):
            third = (high - low) / 3
            left, right = (self._feet(surface, row, of, _on(nodes, at)).distance for at in (low + third, high - third))
            low, high = np.where(left > right, low + third, low), np.where(left > right, high, high - third)
        spot = _on(nodes, (low + high) / 2)
        feet = self._feet(surface, row, of, spot)
        found = surface.exactly(of, self._local(row[of], spot), feet.turn, feet.share)[0]
        here = to_grid(found[:, None], self._scene.structures, self._scene.spans, self._span[row[of]])[:, 0]
        above = self._tops(row[of], spot)
        beside = np.hypot(*(spot - here[:, :2]).T) * self._factor[row[of]] - self._radius[row[of]]
        away = np.hypot(np.maximum(beside, 0), np.maximum(here[:, 2] - above, 0))
        best = least_rows(of, away)
        best = best[away[best] < least[row[of[best]]]]
        at = row[of[best]]
        least[at], place[at], top[at] = away[best], found[best], above[best]
        return least, place, top

    def _edges(self, row, surface, least):
        """Nodes along lines and edges as far as they may be nearer than the least found: number of the row, and places
        (node, 3, 2) in the grid: of the node, of the one before and of the one after it."""
        plan = to_grid(surface.table.reshape(len(row), -1, 3), self._scene.structures, self._scene.spans,
                       self._span[row])[..., :2]
        reach = ((least + self._radius[row]) / self._factor[row])[:, None]
        box = shapely.box(*(plan.min(axis=1) - reach).T, *(plan.max(axis=1) + reach).T)
        edge = self._flat[row]
        area = shapely.get_dimensions(edge) == 2
        edge[area] = shapely.boundary(edge[area])
        near = shapely.intersection(edge, box)
        lines, of = shapely.get_parts(near, return_index=True)
        straight = shapely.length(lines) > 0
        lines, of = lines[straight], of[straight]
        lines = shapely.segmentize(lines, np.maximum(_STEP[0] * shapely.length(lines), _STEP[1]))
        node, line = shapely.get_coordinates(lines, return_index=True)
        same, every = np.diff(line, prepend=-1, append=-1) == 0, np.arange(len(node))
        pieces = np.stack([node, node[every - same[:-1]], node[every + same[1:]]], axis=1)
        lowest = surface.table[..., 2].min(axis=(1, 2))
        kept = lowest[of[line]] - self._tops(row[of[line]], node) < least[of[line]] + 1
        return of[line][kept], pieces[kept]

    def _local(self, row, spot):
        """Tops at places (place, 2) of the parts of rows, in the frames of the spans [m]."""
        grid = np.column_stack([spot, self._tops(row, spot)])
        return from_grid(grid, self._scene.structures, self._scene.spans, self._span[row])

    def _feet(self, surface, row, of, spot):
        """The nearest places of wires `of` the surface, of rows each, to the tops at places of their parts."""
        local = self._local(row[of], spot)
        local[np.isnan(local[:, 2]), 2] = -1e6
        return surface.nearest(of, local, *surface.first(of, local))

    def _to(self, place, about):
        """Distance of places (row, place, 3) from the place of their part that is nearest in plan to others, and its
        top there."""
        here, other = (to_grid(v, self._scene.structures, self._scene.spans, self._span) for v in (place, about))
        known = np.isfinite(other).all(axis=-1)
        foot, row = np.full((*known.shape, 2), np.nan), np.nonzero(known)[0]
        spot = shapely.points(other[known][:, :2])
        foot[known] = shapely.get_coordinates(shapely.shortest_line(spot, self._flat[row])).reshape(-1, 2, 2)[:, 1]
        beside = np.hypot(*np.moveaxis(foot - here[..., :2], -1, 0)) * self._factor[:, None]
        top = np.full(known.shape, np.nan)
        top[known] = self._tops(row, foot[known])
        return np.hypot(np.maximum(beside - self._radius[:, None], 0), np.maximum(here[..., 2] - top, 0)), top

    def _tops(self, row, foot):
        """Elevation of the tops at places (place, 2) of the parts of rows."""
        top, drapes, own = self._top[row], self._drapes[row], self._own[row]
        top[drapes] = self._sample(*foot[drapes].T) + self._height[row[drapes]]
        line = self._shape[row[own]]
        top[own] = shapely.get_z(shapely.line_interpolate_point(
            line, shapely.line_locate_point(line, shapely.points(foot[own]))))
        return top


def _on(pieces, share):
    """Places of pieces (piece, end, 2) at shares of their length."""
    return pieces[:, 0] + share[:, None] * (pieces[:, 1] - pieces[:, 0])
