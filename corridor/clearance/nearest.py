"""Where a swinging wire comes nearest to the ground, between the swings at which it was hung and along it, exactly.

What chords of nine swings leave open is looked at through ever narrower windows of swing and place, in which wires go
their way (`corridor.line.wire_path`). Nothing is looked at that cannot hold the least: a piece of wire between two
swings whose height at both is above the least found by more than the ground may rise between them.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import take
from corridor.clearance.checked import GROUND
from corridor.clearance.chords import Found, chords_of, spots_on
from corridor.clearance.crossings import ground_below
from corridor.clearance.swung_wires import hang_rows
from corridor.geometry.distance import least_heights
from corridor.line.swing import to_grid
from corridor.line.wire_path import Nodes

__all__ = ["Turning", "holes", "kept_ways", "lowest", "nearest_ground", "turning"]

#: The ground may rise by this between two swings against the way to the nearer of them, and so hide the least [-].
_STEEP = 1.0
#: Height that is looked at on top of that, for what chords are off [m].
_SLACK = 0.05
#: Nodes along a chord and between two swings at least, and at most.
_ALONG, _ACROSS = (5, 129), (3, 65)
#: Narrower windows: nodes either way, by how much and how often they are narrowed (with room to spare about the best
#: node, which is no more than half a window's width away from the next), and how many of each span, option and case.
_NODES, _NARROW, _LOOKS, _WAYS, _FEW = 5, 0.6, 18, 16, 6
#: Swings in each look at the wire that was found, by how much the next are narrower, and how many there are; chords of
#: the stretch of wire that is looked at, and how many cells it reaches to either side.
_TURNS, _CLOSER, _FOLLOW, _STRETCH, _CELLS = 5, 0.4, 8, 8, 2
#: Nodes looked at once.
_AT_ONCE = 300_000


class Turning(NamedTuple):
    """Wires along their whole swing: one row per wire span, option and case whose every swing has an answer.

    `path` number among the scene's ways, `wire` of it; `middle` (row, swing) how far right its middle is at each swing,
    from the left to the right [m]; `height` (row, swing, chord) least over the ground of the chords of each swing [m],
    inf where it is not known.
    """

    path: np.ndarray
    wire: np.ndarray
    middle: np.ndarray
    height: np.ndarray


def turning(scene, swung, height):
    """Return wires along their whole swing, of those hung at each of its swings.

    Parameters
    ----------
    scene : Scene
    swung : Nodes
        The same wires at every swing, swing by swing.
    height : ndarray, shape (row, chord)
        Minimum height over the ground of each chord [m], nan where unknown.
    """
    swings = len(np.unique(swung.swing))
    order = np.argsort(swung.swing.reshape(swings, -1)[:, 0])

    def by_wire(values):
        return np.moveaxis(values.reshape(swings, -1, *values.shape[1:])[order], 0, 1)

    middle, path = by_wire(swung.points(np.array([0.5]))[:, 0, 1]), by_wire(swung.path)[:, 0]
    whole = np.flatnonzero(np.isfinite(middle).all(axis=1) & scene.ways.hangs[path] & ~scene.ways.partly[path])
    height, path = by_wire(height)[whole], path[whole]
    return Turning(path, scene.of_way(path)[0], middle[whole], np.where(np.isnan(height), np.inf, height))


def holes(scene, wires, sample, *, cell, step):
    """Return the rows of turning wires below which the ground is not known between swings.

    An unknown cell makes the surface unknown on two cells either way. Where swings lie no farther apart they meet it
    themselves, and nothing is looked at.

    Parameters
    ----------
    scene, wires, cell, step
        As in `nearest_ground`.
    sample : callable
        `(easting, northing) -> ground elevation [m]`.

    Returns
    -------
    ndarray of int
    """
    if 2 * cell > step or not len(wires.wire):
        return np.zeros(0, int)
    length, swings = scene.wires.length.max(), wires.height.shape[1] - 1
    share = np.linspace(0, 1, int(np.ceil(length / cell)) + 1)
    turn = np.linspace(-1, 1, int(np.ceil(step * swings / cell)) + 1)
    some = max(_AT_ONCE // (len(share) * len(turn)), 1)
    found = [np.zeros(0, int)]
    for first in range(0, len(wires.wire), some):
        row = np.arange(first, min(first + some, len(wires.wire)))
        place = scene.ways.places(wires.path[row], *(np.tile(v, (len(row), 1)) for v in (turn, share)))
        ground = _over(scene, wires.wire[row], place, sample)[1]
        found.append(row[np.isnan(ground).any(axis=(1, 2))])
    return np.concatenate(found)


class _Ways(NamedTuple):
    """Windows of turn and place: row of the turning wires, middle of both [-], and half their widths [-]."""

    row: np.ndarray
    turn: np.ndarray
    share: np.ndarray
    half_turn: float
    half_share: float


def nearest_ground(scene, wires, ground, *, cell, step):
    """Return where the wires of each span come nearest to the ground along their swing, in every option and case.

    Parameters
    ----------
    scene : Scene
        With a model.
    wires : Turning
    ground : Ground
    cell : float
        Side of the cells of the ground [m]; what is narrower than half of it is not looked for.
    step : float
        Maximum step between neighbouring swings at mid-span, in plan [m].

    Returns
    -------
    wires : Nodes
        Hung where they are nearest; without spans where nothing of the ground is known.
    found : Found
        Of each of these.

    Notes
    -----
    Found by windows whose nodes lie half a cell apart at first; each is then narrowed about its best node again and
    again, and left as soon as by its own slopes it cannot hold the least of its span. About the wire that is found the
    swing is narrowed once more, with the least along it found exactly, for on the edge of two cells windows stop short
    by millimetres. Then it is hung where it is nearest, in exact equilibrium. Ground that rises between two swings by
    more than 45 degrees against both may hide the least.
    """
    sample = ground.sample
    key = scene.way(scene.wires.span[wires.wire], *scene.of_way(wires.path)[1:])
    ways = _windows(wires, key, scene, sample, cell, step)
    for look in range(_LOOKS):
        value, turn, share, reach = _look(scene, wires, sample, ways, _NODES, _NODES)
        at = value.reshape(len(value), -1).argmin(axis=1)
        t, s = np.divmod(at, _NODES)
        row, least = np.arange(len(value)), value.reshape(len(value), -1).min(axis=1)
        kept = kept_ways(key[ways.row], least, reach, _WAYS if look < 4 else _FEW)
        ways = _Ways(ways.row[kept], turn[row, t][kept], share[row, s][kept], _NARROW * ways.half_turn,
                     _NARROW * ways.half_share)
    value = _look(scene, wires, sample, ways, 1, 1)[0][:, 0, 0]
    best = kept_ways(key[ways.row], value, np.zeros(len(value)), 1)
    return _followed(scene, wires, ground, ways.row[best], ways.turn[best], ways.share[best],
                     ways.half_turn / _NARROW**_LOOKS, cell)


def _windows(wires, key, scene, sample, cell, step):
    """Windows about the nodes, half a cell apart, that may lie near the least of their span."""
    H = wires.height
    _, owner = np.unique(key, return_inverse=True)
    best = np.full(owner.max(initial=-1) + 1, np.inf)
    np.minimum.at(best, owner, H.min(axis=(1, 2), initial=np.inf))
    edge = np.minimum(H[:, :-1], H[:, 1:])
    rises = _STEEP * np.abs(np.diff(wires.middle, axis=1)).max(axis=1, initial=0.0) / 2 + _SLACK
    row, swing, chord = np.nonzero(edge <= (best[owner] + rises)[:, None, None])
    finite = np.isfinite(edge[row, swing, chord])
    row, swing, chord = row[finite], swing[finite], chord[finite]
    length = scene.wires.length.max(initial=0.0) / H.shape[2]
    along, across = (int(np.clip(np.ceil(2 * size / cell) + 1, *limits)) for size, limits in
                     ((length, _ALONG), (step, _ACROSS)))
    swings, chords = H.shape[1] - 1, H.shape[2]
    boxes = _Ways(row, (2 * swing + 1) / swings - 1, (chord + 0.5) / chords, 1 / swings, 0.5 / chords)
    value, turn, share, reach = _look(scene, wires, sample, boxes, across, along)
    np.minimum.at(best, owner[row], value.min(axis=(1, 2), initial=np.inf))
    box, t, s = np.nonzero(lowest(value) & (value - reach[:, None, None] <= best[owner[row]][:, None, None]))
    ways = _Ways(row[box], turn[box, t], share[box, s], 2 / (swings * (across - 1)), 1 / (chords * (along - 1)))
    kept = kept_ways(key[ways.row], value[box, t, s], np.full(len(box), np.inf), _WAYS)
    return _Ways(ways.row[kept], ways.turn[kept], ways.share[kept], *ways[3:])


def lowest(values):
    """Return where no neighbour in the turn or along the wire is lower; (row, turn, place)."""
    padded = np.pad(values, ((0, 0), (1, 1), (1, 1)), constant_values=np.inf)
    beside = (padded[:, 1:-1, :-2], padded[:, 1:-1, 2:], padded[:, :-2, 1:-1], padded[:, 2:, 1:-1])
    return np.isfinite(values) & np.all([values <= other for other in beside], axis=0)


def _look(scene, wires, sample, ways, across, along):
    """Heights over the ground (way, turn, place) [m] within windows, inf where unknown; turn and place of the nodes;
    and by how much less the least may be than that of the nodes, by the differences between them."""
    turn = np.clip(ways.turn[:, None] + ways.half_turn * np.linspace(-1, 1, across) * (across > 1), -1, 1)
    share = np.clip(ways.share[:, None] + ways.half_share * np.linspace(-1, 1, along) * (along > 1), 0, 1)
    value = np.empty((len(turn), across, along))
    some = max(_AT_ONCE // (across * along), 1)
    for first in range(0, len(turn), some):
        part = slice(first, first + some)
        row = ways.row[part]
        place = scene.ways.places(wires.path[row], turn[part], share[part])
        value[part] = _over(scene, wires.wire[row], place, sample)[0]
    with np.errstate(invalid="ignore"):
        reach = sum(np.abs(np.nan_to_num(np.diff(value, axis=axis), posinf=0, neginf=0)).max(axis=(1, 2), initial=0.0)
                    for axis in (1, 2)) / 2
    return value, turn, share, reach


def _over(scene, wire, place, sample):
    """Height of places in the frames of spans over the ground [m], inf where unknown, and its elevation [m]."""
    grid = to_grid(place, scene.structures, scene.spans, scene.wires.span[wire])
    ground = sample(grid[..., 0], grid[..., 1])
    over = grid[..., 2] - ground
    return np.where(np.isnan(over), np.inf, over), ground


def kept_ways(key, value, reach, ways):
    """Return the indices of the ways of each key that may hold its least, and of these the best few, by keys.

    Parameters
    ----------
    key : ndarray of int, shape (way,)
    value : ndarray, shape (way,)
        Least that was found in it, inf for nothing.
    reach : ndarray, shape (way,)
        By how much less it may hold.
    ways : int
        How many of each key at most.
    """
    order = np.lexsort((value, key))
    begin = np.flatnonzero(np.diff(key[order], prepend=-1))
    count = np.diff(np.r_[begin, len(order)])
    least = np.repeat(value[order][begin], count)
    place = np.arange(len(order)) - np.repeat(begin, count)
    with np.errstate(invalid="ignore"):
        good = np.isfinite(value[order]) & (value[order] - reach[order] <= least) & (place < ways)
    return order[good]


def _followed(scene, wires, ground, row, turn, share, half, cell):
    """The wires found, followed to the swing at which they are nearest, and hung there."""
    path, w = wires.path[row], wires.wire[row]
    reach, each = _CELLS * cell / scene.wires.length[w], np.arange(len(row))
    for _ in range(_FOLLOW):
        turns = np.clip(turn[:, None] + half * np.linspace(-1, 1, _TURNS), -1, 1)
        nodes = scene.ways.at(path, turns)
        height, where = _along(scene, w, ground, nodes, share, reach)[:2]
        best = height.argmin(axis=1)
        turn, share, half = turns[each, best], where[each, best], half * _CLOSER
    hung = hang_rows(scene, *scene.of_way(path), turn)
    near = Nodes(path, turn, hung.start, hung.end, hung.constant, hung.vectors)
    height, _, spot, other = (v[:, 0] for v in _along(scene, w, ground, near, share, reach))
    known, count = np.flatnonzero(np.isfinite(height)), np.isfinite(height).sum()
    return take(near, known), Found(np.arange(count), np.full(count, GROUND), np.full(count, "above", object),
                                    height[known], spot[known], other[known])


def _along(scene, wire, ground, nodes, share, reach):
    """Minimum height over the ground of wires (row, swing), or (row,), on a stretch about a share of
    each row, inf where it is unknown; the share, the spot in the frame of the span, and the elevation of the ground."""
    count = nodes.path.size // max(len(wire), 1)
    low, high = (np.repeat(np.clip(share + side * reach, 0, 1), count) for side in (-1, 1))
    swung = Nodes(*(v.reshape(-1, *v.shape[nodes.path.ndim:]) for v in nodes))
    chords = chords_of(scene, swung, _STRETCH, (low, high))
    surface = ground_below(chords, ground).rows
    height, place, elevation = (v[:, 0] for v in least_heights(surface, chords.constant[:, None]))
    over = np.where(np.isnan(height), np.inf, height).reshape(-1, _STRETCH)
    number = over.argmin(axis=1)
    at = np.arange(len(over)) * _STRETCH + number
    found = (over.min(axis=1, initial=np.inf), low + (high - low) * (number + place[at]) / _STRETCH,
             spots_on(chords, at, place[at], elevation[at]), elevation[at] - height[at])
    return [v.reshape(len(wire), count, *v.shape[1:]) for v in found]
