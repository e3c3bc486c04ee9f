"""How near wires come to the ground in space: to the slope, the bank or the rock face beside them, not only below.

The ground is looked at in blocks of cells, and in ever smaller parts of them. No place of a part is above a plane over
it (`ground_blocks`), and nothing of what a wire sweeps is beyond the plane through its nearest place (`swept_surface`):
so no place of the part is nearer than these two planes are. Parts that are farther off by that than the nearest place
found are left, the others are halved, until nothing is left that could be nearer by more than `TOLERANCE`.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import join, take
from corridor.clearance import rules as rule_tables
from corridor.clearance.checked import GROUND, Checked, least_rows, placed
from corridor.clearance.ground_blocks import Parts
from corridor.clearance.nearest import kept_ways
from corridor.clearance.not_assessed import HOLE_BESIDE, Gap
from corridor.clearance.swept_surface import SweptSurface
from corridor.geometry.surface import SIDE
from corridor.line.swing import to_grid

__all__ = ["TOLERANCE", "Slopes", "beside_ground", "near_slopes"]

#: Ground farther beside wires than this is not looked at [m].
REACH = 60.0
#: By how much less the minimum distance may be than what is found [m].
TOLERANCE = 3e-4
#: Wires nearer to the ground than this touch it, and are looked at whether they hang in it [m].
_TOUCHING = 1e-3
#: How often a cell is halved at most: what is left of it then is no larger than a grain of sand.
_HALVED = 36
#: Wires that hang in the ground: nodes of the swing in the first look and maximum number along them; how many windows
#: are followed of each span, option and case, how often they are narrowed, by how much, and nodes each way.
_TURNS, _PLACES, _WINDOWS, _LOOKS, _NARROW, _NODES = 17, 801, 6, 24, 0.6, 5


class Slopes(NamedTuple):
    """What was compared, of measure "radial", None for nothing; and `unknown`: wire span, option and case each whose
    ground is not known as far as the nearest that is."""

    checked: Checked
    unknown: tuple


def beside_ground(scene, ground, cases, floor, blocks):
    """Return what is compared with the ground in space, and the gaps: for the radial rule in cases that ask how high
    wires are; where the rules have none as near as the electrical distance, in every case that asks for a clearance.

    Parameters
    ----------
    scene : Scene
    ground : Ground
    cases : ndarray of int
    floor : float
        How far is looked where the electrical distance stands in [m].
    blocks : BlocksAbout
        Of that ground.

    Returns
    -------
    list of Checked
    list of Gap
    """
    if not len(scene.wires):
        return [], []
    ruled = rule_tables.has_rule(scene.rules, ["ground"], "radial")[0]
    checks, within = ({"vertical"}, REACH) if ruled else ({"vertical", "horizontal"}, floor)
    asked = np.array([k in cases and not checks.isdisjoint(case.checks) for k, case in enumerate(scene.cases)], bool)
    windy = np.array([case.wind > 0 for case in scene.cases])
    found = [near_slopes(scene, np.flatnonzero(asked & some), ground, blocks, within) for some in (windy, ~windy)
             if (asked & some).any()]
    gaps = dict.fromkeys(Gap(int(scene.wires.span[w]), None, scene.options[o].name, scene.cases[k].name, "ground", None,
                             HOLE_BESIDE) for each in found for w, o, k in each.unknown)
    return [take(each.checked, each.checked.actual <= within) for each in found if each.checked is not None], list(gaps)


def near_slopes(scene, cases, ground, blocks, within=REACH):
    """Return the minimum distance in space from wires to the ground, along their whole swing in wind.

    `min hypot(a, c, max(z - g(x + a, y + c), 0))` over places x, y, z of the wire, at any swing, and places of the
    ground a along and c across from there. It is solid: a face between two places is no farther than the higher one.
    On a plane of slope b it is the height above it times `cos b`. Where a wire would lie
    in the ground it is how deep, negative.

    Parameters
    ----------
    scene : Scene
    cases : ndarray of int
        All with wind, or all without.
    ground : Ground
    blocks : BlocksAbout
    within : float
        Distance within which it is looked for [m].

    Returns
    -------
    Slopes
        One row per span, option and case; `other` the elevation of the nearest ground.
    """
    shape = len(scene.wires), len(scene.options), len(cases)
    wire, option, case = (v.ravel() for v in np.indices(shape))
    way = scene.way(wire, option, cases[case])
    known = np.flatnonzero(scene.ways.hangs[way] & ~scene.ways.partly[way])
    if not len(known):
        return Slopes(None, ())
    wire, option, case, way = wire[known], option[known], case[known], way[known]
    asked = _Asked(scene, wire, way, (scene.wires.span[wire] * shape[1] + option) * shape[2] + case,
                   within + scene.reach.around.max(initial=0.0))
    surface = SweptSurface(scene.ways, way, scene.ways.windy[way].any())
    found, lost = _nearest(asked, surface, ground, blocks)
    return Slopes(_rows(scene, wire[found.row], option[found.row], cases[case[found.row]], found),
                  tuple(zip(wire[lost].tolist(), option[lost].tolist(), cases[case[lost]].tolist(), strict=True)))


class _Asked:
    """Wires (row,): `wire`, `path` and `span` in the scene; `key` of the span, option and case of each, from 0, of so
    many `keys`; and `within` how far it is looked [m]."""

    def __init__(self, scene, wire, path, key, within):
        self.scene, self.wire, self.path, self.within = scene, wire, path, within
        self.span = scene.wires.span[wire]
        keys, self.first, self.key = np.unique(key, return_index=True, return_inverse=True)
        self.keys = len(keys)

    def ground_below(self, ground, place, row):
        """Elevation of the ground below places (row, ..., 3) in the frames of the spans [m]."""
        grid = to_grid(place, self.scene.structures, self.scene.spans, self.span[row])
        return ground.sample(grid[..., 0], grid[..., 1])


class _Found(NamedTuple):
    """What is nearest, one for each key that anything is near of: row of the wire, its place (key, 3) [m] and share
    [-], the elevation of the ground, and the distance [m]."""

    row: np.ndarray
    place: np.ndarray
    share: np.ndarray
    other: np.ndarray
    least: np.ndarray


class _Best:
    """The nearest ground of each key so far.

    `least` distance that is known to be there [m], inf for none; `row` of the wire, -1 for none, its `foot` (key, 2)
    [nodes], and `spot` (key, 3) of the ground [m]; `bound` beyond which nothing is looked for [m]; `inside` whether a
    wire touches the ground or hangs in it; how far aside the nearest unknown ground is, `hole` [m].
    """

    def __init__(self, asked, bound):
        self._key, count = asked.key, asked.keys
        self.bound, self.inside = bound, bound < 0
        self.least, self.hole = np.full(count, np.inf), np.full(count, np.inf)
        self.row, self.foot, self.spot = np.full(count, -1), np.zeros((count, 2)), np.zeros((count, 3))

    def open(self, row, distance):
        """Whether something at such distances from wires can be the nearest."""
        key = self._key[row]
        return (distance < np.minimum(self.least - TOLERANCE, self.bound + TOLERANCE)[key]) & ~self.inside[key]

    def take(self, row, spot, feet):
        """Places of the ground of which these are the feet."""
        key = self._key[row]
        self.inside[key[feet.distance < _TOUCHING]] = True
        first = least_rows(key, feet.distance)
        first = first[feet.distance[first] < self.least[key[first]]]
        key = key[first]
        self.least[key], self.row[key], self.spot[key] = feet.distance[first], row[first], spot[first]
        self.foot[key] = np.stack([feet.turn[first], feet.share[first]], axis=-1)

    def miss(self, row, aside):
        """Unknown ground, so far aside from wires."""
        np.minimum.at(self.hole, self._key[row], aside)


def _nearest(asked, surface, ground, about):
    """What is nearest of each key; and a row of each whose ground is not known as far as that is away."""
    every = np.arange(len(asked.wire))
    table = surface.table
    over = table[..., 2] - asked.ground_below(ground, table, every)
    bound = np.full(asked.keys, asked.within)
    # Where the ground below is not known it is looked as far as at all.
    np.minimum.at(bound, asked.key, np.where(np.isnan(over), np.inf, over).min(axis=(1, 2)))
    reach = np.full(len(asked.scene.spans), np.nan)
    np.fmax.at(reach, asked.span, np.abs(table[..., 1]).max(axis=(1, 2)) + np.maximum(bound, 0)[asked.key])
    blocks, best = about.within(asked.scene, reach), _Best(asked, bound)
    parts = _whole_blocks(asked, surface, blocks, best)
    for _ in range(_HALVED + int(np.log2(SIDE))):
        parts = _left(parts, surface, blocks, best) if len(parts.row) else parts
    sunk = _in_the_ground(asked, ground, np.flatnonzero(best.inside[asked.key]))
    best.row[asked.key[sunk.row]] = -1
    near = np.flatnonzero(best.row >= 0)
    row, spot = best.row[near], best.spot[near]
    place, share = surface.exactly(row, spot, *best.foot[near].T)
    off = place - spot
    least = np.sqrt(off[:, 0]**2 + off[:, 1]**2 + np.maximum(off[:, 2], 0)**2)
    found = join([_Found(row, place, share, spot[:, 2], least), sunk])
    limit = np.full(asked.keys, asked.within)
    limit[asked.key[found.row]] = np.minimum(asked.within, found.least)
    order = np.argsort(asked.key[found.row])
    return _Found(*(v[order] for v in found)), asked.first[np.flatnonzero(best.hole < limit)]


def _whole_blocks(asked, surface, blocks, best):
    """All blocks about the wires that may hold the nearest ground, by how low the wires hang and how high it is."""
    first, last = blocks.first[asked.span], blocks.first[asked.span + 1]
    row = np.repeat(np.arange(len(first)), last - first)
    block = np.arange(len(row)) - np.repeat(np.cumsum(last - first) - (last - first), last - first) + first[row]
    low, high = blocks.extent
    x, y, z = np.moveaxis(surface.table, -1, 0)
    aside = np.maximum(np.maximum(low[block, 1] - y.max(axis=(1, 2))[row], y.min(axis=(1, 2))[row] - high[block, 1]), 0)
    # Between two nodes a wire sags by less than about an eighth of the bend of three.
    lowest = z.min(axis=1)
    sag = np.abs(np.diff(lowest, 2, axis=1)).max(axis=1) / 4
    node = (np.stack([low[block, 0], high[block, 0]]) - x[row, 0, 0]) / (x[:, 0, -1] - x[:, 0, 0])[row]
    node = np.clip(node * (lowest.shape[1] - 1), 0, lowest.shape[1] - 1)
    left, right = np.floor(node[0] - 0.5).astype(int), np.ceil(node[1] + 0.5).astype(int)
    short = right - left <= 3
    there = np.min([lowest[row, np.clip(left + i, 0, lowest.shape[1] - 1)] for i in range(4)], axis=0)
    below = np.where(short, there, lowest.min(axis=1)[row]) - sag[row] - high[block, 2]
    unknown = blocks.holes[block]
    kept = best.open(row, np.hypot(aside, np.where(unknown, 0, np.maximum(below, 0))))
    row, block = row[kept], block[kept]
    none, side = np.zeros(len(row)), np.full(len(row), float(SIDE))
    parts = Parts(row, block, none, none, side, side, none, none)
    turn, share = surface.first(row, np.nan_to_num(blocks.tops(parts).middle))
    return parts._replace(turn=turn, share=share)


def _left(parts, surface, blocks, best):
    """The halves of those parts that may hold ground nearer than what is found."""
    tops = blocks.tops(parts)
    # Ground that is not known may be as high as the wires.
    high = tops.middle.copy()
    high[:, 2] = np.where(tops.known, high[:, 2] + tops.above, np.inf)
    feet = surface.nearest(parts.row, high, parts.turn, parts.share)
    across, along = ((feet.away * np.nan_to_num(v)).sum(axis=1) for v in (tops.across, tops.along))
    least = feet.distance - (np.abs(across) + np.abs(along)) / 2
    parts = parts._replace(turn=feet.turn, share=feet.share)
    if parts.cells == 1:
        lost = np.flatnonzero(~tops.known & best.open(parts.row, least))
        lost = lost[blocks.unknown(parts.block[lost], tops.chosen(lost))]
        best.miss(parts.row[lost], least[lost])
        open_ = np.flatnonzero(best.open(parts.row, least) & tops.known)
        for spot in (tops.corners(-np.sign(across), -np.sign(along)), tops.middle):
            some = parts.chosen(open_)
            there = surface.nearest(some.row, spot[open_], some.turn, some.share)
            best.take(some.row, spot[open_], there)
            open_ = open_[best.open(parts.row[open_], least[open_])]
    else:
        open_ = np.flatnonzero(best.open(parts.row, least))
    length = [np.linalg.norm(np.nan_to_num(v[open_]), axis=1) for v in (tops.across, tops.along)]
    parts = parts.chosen(open_)
    return parts.halved(length[0] > length[1]) if parts.cells == 1 else parts.halved(
        np.ones(len(open_), bool)).halved(np.zeros(2 * len(open_), bool))


def _in_the_ground(asked, ground, rows):
    """What is deepest in the ground of each key, of rows whose wires may hang in it; none where they do not."""
    if not len(rows):
        return _Found(rows, *(np.zeros(shape) for shape in ((0, 3), 0, 0, 0)))
    scene, windy = asked.scene, asked.scene.ways.windy[asked.path[rows]].any()
    length = scene.wires.length[asked.wire[rows]].max(initial=1.0)
    # Among them are the nodes at which a wire was seen to hang in the ground.
    count = min(8 * int(np.ceil(length / 4)) + 1, _PLACES)
    nodes = np.linspace(-1, 1, _TURNS if windy else 1), np.linspace(0, 1, count)
    half = np.array([1 / _TURNS, 1 / count]) * 2
    turn, share = (np.tile(v, (len(rows), 1)) for v in nodes)
    for look in range(_LOOKS + 1):
        place = scene.ways.places(asked.path[rows], turn, share)
        below = asked.ground_below(ground, place, rows)
        over = place[..., 2] - below
        over = np.where(np.isnan(over), np.inf, over).reshape(len(rows), -1)
        # Several windows of each wire at first, the best place of each then.
        at = np.argsort(over, axis=1)[:, : _WINDOWS if look == 0 else 1]
        row, at = np.repeat(np.arange(len(rows)), at.shape[1]), at.ravel()
        kept = kept_ways(asked.key[rows[row]], over[row, at], np.full(len(row), np.inf),
                         1 if look == _LOOKS else _WINDOWS)
        row, at = row[kept], at[kept]
        t, s = np.divmod(at, share.shape[1])
        rows, turn, share = rows[row], turn[row, t], share[row, s]
        if look == _LOOKS:
            found = _Found(rows, place[row, t, s], share, below[row, t, s], over[row, at])
            return _Found(*(v[found.least < 0] for v in found))
        some = np.linspace(-1, 1, _NODES)
        turn = np.clip(turn[:, None] + half[0] * some * windy, -1, 1)
        share = np.clip(share[:, None] + half[1] * some, 0, 1)
        half = half * _NARROW
    raise AssertionError


def _rows(scene, w, o, k, found):
    position = np.where((found.other > found.place[:, 2]) & (found.least > 0), "beside", "above")
    return placed(scene, w, o, k, GROUND, "radial", position, found.least - scene.reach.around[w, o, k], found.place,
                  found.other)
