"""Which option, with which remedies and outages, gives a rating: every way there is, and the least of them.

Each option of the study is planned at the temperature at which it carries the current that is asked for, and its work
is put into outages by each aim. What costs no more and takes no more outages and circuit-hours than any other is kept.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import numpy as np

from corridor.check import Progress
from corridor.errors import InputError
from corridor.opened import Opened
from corridor.outputs.files import Files
from corridor.planning.cost_curve import at_current
from corridor.planning.outages.binding import contradiction, saved
from corridor.planning.outages.costs import costs_of, over_life
from corridor.planning.outages.grouping import AIMS
from corridor.planning.outages.outages import Outages, outages_of
from corridor.planning.outages.schedule import pulls_too_long
from corridor.planning.outages.states import carried_today
from corridor.planning.remedies.alterations import Site
from corridor.planning.remedies.mixed import unborne, with_kept
from corridor.planning.remedies.plan import Planned, copy_plan, plan_option, site_of
from corridor.planning.remedies.taken import counted
from corridor.planning.remedies.variants import assess_variant
from corridor.rating.limits import NO_TEMPERATURE, UNKNOWN
from corridor.study.plan import Plan as PlanTable
from corridor.units import QuantityError, quantity

__all__ = ["Asked", "Decision", "Way", "asked_of", "decide", "decision_lines", "read_limits", "write_decision"]

_RATING = re.compile(r"^\s*(?:(?P<share>[+-]?\d+(?:\.\d+)?)\s*%|(?P<amps>\d+(?:\.\d+)?)\s*A?)\s*$")


@dataclass(frozen=True)
class Asked:
    """What is asked for: the `current` per phase [A], `today` that of the line as it is, nan where that is not known,
    and the span that sets it; the longest outage [h] and the last day, None for none."""

    current: float
    today: float
    today_span: str | None
    longest: float
    by: date | None


@dataclass(frozen=True)
class Way:
    """One way to what is asked for: an option at a `temperature` [°C], and outages by an `aim`.

    `planned` None where the option cannot carry the current, or no outage is long enough for its wires; `refused` words
    for why it is no way, `unknown` for what of it was not assessed, "" where nothing is; `cost` of remedies, wire and
    outages, and what of it is not known, in words; `life` columns of what it costs over its life, none where the study
    asks for none; `carried` by the line when all is done [A], nan where that is not known.
    """

    option: str
    temperature: float
    aim: str
    planned: Planned | None
    outages: Outages | None
    cost: float
    not_costed: str
    refused: str
    unknown: str = ""
    life: dict = field(default_factory=dict)
    carried: float = np.nan

    @property
    def row(self) -> dict:
        """The way in numbers, for tables."""
        grouped = None if self.outages is None else self.outages.grouped
        laid = () if self.outages is None else self.outages.laid
        return {"option": self.option, "temperature_c": self.temperature, "aim": self.aim,
                "sections_kept": self.kept,
                "cost": self.cost, "not_costed": self.not_costed or None,
                "remedies": int((self.planned.steps > 0).sum()) if self.planned and self.planned.cleared else None,
                "outages": None if grouped is None else grouped.outages,
                "circuit_hours": np.nan if grouped is None else grouped.circuit_hours,
                "longest_outage_h": max((each.hours for each, out in zip(laid, grouped.circuits, strict=True) if out),
                                        default=np.nan) if laid and grouped else np.nan,
                "done": laid[-1].end.date().isoformat() if laid else None,
                "carried_a": self.carried, **self.life,
                "not_assessed": self.unknown or None, "refused": self.refused or None}

    @property
    def share(self) -> Mapping[str, float]:
        """What hangs in the end: of each option the share of the length [-]."""
        mixes = () if self.planned is None else self.planned.site.facts.mixes
        return mixes[0].share if mixes else {self.option: 1.0}

    @property
    def kept(self) -> int | None:
        """Number of sections in which the existing wire stays; None where another hangs all along, or none."""
        return None if len(self.share) == 1 else int((~self.planned.site.renewed).sum())

    @property
    def unschedulable(self) -> bool:
        """Whether it is no way for its outages alone."""
        if not self.refused or not np.isfinite(self.temperature):
            return False
        return self.planned is None or (self.outages is not None and self.outages.grouped is None)


@dataclass(frozen=True)
class Decision:
    """All `ways`, those that no other beats (`front`, the cheapest first), what binds, in words, what was asked, what
    costs are in, and which way costs the least over life, in words."""

    asked: Asked
    ways: tuple[Way, ...]
    front: tuple[Way, ...]
    binds: tuple[str, ...]
    currency: str | None = None
    least_over_life: tuple[str, ...] = ()

    @property
    def best(self) -> Way | None:
        """The cheapest way, None where there is none."""
        return self.front[0] if self.front else None


def asked_of(opened: Opened, rating: str, by: date | None = None, longest: float | None = None) -> Asked:
    """Return what is asked for, of a text such as "+20 %" of what the line carries today, or "720 A".

    Raises
    ------
    InputError
        The text is none of these, the study has no weather, or what the line carries today is not known.
    """
    match = _RATING.match(rating)
    if match is None:
        raise InputError(None, "rating", repr(rating), "a current in amperes such as 720, or a share such as +20%")
    study = opened.study
    if study.rating is None:
        raise InputError(study.path, "rating", "no such table", "[rating]: the weather for which currents are computed")
    existing = next((each.name for each in study.options if each.existing), None)
    today, span = np.nan, None
    if existing is not None:
        site = site_of(opened.inputs, existing)
        today, span = carried_today(assess_variant(site, limits=True), existing)
    prices = study.plan or PlanTable()
    window = prices.window / 3600 if longest is None else longest
    if match["amps"]:
        return Asked(float(match["amps"]), today, span, window, by)
    if not np.isfinite(today) or today <= 0:
        why = "no option is existing" if existing is None else \
            f"what the line carries today is not known: {span or 'a span'} is not assessed, or clears at no temperature"
        raise InputError(study.path, "rating", f"{rating!r}, but {why}", "a current in amperes")
    return Asked(today * (1 + float(match["share"]) / 100), today, span, window, by)


def read_limits(by: str | None, longest: str | None) -> tuple[date | None, float | None]:
    """Return a last day and a longest outage [h] of texts such as "2027-06-01" and "48h"; None for none.

    Raises
    ------
    InputError
        One of them is none.
    """
    day, hours = None, None
    if by is not None:
        try:
            day = date.fromisoformat(by)
        except ValueError:
            raise InputError(None, "by", repr(by), "a date such as 2027-06-01") from None
    if longest is not None:
        try:
            hours = float(quantity(longest, "duration")) / 3600
        except QuantityError as fault:
            raise InputError(None, "longest-outage", repr(longest), "a time such as 48h or 2 days",
                             fault.hint) from None
        if not 0 < hours <= 10_000:
            raise InputError(None, "longest-outage", repr(longest), "more than 0 h, at most 10000 h")
    return day, hours


def decide(opened: Opened, rating: str, *, by: date | None = None, longest: float | None = None,
           options: Sequence[str] = (), progress: Progress | None = None) -> Decision:
    """Return the ways to a rating, of all options of a study or of some; `longest` outage in hours.

    `progress(done, total)` is told spans, look by look.
    """
    asked, ways = asked_of(opened, rating, by, longest), []
    for option in options or [each.name for each in opened.study.options]:
        site = _limited(site_of(opened.inputs, option), asked)
        site, refused = at_current(site, asked.current)
        if refused:
            ways.append(Way(option, np.nan, "", None, None, np.nan, "", refused))
            continue
        every = assess_variant(site, progress=progress, limits=True, every=True)
        ways += _planned_ways(site, asked, every, progress)
        mixed = _mixed(site, asked, every, [each.name for each in (*opened.study.options, *opened.study.mixes)])
        if mixed is not None:
            ways += _planned_ways(mixed, asked, assess_variant(mixed, progress=progress, limits=True, every=True),
                                  progress)
    ways = _with_life(opened, asked, ways)
    possible = [way for way in ways if not way.refused]
    # What is not known is a way only where there is no other.
    possible = [way for way in possible if not way.unknown] or possible
    front = _front(possible)
    currency = None if opened.study.plan is None else opened.study.plan.currency
    return Decision(asked, tuple(ways), tuple(front), tuple(_binding(front, ways)), currency, _least(possible))


def _planned_ways(site, asked, every, progress):
    """The ways of an option, or of a mix, at its temperature."""
    if too_long := pulls_too_long(site):
        return [Way(site.option, site.wiring.maximum_temperature, "", None, None, np.nan, "", "; ".join(too_long[:3]))]
    planned = replace(plan_option(site, progress, every.of(site.option)), every=every)
    if planned.cleared and not site.facts.mixes:  # of a mix it is known
        planned = replace(planned, changes=unborne(planned.site, planned.after, progress))
    return _ways(planned, asked, progress)


def _mixed(site, asked, every, taken):
    """The site with the existing wire kept in the sections in which it carries what is asked for, as a mix of a name
    that nothing has; None where that is none or all of them, or none hangs, or the site is of a mix already."""
    if site.facts.mixes or site.old in (None, site.option):
        return None
    rows = every.of(site.old).layers["limits"]
    current, governs = np.asarray(rows["limit_current_a"], float), rows["governs"]
    carries = (current >= asked.current) & (governs != UNKNOWN) & (governs != NO_TEMPERATURE)
    section = site.plan.spans.section[every.line.parent[every.line.spans_at(rows)]]
    kept = np.isin(np.arange(len(site.plan.sections)), np.setdiff1d(section, section[~carries]))
    if kept.all() or not kept.any():
        return None
    name = f"{site.option} where needed"
    while name in taken:
        name += ", again"
    return with_kept(site, name, kept)


def _with_life(opened, asked, ways):
    """The ways with what they cost over their life; of those that are none nothing is known."""
    some = [way for way in ways if not way.refused]
    lives = over_life(opened, asked.today, *zip(*(
        (way.share, way.temperature, np.nan if way.not_costed else way.cost, way.carried) for way in some),
        strict=True)) if some else []
    none = {name: "no way" if name == "life_not_known" else None for name in (lives or [{}])[0]}
    lives = iter(lives)
    return [replace(way, life=none if way.refused else next(lives)) for way in ways]


#: The columns of whole-life cost, with the price of losses that each is at.
_PRICES = {"whole_life_cost_low": "lower", "whole_life_cost": "middle", "whole_life_cost_high": "higher"}


def _least(ways):
    """Words for which way costs the least over life, at each price of losses; none where the study does not ask."""
    if not any(way.life for way in ways):
        return ()
    known = [way for way in ways if np.isfinite(way.life["whole_life_cost"])]
    lost = [f"not known of {_called(way)}: {way.life['life_not_known']}" for way in ways if way not in known]
    if not known:
        return ("The least over life is not known", *lost)
    least: dict[str, list[str]] = {}
    for name, price in _PRICES.items():
        way = min(known, key=lambda each: each.life[name])
        words = _called(way) + " (not all of it assessed)" * bool(way.unknown)
        least.setdefault(words, []).append(f"{way.life[name]:.2f} at the {price} price")
    return (*(f"Least over life: {name}, whole-life cost {', '.join(costs)}" for name, costs in least.items()), *lost)


def _called(way):
    return f"{way.option} at {way.temperature:.1f} °C" + (f", least {way.aim}" if way.aim else "")


def _life_told(life):
    """What a way costs over its life, in words."""
    if not life:
        return ""
    if not np.isfinite(life["whole_life_cost"]):
        return "; whole-life cost not known"
    cost = f"; whole-life cost {life['whole_life_cost']:.2f} ({life['whole_life_cost_low']:.2f} to " \
           f"{life['whole_life_cost_high']:.2f})"
    years = life["years_to_pay_back"]
    return cost if years is None else f"{cost}, " + ("never paid back" if years == "never" else
                                                     f"paid back in {years} years")


def _limited(site: Site, asked: Asked) -> Site:
    """The site with what is asked for in its table [plan]."""
    prices, calendar = site.prices, site.prices.calendar
    if asked.by is not None:
        if calendar is None:
            raise InputError(site.study.path, "plan.calendar", "no such table",
                             "[plan.calendar] with start, the first day of work, where a last one is asked for")
        if asked.by < calendar.start:
            raise InputError(None, "by", str(asked.by), f"no day before plan.calendar.start, {calendar.start}")
        calendar = calendar.model_copy(update={"by": asked.by})
    return replace(site, prices=prices.model_copy(update={"window": 3600 * asked.longest, "calendar": calendar}))


def _ways(planned, asked, progress):
    option, T = planned.site.option, planned.site.wiring.maximum_temperature
    over, unknown = planned.changes
    if over or not planned.cleared:
        why = f"the finished line fails its check: {over}" if planned.cleared else "no remedies clear: " + "; ".join(
            planned.forbids[:3]) + ("; ..." if len(planned.forbids) > 3 else "")
        return [Way(option, T, "", planned, None, np.nan, "", why, unknown)]
    ways, outages = [], None
    for aim in AIMS:
        outages = outages_of(planned, aim, progress, outages)
        cost, lacks = _cost(planned, outages)
        carried = _carried(planned, outages, progress)
        why, lost = "; ".join(outages.forbids[:3]), unknown
        if not why and np.isnan(carried):
            lost = "; ".join(filter(None, ("what the finished line carries is not known", lost)))
        if not why and carried < asked.current - 0.5:
            why = f"the finished line carries {carried:.0f} A"
        ways.append(Way(option, T, aim, planned, outages, cost, lacks, why, lost, carried=carried))
        if not outages.work:
            break
    return ways[:1] if len({str(way.row | {"aim": ""}) for way in ways}) == 1 else ways


def _carried(planned, outages, progress):
    """What the line carries when all is done [A], nan where that is not known, or the work has no schedule."""
    if outages.grouped is None or outages.states:
        return outages.states[-1].current if outages.grouped is not None else np.nan
    site, every = planned.site, planned.every
    # Where nothing is to be done it carries what it does.
    done = assess_variant(site, planned.after.alterations, progress=progress, limits=True) if outages.without else every
    return carried_today(done, site.option)[0]


def _cost(planned, outages):
    """The cost of remedies, wire, hours of crews and of outages, and what of these has no number."""
    parts = costs_of(planned, outages)
    return (float(np.nansum([each.cost for each in parts])),
            ", ".join(each.part for each in parts if np.isnan(each.cost)))


def _front(ways):
    """Ways that no other beats in cost, number of outages and circuit-hours, the cheapest first. One without a price of
    something costs more than is told: it beats none that has that price, and comes after those with fewer lacking."""
    def worth(way):
        return np.array([way.cost, way.row["outages"] or 0, np.nan_to_num(way.row["circuit_hours"])])

    lacks = {id(way): {*way.not_costed.split(", ")} - {""} for way in ways}
    kept = [way for way in ways if not any(lacks[id(other)] <= lacks[id(way)] and (
        worth(other) <= worth(way) + 1e-9).all() and (worth(other) < worth(way) - 1e-9).any() for other in ways)]
    return sorted(kept, key=lambda way: (len(lacks[id(way)]), *worth(way)))


def _binding(front, ways):
    """Words for the limits that bind: of the best way what a step more would save, of none which contradict."""
    if front:
        return [] if front[0].outages is None else saved(front[0].outages)
    words = []
    for way in ways:
        if way.unschedulable:
            least = contradiction(way.outages) if way.planned is not None else ("kinds of work of crews",) \
                if "no crew" in way.refused else ("longest outage", "the days and hours that are worked")
            words.append(f"{way.option}: {' with '.join(least) or 'what is unsafe between outages'} cannot be had")
    return list(dict.fromkeys(words))


def write_decision(opened: Opened, decision: Decision, folder: Path, files: Files, *, overwrite: bool = False,
                   time=None, progress: Progress | None = None) -> Decision:
    """Write the planned copy of the best way; return the decision with what its check says."""
    best = decision.best
    if best is None or best.planned is None:
        return decision
    planned = copy_plan(opened, best.planned, folder, overwrite=overwrite, files=files, time=time, progress=progress)
    best = replace(best, planned=planned)
    return replace(decision, front=(best, *decision.front[1:]))


def decision_lines(decision: Decision) -> list[str]:
    """Return lines that tell what is asked for, and the ways to it."""
    asked = decision.asked
    today = "not known" if np.isnan(asked.today) else f"{asked.today:.0f} A"
    lines = [f"Asked for: {asked.current:.0f} A; today the line carries {today}"
             + (f", limited by {asked.today_span}" if asked.today_span else "")
             + f"; longest outage {asked.longest:g} h" + (f"; by {asked.by}" if asked.by else "")
             + f"; costs: {decision.currency or 'relative'}"]
    for way in decision.ways:
        row, mark = way.row, "*" if any(way.option == each.option and way.aim == each.aim for each in decision.front
                                        ) else " "
        at = "" if np.isnan(way.temperature) else f" at {way.temperature:.1f} °C"
        if way.refused:
            lines.append(f"  {way.option}{at}: not possible: {way.refused}")
            continue
        hours = np.nan_to_num(row["circuit_hours"])
        lines.append(f"{mark} {way.option}{at}: cost {way.cost:.2f}, {counted(row['remedies'], 'remedy')}, "
                     f"{counted(row['outages'] or 0, 'outage')}, {hours:.0f} circuit-hours"
                     + (f", done {row['done']}" if row["done"] else "")
                     + (f"; the existing wire stays in {counted(way.kept, 'section')}" if way.kept else "")
                     + (f"; without a cost of {way.not_costed}" if way.not_costed else "")
                     + _life_told(way.life) + (f"; {way.unknown}" if way.unknown else ""))
    lines.append("* no other way is cheaper and takes fewer outages and circuit-hours" if decision.front else
                 "Nothing gives what is asked for.")
    return lines + [f"  {words}" for words in (*decision.binds, *decision.least_over_life)]
