"""Which of many choices no other beats in everything."""

import numpy as np

__all__ = ["non_dominated", "spaced"]


def non_dominated(costs):
    """Return a mask of the rows that no other row beats.

    A row beats another where none of its costs is greater and one is less. Of equal rows the first stays.

    Parameters
    ----------
    costs : array_like, shape (row, 2)
        Two costs, less is better; nan never stays.

    Returns
    -------
    ndarray of bool, shape (row,)

    Examples
    --------
    >>> non_dominated([[1, 4], [2, 2], [3, 3], [4, 1], [2, 2]])
    array([ True,  True, False,  True, False])
    """
    costs = np.asarray(costs, float).reshape(-1, 2)
    kept = np.zeros(len(costs), bool)
    known = np.flatnonzero(~np.isnan(costs).any(axis=1))
    order = known[np.lexsort((known, costs[known, 1], costs[known, 0]))]
    if len(order):
        second = costs[order, 1]
        before = np.r_[np.inf, np.minimum.accumulate(second)[:-1]]
        kept[order[second < before]] = True
    return kept


def spaced(values, count):
    """Return indices of at most so many of some values, both ends and what is most evenly between them.

    Examples
    --------
    >>> spaced([0.0, 0.1, 0.5, 0.9, 1.0], 3)
    [0, 2, 4]
    """
    values = np.asarray(values, float)
    if len(values) <= count:
        return list(range(len(values)))
    wanted = np.linspace(values.min(), values.max(), count)
    return sorted({int(np.abs(values - each).argmin()) for each in wanted})
