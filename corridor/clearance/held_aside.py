"""What lies below wires that strings hold aside of where they rest: each state has ground and things of its own."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from corridor.arrays import join, names_of, take
from corridor.clearance.chords import (
    as_checked,
    chords_of,
    past_ground,
    past_things,
    worst_found,
)
from corridor.clearance.crossings import ObstacleIndex, cross, ground_below, middles
from corridor.clearance.findings import against_of, obstacle_name
from corridor.clearance.ground import unknown_share
from corridor.clearance.not_assessed import HOLE_ASIDE, NO_TOP, Gap, unruled_things
from corridor.clearance.other_lines import in_case
from corridor.line.wire_path import Nodes

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
        As `past_in_still_air` and `past_others` give for the other spans.
    list of Gap
        What is not known there.
    """
    parts, gaps = [], []
    for k in cases if chosen.any() else ():
        wires = _lying(scene, np.flatnonzero(chosen), k)
        w, o, _ = scene.of_way(wires.path)
        # In still air a wire is straight in plan.
        chords = replace(chords_of(scene, wires, 1), constant=wires.constant)
        surface = ground_below(chords, below.ground)
        crossed = cross(chords, below.index, surface.rows, below.ground.sample)
        wire, option = w[crossed.wire], o[crossed.wire]
        met = np.flatnonzero(below.meet(scene.wires.span[wire], crossed.obstacle, option))
        crossed = crossed.take(met)
        side = below.side(wire[met], crossed.obstacle, middles(crossed.rows))
        gaps += _gaps(scene, w, o, k, surface.rows, crossed, below.ruled)
        things = in_case(chords, crossed, side, below.index.obstacles, k)
        found = join([past_ground(chords, surface)[1],
                      past_things(chords, things, side * below.ruled[things.obstacle])])
        parts.append(as_checked(scene, wires, worst_found(scene, wires, found)))
    return parts, gaps


def _lying(scene, wire, case):
    """Wires in all options, as they hang in a case in still air."""
    w, o = (v.ravel() for v in np.meshgrid(wire, np.arange(len(scene.options)), indexing="ij"))
    hung = scene.hung[w, o, case, 0]
    known = np.isfinite(hung.horizontal_tension + scene.wires.start[w, 2] + scene.wires.end[w, 2])
    wires = Nodes(scene.way(w, o, case), np.zeros(len(w)), hung.start, hung.end, hung.constant, hung.vectors)
    return take(wires, known)


def _gaps(scene, w, o, k, surface, crossed, ruled):
    """Ground and tops that are not known below wires, and things that no rule is for."""
    span, options, case = scene.wires.span[w], names_of(scene.options), scene.cases[k].name
    gaps = [Gap(span[r], None, options[o[r]], case, "ground", None, HOLE_ASIDE)
            for r in np.flatnonzero(unknown_share(surface) > 0)]
    against, name = (told(crossed.obstacle, scene.obstacles) for told in (against_of, obstacle_name))
    for r in crossed.unknown[ruled[crossed.obstacle[crossed.unknown]]]:
        row = crossed.wire[r]
        gaps.append(Gap(span[row], None, options[o[row]], case, against[r], name[r], NO_TOP))
    return gaps + unruled_things(scene, span[crossed.wire], crossed.obstacle)
