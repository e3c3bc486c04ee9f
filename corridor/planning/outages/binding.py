"""Which limits bind the outages of a plan: what more of one would save, and which contradict each other."""

from dataclasses import replace
from itertools import combinations

from corridor.planning.outages.outages import Outages, in_time
from corridor.planning.outages.schedule import schedule
from corridor.study.plan import WORK

__all__ = ["contradiction", "saved"]

#: By how much an outage is longer to see what its limit binds [h].
_HOURS = 24.0


def _grouped(outages, prices):
    """How work is grouped under other limits, None where it is not; not looked at in full."""
    grouped, _ = schedule(outages.work, prices, outages.aim, 5.0)
    return grouped and in_time(replace(outages, prices=prices, grouped=grouped)).grouped


def saved(outages: Outages) -> list[str]:
    """Return what a day more of outage, and one crew more, would save, in words; not looked at in full."""
    if not outages.work or outages.grouped is None:
        return []
    prices = outages.prices
    longer = prices.model_copy(update={"window": prices.window + 3600 * _HOURS})
    grouped = _grouped(outages, longer)
    saved = 0 if grouped is None else outages.grouped.outages - grouped.outages
    words = [f"plan.window binds: {_HOURS:g} h more would save {saved} outage{'s' * (saved > 1)}, not looked at in full"
             ] if saved > 0 else []
    # Crews that are alike in all but their names are tried once.
    alike = {str(crew.model_dump(exclude={"name", "number"})): i for i, crew in reversed([*enumerate(prices.crews)])}
    for i in sorted(alike.values()):
        crew = prices.crews[i].model_copy(update={"number": prices.crews[i].number + 1})
        more = prices.model_copy(update={"crews": (*prices.crews[:i], crew, *prices.crews[i + 1:])})
        grouped = _grouped(outages, more)
        less = 0.0 if grouped is None else outages.grouped.circuit_hours - grouped.circuit_hours
        if less > 0.5:
            words.append(f"plan.crews binds: one more{f' of {crew.name}' * (len(alike) > 1)} would save {less:.0f} "
                         "circuit-hours, not looked at in full")
    return words


def contradiction(outages: Outages) -> tuple[str, ...]:
    """Return the smallest set of limits without which the work could be grouped, none where these are not what forbids
    it."""
    prices = outages.prices
    free = {"longest outage": _with(window=36_000_000.0), "circuits never together": _with(never_together=()),
            "number of windows": _with(windows=0), "days on which places may be reached": _with(access=()),
            "kinds of work of crews": _with(crews=tuple(crew.model_copy(update={"kinds": WORK})
                                                        for crew in prices.crews))}
    if prices.calendar is not None:
        free |= {"last day": _with_calendar(by=None), "seasons": _with_calendar(seasons=()),
                 "notice": _with_calendar(notice=())}
    if _grouped(outages, prices) is not None:
        return ()
    for count in range(1, len(free) + 1):
        for names in combinations(free, count):
            freed = prices
            for name in names:
                freed = free[name](freed)
            if _grouped(outages, freed) is not None:
                return names
    return ()


def _with(**update):
    return lambda prices: prices.model_copy(update=update)


def _with_calendar(**update):
    return lambda prices: prices.model_copy(update={"calendar": prices.calendar.model_copy(update=update)})
