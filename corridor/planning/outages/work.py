"""The work that a plan comes to: what is out for it, what is guarded, and when it is done."""

from dataclasses import dataclass

import numpy as np
import shapely

from corridor.clearance.findings import span_chords
from corridor.installation.pull_rows import pull_hours
from corridor.installation.pulls import pulls_of
from corridor.planning.circuits import GUARDED, other_circuits, own_circuits
from corridor.planning.outages.grouping import Grouping, group_items, one_by_one, what_forbids
from corridor.planning.outages.working_time import WorkingTime
from corridor.planning.remedies.alterations import NONE, Site
from corridor.planning.remedies.plan import Planned
from corridor.study.plan import Plan as PlanTable

__all__ = ["AT_STRUCTURES", "STRINGING", "WorkItem", "calendar", "list_work", "order_of", "pulls_too_long", "reels",
           "schedule", "table_of_circuits", "unschedulable"]

#: Kinds of work on the wires of a section: what they cross is out, too.
STRINGING = ("pull", "re-tension")
#: Kinds of work at a structure.
AT_STRUCTURES = ("raise", "replace", "strings")


@dataclass(frozen=True)
class WorkItem:
    """Work in one outage: its `hours`, indices of the `spans` that it touches, and their chords.

    `own` circuits on the structures, `crossed` and `beside` circuits of other lines, `guards` things to guard, by name,
    `guarded` circuits that are crossed and stay in service behind guards. `place` is the structure, the span or the
    obstacle that is changed, None for work on wires, which `sections` have.
    """

    name: str
    kind: str
    hours: float
    spans: np.ndarray
    place: int | None
    sections: tuple[int, ...]
    geometry: shapely.MultiLineString
    own: tuple[str, ...]
    crossed: tuple[str, ...]
    beside: tuple[str, ...]
    guards: tuple[str, ...]
    guarded: tuple[str, ...] = ()

    @property
    def out(self) -> tuple[str, ...]:
        """What must be out of service: its own circuits, and for work on wires those that are crossed, above or below.

        What runs beside is told, not taken out (common practice, no source); for work that needs no outage nothing is
        out.
        """
        if not self.hours:
            return ()
        crossed = {*self.crossed} - {*self.guarded} if self.kind in STRINGING else set()
        return tuple(sorted({*self.own, *crossed}))


def list_work(planned: Planned) -> list[WorkItem]:
    """Return the work of a plan: what its remedies are, and wires to pull where the option does not hang there yet."""
    site, spans = planned.site, planned.site.plan.spans
    circuits = other_circuits(site.facts.index.obstacles)
    chords = span_chords(site.facts.structures, site.plan.base_elevation, spans)
    items = []
    for name, kind, seconds, touched, place in (*_at_structures(planned), *_in_spans(planned),
                                                *(_retensioned(planned) if site.old == site.option else
                                                  _pulls(site))):
        at = [place] if kind in AT_STRUCTURES else np.r_[spans.tail[touched], spans.head[touched]]
        line = shapely.multilinestrings(list(chords[touched]))
        crossed = tuple(c for c, shape in circuits.items() if shapely.intersects(shape, line))
        beside = tuple(c for c, shape in circuits.items() if c not in crossed
                       and shapely.distance(shape, line) <= site.prices.parallel_distance)
        guarded = tuple(c for c in crossed if c in site.prices.guarded_circuits) if kind in STRINGING else ()
        sections = tuple(np.unique(spans.section[touched]).tolist()) if kind in STRINGING else ()
        items.append(WorkItem(name=name, kind=kind, hours=seconds / 3600, spans=touched, place=place,
                              sections=sections, geometry=line,
                              own=own_circuits(site.facts.structures, site.facts.framings, at), crossed=crossed,
                              beside=beside, guards=_guards(site.facts.index.obstacles, line) + guarded,
                              guarded=guarded))
    return items


def _guards(obstacles, line):
    at = np.flatnonzero(np.isin(obstacles.category.astype(str), GUARDED) & (obstacles.fault == ""))
    return tuple(obstacles.obstacle[i] for i in at[shapely.intersects(obstacles.geometry[at], line)])


def _at_structures(planned):
    """Name, kind, seconds, spans and structure of the work at structures that are changed."""
    site, x, p = planned.site, planned.site.facts.structures, planned.site.prices
    spans = site.plan.spans
    for s, change in enumerate(planned.after.alterations.changes):
        if change != NONE:
            kind = "replace" if change.replaced else "raise" if change.rise else "strings"
            seconds = p.replace_duration if change.replaced else p.raise_duration * bool(change.rise)
            seconds += p.string_duration * bool(change.shorter or change.string)
            yield (f"{x.structure[s]}: {change.words}", kind, seconds,
                   np.flatnonzero((spans.tail == s) | (spans.head == s)), s)


def _in_spans(planned):
    """The same of structures that are added, ground that is cut and objects that go."""
    site, p, done, before = planned.site, planned.site.prices, planned.after.alterations, planned.before
    v, names = before.layers["violations"], site.plan.spans.name
    near = dict(zip(v["obstacle"], before.line.spans_at(v), strict=True))
    rows = [(f"add a structure in {names[s]}", "add", p.add_duration, s, int(s)) for s in done.added]
    rows += [(f"cut the ground in {names[s]}", "grade", p.grade_duration, s, int(s)) for s in np.flatnonzero(done.cut)]
    obstacles = site.facts.index.obstacles.obstacle
    rows += [(f"take away {obstacles[i]}", "remove", p.remove_duration, near[obstacles[i]], int(i))
             for i in np.flatnonzero(done.removed)]
    return [(*row, np.array([span]), place) for *row, span, place in rows]


