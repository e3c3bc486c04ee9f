"""What putting each line of a network right costs: one line planned after the other, ranked by cost per ampere.

Lines near each other, whose wires are compared with one another, are planned together: apart, a violation between them
would be seen by neither.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from corridor.arrays import take
from corridor.check import Progress
from corridor.clearance.study_lines import near_spans
from corridor.errors import InputError
from corridor.inputs.study_inputs import Inputs
from corridor.opened import Opened
from corridor.outputs.tables import WIDTH, aligned, number
from corridor.outputs.tables_lines import SHORT_TODAY
from corridor.planning.outages.states import carried_today
from corridor.planning.remedies.plan import check_v_strings, plan_option, require_option, site_of
from corridor.planning.remedies.taken import taken
from corridor.planning.remedies.variants import assess_variant
from corridor.rating.ladder import ceilings

__all__ = ["LinePlan", "columns_of_plans", "each_line_text", "plan_each_line"]


@dataclass(frozen=True)
class LinePlan:
    """What an option comes to on a line, or on several near each other (`lines`), `length` [km] in all.

    `today` what they carry with the existing option and `current` with this one once the plan is carried out, the least
    of them [A], nan where not known; `violations` before; `remedies` in words; `cost` of remedies and `wire` of the new
    wire, nan where there is no plan or no price; `gaps` rows that are not assessed with the plan in place; `refused`
    why there is no plan, "" where there is one.
    """

    lines: tuple[str, ...]
    length: float
    today: float
    current: float
    violations: int
    remedies: str
    cost: float
    wire: float
    gaps: int
    refused: str

    @property
    def total(self) -> float:
        """Cost of remedies and wire, nan where one of them is not known."""
        return self.cost + self.wire

    @property
    def gained(self) -> float:
        """Amperes more than today, nan where one of them is not known."""
        return self.current - self.today

    @property
    def per_ampere(self) -> float:
        """Cost of an ampere gained, nan where it is not known or nothing is gained."""
        return self.total / self.gained if self.gained > 0 else np.nan

    @property
    def note(self) -> str:
        """Why it has no rank of its own, in words."""
        if self.refused:
            return f"no plan: {self.refused}"
        words = ["what the line carries is not known"] * bool(np.isnan(self.gained)) + [
            SHORT_TODAY] * bool(self.today == 0) + ["no more current"] * bool(
            self.gained <= 0) + ["no price of the wire ([[plan.wires]])"] * bool(np.isnan(self.wire))
        return "; ".join([*words, *[f"{self.gaps} not assessed: not a pass"] * bool(self.gaps)])

    @property
    def ranked(self) -> bool:
        """Whether all is known, and something gained."""
        return not any(self.rank[:5])

    @property
    def rank(self) -> tuple:
        """Where it stands: the cheapest ampere first; then those that gain nothing or of which something is not known,
        by what is missing; without a plan last."""
        return (bool(self.refused), bool(self.gaps), bool(np.isnan(self.gained)), not self.gained > 0,
                bool(np.isnan(self.total)), np.nan_to_num(self.per_ampere), self.lines)


def plan_each_line(opened: Opened, option: str, *, progress: Progress | None = None) -> tuple[LinePlan, ...]:
    """Plan an option on each line of a study by itself, lines near each other together, and rank them.

    Nothing is written. What a line cannot be planned for is told as `refused`, and ranked last.

    Parameters
    ----------
    opened : Opened
    option : str
    progress : callable, optional
        `progress(done, total)` in lines.

    Raises
    ------
    InputError
        The study has no such option.
    """
    require_option(opened, option)
    check_v_strings(opened.inputs)
    facts, plan, _ = opened.laid_out
    groups = _groups(facts.structures, plan.spans, facts.framings)
    highest = float(np.fmax.reduce(plan.base_elevation))
    found, done, total = [], 0, sum(map(len, groups))
    for lines in groups:
        if progress:
            progress(done, total)
        found.append(_planned(_of_lines(opened.inputs, lines, highest), option, lines, plan.spans))
        done += len(lines)
    if progress:
        progress(total, total)
    return tuple(sorted(found, key=lambda each: each.rank))


def _groups(structures, spans, framings):
    """Names of lines, those together that come near each other."""
    names = list(dict.fromkeys(structures.line.tolist()))
    of = {name: i for i, name in enumerate(names)}
    pairs = near_spans(structures, spans, framings, 0, len(spans) - 1)
    a, b = (np.array([of[name] for name in spans.line[side]], int) for side in pairs.T)
    joined = coo_array((np.ones(len(a)), (a, b)), shape=(len(names), len(names)))
    _, group = connected_components(joined, directed=False)
    return [tuple(name for name, own in zip(names, group, strict=True) if own == k) for k in dict.fromkeys(group)]


def _of_lines(inputs: Inputs, lines: Sequence[str], highest: float) -> Inputs:
    """Inputs of some lines alone, rated in the air of the whole study."""
    own = np.isin(inputs.structures.line.astype(str), lines)
    structures = take(inputs.structures, own)
    # A mix is of sections that these lines may lack.
    study = inputs.study.model_copy(update={"mixes": ()})
    if inputs.needs_highest:
        study = study.model_copy(update={"rating": study.rating.model_copy(update={"elevation": highest})})
    if study.plan is not None:
        known = set(structures.structure.tolist())
        kept = {key: tuple(name for name in getattr(study.plan, key) if name in known)
                for key in ("untouched", "v_string_structures")}
        study = study.model_copy(update={"plan": study.plan.model_copy(update=kept)})
    return replace(inputs, structures=structures, study=study)


def _planned(inputs, option, lines, spans):
    """The plan of one group of lines."""
    length = float(spans.length[np.isin(spans.line.astype(str), lines)].sum()) / 1e3
    none = LinePlan(tuple(lines), length, np.nan, np.nan, 0, "", np.nan, np.nan, 0, "")
    try:
        site = site_of(inputs, option)
        existing = site.facts.existing
        every = assess_variant(site, limits=True, every=True)
        before = every.of(option)
        today = np.nan if existing is None else carried_today(every, existing)[0]
        planned = plan_option(site, before=before)
    except InputError as error:  # a line that cannot be planned is told, and the others are planned
        return replace(none, refused=str(error))
    at = replace(none, today=today, violations=before.short)
    if not planned.cleared:
        why = "; ".join(planned.forbids) or "no remedy clears it"
        return replace(at, refused=why)
    carried = ceilings(site.facts.heat, planned.after.line.plan.spans)
    kinds = taken(planned)["remedy"]
    counts = ", ".join(f"{kind} {kinds.count(kind)}" for kind in dict.fromkeys(kinds))
    price = next((row.cost_per_km for row in site.prices.wires if row.option == option), np.nan)
    # Of several lines one that is not known leaves the whole not known.
    current = np.min([each.current for (_, name), each in carried.items() if name == option])
    return replace(at, current=float(current),
                   remedies=counts, cost=planned.cost, wire=0.0 if option == existing else price * length,
                   gaps=len(planned.after.layers["not_assessed"]["reason"]))


def columns_of_plans(plans: Sequence[LinePlan]) -> dict[str, list]:
    """Return plans as columns, in their order."""
    return {
        "rank": [number if each.ranked else np.nan for number, each in enumerate(plans, 1)],
        "lines": [" + ".join(each.lines) for each in plans],
        "length_km": [each.length for each in plans], "existing_current_a": [each.today for each in plans],
        "planned_current_a": [each.current for each in plans], "gained_current_a": [each.gained for each in plans],
        "violations": [each.violations for each in plans], "remedies": [each.remedies or None for each in plans],
        "remedies_cost": [each.cost for each in plans], "wire_cost": [each.wire for each in plans],
        "cost": [each.total for each in plans], "cost_per_ampere": [each.per_ampere for each in plans],
        "not_assessed": [each.gaps for each in plans], "note": [each.note or None for each in plans]}


def each_line_text(plans: Sequence[LinePlan], option: str, currency: str | None) -> list[str]:
    """Return the ranked plans as lines for a terminal."""
    rows = [[str(i) if each.ranked else "-", " + ".join(each.lines), number(np.floor(each.today)),
             number(np.floor(each.current)), number(each.cost, ".4g"), number(each.wire, ".4g"),
             number(each.per_ampere, ".3g")]
            for i, each in enumerate(plans, 1)]
    notes = [f"{' + '.join(each.lines)}: {each.note}"[:WIDTH.get() * 3] for each in plans if each.note]
    return [f"{option}: lines by cost per ampere gained, in {currency or 'relative units'}", *aligned(
        ["", "lines", "A today", "A planned", "remedies", "wire", "per A"], rows, left=2), *notes]
