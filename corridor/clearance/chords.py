"""Chords of swung wires: short pieces over each of which a wire hangs as a small catenary, and what lies below them.

A swung wire is no straight line in plan, so it is cut into chords: whatever is known of wires in still air then holds
of these.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from corridor.arrays import ragged, take
from corridor.clearance.checked import keys_of, least_rows, placed
from corridor.clearance.vertical import least_past
from corridor.geometry.distance import least_heights
from corridor.line.swing import to_grid

__all__ = ["CHORDS", "NOTHING", "Chords", "Found", "as_checked", "chords_of", "past_ground",
           "past_things", "spots_on", "worst_found"]

#: Chords of a wire: in plan it bows from one of 12 m by a centimetre where it is blown out by 10 m.
CHORDS = 32


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


#: Nothing found.
NOTHING = Found(*(np.empty(0, kind) for kind in (int, int, object, float)), np.empty((0, 3)), np.empty(0))


def chords_of(scene, swung, count=CHORDS, part=None):
    """Return the chords of swung wires, so many of each: of all of it, or of the part (row,) between two shares [-]."""
    share = np.linspace(0, 1, 2 * count + 1)
    if part is not None:
        share = part[0][:, None] + (part[1] - part[0])[:, None] * share
    fine = swung.points(share)
    local = fine[:, ::2]
    a, b = local[:, :-1], local[:, 1:]
    length = np.linalg.norm((b - a)[..., :2], axis=-1)
    drop = (a + b)[..., 2] / 2 - fine[:, 1::2, 2]
    at = scene.of_way(swung.path)
    grid = to_grid(local, scene.structures, scene.spans, scene.wires.span[at[0]])
    row, number = ragged(np.full(len(swung.path), count))
    return Chords(grid[:, :-1].reshape(-1, 3), grid[:, 1:].reshape(-1, 3), length.ravel(), row, number, local,
                  (length**2 / (8 * drop)).ravel(), scene.depth[at])


def spots_on(chords, chord, place, elevation):
    """Return places on chords in the frame of their span, with elevations."""
    row, number = chords.span[chord], chords.number[chord]
    a, b = chords.local[row, number], chords.local[row, number + 1]
    spot = a + place[:, None] * (b - a)
    return np.column_stack([spot[:, :2], elevation])


def past_things(chords, met, side):
    """Return what chords have above or below: vertical distances wherever they meet a thing; of a bundle below one, of
    its highest wire.

    Parameters
    ----------
    chords : Chords
    met : Crossed
    side : ndarray, shape (row of met,)
        1 where wires pass above, -1 below, 0 where nothing is asked.

    Returns
    -------
    Found
    """
    rows = np.flatnonzero(side)
    met, side = met.take(rows), side[rows]
    least = least_past(met.rows, chords.constant[met.wire, None], side,
                       depth=chords.depth[chords.span[met.wire], None])
    return _found(chords, met, np.arange(len(rows)), least, side)


def past_ground(chords, ground):
    """Return the minimum height of chords over the ground (chord,) [m], nan where it is not known, and what was found
    there, of the lowest chord of each wire alone.

    Parameters
    ----------
    chords : Chords
        All chords of wires.
    ground : Crossed
        As of `ground_below`.

    Returns
    -------
    height : ndarray
    found : Found
    """
    least, count = least_heights(ground.rows, chords.constant[:, None]), chords.local.shape[1] - 1
    height = least.height[:, 0]
    over = np.where(np.isnan(height), np.inf, height).reshape(-1, count)
    return height, _found(chords, ground, np.arange(len(over)) * count + over.argmin(axis=1), least,
                          np.ones(len(chords)))


def _found(chords, met, rows, least, side):
    """What was found in rows of what is met, where it is known."""
    rows = rows[np.isfinite(least.height[rows, 0])]
    height, place, elevation = (v[rows, 0] for v in least)
    chord, side = met.wire[rows], side[rows]
    return Found(chords.span[chord], met.obstacle[rows], np.where(side > 0, "above", "below").astype(object), height,
                 spots_on(chords, chord, place, elevation), elevation - side * height)


def worst_found(scene, swung, found):
    """Return what was found at the minimum distance of each span, option, case and thing, by these."""
    wire, option, case = scene.of_way(swung.path[found.row])
    return take(found, least_rows(keys_of(scene.wires.span[wire], option, case, found.obstacle), found.actual))


def as_checked(scene, swung, found):
    """Return what was found of swung wires, row for row, as what was compared."""
    return placed(scene, *scene.of_way(swung.path[found.row]), found.obstacle, "vertical", *found[2:])
