"""Which of the conductors that meet every limit are looked at span by span, and what each is the best in.

Loss and rating make the non-dominated set. Two more things are wanted of a wire: little mass, and few violations. The
second is known only once a wire is checked span by span; until then the one with the most to spare where violations
come from, sag and swing, stands for it. Both are offered beside the set, and places are told in all four.
"""

import numpy as np

from corridor.planning.conductor_search.screening import Screened

__all__ = ["finalists_of", "spaced"]

#: Places that are always left to loss and rating.
_ENDS = 2


def finalists_of(screened: Screened, count: int) -> dict[int, str]:
    """Return the finalists: index of each candidate, and what it is chosen for.

    Up to so many, in this order: evenly by rating from minimum loss to maximum rating, the lightest, the one with the
    most to spare, the cheapest where prices are known, and, while there is room, the one that carries most of each
    build that is left out.
    """
    front, slack = screened.front, screened.slack
    if not len(front) or not count:
        return {}
    met = np.flatnonzero(screened.meets)
    # What is to spare is the less of that in sag and that in swing.
    extra = [(int(met[np.argmin(cost[met])]), words) for cost, words in (
        (screened.candidates.mass, "minimum mass"), (-np.minimum(slack["sag"], slack["swing"]), "most to spare"),
        *([] if screened.cost is None else [(screened.cost, "minimum cost")]))]
    room = max(count - len(extra), min(count, _ENDS))
    chosen = {int(front[i]): "between both" for i in spaced(screened.rating[front], room)}
    ends = {}
    for index, words in ((front[0], "minimum loss"), (front[-1], "maximum rating"), *extra):
        ends.setdefault(int(index), []).append(words)
    for index, words in ends.items():
        if index in chosen or len(chosen) < count:
            chosen[index] = ", ".join(words)
    for index in _other_builds(screened, met, chosen)[:count - len(chosen)]:
        chosen[index] = "carries most of its build"
    return chosen


def _other_builds(screened, met, chosen):
    """The candidate that carries most of each build that none is chosen of, by falling rating."""
    build, rating = screened.candidates.build, screened.rating
    best = [int(own[np.argmax(rating[own])]) for b in np.setdiff1d(build[met], build[list(chosen)])
            for own in [met[build[met] == b]]]
    return sorted(best, key=lambda index: -rating[index])


def spaced(values, count: int) -> list[int]:
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
