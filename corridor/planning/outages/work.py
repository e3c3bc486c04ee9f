"""The work that a plan comes to: what is out for it, what is guarded, and how long it takes."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from corridor.clearance.findings import span_chords
from corridor.installation.pull_rows import pull_hours
from corridor.installation.pulls import pulls_of
from corridor.planning.circuits import GUARDED, other_circuits, own_circuits, phases_at, wires_of_others
from corridor.planning.remedies.alterations import NONE, Site
from corridor.planning.remedies.plan import Planned
from corridor.study.plan import Plan as PlanTable

__all__ = ["AT_STRUCTURES", "CLEARING", "STRINGING", "WorkItem", "list_work", "pull_times", "reels",
           "table_of_circuits"]

#: Kinds of work on the wires of a section: what they cross is out, too.
STRINGING = ("pull", "re-tension")
#: Kinds of work at a structure.
AT_STRUCTURES = ("raise", "replace", "strings")
#: Kinds that take away what wires come too near: with more of it done no margin is less.
CLEARING = ("grade", "trim", "remove")
#: What the owner of wires that are hung higher or lower must show: nothing here looks at it.
_TO_SHOW = {"raise_other": "its owner must show what its structures bear, and what its wires clear above them",
            "lower_other": "its owner must show what its wires clear over ground and all that they cross, and what its "
            "structures bear"}
#: Phases for which a study tells how long work on wires or strings takes.
_PHASES = 3


@dataclass(frozen=True)
class WorkItem:
    """Work in one outage: its `hours`, indices of the `spans` that it touches, and their chords.

    `own` circuits on the structures, of which `circuits` are worked on and `live` stay in service; `crossed` and
    `beside` circuits of other lines, `guards` things to guard, by name,
    `guarded` circuits that are crossed and stay in service behind guards, `down` those of others whose wires are taken
    down, or hung higher or lower, and what their owner must show then, `shown`. `place` is the structure, the span or
    the obstacle that is changed, None for work on wires, which `sections` have. `structures` and `span_names` are the
    places that must be reached for it.
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
    down: tuple[str, ...] = ()
    shown: str = ""
    circuits: tuple[str, ...] = ()
    live: tuple[str, ...] = ()
    structures: tuple[str, ...] = ()
    span_names: tuple[str, ...] = ()

    @property
    def out(self) -> tuple[str, ...]:
        """What must be out of service: its own circuits but those that stay live, those of others whose wires are taken
        down, and for work on wires those that are crossed, above or below.

        What runs beside is told, not taken out (common practice, no source); for work that needs no outage nothing is
        out.
        """
        if not self.hours:
            return ()
        crossed = {*self.crossed} - {*self.guarded} if self.kind in STRINGING else set()
        return tuple(sorted({*self.own} - {*self.live} | {*self.down} | crossed))

    @property
    def alone(self) -> bool:
        """Whether what is worked on stays in service: it shares no time with other work, so that every state of the
        line that is live is looked at."""
        return bool(self.hours and {*self.circuits} & {*self.live})

    def leaves(self, circuit: str) -> bool:
        """Return whether a circuit on its structures is left as it is."""
        return circuit in self.own and circuit not in self.circuits


@dataclass(frozen=True)
class _Task:
    """What is done: `seconds` for so many phases; `place`, `down` and `shown` as of a WorkItem; whether it may be done
    circuit by circuit."""

    name: str
    kind: str
    seconds: Callable[[int], float]
    spans: np.ndarray
    place: int | None
    by_circuit: bool = False
    down: tuple[str, ...] = ()
    shown: str = ""


