"""The outages of a plan: which there are, and layers `work_items`, `outages` and `calendar` as tables and drawings."""

import shutil
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import shapely

from corridor.clearance.findings import span_chords
from corridor.opened import guard_of
from corridor.outputs.drawings.outages import draw_calendar, draw_map
from corridor.outputs.files import Files, joined
from corridor.outputs.tables import write_csv
from corridor.planning.outages.grouping import AIMS, Grouping
from corridor.planning.outages.work import (
    STRINGING,
    WorkItem,
    calendar,
    list_work,
    schedule,
    table_of_circuits,
    unschedulable,
)
from corridor.planning.remedies.plan import Planned
from corridor.planning.remedies.taken import counted, write_layer

__all__ = ["Outages", "outages_of", "write_outages"]


@dataclass(frozen=True)
class Outages:
    """The `work` of a plan that needs outages, and what is done `without` one; how it is `grouped` by an `aim`, None
    where no grouping is allowed, and then what `forbids` it in words; `alone` circuit-hours one by one [h]."""

    work: list[WorkItem]
    without: list[WorkItem]
    aim: str
    grouped: Grouping | None
    alone: float
    forbids: tuple[str, ...] = ()

    @property
    def rows(self) -> list[dict]:
        """Each outage with its hours, the circuits that are out and its items by name."""
        if self.grouped is None:
            return []
        return [{"outage": g + 1, "hours": hours, "circuits_out": list(out),
                 "items": [self.work[i].name for i in np.flatnonzero(self.grouped.outage == g)]}
                for g, (hours, out) in enumerate(zip(self.grouped.hours, self.grouped.circuits, strict=True))]


def outages_of(planned: Planned, aim: str = "circuit-hours") -> Outages | None:
    """Return the Outages of a plan, None where there is none; `aim` is one of
    `corridor.planning.outages.grouping.AIMS`."""
    if not planned.cleared:
        return None
    every, prices = list_work(planned), planned.site.prices
    work = [item for item in every if item.hours]
    grouped, alone = schedule(work, prices, aim)
    return Outages(work, [item for item in every if not item.hours], aim, grouped, alone,
                   () if grouped else unschedulable(work, prices))


def write_outages(planned: Planned, folder: Path, *, aim: str = "circuit-hours", kind: str = "svg",
                  files: Files | None = None, outages: Outages | None = None) -> tuple[list[Path], list[str]]:
    """Add the outages of a plan to `plan.gpkg`, write tables and drawings; return their paths, and lines that tell.

    `aim` is one of `corridor.planning.outages.grouping.AIMS`, `kind` of drawing "svg", "png" or "pdf"; `outages` those
    of the plan, where they are known.
    """
    outages = outages or outages_of(planned, aim)
    if outages is None:
        return [], []
    if not outages.work and not outages.without:
        return [], ["No work: everything clears as it stands."]
    with joined(files, guard_of(planned.site.study)) as out:
        staged = out.staged(folder)
        # By itself it adds to what was written just before; together with that, what lies there is an earlier plan's.
        if files is None and not (staged / "plan.gpkg").exists() and (folder / "plan.gpkg").exists():
            shutil.copyfile(folder / "plan.gpkg", staged / "plan.gpkg")
        names = _write(staged, planned.site, outages, kind)
    written = [folder / name for name in names]
    if outages.grouped is None:
        return written, ["Outages: the work cannot be scheduled.", *(f"  {words}" for words in outages.forbids)]
    return written, _lines(planned.site, outages)


