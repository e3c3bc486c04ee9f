"""Which of the conductors that meet every limit are looked at span by span, and what each is the best in.

Loss and rating make the non-dominated set. Two more things are wanted of a wire: little mass, and few violations. The
second is known only once a wire is checked span by span; until then the one with the most to spare where violations
come from, sag and swing, stands for it. Both are offered beside the set, and places are told in all four.
"""

import numpy as np

from corridor.planning.conductor_search.pareto import spaced

__all__ = ["LEAST_LOSS", "GREATEST_RATING", "LEAST_MASS", "MOST_TO_SPARE", "finalists_of"]

LEAST_LOSS, GREATEST_RATING, BETWEEN = "least loss", "greatest rating", "between both"
LEAST_MASS, MOST_TO_SPARE = "least mass", "most to spare"
#: Places that are always left to loss and rating.
_ENDS = 2


def finalists_of(screened, count):
    """Return the finalists: index of each candidate, and what it is chosen for, a dict.

    Up to so many, in this order: evenly by rating from least loss to greatest rating, the lightest, the one with the
    most to spare, and, while there is room, the one that carries most of each build that is left out.

    Parameters
    ----------
    screened : Screened
    count : int
    """
    front = screened.front
    if not len(front) or not count:
        return {}
    extra = {LEAST_MASS: _least(screened, screened.candidates.mass), MOST_TO_SPARE: _least(screened, -_spare(screened))}
    room = max(count - len(extra), min(count, _ENDS))
    chosen = {int(front[i]): BETWEEN for i in spaced(screened.rating[front], room)}
    ends = {}
    for index, why in ((front[0], LEAST_LOSS), (front[-1], GREATEST_RATING), *((i, w) for w, i in extra.items())):
        ends.setdefault(int(index), []).append(why)
    for index, words in ends.items():
        if index in chosen or len(chosen) < count:
            chosen[index] = ", ".join(words)
    for index in _other_builds(screened, chosen)[:count - len(chosen)]:
        chosen[index] = "carries most of its build"
    return chosen


def _least(screened, cost):
    """The candidate of least cost among those that meet every limit."""
    met = np.flatnonzero(screened.meets)
    return int(met[np.argmin(cost[met])])


def _spare(screened):
    """The less of what is to spare in sag and in swing [-]."""
    return np.minimum(screened.slack["sag"], screened.slack["swing"])


def _other_builds(screened, chosen):
    """The candidate that carries most of each build that none is chosen of, by falling rating."""
    build, met = screened.candidates.build, screened.meets
    left = np.setdiff1d(build[met], build[list(chosen)])
    best = [int(rows[np.argmax(screened.rating[rows])]) for rows in (np.flatnonzero(met & (build == b)) for b in left)]
    return sorted(best, key=lambda index: -screened.rating[index])
