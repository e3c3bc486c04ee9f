"""The outages of a plan: which work shares one, what is in service between them, and when they are."""

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from corridor.check import Progress
from corridor.planning.outages.grouping import Grouping
from corridor.planning.outages.schedule import calendar, parts_of, schedule, unschedulable
from corridor.planning.outages.states import State, compared_together, states_of
from corridor.planning.outages.work import STRINGING, WorkItem, list_work
from corridor.planning.outages.working_time import Laid, row_of
from corridor.planning.remedies.plan import Planned
from corridor.study.plan import WORK
from corridor.study.plan import Plan as PlanTable

__all__ = ["Outages", "in_time", "outages_of"]


@dataclass(frozen=True)
class Outages:
    """The `work` of a plan that needs outages, and what is done `without` one; how it is `grouped` by an `aim`, None
    where no grouping is allowed, and then what `forbids` it in words; `alone` circuit-hours one by one [h]; `states` of
    the line today and after each outage; and `laid` the outages in time, by the calendar of the study, none without."""

    work: list[WorkItem]
    without: list[WorkItem]
    prices: PlanTable
    aim: str
    grouped: Grouping | None
    alone: float
    forbids: tuple[str, ...] = ()
    states: tuple[State, ...] = ()
    laid: tuple[Laid, ...] = ()

    @property
    def rows(self) -> list[dict]:
        """Each outage with its hours, the circuits that are out, its items by name, and when it is."""
        if self.grouped is None:
            return []
        when = [{"start": laid.start.isoformat(), "end": laid.end.isoformat()} for laid in self.laid] or [
            {} for _ in self.grouped.hours]
        return [{"outage": g + 1, "hours": hours, "circuits_out": list(out),
                 "items": [self.work[i].name for i in np.flatnonzero(self.grouped.outage == g)], **when[g]}
                for g, (hours, out) in enumerate(zip(self.grouped.hours, self.grouped.circuits, strict=True))]

    @property
    def unassessed(self) -> bool:
        """Whether of some state nothing tells what hangs, or what structures of a study with capacities bear."""
        return any(state.unassessed for state in self.states)

    def items_of(self, outage: int) -> list[WorkItem]:
        """Return the work of an outage, from 0."""
        return [self.work[i] for i in np.flatnonzero(self.grouped.outage == outage)] if self.grouped else []

    @property
    def item_times(self) -> list[Laid]:
        """When each item is worked on, (item,); none without a calendar."""
        if not self.laid or self.grouped is None:
            return []
        start, end = calendar(self.work, self.grouped)
        opens = np.r_[0.0, np.cumsum(self.grouped.hours)[:-1]]
        when = {(g, k): (time, self.laid[g].start.date()) for g in range(self.grouped.steps)
                for k, time, _ in parts_of(self.work, self.grouped, self.prices, g)}
        times = []
        for i, g in enumerate(self.grouped.outage):
            time, day = when[int(g), int(self.grouped.crew[i])]
            times.append(Laid(*(time.moment(day, float(hours[i] - opens[g])) for hours in (start, end))))
        return times

    def ask_by(self, outage: int) -> dict[str, str]:
        """Return who is to be asked before an outage, by name, and the last day for that."""
        if not self.laid:
            return {}
        met = _met(self.items_of(outage))
        return {each.name: (self.laid[outage].start.date() - _days(each)).isoformat()
                for each in self.prices.calendar.notice if each.name in met}


