"""What lies below wires that strings hold aside of where they rest: each state has ground and things of its own."""

from typing import NamedTuple

import numpy as np

from corridor.arrays import take
from corridor.clearance.chords import Chords, found_at, join_found
from corridor.clearance.crossings import ObstacleIndex, cross, middles
from corridor.clearance.findings import against_of, obstacle_name
from corridor.clearance.ground import ground_rows, unknown_share
from corridor.clearance.not_assessed import HOLE_ASIDE, NO_TOP, Gap, unruled_things
from corridor.clearance.other_lines import in_case, parted
from corridor.clearance.sweep import GROUND
from corridor.clearance.vertical import Checked, least_below, least_rows
from corridor.geometry.distance import least_heights
from corridor.line.swing import to_grid

__all__ = ["ASIDE", "Below", "beside_rest"]

#: Wires that strings hold farther aside than this from where they rest have ground and things of their own [m].
ASIDE = 0.01


class Below(NamedTuple):
    """What may lie below wires: `ground`; `index` of obstacles; `ruled` (obstacle,) what a vertical rule is for; and
    `side(wire, obstacle, place)`, 1 where a wire span shall pass above an obstacle there [-], -1 below;
    `meet(span, obstacle, option)` whether the one is compared with the other."""

    ground: object
    index: ObstacleIndex
    ruled: np.ndarray
    side: object
    meet: object


def beside_rest(scene, chosen, cases, below):
    """Return the minimum height of wires in still air over the ground and things, along the very lines they hang in.

    Where the line turns at a suspension structure its string leans inward, more or less with the tension; uneven ice
    draws it as well. On a side slope the ground then differs from state to state, and what is crossed does.

    Parameters
    ----------
    scene : Scene
    chosen : ndarray of bool, shape (wire span,)
        Whole spans.
    cases : ndarray of int
        In still air.
    below : Below

    Returns
    -------
    list of Checked
        As `over_ground`, `over_objects` and `over_others` give for the other spans.
    list of Gap
        What is not known there.
    """
    parts, gaps = [], []
    for k in cases if chosen.any() else ():
        w, o, chords = _chords(scene, np.flatnonzero(chosen), k)
        profile = below.ground.profiles(*chords.start[:, :2].T, *chords.end[:, :2].T)
        surface = ground_rows(chords, profile.first, profile.fraction, profile.elevation)
        crossed = cross(chords, below.index, surface, below.ground.sample)
        met = below.meet(scene.wires.span[w[crossed.wire]], crossed.obstacle, o[crossed.wire])
        crossed, _ = parted(crossed, met, met)
        side = below.side(w[crossed.wire], crossed.obstacle, middles(crossed.rows))
        gaps += _gaps(scene, w, o, k, surface, crossed, below.ruled)
        things = in_case(chords, crossed, side, below.index.obstacles, k)
        found = join_found([_over_ground(chords, surface), *_over_things(chords, things, side, below.ruled)])
        parts.append(_rows(scene, w, o, k, found))
    return parts, gaps


def _chords(scene, wire, case):
    """Wire and option of the wires that hang in a case, each as one chord: it is straight in plan."""
    hung = scene.hung
    w, o = (v.ravel() for v in np.meshgrid(wire, np.arange(len(scene.options)), indexing="ij"))
    known = np.isfinite(hung.horizontal_tension[w, o, case, 0])
    known &= np.isfinite(scene.wires.start[w, 2] + scene.wires.end[w, 2])
    w, o = w[known], o[known]
    local = np.stack([hung.start[w, o, case, 0], hung.end[w, o, case, 0]], axis=1)
    grid = to_grid(local, scene.structures, scene.spans, scene.wires.span[w])
    length = np.linalg.norm((local[:, 1] - local[:, 0])[:, :2], axis=-1)
    each = np.arange(len(w))
    return w, o, Chords(grid[:, 0], grid[:, 1], length, each, 0 * each, local, scene.constant[w, o, case],
                        scene.depth[w, o, case])


def _over_ground(chords, surface):
    height, place, elevation = (v[:, 0] for v in least_heights(surface, chords.constant[:, None]))
    known = np.flatnonzero(np.isfinite(height))
    return found_at(chords, known, np.full(len(known), GROUND), 1.0, height[known], place[known], elevation[known])


def _over_things(chords, crossed, side, ruled):
    """Vertical distance at every meeting of a wire and a thing, above and below."""
    C = chords.constant[crossed.wire, None]
    for way in (1.0, -1.0):
        rows = np.flatnonzero(ruled[crossed.obstacle] & (side == way))
        whole = least_heights(crossed.rows, C) if way > 0 else least_below(crossed.rows, C, np.arange(len(C)), None)
        height, place, elevation = (v[rows, 0] for v in whole)
        known = np.isfinite(height)
        yield found_at(chords, crossed.wire[rows][known], crossed.obstacle[rows][known], way, height[known],
                       place[known], elevation[known])


def _gaps(scene, w, o, k, surface, crossed, ruled):
    """Ground and tops that are not known below wires, and things that no rule is for."""
    wires, options, case = scene.wires, scene.options, scene.cases[k].name
    gaps = [Gap(wires.span[w[r]], None, options[o[r]].name, case, "ground", None, HOLE_ASIDE)
            for r in np.flatnonzero(unknown_share(surface) > 0)]
    owner = np.repeat(np.arange(len(crossed.wire)), np.diff(crossed.rows.first))
    unknown = np.bincount(owner, np.isnan(crossed.rows.surface), minlength=len(crossed.wire)) > 0
    against, name = (told(crossed.obstacle, scene.obstacles) for told in (against_of, obstacle_name))
    for r in np.flatnonzero(unknown & ruled[crossed.obstacle]):
        row = crossed.wire[r]
        gaps.append(Gap(wires.span[w[row]], None, options[o[row]].name, case, against[r], name[r], NO_TOP))
    return gaps + unruled_things(scene, wires.span[w[crossed.wire]], crossed.obstacle)


def _rows(scene, w, o, k, found):
    """Columns of the worst wire of each span and option over each thing in a case."""
    key = (scene.wires.span[w] * len(scene.options) + o)[found.row] * (found.obstacle.max(initial=0) + 2)
    found = take(found, least_rows(key + found.obstacle + 1, found.actual))
    w, o = w[found.row], o[found.row]
    start, end = scene.frame.start[w, 0], scene.frame.end[w, 0]
    return Checked(w, o, np.full(len(w), k), found.obstacle, np.full(len(w), "vertical", object), found.position,
                   found.actual, (found.spot[:, 0] - start) / (end - start), found.spot[:, 2], found.other,
                   found.spot[:, 1])
