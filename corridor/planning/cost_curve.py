"""What more current costs: the cheapest plans of an option at one maximum temperature after the other."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from corridor.check import Progress
from corridor.jobs.folder import made_folder
from corridor.opened import Opened
from corridor.outputs.drawings.cost_curve import draw_cost_curve
from corridor.outputs.files import Files
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.tables import write_csv
from corridor.planning.outages.schedule import schedule
from corridor.planning.outages.states import compared_together
from corridor.planning.outages.work import list_work
from corridor.planning.remedies.alterations import Site
from corridor.planning.remedies.plan import plan_option, require_option, site_of
from corridor.planning.remedies.taken import taken
from corridor.planning.remedies.variants import assess_variant
from corridor.rating.ladder import ceilings

__all__ = ["CostPoint", "at_current", "derated", "cost_curve_lines", "plan_cost_curve", "write_cost_curve"]

#: The coldest maximum temperature that is planned for [°C].
_COLDEST = 40.0
#: How long a grouping of work is looked for [s].
_SECONDS = 5.0


@dataclass(frozen=True)
class CostPoint:
    """The plan at one maximum temperature [°C]: `current` per phase [A], nan where no weather is given;
    `violations` before, in so many `spans`; `cost` (nan where there is no plan), its `gap` [-], `remedies` in words;
    `outages` and `circuit_hours` of the work as it is grouped, not looked at in full, nan where it is not; and
    `forbids`, why there is no plan."""

    temperature: float
    current: float
    violations: int
    spans: int
    cost: float
    gap: float
    remedies: str
    outages: float
    circuit_hours: float
    forbids: str


def plan_cost_curve(opened: Opened, option: str, *, steps: int = 6, progress: Progress | None = None
                    ) -> tuple[CostPoint, ...]:
    """Return so many points, at least 2, of an option of a study, the coldest first.

    The hottest is the maximum temperature that the option has in the study; the coldest the one at which heat brings
    no span short in continuous service. The emergency temperature is lower by as much as the greatest one.
    `progress(done, total)` is told spans, look by look.
    """
    require_option(opened, option)
    site = site_of(opened.inputs, option)
    ends = _coldest(site, progress), site.wiring.maximum_temperature
    return tuple(_point(site, float(T), progress) for T in np.linspace(*ends, steps))


def _coldest(site, progress):
    """The maximum temperature at which heat brings no span short [°C], of those that have one."""
    top = site.wiring.maximum_temperature
    limits = assess_variant(site, progress=progress, limits=True).layers["limits"]["limit_temperature_c"].astype(float)
    # A span of which no limit is known bounds nothing here: the plan of the coldest point is looked at as any other.
    limit = np.min(limits, initial=top, where=np.isfinite(limits))
    return min(max(np.floor(limit), _COLDEST), top)


def _point(site, temperature, progress):
    """The plan of the option with a lower maximum temperature."""
    planned = plan_option(derated(site, temperature), progress)
    kinds = taken(planned)["remedy"]
    counts = ", ".join(f"{kind} {kinds.count(kind)}" for kind in dict.fromkeys(kinds))
    carried = ceilings(planned.site.facts.heat, site.plan.spans)
    current = float(np.min([each.current for (_, name), each in carried.items() if name == site.option]))
    grouped = _grouped(planned) if planned.cleared else None
    return CostPoint(
        temperature, current, planned.before.short, len(set(planned.before.layers["violations"]["span"])),
        *((planned.cost, planned.gap, counts) if planned.cleared else (np.nan, np.nan, "")),
        np.nan if grouped is None else grouped.outages, np.nan if grouped is None else grouped.circuit_hours,
        "; ".join(planned.forbids[:3]) + ("; ..." if len(planned.forbids) > 3 else ""))


def _grouped(planned):
    """How the work of a plan is grouped, None where it cannot be."""
    work, together = compared_together(planned.site, [item for item in list_work(planned) if item.hours])
    return schedule(work, planned.site.prices, "circuit-hours", _SECONDS, together)[0]


def derated(site: Site, temperature: float) -> Site:
    """The site with the option at a lower maximum temperature [°C], its emergency lower by as much."""
    emergency = site.wiring.emergency_temperature
    lower = site.wiring.maximum_temperature - temperature
    wiring = replace(site.wiring, maximum_temperature=temperature,
                     emergency_temperature=None if emergency is None else emergency - lower)
    options = tuple(replace(each, wiring=wiring) if each.name == site.strung else each for each in site.facts.options)
    return replace(site, facts=replace(site.facts, options=options, heat=replace(site.facts.heat, options=options)))


def at_current(site: Site, current: float) -> tuple[Site, str]:
    """Return the site with its option at the least maximum temperature at which it carries a current [A], in tenths of
    a kelvin; and words where it does not."""
    heat = site.facts.heat
    index = [each.name for each in site.facts.options].index(site.strung)
    top = site.wiring.maximum_temperature
    most = float(heat.current_at(index, top))
    if not most >= current:
        return site, f"carries {most:.0f} A at its maximum, {top:g} °C"
    T = float(np.ceil(10 * float(heat.temperature_at(index, current)) - 1e-6) / 10)
    return derated(site, min(T, top)), ""


def write_cost_curve(points: tuple[CostPoint, ...], folder: Path | str, option: str, *, kind: str = "svg",
                     guard: Guard = PLAIN, currency: str | None = None) -> tuple[Path, ...]:
    """Write `cost_curve.csv` and the curve to a folder; return their paths."""
    folder = made_folder(folder)
    columns = {"maximum_temperature_c": ("temperature", 1), "current_a": ("current", 0),
               "violations_before": ("violations", 0), "spans_before": ("spans", 0), "least_cost": ("cost", 3),
               "gap": ("gap", 4), "outages": ("outages", 0), "circuit_hours": ("circuit_hours", 1)}
    table = {name: [round(getattr(r, field), digits) for r in points] for name, (field, digits) in columns.items()}
    with Files(guard) as files:
        write_csv(files.new(folder / "cost_curve.csv"), table | {
            "remedies": [r.remedies for r in points], "no_plan_because": [r.forbids for r in points]})
        draw_cost_curve(files.new(folder / f"cost_curve.{kind}"), [(r.temperature, r.current, r.cost) for r in points],
                        option, currency or "relative")
    return files.written


def cost_curve_lines(points: tuple[CostPoint, ...], option: str) -> list[str]:
    """Return lines of text: what each maximum temperature carries and costs."""
    lines = [f"{option}: least cost against the rating reached",
             "  temperature  current  violations    cost  remedies"]
    for r in points:
        current = "      -" if np.isnan(r.current) else f"{r.current:5.0f} A"
        cost = "no plan" if np.isnan(r.cost) else f"{r.cost:7.2f}"
        lines.append(f"  {r.temperature:8.1f} °C  {current}  {r.violations:10d} {cost}  "
                     f"{r.forbids or r.remedies or 'none needed'}")
    return lines
