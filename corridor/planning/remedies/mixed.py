"""Mixes of the existing option and another one: what is pulled where, and what the structures between them bear."""

from dataclasses import replace

import numpy as np

from corridor.assessment import OPTIONAL
from corridor.check import Progress, find
from corridor.clearance.capacity import CHANGE
from corridor.errors import InputError
from corridor.line.mixes import Mix, mix_of
from corridor.planning.remedies.alterations import Site
from corridor.planning.remedies.variants import Variant, keys_of

__all__ = ["check_mix", "mix_tables", "unborne", "with_kept"]

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
    """Return words for structures at which the wires of a mix change, and which bear more there than they can; and for
    those of which it is not known what they bear along the line, and spans in which no option has been compared with
    what a mix has near by. "" for none. All of the line is looked at.
    """
    line, worst, gaps = after.line, {}, {name: set() for name in (site.option, site.strung, site.old)}
    for layer, rows in find(line.facts, line.plan, line.ground, progress=progress, needless=OPTIONAL):
        for name in gaps if layer == "not_assessed" else ():
            gaps[name] |= set(keys_of(rows, ("line", "span", "wire", "case", "reason"), rows["option"] == name))
        if layer == "structure_capacity":
            own = np.array([CHANGE in words for words in rows["capacity"]], bool) & (rows["option"] == site.option)
            for line_name, name, *told in keys_of(rows, ("line", "structure", *_BORNE), own):
                worst.setdefault((line_name, name), []).append(tuple(told))
    over = [f"where wires change at {name}: {told}" for (_, name), of in worst.items()
            for _, _, above, told in of if above]
    pulls = {name: np.fmax.reduce([pull for pull, *_ in of]) / 1e3 for (_, name), of in worst.items()
             if any(np.isnan(share) for _, share, *_ in of)}
    lost = [] if not pulls else ["no capacity along the line is given where wires change: " + ", ".join(
        f"{name} (up to {pull:.1f} kN)" for name, pull in pulls.items())]
    # What is not assessed of an option alone is told of that.
    beside = gaps[site.option] - gaps[site.strung] - gaps[site.old]
    lost += [f"{span}: {reason}" for _, span, _, _, reason in sorted(beside, key=str)[:3]]
    return "; ".join(dict.fromkeys(over)), "; ".join(lost)
