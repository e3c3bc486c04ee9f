"""Chords of swung wires: short pieces over each of which a wire hangs as a small catenary, and what lies below them.

A swung wire is no straight line in plan, so it is cut into chords: whatever is known of wires in still air then holds
of these.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from corridor.clearance.vertical import least_below
from corridor.geometry.catenary import plane_of, points
from corridor.geometry.distance import least_heights, take_rows
from corridor.line.swing import to_grid

__all__ = ["CHORDS", "Chords", "Found", "SwungWires", "chords_of", "found_at", "join_found", "over_objects", "spots_on"]

#: Chords of a wire: in plan it bows from one of 12 m by a centimetre where it is blown out by 10 m.
CHORDS = 32


class SwungWires(NamedTuple):
    """Wires at one swing each; columns of shape (row,) or (row, 3).

    `wire`, `option`, `case` indices; `swing` signed share of the full one; `tension` H [N]; `start`, `end` in the frame
    of the span [m]; `load` [N/m].
    """

    wire: np.ndarray
    option: np.ndarray
    case: np.ndarray
    swing: np.ndarray
    tension: np.ndarray
    start: np.ndarray
    end: np.ndarray
    load: np.ndarray


@dataclass(frozen=True)
class Chords:
    """Chords of swung wires as small spans of their own, those of a wire after one another.

    `start`, `end` (chord, 3) on the grid; `length` [m of ground]; `span` row of the swung wire, `number` of the chord
    in it; `local` (row, vertex, 3) in the span's frame; `constant` (chord,) of the small catenary in the vertical [m];
    `depth` (row,) from the lowest wire of the bundle, which these are of, up to its highest [m].
    """

    start: np.ndarray
    end: np.ndarray
    length: np.ndarray
    span: np.ndarray
    number: np.ndarray
    local: np.ndarray
    constant: np.ndarray
    depth: np.ndarray

    def __len__(self):
        return len(self.span)

    def take(self, chosen):
        """Return some chords, of the same wires."""
        columns = (self.start, self.end, self.length, self.span, self.number)
        return Chords(*(column[chosen] for column in columns), self.local, self.constant[chosen], self.depth)


class Found(NamedTuple):
    """What was compared: swung wire (row), obstacle, position, height [m], place in the span's frame, and top [m]."""

    row: np.ndarray
    obstacle: np.ndarray
    position: np.ndarray
    actual: np.ndarray
    spot: np.ndarray
    other: np.ndarray


def chords_of(scene, swung, count=CHORDS, part=None):
    """Return the chords of swung wires, so many of each: of all of it, or of the part (row,) between two shares [-]."""
    plane = plane_of(swung.start, swung.end, swung.load)
    share = np.linspace(0, 1, 2 * count + 1)
    if part is not None:
        share = part[0][:, None] + (part[1] - part[0])[:, None] * share
    fine = points(swung.start, plane, swung.tension / plane.load, share)
    local = fine[:, ::2]
    a, b = local[:, :-1], local[:, 1:]
    length = np.linalg.norm((b - a)[..., :2], axis=-1)
    drop = (a + b)[..., 2] / 2 - fine[:, 1::2, 2]
    grid = to_grid(local, scene.structures, scene.spans, scene.wires.span[swung.wire])
    row = np.repeat(np.arange(len(swung.wire)), count)
    number = np.tile(np.arange(count), len(swung.wire))
    return Chords(grid[:, :-1].reshape(-1, 3), grid[:, 1:].reshape(-1, 3), length.ravel(), row, number, local,
                  (length**2 / (8 * drop)).ravel(), scene.depth[swung.wire, swung.option, swung.case])


def join_found(parts):
    """Join tables of what was found, row under row."""
    empty = Found(*(np.empty(0, kind) for kind in (int, int, object, float)), np.empty((0, 3)), np.empty(0))
    return Found(*(np.concatenate(part) for part in zip(empty, *parts, strict=True)))


def spots_on(chords, chord, place, elevation):
    """Return places on chords in the frame of their span, with elevations."""
    row, number = chords.span[chord], chords.number[chord]
    a, b = chords.local[row, number], chords.local[row, number + 1]
    spot = a + place[:, None] * (b - a)
    return np.column_stack([spot[:, :2], elevation])


def found_at(chords, chord, obstacle, side, height, place, elevation):
    """What was found at places of chords: 1 where the wire is above, -1 where it is below, with the highest wire of
    its bundle."""
    if side < 0:
        depth = chords.depth[chords.span[chord]]
        height, elevation = height - depth, elevation + depth
    position = np.full(len(chord), "above" if side > 0 else "below", object)
    return Found(chords.span[chord], obstacle, position, height, spots_on(chords, chord, place, elevation),
                  elevation - side * height)


def over_objects(chords, crossed, above, below):
    """Vertical distance at every meeting of a chord and an object, above and below."""
    for side, wanted in ((1.0, above), (-1.0, below)):
        chosen = np.flatnonzero(wanted[crossed.obstacle])
        rows, chord = take_rows(crossed.rows, chosen), crossed.wire[chosen]
        C = chords.constant[chord, None]
        least = least_heights(rows, C) if side > 0 else least_below(rows, C, np.arange(len(chosen)), None)
        height, place, elevation = (v[:, 0] for v in least)
        known = np.isfinite(height)
        yield found_at(chords, chord[known], crossed.obstacle[chosen][known], side, height[known], place[known],
                     elevation[known])
