"""The outages of a plan: which there are, and layers `work_items`, `outages` and `calendar` as tables and drawings."""

import shutil
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas
import shapely
from matplotlib.dates import date2num

from corridor.clearance.findings import span_chords
from corridor.opened import guard_of
from corridor.outputs.drawings.outages import draw_calendar, draw_map
from corridor.outputs.files import Files, joined
from corridor.outputs.tables import write_csv
from corridor.planning.outages.costs import cost_columns, costs_of, outage_costs
from corridor.planning.outages.grouping import AIMS
from corridor.planning.outages.orders import switching_rows, write_calendar, write_orders
from corridor.planning.outages.outages import Outages, outages_of
from corridor.planning.outages.schedule import calendar, crews_of, schedule
from corridor.planning.outages.work import STRINGING, table_of_circuits
from corridor.planning.remedies.load_table import load_table
from corridor.planning.remedies.plan import Planned
from corridor.planning.remedies.taken import counted, note_findings, write_layer

__all__ = ["write_outages"]


def write_outages(planned: Planned, folder: Path, *, aim: str = "circuit-hours", kind: str = "svg",
                  files: Files | None = None, outages: Outages | None = None, time: datetime | None = None
                  ) -> tuple[list[Path], list[str]]:
    """Add the outages of a plan to `plan.gpkg`, write tables and drawings; return their paths, and lines that tell.

    `aim` is one of `corridor.planning.outages.grouping.AIMS`, `kind` of drawing "svg", "png" or "pdf"; `outages` those
    of the plan, where they are known; `time` is that of the run.
    """
    outages = outages or outages_of(planned, aim)
    if outages is None:
        left = "Outages: none are planned. Circuits would go back into service with the violations that are left."
        return [], ["", left] * planned.holds
    if not outages.work and not outages.without:
        return [], ["No work: everything clears as it stands."]
    with joined(files, guard_of(planned.site.study)) as out:
        staged = out.staged(folder)
        # By itself it adds to what was written just before; together with that, what lies there is an earlier plan's.
        if files is None and not (staged / "plan.gpkg").exists() and (folder / "plan.gpkg").exists():
            shutil.copyfile(folder / "plan.gpkg", staged / "plan.gpkg")
        names = _write(staged, planned, outages, kind, time)
        note_findings(staged / "plan.gpkg", folder)
    written = [folder / name for name in names]
    if outages.grouped is None:
        return written, ["Outages: the work cannot be scheduled.", *(f"  {words}" for words in outages.forbids)]
    return written, _lines(planned.site, outages)


def _write(folder, planned, outages, kind, time):
    """Write layers, tables and drawings, and return their names."""
    site, work, grouped, every = planned.site, outages.work, outages.grouped, [*outages.work, *outages.without]
    start, end = calendar(work, grouped) if grouped else (np.full(len(work), np.nan),) * 2
    path, tables = folder / "plan.gpkg", ["items_by_circuit.csv", "calendar.csv", "states.csv"]
    moments = outages.item_times
    times = {} if not moments else {name: _times([getattr(each, name) for each in moments], len(outages.without))
                                    for name in ("start", "end")}
    write_layer(path, "work_items", _items(site, every, grouped, start, end) | times, site.inputs.crs,
                "MultiLineString Z")
    write_layer(path, "costs", cost_columns(costs_of(planned, outages), site.prices.currency))
    write_csv(folder / tables[0], table_of_circuits(every))
    loads = load_table(planned)
    if loads["line"]:
        write_layer(path, "loads", loads, site.inputs.crs, "Point Z")
        write_csv(folder / "loads.csv", loads)
    first = [path.name, tables[0], *(["loads.csv"] if loads["line"] else [])]
    if grouped is None or not work:
        return first
    when = {} if not outages.laid else {
        name: _times([getattr(each, name) for each in outages.laid], 0) for name in ("start", "end")}
    write_layer(path, "outages", _outages(outages) | when, site.inputs.crs, "MultiLineString Z")
    days = _calendar(work, site.prices, grouped, start, end, moments)
    write_layer(path, "calendar", days)
    write_csv(folder / tables[1], days)
    write_layer(path, "states", _states(outages.states))
    write_csv(folder / tables[2], _states(outages.states))
    drawings = [f"calendar.{kind}", f"outages.{kind}"]
    if moments:
        start, end = (date2num([getattr(each, name) for each in moments]) for name in ("start", "end"))
    crews = crews_of(site.prices)
    names = [item.name + f", crew {crews[k].name}" * (len(crews) > 1) for item, k in
             zip(work, grouped.crew, strict=True)]
    draw_calendar(folder / drawings[0], names, start, end, grouped.outage, bool(moments))
    # The map shows the chords of work on wires, the middle of other work.
    places = [item.geometry if item.kind in STRINGING else shapely.centroid(item.geometry) for item in work]
    draw_map(folder / drawings[1], places, [item.kind for item in work], grouped.outage,
             span_chords(site.facts.structures, site.plan.base_elevation, site.plan.spans))
    write_csv(folder / "switching.csv", switching_rows(outages))
    write_orders(folder / "work_orders.pdf", planned, outages)
    if outages.laid:
        write_calendar(folder / "calendar.ics", outages, site.study.study.title, time)
    return [*first, *tables[1:], *drawings, "switching.csv", "work_orders.pdf", *["calendar.ics"] * bool(outages.laid)]


