"""Findings of an option with remedies in place, all of them, by the exact model."""

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from corridor.assessment import OPTIONAL, Plan, assess_spans
from corridor.check import Progress, find
from corridor.clearance.at_structures import FAILED
from corridor.clearance.capacity import COMPONENTS
from corridor.clearance.structure_loads import NOTHING
from corridor.clearance.study_lines import near_spans
from corridor.planning.remedies.alterations import Alterations, AlteredLine, Site, altered, unaltered

__all__ = ["POINT", "STRING", "Variant", "assess_variant", "clears", "failing_sections", "keys_of", "of_option",
           "runs_of"]

#: Spans that are assessed together.
_RUN = 200
#: Farther than this from a span nothing that may be taken away is compared with its wires, swung and falling too [m].
_REACH = 250.0
_LAYERS = ("clearances", "violations", "structure_loads", "wires", "not_assessed", "limits", "sections")
#: What names a string in a state.
STRING = ("line", "structure", "wire", "case")
#: What names a point of a structure in a state.
POINT = (*STRING, "section_side")
_NUMBER = re.compile(r"\d[\d.]*(e[-+]?\d+)?")
#: A share of a limit that is no more than it [-].
_WHOLE = 1 + 1e-6


@dataclass(frozen=True)
class Variant:
    """Findings of an option with `alterations`, on the `line` laid out with them; `layers` columns by name.

    `fresh` are the (line, section) that were not taken over from another variant, `held` those that the layers have
    rows of; None for all.
    """

    alterations: Alterations
    line: AlteredLine
    layers: dict[str, dict[str, np.ndarray]]
    fresh: frozenset | None = None
    held: frozenset | None = None

    def of(self, option: str) -> "Variant":
        """Return the findings of one option alone."""
        return replace(self, layers={name: of_option(option, [(name, rows)])[name]
                                     for name, rows in self.layers.items()})

    @property
    def alone(self) -> "Variant":
        """What was found for this variant, and was not taken over."""
        if self.fresh is None:
            return self
        sections = self.line.plan.sections
        own = _names(self.line.plan, np.array([key in self.fresh for key in zip(sections.line, sections.name,
                                                                                  strict=True)], bool))
        return replace(self, held=self.fresh, layers={name: _of_names(rows, own) for name, rows in self.layers.items()})

    def is_fresh(self, rows: dict) -> np.ndarray:
        """Return for rows of a layer whether they were found for this variant, (row,)."""
        return np.array([self.fresh is None or key in self.fresh for key in keys_of(rows, ("line", "section"))], bool)

    @property
    def fresh_spans(self) -> int:
        """Number of spans that were not taken over from another variant."""
        spans, sections = self.line.plan.spans, self.line.plan.sections
        count = np.bincount(spans.section, minlength=len(sections))
        return int(sum(n for n, *name in zip(count, sections.line, sections.name, strict=True)
                       if self.fresh is None or tuple(name) in self.fresh))

    @property
    def short(self) -> int:
        """Number of violations."""
        return len(self.layers["violations"]["margin_m"])

    @property
    def unassessed(self) -> set:
        """Keys of what was not assessed: its span on the existing line, and the reason, whatever its numbers."""
        spans = self.line.plan.spans
        parent = dict(zip(zip(spans.line, spans.name, strict=True), self.line.parent, strict=True))
        rows = keys_of(self.layers["not_assessed"], ("line", "span", "reason", "wire", "case", "against", "obstacle"))
        return {(line, parent.get((line, span)), _NUMBER.sub("", reason), *rest) for line, span, reason, *rest in rows}

    @property
    def nearly_lifted(self) -> set:
        """Keys of strings that the wires pull down by less than half of their weight, or lift."""
        loads = self.layers["structure_loads"]
        return set(keys_of(loads, STRING, loads["uplift"].astype(bool)))

    @property
    def lifted(self) -> set:
        """Keys of strings that the wires have lifted."""
        loads = self.layers["structure_loads"]
        return set(keys_of(loads, STRING, loads["lifted"].astype(bool)))

    @property
    def too_near(self) -> set:
        """Keys of strings that swing over their limit, or whose wire is too near to the structure."""
        loads = self.layers["structure_loads"]
        return set(keys_of(loads, STRING, loads["at_structure"] == FAILED))

    @property
    def _asks_tension(self):
        """True for the rows of `sections` in cases that ask for tension."""
        return np.isin(self.layers["sections"]["case"],
                       [case.name for case in self.line.facts.cases if "tension" in case.checks])

    @property
    def overloaded(self) -> set:
        """Keys of sections whose wire is tensioned above its rated strength in a case that asks for tension, and of
        points of structures that bear more than their capacity."""
        s, loads = self.layers["sections"], self.layers["structure_loads"]
        wires = keys_of(s, ("line", "section", "wire_kind", "case"), self._asks_tension & (s["percent_rts"] > 100))
        return {*wires, *keys_of(loads, POINT, loads["over_capacity"] == True)}  # noqa: E712

    def used(self, largest_load_ratio: float | None) -> tuple[np.ndarray, np.ndarray, list]:
        """Return the shares (row,) [-] that phase wires use of their strength, where a case asks for it, and structures
        of the load allowed, nan where that is not known; of each the section of the existing line, and names."""
        s, loads, key = self.layers["sections"], self.layers["structure_loads"], ("line", "section")
        own = self._asks_tension & (s["wire_kind"] == "phase")
        share, names = s["percent_rts"][own] / 100, list(keys_of(s, key, own))
        if largest_load_ratio is not None:
            share = np.r_[share, _ratio_to_existing(loads) / largest_load_ratio]
            names += keys_of(loads, key)
        return share.astype(float), self.line.sections_before(names), names

    def burdened(self, before: "Variant", largest_load_ratio: float | None) -> set:
        """Keys of points of structures of the existing line, `before`, that bear more than the load allowed over
        what the existing wire does to them today, or of which that is not known; but for those that bore as much
        before."""
        if largest_load_ratio is None:
            return set()
        today = _today(before.layers["structure_loads"])
        shares, known = (_shares(each.layers["structure_loads"], today) for each in (self, before))
        own = {(line, structure) for line, structure, *_ in today}
        return {key for key, share in shares.items() if key[:2] in own
                and share > max(largest_load_ratio, known.get(key, 0.0)) * _WHOLE}

    def unloaded(self, largest_load_ratio: float | None) -> bool:
        """Return whether no section that is strung tauter loads wire or structures by more than is allowed."""
        share, section, _ = self.used(largest_load_ratio)
        # What is not known is no share that is small enough.
        return bool((share <= _WHOLE)[self.alterations.tightened[section] > 0].all())


