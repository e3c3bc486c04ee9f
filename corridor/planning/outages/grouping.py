"""Which work goes into which outage: the fewest outages, or the fewest circuit-hours."""

from dataclasses import dataclass
from itertools import count

import numpy as np
from scipy.optimize import Bounds, LinearConstraint
from scipy.sparse import coo_array

from corridor.planning.programme import solve_programme

__all__ = ["Grouping", "group_items", "one_by_one"]

#: What grouping minimises; the other counts where that is equal.
AIMS = ("circuit-hours", "outages")


@dataclass(frozen=True)
class Grouping:
    """Outage and crew of every item, (item,), from 0; per outage its `hours` and the `circuits` that are out.

    `bound` is the least value of the aim that the solver proved possible with this many outages or fewer.
    """

    outage: np.ndarray
    crew: np.ndarray
    hours: np.ndarray
    circuits: tuple
    bound: float

    @property
    def circuit_hours(self):
        """Hours that circuits are out, summed over circuits [h]."""
        return float(sum(h * len(c) for h, c in zip(self.hours, self.circuits, strict=True)))

    @property
    def outages(self):
        """Number of outages."""
        return len(self.hours)


def one_by_one(hours, circuits):
    """Return the circuit-hours where every item has an outage of its own [h]."""
    return float(sum(h * len(c) for h, c in zip(hours, circuits, strict=True)))


def group_items(hours, circuits, *, aim="circuit-hours", never=(), crews=1, window=np.inf, slots=None, seconds=15.0):
    """Return which item goes into which outage, None where there is no way.

    With `x` item in outage by crew, `y` circuit out, `D` length of the outage and `z` circuit-hours, all of an outage:

        sum x = 1;  x <= y;  D >= sum h x of each crew;  D <= window;  z >= D - W (1 - y);  y_a + y_b <= 1

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
    aim : {"circuit-hours", "outages"}
    never : iterable of (str, str)
        Circuits of which one must stay in service.
    crews : int
    window : float
        Longest outage [h].
    slots : int, optional
        Most outages; default: as many as items, or where there are more than ten as many as filling needs.
    seconds : float
        After which the best grouping counts.
    """
    hours = np.asarray(hours, float)
    names = sorted(set().union(*circuits)) if len(circuits) else []
    never = [(a, b) for a, b in never if a in names and b in names]
    if not len(hours) or any({a, b} <= set(c) for c in circuits for a, b in never) or hours.max() > window:
        return None if len(hours) else Grouping(np.zeros(0, int), np.zeros(0, int), np.zeros(0), (), 0.0)
    fillings = [_fill(hours, circuits, never, crews, window, alike) for alike in (False, True)]
    most = slots or (len(hours) if len(hours) <= 10 else max(outage.max() for outage, _ in fillings) + 1)
    model = _Model(hours, [[names.index(c) for c in sorted(own)] for own in circuits], len(names), most, crews)
    pairs = [(names.index(a), names.index(b)) for a, b in never]
    result = model.solve(pairs, min(window, float(hours.sum())), aim, seconds)
    bound = float(result.mip_dual_bound or 0.0)
    found = [filling for filling in fillings if filling[0].max() < most]
    found += [] if result.x is None else [model.places(result)]
    groupings = [model.grouping(*each, names, bound) for each in found]
    first, then = ("circuit_hours", "outages") if aim == "circuit-hours" else ("outages", "circuit_hours")
    return min(groupings, key=lambda g: (round(getattr(g, first), 6), getattr(g, then)), default=None)


def _fill(hours, circuits, never, crews, window, alike):
    """Outage and crew of each item where each goes into the first that has room, (item,); `alike`: none but those with
    the same circuits share one."""
    loads, out, outage, crew = [], [], np.zeros(len(hours), int), np.zeros(len(hours), int)
    for i in np.argsort(-hours, kind="stable"):
        for g in count():
            if g == len(loads):
                loads.append(np.zeros(crews))
                out.append(set())
            both = out[g] | set(circuits[i])
            k = loads[g].argmin()
            if alike and out[g] and out[g] != set(circuits[i]):
                continue
            if loads[g][k] + hours[i] <= window and not any({a, b} <= both for a, b in never):
                loads[g][k] += hours[i]
                out[g], outage[i], crew[i] = both, g, k
                break
    return outage, crew


