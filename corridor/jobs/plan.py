"""Put one option right: the cheapest raises, looked at anew with the exact model until nothing falls short."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from corridor.check import Clock, check_study, find, prepare
from corridor.constants import GRAVITY
from corridor.errors import InputError, nearest
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.folder import made_folder
from corridor.jobs.planned_copy import copy_study, write_raises
from corridor.planning.plan import Rows, least_cost
from corridor.planning.remedies import lift_rows, raise_structures, uplift_rows
from corridor.study import load_study
from corridor.study.plan import Plan as PlanSection

__all__ = ["Look", "Planned", "Site", "plan_option", "plan_study"]

#: Rounds of programme and full look after which it is given up.
_ROUNDS = 25
#: Rows that clear by more than this are left to the full look: a raise elsewhere moves them by less [m].
_NEAR = 0.5
_LAYERS = ("clearances", "violations", "structure_loads", "wires", "not_assessed", "violation_stretches", "limits")


@dataclass(frozen=True)
class Site:
    """The copy of a study with one option, laid out; `option` its name, `prices` the table [plan]."""

    study: object
    inputs: object
    facts: object
    plan: object
    ground: object
    option: str
    prices: PlanSection


@dataclass(frozen=True)
class Look:
    """Findings of one option with structures raised by `height` [m]; `layers` columns by name."""

    height: np.ndarray
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
    def lifted(self):
        """Keys of strings that the wires lift."""
        loads = self.layers["structure_loads"]
        names = ("line", "structure", "wire", "case")
        chosen = np.flatnonzero(loads["uplift"].astype(bool))
        return set(zip(*(loads[name][chosen] for name in names), strict=True))


@dataclass(frozen=True)
class Planned:
    """What putting an option right comes to.

    `before`, `after` Looks; `solution` of the last programme (None: nothing fell short); `forbids` words for what
    no raise can meet; `rounds` programmes solved; `checked` the Result of the check of the planned copy, None where
    there is no plan.
    """

    site: Site
    before: Look
    after: Look
    solution: object
    forbids: tuple
    rounds: int
    checked: object = None

    @property
    def cleared(self):
        """Whether the last full look found nothing short, no string newly lifted and no more left unassessed."""
        return not self.forbids and holds(self.after, self.before)

    @property
    def status(self):
        """Exit status: 0 cleared, 1 not, 3 cleared but something could not be assessed."""
        if not self.cleared or self.checked is None or self.checked.violations or self.checked.overloads:
            return 1
        return 3 if self.checked.gaps else 0


def plan_study(path, option, folder):
    """Plan an option of a study, write its planned copy and check that.

    Parameters
    ----------
    path : path
        The study file.
    option : str
        Name of the option.
    folder : path
        Of the planned copy: `study.toml`, `structures.gpkg`, `framings.csv`, and its findings.

    Raises
    ------
    InputError
        Something given cannot be used.
    """
    study = load_study(path)
    known = [each.name for each in study.options]
    if option not in known:
        raise InputError(study.path, "option", repr(option), ", ".join(known), nearest(option, known))
    folder = made_folder(folder)
    if folder.resolve() == study.folder.resolve():
        raise InputError(None, "folder", repr(str(folder)), "another folder than that of the study")
    copy = copy_study(study, option, folder)
    inputs = read_inputs(copy)
    with inputs.terrain:
        facts, plan, ground = prepare(inputs, Clock())
        site = Site(copy, inputs, facts, plan, ground, option, copy.plan or PlanSection())
        planned = plan_option(site)
    if not planned.cleared:
        return planned
    write_raises(copy, facts.structures, planned.after.height)
    return replace(planned, checked=check_study(Path(folder) / "study.toml"))


def holds(now, before):
    """Return whether a look has nothing short, no string lifted that was not before, and no more left unassessed."""
    return not now.short and now.lifted <= before.lifted and now.gaps <= before.gaps


def look(site, height):
    """Return the findings of the option with structures raised, of all spans."""
    structures, framings = raise_structures(site.facts.structures, site.facts.framings, height)
    facts = replace(site.facts, structures=structures, framings=framings)
    parts = {name: [] for name in _LAYERS}
    for layer, columns in find(facts, site.plan, site.ground):
        if layer in parts:
            parts[layer].append(columns)
    return Look(height, {name: _joined(batches, site.option) for name, batches in parts.items()})


def _joined(batches, option):
    """Columns of all batches, the rows of one option alone."""
    columns = {name: np.concatenate([np.asarray(batch[name], object if name == "geometry" else None)
                                     for batch in batches]) for name in batches[0]}
    own = np.array([each is None or each == option for each in columns["option"]], bool)
    return {name: values[own] for name, values in columns.items()}


def plan_option(site):
    """Solve, look, add what the look shows, and solve again until nothing falls short.

    Every look gives each row its margin at the raises of that look, exactly; from there the rows are taken to change
    linearly. All rows of all looks stay demands of the next programme, so that none is forgotten.
    """
    count = len(site.facts.structures)
    before = now = look(site, np.zeros(count))
    rows, solution = None, None
    prices = site.prices
    costs = {"step": prices.step, "most": int(prices.largest_raise / prices.step + 1e-9), "fixed": prices.raise_cost,
             "per_step": prices.metre_cost * prices.step}
    for done in range(_ROUNDS):
        if holds(now, before):
            return Planned(site, before, now, solution, (), done)
        rows = _demands(site, now, before) if rows is None else rows + _demands(site, now, before)
        solution = least_cost(rows, count, **costs)
        if not solution.feasible:
            short = np.flatnonzero(solution.short > 1e-7)
            words = dict.fromkeys(f"{rows.name[i]} lacks {_lack(rows, i, solution)}" for i in short)
            return Planned(site, before, now, solution, tuple(words), done + 1)
        now = look(site, solution.steps * prices.step)
    return Planned(site, before, now, solution, (f"no plan held after {_ROUNDS} rounds",), _ROUNDS)


def _lack(rows, i, solution):
    return "its strings' pull" if rows.name[i].endswith("uplift") else f"{solution.short[i]:.2f} m"


def _demands(site, now, before):
    """Linear demands on the raises, from the margins and pulls of one look."""
    return _clearance_demands(site, now) + _uplift_demands(site, now, before)


def _clearance_demands(site, now):
    spans, c = site.plan.spans, now.layers["clearances"]
    chosen = np.flatnonzero((c["margin_m"] < _NEAR) | (c["position"] == "below"))
    c = {name: values[chosen] for name, values in c.items()}
    index = {key: i for i, key in enumerate(zip(spans.line, spans.name, strict=True))}
    span = np.array([index[key] for key in zip(c["line"], c["span"], strict=True)], int)
    row, structure, lift = lift_rows(c, spans.tail[span], spans.head[span], spans.length[span])
    held = np.bincount(row, lift * now.height[structure], minlength=len(chosen)) if len(chosen) else np.zeros(0)
    words = [f"{s}, wire {w}, {k}, {o or a} ({m})" for s, w, k, o, a, m in
             zip(c["span"], c["wire"], c["case"], c["obstacle"], c["against"], c["measure"], strict=True)]
    need = held - c["margin_m"]
    # Where no raise moves a row, only one that falls short is a demand: it tells that none helps.
    moved = np.bincount(row, np.abs(lift) > 1e-9, minlength=len(chosen)) > 0 if len(chosen) else np.zeros(0, bool)
    need = np.where(moved, need, np.maximum(-c["margin_m"], 0.0))
    return Rows(row, structure, lift, need, np.array(words, object))


def _uplift_demands(site, now, before):
    spans, x, loads = site.plan.spans, site.facts.structures, now.layers["structure_loads"]
    index = {key: i for i, key in enumerate(zip(x.line, x.structure, strict=True))}
    place = np.array([index[key] for key in zip(loads["line"], loads["structure"], strict=True)], int)
    back, ahead = np.full(len(x), -1), np.full(len(x), -1)
    back[spans.head], ahead[spans.tail] = np.arange(len(spans)), np.arange(len(spans))
    weight = _string_weight(site.facts.framings, x.framing[place], loads["wire"])
    lifted = np.array([key in before.lifted for key in zip(*(loads[n] for n in ("line", "structure", "wire", "case")),
                                                           strict=True)], bool)
    chosen = np.flatnonzero((x.role[place] == "suspension") & (back[place] >= 0) & (ahead[place] >= 0) & (weight > 0)
                            & ~lifted)
    loads, place, weight = {n: v[chosen] for n, v in loads.items()}, place[chosen], weight[chosen]
    pair = np.stack([back[place], ahead[place]], axis=1)
    H = _tensions(site, now, pair, loads)
    ends = np.stack([spans.tail[pair[:, 0]], place, spans.head[pair[:, 1]]], axis=1)
    row, structure, coefficient, room = uplift_rows(loads, ends, H / spans.length[pair], weight)
    held = np.bincount(row, coefficient * now.height[structure], minlength=len(chosen)) if len(chosen) else room
    words = [f"{s}, wire {w}, {k}: uplift" for s, w, k in
             zip(loads["structure"], loads["wire"], loads["case"], strict=True)]
    # In kN, so that demands in metres and in newtons are of one size in the programme.
    return Rows(row, structure, coefficient / 1e3, (held - room) / 1e3, np.array(words, object))


def _tensions(site, now, pair, loads):
    """Horizontal tension of the wire in the spans before and after [N], (row, 2); the greater side of the wind."""
    wires, spans = now.layers["wires"], site.plan.spans
    known = {}
    names = ("line", "span", "wire", "case")
    for key, H in zip(zip(*(wires[n] for n in names), strict=True), wires["horizontal_tension_n"], strict=True):
        known[key] = max(known.get(key, 0.0), float(np.nan_to_num(H)))
    return np.array([[known.get((spans.line[s], spans.name[s], w, k), 0.0) for s in both] for both, w, k in
                     zip(pair, loads["wire"], loads["case"], strict=True)]).reshape(-1, 2)


def _string_weight(framings, framing, wire):
    known = {(f, w): m * GRAVITY for f, w, m, s in zip(framings.framing, framings.wire, framings.string_mass,
                                                      framings.string, strict=True) if s == "suspension"}
    return np.array([known.get(key, 0.0) for key in zip(framing, wire, strict=True)])
