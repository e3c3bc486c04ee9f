"""The work that a plan comes to: what is out for it, what is guarded, and in which outage it is done."""

from dataclasses import dataclass

import numpy as np
import shapely

from corridor.clearance.findings import span_chords
from corridor.planning.outages.grouping import Grouping, group_items, one_by_one
from corridor.planning.remedies.changes import NONE

__all__ = ["Work", "calendar", "list_work", "reels", "schedule", "table_of_circuits"]

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
    """Return the work of a plan: what its remedies are, and wires to pull where the option does not hang there yet.

    For work at structures, on the ground or at objects the circuits on the structures are out; for a pull also those
    that are crossed, above or below. What runs beside is told, not taken out (common practice, no source).
    """
    items = [*_at_structures(planned), *_in_spans(planned)]
    hangs = next(each.existing for each in planned.site.facts.options if each.name == planned.site.option)
    return _work(planned.site, items + (_retensioned(planned) if hangs else _pulls(planned.site)))


def _touching(spans, structure):
    return np.flatnonzero((spans.tail == structure) | (spans.head == structure))


def _at_structures(planned):
    """Items (name, kind, spans, hours, structures) of structures that are changed."""
    site, x, p = planned.site, planned.site.facts.structures, planned.site.prices
    items = []
    for s, change in enumerate(planned.after.edits.changes):
        if change == NONE:
            continue
        words = [f"raise by {change.rise:g} m"] * bool(change.rise)
        words += [f"strings {change.shorter:g} m shorter"] * bool(change.shorter)
        words += [{"post": "posts for strings", "strain": "strain strings"}.get(change.string)] * bool(change.string)
        hours = p.raise_duration * bool(change.rise) + p.string_duration * bool(change.shorter or change.string)
        kind = "raise" if change.rise else "strings"
        items.append((f"{x.structure[s]}: {', '.join(words)}", kind, _touching(site.plan.spans, s), hours / 3600, [s]))
    return items


def _in_spans(planned):
    """Items of structures that are added, ground that is cut and objects that go."""
    site, p, edits = planned.site, planned.site.prices, planned.after.edits
    spans = site.plan.spans
    near = {name: span for name, span in zip(planned.before.layers["violations"]["obstacle"],
                                             planned.before.layers["violations"]["span"], strict=True)}
    rows = [(f"add a structure in {spans.name[s]}", "add", s, p.add_duration) for s in edits.added]
    rows += [(f"cut the ground in {spans.name[s]}", "grade", s, p.grade_duration) for s in np.flatnonzero(edits.cut)]
    for name in site.facts.index.obstacles.obstacle[edits.removed]:
        rows.append((f"take away {name}", "remove", int(np.flatnonzero(spans.name == near[name])[0]),
                     p.remove_duration))
    return [(name, kind, np.array([s]), seconds / 3600, [spans.tail[s], spans.head[s]])
            for name, kind, s, seconds in rows]


def _retensioned(planned):
    """Items of sections of a wire that hangs and is strung tauter."""
    site, sections = planned.site, planned.site.plan.sections
    words = np.where(planned.after.edits.tightened > 0, "tighten", "slacken")
    return [(f"{words[i]} {sections.name[i]}", "re-tension", touched, site.prices.tighten_duration / 3600,
             np.r_[site.plan.spans.tail[touched], site.plan.spans.head[touched]])
            for i in np.flatnonzero(planned.after.edits.tightened)
            for touched in [np.arange(sections.first[i], sections.last[i] + 1)]]


def _pulls(site):
    """Items of wire to pull: sections between strain structures, in parts that a reel is long enough for."""
    spans, sections, items = site.plan.spans, site.plan.sections, []
    for name, first, last in zip(sections.name, sections.first, sections.last, strict=True):
        parts = reels(spans.length[first: last + 1], site.prices.reel_length)
        for number, own in enumerate(parts, 1):
            touched = first + own
            words = f"pull {name}" + (f", reel {number} of {len(parts)}" if len(parts) > 1 else "")
            items.append((words, "pull", touched, site.prices.pull_duration / 3600,
                          np.r_[spans.tail[touched], spans.head[touched]]))
    return items


def reels(lengths, reel):
    """Return the spans of a section by reel of wire: in order, each reel as many spans as it is long enough for.

    Parameters
    ----------
    lengths : ndarray, shape (span,)
        [m]
    reel : float
        Length of wire on a reel [m]. A longer span has one to itself.

    Returns
    -------
    list of ndarray of int

    Examples
    --------
    >>> [part.tolist() for part in reels(np.array([400.0, 500, 300, 900]), 1000)]
    [[0, 1], [2], [3]]
    """
    parts, left = [], -1.0
    for i, length in enumerate(lengths):
        if length > left:
            parts.append([])
            left = reel
        parts[-1].append(i)
        left -= length
    return [np.array(part) for part in parts]


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
        out = tuple(sorted({*own, *(crossed if kind in ("pull", "re-tension") else ())}))
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


def schedule(work, prices, aim="circuit-hours", seconds=15.0):
    """Return the Grouping of the work, None where none is allowed, and the circuit-hours one by one [h].

    Parameters
    ----------
    work : Work
    prices : corridor.study.plan.Plan
    aim : {"circuit-hours", "outages"}
    seconds : float
        After which the best grouping counts.
    """
    never = [(pair.first, pair.second) for pair in prices.never_together]
    grouped = group_items(work.hours, [set(c) for c in work.out], aim=aim, never=never, crews=prices.crews,
                          window=prices.window / 3600, slots=prices.windows or None, seconds=seconds)
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


def table_of_circuits(work):
    """Return items against circuits: names of the circuits, and rows of words, (item, circuit).

    "own" is on the structures, "crossed" above or below, "beside" near; "out" in front of it where it must be out of
    service for the item; "" where the item has nothing to do with it.
    """
    names = sorted({c for each in (*work.own, *work.crossed, *work.beside) for c in each})
    rows = []
    for own, crossed, beside, out in zip(work.own, work.crossed, work.beside, work.out, strict=True):
        word = {c: w for w, some in (("beside", beside), ("crossed", crossed), ("own", own)) for c in some}
        rows.append([("out, " if c in out else "") + word[c] if c in word else "" for c in names])
    return names, rows
