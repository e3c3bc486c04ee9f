"""Ground and objects below wires along their whole swing, from still air to full wind from either side.

A swung wire is no straight line in plan, so each is cut into short chords, over each of which it hangs as a small
catenary: whatever is known of wires in still air then holds of the chords.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from corridor.clearance.crossings import cross
from corridor.clearance.ground import ground_rows, unknown_share
from corridor.clearance.nearest import holes, nearest_ground, turning
from corridor.clearance.vertical import Checked, least_below
from corridor.clearance.widened import steps_of, swept_pairs, widened
from corridor.geometry.catenary import plane_of, points
from corridor.geometry.distance import least_heights, take_rows
from corridor.line.blown import PARTLY, hang_rows
from corridor.line.swing import to_grid

__all__ = ["GROUND", "Blown", "Chords", "Swept", "cut_chords", "sweep"]

#: What stands for the ground where an obstacle's index is asked for.
GROUND = -1

#: Why the ground below a wire is not assessed.
HOLE = "the ground raster has no values below part of the swung wire"

#: Shares of the full swing at which wires are hung, to either side.
SWINGS = (0.25, 0.5, 0.75, 1.0)

#: Chords of a wire: in plan it bows from one of 12 m by a centimetre where it is blown out by 10 m.
_CHORDS = 32

#: Share of the step between swings below which it is not worth hanging a wire once more.
_SAME = 0.02

#: Chords worked on at once.
_AT_ONCE = 30_000


class Blown(NamedTuple):
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

    def take(self, index):
        """Return some rows."""
        return Blown(*(field[index] for field in self))


@dataclass(frozen=True)
class Chords:
    """Chords of blown wires as small spans of their own, `_CHORDS` after one another.

    `start`, `end` (chord, 3) on the grid; `length` [m of ground]; `span` row of the blown wire; `local` (row,
    vertex, 3) in the span's frame; `constant` (chord,) of the small catenary in the vertical [m].
    """

    start: np.ndarray
    end: np.ndarray
    length: np.ndarray
    span: np.ndarray
    local: np.ndarray
    constant: np.ndarray

    def __len__(self):
        return len(self.span)


class _Found(NamedTuple):
    """What was compared: blown wire (row), obstacle, position, height [m], place in the span's frame, and top [m]."""

    row: np.ndarray
    obstacle: np.ndarray
    position: np.ndarray
    actual: np.ndarray
    spot: np.ndarray
    other: np.ndarray


class _Low(NamedTuple):
    """How low blown wires hang: least `height` of each chord over the ground (row, chord) [m], nan where it is not
    known; `pieces` pairs of a length in plan [m] and of the number of pieces of ground below it."""

    height: np.ndarray
    pieces: list


@dataclass(frozen=True)
class Swept:
    """The worst of the whole swing: `checked` rows, `blown` the wire of each row at its worst swing.

    `lost` are what could not be compared: dicts of wire, option, case, obstacle and reason, one per thing; `step` the
    greatest step between swings [m].
    """

    checked: Checked
    blown: Blown
    lost: tuple
    step: float = 0.0


def cut_chords(scene, blown):
    """Return the chords of blown wires."""
    plane = plane_of(blown.start, blown.end, blown.load)
    share = np.linspace(0, 1, 2 * _CHORDS + 1)
    fine = points(blown.start, plane, blown.tension / plane.load, share)
    local = fine[:, ::2]
    a, b = local[:, :-1], local[:, 1:]
    length = np.linalg.norm((b - a)[..., :2], axis=-1)
    drop = (a + b)[..., 2] / 2 - fine[:, 1::2, 2]
    grid = to_grid(local, scene.structures, scene.spans, scene.wires.span[blown.wire])
    row = np.repeat(np.arange(len(blown.wire)), _CHORDS)
    return Chords(grid[:, :-1].reshape(-1, 3), grid[:, 1:].reshape(-1, 3), length.ravel(), row, local,
                  (length**2 / (8 * drop)).ravel())


