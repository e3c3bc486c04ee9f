"""Files of a plan for people: work orders, requests for switching, and the calendar that calendars read."""

from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from corridor.clearance.findings import span_chords
from corridor.outputs.drawings.work_orders import draw_orders
from corridor.outputs.guard import MARK
from corridor.planning.outages.outages import Outages
from corridor.planning.outages.schedule import crews_of
from corridor.planning.outages.work import AT_STRUCTURES
from corridor.planning.remedies.plan import Planned
from corridor.summary import CAUTIONS

__all__ = ["switching_rows", "write_calendar", "write_orders"]


def switching_rows(outages: Outages) -> dict[str, list]:
    """Return what is asked of those who switch, a row per outage and circuit, as columns."""
    rows = []
    for row in outages.rows:
        items, asked = outages.items_of(row["outage"] - 1), outages.ask_by(row["outage"] - 1)
        for circuit in row["circuits_out"]:
            own = [item for item in items if circuit in item.out]
            role = "own" if any(circuit in item.own for item in own) else "crossed"
            rows.append((circuit, role, row["outage"], row["hours"], row.get("start"), row.get("end"),
                         asked.get(circuit), "; ".join(item.name for item in own)))
    names = "circuit", "role", "outage", "working_hours", "start", "end", "ask_by", "for_work"
    return dict(zip(names, map(list, zip(*rows, strict=True)), strict=True)) if rows else {name: [] for name in names}


def write_calendar(path: Path, outages: Outages, title: str, time: datetime | None = None) -> None:
    """Write outages as iCalendar (RFC 5545), an event each, in local time; `time` is that of the run."""
    import icalendar  # needed only where a calendar is written

    book = icalendar.Calendar()
    book.add("prodid", f"-//{MARK}//EN")
    book.add("version", "2.0")
    for row, laid in zip(outages.rows, outages.laid, strict=True):
        event = icalendar.Event()
        event.add("uid", f"outage-{row['outage']}-{laid.start:%Y%m%d}@corridor")
        event.add("dtstamp", time or datetime.now(UTC))
        event.add("dtstart", laid.start)
        event.add("dtend", laid.end)
        out = "; ".join(row["circuits_out"]) or "nothing out, work in service"
        event.add("summary", f"Outage {row['outage']}: {out}")
        asked = [f"Ask by {day}: {name}" for name, day in outages.ask_by(row["outage"] - 1).items()]
        event.add("description", "\n".join([title, *row["items"], *asked, CAUTIONS[0]]))
        book.add_component(event)
    path.write_bytes(book.to_ical())


def write_orders(path: Path, planned: Planned, outages: Outages) -> None:
    """Write a page for each work item, crew by crew in the order of time."""
    site, grouped = planned.site, outages.grouped
    chords, times = span_chords(site.facts.structures, site.plan.base_elevation, site.plan.spans), outages.item_times
    order = np.lexsort((grouped.crew, grouped.outage))
    orders = [_order(planned, outages.work[i], int(grouped.outage[i]), int(grouped.crew[i]),
                     times[i] if times else None, outages) for i in order]
    draw_orders(path, orders, chords, (*site.study.cautions, *CAUTIONS))


def _order(planned, item, outage, crew, laid, outages):
    site = planned.site
    x, spans, z = site.facts.structures, site.plan.spans, site.plan.base_elevation
    ends = np.unique(np.r_[spans.tail[item.spans], spans.head[item.spans]])
    at = [item.place] if item.kind in AT_STRUCTURES else ends
    facts = [("outage, crew", f"outage {outage + 1}, crew {crews_of(site.prices)[crew].name}"),
             ("working time", f"{item.hours:g} h" + (f", {laid.start:%a %Y-%m-%d %H:%M} to {laid.end:%a %Y-%m-%d %H:%M}"
                                                     if laid else "")),
             ("spans", ", ".join(spans.name[item.spans]))]
    named = (("out of service", item.out), ("in service on it", item.live), ("crossed", item.crossed),
             ("beside, in service", item.beside), ("to guard", item.guards))
    facts += [(name, "; ".join(values)) for name, values in named if values]
    facts += [("to be shown", item.shown)] * bool(item.shown)
    asked = outages.ask_by(outage)
    facts += [("ask before", ", ".join(f"{name} by {day}" for name, day in asked.items()))] if asked else []
    return {"title": item.name, "facts": facts, "geometry": item.geometry, "clearances": _clearances(planned, item),
            "places": [(f"{x.structure[s]}", x.easting[s], x.northing[s], z[s]) for s in at]}


def _clearances(planned, item):
    """The minimum margin of each thing in the spans of an item before and after, the least before first."""
    found = {}
    for at, variant in enumerate((planned.before, planned.after)):
        c = variant.layers["clearances"]
        parent = variant.line.parent[variant.line.spans_at(c)]
        for i in np.flatnonzero(np.isin(parent, item.spans)):
            key = int(parent[i]), c["obstacle"][i] or c["against"][i]
            margins = found.setdefault(key, [(np.nan, ""), (np.nan, "")])
            if not margins[at][0] <= c["margin_m"][i]:
                margins[at] = float(c["margin_m"][i]), c["case"][i]
    names = planned.site.plan.spans.name
    rows = [(names[span], thing, before[1] or after[1], before[0], after[0])
            for (span, thing), (before, after) in found.items()]
    return sorted(rows, key=lambda row: np.nan_to_num(row[3], nan=np.inf))