def _retensioned(planned):
    """The same of sections of a wire that hangs and is strung tauter, or slacker."""
    sections, tightened = planned.site.plan.sections, planned.after.alterations.tightened
    return [(f"{'tighten' if tightened[i] > 0 else 'slacken'} {sections.name[i]}", "re-tension",
             planned.site.prices.tighten_duration, np.arange(sections.first[i], sections.last[i] + 1), None)
            for i in np.flatnonzero(tightened)]


def _pulls(site):
    """The same of wire to pull: by the crew of the study what it pulls at a time; without one sections between strain
    structures, in parts that a reel is long enough for."""
    sections, stringing = site.plan.sections, site.study.stringing
    if stringing is not None and stringing.crew is not None:
        x, framings = site.facts.structures, site.facts.framings
        for pull in pulls_of(x, site.plan, stringing):
            own = np.arange(pull.first, pull.last + 1)
            frames = x.framing[np.r_[site.plan.spans.tail[own], site.plan.spans.head[own[-1]]]]
            phases = len(set(framings.wire[(framings.kind == "phase") & np.isin(framings.framing, frames)]))
            hours = pull_hours(stringing.crew, site.plan.spans.length[own].sum(), phases, len(own) + 1)
            yield f"pull {pull.name}", "pull", 3600 * hours, own, None
        return
    for name, first, last in zip(sections.name, sections.first, sections.last, strict=True):
        parts = reels(site.plan.spans.length[first: last + 1], site.prices.reel_length)
        for number, own in enumerate(parts, 1):
            words = f"pull {name}" + (f", reel {number} of {len(parts)}" if len(parts) > 1 else "")
            yield words, "pull", site.prices.pull_duration, first + own, None


def reels(lengths: np.ndarray, reel: float) -> list[np.ndarray]:
    """Return the spans of a section by reel of wire: in order, each reel as many spans as it is long enough for.

    Lengths are in m. A span longer than a reel has one to itself.

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


def order_of(work: list[WorkItem]) -> tuple[tuple[int, int], ...]:
    """Return which item may not be put back in service before which: what is done in the spans of a section, or at
    structures of it, before its wires are pulled; and parts of a section are pulled in one outage."""
    pairs = set()
    for b, pull in enumerate(work):
        if pull.kind in STRINGING:
            pairs |= {(a, b) for a, item in enumerate(work) if a != b and np.isin(item.spans, pull.spans).any()
                      and item.kind not in STRINGING}
            pairs |= {(a, b) for a, item in enumerate(work) if a != b and {*item.sections} & {*pull.sections}}
    return tuple(sorted(pairs))


def schedule(work: list[WorkItem], prices: PlanTable, aim: str, seconds: float = 15.0,
             together: tuple[tuple[int, int], ...] = ()) -> tuple[Grouping | None, float]:
    """Return the Grouping of the work, None where none is allowed, and the circuit-hours one by one [h].

    `aim` and `seconds` are as `group_items` takes them; `together` pairs of items that are done in one outage.
    """
    hours, out = [item.hours for item in work], [item.out for item in work]
    return (group_items(hours, out, aim=aim, seconds=seconds, before=_before(work, together), **_limits(prices)),
            one_by_one(hours, out))


def pulls_too_long(site: Site) -> tuple[str, ...]:
    """Return words for pulls of the wires of an option that no outage is long enough for, whatever else is done."""
    pulls = [] if site.old == site.option else list(_pulls(site))
    names, hours = [name for name, *_ in pulls], [seconds / 3600 for _, _, seconds, *_ in pulls]
    return what_forbids(names, hours, [()] * len(pulls), window=_limits(site.prices)["window"])


def _before(work, together):
    return tuple(sorted({*order_of(work), *together, *((b, a) for a, b in together)}))


def unschedulable(work: list[WorkItem], prices: PlanTable, together: tuple[tuple[int, int], ...] = ()
                  ) -> tuple[str, ...]:
    """Return words for what keeps work from every schedule: items and limits."""
    return what_forbids([item.name for item in work], [item.hours for item in work], [item.out for item in work],
                        before=_before(work, together), **_limits(prices))


def _limits(prices):
    # Within the longest outage crews sleep, too.
    window = prices.window / 3600
    if prices.calendar is not None:
        window = WorkingTime(prices.calendar).most_hours(window)
    return {"never": [(pair.first, pair.second) for pair in prices.never_together], "crews": prices.crews,
            "window": window, "slots": prices.windows or None}


def calendar(work: list[WorkItem], grouped: Grouping) -> tuple[np.ndarray, np.ndarray]:
    """Return start and end of every item within a row of outages, one after the other [h]."""
    opens = np.r_[0.0, np.cumsum(grouped.hours)[:-1]]
    start, hours, free = np.zeros(len(work)), np.array([item.hours for item in work]), {}
    for i in np.argsort(grouped.outage, kind="stable"):
        key = int(grouped.outage[i]), int(grouped.crew[i])
        start[i] = free.get(key, opens[key[0]])
        free[key] = start[i] + hours[i]
    return start, start + hours


def table_of_circuits(work: list[WorkItem]) -> dict[str, list[str]]:
    """Return items against circuits, as columns.

    "own" is on the structures, "crossed" above or below, "beside" near; "out" in front of it where it must be out of
    service for the item; "" where the item has nothing to do with it.
    """
    words = [{c: w for w in ("beside", "crossed", "own") for c in getattr(item, w)} for item in work]
    return {"item": [item.name for item in work]} | {
        c: [("out, " if c in item.out else "") + word[c] if c in word else "" for item, word in zip(
            work, words, strict=True)] for c in sorted({c for word in words for c in word})}