def _today(loads):
    """What the existing wire does to points of structures, by key, (component,) [N]; nan where it is not known, or next
    to nothing."""
    with np.errstate(all="ignore"):
        sizes = np.stack([np.abs(np.asarray(loads[f"{each}_n"], float)) / np.asarray(loads[f"ratio_{each}"], float)
                          for each in COMPONENTS], axis=-1)
    return dict(zip(keys_of(loads, POINT), np.where(sizes > 0, sizes, np.nan), strict=True))


def _shares(loads, today):
    """The maximum share of the loads of today at each point, inf where that is not known of a load that counts."""
    sizes = np.stack([np.abs(np.asarray(loads[f"{each}_n"], float)) for each in COMPONENTS], axis=-1)
    keys = list(keys_of(loads, POINT))
    known = np.array([today.get(key, np.full(len(COMPONENTS), np.nan)) for key in keys]).reshape(-1, len(COMPONENTS))
    share = np.where(sizes <= NOTHING, 0.0, np.nan_to_num(sizes / known, nan=np.inf))
    return dict(zip(keys, share.max(axis=1, initial=0.0).tolist(), strict=True))


def _ratio_to_existing(loads):
    """The maximum ratio of each row to the existing wire, (row,); nan where any is not known of a load that counts."""
    ratios, sizes = (np.stack([np.asarray(loads[pattern.format(each)], float) for each in COMPONENTS])
                     for pattern in ("ratio_{}", "{}_n"))
    unknown = np.isnan(ratios) & ~(np.abs(sizes) <= NOTHING)
    return np.where(unknown.any(axis=0), np.nan, np.asarray(loads["ratio_to_existing"], float))


