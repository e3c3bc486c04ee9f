"""Mixes of the existing option and another one: what is pulled where, and what the structures between them bear."""

from dataclasses import replace

import numpy as np

from corridor.assessment import OPTIONAL, whole_loads
from corridor.check import Progress, find
from corridor.clearance.capacity import CHANGE, Totals
from corridor.errors import InputError
from corridor.line.mixes import Mix, mix_of, structures_of_change
from corridor.planning.remedies.alterations import AlteredLine, Site
from corridor.planning.remedies.variants import Variant, keys_of, runs_of
from corridor.summary import Tally

__all__ = ["check_mix", "mix_tables", "of_whole_structures", "unborne", "where_wires_change", "with_kept"]

#: What tells whether a structure bears the wires of both sides.
_BORNE = ("factored_longitudinal_n", "of_capacity_longitudinal", "over_capacity", "capacity")


def check_mix(mix: Mix, file) -> None:
    """Raise InputError where a mix is of other wires than the existing one and one more: of what hangs in none of its
    sections nothing could be pulled."""
    if mix.existing not in mix.parts or len(mix.parts) > 2:
        raise InputError(file, f"mixes.{mix.name}", f"options {', '.join(mix.parts)}",
                         "the existing option in some sections and one other in the rest, where it is planned")


def with_kept(site: Site, name: str, kept: np.ndarray) -> Site:
    """Return the site of an option with the existing wire kept in sections (section,) bool, as a mix of that name."""
    hangs = np.where(kept, site.old, site.option).astype(object)
    mix = mix_of(name, hangs, site.plan.spans, site.old)
    return replace(site, option=name, facts=replace(site.facts, mixes=(mix,)))


def mix_tables(site: Site, after: Variant) -> list[dict]:
    """Return the tables of the mix that is planned, by the sections of the line with remedies; none of an option."""
    sections, tables = after.line.plan.sections, []
    for mix in after.line.facts.mixes:
        new = mix.hangs != site.old
        rows = [{"option": site.strung, "line": str(line), "sections": [
            str(name) for name in sections.name[new & (sections.line == line)]]} for line in dict.fromkeys(
                sections.line[new])]
        tables.append({"name": mix.name, "option": site.old, "in_sections": rows})
    return tables


def unborne(site: Site, after: Variant, progress: Progress | None = None) -> tuple[str, str]:
    """Return words for what no remedy puts right on the finished line, so that its check fails: structures at which the
    wires of a mix change and which bear more there than they can, or else anything that bears too much or is too near
    to a structure, whatever it was before; and for structures of which it is not known what they bear along the line,
    and spans in which no option has been compared with what a mix has near by. "" for none. All of the line is looked
    at.
    """
    line, gaps = after.line, {name: set() for name in (site.option, site.strung, site.old)}
    over, lost, tally = [], [], Tally(line.facts)
    for layer, rows in find(line.facts, line.plan, line.ground, progress=progress, needless=OPTIONAL):
        tally.add(layer, rows)
        for name in gaps if layer == "not_assessed" else ():
            gaps[name] |= set(keys_of(rows, ("line", "span", "wire", "case", "reason"), rows["option"] == name))
        if layer == "structure_capacity":
            over, lost = where_wires_change(rows, rows["option"] == site.option)
    # What is not assessed of an option alone is told of that.
    beside = gaps[site.option] - gaps[site.strung] - gaps[site.old]
    lost += [f"{span}: {reason}" for _, span, _, _, reason in sorted(beside, key=str)[:3]]
    return "; ".join(dict.fromkeys(over or tally.failures(site.option))), "; ".join(lost)


def where_wires_change(rows: dict, chosen: np.ndarray) -> tuple[list[str], list[str]]:
    """Return words for chosen rows of `structure_capacity` (row,) bool of structures at which wires change: what is
    more than they bear, and of which no capacity along the line is known."""
    own, worst = np.array([CHANGE in words for words in rows["capacity"]], bool) & chosen, {}
    for line, name, *told in keys_of(rows, ("line", "structure", *_BORNE), own):
        worst.setdefault((line, name), []).append(tuple(told))
    over = [f"where wires change at {name}: {told}" for (_, name), of in worst.items()
            for _, _, above, told in of if above]
    pulls = {name: np.fmax.reduce([pull for pull, *_ in of]) / 1e3 for (_, name), of in worst.items()
             if any(np.isnan(share) for _, share, *_ in of)}
    lost = [] if not pulls else ["no capacity along the line is given where wires change: " + ", ".join(
        f"{name} (up to {pull:.1f} kN)" for name, pull in pulls.items())]
    return over, lost


def of_whole_structures(site: Site, line: AlteredLine, hangs: np.ndarray) -> dict[str, np.ndarray]:
    """Return the rows of `structure_capacity` of a line with remedies in whose sections, those of the existing line,
    some options hang, (section,) names. Nothing but loads is looked at, in sections beside structures that it tells of.
    """
    plan, none = line.plan, ""  # which no option is named
    mix = mix_of(none, hangs, site.plan.spans, site.old)
    facts = replace(line.facts, mixes=(mix.moved(site.plan.spans.section[line.parent[plan.sections.first]]),))
    totals = Totals(facts, structures_of_change(facts.mixes, plan.spans, plan.sections))
    beside = np.isin(plan.spans.tail, totals.at) | np.isin(plan.spans.head, totals.at)
    for first, last in runs_of(plan, np.unique(plan.spans.section[beside])):
        totals.add(*whole_loads(facts, plan, first, last))
    rows = totals.rows(plan.base_elevation)
    return {name: values[rows["option"] == none] for name, values in rows.items()}
