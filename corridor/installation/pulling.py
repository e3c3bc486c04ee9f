"""Wires while they are pulled: tension from machine to machine, loads on structures, and what lies below them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, Integers, take
from corridor.clearance.checked import Checked
from corridor.clearance.crossings import ground_as_crossed
from corridor.clearance.proximity import Around
from corridor.clearance.scene import Scene
from corridor.clearance.vertical import past_in_still_air
from corridor.geometry.catenary import greatest_sag
from corridor.geometry.distance import Ends
from corridor.installation.pulls import Course, Pull
from corridor.installation.wire_rules import WireRules
from corridor.line.elongation_laws import reshape_law, take_law
from corridor.line.hang import Hung
from corridor.line.section_wires import right_of, turned
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.pulling import Pulled, friction, pull, pull_up_to
from corridor.mechanics.supports import Supports
from corridor.study.stringing import Stringing

__all__ = ["Beneath", "PulledWires", "Tensions", "beneath", "pull_wires"]


class Tensions(NamedTuple):
    """What wires of a pull may be pulled with, (option,) [N]: `sagging` the minimum horizontal tension that any of its
    sections is sagged to, at the stringing temperature; `bound` the maximum tension while it is pulled, and `bound_by`
    what says so."""

    sagging: Array
    bound: Array
    bound_by: tuple[str, ...]


@dataclass(frozen=True)
class PulledWires:
    """Wires of a pull in every option; fields of `moving` (wire, option, ...), nodes with both machines.

    `moving` while they are pulled as hard as they may be, `held` snubbed at both ends with the sagging tension;
    `tensions`; `sheaves` (node,) in a row over each structure; `force_moving`, `force_held` (wire, option, node, 3) of
    a wire on structures: ahead along the line, to the right of it, down [N]; `turn` (wire, option, node) of the wire
    over a structure while it is pulled [deg], nan where that is not known.
    """

    course: Course
    moving: Pulled
    held: Pulled
    tensions: Tensions
    sheaves: Integers
    force_moving: Array
    force_held: Array
    turn: Array


def pull_wires(scene: Scene, pulled: Pull, course: Course, rules: WireRules, stringing: Stringing) -> PulledWires:
    """Return the wires of a pull in every option of a scene.

    Parameters
    ----------
    scene : Scene
    pulled : Pull
    course : Course
    rules : WireRules
    stringing : Stringing
    """
    options, wires = len(scene.options), len(course.wire)
    tensions = _tensions(scene, course, rules, stringing)
    twin = np.isin(scene.structures.structure[course.structure].astype(str),
                   list(stringing.have.twin_travellers))
    sheaves = np.r_[0, np.where(twin, 2, 1), 0]
    e = np.array([rules.strictest(option.wiring.conductor, "traveller efficiency")[0] for option in scene.options])
    gain = friction(sheaves, e[:, None])
    gain = gain if pulled.forward else 1 / gain
    w, o = (v.ravel() for v in np.indices((wires, options)))
    group = scene.group[course.row[w, 0]]
    T = np.array([option.wiring.stringing_temperature for option in scene.options])[o]
    law = take_law(reshape_law(scene.strung.initial, scene.strung.excess.shape), (group, o))
    load = scene.strung.bare_weight[group, o][:, None] * np.array([0.0, 0.0, -1.0])
    share = 1 / scene.subconductors[course.row[w, 0], o][:, None]
    s = course.supports
    supports = Supports(np.asarray(s.hinge)[w], np.asarray(s.kind)[w], np.asarray(s.string_length)[w],
                        np.asarray(s.string_weight)[w] * share, across=np.asarray(s.across)[w])
    moving = pull_up_to(supports, tensions.bound[o], gain[o], load, T, law)
    held = pull(supports, tensions.sagging[o], np.ones((len(w), len(sheaves))), load, T, law)
    forces = [_by_line(course, each.force) for each in (moving, held)]
    shape = wires, options
    turn = _turn(moving)
    return PulledWires(course, *(Pulled(*(v.reshape(*shape, *v.shape[1:]) for v in each)) for each in (moving, held)),
                       tensions, sheaves, *(v.reshape(*shape, *v.shape[1:]) for v in (*forces, turn)))


def _tensions(scene: Scene, course: Course, rules: WireRules, stringing: Stringing) -> Tensions:
    groups = np.unique(scene.group[course.row])
    strung, found = scene.strung, []
    for o, option in enumerate(scene.options):
        wire, T = option.wiring.conductor, option.wiring.stringing_temperature
        law = take_law(reshape_law(strung.initial, strung.excess.shape), (groups, o))
        H = ruling.tension(strung.excess[groups, o], scene.groups.span[groups], strung.bare_weight[groups, o], T,
                           law).horizontal_tension
        sagging = float(np.min(H)) if len(H) else np.nan
        found.append((sagging, *_bound(wire, sagging, rules, stringing)))
    return Tensions(np.array([each[0] for each in found]), np.array([each[1] for each in found]),
                    tuple(each[2] for each in found))


def _bound(wire, sagging, rules, stringing):
    """Maximum tension of a wire while it is pulled [N], and what says so."""
    own = stringing.pulling_tension
    if own is not None:
        return own.value * (wire.rts if own.kind == "share" else 1.0), "the study"
    share, rule = rules.strictest(wire, "pulling tension")
    beside, other = rules.strictest(wire, "pulling tension beside sagging")
    bounds = [(share * wire.rts, f"{100 * share:g} % of RTS", rule),
              (beside * sagging, f"{100 * beside:g} % of the sagging tension", other)]
    known = [(value, words) for value, words, row in bounds if row is not None]
    # What is not known bounds nothing that is told: an unknown sagging tension leaves no number.
    if not known or any(np.isnan(value) for value, _ in known):
        return np.nan, "not given"
    return min(known)


def _by_line(course: Course, force: Array) -> Array:
    """Forces (row, node, 3) ahead, to the right and down."""
    azimuth = np.r_[course.azimuth[:1], course.azimuth, course.azimuth[-1:]]
    right = right_of(azimuth[None])[0]
    ahead = np.stack([-right[:, 1], right[:, 0]], axis=-1)
    level = force[..., :2]
    return np.stack([(level * ahead).sum(-1), (level * right[:, :2]).sum(-1), -force[..., 2]], axis=-1)


def _turn(moving: Pulled) -> Array:
    """Angle by which a wire is bent over each structure [deg], (row, node)."""
    # Of two pulls of nearly one size the sum has half of the angle between them.
    before, after = moving.tension[:, :-1, 1], moving.tension[:, 1:, 0]
    size = np.linalg.norm(moving.force[:, 1:-1], axis=-1)
    with np.errstate(invalid="ignore"):
        cosine = (before**2 + after**2 - size**2) / (2 * before * after)
    turn = np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))
    return np.pad(turn, ((0, 0), (1, 1)), constant_values=np.nan)


class Beneath(NamedTuple):
    """What lies below the wires of a pull, or above them where they pass below: `ground` and `objects`, one row a span,
    option and thing (Checked, of one case); `crossed` pairs of span of the scene and obstacle, whatever is known of
    their heights; `sag` (span of the pull, option) of the lowest wire [m]."""

    ground: Checked
    objects: Checked
    crossed: Sequence[tuple[int, int]]
    sag: Array


def beneath(around: Around, wires: PulledWires) -> Beneath:
    """Return how near the wires of a pull come to the ground and to what they cross while they are pulled.

    Parameters
    ----------
    around : Around
    wires : PulledWires
    """
    scene, course = around.scene, wires.course
    options = len(scene.options)
    end = wires.moving.end[:, :, 1:-1]
    start, last = (turned(nodes, course.azimuth, course.corner[:-1], -1) for nodes in (end[:, :, :-1], end[:, :, 1:]))
    H = wires.moving.horizontal_tension[:, :, 1:-1]
    shape = len(scene.wires), options, 1, 1
    tension, ends = np.full(shape, np.nan), np.full((2, *shape, 3), np.nan)
    row = course.row
    tension[row, :, 0, 0] = H.swapaxes(1, 2)
    ends[0][row, :, 0, 0], ends[1][row, :, 0, 0] = start.swapaxes(1, 2), last.swapaxes(1, 2)
    weight = scene.strung.bare_weight[scene.group][..., None, None]
    nothing = np.zeros(shape)
    hung = Hung(tension, *ends, nothing, nothing > 0, np.broadcast_to(weight, shape), nothing,
                np.zeros((*shape, 2), bool))
    moved, _ = hung.moved(scene.frame)
    moved = Ends(*(field[..., 0] for field in moved))
    constant, case = hung.constant[..., 0], np.zeros(1, int)
    below = ground_as_crossed(around.below)
    ground, objects = (past_in_still_air(scene, met, side, constant, case, moved) for met, side in (
        (below, np.ones(len(below.wire))), (around.crossed, around.side)))
    chord = last - start
    sag = greatest_sag(np.hypot(chord[..., 0], chord[..., 1]), chord[..., 2],
                       H / scene.strung.bare_weight[scene.group[row]].swapaxes(1, 2))
    pulled = np.isin(around.crossed.wire, row)
    pairs = sorted(set(zip(scene.wires.span[around.crossed.wire[pulled]].tolist(),
                           around.crossed.obstacle[pulled].tolist(), strict=True)))
    keep = [np.flatnonzero(np.isin(each.wire, row)) for each in (ground, objects)]
    return Beneath(take(ground, keep[0]), take(objects, keep[1]), pairs, sag.max(axis=0).T)
