"""Finalists as options, checked span by span; those with violations that the existing wire does not have give way.

A ruling span tells sag and swing to a decimetre or so, and what is found span by span may differ. A candidate that has
a violation of its own is left out with its like, and the best of what is left is looked at, a few times over.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import count
from typing import NamedTuple

import numpy as np

from corridor.assessment import Facts, Ground, Plan
from corridor.conductor.conductor import conductor_from
from corridor.inputs.series import NO_LOADS, YearLoads
from corridor.jobs.compare import compare_facts
from corridor.line.facts import Option, Wiring
from corridor.planning.conductor_search.candidates import designation, entry, wires_of
from corridor.planning.conductor_search.finalists import finalists_of
from corridor.planning.conductor_search.screening import screen

__all__ = ["Finalist", "Site", "checked_finalists"]

#: How often the best of what is left are looked at.
_ROUNDS = 6
#: What is taken besides a violation when hot, so that the next is none [m].
_BESIDES = 0.01


@dataclass(frozen=True)
class Finalist:
    """One of the best: index of the candidate, its `entry` in `[[conductors]]`, option, what it was chosen for, new
    violations in words, by how much it is too low in still air at its own temperatures, `sunk` [m], and `wires` as of
    `candidates.wires_of`."""

    index: int
    entry: dict[str, str | float]
    option: Option
    chosen: str
    new: tuple[str, ...] = ()
    sunk: float = 0.0
    wires: tuple = ()


class Site(NamedTuple):
    """The line on which finalists are checked; `facts` have the existing wire alone, `loads` is what flows in a
    year."""

    facts: Facts
    plan: Plan
    ground: Ground
    progress: Callable[[int, int], None] | None = None
    loads: YearLoads = NO_LOADS


def checked_finalists(site, screened, space, line, section, taken):
    """Return what is left of the Screened, the Line that it was held to, its finalists, their Comparison with the wire
    of today (None without any), and notes in words.

    Parameters
    ----------
    site : Site
    screened : Screened
    space : Space
    line : Line
    section : Design
    taken : set of str
        Names of options of the study.
    """
    today, known, bad = site.facts.options[0].wiring, {}, ()
    for _ in range(_ROUNDS):
        screened, line = _narrower(site, screened, space, line, bad)
        finalists = _finalists(screened, space, line, section, today, taken)
        asked = tuple(each for each in finalists if _key(each) not in known)
        looked_at, comparison = _checked(*site, asked)
        known |= {_key(each): each for each in looked_at}
        finalists = tuple(replace(each, new=known[_key(each)].new, sunk=known[_key(each)].sunk) for each in finalists)
        bad = () if section.new_violations else tuple(each for each in finalists if each.new)
        if not bad:
            break
    finalists = tuple(each for each in finalists if each not in bad)
    if len(asked) != len(finalists):
        finalists, comparison = _checked(*site, finalists)
    left = 0 if section.new_violations else sum(bool(each.new) for each in known.values())
    note = (f"{left} of the best had a violation in a span where the existing wire has none: left out",) if left else ()
    return screened, line, finalists, comparison if finalists else None, note


def _key(finalist):
    return finalist.index, finalist.option.wiring.maximum_temperature


def _narrower(site, screened, space, line, bad):
    """Screened and Line without finalists that were in violation: where one sinks too far when hot, all are held to
    less sag; else it is left out with its like."""
    other = [each.index for each in bad if not each.sunk]
    sunk = max((each.sunk for each in bad), default=0.0)
    if sunk:
        line = line.with_less_sag(sunk + _BESIDES)
        screened = replace(screen(space, line, site.facts.heat), refused=screened.refused)
    return screened.without(other) if bad else screened, line


def _finalists(screened, space, line, section, today, taken):
    """The best as options, bundled as the existing wire, each with what it was chosen for."""
    names = (name for name in (f"design {number}" for number in count(1)) if name not in taken)
    limits = tuple(_as_written(limit, line.bound[0, j]) for j, limit in enumerate(line.limits))
    found = []
    for (index, why), name in zip(finalists_of(screened, section.finalists).items(), names, strict=False):
        values = entry(screened.candidates, index, space, f"{name}: {designation(screened.candidates, index, space)}")
        wiring = Wiring(conductor_from(values), float(screened.maximum[index]), float(screened.emergency[index]),
                        limits, today.bundle, line.everyday, line.everyday, line.age, spacing=today.spacing,
                        arrangement=today.arrangement)
        found.append(Finalist(int(index), values, Option(name, wiring), why,
                              wires=wires_of(screened.candidates, index)))
    return tuple(found)


def _as_written(limit, bound):
    """A limit as a study can name it: a share of the tension of the existing wire as that tension [N]."""
    if limit.kind != "existing" or limit.value == 1:
        return limit
    return replace(limit, text=f"{bound:.0f} N in {limit.case}, {limit.condition}", kind="tension",
                   value=float(round(bound)))


def _checked(facts, plan, ground, progress, loads, finalists):
    """The finalists with their new violations, and how they compare with the existing wire, span by span."""
    if not finalists:
        return (), None
    options = (*facts.options, *(each.option for each in finalists))
    facts = replace(facts, options=options, heat=replace(facts.heat, options=options))
    new, sunk = {option.name: [] for option in options}, dict.fromkeys((option.name for option in options), 0.0)
    hot = [case.name for case in facts.cases if isinstance(case.temperature, str) and not case.wind]

    def watch(layer, columns):
        if layer == "violations":
            for row in np.flatnonzero(columns["inherited"] != True):  # noqa: E712
                option, margin = columns["option"][row], columns["margin_m"][row]
                new[option].append(f"{columns['span'][row]}, {columns['against'][row]}, {columns['case'][row]}: "
                                   f"{margin:+.2f} m")
                if columns["case"][row] in hot and columns["measure"][row] == "vertical":
                    sunk[option] = max(sunk[option], -margin)

    comparison = compare_facts(facts, plan, ground, loads, progress=progress, watch=watch)
    return tuple(replace(each, new=tuple(new[each.option.name]), sunk=sunk[each.option.name]) for each in finalists
                 ), comparison
