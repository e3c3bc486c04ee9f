"""What more current costs: the cheapest plans of an option at one greatest temperature after the other."""

import csv
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from corridor.errors import InputError, nearest
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.folder import made_folder
from corridor.outputs.drawings.plan_ladder import draw_ladder
from corridor.planning.outages.files import taken
from corridor.planning.remedies.plan import plan_option, site_of
from corridor.planning.remedies.variants import derated, look
from corridor.study import load_study

__all__ = ["Rung", "ladder_lines", "plan_ladder", "write_ladder"]

#: The coldest greatest temperature that is planned for [degC].
_COLDEST = 40.0


@dataclass(frozen=True)
class Rung:
    """The plan at one greatest temperature [degC]: `current` per phase [A], nan where no weather is given;
    `violations` before, `cost` (nan where there is no plan), its `gap` [-], `remedies` in words, and `forbids`, why
    there is none."""

    temperature: float
    current: float
    violations: int
    cost: float
    gap: float
    remedies: str
    forbids: str


def plan_ladder(path, option, *, steps=6):
    """Return the rungs of an option, the coldest first.

    The hottest is the greatest temperature that the option has in the study; the coldest the one at which heat brings
    no span short in continuous service. The emergency temperature is lower by as much as the greatest one.

    Parameters
    ----------
    path : path
        The study file.
    option : str
    steps : int
        Number of rungs, at least 2.
    """
    study = load_study(path)
    known = [each.name for each in study.options]
    if option not in known:
        raise InputError(study.path, "option", repr(option), ", ".join(known), nearest(option, known))
    inputs = read_inputs(study)
    needs_today = any(s.limit.kind == "existing" for each in study.options if each.name == option
                      for s in each.stringing)
    inputs = replace(inputs, options=tuple(each for each in inputs.options
                                           if each.name == option or (each.existing and needs_today)))
    with inputs.terrain:
        site = site_of(inputs, option)
        top = site.wiring.maximum_temperature
        return tuple(_rung(site, float(T)) for T in np.linspace(_coldest(site), top, steps))


def _coldest(site):
    """The greatest temperature at which heat brings no span short [degC], of those that have one."""
    top = site.wiring.maximum_temperature
    limits = look(site).layers["limits"]["limit_temperature_c"].astype(float)
    limit = np.min(limits, initial=top, where=np.isfinite(limits))
    return min(max(np.floor(limit), _COLDEST), top)


def _rung(site, temperature):
    """The plan of the option with a lower greatest temperature."""
    planned = plan_option(derated(site, temperature))
    gap = 0.0 if planned.solution is None else planned.solution.gap
    kinds = taken(planned)["remedy"]
    counts = ", ".join(f"{kind} {kinds.count(kind)}" for kind in dict.fromkeys(kinds))
    return Rung(temperature, _current(site, temperature), planned.before.short,
                planned.cost if planned.cleared else np.nan, gap, counts if planned.cleared else "",
                "; ".join(planned.forbids[:3]) + ("; ..." if len(planned.forbids) > 3 else ""))


def _current(site, temperature):
    """The least current of the line's bearings [A]."""
    index = next(i for i, each in enumerate(site.facts.options) if each.name == site.option)
    azimuth = np.unique(np.round(site.plan.spans.azimuth, 3))
    return float(np.min(site.facts.heat.current_at(index, np.full(azimuth.shape, temperature), azimuth)))


def write_ladder(rungs, folder, option, *, kind="svg"):
    """Write `ladder.csv` and the curve to a folder; return their paths."""
    folder = made_folder(Path(folder))
    table, drawing = folder / "ladder.csv", folder / f"ladder.{kind}"
    with table.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(["greatest_temperature_c", "current_a", "violations_before", "least_cost", "gap", "remedies",
                         "no_plan_because"])
        for r in rungs:
            writer.writerow([_cell(r.temperature, 1), _cell(r.current, 0), r.violations, _cell(r.cost, 3),
                             _cell(r.gap, 4), r.remedies, r.forbids])
    draw_ladder(drawing, [(r.temperature, r.current, r.cost) for r in rungs], option)
    return [table, drawing]


def _cell(value, digits):
    return "" if np.isnan(value) else f"{value:.{digits}f}"


def ladder_lines(rungs, option):
    """Return lines of text: what each greatest temperature carries and costs."""
    lines = [f"{option}: least cost against the rating reached",
             "  temperature  current  violations    cost  remedies"]
    for r in rungs:
        current = "      -" if np.isnan(r.current) else f"{r.current:5.0f} A"
        cost = "no plan" if np.isnan(r.cost) else f"{r.cost:7.2f}"
        lines.append(f"  {r.temperature:6.1f} degC  {current}  {r.violations:10d} {cost}  "
                     f"{r.forbids or r.remedies or 'none needed'}")
    return lines