def sweep(scene, index, ground, cases, *, above, below):
    """Return the least clearance to the ground, and to what lies below, over the whole swing.

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
    above, below : ndarray of bool, shape (obstacle,)
        What a vertical rule is for, and wires shall pass above or below of.

    Returns
    -------
    Swept
    """
    things = index, ground, above, below
    blown = _states(scene, cases)
    if not len(blown.wire):
        return Swept(_rows(scene, blown, _together([])), blown, ())
    rows, steps = steps_of(blown, 2 * len(SWINGS) + 1)
    step = np.zeros(len(scene.ways))
    step[_wire_key(scene, blown)[rows]] = steps
    found, lost, curves, low = _compare(scene, blown, *things, step)
    found, near, spots, between = _refined(scene, blown, found, low, ground, steps.max(initial=0.25))
    lost += between
    again = _vertices(scene, blown, found)
    if len(again.wire):
        more, *_ = _compare(scene, again, *things, step)
        found = _together([found, more._replace(row=more.row + len(blown.wire))])
    rows = _known(blown)
    pairs = swept_pairs(index, _wire_key(scene, blown)[rows], curves) if len(curves) else set()
    spots = spots._replace(row=spots.row + len(blown.wire) + len(again.wire))
    found = _together([found, spots])
    blown = Blown(*(np.concatenate(three) for three in zip(blown, again, near, strict=True)))
    found = _touched(scene, blown, found, pairs)
    lost = tuple(each for each in lost
                 if each["obstacle"] == GROUND or (_wire_key(scene, each), each["obstacle"]) in pairs)
    worst = _worst(scene, blown, found)
    return Swept(_rows(scene, blown, worst), blown.take(worst.row), lost + _unsolved(blown), steps.max(initial=0.25))


def _wire_key(scene, each):
    """One number per wire span, option and case, of a table or of one thing."""
    w, o, k = (each["wire"], each["option"], each["case"]) if isinstance(each, dict) else each[:3]
    return (w * len(scene.options) + o) * len(scene.cases) + k


def _touched(scene, blown, found, pairs):
    """What was compared, without objects met vertically that the wire's whole swing does not touch."""
    key = _wire_key(scene, blown.take(found.row))
    keep = found.obstacle == GROUND
    keep |= np.array([pair in pairs for pair in zip(key.tolist(), found.obstacle.tolist(), strict=True)], bool)
    return _Found(*(field[keep] for field in found))


def _states(scene, cases):
    """Every wire in every option and case, still and at each swing; those without answer have no tension."""
    parts = []
    w, o, k = (v.ravel() for v in np.indices((len(scene.wires), len(scene.options), len(cases))))
    for swing in (0.0, *(sign * share for share in SWINGS for sign in (1.0, -1.0))):
        found = scene.ways.at(scene.way(w, o, cases[k]), np.full(len(w), swing))
        H = found.constant * np.linalg.norm(found.load, axis=-1)
        parts.append(Blown(w, o, cases[k], found.swing, H, found.start, found.end, found.load))
    whole = Blown(*(np.concatenate(part) for part in zip(*parts, strict=True)))
    expected = np.isfinite(scene.hung.horizontal_tension[whole.wire, whole.option, whole.case]).all(axis=-1)
    rest = np.isfinite(scene.wires.start[whole.wire, 2] + scene.wires.end[whole.wire, 2])
    return whole.take(expected & rest)


def _known(blown):
    return np.isfinite(blown.tension) & np.isfinite(blown.start[:, 2] + blown.end[:, 2])


