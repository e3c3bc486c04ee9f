"""The cheapest amounts of remedies that put all violations right, as a mixed-integer programme."""

from dataclasses import dataclass
from time import monotonic

import numpy as np
from scipy.optimize import Bounds, LinearConstraint
from scipy.sparse import coo_array, csr_array, diags_array, eye_array, hstack, vstack
from scipy.sparse.csgraph import connected_components

from corridor.planning.programme import solve_programme

__all__ = ["Constraints", "Solution", "least_cost"]

#: What a step that costs nothing is taken to cost, so that there are no more of them than are needed.
_TIE = 1e-4


@dataclass(frozen=True)
class Constraints:
    """Linear constraints `A r >= need`, `A` (row, column) and `need` (row,); `name` (row,) words for the person.

    `r` are amounts of remedies, each in its own unit.
    """

    A: csr_array
    need: np.ndarray
    name: np.ndarray

    def __add__(self, other: "Constraints") -> "Constraints":
        return Constraints(vstack([self.A, other.A]).tocsr(), np.r_[self.need, other.need],
                           np.r_[self.name, other.name])


@dataclass(frozen=True)
class Solution:
    """Remedies in steps (column,), their cost, and the least cost that is proven possible, nan where fewer things may
    be left.

    `short` (row,) is what a row still lacks with the best that can be done where nothing is left, 0 where a plan
    exists; `left` how many things are left; `feasible` whether every constraint is met, some by what is left.
    """

    steps: np.ndarray
    cost: float
    bound: float
    short: np.ndarray
    left: int
    feasible: bool

    @property
    def gap(self) -> float:
        """Optimality gap: share of the cost that might be saved at most [-]."""
        return max(self.cost - self.bound, 0.0) / self.cost if self.cost else 0.0


def least_cost(rows: Constraints, *, step, most, fixed, per_step, leave=False, seconds=5.0, altogether=15.0,
               known: dict | None = None) -> Solution:
    """Return the cheapest numbers of steps that meet all rows; where nothing meets all, the fewest things are left, and
    of such the cheapest.

    Minimise `sum(fixed u + per_step n)` with `sum(a step n) >= need`, `0 <= n <= most u`, `u` 0 or 1, `n` whole. Rows
    that hold whatever is done are left out; what is not a number nothing meets. Parts that share no row are solved
    apart: their optima add up. Of plans that cost the same, one of few steps is taken.

    Parameters
    ----------
    step, most, fixed, per_step : float or ndarray, shape (column,)
        Amount of one step in the unit of the column, maximum number of steps, and costs.
    leave : bool or ndarray, shape (column,)
        Whether the column is no remedy, but one of the things that may be left.
    seconds, altogether : float
        After which the best plan of a part counts, with its gap; and the most for all parts, each of which gets 1 s.
    known : dict, optional
        Of parts that were solved before; those of this programme are added. A part is solved once.

    References
    ----------
    scipy.optimize.milp (HiGHS).
    """
    columns = rows.A.shape[1]
    step, most, fixed, per_step = (np.broadcast_to(v, columns).astype(float) for v in (step, most, fixed, per_step))
    leave = np.broadcast_to(leave, columns)
    tie = np.where((per_step == 0) & (most > 1), _TIE, 0.0)
    A = (rows.A @ diags_array(step)).tocsr()
    unknown = np.isnan(rows.need + A.sum(axis=1))
    open_ = np.flatnonzero((A.minimum(0) @ most < rows.need - 1e-9) & ~unknown)
    steps, cost, bound = np.zeros(columns), 0.0, 0.0
    short = np.where(unknown, np.inf, np.maximum(rows.need, 0.0))
    begin, known, met = monotonic(), {} if known is None else known, rows.need <= 1e-7
    for own, at in _parts(A[open_], rows.need[open_] > 1e-9):
        touched = open_[own]
        left = min(seconds, max(altogether - (monotonic() - begin), 1.0))
        part, need = A[touched][:, at], rows.need[touched]
        key = tuple(v.tobytes() for v in (at, part.indptr, part.indices, part.data, need, most[at]))
        if key not in known:
            known[key] = _solve(part, need, most[at], np.r_[(per_step + tie)[at], fixed[at]], leave[at], left)
        n, lacks, c, b, meets = known[key]
        steps[at], short[touched], met[touched] = n, lacks, meets
        cost, bound = cost + c - tie[at] @ n, bound + b - tie[at] @ n
    return Solution(steps.astype(int), cost, bound, short, int(steps[leave].sum()), bool(met.all()))


