"""Vertical clearance of wires in still air: to the ground, and to what they pass over or under."""

from dataclasses import dataclass, fields

import numpy as np

from corridor.geometry.distance import Ends, elevations, heights, least_heights, take_rows

__all__ = ["Checked", "join", "least_below", "least_rows", "over_ground", "over_objects", "worst_of"]


@dataclass(frozen=True)
class Checked:
    """One row per span, option, case and thing compared: the worst wire and place; columns of shape (row,).

    `wire`: wire span; `obstacle`: obstacle, -1 for the ground and -2 for the right-of-way; `position`: the wire
    is "above", "below" or "beside" the thing; `actual` [m] by `measure`; `fraction` place along the span [-];
    `elevation`, `other` of the wire and of the thing there [m]; `offset` [m] right of the span's centre; `taut` whether
    the wire hangs at that end of its history at which it is higher; default: none does.
    """

    wire: np.ndarray
    option: np.ndarray
    case: np.ndarray
    obstacle: np.ndarray
    measure: np.ndarray
    position: np.ndarray
    actual: np.ndarray
    fraction: np.ndarray
    elevation: np.ndarray
    other: np.ndarray
    offset: np.ndarray
    taut: np.ndarray | None = None

    def __post_init__(self):
        if self.taut is None:
            object.__setattr__(self, "taut", np.zeros(len(self.wire), bool))


def join(parts):
    """Join tables of the same kind, row under row."""
    kind = type(parts[0])
    return kind(*(np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(kind)))


def least_rows(key, value):
    """Row of the minimum known value of each key."""
    order = np.lexsort((np.where(np.isnan(value), np.inf, value), key))
    first = order[np.flatnonzero(np.diff(key[order], prepend=-1))]
    return first[~np.isnan(value[first])]


def worst_of(group, value):
    """Return for each group and state the row of the minimum value, -1 where none is known.

    Parameters
    ----------
    group : ndarray of int, shape (row,)
    value : ndarray, shape (row, state)

    Returns
    -------
    groups : ndarray of int, shape (group,)
    row : ndarray of int, shape (group, state)
    """
    if not len(group):
        return group, np.zeros((0, value.shape[1]), int)
    groups, inverse, count = np.unique(group, return_inverse=True, return_counts=True)
    order = np.argsort(inverse, kind="stable")
    place = np.arange(len(order)) - np.repeat(np.cumsum(count) - count, count)
    padded = np.full((len(groups), count.max()), -1)
    padded[inverse[order], place] = order
    known = np.where((padded >= 0)[..., None], value[padded], np.nan)
    known = np.where(np.isnan(known), np.inf, known)
    best = known.argmin(axis=1)
    row = np.take_along_axis(padded, best, axis=1)
    return groups, np.where(np.isfinite(known.min(axis=1)), row, -1)


def _states(constant, cases):
    """Catenary constants of the chosen cases, one column per option and case."""
    return constant[:, :, cases].reshape(len(constant), constant.shape[1] * len(cases))


def over_ground(wires, ground, constant, cases, ends=None):
    """Return the minimum height over the ground of every span in every option and case.

    Parameters
    ----------
    wires : WireSpans
    ground : Rows or Grouped
        Row for row with the wires.
    constant : ndarray, shape (wire span, option, case)
    cases : ndarray of int
        The cases without wind in which vertical clearance is asked for.
    ends : Ends, optional
        Of shape (wire span, option, case), where strings have moved the wires' ends.

    Returns
    -------
    Checked
    """
    every = np.arange(len(wires))
    least = least_heights(ground, _states(constant, cases), ends=_ends(ends, every, cases))
    _, row = worst_of(wires.span, least.height)
    return _pick(row, least, every, np.full(len(wires), -1), np.ones(len(wires)), cases)


def over_objects(wires, crossed, constant, cases, side, ends=None, depth=None):
    """Return the minimum vertical distance to every object that wires of a span cross.

    Parameters
    ----------
    wires : WireSpans
    crossed : Crossed
    constant : ndarray, shape (wire span, option, case)
    cases : ndarray of int
    side : ndarray, shape (row of crossed,)
        1 where the wire shall pass above, -1 below.
    ends : Ends, optional
        As in `over_ground`.
    depth : ndarray, shape (wire span, option, case), optional
        From the wires up to the highest of their bundles, which counts below objects [m].

    Returns
    -------
    Checked
    """
    states, ends = _states(constant[crossed.wire], cases), _ends(ends, crossed.wire, cases)
    least = least_heights(crossed.rows, states, ends=ends)
    up = 0.0 if depth is None else _states(depth[crossed.wire], cases)[side < 0]
    height, place, elevation = least_below(crossed.rows, states, side < 0, ends)
    for whole, part in zip(least, (height - up, place, elevation + up), strict=True):
        whole[side < 0] = part
    span = wires.span[crossed.wire]
    _, row = worst_of(span * (crossed.obstacle.max(initial=0) + 1) + crossed.obstacle, least.height)
    return _pick(row, least, crossed.wire, crossed.obstacle, side, cases)


def _ends(ends, rows, cases):
    """Moved ends of rows of wire spans, one column per option and case."""
    return None if ends is None else Ends(*(_states(field[rows], cases) for field in ends))


def least_below(rows, constant, chosen, ends):
    """Return the minimum height of the object above the wire at the nodes of chosen rows, its place and elevation.

    Crossing lines have nodes where they are crossed and nowhere else, so the nodes are all there is.

    Parameters
    ----------
    rows : Rows
    constant : ndarray, shape (row, state)
        [m]
    chosen : ndarray of bool, or of int, shape (row,)
        Which rows; numbers are taken in their order.
    ends : Ends or None
    """
    index = np.flatnonzero(chosen) if chosen.dtype == bool else chosen
    rows, C = take_rows(rows, index), constant[index]
    count = np.diff(rows.first)
    place = np.arange(count.max(initial=1))
    node = np.minimum(rows.first[:-1, None] + place, max(len(rows.fraction) - 1, 0))
    t, top = rows.fraction[node], rows.surface[node]

    def at(t):
        """Elevations (row, state, ...) at places of the rows."""
        if ends is None:
            return heights(t, *(v[:, None, None] for v in (rows.span, rows.start, rows.rise)), C[..., None])
        moved = Ends(*(field[index][..., None] for field in ends))
        return elevations(t, rows.span[:, None, None], C[..., None], moved)

    above = top[:, None] - at(t[:, None])
    above = np.where(np.isnan(above) | (place >= count[:, None])[:, None], np.inf, above)
    best = above.argmin(axis=-1)[..., None]
    least = np.take_along_axis(above, best, -1)[..., 0]
    where = np.take_along_axis(np.broadcast_to(t[:, None], above.shape), best, -1)
    known = np.isfinite(least)
    return [np.where(known, v, np.nan) for v in (least, where[..., 0], at(where)[..., 0])]


def _pick(row, least, wire, obstacle, side, cases):
    """Columns of the worst rows, in the order group, option, case."""
    option, case = np.divmod(np.arange(row.shape[1]), max(len(cases), 1))
    state = np.broadcast_to(np.arange(row.shape[1]), row.shape)[row >= 0]
    r = row[row >= 0]
    height, place, elevation = (v[r, state] for v in least)
    position = np.where(side[r] > 0, "above", "below").astype(object)
    measure = np.full(len(r), "vertical", object)
    return Checked(wire[r], option[state], cases[case[state]], obstacle[r], measure, position, height, place,
                   elevation, elevation - height * side[r], np.full(len(r), np.nan))