def _compare(scene, blown, index, ground, above, below, step):
    """Compare all blown wires, some at once, each by the step of its wire (way,) [m]; what was found and lost, all
    curves in plan, and how low they hang."""
    own, size = step[_wire_key(scene, blown)], _AT_ONCE // _CHORDS
    parts, lost, low = [], {}, _Low(np.full((len(blown.wire), _CHORDS), np.nan), [])
    curves = np.full((len(blown.wire), _CHORDS + 1, 2), np.nan)
    for some in _pieces(np.flatnonzero(_known(blown)), own, size):
        part = blown.take(some)
        chords = cut_chords(scene, part)
        profile = ground.profiles(*chords.start[:, :2].T, *chords.end[:, :2].T)
        surface = ground_rows(chords, profile.first, profile.fraction, profile.elevation)
        ends = chords.start.reshape(-1, _CHORDS, 3), chords.end.reshape(-1, _CHORDS, 3)[:, -1:]
        curves[some] = np.concatenate(ends, axis=1)[..., :2]
        crossed = cross(chords, widened(index, curves[some].reshape(-1, 2), own[some[0]] / 2), surface, ground.sample)
        least = least_heights(surface, chords.constant[:, None])
        low.height[some] = least.height.reshape(-1, _CHORDS)
        low.pieces.append((chords.length.sum(), len(surface.fraction) // 2 - len(chords)))
        found = [_over_ground(chords, least), *_over_objects(chords, crossed, above, below)]
        parts += [each._replace(row=some[each.row]) for each in found if len(each.row)]
        _note_lost(lost, part, chords, surface, crossed, above | below)
    return _together(parts), tuple(lost.values()), curves[_known(blown)], low


def _pieces(rows, step, size):
    """Rows of one step each, no more than so many at once."""
    for each in np.unique(step[rows]):
        same = rows[step[rows] == each]
        yield from (same[first:first + size] for first in range(0, len(same), size))


def _together(parts):
    empty = _Found(*(np.empty(0, kind) for kind in (int, int, object, float)), np.empty((0, 3)), np.empty(0))
    return _Found(*(np.concatenate(part) for part in zip(empty, *parts, strict=True)))


def _spots(chords, chord, place, elevation):
    """Places on chords in the frame of their span."""
    row, number = chords.span[chord], chord % _CHORDS
    a, b = chords.local[row, number], chords.local[row, number + 1]
    spot = a + place[:, None] * (b - a)
    return np.column_stack([spot[:, :2], elevation])


def _over_ground(chords, least):
    """Least height of each blown wire over the ground, of that of its chords."""
    height, place, elevation = (v[:, 0] for v in least)
    each = np.where(np.isnan(height), np.inf, height).reshape(-1, _CHORDS)
    chord = np.arange(len(each)) * _CHORDS + each.argmin(axis=1)
    chord = chord[np.isfinite(each.min(axis=1))]
    return _found(chords, chord, np.full(len(chord), GROUND), 1.0, height[chord], place[chord], elevation[chord])


def _found(chords, chord, obstacle, side, height, place, elevation):
    position = np.full(len(chord), "above" if side > 0 else "below", object)
    return _Found(chords.span[chord], obstacle, position, height, _spots(chords, chord, place, elevation),
                  elevation - side * height)


def _over_objects(chords, crossed, above, below):
    """Vertical distance at every meeting of a chord and an object, above and below."""
    for side, wanted in ((1.0, above), (-1.0, below)):
        chosen = np.flatnonzero(wanted[crossed.obstacle])
        rows, chord = take_rows(crossed.rows, chosen), crossed.wire[chosen]
        C = chords.constant[chord, None]
        least = least_heights(rows, C) if side > 0 else least_below(rows, C, np.arange(len(chosen)), None)
        height, place, elevation = (v[:, 0] for v in least)
        known = np.isfinite(height)
        yield _found(chords, chord[known], crossed.obstacle[chosen][known], side, height[known], place[known],
                     elevation[known])


def _note_lost(lost, blown, chords, surface, crossed, ruled):
    """Note what the raster, or an object's unknown top, leaves open: once per span, option, case and thing."""
    missing = np.unique(chords.span[unknown_share(surface) > 0])
    for row in missing:
        _note(lost, blown, row, GROUND, HOLE)
    owner = np.repeat(np.arange(len(crossed.wire)), np.diff(crossed.rows.first))
    unknown = np.bincount(owner, np.isnan(crossed.rows.surface), minlength=len(crossed.wire)) > 0
    for i in np.flatnonzero(unknown & ruled[crossed.obstacle]):
        _note(lost, blown, chords.span[crossed.wire[i]], crossed.obstacle[i],
              "the top of the object is unknown below the swung wire")
    for i in np.flatnonzero(~ruled[crossed.obstacle]):
        _note(lost, blown, chords.span[crossed.wire[i]], crossed.obstacle[i], "")


def _note(lost, blown, row, obstacle, reason):
    """Keep the first of each wire, option, case and thing; no reason: met, and no vertical rule is for it."""
    key = blown.wire[row], blown.option[row], blown.case[row], int(obstacle)
    lost.setdefault(key, {"wire": key[0], "option": key[1], "case": key[2], "obstacle": key[3], "reason": reason})


def _unsolved(blown):
    """Wires that hang in the full wind, and in part of it find no equilibrium."""
    bad = np.flatnonzero(~_known(blown))
    keys = {(blown.wire[r], blown.option[r], blown.case[r]) for r in bad}
    return tuple({"wire": w, "option": o, "case": k, "obstacle": GROUND,
                  "reason": PARTLY} for w, o, k in sorted(keys))


def _refined(scene, blown, found, low, ground, step):
    """What was found without the ground of spans whose wires were followed between swings, the wires where they are
    nearest to it, what was found there, and what is lost there."""
    exact = scene.exact[blown.wire]
    empty = blown.take(np.zeros(0, int)), _together([])
    if not exact.any():
        return found, *empty, ()
    wires = turning(scene, blown.take(exact), low.height[exact])
    length, pieces = np.array(low.pieces).sum(axis=0)
    sizes = {"cell": length / max(pieces, 1), "step": step}
    nearest = nearest_ground(scene, wires, ground.sample, **sizes)
    between = {}
    for row in holes(scene, wires, ground.sample, **sizes):
        _note(between, wires, row, GROUND, HOLE)
    r = nearest.row
    near = Blown(wires.wire[r], wires.option[r], wires.case[r], *nearest[1:6])
    spots = _Found(np.arange(len(r)), np.full(len(r), GROUND), np.full(len(r), "above", object), nearest.height,
                   nearest.spot, nearest.other)
    done = (found.obstacle == GROUND) & np.isin(_key(scene, blown.take(found.row)), _key(scene, near))
    return _Found(*(field[~done] for field in found)), near, spots, tuple(between.values())


def _vertices(scene, blown, found):
    """The wire of each span, option, case and thing that comes nearest, where a parabola over swings has its vertex."""
    exact = np.flatnonzero(scene.exact[blown.wire[found.row]])
    if not len(exact):
        return blown.take(np.zeros(0, int))
    found = _Found(*(field[exact] for field in found))
    keys, first, place = np.unique(_thing_key(scene, blown, found, of_wire=True), return_index=True,
                                   return_inverse=True)
    near = np.full((len(keys), 2 * len(SWINGS) + 1), np.inf)
    at = np.rint((blown.swing[found.row] + 1) * len(SWINGS)).astype(int)
    np.minimum.at(near, (place, at), found.actual)
    best = near.argmin(axis=1)
    worst = _least_rows(_thing_key(scene, blown, _Found(*(field[first] for field in found))), near.min(axis=1))
    worst = worst[(best[worst] > 0) & (best[worst] < near.shape[1] - 1)]
    left, here, right = np.take_along_axis(near[worst], best[worst, None] + np.arange(-1, 2), 1).T
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = (left - right) / (2 * (left + right - 2 * here))
    sound = np.isfinite(shift) & (np.abs(shift) > _SAME)
    swing = (best[worst] + shift)[sound] / len(SWINGS) - 1
    return _hang_again(scene, blown.take(found.row[first[worst[sound]]]), swing)


def _thing_key(scene, blown, found, of_wire=False):
    """One number per span, or wire span, and option, case and thing."""
    of = blown.take(found.row)
    key = _wire_key(scene, of) if of_wire else _key(scene, of)
    return key * (len(scene.obstacles.category) + 1) + found.obstacle + 1


def _hang_again(scene, blown, swing):
    if not len(swing):
        return blown
    hung = hang_rows(scene, blown.wire, blown.option, blown.case, swing)
    return Blown(blown.wire, blown.option, blown.case, swing, hung.horizontal_tension, hung.start, hung.end,
                 hung.vectors)


def _key(scene, blown):
    """One number per span, option and case."""
    return (scene.wires.span[blown.wire] * len(scene.options) + blown.option) * len(scene.cases) + blown.case


def _least_rows(key, value):
    """Row of the least known value of each key."""
    order = np.lexsort((np.where(np.isnan(value), np.inf, value), key))
    first = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
    return first[~np.isnan(value[first])]


def _worst(scene, blown, found):
    """Rows of the least distance of each span, option, case and thing."""
    chosen = _least_rows(_thing_key(scene, blown, found), found.actual)
    return _Found(*(field[chosen] for field in found))


def _rows(scene, blown, worst):
    """Columns as for wires in still air; a place is a share of the wire at rest, and an offset."""
    w = blown.wire[worst.row]
    along = scene.frame.start[w, 0], scene.frame.end[w, 0]
    fraction = (worst.spot[:, 0] - along[0]) / (along[1] - along[0])
    vertical = np.full(len(w), "vertical", object)
    return Checked(w, blown.option[worst.row], blown.case[worst.row], worst.obstacle, vertical, worst.position,
                   worst.actual, fraction, worst.spot[:, 2], worst.other, worst.spot[:, 1])
