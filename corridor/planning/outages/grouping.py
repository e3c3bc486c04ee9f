"""Which work goes into which outage: the fewest outages, or the fewest circuit-hours."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import Bounds, LinearConstraint
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from corridor.planning.programme import solve_programme

__all__ = ["AIMS", "Grouping", "group_items", "one_by_one", "units_of", "what_forbids"]

#: What grouping minimises, as a property of a Grouping; the other counts where that is equal.
AIMS = {"circuit-hours": "circuit_hours", "outages": "outages"}


@dataclass(frozen=True)
class Grouping:
    """Outage and crew of every item, (item,), from 0; per outage its `hours` and the `circuits` that are out."""

    outage: np.ndarray
    crew: np.ndarray
    hours: np.ndarray
    circuits: tuple[tuple[str, ...], ...]

    @property
    def circuit_hours(self) -> float:
        """Hours that circuits are out, summed over circuits [h]."""
        return one_by_one(self.hours, self.circuits)

    @property
    def outages(self) -> int:
        """Number of outages for which circuits are out."""
        return sum(bool(out) for out in self.circuits)

    @property
    def steps(self) -> int:
        """Number of outages, and of steps between them for which nothing is out."""
        return len(self.hours)


def one_by_one(hours: ArrayLike, circuits: Sequence[Sequence[str]]) -> float:
    """Return the circuit-hours where every item has an outage of its own [h]."""
    return float(sum(h * len(c) for h, c in zip(hours, circuits, strict=True)))


def group_items(hours: ArrayLike, circuits: Sequence[Iterable[str]], *, aim: str = "circuit-hours", never=(),
                before: Sequence[tuple[int, int]] = (), apart: Sequence[tuple[int, int]] = (), crews: int = 1,
                able: ArrayLike = True, window: ArrayLike = np.inf, slots: int | None = None, seconds: float = 15.0
                ) -> Grouping | None:
    """Return which item goes into which outage, None where there is no way. Outages are in the order of time.

    With `x` item in outage by crew, `y` circuit out, `D` length of the outage and `z` circuit-hours, all of an outage:

        sum x = 1;  x <= y;  D >= sum h x of each crew;  sum h x <= window;  z >= D - W (1 - y);  y_a + y_b <= 1

    Items of an outage that one crew has follow each other, and all circuits of the outage are out until it ends. So
    with one crew, grouping saves outages but never circuit-hours. Filling outages one by one, also of items with the
    same circuits alone, gives groupings too; where the solver has found none better in its time, the best of them is
    returned.

    Parameters
    ----------
    hours : array_like, shape (item,)
        Length of the work [h].
    circuits : sequence of set of str, length item
        That must be out for it.
    aim : str
        One of `AIMS`.
    never : iterable of (str, str)
        Circuits of which one must stay in service.
    before : sequence of (int, int)
        Items of which the second may not have an earlier outage than the first; both ways round they share one.
    apart : sequence of (int, int)
        Items that may not share an outage.
    crews : int
    able : array_like of bool, shape (item, crew)
        Which crew can do which item.
    window : array_like, shape (crew,)
        Longest outage, in the working hours that each crew has within it [h].
    slots : int, optional
        Most outages; default: as many as items, or where there are more than ten as many as filling needs.
    seconds : float
        After which the best grouping counts.
    """
    hours, out = np.asarray(hours, float), [frozenset(own) for own in circuits]
    never = [frozenset(pair) for pair in never]
    if not len(hours):
        return Grouping(np.zeros(0, int), np.zeros(0, int), np.zeros(0), ())
    gang = _Gang.of(hours, crews, able, window)
    if any(pair <= own for own in out for pair in never) or not gang.able.any(axis=1).all():
        return None
    found = [_fill(hours, out, never, gang, before, apart, alike) for alike in (False, True)]
    found = [each for each in found if each]
    most = slots or (len(hours) if len(hours) <= 10 or not found else max(outage.max() for outage, _ in found) + 1)
    found = [each for each in found if each[0].max() < most]
    solved = _Programme(hours, out, most, gang).solve(never, before, apart, aim, seconds)
    groupings = [_grouping(hours, out, crews, *each) for each in (*found, *solved)]
    first, then = AIMS[aim], *(set(AIMS.values()) - {AIMS[aim]})
    return min(groupings, key=lambda g: (round(getattr(g, first), 6), getattr(g, then)), default=None)


def what_forbids(names: Sequence[str], hours: ArrayLike, circuits: Sequence[Iterable[str]], *, never=(),
                 before: Sequence[tuple[int, int]] = (), apart: Sequence[tuple[int, int]] = (), crews: int = 1,
                 able: ArrayLike = True, window: ArrayLike = np.inf, slots: int | None = None) -> tuple[str, ...]:
    """Return words for what keeps `group_items` from a grouping: each item by its name with the limit that it breaks,
    or how many outages there must be."""
    hours, out = np.asarray(hours, float), [frozenset(own) for own in circuits]
    gang, can = _Gang.of(hours, crews, able, window), np.broadcast_to(np.asarray(able, bool), (len(hours), crews))
    longest = f"{max(gang.window):g}"
    words = [f"{name}: no crew of plan.crews does this kind of work" for name, own in zip(names, can, strict=True)
             if not own.any()]
    words += [f"{name} takes {h:.3g} h: longer than plan.window, {max(gang.window[own]):g} h"
              for name, h, own, fits in zip(names, hours, can, gang.able, strict=True) if own.any() and not fits.any()]
    words += [f"{name} takes {a} and {b} out, which plan.never_together forbids"
              for name, own in zip(names, out, strict=True) for a, b in never if {a, b} <= own]
    if words:
        return tuple(words)
    filled = [_fill(hours, out, [frozenset(pair) for pair in never], gang, before, apart, alike)
              for alike in (False, True)]
    if None in filled:
        return tuple(f"{', '.join(names[i] for i in unit)} belong in one outage, and "
                     + ("take out circuits of which one must stay, as plan.never_together says"
                        if any(frozenset(pair) <= frozenset().union(*(out[i] for i in unit)) for pair in never) else
                        "share no day on which they may be reached, as plan.access says"
                        if any(a in unit and b in unit for a, b in apart) else
                        f"take longer than plan.window, {longest} h") for unit in units_of(len(names), before)
                     if len(unit) > 1)
    if slots is None or not names:
        return ()
    needed = min(int(outage.max()) + 1 for outage, _ in filled)
    return (f"no grouping was found in {slots} outages, as plan.windows says, of {longest} h each, as plan.window "
            f"says: {len(names)} items fit into {needed}",)


def units_of(count: int, before: Sequence[tuple[int, int]]) -> list[list[int]]:
    """Return the items that share an outage, unit by unit, each after those that come before it; of those that may
    come next, the one with the first item.

    >>> units_of(4, [(3, 0), (1, 2), (2, 1)])
    [[1, 2], [3], [0]]
    """
    link = coo_array((np.ones(len(before)), np.array(before, int).reshape(-1, 2).T), (count, count))
    unit = connected_components(link, connection="strong")[1]
    waits = {u: {unit[a] for a, b in before if unit[b] == u} - {u} for u in dict.fromkeys(unit.tolist())}
    order = []
    while waits:
        ready = next(u for u, others in waits.items() if not others & waits.keys())
        del waits[ready]
        order.append(np.flatnonzero(unit == ready).tolist())
    return order


@dataclass(frozen=True)
class _Gang:
    """Crews: which is `able` to do which item within an outage, (item, crew), and the hours that each has within one,
    `window` (crew,) [h]."""

    able: np.ndarray
    window: np.ndarray

    @classmethod
    def of(cls, hours, crews, able, window):
        window = np.broadcast_to(np.asarray(window, float), crews)
        return cls(np.broadcast_to(np.asarray(able, bool), (len(hours), crews)) & (hours[:, None] <= window), window)

    @property
    def crews(self):
        return len(self.window)

    def next(self, load, item):
        """The crew to do an item next, after a `load` of each [h]: of those that can the one with the least."""
        return int(np.where(self.able[item], load, np.inf).argmin())


def _fill(hours, circuits, never, gang, before, apart, alike):
    """Outage and crew of each item where each goes into the first that has room and is not before what comes first,
    (item,), the longest ones first; `alike`: none but those with the same circuits share one. None where what belongs
    together has no room in any."""
    loads, out, outage, crew = [], [], np.zeros(len(hours), int), np.zeros(len(hours), int)
    placed = np.zeros(len(hours), bool)
    rank = np.argsort(np.argsort(-hours, kind="stable"))
    number = np.argsort(rank)
    for unit in units_of(len(hours), [(int(rank[a]), int(rank[b])) for a, b in before]):
        own = number[unit]
        first = max((outage[a] for a, b in before if b in own and a not in own), default=0)
        wanted = frozenset().union(*(circuits[i] for i in own))
        for g in count(first):
            if g > len(loads):
                return None
            both = wanted if g == len(loads) else out[g] | wanted
            if alike and g < len(loads) and both != out[g] & wanted:
                continue
            load, chosen = (np.zeros(gang.crews) if g == len(loads) else loads[g].copy()), []
            for i in own:
                chosen.append(gang.next(load, i))
                load[chosen[-1]] += hours[i]
            together = {*own.tolist(), *np.flatnonzero(placed & (outage == g)).tolist()}
            if (load <= gang.window).all() and not any(pair <= both for pair in never) and not any(
                    a in together and b in together for a, b in apart):
                loads[g:g + 1], out[g:g + 1] = [load], [both]
                outage[own], crew[own], placed[own] = g, chosen, True
                break
    return outage, crew


def _grouping(hours, circuits, crews, outage, crew):
    """The Grouping of items in outages without gaps."""
    load = np.zeros((outage.max() + 1, crews))
    np.add.at(load, (outage, crew), hours)
    out = tuple(tuple(sorted(frozenset().union(*(circuits[i] for i in np.flatnonzero(outage == g)))))
                for g in range(len(load)))
    return Grouping(outage, crew, load.max(axis=1), out)


class _Programme:
    """The programme of `group_items`: its unknowns x, y, D, z, and whether an outage is used, lie in one vector."""

    def __init__(self, hours, out, slots, gang):
        self.hours, self.out, self.names, self.gang = hours, out, sorted(frozenset().union(*out)), gang
        shapes = (len(hours), slots, gang.crews), (len(self.names), slots), (slots,), (len(self.names), slots), (slots,)
        edges = np.cumsum([0, *map(np.prod, shapes)])
        self.x, self.y, self.D, self.z, self.used = (np.arange(a, b).reshape(shape) for a, b, shape in
                                                     zip(edges[:-1], edges[1:], shapes, strict=True))
        self.size, self.entries, self.low, self.high = int(edges[-1]), [], [], []

    def row(self, columns, coefficients, low, high):
        """Add the constraint `low <= sum(coefficient v) <= high`."""
        self.entries += [(len(self.low), int(c), float(v)) for c, v in zip(columns, coefficients, strict=True)]
        self.low.append(low)
        self.high.append(high)

    def solve(self, never, before, apart, aim, seconds):
        """Return outage and crew of every item in the solution, in a list, empty where there is none."""
        n, slots, crews = self.x.shape
        window = np.minimum(self.gang.window, float(self.hours.sum()))
        for own in self.x:
            self.row(own.ravel(), np.ones(own.size), 1, 1)
        for a, b in before:
            when = np.broadcast_to(np.arange(slots)[:, None], (slots, crews)).ravel()
            self.row([*self.x[a].ravel(), *self.x[b].ravel()], [*when, *-when], -np.inf, 0)
        for a, b in apart:
            for g in range(slots):
                self.row([*self.x[a, g], *self.x[b, g]], np.ones(2 * crews), -np.inf, 1)
        for g in range(slots):
            self._outage(g, [[self.names.index(name) for name in pair] for pair in never if pair <= set(self.names)],
                         window)
        r, c, v = zip(*self.entries, strict=True)
        A = coo_array((v, (r, c)), (len(self.low), self.size)).tocsr()
        cost, high, whole = np.zeros(self.size), np.ones(self.size), np.zeros(self.size)
        scale = 1e-4 / max(self.hours.sum() * len(self.names), 1)
        cost[self.z], cost[self.used] = (1, 1e-3) if aim == "circuit-hours" else (scale, 1)
        high[self.D], high[self.z] = window.max(), window.max()
        high[self.x[np.broadcast_to(~self.gang.able[:, None], self.x.shape)]] = 0
        for i in range(0 if before else min(n, slots)):  # outages are alike: item i goes into one of the first i + 1
            high[self.x[i, i + 1:]] = 0
        whole[self.x], whole[self.used], whole[self.y] = 1, 1, 1
        found = solve_programme(cost, constraints=LinearConstraint(A, self.low, self.high), bounds=Bounds(0, high),
                                integrality=whole, options={"time_limit": seconds, "mip_rel_gap": 1e-6}).x
        if found is None:
            return []
        place = found[self.x].reshape(n, -1).argmax(axis=1)
        return [(np.unique(place // crews, return_inverse=True)[1], place % crews)]

    def _outage(self, g, never, window):
        crews = self.x.shape[2]
        for i, own in enumerate(self.out):
            for needed in (*(self.y[self.names.index(c), g] for c in sorted(own)), self.used[g]):
                self.row([*self.x[i, g], needed], [*np.ones(crews), -1], -np.inf, 0)
        for k in range(crews):
            self.row([*self.x[:, g, k], self.D[g]], [*self.hours, -1], -np.inf, 0)
            self.row(self.x[:, g, k], self.hours, -np.inf, window[k])
        for y, z in zip(self.y[:, g], self.z[:, g], strict=True):
            self.row([z, self.D[g], y], [1, -1, -window.max()], -window.max(), np.inf)
        for pair in never:
            self.row(self.y[pair, g], [1, 1], -np.inf, 1)
