"""A full look at one option: all its findings with remedies in place, by the exact model."""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from corridor.assessment import assess_spans
from corridor.check import THREADS, find
from corridor.planning.remedies.alterations import Laid, as_it_stands, edited
from corridor.study.plan import Plan as PlanSection

__all__ = ["Look", "Site", "derated", "holds", "look", "parents_of"]

#: Spans that are looked at together.
_RUN = 200
#: Farther than this from a span nothing that may be taken away is compared with its wires, swung and falling too [m].
_REACH = 250.0
_LAYERS = ("clearances", "violations", "structure_loads", "wires", "not_assessed", "violation_stretches", "limits",
           "sections")


@dataclass(frozen=True)
class Site:
    """The copy of a study with one option, laid out; `option` its name, `prices` the table [plan], `cells` what may be
    cut below spans (`corridor.planning.remedies.excavation.survey_cells`)."""

    study: object
    inputs: object
    facts: object
    plan: object
    ground: object
    option: str
    prices: PlanSection
    cells: dict = field(default_factory=dict)

    @property
    def wiring(self):
        """How the option is strung."""
        return next(each.wiring for each in self.facts.options if each.name == self.option)


@dataclass(frozen=True)
class Look:
    """Findings of one option with `edits`, on the line as `laid` out with them; `layers` columns by name.

    `fresh` are the (line, section) that were not taken over from an earlier look, None for all.
    """

    edits: object
    laid: Laid
    layers: dict
    fresh: frozenset | None = None

    def is_fresh(self, lines, sections):
        """Return for rows of a layer whether they were found in this look, (row,)."""
        if self.fresh is None:
            return np.ones(len(lines), bool)
        return np.array([key in self.fresh for key in zip(lines, sections, strict=True)], bool)

    @property
    def short(self):
        """Number of violations."""
        return len(self.layers["violations"]["margin_m"])

    @property
    def gaps(self):
        """Number of rows that were not assessed."""
        return len(self.layers["not_assessed"]["reason"])

    @property
    def height(self):
        """How much each structure is raised [m], (structure,)."""
        return np.array([change.rise for change in self.edits.changes])

    @property
    def lifted(self):
        """Keys of strings that the wires pull down by less than half of their weight, or lift."""
        return self._strings("uplift")

    @property
    def slack(self):
        """Keys of strings that the wires have lifted."""
        return self._strings("lifted")

    def _strings(self, column):
        loads = self.layers["structure_loads"]
        chosen = np.flatnonzero(loads[column].astype(bool))
        return set(zip(*(loads[name][chosen] for name in ("line", "structure", "wire", "case")), strict=True))

    @property
    def overloaded(self):
        """Keys of sections whose wire is tensioned above its rated strength in a case that asks for tension."""
        s = self.layers["sections"]
        asked = [case.name for case in self.laid.facts.cases if "tension" in case.checks]
        chosen = np.flatnonzero(np.isin(s["case"], asked) & (s["percent_rts"] > 100))
        return set(zip(*(s[name][chosen] for name in ("line", "section", "wire_kind", "case")), strict=True))


def holds(now, before):
    """Return whether a look has nothing short, no string lifted, and none nearly so, no wire overloaded and no row left
    unassessed anew."""
    return (not now.short and not now.slack and now.lifted <= before.lifted and now.overloaded <= before.overloaded
            and now.gaps <= before.gaps)


def look(site, edits=None, earlier=None):
    """Return the findings of the option with edits, of all spans.

    Parameters
    ----------
    site : Site
    edits : Edits, optional
        Default: none.
    earlier : Look, optional
        With other edits: what it found in sections that are as they were then is taken over.
    """
    edits = as_it_stands(site) if edits is None else edits
    laid = edited(site, edits)
    sections = None if earlier is None else _other_sections(site, laid, edits, earlier.edits)
    if sections is None or len(sections) == len(laid.plan.sections):
        return Look(edits, laid, _collected(find(laid.facts, laid.plan, laid.ground), site.option))
    found = _collected((item for batch in _assessed(laid, sections) for item in batch.items()), site.option)
    names = laid.plan.sections
    return Look(edits, laid, {name: _taken_over(laid.plan, sections, earlier.layers[name], found.get(name))
                              for name in _LAYERS},
                frozenset(zip(names.line[sections], names.name[sections], strict=True)))