def keys_of(rows: dict, names: tuple[str, ...], chosen=np.s_[:]):
    """Return an iterator over the values that name each row of a layer."""
    return zip(*(rows[name][chosen] for name in names), strict=True)


def clears(now: Variant, before: Variant, largest_load_ratio: float | None = None) -> bool:
    """Return whether a variant has nothing short, no string lifted, and none nearly so anew, no wire or structure
    overloaded anew, no structure loaded beyond a ratio to the existing loads or more beyond it than before, no string
    swung too far anew, and nothing unassessed that was assessed before: what is not assessed
    is not remedied."""
    return (not now.short and not now.lifted and now.nearly_lifted <= before.nearly_lifted
            and now.too_near <= before.too_near and now.overloaded <= before.overloaded
            and now.unassessed <= before.unassessed and now.unloaded(largest_load_ratio)
            and not now.burdened(before, largest_load_ratio))


def failing_sections(now: Variant, before: Variant, largest_load_ratio: float | None = None) -> np.ndarray:
    """Return the sections of the existing line in which a variant does not clear, of all where that is said of
    none in particular."""
    line, layers = now.line, now.layers
    spans, loads, sections = line.before.spans, layers["structure_loads"], layers["sections"]
    anew = now.lifted | (now.nearly_lifted - before.nearly_lifted) | (now.too_near - before.too_near)
    over = now.overloaded - before.overloaded
    burdened = now.burdened(before, largest_load_ratio)
    names = [key for key, string, point in zip(keys_of(loads, ("line", "section")), keys_of(loads, STRING),
                                               keys_of(loads, POINT), strict=True)
             if string in anew or point in over or point in burdened]
    names += [key for key, wire in zip(keys_of(sections, ("line", "section")),
                                       keys_of(sections, ("line", "section", "wire_kind", "case")), strict=True)
              if wire in over]
    parents = [parent for _, parent, *_ in now.unassessed - before.unassessed]
    share, of, _ = now.used(largest_load_ratio)
    taut = of[~(share <= _WHOLE) & (now.alterations.tightened[of] > 0)]
    if None in parents:
        return np.arange(len(line.before.sections))
    return np.unique(np.concatenate([spans.section[line.parent[line.spans_at(layers["violations"])]],
                                     line.sections_before(dict.fromkeys(names)) if names else [],
                                     spans.section[parents] if parents else [], taut]).astype(int))


def assess_variant(site: Site, alterations: Alterations | None = None, earlier: Variant | Sequence[Variant] = (),
                   progress: Progress | None = None, *, limits: bool = False, every: bool = False) -> Variant:
    """Return the findings of the option with alterations (default: none), of all spans; the layer `limits` where it
    is asked for, which takes as long as all else; with `every` those of the existing option, too.

    What other variants, `earlier`, found in sections that are as they were there is taken over, of the first that has
    it; what is said of no section, of the first. `progress(done, total)` is told spans where all are looked at.
    """
    alterations = unaltered(site) if alterations is None else alterations
    line = altered(site, alterations)
    option = None if every else site.option
    needless = OPTIONAL - {"limits"} if limits else OPTIONAL
    only = None if line.facts.mixes else option
    known = (earlier,) if isinstance(earlier, Variant) else tuple(earlier)
    source = _sources(site, line, alterations, known)
    if (source < 0).all():
        return Variant(alterations, line, of_option(option, find(
            line.facts, line.plan, line.ground, progress=progress, needless=needless, only=only)))
    sections, names = np.flatnonzero(source < 0), line.plan.sections
    found = of_option(option, (item for batch in _assessed(line, sections, needless, only) for item in batch.items()))
    parts = [(each.layers, _names(line.plan, source == i)) for i, each in enumerate(known) if i in {0, *source}]
    nowhere = _names(known[0].line.plan, slice(None))
    return Variant(alterations, line, {name: _together(
        [_of_names(layers[name], own, () if i else nowhere) for i, (layers, own) in enumerate(parts)], found.get(name))
        for name in known[0].layers if all(name in layers for layers, _ in parts)},
        frozenset(zip(names.line[sections], names.name[sections], strict=True)))


