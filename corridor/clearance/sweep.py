"""Ground and objects below wires along their whole swing, from still air to full wind from either side.

A swung wire is no straight line in plan, so each is cut into short chords, over each of which it hangs as a small
catenary: whatever is known of wires in still air then holds of the chords.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from corridor.arrays import join, take
from corridor.clearance.checked import GROUND, Checked
from corridor.clearance.chords import (
    CHORDS,
    NOTHING,
    as_checked,
    chords_of,
    past_ground,
    past_things,
    worst_found,
)
from corridor.clearance.crossings import cross, ground_below
from corridor.clearance.follow_things import follow_things
from corridor.clearance.ground import unknown_share
from corridor.clearance.nearest import holes, nearest_ground, turning
from corridor.clearance.swept_area import buffered, steps_of, swept_pairs
from corridor.line.wire_path import Nodes

__all__ = ["Swept", "sweep"]

#: Why the ground below a wire is not assessed.
HOLE = "the ground raster has no values below part of the swung wire"

#: Shares of the full swing at which wires are hung, to either side.
SWINGS = (0.25, 0.5, 0.75, 1.0)

#: Chords worked on at once.
_AT_ONCE = 30_000


class _Low(NamedTuple):
    """How low swung wires hang: least `height` of each chord over the ground (row, chord) [m], nan where it is not
    known; `pieces` pairs of a length in plan [m] and of the number of pieces of ground below it."""

    height: np.ndarray
    pieces: list


class Lost(NamedTuple):
    """A thing that could not be compared with a wire span in an option and a case; no `reason`: it is met, and no
    vertical rule is for it."""

    wire: int
    option: int
    case: int
    obstacle: int
    reason: str


@dataclass(frozen=True)
class Swept:
    """The worst of the whole swing: `checked` rows, `swung` the wire of each row at its worst swing.

    `lost` what could not be compared, one `Lost` per thing; `step` the maximum step between swings [m].
    """

    checked: Checked
    swung: Nodes
    lost: tuple[Lost, ...]
    step: float = 0.0


def sweep(scene, index, ground, cases, side, met=None):
    """Return the minimum clearance to the ground, and to what lies below, over the whole swing.

    Wires are hung at quarters of the swing to both sides. Unless a ruling span hangs them they are then followed to
    where they come nearest to the ground, and the wire that comes nearest to another thing is hung once more where a
    parabola through its distances has its vertex.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
    ground : Ground
    cases : ndarray of int
        Cases with wind in which vertical clearance is asked for.
    side : ndarray, shape (obstacle,)
        1 for what wires shall pass above, -1 below; 0 where no vertical rule is for it.
    met : callable, optional
        `met(wire, obstacle)`, True for rows of wire spans and obstacles that are compared; default: all.

    Returns
    -------
    Swept
    """
    swung = _states(scene, cases)
    if not len(swung.path):
        return Swept(as_checked(scene, swung, NOTHING), swung, ())
    rows, steps = steps_of(swung, 2 * len(SWINGS) + 1)
    step, count = np.zeros(len(scene.ways)), len(index.obstacles)
    step[swung.path[rows]] = steps
    found, lost, curves, low = _compare(scene, swung, index, ground, side, step)
    if met is not None:
        keep, rows = found.obstacle == GROUND, np.flatnonzero(found.obstacle != GROUND)
        keep[rows] = met(scene.of_way(swung.path[found.row[rows]])[0], found.obstacle[rows])
        found = take(found, keep)
        lost = tuple(each for each in lost if each.obstacle == GROUND or met(each.wire, each.obstacle))
    found, near, spots, between = _refined(scene, swung, found, low, ground, steps.max(initial=0.25))
    lost += between
    again, more, done = follow_things(scene, swung, found, index, ground, side, step)
    found = join([take(found, ~done), more._replace(row=more.row + len(swung.path))])
    rows = _known(swung)
    touched = swept_pairs(index, swung.path[rows], curves)
    spots = spots._replace(row=spots.row + len(swung.path) + len(again.path))
    found = join([found, spots])
    swung = join([swung, again, near])
    # Objects that the wire's whole swing does not touch were met by their buffers alone.
    own = swung.path[found.row] * count + found.obstacle
    found = take(found, (found.obstacle == GROUND) | np.isin(own, touched))
    touched = set(touched.tolist())
    lost = tuple(each for each in lost
                 if each.obstacle == GROUND or scene.way(*each[:3]) * count + each.obstacle in touched)
    worst = worst_found(scene, swung, found)
    return Swept(as_checked(scene, swung, worst), take(swung, worst.row), lost, steps.max(initial=0.25))


def _states(scene, cases):
    """Every wire in every option and case, still and at each swing; those without answer have no tension."""
    parts = []
    w, o, k = (v.ravel() for v in np.indices((len(scene.wires), len(scene.options), len(cases))))
    for swing in (0.0, *(sign * share for share in SWINGS for sign in (1.0, -1.0))):
        parts.append(scene.ways.at(scene.way(w, o, cases[k]), np.full(len(w), swing)))
    whole = join(parts)
    at = scene.of_way(whole.path)
    expected = np.isfinite(scene.hung.horizontal_tension[at]).all(axis=-1)
    return take(whole, expected & np.isfinite(scene.wires.start[at[0], 2] + scene.wires.end[at[0], 2]))


def _known(swung):
    return np.isfinite(swung.constant) & np.isfinite(swung.start[:, 2] + swung.end[:, 2])


def _compare(scene, swung, index, ground, side, step):
    """Compare all swung wires, some at once, each by the step of its wire (way,) [m]; what was found and lost, all
    curves in plan, and how low they hang."""
    own, size = step[swung.path], _AT_ONCE // CHORDS
    parts, lost, low = [], {}, _Low(np.full((len(swung.path), CHORDS), np.nan), [])
    curves = np.full((len(swung.path), CHORDS + 1, 2), np.nan)
    for some in _pieces(np.flatnonzero(_known(swung)), own, size):
        part = take(swung, some)
        chords = chords_of(scene, part)
        surface = ground_below(chords, ground)
        ends = chords.start.reshape(-1, CHORDS, 3), chords.end.reshape(-1, CHORDS, 3)[:, -1:]
        curves[some] = np.concatenate(ends, axis=1)[..., :2]
        near = buffered(index, curves[some].reshape(-1, 2), own[some[0]] / 2)
        crossed = cross(chords, near, surface.rows, ground.sample)
        height, lowest = past_ground(chords, surface)
        low.height[some] = height.reshape(-1, CHORDS)
        low.pieces.append((chords.length.sum(), len(surface.rows.fraction) // 2 - len(chords)))
        found = lowest, past_things(chords, crossed, side[crossed.obstacle])
        parts += [each._replace(row=some[each.row]) for each in found]
        _note_lost(scene, lost, part, chords, surface.rows, crossed, side != 0)
    return join([NOTHING, *parts]), tuple(lost.values()), curves[_known(swung)], low


def _pieces(rows, step, size):
    """Rows of one step each, no more than so many at once."""
    for each in np.unique(step[rows]):
        same = rows[step[rows] == each]
        yield from (same[first:first + size] for first in range(0, len(same), size))


def _note_lost(scene, lost, swung, chords, surface, crossed, ruled):
    """Note what the raster, or an object's unknown top, leaves open: once per span, option, case and thing."""
    missing = np.unique(chords.span[unknown_share(surface) > 0])
    for row in missing:
        _note(scene, lost, swung, row, GROUND, HOLE)
    for i in crossed.unknown[ruled[crossed.obstacle[crossed.unknown]]]:
        _note(scene, lost, swung, chords.span[crossed.wire[i]], crossed.obstacle[i],
              "the top of the object is unknown below the swung wire")
    for i in np.flatnonzero(~ruled[crossed.obstacle]):
        _note(scene, lost, swung, chords.span[crossed.wire[i]], crossed.obstacle[i], "")


