"""What hangs while a circuit is back in service between two outages: whether that is safe, and what it carries.

Between outages some remedies are in place, some sections have the new wire, and the others the old one. A section with
the new wire must clear as it does when all is done. One with the old wire may have no violation that it does not
have today, and none that is greater; nothing of it may be lifted, overloaded or left unassessed that is not
today. No structure may bear more than its capacity, but for what it bears today. Where work is done circuit by circuit,
some circuits of a section are so far and others are not: for each the whole line must be safe as it is for that
circuit, as if the others were so far, too. Findings tell of the worst wire alone, so that nothing less shows that the
wires of one circuit are clear.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from corridor.check import Progress
from corridor.planning.circuits import own_circuits
from corridor.planning.outages.bearing import Borne, borne, borne_today
from corridor.planning.outages.grouping import Grouping
from corridor.planning.outages.work import AT_STRUCTURES, STRINGING, WorkItem
from corridor.planning.remedies.alterations import NONE, Alterations, Site
from corridor.planning.remedies.offered import OF_OTHERS
from corridor.planning.remedies.plan import Planned
from corridor.planning.remedies.variants import Variant, assess_variant, failing_sections
from corridor.rating.limits import NO_TEMPERATURE, UNKNOWN

__all__ = ["State", "carried_today", "compared_together", "states_of", "with_items"]

#: By how much less a margin of the old wire may be than today without being less [m].
_SAME = 1e-3
_TODAY = -1
_KEY = ("wire", "case", "against", "obstacle", "measure", "position")


@dataclass(frozen=True)
class State:
    """The line after so many outages (`after`, 0 today): `pulled` sections with the new wire, with the circuits that
    have it where not all do; `unsafe` sections and `words` that say why; `meet` sections that meet at a structure which
    bears too much there; `unknown` sections without the new wire of which nothing tells what hangs there; `unborne`
    words for structures between old and new wire without a capacity along the line; `unassessed` whether any of these
    counts: of capacities where the study gives some; `left` violations of the old wire that are there today, too;
    `current` and `emergency_current` that it carries [A], nan where that is not known, and the spans that set them,
    None where clearance sets none."""

    after: int
    pulled: tuple[str, ...]
    unsafe: tuple[int, ...]
    words: tuple[str, ...]
    meet: tuple[tuple[int, ...], ...]
    unknown: tuple[str, ...]
    unborne: tuple[str, ...]
    unassessed: bool
    left: int
    current: float
    span: str | None
    emergency_current: float
    emergency_span: str | None

    @property
    def safe(self) -> bool:
        """Whether a circuit may be put back."""
        return not self.unsafe


def states_of(planned: Planned, work: Sequence[WorkItem], without: Sequence[WorkItem], grouped: Grouping,
              progress: Progress | None = None) -> list[State]:
    """Return the State of the line today and after each outage, as far as the first that is unsafe, looked at in full.

    `without` is what is done before the first outage, as it needs none.
    """
    states: list[State] = []
    # What was found by what is done: today's findings are none of these, though the nearest to begin with.
    known, bear = {frozenset([_TODAY]): planned.every}, borne_today(planned.site, planned.every)
    for after in range(grouped.steps + 1):
        done = [*without, *(item for item, outage in zip(work, grouped.outage, strict=True) if outage < after)]
        shares, found = [], {}
        for circuits, own in _shares(planned, done):
            key = frozenset(id(item) for item in own if item.kind != "pull") if after else frozenset([_TODAY])
            if key not in found:
                found[key] = known[key] if key in known else assess_variant(
                    planned.site, with_items(planned, own), _nearest(known, key), progress, limits=True, every=True)
            shares.append(_Share(circuits, found[key], _pulled(planned, own)))
        known = found
        states.append(_state(planned, shares, after, bear))
        if not states[-1].safe:
            break
    return states


@dataclass(frozen=True)
class _Share:
    """Circuits for which the line is alike, all where they are None: its findings `now`, and the sections in which they
    have the new wire, `pulled`."""

    circuits: frozenset[str] | None
    now: Variant
    pulled: np.ndarray


def _nearest(known, key):
    """Of findings by what is done, those from which the fewest works differ."""
    return known[min(known, key=lambda each: len(each ^ key))]


def _shares(planned, done):
    """Circuits for which the same is done, and what that is: everything but what leaves them as they are."""
    site = planned.site
    by_circuit = {}
    for circuit in own_circuits(site.facts.structures, site.facts.framings, range(len(site.facts.structures))):
        own = tuple(i for i, item in enumerate(done) if not item.leaves(circuit))
        by_circuit.setdefault(own, set()).add(circuit)
    if len(by_circuit) <= 1:
        return [(None, done)]
    return [(frozenset(circuits), [done[i] for i in own]) for own, circuits in by_circuit.items()]


def compared_together(site: Site, work: Sequence[WorkItem]) -> tuple[list[WorkItem], tuple[tuple[int, int], ...]]:
    """Return the work of a plan, and pairs of it that must share an outage, as a study compares what circuits change
    one by one: wires of circuits with each other, or all of them with what a structure bears as a whole. Nothing tells
    that of old and new wires beside each other, so none hang so, and what is done in service is done in an outage."""
    whole = site.facts.capacities is not None and (site.facts.capacities.wire.astype(str) == "").any()
    if site.facts.own_wires is None and not whole:
        return list(work), ()
    work = [replace(item, live=()) if item.alone and {*item.circuits} != {*item.own} else item for item in work]
    parts = [i for i, item in enumerate(work) if {*item.circuits} != {*item.own}]
    sections = site.plan.spans.section
    return work, tuple((a, b) for k, a in enumerate(parts) for b in parts[:k] if {*work[a].own} & {*work[b].own}
                       and np.isin(sections[work[a].spans], sections[work[b].spans]).any())


def with_items(planned: Planned, done: Sequence[WorkItem]) -> Alterations:
    """Return what of the alterations of a plan is in place when some work is done."""
    every = planned.after.alterations
    at, spans, lower, gone = ({item.place for item in done if item.kind in kinds}
                              for kinds in (AT_STRUCTURES, ("add", "grade"), ("trim",), ("remove",)))
    under = [i for item in done if item.kind == "bury" for i in planned.site.circuits[item.place]]
    buried = every.buried & np.isin(np.arange(len(every.buried)), under)
    hung = [i for item in done if item.kind in OF_OTHERS for i in planned.site.others[item.place]]
    strung = {s for item in done for s in item.sections}
    hangs = planned.site.option == planned.site.old
    return replace(
        every, changes=tuple(change if s in at else NONE for s, change in enumerate(every.changes)),
        cut=np.where(np.isin(np.arange(len(every.cut)), list(spans)), every.cut, 0.0),
        trimmed=np.where(np.isin(np.arange(len(every.trimmed)), list(lower)), every.trimmed, 0.0),
        narrower=np.where(np.isin(np.arange(len(every.narrower)), list(lower)), every.narrower, 0.0),
        lowered=np.where(np.isin(np.arange(len(every.lowered)), hung), every.lowered, 0.0),
        removed=buried | every.removed & ~every.buried & np.isin(np.arange(len(every.removed)), list(gone)),
        buried=buried,
        # A new wire is strung as it is to hang.
        tightened=np.where(np.isin(np.arange(len(every.tightened)), list(strung)), every.tightened, 0.0) if hangs else
        every.tightened, added=every.added[np.isin(every.added, list(spans))])


def _pulled(planned, done):
    """Sections with the new wire."""
    if planned.site.option == planned.site.old:
        return np.zeros(0, int)
    return np.array(sorted({s for item in done if item.kind in STRINGING for s in item.sections}), int)


def _state(planned, shares, after, bear):
    site, left, carriers, bare, borne_by = planned.site, 0, [], [], []
    unsafe, words = np.zeros(0, int), []
    for share in shares:
        kept = np.setdiff1d(np.arange(len(site.plan.sections)), share.pulled)
        new = share.now.of(site.option)
        # Findings of what hangs, the sections where it does, in which it fails, and every violation there today.
        hangs = [(new, share.pulled, failing_sections(new, planned.before, site.prices.largest_load_ratio), {})]
        if site.old is not None:
            old, today = share.now.of(site.old), planned.every.of(site.old)
            known = _margins(today, kept)
            worse = replace(old, layers=old.layers | {"violations": _worse(old, known)})
            hangs.append((worse, kept, failing_sections(worse, today), known))
            left += len(_short_rows(old, kept)) - len(_short_rows(worse, kept))
        for variant, sections, failing, known in hangs:
            failing = np.intersect1d(failing, sections).astype(int)
            unsafe = np.union1d(unsafe, failing).astype(int)
            words += _short(site, variant, sections, known)
            other = np.setdiff1d(failing, _base(variant, variant.layers["violations"]))
            words += [f"section {site.plan.sections.name[s]}: a string is lifted, a wire or structure loaded too much, "
                      "or something is left unassessed" for s in other]
        carriers += [(share.now, site.option, share.pulled)] + ([(share.now, site.old, kept)] if site.old else [])
        bare += site.plan.sections.name[kept].tolist() if site.old is None and after else []
        borne_by.append(_borne(site, share, bear))
    meet = tuple({sections: None for each in borne_by for sections in each.meet})
    unsafe = np.union1d(unsafe, [s for sections in meet for s in sections]).astype(int)
    words += [told for each in borne_by for told in each.over]
    lost = tuple(dict.fromkeys(told for each in borne_by for told in each.lost))
    return State(after, _names(planned, shares), tuple(unsafe.tolist()), tuple(dict.fromkeys(words)), meet,
                 tuple(dict.fromkeys(bare)), lost, bool(bare or lost and site.facts.capacities), left,
                 *(each for which in ("", "emergency_") for each in _carried(carriers, which)))


def _borne(site, share, bear):
    """What structures bear with the new wire in the sections that have it, and the old one in the others."""
    new = np.isin(np.arange(len(site.plan.sections)), share.pulled)
    if site.old is None and not new.all():
        return Borne()
    return borne(site, share.now, np.where(new, site.strung, site.old).astype(object), bear)


def _names(planned, shares):
    """Names of sections with the new wire, with the circuits that have it where not all of a section do."""
    site, names = planned.site, []
    x, spans, sections = site.facts.structures, site.plan.spans, site.plan.sections
    for s in np.unique(np.concatenate([share.pulled for share in shares])).astype(int):
        at = spans.tail[sections.first[s]:sections.last[s] + 1]
        own = {*own_circuits(x, site.facts.framings, [*at, spans.head[sections.last[s]]])}
        have = {c for share in shares if s in share.pulled for c in (own if share.circuits is None else share.circuits)}
        names.append(str(sections.name[s]) + (f" ({'; '.join(sorted(own & have))})" if own - have else ""))
    return tuple(names)


def _base(variant, rows):
    """Sections of the existing line that rows of findings are of."""
    line = variant.line
    return line.before.spans.section[line.parent[line.spans_at(rows)]]


def _keys(variant, rows):
    line = variant.line
    return zip(line.parent[line.spans_at(rows)].tolist(), *(rows[name] for name in _KEY), strict=True)


def _margins(today, kept):
    """Every violation today in sections, to its margin [m]."""
    rows, least = today.layers["violations"], {}
    for key, section, margin in zip(_keys(today, rows), _base(today, rows), rows["margin_m"], strict=True):
        if section in kept:
            least[key] = min(least.get(key, np.inf), float(margin))
    return least


def _worse(old, before):
    """Violations of the old wire that are not there today, or by less."""
    rows = old.layers["violations"]
    worse = np.array([margin < before.get(key, np.inf) - _SAME for key, margin in
                      zip(_keys(old, rows), rows["margin_m"], strict=True)], bool)
    return {name: values[worse] for name, values in rows.items()}


def _short_rows(variant, sections):
    """Rows of violations in sections, the worst first."""
    rows = variant.layers["violations"]
    own = np.flatnonzero(np.isin(_base(variant, rows), sections))
    return own[np.argsort(rows["margin_m"][own], kind="stable")]


def _short(site, variant, sections, known):
    """Words for every violation in sections; `known` those of today, to their margins [m]."""
    rows, keys, worst = variant.layers["violations"], list(_keys(variant, variant.layers["violations"])), {}
    for i in _short_rows(variant, sections):
        worst.setdefault(rows["span"][i], i)
    return [f"{span} with the {'new' if rows['option'][i] == site.option else 'old'} wire, {rows['case'][i]}: "
            f"{-rows['margin_m'][i]:.2f} m short of {rows['obstacle'][i] or rows['against'][i]}"
            + (f", today {-known[keys[i]]:.2f} m" if keys[i] in known else "") for span, i in worst.items()]


def carried_today(now: Variant, option: str) -> tuple[float, str | None]:
    """Return the current that a line carries with one option all along [A], nan where that is not known, and the span
    that sets it, None where clearance sets none."""
    return _carried([(now, option, np.arange(len(now.line.before.sections)))], "")


def _carried(of, which):
    """The current that the line carries [A], and the span that sets it: of findings and options the limits in their
    sections."""
    currents, spans, governs = [], [], []
    for now, option, sections in of:
        rows = now.layers["limits"]
        own = np.isin(_base(now, rows), sections) & (np.asarray(rows["option"]) == option)
        currents.append(np.asarray(rows[f"{which}limit_current_a"], float)[own])
        spans.append(rows["span"][own])
        governs.append(rows[f"{which}governs"][own])
    current, span, governs = (np.concatenate(each) for each in (currents, spans, governs))
    none = governs == NO_TEMPERATURE
    lost = (governs == UNKNOWN) | (np.isnan(current) & ~none)
    if not len(current) or (governs == None).all():  # noqa: E711
        return np.nan, None
    if lost.any():
        return np.nan, str(span[np.flatnonzero(lost)[0]])
    current = np.where(none, 0.0, current)
    least = int(current.argmin())
    return float(current[least]), str(span[least]) if "clear" in str(governs[least]) else None
