"""The work that a plan comes to: what is out for it, what is guarded, and in which outage it is done."""

from dataclasses import dataclass
from math import ceil

import numpy as np
import shapely

from corridor.clearance.findings import span_chords
from corridor.planning.outages import Grouping, group_items, one_by_one

__all__ = ["Work", "list_work", "schedule"]

#: Things below a span that are guarded while wires are drawn over them.
_GUARDED = ("road", "rail", "water")
#: Wires of another line nearer to each other than this are one circuit, where their layer and voltage agree [m].
_ONE_CIRCUIT = 15.0


@dataclass(frozen=True)
class Work:
    """Work items; columns of shape (item,).

    `own` circuits on the structures, `crossed` and `beside` circuits of other lines, `guards` things to guard, tuples
    of names; `out` what must be out of service; `hours`; `spans` indices of spans that the item touches.
    """

    name: tuple
    kind: tuple
    own: tuple
    crossed: tuple
    beside: tuple
    guards: tuple
    out: tuple
    hours: np.ndarray
    spans: tuple
    geometry: tuple


def list_work(planned):
    """Return the work of a plan: structures to raise, and sections to pull where the option does not hang there yet.

    For a raise the circuits on the structure are out; for a pull also those that are crossed, above or below. What
    runs beside is told, not taken out (common practice, no source).
    """
    site = planned.site
    spans, x, prices = site.plan.spans, site.facts.structures, site.prices
    items = []
    for s in np.flatnonzero(planned.after.height):
        touched = np.flatnonzero((spans.tail == s) | (spans.head == s))
        items.append((f"raise {x.structure[s]} by {planned.after.height[s]:g} m", "raise", touched,
                      prices.raise_duration / 3600, [s]))
    hangs = next(each.existing for each in site.facts.options if each.name == site.option)
    sections = site.plan.sections
    for name, first, last in () if hangs else zip(sections.name, sections.first, sections.last, strict=True):
        touched = np.arange(first, last + 1)
        parts = ceil(spans.length[touched].sum() / prices.reel_length)
        for part in range(parts):
            words = f"pull {name}" + (f", reel {part + 1} of {parts}" if parts > 1 else "")
            items.append((words, "pull", touched, prices.pull_duration / 3600, np.r_[spans.tail[touched],
                                                                                     spans.head[touched]]))
    return _work(site, items)


def _work(site, items):
    circuits = _other_circuits(site.facts.index.obstacles)
    chords = span_chords(site.facts.structures, site.plan.base_elevation, site.plan.spans)
    rows = []
    for name, kind, touched, hours, structures in items:
        line = shapely.multilinestrings(list(chords[touched]))
        own = _own(site, structures)
        crossed = tuple(c for c, shape in circuits.items() if shapely.intersects(shape, line))
        beside = tuple(c for c, shape in circuits.items() if c not in crossed
                       and shapely.distance(shape, line) <= site.prices.parallel_distance)
        out = tuple(sorted({*own, *(crossed if kind == "pull" else ())}))
        rows.append((name, kind, own, crossed, beside, _guards(site.facts.index.obstacles, line), out, hours,
                     tuple(touched), line))
    name, kind, own, crossed, beside, guards, out, hours, spans, shapes = zip(*rows, strict=True) if rows else [()] * 10
    return Work(name, kind, own, crossed, beside, guards, out, np.array(hours, float), spans, shapes)


def _own(site, structures):
    """Circuits whose phases hang on structures."""
    x, f = site.facts.structures, site.facts.framings
    names = {f"{x.line[s]}, circuit {c}" for s in structures
             for c in f.circuit[(f.framing == x.framing[s]) & (f.kind == "phase")]}
    return tuple(sorted(names))


def _other_circuits(obstacles):
    """Circuits of other lines, name to shape: wires near each other of one layer and voltage are one."""
    lines = [i for i in np.flatnonzero(obstacles.category == "line") if not obstacles.fault[i]]
    shapes = {}
    for i in lines:
        key = obstacles.layer[i], obstacles.voltage[i]
        near = next((name for name, (other, shape) in shapes.items()
                     if other == key and shapely.distance(shape, obstacles.geometry[i]) < _ONE_CIRCUIT), None)
        name = near or obstacles.obstacle[i]
        grown = shapely.union(shapes[name][1], obstacles.geometry[i]) if near else obstacles.geometry[i]
        shapes[name] = key, grown
    return {name: shape for name, (_, shape) in shapes.items()}


def _guards(obstacles, line):
    kinds = np.isin(obstacles.category.astype(str), _GUARDED) & (obstacles.fault == "")
    at = np.flatnonzero(kinds)
    return tuple(obstacles.obstacle[i] for i in at[shapely.intersects(obstacles.geometry[at], line)])


def schedule(work, prices, aim="outages"):
    """Return the Grouping of the work, None where none is allowed, and the circuit-hours one by one [h].

    Parameters
    ----------
    work : Work
    prices : corridor.study.plan.Plan
    aim : {"outages", "circuit-hours"}
    """
    never = [(pair.first, pair.second) for pair in prices.never_together]
    grouped = group_items(work.hours, [set(c) for c in work.out], aim=aim, never=never, crews=prices.crews,
                          window=prices.window / 3600, slots=prices.windows or None)
    return grouped, one_by_one(work.hours, work.out)


def calendar(work, grouped: Grouping):
    """Return start and end of every item within a row of outages, one after the other [h]."""
    opens = np.r_[0.0, np.cumsum(grouped.hours)[:-1]]
    start = np.zeros(len(work.hours))
    free = {}
    for i in np.argsort(grouped.outage, kind="stable"):
        key = int(grouped.outage[i]), int(grouped.crew[i])
        start[i] = free.get(key, opens[key[0]])
        free[key] = start[i] + work.hours[i]
    return start, start + work.hours
