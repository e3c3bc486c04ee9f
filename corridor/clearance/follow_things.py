"""Where a swinging wire comes nearest to things below or above it, along its blow, over the things as they are.

Between the swings at which wires are cut into chords things are found by widening them. What was found so is looked at
again here, with footprints as they are, at ever closer swings about all those that may hold the least.
"""

from dataclasses import replace

import numpy as np
import shapely

from corridor.arrays import join, matches, take
from corridor.clearance.checked import keys_of, least_rows
from corridor.clearance.chords import CHORDS, NOTHING, chords_of, past_things
from corridor.clearance.crossings import cross, ground_below
from corridor.clearance.nearest import kept_ways

__all__ = ["follow_things"]

#: Step between the swings at which wires were looked at [-].
_STEP = 1 / 4
#: Swings in each look, how far the first goes to either side, by how much the next are narrower, how many there are and
#: how many of these are the last ones: the first of these is wider than chords bow, or would not touch what ends there.
_SWINGS, _WIDE, _NARROW, _LOOKS, _LAST = 5, 1 / 8, 0.4, 9, 5
#: What is farther than the nearest by more than this share of the way between swings in plan is let go [-].
_STEEP = 1.0
#: Places in the swing that are followed of each wire and thing, at most.
_WAYS = 4
#: Chords of a wire in the last looks: it bows from one of 3 m by half a millimetre where it is blown out by 10 m. And
#: how many there are at least in the part of it that is looked at.
_FINE, _FEW = 128, 4
#: The minimum share of a wire that is looked at to either side of what was found.
_SHORT = 1 / 1024
#: Chords that are worked on at once.
_AT_ONCE = 60_000


def follow_things(scene, swung, found, index, ground, side, step):
    """Return the wires where they are nearest to things, and what they are nearest to.

    Parameters
    ----------
    scene : Scene
    swung : Nodes
        Wires at the swings that were looked at.
    found : Found
        What they came near to, things buffered.
    index : ObstacleIndex
        With footprints as they are.
    ground : Ground
    side : ndarray, shape (obstacle,)
        1 for what wires pass above, -1 below, 0 for all else.
    step : ndarray, shape (way,)
        Maximum step between the swings of each wire [m].

    Returns
    -------
    swung : Nodes
    found : Found
    done : ndarray of bool, shape (found row,)
        What stands there instead of what was found with buffered things. What no wire touches at the swings that are
        looked at keeps what was found: it is no farther than that.
    """
    count = len(index.obstacles) + 1
    row, way, swing, thing = _ways(scene, swung, found, step, count)
    some = np.flatnonzero(np.isin(index.of_part, thing))
    footprint = index.footprint.buffered(some, 0.0)
    near = replace(index, part=index.part[some], of_part=index.of_part[some], footprint=footprint, tree=footprint)
    boxes, half = _boxes(near, len(side)), _WIDE
    part = np.tile([0.0, 1.0], (len(row), 1))
    for look in range(_LOOKS):
        swings = np.clip(swing[:, None] + half * np.linspace(-1, 1, _SWINGS), -1, 1)
        fine = _FINE if look >= _LOOKS - _LAST else CHORDS
        number = np.maximum(2.0 ** np.ceil(np.log2(fine * (part[:, 1] - part[:, 0]))), _FEW).astype(int)
        value, wires, spots = _look(scene, way, swings, thing, near, ground, side, boxes, part, number)
        best, least = value.argmin(axis=1), value.min(axis=1, initial=np.inf)
        reach = _STEEP * step[way] * half / (_SWINGS - 1) / _STEP
        kept = kept_ways(_pair(swung, take(found, row), count), least, reach, 1 if look == _LOOKS - 1 else _WAYS)
        part = _parts_near(wires, spots, least + reach, part, number)
        row, way, thing, swing, part = row[kept], way[kept], thing[kept], swings[kept, best[kept]], part[kept]
        half = half * _NARROW
    done = np.isin(_pair(swung, found, count), _pair(swung, take(found, row), count))
    spots = take(spots, _chosen(value, best, kept, spots))
    return take(wires, spots.row), spots._replace(row=np.arange(len(spots.row))), done & (found.obstacle >= 0)


def _pair(swung, found, count):
    """One number for each wire, option, case and thing, of which there may be so many."""
    return swung.path[found.row] * count + found.obstacle + 1


