"""The outages of a plan written: layers `work_items`, `outages` and `calendar`, as tables and drawings."""

import shutil
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
)
from corridor.planning.remedies.plan import Planned
from corridor.planning.remedies.taken import counted, write_layer

__all__ = ["write_outages"]


def write_outages(planned: Planned, folder: Path, *, aim: str = "circuit-hours", kind: str = "svg",
                  files: Files | None = None) -> tuple[list[Path], list[str]]:
    """Add the outages of a plan to `plan.gpkg`, write tables and drawings; return their paths, and lines that tell.

    `aim` is one of `corridor.planning.outages.grouping.AIMS`, `kind` of drawing "svg", "png" or "pdf".
    """
    if not planned.cleared:
        return [], []
    work, prices = list_work(planned), planned.site.prices
    if not work:
        return [], ["No work: everything clears as it stands."]
    grouped, alone = schedule(work, prices, aim)
    with joined(files, guard_of(planned.site.study)) as out:
        staged = out.staged(folder)
        if not (staged / "plan.gpkg").exists() and (folder / "plan.gpkg").exists():
            shutil.copyfile(folder / "plan.gpkg", staged / "plan.gpkg")
        names = _write(staged, planned.site, work, grouped, kind)
    written = [folder / name for name in names]
    if grouped is None:
        return written, ["Outages: no grouping is allowed. A pair that must never be out together, the window or the "
                         "number of windows forbids it."]
    return written, _lines(planned.site, work, grouped, alone, aim)


def _write(folder, site, work, grouped, kind):
    """Write layers, tables and drawings, and return their names."""
    start, end = calendar(work, grouped) if grouped else (np.full(len(work), np.nan),) * 2
    path, tables = folder / "plan.gpkg", ["items_by_circuit.csv", "calendar.csv"]
    write_layer(path, "work_items", _items(site, work, grouped, start, end), site.inputs.crs, "MultiLineString Z")
    write_csv(folder / tables[0], table_of_circuits(work))
    if grouped is None:
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


def _items(site, work, grouped, start, end):
    unknown = [None] * len(work)
    named = {"own_circuits": "own", "crossed_circuits": "crossed", "circuits_beside": "beside", "guarded": "guards",
             "circuits_out": "out"}
    return {"item": [item.name for item in work], "kind": [item.kind for item in work],
            "spans": [", ".join(site.plan.spans.name[item.spans]) for item in work],
            **{name: [", ".join(getattr(item, field)) or None for item in work] for name, field in named.items()},
            "hours": [item.hours for item in work], "outage": grouped.outage + 1 if grouped else unknown,
            "crew": grouped.crew + 1 if grouped else unknown, "start_h": start, "end_h": end,
            "geometry": [item.geometry for item in work]}


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


def _lines(site, work: list[WorkItem], grouped: Grouping, alone, aim):
    other = next(each for each in AIMS if each != aim)
    beside = schedule(work, site.prices, other, 5.0)[0]
    lines = ["", f"Work items: {len(work)}, one by one {alone:.0f} circuit-hours in {counted(len(work), 'outage')}"]
    lines += [f"  {words} the aim of fewest {name}: {each.circuit_hours:.0f} circuit-hours in "
              f"{counted(each.outages, 'outage')}"
              for name, words, each in ((aim, "by", grouped), (other, "it would be, by", beside))]
    for g, (hours, out) in enumerate(zip(grouped.hours, grouped.circuits, strict=True)):
        count = int((grouped.outage == g).sum())
        lines.append(f"  outage {g + 1}: {counted(count, 'item')}, {hours:.0f} h, out: {'; '.join(out)}")
    return lines
