"""Wires of other lines in the state that counts: as they hang where ours pass above them, and where ours pass below."""

from dataclasses import fields, replace
from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import take
from corridor.clearance.crossings import index_obstacles
from corridor.clearance.vertical import past_in_still_air
from corridor.geometry.distance import heights, least_heights

__all__ = ["BothSides", "as_swept", "both_sides", "in_case", "in_hot_case", "past_others", "sides", "states_of",
           "told_states"]

#: Straight pieces of a wire of another line in wind for each piece it is kept in.
_FINER = 4


def states_of(obstacles):
    """Return which obstacles are wires with states of their own, shape (obstacle,)."""
    if obstacles.states is None:
        return np.zeros(len(obstacles), bool)
    return np.array([state is not None for state in obstacles.states], bool)


def sides(wires, crossed, constant, obstacles, cases, ends=None):
    """Return 1 where a wire shall pass above an object and -1 where it passes below another line's wires.

    A crossing line is below when even the highest state of the wire, in the option of today or else the first, is
    below it as it hangs without load in the same case. Anything else is meant to be passed over, however far short the
    wire falls.

    Parameters
    ----------
    wires : WireSpans
    crossed : Crossed
    constant : ndarray, shape (wire span, case of `cases`)
        Of that option [m].
    obstacles : Obstacles
    cases : ndarray of int
        In still air.
    ends : Ends, optional
        Of the same shape as `constant`.

    Returns
    -------
    ndarray, shape (row of crossed,)
    """
    side = np.ones(len(crossed.wire))
    theirs = np.flatnonzero(obstacles.category[crossed.obstacle] == "line")
    lines = crossed.take(theirs)
    if not len(lines.wire) or not len(cases):
        return side
    highest = np.full(len(lines.wire), -np.inf)
    for column, case in enumerate(cases):
        rows = in_case(wires, lines, np.ones(len(lines.wire)), obstacles, case, moved=True).rows
        at = lines.wire, slice(column, column + 1)
        least = least_heights(rows, constant[at], ends=None if ends is None else take(ends, at))
        highest = np.fmax(highest, least.height[:, 0])
    side[theirs] = np.where((highest < 0) & np.isfinite(highest), -1.0, 1.0)
    return side


def past_others(scene, crossed, side, obstacles, constant, cases, ends, depth):
    """Return the minimum vertical distances to wires of other lines that have states, case by case.

    Ours above: theirs hang where they are highest without load. Ours below: theirs hang lowest.

    Parameters
    ----------
    scene, side, constant, cases, ends, depth
        As in `past_in_still_air`.
    crossed : Crossed
        Rows whose obstacles all have states, as `in_hot_case` gives them.
    obstacles : Obstacles

    Returns
    -------
    list of Checked
    """
    def hung(case):
        return in_case(scene.wires, crossed, side, obstacles, case, moved=True)

    return [past_in_still_air(scene, hung(case), side, constant, np.array([case]), ends, depth)
            for case in cases if len(side)]


def in_case(wires, crossed, side, obstacles, case, *, moved=False):
    """Return what is crossed with the elevations that wires of other lines have in a case of the study.

    `moved` True: those of an assumed state are off their survey already.
    """
    rows = crossed.rows
    surface, first = rows.surface.copy(), rows.first
    stated = states_of(obstacles)
    for row in np.flatnonzero(stated[crossed.obstacle]):
        node = slice(first[row], first[row + 1])
        start, end = wires.start[crossed.wire[row], :2], wires.end[crossed.wire[row], :2]
        place = start + rows.fraction[node, None] * (end - start)
        thing = crossed.obstacle[row]
        if moved and obstacles.states[thing].below is None:
            continue
        surface[node] = _elevation(obstacles.states[thing], place, surface[node], case, side[row])
    return replace(crossed, rows=rows._replace(surface=surface))


def _elevation(state, place, surveyed, case, side):
    """Elevation of a wire at places (n, 2) in a case [m]: its highest where ours pass above, else its lowest."""
    if state.below is None:
        return surveyed + side * state.movement
    rows = (state.below if side > 0 else state.above)[case]
    start, end = state.start[rows, None], state.end[rows, None]
    chord = (end - start)[..., :2]
    share = np.clip(((place - start[..., :2]) * chord).sum(axis=-1) / (chord**2).sum(axis=-1), 0, 1)
    z = heights(share, state.length[rows, None], start[..., 2], (end - start)[..., 2], state.constant[rows, None])
    return (z.max(axis=0) if side > 0 else z.min(axis=0)) + side * state.movement


