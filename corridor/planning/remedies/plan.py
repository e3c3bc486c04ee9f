"""Put one option right: the cheapest remedies, looked at anew with the exact model until nothing falls short."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from corridor.check import Clock, check_study, prepare
from corridor.errors import InputError, nearest
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.folder import made_folder
from corridor.planning.remedies.alterations import edits_of
from corridor.planning.remedies.columns import Measures, exclusive, in_order
from corridor.planning.remedies.constraints import Asked, demands
from corridor.planning.remedies.least_cost import least_cost
from corridor.planning.remedies.offered import candidates, with_cells
from corridor.planning.remedies.planned_copy import copy_study, write_edits
from corridor.planning.remedies.variants import Site, holds, look
from corridor.study import load_study
from corridor.study.plan import Plan as PlanSection

__all__ = ["Planned", "plan_option", "plan_study", "site_of"]

#: Rounds of programme and full look after which it is given up.
_ROUNDS = 25


@dataclass(frozen=True)
class Planned:
    """What putting an option right comes to.

    `before`, `after` Looks; `measures` and the `steps` of each that are taken; `refused` words for kinds that are not
    offered; `solution` of the last programme (None: nothing fell short); `forbids` words for what no remedy can meet;
    `rounds` programmes solved; `checked` the Result of the check of the planned copy, None where there is no plan.
    """

    site: Site
    before: object
    after: object
    measures: Measures
    steps: np.ndarray
    refused: dict
    solution: object
    forbids: tuple
    rounds: int
    checked: object = None

    @property
    def cleared(self):
        """Whether the last full look found nothing short, and nothing lifted, overloaded or left unassessed anew."""
        return not self.forbids and holds(self.after, self.before)

    @property
    def cost(self):
        """Cost of the remedies that are taken, relative."""
        return float(self.measures.cost(self.steps).sum())

    @property
    def status(self):
        """Exit status: 0 cleared, 1 not, 3 cleared but something could not be assessed."""
        return 1 if not self.cleared or self.checked is None else self.checked.status


def plan_study(path, option, folder):
    """Plan an option of a study, write its planned copy and check that.

    Parameters
    ----------
    path : path
        The study file.
    option : str
        Name of the option.
    folder : path
        Of the planned copy: `study.toml`, the files that remedies change, and its findings.

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
        planned = plan_option(site_of(inputs, option))
        if not planned.cleared:
            return planned
        write_edits(copy, planned.site, planned.after)
    return replace(planned, checked=check_study(Path(folder) / "study.toml"))


def site_of(inputs, option):
    """Return the Site of an option of inputs whose terrain is open."""
    return Site(inputs.study, inputs, *prepare(inputs, Clock()), option, inputs.study.plan or PlanSection())


def plan_option(site):
    """Solve, look, add what the look shows, and solve again until nothing falls short.

    Every look gives each row its margin with the remedies of that look, exactly; from there the rows are taken to
    change linearly. All rows of all looks stay demands of the next programme, so that none is forgotten.
    """
    before = now = look(site)
    site = with_cells(site, before)
    measures, refused = candidates(site, before)
    steps = np.zeros(len(measures))
    if holds(now, before):
        return Planned(site, before, now, measures, steps, refused, None, (), 0)
    asked = Asked(site, measures, before, _probes(site, measures))
    rows, seen, solution = in_order(measures, "grade") + exclusive(measures, ("post", "strain", "shorten")), set(), None
    known = {}
    for done in range(1, _ROUNDS + 1):
        rows = rows + demands(asked, now, steps)
        solution = least_cost(rows, len(measures), **measures.programme, known=known)
        steps = solution.steps
        words = _lacking(rows, solution) if not solution.feasible else _again(seen, steps)
        if words:
            return Planned(site, before, now, measures, steps, refused, solution, words, done)
        now = look(site, edits_of(site, measures, steps), now)
        if holds(now, before):
            return Planned(site, before, now, measures, steps, refused, solution, (), done)
    return Planned(site, before, now, measures, steps, refused, solution,
                   (f"no plan held after {_ROUNDS} rounds",), _ROUNDS)


def _probes(site, measures):
    """Looks with every section as taut, and as slack, as it may be; none where none may be."""
    most = {kind: np.where(measures.kind == kind, measures.most, 0.0) for kind in ("tighten", "slacken")}
    return {kind: look(site, edits_of(site, measures, steps)) for kind, steps in most.items() if steps.any()}


def _lacking(rows, solution):
    """Words for the rows that nothing meets."""
    short = np.flatnonzero(solution.short > 1e-7)
    return tuple(dict.fromkeys(f"{rows.name[i]} lacks {_lack(rows, i, solution)}" for i in short))


def _lack(rows, i, solution):
    return "its strings' pull" if rows.name[i].endswith("uplift") else f"{solution.short[i]:.2f} m"


def _again(seen, steps):
    """Words where the same remedies come up twice: what a look found with them, no demand can tell."""
    key = tuple(steps.tolist())
    if key in seen:
        return ("with the remedies that meet all demands more is left unassessed, or a wire is loaded above its "
                "strength",)
    seen.add(key)
    return ()