def outages_of(planned: Planned, aim: str = "circuit-hours", progress: Progress | None = None,
               known: Outages | None = None) -> Outages | None:
    """Return the Outages of a plan, None where there is none; `aim` is one of
    `corridor.planning.outages.grouping.AIMS`.

    Where the line between two outages would not be safe, what was to be done there in service is done in an outage;
    where that does not help, what is done in the sections that are not safe is done in one, and the work grouped anew;
    so are the pulls of sections between which a structure would bear too much.
    `progress(done, total)` is told spans; `known` are outages of the same plan by another aim, whose states are not
    looked at again where the grouping is one.
    """
    if not planned.cleared:
        return None
    every, prices = list_work(planned), planned.site.prices
    work, without = [item for item in every if item.hours], [item for item in every if not item.hours]
    work, together = compared_together(planned.site, work)
    unsafe = ()
    while True:
        grouped, alone = schedule(work, prices, aim, together=together)
        outages = Outages(work, without, prices, aim, grouped, alone)
        if grouped is None:
            # What has no schedule never ends as if it had one, for want of words.
            return replace(outages, forbids=(*unschedulable(work, prices, together), *unsafe) or (
                "no grouping was found within the limits of [plan]",))
        if known is not None and known.grouped is not None and np.array_equal(
                known.grouped.outage, grouped.outage) and [i.live for i in known.work] == [i.live for i in work]:
            return in_time(replace(outages, states=known.states))
        states = tuple(states_of(planned, work, without, grouped, progress)) if work else ()
        if all(state.safe for state in states):
            return in_time(replace(outages, states=states))
        unsafe = tuple(f"in service after outage {states[-1].after}: {words}" for words in states[-1].words)
        lost = [item.alone and bool({*planned.site.plan.spans.section[item.spans]} & {*states[-1].unsafe})
                for item in work]
        if any(lost):
            work = [replace(item, live=()) if none else item for item, none in zip(work, lost, strict=True)]
            continue
        # First what structures that bear too much are between shares an outage, then what is done before the wire is
        # pulled, then the pull, too.
        each, more = [(s,) for s in states[-1].unsafe], {*together}
        for sections, kinds in ((states[-1].meet, STRINGING), (each, {*WORK} - {*STRINGING}), (each, WORK)):
            if more == {*together}:
                more |= {*_shared(planned.site, work, sections, kinds)}
        if more == {*together}:
            return replace(outages, grouped=None, forbids=unsafe)
        together = tuple(sorted(more))


def _shared(site, work, groups, kinds):
    """Pairs of items of some kinds that change any of a group of sections."""
    own = [[i for i, item in enumerate(work) if item.kind in kinds
            and np.isin(site.plan.spans.section[item.spans], sections).any()] for sections in groups]
    return [pair for items in own for pair in zip(items[:-1], items[1:], strict=True)]


def in_time(outages: Outages) -> Outages:
    """Return the same with outages laid into the calendar, if there is one; no grouping where they find no room
    there, and the words that forbid it."""
    when, prices, grouped = outages.prices.calendar, outages.prices, outages.grouped
    if when is None or not outages.work or grouped is None:
        return outages
    longest = prices.window / 3600
    earliest = [when.start + max((_days(each) for each in when.notice if each.name in _met(outages.items_of(g))),
                                 default=when.start - when.start) for g in range(grouped.steps)]
    # Where nothing is out it may last as long as it takes.
    laid = row_of([[part[1:] for part in parts_of(outages.work, grouped, prices, g)] for g in range(grouped.steps)],
                  [longest if out else np.inf for out in grouped.circuits], earliest)
    lost = laid.index(None) if None in laid else None
    if lost is not None:
        words = (f"outage {lost + 1} ({', '.join(item.name for item in outages.items_of(lost))}) finds no room of "
                 f"{grouped.hours[lost]:g} working hours within plan.window, {longest:g} h, and plan.calendar"
                 + " with plan.access" * bool(prices.access),)
    elif when.by is not None and laid[-1].end.date() > when.by:
        words = (f"outage {len(laid)} ends on {laid[-1].end.date()}: later than plan.calendar.by, {when.by}",)
    else:
        return replace(outages, laid=tuple(laid))
    return replace(outages, grouped=None, forbids=words)


def _met(items):
    """All that somebody is to be asked about for some work."""
    return {name for item in items for name in (*item.out, *(item.guards if item.kind in STRINGING else ()))}


def _days(notice):
    return timedelta(seconds=notice.period)
