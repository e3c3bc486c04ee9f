"""Rows that hold between remedies whatever is found: what waits for another, and what excludes it."""

import numpy as np
from scipy.sparse import csr_array, diags_array

from corridor.planning.remedies.least_cost import Constraints
from corridor.planning.remedies.offered import Remedies

__all__ = ["AMPLE", "exclusive", "in_order"]

#: More than a row lacks [m or kN]: what it gains where it does not hold any more. Were it too little, a plan would do
#: more than it must, never less.
AMPLE = 20.0


def in_order(remedies: Remedies, kind: str) -> Constraints:
    """Return the rows by which the later remedies of a kind at a place wait for the earlier ones."""
    own = np.flatnonzero(remedies.kind == kind)
    own = own[np.argsort(remedies.place[own], kind="stable")]
    first = np.flatnonzero(remedies.place[own][1:] == remedies.place[own][:-1])
    one = diags_array(AMPLE / remedies.step).tocsr()  # it is the last to be named where nothing does
    return Constraints(one[own[first]] - one[own[first + 1]], np.zeros(len(first)),
                       np.full(len(first), f"{kind} in order", object))


def exclusive(remedies: Remedies, columns: np.ndarray) -> Constraints:
    """Return the rows by which a place has one of some columns at most, all but one of which have one step only.

    `-sum(n / most) >= -1` of whole numbers of steps `n`.
    """
    place, row = np.unique(remedies.place[columns], return_inverse=True)
    worth = -1.0 / (remedies.step[columns] * remedies.most[columns])
    return Constraints(csr_array((worth, (row, columns)), (len(place), len(remedies))), np.full(len(place), -1.0),
                       np.full(len(place), "one of what excludes each other", object))
