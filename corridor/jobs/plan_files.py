"""A plan written: layers `remedies`, `work_items`, `outages` and the calendar, as tables and drawings."""

import geopandas
import numpy as np
import pyogrio
import shapely

from corridor.clearance.findings import span_chords
from corridor.jobs.outages import calendar, list_work, schedule
from corridor.jobs.remedies import COLUMNS, list_remedies
from corridor.outputs.drawings.outages import draw_calendar, draw_map

__all__ = ["plan_lines", "write_plan"]


def write_plan(planned, folder, *, others=None, aim="outages", kind="svg"):
    """Write `plan.gpkg` and the drawings to a folder; return paths, and lines on the outages.

    Parameters
    ----------
    planned : corridor.jobs.plan.Planned
    folder : Path
    others : dict, optional
        As `corridor.jobs.remedies.list_remedies` takes it.
    aim : {"outages", "circuit-hours"}
    kind : {"svg", "png", "pdf"}
    """
    site, path = planned.site, folder / "plan.gpkg"
    path.unlink(missing_ok=True)
    crs = site.inputs.crs.to_wkt("WKT2_2019")
    remedies = list_remedies(planned, others or {})
    if len(remedies["line"]):
        _write(path, "remedies", {name: remedies[name] for name in COLUMNS}, crs, "Point Z")
    if not planned.cleared:
        return [path] if path.exists() else [], []
    work = list_work(planned)
    if not work.name:
        return [path] if path.exists() else [], ["No work: everything clears as it stands."]
    grouped, alone = schedule(work, site.prices, aim)
    start, end = calendar(work, grouped) if grouped else (np.full(len(work.name), np.nan),) * 2
    _write(path, "work_items", _items(site, work, grouped, start, end), crs, "MultiLineString Z")
    if grouped is None:
        return [path], ["Outages: no grouping is allowed. A pair that must never be out together, the window or the "
                        "number of windows forbids it."]
    _write(path, "outages", _outages(work, grouped), crs, "MultiLineString Z")
    chords = span_chords(site.facts.structures, site.plan.base_elevation, site.plan.spans)
    drawings = folder / f"calendar.{kind}", folder / f"outages.{kind}"
    draw_calendar(drawings[0], work.name, start, end, grouped.outage)
    draw_map(drawings[1], _places(planned, work), work.kind, grouped.outage, chords)
    return [path, *drawings], _outage_lines(work, grouped, alone, aim)


def _write(path, layer, columns, crs, geometry_type):
    frame = geopandas.GeoDataFrame({n: v for n, v in columns.items() if n != "geometry"},
                                   geometry=list(columns["geometry"]), crs=crs)
    pyogrio.write_dataframe(frame.infer_objects(), path, layer=layer, driver="GPKG", geometry_type=geometry_type,
                            append=path.exists())


def _items(site, work, grouped, start, end):
    spans = site.plan.spans
    joined = {name: [", ".join(each) or None for each in getattr(work, name)]
              for name in ("own", "crossed", "beside", "guards", "out")}
    return {"item": work.name, "kind": work.kind, "spans": [", ".join(spans.name[list(s)]) for s in work.spans],
            "own_circuits": joined["own"], "crossed_circuits": joined["crossed"],
            "circuits_beside": joined["beside"], "guarded": joined["guards"], "circuits_out": joined["out"],
            "hours": work.hours, "outage": grouped.outage + 1 if grouped else [None] * len(work.name),
            "crew": grouped.crew + 1 if grouped else [None] * len(work.name), "start_h": start, "end_h": end,
            "geometry": work.geometry}


def _outages(work, grouped):
    groups = range(len(grouped.hours))
    of = [np.flatnonzero(grouped.outage == g) for g in groups]
    parts = [[line for i in own for line in shapely.get_parts(work.geometry[i])] for own in of]
    return {"outage": np.arange(1, len(of) + 1), "items": [", ".join(work.name[i] for i in own) for own in of],
            "circuits_out": [", ".join(c) for c in grouped.circuits], "hours": grouped.hours,
            "circuit_hours": [h * len(c) for h, c in zip(grouped.hours, grouped.circuits, strict=True)],
            "geometry": [shapely.multilinestrings(p) for p in parts]}


def _places(planned, work):
    """What the map shows: the structure of a raise, the chords of a pull."""
    site, raised = planned.site, iter(np.flatnonzero(planned.after.height))
    x = site.facts.structures
    return [shapely.Point(x.easting[s], x.northing[s]) if kind == "raise" and (s := next(raised)) is not None
            else shape for kind, shape in zip(work.kind, work.geometry, strict=True)]


def _outage_lines(work, grouped, alone, aim):
    lines = ["", f"Work items: {len(work.name)}; {len(grouped.hours)} outages by the aim of fewest {aim}: "
             f"{grouped.circuit_hours:.0f} circuit-hours, against {alone:.0f} in {len(work.name)} outages one by one"]
    for g, (hours, out) in enumerate(zip(grouped.hours, grouped.circuits, strict=True)):
        count = int((grouped.outage == g).sum())
        lines.append(f"  outage {g + 1}: {count} items, {hours:.0f} h, out: {'; '.join(out)}")
    return lines


def plan_lines(planned):
    """Return lines that say what was found and what is to be raised."""
    site, x = planned.site, planned.site.facts.structures
    lines = [f"{site.option}: {planned.before.short} violations as the structures stand"]
    if planned.forbids:
        lines += ["No plan: raises by standard steps cannot meet"]
        lines += [f"  {words}" for words in planned.forbids[:20]]
        return lines + ([f"  and {len(planned.forbids) - 20} more"] if len(planned.forbids) > 20 else [])
    lines += [f"  raise {x.line[s]}, {x.structure[s]} by {planned.after.height[s]:g} m"
              for s in np.flatnonzero(planned.after.height)]
    if planned.solution is not None:
        lines.append(f"Cost {planned.solution.cost:g} (relative), optimality gap {planned.solution.gap:.1%} of the "
                     f"linear programme, {planned.rounds} rounds")
    if planned.checked is not None:
        lines.append(f"A full check of the planned copy: {planned.checked.violations} violations, "
                     f"{planned.checked.gaps} rows not assessed, which no raise puts right"
                     if planned.checked.gaps else "A full check of the planned copy: "
                     f"{planned.checked.violations} violations, everything assessed")
    return lines