def _parts(A, asks):
    """Rows and columns of each part of a programme that holds a row that asks for something."""
    m, k = A.shape
    link = coo_array((np.ones(A.nnz), A.nonzero()), (m, k)).tocsr()
    label = connected_components(vstack([hstack([coo_array((m, m)), link]), hstack([link.T, coo_array((k, k))])]),
                                 directed=False)[1]
    for part in np.unique(label[:m][asks & (np.diff(A.indptr) > 0)]):
        yield np.flatnonzero(label[:m] == part), np.flatnonzero(label[m:] == part)


def _solve(A, need, most, cost, leave, seconds):
    """Steps, what each row lacks with nothing left, cost and bound of one part, whose unknowns are all `n`, then all
    `u`; and whether the steps meet all rows."""
    m, k = A.shape
    opened = hstack([eye_array(k), -diags_array(most)])
    meets = hstack([A, coo_array((m, k))])
    high = np.r_[most, np.ones(k)]
    asked = [LinearConstraint(meets, need - 1e-9, np.inf), LinearConstraint(opened, -np.inf, 0)]

    def solved(of, most, *more):
        return solve_programme(of, constraints=[*asked, *more], integrality=np.ones(2 * k), bounds=Bounds(0, most),
                               options={"time_limit": seconds, "mip_rel_gap": 1e-6})

    kept = np.where(np.r_[leave, leave], 0.0, high)
    result, short, proven = solved(cost, kept), np.zeros(m), True
    if result.x is None:
        least = _least_short(meets, opened, need, cost, kept)
        if not leave.any() or not (least[1] > 1e-7).any():
            return *least, not (least[1] > 1e-7).any()
        short, count = least[1], np.r_[leave, np.zeros(k)].astype(float)
        fewest = solved(count, high)
        if fewest.x is None:
            return *least, False
        proven = fewest.status == 0  # else the time was up, and fewer may do
        result = solved(cost, high, LinearConstraint(count[None], -np.inf, round(float(fewest.fun))))
        if result.x is None:
            n = np.round(fewest.x[:k])
            return n, short, float(cost @ np.r_[n, n > 0]), 0.0 if proven else np.nan, True
    bound = result.mip_dual_bound if result.mip_dual_bound is not None else result.fun
    return np.round(result.x[:k]), short, float(result.fun), float(bound) if proven else np.nan, True


def _least_short(meets, opened, need, cost, high):
    """The remedies that leave the least lacking, at a price, where not all rows can be met."""
    m, k = len(need), len(high) // 2
    both = vstack([hstack([meets, eye_array(m)]), hstack([opened, coo_array((k, m))])])
    result = solve_programme(np.r_[cost, np.full(m, 1e3 * (1 + cost.sum()))],
                             integrality=np.r_[np.ones(2 * k), np.zeros(m)],
                             constraints=LinearConstraint(both, np.r_[need - 1e-9, np.full(k, -np.inf)],
                                                          np.r_[np.full(m, np.inf), np.zeros(k)]),
                             bounds=Bounds(0, np.r_[high, np.full(m, np.inf)]), options={"time_limit": 30.0})
    if result.x is None:
        return np.zeros(k), np.maximum(need, 0), 0.0, 0.0
    n = np.round(result.x[:k])
    return n, result.x[2 * k:], float(cost @ np.r_[n, n > 0]), 0.0
