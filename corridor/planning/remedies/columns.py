"""The remedies that a plan may be made of, as columns of a programme, and the rows that they enter."""

from dataclasses import dataclass

import numpy as np

from corridor.planning.remedies.least_cost import Rows

__all__ = ["AMPLE", "Measures", "conditional", "exclusive", "in_order", "joined"]

#: More than a row lacks [m or kN]: what it gains where it does not hold any more. Were it too little, a plan would do
#: more than it must, never less.
AMPLE = 20.0


@dataclass(frozen=True)
class Measures:
    """Remedies; columns of shape (column,).

    `kind` one of `corridor.study.plan.REMEDIES`; `place` index of its structure (raise, shorten, post, strain), span
    (grade, add), section (tighten, slacken) or obstacle (remove). `step` amount of one step in the unit of the kind (m,
    share, or pieces), `most` steps; costs `fixed` where any is taken, and `per_step`.
    """

    kind: np.ndarray
    place: np.ndarray
    step: np.ndarray
    most: np.ndarray
    fixed: np.ndarray
    per_step: np.ndarray

    def __len__(self):
        return len(self.kind)

    @classmethod
    def of_rows(cls, rows):
        """Return the measures of tuples (kind, place, step, most, fixed, per_step)."""
        kind, *numbers = zip(*rows, strict=True) if rows else [()] * 6
        place, *others = (np.array(v, float) for v in numbers)
        return cls(np.array(kind, object), place.astype(int), *others)

    @property
    def programme(self):
        """What `corridor.planning.remedies.least_cost.least_cost` asks of every column."""
        return {name: getattr(self, name) for name in ("step", "most", "fixed", "per_step")}

    def amounts(self, kind, steps, count):
        """Return the amount of one kind at each of `count` places, for numbers of steps (column,)."""
        own = self.kind == kind
        return np.bincount(self.place[own], steps[own] * self.step[own], minlength=count)

    def cost(self, steps):
        """Return what numbers of steps cost, (column,)."""
        return self.fixed * (steps > 0) + self.per_step * steps


def joined(measures, kind, place):
    """Return the pairs of row and column where a row is at the place of a measure of a kind.

    Parameters
    ----------
    measures : Measures
    kind : str
    place : ndarray of int, shape (row,)
        -1 where a row is at none.

    Returns
    -------
    row, column : ndarray of int
    """
    own = np.flatnonzero(measures.kind == kind)
    own = own[np.argsort(measures.place[own], kind="stable")]
    low, high = (np.searchsorted(measures.place[own], place, side) for side in ("left", "right"))
    count = high - low
    row = np.repeat(np.arange(len(place)), count)
    within = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
    return row, own[np.repeat(low, count) + within]


def conditional(rows, of_row, column):
    """Return rows that hold only where measures are taken: they gain `AMPLE` where one is not.

    What such a measure is worth in such a row is in its margin already, and is left out.

    Parameters
    ----------
    rows : Rows
    of_row, column : ndarray of int
        Pairs of row and column.
    """
    width = 1 + max(column.max(initial=0), rows.column.max(initial=0))
    kept = ~np.isin(rows.row * width + rows.column, of_row * width + column)
    need = rows.need - AMPLE * np.bincount(of_row, minlength=len(rows.need))
    return Rows(np.r_[rows.row[kept], of_row], np.r_[rows.column[kept], column],
                np.r_[rows.coefficient[kept], np.full(len(column), -AMPLE)], need, rows.name)


def in_order(measures, kind):
    """Return the rows by which the later measures of a kind at a place wait for the earlier ones."""
    own = np.flatnonzero(measures.kind == kind)
    own = own[np.argsort(measures.place[own], kind="stable")]
    first = np.flatnonzero(measures.place[own][1:] == measures.place[own][:-1])
    count = len(first)
    row = np.arange(count)
    return Rows(np.r_[row, row], np.r_[own[first], own[first + 1]],
                np.r_[1 / measures.step[own[first]], -1 / measures.step[own[first + 1]]],
                np.zeros(count), np.full(count, f"{kind} in order", object))


def exclusive(measures, kinds):
    """Return the rows by which a place has one of some kinds at most, all but one of which have one step only.

    `-sum(n / most) >= -1` of whole numbers of steps `n`.
    """
    own = np.flatnonzero(np.isin(measures.kind.astype(str), kinds))
    place, row = np.unique(measures.place[own], return_inverse=True)
    return Rows(row, own, -1.0 / (measures.step[own] * measures.most[own]), np.full(len(place), -1.0),
                np.full(len(place), f"one of {', '.join(kinds)}", object))