def in_hot_case(wires, crossed, side, obstacles, cases):
    """Return what is crossed with wires of other lines as they are where ours are hottest, for limits of ours."""
    hot = next((k for k, case in enumerate(cases) if isinstance(case.temperature, str)), 0)
    return in_case(wires, crossed, side, obstacles, hot)


class BothSides(NamedTuple):
    """What wires in wind pass above and below: an `index` in which obstacles that some wires pass below at rest stand
    once more, after all others, for those that do; `origin` (obstacle of that index,) which obstacle each one is;
    `keys`, span times obstacles and obstacle, of all that a wire of a span passes below."""

    index: object
    origin: np.ndarray
    keys: np.ndarray

    @property
    def below(self):
        """True for those that are passed below, shape (obstacle of that index,)."""
        return np.arange(len(self.origin)) > self.origin


def both_sides(index, span, crossed, side):
    """Return the BothSides of what wires cross at rest; `span` (wire span,), `side` (row of crossed,)."""
    obstacles, under = index.obstacles, side < 0
    below = np.unique(crossed.obstacle[under])
    origin = np.r_[np.arange(len(obstacles)), below]
    keys = np.unique(span[crossed.wire[under]] * len(obstacles) + crossed.obstacle[under])
    if not len(below):
        return BothSides(index, origin, keys)
    columns = {f.name: getattr(obstacles, f.name) for f in fields(obstacles)}
    more = replace(obstacles, **{name: column[origin] for name, column in columns.items() if column is not None})
    return BothSides(index_obstacles(more), origin, keys)


def as_swept(index, below, cases):
    """Return the index with wires of other lines as they are worst in any of some cases, for our wires in wind.

    They go straight between places of theirs, so those that ours pass below count lower by what these bow.

    Parameters
    ----------
    index : ObstacleIndex
    below : ndarray of bool, shape (obstacle,)
        The obstacles that our wires pass below.
    cases : ndarray of int
    """
    states = index.obstacles.states
    if states is None or not states_of(index.obstacles).any():
        return index
    part = index.part.copy()
    for p in np.flatnonzero(states_of(index.obstacles)[index.of_part]):
        thing = index.of_part[p]
        side = -1.0 if below[thing] else 1.0
        xyz, bow = shapely.get_coordinates(part[p], include_z=True), 0.0
        if states[thing].below is not None:
            xyz, bow = _finer(xyz), _bow(states[thing], (len(xyz) - 1) * _FINER)
        z = [side * _elevation(states[thing], xyz[:, :2], xyz[:, 2], case, side) for case in cases]
        part[p] = shapely.linestrings(np.column_stack([xyz[:, :2], side * np.max(z, axis=0) - bow * below[thing]]))
    return replace(index, part=part)


def _finer(xyz):
    """Vertices with more of them between, evenly."""
    at = np.arange((len(xyz) - 1) * _FINER + 1) / _FINER
    return np.column_stack([np.interp(at, np.arange(len(xyz)), column) for column in xyz.T])


def _bow(state, pieces):
    """How far a wire hangs below straight lines between even places of it at most [m]: `h^2/8 max y''`, at its end."""
    S, C = state.length, state.constant
    steepest = S / (2 * C) + np.arcsinh(np.abs(state.end - state.start)[:, 2] / (2 * C * np.sinh(S / (2 * C))))
    return np.nanmax((S / pieces)**2 / (8 * C) * np.cosh(steepest))


def told_states(obstacles, obstacle, position, case):
    """Return in words how each row's other wire was taken to hang, None where it has no states.

    Parameters
    ----------
    obstacles : Obstacles
    obstacle, position, case : ndarray, shape (row,)
    """
    words = np.full(len(obstacle), None, object)
    stated = np.r_[states_of(obstacles), False, False]
    for row in np.flatnonzero(stated[np.where(obstacle >= 0, obstacle, -1)] & np.isin(position, ("above", "below"))):
        state = obstacles.states[obstacle[row]]
        words[row] = (state.told_below if position[row] == "above" else state.told_above)[case[row]]
    return words
