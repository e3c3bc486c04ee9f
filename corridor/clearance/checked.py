"""Rows of what was compared: the one table that every comparison gives, and the worst wires in it."""

from dataclasses import dataclass

import numpy as np

__all__ = ["GROUND", "Checked", "keys_of", "least_rows", "placed", "worst_of"]

#: What stands for the ground where an obstacle's index is asked for.
GROUND = -1


@dataclass(frozen=True)
class Checked:
    """One row per span, option, case and thing compared: the worst wire and place; columns of shape (row,).

    `wire`: wire span; `obstacle`: obstacle, -1 for the ground and -2 for the right-of-way; `position`: the wire
    is "above", "below" or "beside" the thing; `actual` [m] by `measure`; `fraction` place along the span [-];
    `elevation`, `other` of the wire and of the thing there [m]; `offset` [m] right of the span's centre, nan where the
    wire hangs where strings have moved its ends in still air; `taut` whether the wire hangs at that end of its history
    at which it is higher; default: none does.
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


def placed(scene, wire, option, case, obstacle, measure, position, actual, place, other):
    """Return the Checked of wires (row,) at places (row, 3) in the frames of their spans [m]; what is one for all rows
    may be a scalar."""
    kinds = (option, int), (case, int), (obstacle, int), (measure, object), (position, object)
    start, end = scene.frame.start[wire, 0], scene.frame.end[wire, 0]
    x, y, z = place.T
    return Checked(wire, *(np.full(len(wire), *each) for each in kinds), actual, (x - start) / (end - start), z,
                   np.full(len(wire), other, float), y)


def keys_of(*columns):
    """Return one number for each row of columns of integers, the same for rows that are the same, in their order."""
    columns = [np.asarray(each, int) - min(np.min(each, initial=0), 0) for each in columns]
    return np.ravel_multi_index(columns, [each.max(initial=0) + 1 for each in columns])


def least_rows(key, value):
    """Return the row of the minimum known value of each key, by keys: integers from 0 on (row,)."""
    row = worst_of(key, value[:, None])[:, 0]
    return row[row >= 0]


def worst_of(key, value):
    """Return for each key and state the row of the minimum known value, the first of equals, -1 where none is known.

    Parameters
    ----------
    key : ndarray of int, shape (row,)
        From 0 on.
    value : ndarray, shape (row, state)

    Returns
    -------
    ndarray of int, shape (key, state)
        By keys.
    """
    order = np.argsort(key, kind="stable")
    begin = np.flatnonzero(np.diff(key[order], prepend=-1))
    held = value[order]
    least = np.repeat(np.fmin.reduceat(held, begin, axis=0), np.diff(np.r_[begin, len(held)]), axis=0)
    row = np.minimum.reduceat(np.where(held == least, order[:, None], len(order)), begin, axis=0)
    return np.where(row < len(order), row, -1)