def _collected(parts, option):
    """Columns of the layers that a look has, of batches (layer, columns)."""
    batches = {}
    for layer, columns in parts:
        if layer in _LAYERS:
            batches.setdefault(layer, []).append(columns)
    return {name: _joined(some, option) for name, some in batches.items()}


def _other_sections(site, laid, edits, before):
    """Sections of a line with edits where something else is done than before; None where that cannot be told."""
    strain = [[change.string == "strain" for change in each.changes] for each in (edits, before)]
    if strain[0] != strain[1] or not np.array_equal(edits.added, before.added):
        return None
    spans, parents = laid.plan.spans, parents_of(site, laid)
    changed = np.array([a != b for a, b in zip(edits.changes, before.changes, strict=True)] + [False])
    touched = changed[laid.origin[spans.tail]] | changed[laid.origin[spans.head]]
    touched |= (edits.cut != before.cut)[parents]
    touched |= (edits.tightened != before.tightened)[site.plan.spans.section[parents]]
    other = edits.removed != before.removed
    if other.any():
        x = laid.facts.structures
        ends = [np.stack([x.easting[i], x.northing[i]], axis=-1) for i in (spans.tail, spans.head)]
        chords = shapely.STRtree(shapely.linestrings(np.stack(ends, axis=1)))
        touched[chords.query(site.facts.index.obstacles.geometry[other], "dwithin", _REACH)[1]] = True
    return np.unique(spans.section[touched])


def _assessed(laid, sections):
    """Findings of some sections, neighbours together but no more than `_RUN` spans, two runs at once."""
    plan = laid.plan
    part = np.cumsum(plan.sections.last[sections] + 1 - plan.sections.first[sections]) // _RUN
    cuts = np.flatnonzero((np.diff(sections) > 1) | (np.diff(part) > 0)) + 1
    runs = np.split(sections, cuts) if len(sections) else []
    with ThreadPoolExecutor(THREADS) as pool:
        yield from pool.map(lambda run: assess_spans(laid.facts, plan, laid.ground, int(plan.sections.first[run[0]]),
                                                     int(plan.sections.last[run[-1]])), runs)


def _taken_over(plan, sections, earlier, found):
    """Rows of an earlier look but for those of some sections, and those that were found there."""
    spans = plan.spans
    within = np.isin(spans.section, sections)
    names = set(zip(plan.sections.line[sections], plan.sections.name[sections], strict=True))
    names |= set(zip(spans.line[within], spans.name[within], strict=True))
    of = earlier["section"] if "section" in earlier else earlier["span"]
    kept = np.array([key not in names for key in zip(earlier["line"], of, strict=True)], bool)
    return {name: values[kept] if found is None else np.concatenate([values[kept], found[name]])
            for name, values in earlier.items()}


def parents_of(site, laid):
    """Return the span of the line as it stands that each span of a line with edits is, or is a part of."""
    spans, origin = site.plan.spans, laid.origin
    of_tail, of_head = (np.full(len(site.facts.structures), -1) for _ in range(2))
    of_tail[spans.tail], of_head[spans.head] = np.arange(len(spans)), np.arange(len(spans))
    tail, head = origin[laid.plan.spans.tail], origin[laid.plan.spans.head]
    return np.where(tail >= 0, of_tail[tail], of_head[head])


def _joined(batches, option):
    """Columns of all batches, the rows of one option alone."""
    columns = {name: np.concatenate([np.asarray(batch[name], object if name == "geometry" else None)
                                     for batch in batches]) for name in batches[0]}
    own = np.array([each is None or each == option for each in columns["option"]], bool)
    return {name: values[own] for name, values in columns.items()}


def derated(site, temperature):
    """Return the site with the option at a lower greatest temperature [degC], its emergency lower by as much."""
    lower = site.wiring.maximum_temperature - temperature
    emergency = site.wiring.emergency_temperature
    wiring = replace(site.wiring, maximum_temperature=temperature,
                     emergency_temperature=None if emergency is None else emergency - lower)
    options = tuple(replace(each, wiring=wiring) if each.name == site.option else each for each in site.facts.options)
    return replace(site, facts=replace(site.facts, options=options))