def list_work(planned: Planned) -> list[WorkItem]:
    """Return the work of a plan: what its remedies are, and wires to pull where the option does not hang there yet."""
    site, spans = planned.site, planned.site.plan.spans
    x, prices, circuits = site.facts.structures, site.prices, other_circuits(site.facts.index.obstacles)
    chords = span_chords(x, site.plan.base_elevation, spans)
    items = []
    for task in (*_at_structures(planned), *_in_spans(planned), *_of_others(planned, chords),
                 *(_retensioned(planned) if site.old == site.option else _pulls(site))):
        touched, stringing = task.spans, task.kind in STRINGING
        at = [task.place] if task.kind in AT_STRUCTURES else np.unique(np.r_[spans.tail[touched], spans.head[touched]])
        line = shapely.multilinestrings(list(chords[touched]))
        crossed = tuple(c for c, shape in circuits.items() if shapely.intersects(shape, line))
        beside = tuple(c for c, shape in circuits.items() if c not in crossed
                       and shapely.distance(shape, line) <= prices.parallel_distance)
        guarded = tuple(c for c in crossed if c in prices.guarded_circuits) if stringing else ()
        sections = tuple(np.unique(spans.section[touched]).tolist()) if stringing else ()
        own = own_circuits(x, site.facts.framings, at)
        parts = list(_by_circuit(prices, task, own))
        for worked, live in parts:
            phases = phases_at(x, site.facts.framings, at, worked)
            items.append(WorkItem(
                name=task.name + (f" ({'; '.join(worked)})" if len(parts) > 1 else ""), kind=task.kind,
                hours=task.seconds(phases) / 3600, spans=touched, place=task.place, sections=sections, geometry=line,
                own=own, crossed=crossed, beside=beside, guards=_guards(site.facts.index.obstacles, line) + guarded,
                guarded=guarded, down=task.down, shown=task.shown, circuits=worked, live=live,
                structures=tuple(x.structure[at].tolist()) if stringing or task.kind in AT_STRUCTURES else (),
                span_names=() if task.kind in AT_STRUCTURES else tuple(spans.name[touched].tolist())))
    return items


def _by_circuit(prices: PlanTable, task: _Task, own: tuple[str, ...]
                ) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
    """Circuits that a task is done on at a time, and those on the structures that stay in service meanwhile: all
    circuits at once, and none in service, unless the study says otherwise."""
    needs = {c: _need(prices, task.kind, c) for c in own}
    live = tuple(c for c in own if needs[c] == "none")
    if not task.by_circuit:
        yield own, live
        return
    for c in own:
        if needs[c] == "own":
            yield (c,), tuple(other for other in own if other != c)
    if live:
        yield live, own
    rest = tuple(c for c in own if needs[c] == "all")
    if rest:
        yield rest, ()


def _need(prices, kind, circuit):
    rows = {row.circuit: row.out for row in prices.outage_needs if row.kind == kind}
    return rows.get(circuit, rows.get(None, "all"))


def _guards(obstacles, line):
    at = np.flatnonzero(np.isin(obstacles.category.astype(str), GUARDED) & (obstacles.fault == ""))
    return tuple(obstacles.obstacle[i] for i in at[shapely.intersects(obstacles.geometry[at], line)])


def _timed(fixed: float, of_phases: float = 0.0) -> Callable[[int], float]:
    """How long work takes, of which a part is for up to three phases and grows with those beyond [s]."""
    return lambda phases: fixed + of_phases * max(phases / _PHASES, 1.0)


def _at_structures(planned):
    """Work at structures that are changed."""
    site, x, p = planned.site, planned.site.facts.structures, planned.site.prices
    spans = site.plan.spans
    for s, change in enumerate(planned.after.alterations.changes):
        if change != NONE:
            kind = "replace" if change.replaced else "raise" if change.rise else "strings"
            fixed = p.replace_duration if change.replaced else p.raise_duration * bool(change.rise)
            # Strain strings end the section, and shield wires get them, too.
            yield _Task(f"{x.structure[s]}: {change.words}", kind,
                        _timed(fixed, p.string_duration * bool(change.shorter or change.string)),
                        np.flatnonzero((spans.tail == s) | (spans.head == s)), s,
                        kind == "strings" and change.string != "strain")


def _in_spans(planned):
    """Structures that are added, ground that is cut, trees that are trimmed and objects that go."""
    site, p, done, before = planned.site, planned.site.prices, planned.after.alterations, planned.before
    v, names = before.layers["violations"], site.plan.spans.name
    near = dict(zip(v["obstacle"], before.line.spans_at(v), strict=True))
    rows = [(f"add a structure in {names[s]}", "add", p.add_duration, s, int(s)) for s in done.added]
    rows += [(f"cut the ground in {names[s]}", "grade", p.grade_duration, s, int(s)) for s in np.flatnonzero(done.cut)]
    obstacles = site.facts.index.obstacles.obstacle
    rows += [(f"trim {obstacles[i]} to {_to(site.trees[i], done.trimmed[i], done.narrower[i])}", "trim",
              p.trim_duration, near[obstacles[i]], int(i)) for i in np.flatnonzero(done.trimmed + done.narrower)]
    rows += [(f"take away {obstacles[i]}", "remove", p.remove_duration, near[obstacles[i]], int(i))
             for i in np.flatnonzero(done.removed & ~done.buried)]
    return [_Task(name, kind, _timed(seconds), np.array([span]), place) for name, kind, seconds, span, place in rows]