def _note(scene, lost, swung, row, obstacle, reason):
    """Keep the first of each wire, option, case and thing; no reason: met, and no vertical rule is for it."""
    key = swung.path[row], int(obstacle)
    if key not in lost:
        lost[key] = Lost(*scene.of_way(key[0]), key[1], reason)


def _refined(scene, swung, found, low, ground, step):
    """What was found without the ground of spans whose wires were followed between swings, the wires where they are
    nearest to it, what was found there, and what is lost there."""
    exact = scene.exact[scene.of_way(swung.path)[0]]
    empty = take(swung, np.zeros(0, int)), NOTHING
    if not exact.any():
        return found, *empty, ()
    wires = turning(scene, take(swung, exact), low.height[exact])
    length, pieces = np.array(low.pieces).sum(axis=0)
    sizes = {"cell": length / max(pieces, 1), "step": step}
    near, spots = nearest_ground(scene, wires, ground, **sizes)
    between = {}
    for row in holes(scene, wires, ground.sample, **sizes):
        _note(scene, between, wires, row, GROUND, HOLE)
    own, followed = (scene.way(scene.wires.span[at[0]], *at[1:]) for at in (
        scene.of_way(swung.path[found.row]), scene.of_way(near.path)))
    return take(found, (found.obstacle != GROUND) | ~np.isin(own, followed)), near, spots, tuple(between.values())