def _write(folder, site, outages, kind):
    """Write layers, tables and drawings, and return their names."""
    work, grouped, every = outages.work, outages.grouped, [*outages.work, *outages.without]
    start, end = calendar(work, grouped) if grouped else (np.full(len(work), np.nan),) * 2
    path, tables = folder / "plan.gpkg", ["items_by_circuit.csv", "calendar.csv"]
    write_layer(path, "work_items", _items(site, every, grouped, start, end), site.inputs.crs, "MultiLineString Z")
    write_csv(folder / tables[0], table_of_circuits(every))
    if grouped is None or not work:
        return [path.name, tables[0]]
    write_layer(path, "outages", _outages(work, grouped), site.inputs.crs, "MultiLineString Z")
    days = _calendar(work, grouped, start, end)
    write_layer(path, "calendar", days)
    write_csv(folder / tables[1], days)
    drawings = [f"calendar.{kind}", f"outages.{kind}"]
    draw_calendar(folder / drawings[0], [item.name for item in work], start, end, grouped.outage)
    # The map shows the chords of work on wires, the middle of other work.
    places = [item.geometry if item.kind in STRINGING else shapely.centroid(item.geometry) for item in work]
    draw_map(folder / drawings[1], places, [item.kind for item in work], grouped.outage,
             span_chords(site.facts.structures, site.plan.base_elevation, site.plan.spans))
    return [path.name, *tables, *drawings]


def _items(site, every, grouped, start, end):
    """Columns of all work; what needs no outage comes last, and has neither one nor a time."""
    without = len(every) - len(start)
    outage, crew = ([None] * len(every),) * 2 if grouped is None else (
        np.r_[values + 1, [np.nan] * without] if without else values + 1 for values in (grouped.outage, grouped.crew))
    named = {"own_circuits": "own", "crossed_circuits": "crossed", "circuits_beside": "beside", "guarded": "guards",
             "circuits_out": "out"}
    return {"item": [item.name for item in every], "kind": [item.kind for item in every],
            "spans": [", ".join(site.plan.spans.name[item.spans]) for item in every],
            **{name: [", ".join(getattr(item, field)) or None for item in every] for name, field in named.items()},
            "hours": [item.hours for item in every], "outage": outage, "crew": crew,
            **{name: np.r_[hours, np.full(without, np.nan)] for name, hours in (("start_h", start), ("end_h", end))},
            "geometry": [item.geometry for item in every]}


def _outages(work, grouped):
    of = [[work[i] for i in np.flatnonzero(grouped.outage == g)] for g in range(grouped.outages)]
    return {"outage": np.arange(1, len(of) + 1), "items": [", ".join(item.name for item in own) for own in of],
            "circuits_out": [", ".join(c) for c in grouped.circuits], "hours": grouped.hours,
            "circuit_hours": [h * len(c) for h, c in zip(grouped.hours, grouped.circuits, strict=True)],
            "geometry": [shapely.multilinestrings([part for item in own for part in shapely.get_parts(item.geometry)])
                         for own in of]}


def _calendar(work, grouped, start, end):
    """Rows of the calendar: what each crew does when, and what is out, in the order of time."""
    order = np.lexsort((grouped.crew, start, grouped.outage))
    return {"outage": grouped.outage[order] + 1, "crew": grouped.crew[order] + 1, "start_h": start[order],
            "end_h": end[order], "item": [work[i].name for i in order],
            "circuits_out": [", ".join(grouped.circuits[grouped.outage[i]]) for i in order]}


def _lines(site, outages):
    work, grouped, aim = outages.work, outages.grouped, outages.aim
    lines = ["", *(f"Without an outage: {item.name}" for item in outages.without)]
    if not work:
        return lines
    other = next(each for each in AIMS if each != aim)
    beside = schedule(work, site.prices, other, 5.0)[0]
    lines += [f"Work items: {len(work)}, one by one {outages.alone:.0f} circuit-hours in "
              f"{counted(len(work), 'outage')}"]
    lines += [f"  {words} the aim of fewest {name}: {each.circuit_hours:.0f} circuit-hours in "
              f"{counted(each.outages, 'outage')}"
              for name, words, each in ((aim, "by", grouped), (other, "it would be, by", beside)) if each]
    for row in outages.rows:
        lines.append(f"  outage {row['outage']}: {counted(len(row['items']), 'item')}, {row['hours']:.0f} h, out: "
                     f"{'; '.join(row['circuits_out'])}")
    return lines