def _to(tree, lower, narrower):
    """What a tree is trimmed to, in words."""
    words = [f"{tree.left(lower):g} m above the ground"] * bool(lower)
    return " and ".join(words + [f"a radius of {tree.left_aside(narrower):g} m"] * bool(narrower))


def _of_others(planned, chords):
    """Circuits of others that are put underground, raised or lowered, each with all spans that its wires cross or are
    too near to."""
    site, v, done = planned.site, planned.before.layers["violations"], planned.after.alterations
    obstacles, short = site.facts.index.obstacles, planned.before.line.spans_at(v)
    for name, own in wires_of_others(obstacles).items():
        lower = done.lowered[own[0]]
        if done.buried[own].any() or lower:
            met = shapely.intersects(chords, shapely.union_all(obstacles.geometry[own]))
            spans = np.union1d(np.flatnonzero(met), short[np.isin(v["obstacle"], obstacles.obstacle[own])]).astype(int)
            if not lower:
                yield _Task(f"put {name} underground", "bury", _timed(site.prices.bury_duration), spans, own[0],
                            down=(name,))
                continue
            kind = "lower_other" if lower > 0 else "raise_other"
            yield _Task(f"{kind.partition('_')[0]} the wires of {name} by {abs(lower):g} m", kind,
                        _timed(site.prices.other_duration), spans, own[0], down=(name,), shown=_TO_SHOW[kind])


def _retensioned(planned):
    """Sections of a wire that hangs and is strung tauter, or slacker."""
    sections, tightened = planned.site.plan.sections, planned.after.alterations.tightened
    return [_Task(f"{'tighten' if tightened[i] > 0 else 'slacken'} {sections.name[i]}", "re-tension",
                  _timed(0.0, planned.site.prices.tighten_duration),
                  np.arange(sections.first[i], sections.last[i] + 1), None, by_circuit=True)
            for i in np.flatnonzero(tightened)]


def _pulls(site):
    """Wire to pull: by the crew of the study what it pulls at a time; without one sections between strain
    structures, in parts that a reel is long enough for."""
    sections, stringing, prices = site.plan.sections, site.study.stringing, site.prices
    if stringing is not None and stringing.crew is not None:
        for pull in pulls_of(site.facts.structures, site.plan, stringing):
            own = np.arange(pull.first, pull.last + 1)
            own = own[site.renewed[site.plan.spans.section[own]]]
            if not len(own):
                continue
            yield _Task(f"pull {pull.name}", "pull", _pulled(stringing.crew, site.plan.spans.length[own]), own, None,
                        by_circuit=True)
        return
    timed = _timed(prices.pull_setup_duration, prices.pull_duration - prices.pull_setup_duration)
    for i in np.flatnonzero(site.renewed):
        name, first, last = sections.name[i], sections.first[i], sections.last[i]
        parts = reels(site.plan.spans.length[first: last + 1], prices.reel_length)
        for number, own in enumerate(parts, 1):
            words = f"pull {name}" + (f", reel {number} of {len(parts)}" if len(parts) > 1 else "")
            yield _Task(words, "pull", timed, first + own, None, by_circuit=True)


def _pulled(crew, lengths):
    return lambda phases: 3600 * pull_hours(crew, lengths.sum(), phases, len(lengths) + 1)


def pull_times(site: Site) -> tuple[list[str], list[float]]:
    """Return the name of each pull of the wires of an option, and how long one takes of the circuits that are pulled
    at a time, the longest [h]."""
    x, f, names, hours = site.facts.structures, site.facts.framings, [], []
    for task in () if site.old == site.option else _pulls(site):
        at = np.unique(np.r_[site.plan.spans.tail[task.spans], site.plan.spans.head[task.spans]])
        names.append(task.name)
        hours.append(max((task.seconds(phases_at(x, f, at, worked)) / 3600
                          for worked, _ in _by_circuit(site.prices, task, own_circuits(x, f, at))), default=0.0))
    return names, hours


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


def table_of_circuits(work: list[WorkItem]) -> dict[str, list[str]]:
    """Return items against circuits, as columns.

    "own" is on the structures, "crossed" above or below, "beside" near; "out" in front of it where it must be out of
    service for the item; "" where the item has nothing to do with it.
    """
    words = [{c: w for w in ("beside", "crossed", "own") for c in getattr(item, w)} for item in work]
    return {"item": [item.name for item in work]} | {
        c: [("out, " if c in item.out else "") + word[c] if c in word else "" for item, word in zip(
            work, words, strict=True)] for c in sorted({c for word in words for c in word})}
