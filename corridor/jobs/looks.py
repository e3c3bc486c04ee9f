"""A full look at one option: all its findings with remedies in place, by the exact model."""

from dataclasses import dataclass, field, replace

import numpy as np

from corridor.check import find
from corridor.jobs.edits import Laid, as_it_stands, edited
from corridor.study.plan import Plan as PlanSection

__all__ = ["Look", "Site", "derated", "holds", "look"]

_LAYERS = ("clearances", "violations", "structure_loads", "wires", "not_assessed", "violation_stretches", "limits",
           "sections")


@dataclass(frozen=True)
class Site:
    """The copy of a study with one option, laid out; `option` its name, `prices` the table [plan], `cells` what may be
    cut below spans (`corridor.jobs.cuts.survey_cells`)."""

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
    """Findings of one option with `edits`, on the line as `laid` out with them; `layers` columns by name."""

    edits: object
    laid: Laid
    layers: dict

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
        """Keys of strings that the wires lift."""
        loads = self.layers["structure_loads"]
        names = ("line", "structure", "wire", "case")
        chosen = np.flatnonzero(loads["uplift"].astype(bool))
        return set(zip(*(loads[name][chosen] for name in names), strict=True))

    @property
    def overloaded(self):
        """Keys of sections whose wire is tensioned above its rated strength in a case that asks for tension."""
        s = self.layers["sections"]
        asked = [case.name for case in self.laid.facts.cases if "tension" in case.checks]
        chosen = np.flatnonzero(np.isin(s["case"], asked) & (s["percent_rts"] > 100))
        return set(zip(*(s[name][chosen] for name in ("line", "section", "wire_kind", "case")), strict=True))


def holds(now, before):
    """Return whether a look has nothing short, and no string lifted, wire overloaded or row left unassessed anew."""
    return (not now.short and now.lifted <= before.lifted and now.overloaded <= before.overloaded
            and now.gaps <= before.gaps)


def look(site, edits=None):
    """Return the findings of the option with edits, of all spans."""
    edits = as_it_stands(site) if edits is None else edits
    laid = edited(site, edits)
    parts = {name: [] for name in _LAYERS}
    for layer, columns in find(laid.facts, laid.plan, laid.ground):
        if layer in parts:
            parts[layer].append(columns)
    return Look(edits, laid, {name: _joined(batches, site.option) for name, batches in parts.items()})


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
