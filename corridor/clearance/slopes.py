"""How near wires come to the ground in space: to the slope, the bank or the rock face beside them, not only below.

A first look goes over the ground of each span on a grid, across the wire in all its states; the nearest places of that
are then narrowed in four ways at once: swing and place of the wire, place of the ground along and across from there.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import take
from corridor.clearance import rules as rule_tables
from corridor.clearance.nearest import kept_ways, lowest
from corridor.clearance.not_assessed import HOLE_BESIDE, Gap
from corridor.clearance.sweep import GROUND
from corridor.clearance.vertical import Checked
from corridor.line.swing import to_grid

__all__ = ["Slopes", "beside_ground", "near_slopes"]

#: Ground farther beside wires than this is not looked at [m].
REACH = 60.0
#: Nodes of the swing in the first look, where there is wind; greatest number of nodes along a span.
_TURNS, _PLACES = 9, 801
#: Ways begun of each span, option and case, and how many are followed on; how often windows are narrowed, and by how
#: much.
_WAYS, _FEW, _LOOKS, _NARROW = 24, 10, 32, 0.75
#: Places of the first look of which the least is followed, whether or not it is less than those beside.
_STRETCH = 3
#: Nodes on the ground each way in the first of these, and in how many.
_NODES, _FINE = 9, 16
#: Nodes worked on at once.
_AT_ONCE = 200_000


class Slopes(NamedTuple):
    """What was compared, of measure "radial", None for nothing; and `unknown`: wire span, option and case each whose
    ground is not known as far as the nearest that is."""

    checked: Checked
    unknown: tuple


class _Ways(NamedTuple):
    """Row of the wires; turn and share of the wire [-]; how far along and across from there the ground lies [m]; step
    of the first look and distance found in it [m]."""

    row: np.ndarray
    turn: np.ndarray
    share: np.ndarray
    along: np.ndarray
    across: np.ndarray
    step: np.ndarray
    least: np.ndarray


def beside_ground(scene, below, sample, cases, floor):
    """Return what is compared with the ground in space, and the gaps: for the radial rule in cases that ask how high
    wires are; where the rules have none as near as the electrical distance, in every case that asks for a clearance.

    Parameters
    ----------
    scene : Scene
    below : Rows
        Ground under each wire span.
    sample : callable
        `(easting, northing) -> ground elevation [m]`.
    cases : ndarray of int
    floor : float
        How far is looked where the electrical distance stands in [m].

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
    pieces = len(below.fraction) // 2 - len(below.span)
    cell = float(np.nansum(below.span) / max(pieces, 1))
    found = [near_slopes(scene, np.flatnonzero(asked & some), sample, cell, within) for some in (windy, ~windy)
             if (asked & some).any()]
    gaps = dict.fromkeys(Gap(int(scene.wires.span[w]), None, scene.options[o].name, scene.cases[k].name, "ground", None,
                             HOLE_BESIDE) for each in found for w, o, k in each.unknown)
    return [take(each.checked, each.checked.actual <= within) for each in found if each.checked is not None], list(gaps)