def _times(moments, without):
    """Moments as a column of date-times, none for what needs no outage."""
    return pandas.to_datetime(pandas.Series([*moments, *[None] * without])).to_numpy()


def _items(site, every, grouped, start, end):
    """Columns of all work; what needs no outage comes last, and has neither one nor a time."""
    without = len(every) - len(start)
    outage, crew = [None] * len(every), [None] * len(every)
    if grouped is not None:
        outage = np.r_[grouped.outage + 1, [np.nan] * without] if without else grouped.outage + 1
        crew = [*(crews_of(site.prices)[k].name for k in grouped.crew), *[None] * without]
    named = {"own_circuits": "own", "circuits_worked_on": "circuits", "own_circuits_in_service": "live",
             "crossed_circuits": "crossed", "circuits_beside": "beside", "guarded": "guards", "circuits_out": "out"}
    return {"item": [item.name for item in every], "kind": [item.kind for item in every],
            "spans": [", ".join(site.plan.spans.name[item.spans]) for item in every],
            **{name: ["; ".join(getattr(item, field)) or None for item in every] for name, field in named.items()},
            "to_be_shown": [item.shown or None for item in every],
            "hours": [item.hours for item in every], "outage": outage, "crew": crew,
            **{name: np.r_[hours, np.full(without, np.nan)] for name, hours in (("start_h", start), ("end_h", end))},
            "geometry": [item.geometry for item in every]}


def _outages(outages):
    grouped, of = outages.grouped, [outages.items_of(g) for g in range(outages.grouped.steps)]
    return {"outage": np.arange(1, len(of) + 1), "items": ["; ".join(item.name for item in own) for own in of],
            "circuits_out": ["; ".join(c) or None for c in grouped.circuits], "hours": grouped.hours,
            "circuit_hours": [h * len(c) for h, c in zip(grouped.hours, grouped.circuits, strict=True)],
            **outage_costs(outages),
            "geometry": [shapely.multilinestrings([part for item in own for part in shapely.get_parts(item.geometry)])
                         for own in of]}


def _states(states):
    """Rows of what hangs between outages, and what it carries."""
    return {"after_outage": np.array([state.after for state in states]),
            "sections_with_new_wire": ["; ".join(state.pulled) or None for state in states],
            "sections_not_assessed": ["; ".join(state.unknown) or None for state in states],
            "structures_not_assessed": ["; ".join(state.unborne) or None for state in states],
            "violations_as_today": np.array([state.left for state in states]),
            "limit_current_a": np.array([state.current for state in states]),
            "limiting_span": [state.span for state in states],
            "emergency_limit_current_a": np.array([state.emergency_current for state in states]),
            "emergency_limiting_span": [state.emergency_span for state in states]}


def _calendar(work, prices, grouped, start, end, moments):
    """Rows of the calendar: what each crew does when, and what is out, in the order of time."""
    order = np.lexsort((grouped.crew, start, grouped.outage))
    dates = {} if not moments else {name: [getattr(moments[i], name).isoformat() for i in order]
                                    for name in ("start", "end")}
    crews = crews_of(prices)
    return {"outage": grouped.outage[order] + 1, "crew": [crews[k].name for k in grouped.crew[order]],
            "start_h": start[order],
            "end_h": end[order], **dates, "item": [work[i].name for i in order],
            "circuits_out": ["; ".join(grouped.circuits[grouped.outage[i]]) or None for i in order]}


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
              for name, words, each in ((aim, "by", grouped), (other, "not looked at in full: by", beside)) if each]
    for row in outages.rows:
        when = f", {row['start'][:16]} to {row['end'][:16]}" if "start" in row else ""
        lines.append(f"  outage {row['outage']}: {counted(len(row['items']), 'item')}, {row['hours']:.0f} h{when}, "
                     f"out: {'; '.join(row['circuits_out']) or 'nothing'}")
    return lines + ["In service:"] + [f"  {words}" for words in map(_in_service, outages.states)]


def _in_service(state):
    amps = "not known" if np.isnan(state.current) else f"{state.current:.0f} A"
    by = f", by {state.span}" if state.span else ""
    new = f"{counted(len(state.pulled), 'section')} with the new wire" if state.pulled else "the old wire"
    if state.unknown:
        new += f", not assessed, as no option is existing: {', '.join(state.unknown)}"
    new += "".join(f", {words}" for words in state.unborne)
    left = f", {counted(state.left, 'violation')} of the old wire as today" if state.left else ""
    return f"{f'after outage {state.after}' if state.after else 'today'}: {new}, carries {amps}{by}{left}"
