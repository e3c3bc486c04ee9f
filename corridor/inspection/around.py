"""What inspection gathers about the line: ground below spans and at bases, and things near the line, batch by batch.

The check asks for a batch of spans just before it computes them, so that every block of raster is read once.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import ragged

__all__ = ["NEAR", "Seen", "Things", "Under", "of_span", "place_of", "things_near"]

#: A thing within this distance of the chord of a span is near the line [m].
NEAR = 60.0
#: Most places along one line of a span: above, they lie farther apart than cells.
_MOST = 500
#: Height of a step of the ground from one cell to the next [m], and its slope, from which on it is no ground.
STEP, STEEP = 10.0, 4.0
#: What stands for "none" in rasters that do not say so.
STAND_INS = (0.0, -1.0, -99.0, 99.0, 255.0, 999.0, 32767.0, 4095.0, 8888.0)
#: A stand-in is off the ground beside it by more than this [m], and steeper than this; how many cells beside it: one
#: between a hole and the ground is of both.
_OFF, _GENTLE, _BESIDE = 5.0, 2.0, 2
#: Places in a row with the same height to the last digit, from which on any height may stand for none.
_FLAT = 8
#: Lag [m] and height [m] of a bump; cells above `FINE` [m] show none.
LAG, BUMP, FINE = 3.0, 2.0, 3.0


class Things:
    """Things near the line, one row each: part of the index, its span, its nearest place and top.

    `part` into the index, `obstacle` into the obstacles, `span` of the plan; `place` (thing, 2) and `top`
    elevation [m], nan where the height is above the ground; `ground` [m] below, once a batch was looked at.
    """

    def __init__(self, part, obstacle, span, place, top):
        self.part, self.obstacle, self.span, self.place, self.top = part, obstacle, span, place, top
        self.ground = np.full(len(part), np.nan)


def things_near(index, structures, spans):
    """Return the `Things` within `NEAR` of the chords of spans.

    Parameters
    ----------
    index : ObstacleIndex
    structures : Structures
    spans : Spans
    """
    chords = structures.lines(spans.tail, spans.head)
    part, span = shapely.STRtree(chords).query(index.part, predicate="dwithin", distance=NEAR)
    part, first = np.unique(part, return_index=True)
    span, obstacle = span[first], index.of_part[part]
    place, top = _nearest(index.part[part], chords[span], index.obstacles.absolute[obstacle])
    return Things(part, obstacle, span, place, top)


def _nearest(parts, chords, absolute):
    """Vertex, or place on a line, nearest to a chord, and its elevation."""
    xyz, owner = shapely.get_coordinates(parts, include_z=True, return_index=True)
    away = shapely.distance(shapely.points(xyz[:, :2]), chords[owner])
    order = np.lexsort((away, owner))
    found = xyz[order[np.unique(owner[order], return_index=True)[1]]] if len(xyz) else np.empty((0, 3))
    lines = np.flatnonzero(shapely.get_type_id(parts) == 1)
    there = shapely.get_point(shapely.shortest_line(parts[lines], chords[lines]), 0)
    on = shapely.line_interpolate_point(parts[lines], shapely.line_locate_point(parts[lines], there))
    found[lines] = shapely.get_coordinates(on, include_z=True)
    return found[:, :2], np.where(absolute, found[:, 2], np.nan)


class Seen(NamedTuple):
    """What a look at some spans comes to: ground `base` and `relief` at `structures` [m], `ground` below `things` [m];
    `steps` and `voids` (place, 5) as in `Under`; `counts` of bumps and of nodes; `above` (place,) the surface
    above the ground [m], nothing where the study has none."""

    structures: np.ndarray
    base: np.ndarray
    relief: np.ndarray
    things: np.ndarray
    ground: np.ndarray
    steps: np.ndarray
    voids: np.ndarray
    counts: np.ndarray
    above: np.ndarray = np.zeros(0)


class Under:
    """The ground under the line, gathered by `look` and `take`.

    `base` (structure,) ground at each structure [m], `relief` how much it changes within a cell there [m]; `steps`,
    `voids` doubtful places as (span, easting, northing, elevation, value beside it); `bumps`, `nodes` counts.
    """

    def __init__(self, structures, spans, things, cell: float, offsets: tuple[float, ...]):
        self.structures, self.spans, self.things = structures, spans, things
        self.cell, self.offsets = cell, offsets
        self.base, self.relief = (np.full(len(structures), np.nan) for _ in range(2))
        self.steps: list[tuple] = []
        self.voids: list[tuple] = []
        self.bumps = self.nodes = 0

    def look(self, sample: Callable, first: int, last: int) -> Seen:
        """Return what is seen at spans `first` to `last`; `sample(easting, northing)` knows the ground [m]."""
        spans = np.arange(first, last + 1)
        here = np.unique(np.r_[self.spans.tail[spans], self.spans.head[spans]])
        e, n = self.structures.easting[here], self.structures.northing[here]
        side = self.cell * np.array([[0, 0], [1, 0], [-1, 0], [0, 1], [0, -1]])
        z = sample(e[:, None] + side[:, 0], n[:, None] + side[:, 1])
        relief = np.fmax.reduce(z, axis=1) - np.fmin.reduce(z, axis=1)
        things = np.flatnonzero((self.things.span >= first) & (self.things.span <= last) & ~np.isnan(self.things.top))
        ground = sample(*self.things.place[things].T)
        along = [self._look_along(sample, spans, offset) for offset in self.offsets]
        steps, voids = (np.array([row for each in along for row in each[i]], float).reshape(-1, 5) for i in (0, 1))
        return Seen(here, z[:, 0], relief, things, ground, steps, voids, np.sum([each[2] for each in along], axis=0))

    def take(self, seen: Seen) -> None:
        """Take note of what was seen, in the order of the spans."""
        self.base[seen.structures], self.relief[seen.structures] = seen.base, seen.relief
        self.things.ground[seen.things] = seen.ground
        self.steps += [(int(span), *rest) for span, *rest in seen.steps]
        self.voids += [(int(span), *rest) for span, *rest in seen.voids]
        self.bumps += int(seen.counts[0])
        self.nodes += int(seen.counts[1])

    def _look_along(self, sample, spans, offset):
        """One line of places along each span, cell by cell."""
        s, S = self.structures, self.spans
        tail, head = S.tail[spans], S.head[spans]
        way = np.stack([s.easting[head] - s.easting[tail], s.northing[head] - s.northing[tail]], axis=-1)
        length = np.linalg.norm(way, axis=-1)
        count = np.minimum(np.ceil(length / self.cell).astype(int) + 1, _MOST)
        owner, number = ragged(count)
        share = number / (count - 1)[owner]
        right = np.stack([way[:, 1], -way[:, 0]], axis=-1) / length[:, None] * offset
        start = np.stack([s.easting[tail], s.northing[tail]], axis=-1) + right
        place = start[owner] + share[:, None] * way[owner]
        z = sample(*place.T)
        return self._judge(spans[owner], place, z, (length / (count - 1))[owner])

    def _judge(self, span, place, z, step):
        """Steps, voids, and numbers of bumps and nodes."""
        same = span[1:] == span[:-1]
        jump = np.where(same, np.abs(np.diff(z)), 0.0)
        steep = np.flatnonzero((jump > STEP) & (jump > STEEP * step[1:]))
        steep = steep[np.unique(span[steep], return_index=True)[1]]
        steps = [(span[i], *place[i], z[i], z[i + 1]) for i in steep]
        voids = [(span[i], *place[i], z[i], np.nan) for i in _holes(span, z, step)]
        bumps = nodes = 0
        lag = max(round(LAG / step.min()), 1) if len(step) else 1
        if self.cell <= FINE and len(z) > 2 * lag:
            bend = np.abs(z[2 * lag:] - 2 * z[lag:-lag] + z[:-2 * lag])
            whole = (span[2 * lag:] == span[:-2 * lag]) & np.isfinite(bend)
            bumps, nodes = (bend[whole] > BUMP).sum(), whole.sum()
        return steps, voids, (bumps, nodes)


def _holes(span, z, step):
    """The first place of each span at which the ground has a value that stands for none.

    Such is a run of one value, off the heights beside it: of a stand-in on one side, of any value over `_FLAT` places
    on both. Or it is 0 all along a span of a line that is mostly not near 0.
    """
    new = np.r_[True, (z[1:] != z[:-1]) | (span[1:] != span[:-1])] & np.isfinite(z)
    first = np.flatnonzero(new)
    last = np.r_[first[1:], len(z)] - 1
    like = np.isin(z[first], STAND_INS)
    chosen = like | (last - first + 1 >= _FLAT)
    first, last, like = first[chosen], last[chosen], like[chosen]
    off = []
    for beside in (first - _BESIDE, last + _BESIDE):
        there = np.clip(beside, 0, len(z) - 1)
        same = (there == beside) & (span[there] == span[first])
        off.append(same & (np.abs(z[there] - z[first]) > np.maximum(_OFF, _GENTLE * step[first])))
    found = (off[0] & off[1]) | (like & (off[0] | off[1]))
    whole = np.r_[True, span[1:] != span[:-1]][first] & np.r_[span[1:] != span[:-1], True][last]
    found |= whole & (z[first] == 0) & (abs(np.nanmedian(z)) > _OFF if len(first) else False)
    first = first[found]
    return first[np.unique(span[first], return_index=True)[1]]


def place_of(structures, index, elevation) -> tuple[float, float, float]:
    """Place of a structure [m]."""
    return float(structures.easting[index]), float(structures.northing[index]), float(elevation)


def of_span(structures, spans, span: int, elevation: float = np.nan) -> tuple[float, float, float]:
    """Middle of a span [m]."""
    a, b = spans.tail[span], spans.head[span]
    return (float(structures.easting[a] + structures.easting[b]) / 2,
            float(structures.northing[a] + structures.northing[b]) / 2, float(elevation))
