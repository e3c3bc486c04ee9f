"""Wires of other lines in the state that counts: as they hang where ours pass above them, and where ours pass below."""

from dataclasses import replace

import numpy as np
import shapely

from corridor.clearance.vertical import over_objects
from corridor.geometry.distance import Ends, heights, take_rows

__all__ = ["as_swept", "in_case", "in_hot_case", "over_others", "parted", "states_of", "told_states"]


def states_of(obstacles):
    """Return which obstacles are wires with states of their own, shape (obstacle,)."""
    if obstacles.states is None:
        return np.zeros(len(obstacles), bool)
    return np.array([state is not None for state in obstacles.states], bool)


def parted(crossed, side, chosen):
    """Return some rows of what is crossed, and on which side of it wires pass."""
    at = np.flatnonzero(chosen)
    return replace(crossed, wire=crossed.wire[at], obstacle=crossed.obstacle[at],
                   rows=take_rows(crossed.rows, at)), side[at]


def over_others(wires, crossed, constant, cases, side, obstacles, ends, depth=None):
    """Return the least vertical distances to wires of other lines that have states, case by case.

    Ours above: theirs hang where they are highest without load. Ours below: theirs hang lowest.

    Parameters
    ----------
    wires : WireSpans
    crossed : Crossed
        Rows whose obstacles all have states, as `in_hot_case` gives them.
    constant : ndarray, shape (wire span, option, case)
    cases : ndarray of int
    side : ndarray, shape (row of crossed,)
    obstacles : Obstacles
    ends : Ends or None
    depth : ndarray, optional
        As in `over_objects`.

    Returns
    -------
    list of Checked
    """
    if not len(crossed.wire):
        return []
    found = []
    for case in cases:
        one = np.array([case])
        moved = None if ends is None else Ends(*ends)
        hung = in_case(wires, crossed, side, obstacles, case, moved=True)
        found.append(over_objects(wires, hung, constant, one, side, moved, depth))
    return found


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


def as_swept(index, below, cases):
    """Return the index with wires of other lines as they are worst in any of some cases, for our wires in wind.

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
        xyz = shapely.get_coordinates(part[p], include_z=True)
        z = [side * _elevation(states[thing], xyz[:, :2], xyz[:, 2], case, side) for case in cases]
        part[p] = shapely.linestrings(np.column_stack([xyz[:, :2], side * np.max(z, axis=0)]))
    return replace(index, part=part)


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
