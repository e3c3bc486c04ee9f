"""When the work of a plan is done: what comes first, which crew does it, and in which outage."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from corridor.planning.outages.grouping import Grouping, group_items, one_by_one, what_forbids
from corridor.planning.outages.work import CLEARING, STRINGING, WorkItem, pull_times
from corridor.planning.outages.working_time import DAYS, WorkingTime, days_within, row_of
from corridor.planning.remedies.alterations import Site
from corridor.study.plan import Plan as PlanTable
from corridor.study.plan import WorkCrew

__all__ = ["calendar", "crews_of", "order_of", "parts_of", "pulls_too_long", "reached", "schedule", "unschedulable"]


def crews_of(prices: PlanTable) -> list[WorkCrew]:
    """Return each crew of a plan, those alike with a number after their name.

    >>> from corridor.study.plan import Plan, WorkCrew
    >>> [crew.name for crew in crews_of(Plan(crews=[WorkCrew(name="lines", number=2), WorkCrew(name="trees")]))]
    ['lines 1', 'lines 2', 'trees']
    """
    return [crew.model_copy(update={"name": crew.name + (f" {i + 1}" if crew.number > 1 else ""), "number": 1})
            for crew in prices.crews for i in range(crew.number)]


def order_of(work: Sequence[WorkItem]) -> tuple[tuple[int, int], ...]:
    """Return which item may not be put back in service before which: what is done in the spans of a section, or at
    structures of it, before its wires are pulled; and parts of a section are pulled in one outage, circuit by
    circuit."""
    pairs = set()
    for b, pull in enumerate(work):
        if pull.kind in STRINGING:
            pairs |= {(a, b) for a, item in enumerate(work) if a != b and np.isin(item.spans, pull.spans).any()
                      and item.kind not in STRINGING}
            pairs |= {(a, b) for a, item in enumerate(work) if a != b and {*item.sections} & {*pull.sections}
                      and {*item.circuits} & {*pull.circuits}}
    return tuple(sorted(pairs))


def reached(item: WorkItem, prices: PlanTable) -> np.ndarray:
    """Return on which days of the year all places of an item may be reached, (day,)."""
    days, rows = np.ones(DAYS, bool), [row for row in prices.access if item.kind in row.kinds]
    for key, names in (("structures", item.structures), ("spans", item.span_names)):
        for name in names:
            days &= days_within([row for row in rows if name in getattr(row, key)])
    return days


def schedule(work: Sequence[WorkItem], prices: PlanTable, aim: str, seconds: float = 15.0,
             together: tuple[tuple[int, int], ...] = ()) -> tuple[Grouping | None, float]:
    """Return the Grouping of the work, None where none is allowed, and the circuit-hours one by one [h].

    `aim` and `seconds` are as `group_items` takes them; `together` pairs of items that are done in one outage. Work on
    what stays in service comes first, one item at a time, but for what is cleared away.
    """
    alone, rest = _split(work)
    before, one = _before(work, together), one_by_one([item.hours for item in work], [item.out for item in work])
    steps = _alone(work, alone, prices)
    limits = _limits(work, rest, prices)
    taken = sum(bool(out) for _, _, out in steps)
    if _forbids_each(work, alone, prices) or (prices.windows and taken > prices.windows - bool(rest)):
        return None, one
    limits["slots"] = prices.windows - taken if prices.windows else None
    grouped = group_items([work[i].hours for i in rest], [work[i].out for i in rest], aim=aim, seconds=seconds,
                          before=_among(before, rest), **limits)
    if grouped is None:
        return None, one
    outage, crew = np.zeros(len(work), int), np.zeros(len(work), int)
    outage[rest], crew[rest] = grouped.outage + len(steps), grouped.crew
    for g, (items, own, _) in enumerate(steps):
        outage[items], crew[items] = g, own
    hours = [max(np.bincount(own, [work[i].hours for i in items])) for items, own, _ in steps]
    whole = Grouping(outage, crew, np.r_[hours, grouped.hours], (*(out for *_, out in steps), *grouped.circuits))
    return (_in_season(work, whole, prices, before) if prices.access and prices.calendar else whole), one


def pulls_too_long(site: Site) -> tuple[str, ...]:
    """Return words for pulls of the wires of an option that no outage is long enough for, whatever else is done, or no
    crew does."""
    names, hours = pull_times(site)
    if not names:
        return ()
    return what_forbids(names, hours, [()] * len(names), crews=len(crews_of(site.prices)),
                        able=[["pull" in crew.kinds for crew in crews_of(site.prices)]] * len(names),
                        window=_windows(site.prices))


def unschedulable(work: Sequence[WorkItem], prices: PlanTable, together: tuple[tuple[int, int], ...] = ()
                  ) -> tuple[str, ...]:
    """Return words for what keeps work from every schedule: items and limits."""
    alone, rest = _split(work)
    words = _forbids_each(work, alone, prices) or what_forbids(
        [work[i].name for i in rest], [work[i].hours for i in rest], [work[i].out for i in rest],
        before=_among(_before(work, together), rest), **_limits(work, rest, prices))
    taken = sum(bool(out) for _, _, out in _alone(work, alone, prices))
    return words or ((f"plan.windows, {prices.windows}, leaves none: {taken} are for work on circuits in service",)
                     if prices.windows and taken else ())


def _split(work):
    """Numbers of items that share no time with others, and of all others."""
    alone = [i for i, item in enumerate(work) if item.alone]
    return alone, [i for i, item in enumerate(work) if not item.alone]


def _before(work, together):
    return tuple(sorted({*order_of(work), *together, *((b, a) for a, b in together)}))


def _among(pairs, items):
    place = {i: k for k, i in enumerate(items)}
    return tuple((place[a], place[b]) for a, b in pairs if a in place and b in place)


def _able(work, items, prices):
    """Which crew does which kind of work, (item, crew)."""
    crews = crews_of(prices)
    return np.array([[work[i].kind in crew.kinds for crew in crews] for i in items], bool).reshape(-1, len(crews))


def _windows(prices):
    """The working hours that each crew has within the longest outage, in which crews sleep, too [h]."""
    window, crews = prices.window / 3600, crews_of(prices)
    if prices.calendar is None:
        return [window] * len(crews)
    when = WorkingTime(prices.calendar)
    return [when.of(crew).most_hours(window) for crew in crews]


def _limits(work, items, prices):
    days = [reached(work[i], prices) for i in items]
    apart = [(a, b) for a in range(len(items)) for b in range(a) if not (days[a] & days[b]).any()]
    return {"never": [(pair.first, pair.second) for pair in prices.never_together], "crews": len(crews_of(prices)),
            "able": _able(work, items, prices), "window": _windows(prices), "slots": prices.windows or None,
            "apart": apart}


def _alone(work, items, prices):
    """Steps of work on what stays in service: items of each, their crews, and what is out all the same.

    Each is a step of its own; all that is cleared away, and may be reached on the same days, is one.
    """
    steps, key = {}, {}
    for i in items:
        clears = work[i].kind in CLEARING and not work[i].out
        key[i] = ("", reached(work[i], prices).tobytes()) if clears else (work[i].name, i)
        steps.setdefault(key[i], []).append(i)
    found = []
    for own in steps.values():
        load, chosen = np.zeros(len(crews_of(prices))), []
        for i, able in zip(own, _able(work, own, prices), strict=True):
            chosen.append(int(np.where(able, load, np.inf).argmin()))
            load[chosen[-1]] += work[i].hours
        found.append((own, chosen, tuple(sorted({c for i in own for c in work[i].out}))))
    return found


def _forbids_each(work, alone, prices):
    """Words for work that may be reached on no day, and for what keeps work on circuits in service from every schedule:
    with nothing out it may last as long as it takes."""
    words = tuple(f"{item.name}: there is no day on which all its places may be reached, as plan.access says"
                  for item in work if not reached(item, prices).any())
    limits = _limits(work, alone, prices)
    for i, able in zip(alone, limits["able"], strict=True):
        own = {name: limits[name] for name in ("never", "crews")} | {
            "window": limits["window"] if work[i].out else np.inf, "able": able[None]}
        words += what_forbids([work[i].name], [work[i].hours], [work[i].out], **own)
    return words


def parts_of(work: Sequence[WorkItem], grouped: Grouping, prices: PlanTable, step: int
             ) -> list[tuple[int, WorkingTime, float]]:
    """Return of a step of a Grouping, from 0, each crew that works in it, when that works, on days on which all its
    places may be reached, and how long it does [h]."""
    items, crews = np.flatnonzero(grouped.outage == step), crews_of(prices)
    days = np.logical_and.reduce([reached(work[i], prices) for i in items])
    hours = np.bincount(grouped.crew[items], [work[i].hours for i in items])
    return [(int(k), WorkingTime(prices.calendar).of(crews[k], days), float(hours[k])) for k in
            np.unique(grouped.crew[items])]


def _in_season(work, grouped, prices, before):
    """The Grouping with its steps in the order in which they find days: of those that may come next the one that is
    done first."""
    waits = {g: {int(grouped.outage[a]) for a, b in before if grouped.outage[b] == g} - {g}
             for g in range(grouped.steps)}
    longest, order, day = prices.window / 3600, [], prices.calendar.start
    while waits:
        ready = [g for g, others in waits.items() if not others & waits.keys()]
        laid = {g: row_of([[part[1:] for part in parts_of(work, grouped, prices, g)]],
                          [longest if grouped.circuits[g] else np.inf], [day])[0] for g in ready}
        found = {g: each for g, each in laid.items() if each is not None}
        chosen = min(found, key=lambda g: (found[g].end, g)) if found else ready[0]
        day = max(day, found[chosen].end.date()) if found else day
        del waits[chosen]
        order.append(chosen)
    return replace(grouped, outage=np.argsort(order)[grouped.outage], hours=grouped.hours[order],
                   circuits=tuple(grouped.circuits[g] for g in order))


def calendar(work: Sequence[WorkItem], grouped: Grouping) -> tuple[np.ndarray, np.ndarray]:
    """Return start and end of every item within a row of outages, one after the other [h]."""
    opens = np.r_[0.0, np.cumsum(grouped.hours)[:-1]]
    start, hours = np.zeros(len(work)), np.array([item.hours for item in work])
    free: dict[tuple[int, int], float] = {}
    for i in np.argsort(grouped.outage, kind="stable"):
        key = int(grouped.outage[i]), int(grouped.crew[i])
        start[i] = free.get(key, opens[key[0]])
        free[key] = start[i] + hours[i]
    return start, start + hours