def of_option(option: str | None, parts: Iterable[tuple[str, dict]]) -> dict[str, dict[str, np.ndarray]]:
    """Return columns of the layers that a variant has, of batches (layer, columns), the rows of one option alone (None:
    of all)."""
    batches = {}
    for layer, columns in parts:
        if layer in _LAYERS:
            batches.setdefault(layer, []).append(columns)
    return {name: _joined(some, option) for name, some in batches.items()}


def _joined(batches, option):
    columns = {name: np.concatenate([np.asarray(batch[name], object if name == "geometry" else None)
                                     for batch in batches]) for name in batches[0]}
    own = [option is None or each is None or each == option for each in columns["option"]]
    return {name: values[np.array(own, bool)] for name, values in columns.items()}


def _sources(site, line, now, known):
    """Which of some variants has each section of an altered line as it is there, the first that does; -1 for none."""
    spans, sections = line.plan.spans, line.plan.sections
    source = np.full(len(sections), -1)
    beside = near_spans(line.facts.structures, spans, line.facts.framings, 0, len(spans) - 1) if known else None
    for i, each in enumerate(known):
        same = np.array([each.held is None or key in each.held for key in zip(sections.line, sections.name,
                                                                              strict=True)], bool)
        if (same & (source < 0)).any():
            same[_other_sections(site, line, now, each.alterations, beside)] = False
            source[same & (source < 0)] = i
    return source


def _other_sections(site, line, now, before, beside):
    """Sections of an altered line where something else is done than before, or that are others than before; `beside`
    pairs of spans near each other."""
    spans, parent = line.plan.spans, line.parent
    changed = np.array([a != b for a, b in zip(now.changes, before.changes, strict=True)] + [False])
    touched = changed[line.origin[spans.tail]] | changed[line.origin[spans.head]]
    touched |= np.isin(parent, np.setxor1d(now.added, before.added))
    touched |= (now.cut != before.cut)[parent]
    touched |= (now.tightened != before.tightened)[site.plan.spans.section[parent]]
    other = (now.removed != before.removed) | (now.tops != before.tops) | (now.narrower != before.narrower)
    if other.any():
        chords = shapely.STRtree(line.facts.structures.lines(spans.tail, spans.head))
        touched[chords.query(site.facts.index.obstacles.geometry[other], "dwithin", _REACH)[1]] = True
    moved = np.isin(spans.section, spans.section[touched])
    touched[beside[moved[beside[:, 0]], 1]] = True
    return np.unique(spans.section[touched])


def _assessed(line, sections, needless, only):
    """Findings of some sections."""
    for first, last in runs_of(line.plan, sections):
        yield assess_spans(line.facts, line.plan, line.ground, first, last, needless, only=only)


def runs_of(plan: Plan, sections: np.ndarray) -> Iterator[tuple[int, int]]:
    """Yield first and last spans of runs of some sections (index, ascending), neighbours together but no more than some
    hundreds of spans."""
    first, last = plan.sections.first, plan.sections.last
    part = np.cumsum(last[sections] + 1 - first[sections]) // _RUN
    ends = np.flatnonzero((np.diff(sections) > 1) | (np.diff(part) > 0)) + 1
    for run in np.split(sections, ends) if len(sections) else ():
        yield int(first[run[0]]), int(last[run[-1]])


def _names(plan, sections):
    """The (line, name) of some sections and of their spans."""
    within = np.isin(plan.spans.section, np.arange(len(plan.sections))[sections])
    return {*zip(plan.sections.line[sections], plan.sections.name[sections], strict=True),
            *zip(plan.spans.line[within], plan.spans.name[within], strict=True)}


def _of_names(rows, own, known=None):
    """Rows of the sections and spans of some names; with those that are `known`, rows of none of these, too."""
    of = "section" if "section" in rows else "span"
    kept = np.array([key in own or (bool(known) and key not in known) for key in keys_of(rows, ("line", of))], bool)
    return {name: values[kept] for name, values in rows.items()}


def _together(parts, found):
    """Rows of several variants, and those that were found anew."""
    parts = parts if found is None else [*parts, found]
    return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