def near_slopes(scene, cases, sample, cell, within=REACH):
    """Return the least distance in space from wires to the ground, along their whole swing in wind.

    `min hypot(a, c, max(z - g(x + a, y + c), 0))` over places x, y, z of the wire, at any swing, and places of the
    ground a along and c across from there. It is solid: a face between two places is no farther than the higher one.
    On a plane of slope b it is the height above it times `cos b`. Where a wire would lie
    in the ground it is how deep, negative.

    Parameters
    ----------
    scene : Scene
    cases : ndarray of int
        All with wind, or all without.
    sample : callable
        `(easting, northing) -> ground elevation [m]`.
    cell : float
        Side of the cells of the ground [m].
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
    known = scene.ways.hangs[way] & ~scene.ways.partly[way]
    ways, unknown = [], []
    for span in np.unique(scene.wires.span):
        rows = np.flatnonzero(known & (scene.wires.span[wire] == span))
        if len(rows):
            found, holes = _scan(scene, way[rows], rows, span, shape, sample, cell, within)
            ways.append(found)
            unknown += [(int(wire[row]), int(row // shape[2] % shape[1]), int(cases[row % shape[2]])) for row in holes]
    if not ways:
        return Slopes(None, ())
    ways = _Ways(*(np.concatenate(column) for column in zip(*ways, strict=True)))
    key = scene.wires.span[wire[ways.row]] * shape[1] * shape[2] + ways.row % (shape[1] * shape[2])
    ways, place, ground = _narrowed(scene, way, wire, ways, key, sample)
    w, o, k = wire[ways.row], ways.row // shape[2] % shape[1], ways.row % shape[2]
    return Slopes(_rows(scene, w, o, cases[k], ways.least, place, ground), tuple(unknown))


def _scan(scene, way, rows, span, shape, sample, cell, within):
    """The first look at one span: ways, and a row of each option and case of which the ground is not known."""
    length = scene.wires.length[scene.wires.span == span].max()
    count = int(np.clip(np.ceil(2 * length / cell) + 1, 9, _PLACES))
    step = length / (count - 1)
    turns = np.linspace(-1, 1, _TURNS if scene.ways.windy[way].any() else 1)
    turn, share = np.tile(turns, (len(rows), 1)), np.tile(np.linspace(0, 1, count), (len(rows), 1))
    place = scene.ways.places(way, turn, share)
    key = rows % (shape[1] * shape[2])
    reach = _heights(scene, rows // (shape[1] * shape[2]), place[:, ::4, ::4], sample, key)
    if not np.isfinite(reach):
        return _Ways(*(np.zeros(0, kind) for kind in (int, *(float,) * 6))), _first_of(key, rows, key >= 0)
    within += scene.reach.around.max(initial=0.0)
    least, across, hole = _across(scene, rows // (shape[1] * shape[2]), place, sample, step, min(reach, within),
                                  within + 2 * step)
    best = np.full(shape[1] * shape[2], np.inf)
    np.minimum.at(best, key, least.min(axis=(1, 2)))
    lost = _first_of(key, rows, (hole < np.minimum(best, within)[key, None, None]).any(axis=(1, 2)))
    most = np.minimum(1.2 * best[key, None, None], within + step) + step
    row, t, s = np.nonzero((lowest(least) | _least_of_stretches(least)) & (least <= most))
    kept = kept_ways(key[row], least[row, t, s], np.full(len(row), np.inf), _WAYS)
    row, t, s = row[kept], t[kept], s[kept]
    return _Ways(rows[row], turn[row, t], share[row, s], np.zeros(len(row)), across[row, t, s],
                 np.full(len(row), step), least[row, t, s]), lost


def _least_of_stretches(least):
    """True for the least of every few places of each row (row, turn, share), at all turns: along a cliff the ground of
    the first look, on a grid, may hide which of them is the nearest."""
    count = -(-least.shape[2] // _STRETCH)
    padded = np.full((*least.shape[:2], count * _STRETCH), np.inf)
    padded[..., :least.shape[2]] = least
    padded = padded.reshape(*least.shape[:2], count, _STRETCH)
    lowest_there = padded.min(axis=(1, 3), keepdims=True)
    return (np.isfinite(padded) & (padded == lowest_there)).reshape(*least.shape[:2], -1)[..., :least.shape[2]]


def _heights(scene, wire, place, sample, key):
    """The greatest of the least heights of all options and cases over the ground [m], as far as it is looked."""
    over = place[..., 2] - _ground_at(scene, wire, place, sample)
    least = np.full(key.max() + 1, np.inf)
    np.minimum.at(least, key, np.where(np.isnan(over), np.inf, over).min(axis=(1, 2)))
    known = least[np.isfinite(least)]
    return np.clip(known.max(), 1.0, REACH) if len(known) else np.nan


def _first_of(key, rows, chosen):
    """The first row of each key among the chosen."""
    return rows[chosen][np.unique(key[chosen], return_index=True)[1]]


def _ground_at(scene, wire, place, sample):
    """Elevation of the ground below places (row, ...) in the frame of the span of each wire [m]."""
    grid = to_grid(place, scene.structures, scene.spans, scene.wires.span[wire])
    return sample(grid[..., 0], grid[..., 1])


def _across(scene, wire, place, sample, step, reach, far):
    """Distances [m] of places (row, turn, share) to the ground across from them, how far across it is, and how far
    across the nearest unknown ground is, inf where there is none; inf, too, for rows that are everywhere more than
    `far` above the highest ground across from them, as the distance is greater than that."""
    low, high = (best(place[..., :2], axis=(0, 1, 2)) for best in (np.min, np.max))
    x = np.arange(low[0], high[0] + step, step)
    y = np.arange(low[1] - reach - step, high[1] + reach + 2 * step, step)
    mesh = np.stack([*np.meshgrid(x, y, indexing="ij"), np.zeros((len(x), len(y)))], axis=-1)
    Z = _ground_at(scene, wire[:1], mesh[None], sample)[0]
    if place[..., 2].min() - Z.max() > reach + step:
        return tuple(np.full(place.shape[:-1], np.inf) for _ in range(3))
    i, j = (np.rint((place[..., axis] - at[0]) / step).astype(int) for axis, at in ((0, x), (1, y)))
    least, across, hole = (np.full(place.shape[:-1], np.inf) for _ in range(3))
    # Where ground is unknown, so is the highest, and the row is looked at.
    near = np.flatnonzero(~((place[..., 2] - Z.max(axis=1)[i]).min(axis=(1, 2)) > far))
    least[near], across[near], hole[near] = _nearest_across(place[near], Z, i[near], j[near], y,
                                                            int(reach / step) + 1)
    return least, across, hole


def _nearest_across(place, Z, i, j, y, count):
    """The three of `_across` for places by row and column of the mesh Z, as many rows of it to either side."""
    least, across, hole = (np.full(place.shape[:-1], np.inf) for _ in range(3))
    for m in range(-count, count + 1):
        c = y[j + m] - place[..., 1]
        d = np.hypot(c, np.maximum(place[..., 2] - Z[i, j + m], 0))
        unknown = np.isnan(d)
        hole = np.where(unknown, np.minimum(hole, np.abs(c)), hole)
        nearer = d < least
        least, across = np.where(nearer, d, least), np.where(nearer, c, across)
    over = place[..., 2] - Z[i, j]
    return np.where(over < 0, over, least), np.where(over < 0, 0.0, across), hole


def _narrowed(scene, way, wire, ways, key, sample):
    """The nearest way of each key, followed to the end; its place on the wire, and the ground there [m]."""
    size = np.maximum(ways.step, ways.least / 2)
    half = np.stack([np.full(len(size), 2 / (_TURNS - 1)), size / scene.wires.length[wire[ways.row]], size,
                     np.maximum(ways.step, ways.least / 8)])
    for look in range(_LOOKS):
        ways, place, ground = _look(scene, way, wire, ways, half * _NARROW**look, sample,
                                    _NODES if look < _FINE else 3)
        few = 1 if look == _LOOKS - 1 else _FEW if look > 7 else _WAYS
        kept = kept_ways(key, ways.least, np.full(len(key), np.inf), few)
        ways, key, half = _Ways(*(v[kept] for v in ways)), key[kept], half[:, kept]
    return ways, place[kept], ground[kept]


def _look(scene, way, wire, ways, half, sample, count):
    """The best of three nodes in swing and share each, and of some in each way on the ground."""
    three, some_more = np.linspace(-1, 1, 3), np.linspace(-1, 1, count)
    turn, share = (np.clip(centre[:, None] + h[:, None] * three, low, 1) for centre, h, low in
                   ((ways.turn, half[0], -1), (ways.share, half[1], 0)))
    a, c = (centre[:, None] + h[:, None] * some_more for centre, h in
            ((ways.along, half[2]), (ways.across, half[3])))
    shape = 3, 3, count, count
    least, ground, at = np.empty(len(turn)), np.empty(len(turn)), np.empty(len(turn), int)
    places, at_once = np.empty((len(turn), 3, 3, 3)), max(_AT_ONCE // (9 * count**2), 1)
    for first in range(0, len(turn), at_once):
        some = slice(first, first + at_once)
        row = ways.row[some]
        places[some] = place = scene.ways.places(way[row], turn[some], share[some])
        spot = np.broadcast_to(place[:, :, :, None, None], (len(row), *shape, 3)).copy()
        spot[..., 0] += a[some, None, None, :, None]
        spot[..., 1] += c[some, None, None, None, :]
        g = _ground_at(scene, wire[row], spot, sample)
        d = np.sqrt(a[some, None, None, :, None]**2 + c[some, None, None, None, :]**2
                    + np.maximum(spot[..., 2] - g, 0)**2)
        g0 = _ground_at(scene, wire[row], place, sample)[..., None, None]
        inside = place[..., 2][..., None, None] < g0
        d, g = np.where(inside, place[..., 2][..., None, None] - g0, d), np.where(inside, g0, g)
        d = np.where(np.isnan(d), np.inf, d).reshape(len(row), -1)
        at[some] = d.argmin(axis=1)
        each = np.arange(len(row))
        least[some], ground[some] = d[each, at[some]], g.reshape(len(row), -1)[each, at[some]]
    every, (t, s, i, j) = np.arange(len(turn)), np.unravel_index(at, shape)
    return ways._replace(turn=turn[every, t], share=share[every, s], along=a[every, i], across=c[every, j],
                         least=least), places[every, t, s], ground


def _rows(scene, w, o, k, least, place, ground):
    along = scene.frame.start[w, 0], scene.frame.end[w, 0]
    position = np.where((ground > place[:, 2]) & (least > 0), "beside", "above").astype(object)
    least = least - scene.reach.around[w, o, k]
    return Checked(w, o, k, np.full(len(w), GROUND), np.full(len(w), "radial", object), position, least,
                   (place[:, 0] - along[0]) / (along[1] - along[0]), place[:, 2], ground, place[:, 1])