class _Model:
    """The programme: its unknowns lie in one vector, in the order x, y, D, z, used."""

    def __init__(self, hours, own, circuits, slots, crews):
        self.hours, self.own = hours, own
        n = len(hours)
        sizes = (n * slots * crews, circuits * slots, slots, circuits * slots, slots)
        edges = np.cumsum([0, *sizes])
        shapes = ((n, slots, crews), (circuits, slots), (slots,), (circuits, slots), (slots,))
        self.x, self.y, self.D, self.z, self.used = (np.arange(a, b).reshape(shape) for a, b, shape in
                                                     zip(edges[:-1], edges[1:], shapes, strict=True))
        self.size = int(edges[-1])
        self.entries, self.low, self.high = [], [], []

    def row(self, columns, coefficients, low, high):
        """Add the constraint `low <= sum(coefficient v) <= high`."""
        r = len(self.low)
        self.entries += [(r, int(c), float(v)) for c, v in zip(columns, coefficients, strict=True)]
        self.low.append(low)
        self.high.append(high)

    def solve(self, never, window, aim, seconds):
        """Return what the solver finds."""
        n, slots, crews = self.x.shape
        for i in range(n):
            self.row(self.x[i].ravel(), np.ones(slots * crews), 1, 1)
        for g in range(slots):
            self._outage(g, never, window)
        r, c, v = zip(*self.entries, strict=True)
        A = coo_array((v, (r, c)), (len(self.low), self.size)).tocsr()
        cost, high = np.zeros(self.size), np.ones(self.size)
        scale = 1e-4 / max(self.hours.sum() * len(self.y), 1)
        cost[self.z], cost[self.used] = (1, 1e-3) if aim == "circuit-hours" else (scale, 1)
        high[self.D], high[self.z] = window, window
        for i in range(min(n, slots)):  # outages are alike: item i goes into one of the first i + 1
            high[self.x[i, i + 1:]] = 0
        whole = np.zeros(self.size)
        whole[self.x], whole[self.used] = 1, 1
        whole[self.y] = 1
        return solve_programme(cost, constraints=LinearConstraint(A, self.low, self.high), bounds=Bounds(0, high),
                    integrality=whole, options={"time_limit": seconds, "mip_rel_gap": 1e-6})

    def _outage(self, g, never, window):
        crews = self.x.shape[2]
        for i, own in enumerate(self.own):
            for c in own:
                self.row([*self.x[i, g], self.y[c, g]], [*np.ones(crews), -1], -np.inf, 0)
            self.row([*self.x[i, g], self.used[g]], [*np.ones(crews), -1], -np.inf, 0)
        for k in range(crews):
            self.row([*self.x[:, g, k], self.D[g]], [*self.hours, -1], -np.inf, 0)
        for c in range(len(self.y)):
            self.row([self.z[c, g], self.D[g], self.y[c, g]], [1, -1, -window], -window, np.inf)
        for a, b in never:
            self.row([self.y[a, g], self.y[b, g]], [1, 1], -np.inf, 1)

    def places(self, result):
        """Return outage and crew of every item in a solution, its outages numbered without gaps."""
        n, _, crews = self.x.shape
        place = result.x[self.x].reshape(n, -1).argmax(axis=1)
        return np.unique(place // crews, return_inverse=True)[1], place % crews

    def grouping(self, outage, crew, names, bound):
        """Return the Grouping of items in outages."""
        crews = self.x.shape[2]
        load = np.zeros((outage.max() + 1, crews))
        np.add.at(load, (outage, crew), self.hours)
        out = tuple(tuple(sorted({names[c] for i in np.flatnonzero(outage == g) for c in self.own[i]}))
                    for g in range(len(load)))
        return Grouping(outage, crew, load.max(axis=1), out, bound)
