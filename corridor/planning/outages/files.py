"""A plan written: layers `plan`, `remedies`, `work_items`, `outages` and `calendar`, as tables and drawings."""

import csv

import geopandas
import numpy as np
import pandas
import pyogrio
import shapely

from corridor.clearance.findings import span_chords
from corridor.outputs.drawings.outages import draw_calendar, draw_map
from corridor.planning.outages.work import calendar, list_work, schedule, table_of_circuits
from corridor.planning.remedies.each_alone import COLUMNS, list_remedies

__all__ = ["plan_lines", "taken", "write_plan"]

#: Words and units of what is taken, by kind.
_WORDS = {"raise": ("raise", "m"), "shorten": ("shorten the strings of", "m"),
          "post": ("posts for the strings of", None), "strain": ("strain strings at", None),
          "tighten": ("tighten", "%"), "slacken": ("slacken", "%"), "grade": ("cut the ground below", "m"),
          "remove": ("take away", None), "add": ("add a structure in", None)}


def write_plan(planned, folder, *, others=None, aim="circuit-hours", kind="svg", progress=None):
    """Write `plan.gpkg`, tables and drawings to a folder; return paths, and lines on the outages.

    Parameters
    ----------
    planned : corridor.planning.remedies.plan.Planned
    folder : Path
    others : dict, optional
        As `corridor.planning.remedies.each_alone.list_remedies` takes it.
    aim : {"circuit-hours", "outages"}
    kind : {"svg", "png", "pdf"}
    progress : callable, optional
        As `list_remedies` takes it.
    """
    site, path = planned.site, folder / "plan.gpkg"
    path.unlink(missing_ok=True)
    crs = site.inputs.crs.to_wkt("WKT2_2019")
    remedies = list_remedies(planned, others or {}, progress=progress)
    if len(remedies["line"]):
        _write(path, "remedies", {name: remedies[name] for name in COLUMNS}, crs, "Point Z")
    written = [path] if path.exists() else []
    if not planned.cleared:
        return written, []
    work = list_work(planned)
    if not work.name:
        return written, ["No work: everything clears as it stands."]
    rows = taken(planned)
    if rows["remedy"]:
        _write(path, "plan", rows, crs, "Point Z")
    grouped, alone = schedule(work, site.prices, aim)
    start, end = calendar(work, grouped) if grouped else (np.full(len(work.name), np.nan),) * 2
    _write(path, "work_items", _items(site, work, grouped, start, end), crs, "MultiLineString Z")
    names, cells = table_of_circuits(work)
    tables = [_table(folder / "items_by_circuit.csv", ["item", *names],
                     [[item, *row] for item, row in zip(work.name, cells, strict=True)])]
    if grouped is None:
        return [path, *tables], ["Outages: no grouping is allowed. A pair that must never be out together, the window "
                                 "or the number of windows forbids it."]
    _write(path, "outages", _outages(work, grouped), crs, "MultiLineString Z")
    days = _calendar(work, grouped, start, end)
    _write(path, "calendar", days, None, None)
    tables.append(_table(folder / "calendar.csv", list(days), zip(*days.values(), strict=True)))
    chords = span_chords(site.facts.structures, site.plan.base_elevation, site.plan.spans)
    drawings = folder / f"calendar.{kind}", folder / f"outages.{kind}"
    draw_calendar(drawings[0], work.name, start, end, grouped.outage)
    draw_map(drawings[1], [_place(*each) for each in zip(work.kind, work.geometry, strict=True)], work.kind,
             grouped.outage, chords)
    return [path, *tables, *drawings], _outage_lines(site, work, grouped, alone, aim)


def _table(path, heading, rows):
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(heading)
        writer.writerows(rows)
    return path


def taken(planned):
    """Return the remedies that a plan takes, as columns; steps at one place are one row."""
    m, site = planned.measures, planned.site
    rows = {}
    for j in np.flatnonzero(planned.steps):
        key = m.kind[j], int(m.place[j])
        amount, cost = rows.get(key, (0.0, 0.0))
        rows[key] = amount + planned.steps[j] * m.step[j], cost + float(m.cost(planned.steps)[j])
    table = {name: [] for name in ("remedy", "line", "where", "amount", "unit", "volume_m3", "cost", "geometry")}
    for (kind, place), (amount, cost) in rows.items():
        line, where, point = _named(site, kind, place)
        unit = _WORDS[kind][1]
        volume = site.cells[place].volume(amount) if kind == "grade" else np.nan
        values = kind, line, where, 100 * amount if unit == "%" else amount, unit, volume, cost, point
        for column, value in zip(table.values(), values, strict=True):
            column.append(value)
    return table