def _ways(scene, swung, found, step, count):
    """What was found at every swing that may hold the least of its span and thing: row, way, swing and thing."""
    things = np.flatnonzero(found.obstacle >= 0)
    some = take(found, things)
    _, swing = np.unique(swung.swing[some.row], return_inverse=True)
    row = things[least_rows(keys_of(_pair(swung, some, count), swing), some.actual)]
    of = take(swung, found.row[row])
    wire, option, case = scene.of_way(of.path)
    key = scene.way(scene.wires.span[wire], option, case) * count + found.obstacle[row]
    _, owner = np.unique(key, return_inverse=True)
    least = np.full(owner.max(initial=-1) + 1, np.inf)
    np.minimum.at(least, owner, found.actual[row])
    keep = found.actual[row] <= least[owner] + _STEEP * step[of.path]
    return row[keep], of.path[keep], of.swing[keep], found.obstacle[row[keep]]


def _boxes(index, count):
    """West, south, east and north of each obstacle in the index, (obstacle, 4) [m of the grid]."""
    boxes = np.tile([np.inf, np.inf, -np.inf, -np.inf], (count, 1))
    own = shapely.bounds(index.part)
    radius = np.nan_to_num(index.obstacles.radius[index.of_part])[:, None]
    np.minimum.at(boxes[:, :2], index.of_part, own[:, :2] - radius)
    np.maximum.at(boxes[:, 2:], index.of_part, own[:, 2:] + radius)
    return boxes + [-0.1, -0.1, 0.1, 0.1]


def _look(scene, way, swings, thing, index, ground, side, boxes, part, number):
    """Minimum vertical distance of each pair at its swings [m], inf where it does not touch; the wires (pair x swing,),
    and what was found there: on the part (pair, 2) of each wire, cut into so many chords."""
    count = swings.size
    wires = scene.ways.at(np.repeat(way, _SWINGS), swings.ravel())
    things, ends, parts = np.repeat(thing, _SWINGS), np.repeat(part, _SWINGS, axis=0), []
    for rows, chords_each in _pieces(np.repeat(number, _SWINGS), np.isfinite(wires.constant)):
        chords = chords_of(scene, take(wires, rows), chords_each, ends[rows].T)
        box = boxes[things[rows]][chords.span]
        low, high = np.minimum(chords.start, chords.end)[:, :2], np.maximum(chords.start, chords.end)[:, :2]
        chords = chords.take(np.flatnonzero(((low <= box[:, 2:]) & (high >= box[:, :2])).all(axis=1)))
        if not len(chords):
            continue
        surface = ground_below(chords, ground).rows
        crossed = cross(chords, index, surface, ground.sample, matches(things[rows[chords.span]], index.of_part))
        some = past_things(chords, crossed, side[crossed.obstacle])
        parts.append(some._replace(row=rows[some.row]))
    found = join([NOTHING, *parts])
    value = np.full(count, np.inf)
    np.minimum.at(value, found.row, found.actual)
    return value.reshape(-1, _SWINGS), wires, found


def _pieces(number, known):
    """Known rows of one number each, no more at once than have so many chords in all."""
    for each in np.unique(number[known]):
        rows, size = np.flatnonzero(known & (number == each)), _AT_ONCE // each
        yield from ((rows[first:first + size], each) for first in range(0, len(rows), size))


def _parts_near(wires, found, limit, part, number):
    """Parts of wires (pair, 2) with all that was found within a limit (pair,) [m], and a chord to either side."""
    pair = found.row // _SWINGS
    some = np.flatnonzero(found.actual <= limit[pair])
    row, pair = found.row[some], pair[some]
    share = (found.spot[some, 0] - wires.start[row, 0]) / (wires.end[row, 0] - wires.start[row, 0])
    low, high = np.full(len(part), np.inf), np.full(len(part), -np.inf)
    np.minimum.at(low, pair, share)
    np.maximum.at(high, pair, share)
    chord = np.maximum((part[:, 1] - part[:, 0]) / number, _SHORT)
    return np.stack([np.maximum(low - chord, part[:, 0]), np.minimum(high + chord, part[:, 1])], axis=1)


def _chosen(value, best, rows, found):
    """Of what was found, what is the least of some rows; `best` the swing at which it is."""
    row, at = np.divmod(found.row, _SWINGS)
    mine = np.flatnonzero(np.isin(row, rows) & (at == best[row]) & (found.actual == value[row, best[row]]))
    return mine[np.unique(row[mine], return_index=True)[1]]
