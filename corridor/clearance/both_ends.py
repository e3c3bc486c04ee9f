"""Wires at both ends of their history where it is not known which is the less favourable: below and beside things.

A wire that no load has stretched hangs higher, so nearer to what it passes below, and swings otherwise; it pulls its
strings farther to the inside of an angle. What it passes above is mostly nearer to the wire that has been stretched;
but which end is which is told of a section as one span, and a span of it may be the other way round by a centimetre.
"""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import join, take
from corridor.clearance import right_of_way as way
from corridor.clearance.checked import GROUND, keys_of, least_rows
from corridor.clearance.scene import Scene
from corridor.clearance.trees import near_pairs

__all__ = ["TautWires", "as_taut", "beside_others", "every_when_taut", "is_line", "less_favourable", "one_of_both",
           "swept_at_either", "taut_part"]


class TautWires(NamedTuple):
    """Some wires, `wire` their numbers, at that end of their history at which they hang higher."""

    scene: Scene
    wire: np.ndarray


def beside_others(around):
    """True for the wires (wire span,) that have a wire of another line, or what they pass below, about them: these may
    be nearer at either end of their history."""
    index, scene = around.index, around.scene
    theirs = is_line(index) | np.isin(index.of_part, around.crossed.obstacle[around.side < 0])
    # A case that limits have added hangs nowhere yet.
    every = np.arange(scene.hung.horizontal_tension.shape[2])
    wire, _ = near_pairs(scene, index, every, theirs, np.full(len(theirs), way.REACH))
    return np.isin(np.arange(len(scene.wires)), wire)


def taut_part(around):
    """Those wires at the other end of their history, None where nothing is about them, or both ends are one."""
    taut = around.scene.taut
    wire = np.flatnonzero(around.beside_others) if taut is not None else np.zeros(0, int)
    return TautWires(taut.part(wire), wire) if len(wire) else None


def every_when_taut(scene):
    """All wires at the other end of their history, None where both ends are one."""
    return None if scene.taut is None else TautWires(scene.taut, np.arange(len(scene.wires)))


def less_favourable(scene, taut, compared):
    """What `compared(scene, None)` gives, and the same of wires at the `taut` end of their history where that is less;
    there it is called with what was found before, the least [m] by span, obstacle, option and case. What wires pass
    above and below keeps a row of each: limits look at the former alone."""
    found = compared(scene, None)
    if taut is None:
        return found
    keys = scene.wires.span[found.wire], found.obstacle, found.option, found.case
    higher = compared(taut.scene, dict(zip(zip(*keys, strict=True), found.actual, strict=True)))
    both = join([found, as_taut(replace(higher, wire=taut.wire[higher.wire]))])
    return take(both, _least_of_each(scene, both, np.unique(both.measure.astype(str), return_inverse=True)[1]))


def as_taut(checked):
    """Rows of wires that hang at the taut end of their history."""
    return replace(checked, taut=np.ones(len(checked.wire), bool))


def swept_at_either(scene, found, higher):
    """The worst of the whole swing, where wires at the higher end of their history are nearer."""
    both = join([found.checked, as_taut(higher.checked)])
    swung = join([found.swung, higher.swung])
    keep = _least_of_each(scene, both)
    return replace(found, checked=take(both, keep), swung=take(swung, keep), lost=(*found.lost, *higher.lost),
                   step=max(found.step, higher.step))


def one_of_both(scene, found, origin):
    """The worst of the whole swing, with obstacles that stand there a second time, for wires that pass below them, as
    the obstacles that they are; `origin` (obstacle,) these."""
    checked = replace(found.checked, obstacle=np.r_[origin, GROUND][found.checked.obstacle])
    keep = _least_of_each(scene, checked)
    lost = tuple(each._replace(obstacle=int(np.r_[origin, GROUND][each.obstacle])) for each in found.lost)
    return replace(found, checked=take(checked, keep), swung=take(found.swung, keep), lost=lost)


def _least_of_each(scene, checked, measure=0):
    """Rows of the least of each span, option, case, thing and measure, on each side of it."""
    below = (checked.measure == "vertical") & (checked.position == "below")
    key = keys_of(scene.wires.span[checked.wire], checked.option, checked.case, checked.obstacle,
                  np.full(len(below), measure), below)
    return np.sort(least_rows(key, checked.actual))


def is_line(index):
    """True for lines and points that are wires of other lines."""
    return (index.obstacles.category[index.of_part] == "line") & (shapely.get_dimensions(index.part) < 2)