def _named(site, kind, place):
    """Line, name and place of what a remedy is for."""
    x, spans, z = site.facts.structures, site.plan.spans, site.plan.base_elevation
    if kind == "remove":
        obstacles = site.facts.index.obstacles
        point = shapely.force_3d(shapely.centroid(obstacles.geometry[place]), 0)
        return None, obstacles.obstacle[place], point
    if kind in ("grade", "add", "tighten", "slacken"):
        section = kind in ("tighten", "slacken")
        span = site.plan.sections.first[place] if section else place
        a, b = spans.tail[span], spans.head[span]
        name = site.plan.sections.name[place] if section else spans.name[place]
        return spans.line[span], name, shapely.Point(*((v[a] + v[b]) / 2 for v in (x.easting, x.northing, z)))
    return x.line[place], x.structure[place], shapely.Point(x.easting[place], x.northing[place], z[place])


def _write(path, layer, columns, crs, geometry_type):
    if geometry_type is None:
        pyogrio.write_dataframe(pandas.DataFrame(columns), path, layer=layer, driver="GPKG", append=True)
        return
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


def _calendar(work, grouped, start, end):
    """Rows of the calendar: what each crew does when, and what is out, in the order of time."""
    order = np.lexsort((grouped.crew, start, grouped.outage))
    return {"outage": grouped.outage[order] + 1, "crew": grouped.crew[order] + 1, "start_h": start[order],
            "end_h": end[order], "item": [work.name[i] for i in order],
            "circuits_out": [", ".join(grouped.circuits[grouped.outage[i]]) for i in order]}


def _place(kind, shape):
    """What the map shows: the chords of a pull, the middle of other work."""
    return shape if kind in ("pull", "re-tension") else shapely.centroid(shape)


def _outage_lines(site, work, grouped, alone, aim):
    other = "outages" if aim == "circuit-hours" else "circuit-hours"
    beside = schedule(work, site.prices, other, 5.0)[0]
    lines = ["", f"Work items: {len(work.name)}, one by one {alone:.0f} circuit-hours in "
                 f"{_count(len(work.name), 'outage')}"]
    for name, each in ((aim, grouped), (other, beside)):
        words = "by" if name == aim else "it would be, by"
        lines.append(f"  {words} the aim of fewest {name}: {each.circuit_hours:.0f} circuit-hours in "
                     f"{_count(len(each.hours), 'outage')}")
    for g, (hours, out) in enumerate(zip(grouped.hours, grouped.circuits, strict=True)):
        count = int((grouped.outage == g).sum())
        lines.append(f"  outage {g + 1}: {_count(count, 'item')}, {hours:.0f} h, out: {'; '.join(out)}")
    return lines


def plan_lines(planned):
    """Return lines that say what was found and what is to be done."""
    site = planned.site
    lines = [f"{site.option}: {_count(planned.before.short, 'violation')} as the line stands"]
    if planned.forbids:
        lines += ["No plan: to first order the remedies that the study allows cannot meet"]
        lines += [f"  {words}" for words in planned.forbids[:20]]
        lines += [f"  and {len(planned.forbids) - 20} more"] if len(planned.forbids) > 20 else []
        return lines + [f"  not offered: {kind}, as {why}" for kind, why in planned.refused.items()]
    lines += [_line(*row) for row in zip(*taken(planned).values(), strict=True)]
    if planned.solution is not None:
        lines.append(f"Cost {planned.cost:g} (relative), optimality gap {planned.solution.gap:.1%} of the "
                     f"linear programme, {_count(planned.rounds, 'round')}")
    if planned.checked is not None and planned.checked.lifted:
        lines.append("Wires lift strings in the planned copy.")
    if planned.checked is not None:
        rest = f"{planned.checked.gaps} rows not assessed, which no remedy puts right" if planned.checked.gaps else \
            "everything assessed"
        lines.append(f"A full check of the planned copy: {_count(planned.checked.violations, 'violation')}, {rest}")
    return lines


def _line(remedy, line, where, amount, unit, volume, cost, _):
    words = f"  {_WORDS[remedy][0]} {f'{line}, ' if line else ''}{where}"
    words += f" by {amount:g} {unit}" if unit else ""
    return words + (f", {volume:.0f} m3" if np.isfinite(volume) else "") + f": {cost:.3g}"


def _count(number, noun):
    """So many of something, in words."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
