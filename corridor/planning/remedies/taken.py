"""What a plan takes and what each remedy is worth: the layers `plan` and `remedies`, and words for the person."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pandas
import shapely

from corridor.opened import guard_of
from corridor.outputs.files import Files, joined
from corridor.outputs.planned_for import write_planned_for
from corridor.outputs.tables import write_frame
from corridor.planning.remedies.each_alone import COLUMNS, each_alone
from corridor.planning.remedies.left import left_rows
from corridor.planning.remedies.offered import OF_OTHERS
from corridor.planning.remedies.plan import Planned

__all__ = ["counted", "note_findings", "plan_lines", "plan_parts", "taken", "today_lines", "write_layer",
           "write_remedies"]

#: Words and units of what is taken, by kind.
_WORDS = {"raise": ("raise", "m"), "replace": ("put a taller structure in place of", "m"),
          "shorten": ("shorten the strings of", "m"),
          "v_string": ("V-strings for the strings of", None),
          "post": ("posts for the strings of", None), "strain": ("strain strings at", None),
          "tighten": ("tighten", "%"), "slacken": ("slacken", "%"), "grade": ("cut the ground below", "m"),
          "trim": ("trim", "m"), "side_trim": ("cut back the crown of", "m"), "remove": ("take away", None),
          "bury": ("put underground", None), "raise_other": ("raise the wires of", "m"),
          "lower_other": ("lower the wires of", "m"), "add": ("add a structure in", None)}


def taken(planned: Planned) -> dict[str, list]:
    """Return the remedies that a plan takes, as columns; steps at one place are one row."""
    m, site, costs = planned.remedies, planned.site, planned.remedies.cost(planned.steps)
    rows = {}
    for j in np.flatnonzero(planned.steps):
        amount, cost = rows.get((m.kind[j], int(m.place[j])), (0.0, 0.0))
        rows[m.kind[j], int(m.place[j])] = amount + planned.steps[j] * m.step[j], cost + float(costs[j])
    table = {name: [] for name in ("remedy", "line", "where", "amount", "unit", "volume_m3", "height_left_m",
                                   "radius_left_m", "cost", "geometry")}
    for (kind, place), (amount, cost) in rows.items():
        amount *= site.prices.step if kind in OF_OTHERS else 1
        line, where, point = _named(site, kind, place)
        unit = _WORDS[kind][1]
        volume = site.cells[place].volume(amount) if kind == "grade" else np.nan
        height, radius, tree = np.nan, np.nan, site.trees.get(place)
        if kind == "trim":
            height, amount = tree.left(amount), tree.cut(amount)
        elif kind == "side_trim":
            radius, amount = tree.left_aside(amount), tree.cut_aside(amount)
        values = kind, line, where, 100 * amount if unit == "%" else amount, unit, volume, height, radius, cost, point
        for column, value in zip(table.values(), values, strict=True):
            column.append(value)
    return table


def _left(planned):
    """Rows of what a plan leaves."""
    return left_rows(planned.before, planned.after, planned.left if planned.holds else {})


def _named(site, kind, place):
    """Line, name and place of what a remedy is for."""
    x, spans, z = site.facts.structures, site.plan.spans, site.plan.base_elevation
    if kind in ("trim", "side_trim", "remove", "bury", *OF_OTHERS):
        obstacles = site.facts.index.obstacles
        return None, obstacles.obstacle[place], shapely.force_3d(shapely.centroid(obstacles.geometry[place]), 0)
    if kind in ("grade", "add", "tighten", "slacken"):
        section = kind in ("tighten", "slacken")
        span = site.plan.sections.first[place] if section else place
        a, b = spans.tail[span], spans.head[span]
        name = site.plan.sections.name[place] if section else spans.name[place]
        return spans.line[span], name, shapely.Point(*((v[a] + v[b]) / 2 for v in (x.easting, x.northing, z)))
    return x.line[place], x.structure[place], shapely.Point(x.easting[place], x.northing[place], z[place])


def write_remedies(planned: Planned, folder: Path, others: dict[str, set] | None = None,
                   progress: Callable[[int, int], None] | None = None, files: Files | None = None, *,
                   alone: bool = True) -> list[Path]:
    """Write the layers `plan`, `left` and, unless they are not to be tried `alone`, `remedies` of `plan.gpkg` to a
    folder, as far as they have rows; return its path.

    `others` and `progress` are as `each_alone` takes them.
    """
    remedies = each_alone(planned, others or {}, progress=progress) if alone else {"line": ()}
    rows = taken(planned)
    with joined(files, guard_of(planned.site.study)) as out:
        path = out.staged(folder) / "plan.gpkg"
        if len(remedies["line"]):
            write_layer(path, "remedies", {name: remedies[name] for name in COLUMNS}, planned.site.inputs.crs,
                        "Point Z")
        if planned.holds and rows["remedy"]:
            write_layer(path, "plan", rows, planned.site.inputs.crs, "Point Z")
        left = _left(planned)
        if left["line"]:
            points = [shapely.force_3d(shapely.centroid(each), 0) for each in left["geometry"]]
            write_layer(path, "left", left | {"geometry": points}, planned.site.inputs.crs, "Point Z")
        note_findings(path, folder)
        return [folder / "plan.gpkg"] if path.exists() else []


def note_findings(path: Path, folder: Path) -> None:
    """Write into a GeoPackage of a plan, if there is one, which findings it is for: those beside it, or in the folder
    that it is for."""
    for findings in (path.with_name("findings.gpkg"), folder / "findings.gpkg"):
        if findings.exists() and path.exists():
            write_planned_for(path, findings)
            return


def write_layer(path: Path, layer: str, columns: dict, crs=None, geometry_type: str | None = None) -> None:
    """Add a layer to a GeoPackage, a table where no type of geometry is given."""
    if geometry_type is None:
        frame = pandas.DataFrame(columns)
    else:
        plain = {name: values for name, values in columns.items() if name != "geometry"}
        frame = geopandas.GeoDataFrame(plain, geometry=list(columns["geometry"]), crs=crs.to_wkt("WKT2_2019"))
        frame = frame.infer_objects()
    write_frame(path, layer, frame, geometry_type)


def plan_parts(planned: Planned) -> dict[str, Any]:
    """Return what a plan comes to, by name, for machines: the remedies as rows, what is not known None."""
    rows, left = (_plain(each) for each in (taken(planned), _left(planned)))
    today = {} if planned.today is None else {"today": plan_parts(planned.today)}
    return {"option": planned.site.option, "cleared": planned.cleared, "rounds": planned.rounds,
            "violations_before": planned.before.short, "forbids": list(planned.forbids),
            "changes": [words for words in planned.changes if words], "not_offered": planned.refused,
            "left": left, "remedies": rows if planned.holds else [],
            "cost": planned.cost if planned.holds else None,
            "gap": planned.gap if planned.holds and planned.rounds else None,
            "check": None if planned.checked is None else {**vars(planned.checked), "doubts": planned.doubts},
            **today}


def _plain(columns):
    """Rows of columns, but for their places."""
    names = [name for name in columns if name != "geometry"]
    return [dict(zip(names, row, strict=True)) for row in zip(*(columns[name] for name in names), strict=True)]


def plan_lines(planned: Planned) -> list[str]:
    """Return lines that say what was found and what is to be done."""
    lines = [f"{planned.site.option}: {counted(planned.before.short, 'violation')} on the existing line"]
    if planned.forbids and not planned.holds:
        lines += ["No plan: to first order the remedies that the study allows cannot meet"]
        lines += _some([f"  {words}" for words in planned.forbids])
        lines += [f"  not offered: {kind}, as {why}" for kind, why in planned.refused.items()]
        return lines + today_lines(planned.today)
    lines += _left_lines(planned)
    lines += [_line(*row) for row in zip(*taken(planned).values(), strict=True)]
    if planned.rounds:
        money = planned.site.prices.currency or "relative"
        gap = "how far above the least is not known" if np.isnan(planned.gap) else \
            f"at most {planned.gap:.1%} above the least, as far as looked"
        lines.append(f"Cost {planned.cost:g} ({money}), {gap} ({counted(planned.rounds, 'look')} at the line)")
    lines += [words[:1].upper() + words[1:] for words in planned.changes if words]
    lines += today_lines(planned.today, planned.cost if planned.cleared else np.nan)
    checked = planned.checked
    if checked is not None:
        lines += ["Wires are loaded above their rated strength in the planned copy."] * bool(checked.overloads)
        lines += ["Wires lift strings in the planned copy."] * bool(checked.lifted)
        lines += ["Wires load structures above their capacity in the planned copy."] * bool(checked.over_capacity)
        lines += ["Strings swing too far in the planned copy."] * bool(checked.at_structures)
        lines += ["A vehicle takes more current than the rules allow in the planned copy."] * bool(checked.induced)
        rest = f"{checked.gaps} rows not assessed, which no remedy puts right" if checked.gaps else \
            "everything assessed"
        lines.append(f"A full check of the planned copy: {counted(checked.violations, 'violation')}, {rest}")
        lines += [f"{counted(planned.doubts, 'doubt')} about the data could hide a violation: see the layer doubts of "
                  "its findings"] * bool(planned.doubts)
    return lines


def _some(lines):
    """Lines, of very many the first and how many there are more."""
    return lines[:20] + [f"  and {len(lines) - 20} more"] * (len(lines) > 20)


def _left_lines(planned):
    """Lines that say what a plan leaves, and why."""
    rows = _plain(_left(planned))
    if not rows:
        return []
    lines = [f"  {row['structure']}, wire {row['wire']}, {row['case']}: the string is lifted: {row['why']}"
             if row["structure"] else f"  {row['span']}, wire {row['wire']}, {row['case']}: {-row['margin_m']:.2f} m "
             f"short of {row['obstacle'] or row['against']} ({row['measure']}), {-row['margin_before_m']:.2f} m on the "
             f"existing line: {row['why']}" for row in rows]
    number = counted(len(rows), "violation")
    return [f"NOT CLEAR: {number} left, with all else put right; none of them is worse than on the existing line",
            *_some(lines), *(f"  not offered: {kind}, as {why}" for kind, why in planned.refused.items())]


def today_lines(today: Planned | None, cost: float = np.nan) -> list[str]:
    """Return lines that tell what the existing wire needs by itself, apart from what buys rating; `cost` that of the
    whole plan, where it is known."""
    if today is None:
        return []
    name, short = today.site.option, today.before.short
    if not short:
        return [f"Mandatory today: nothing, {name} has no violation"]
    spans = ", ".join(dict.fromkeys(today.before.layers["violations"]["span"]))
    head = f"Mandatory today: {name} has {counted(short, 'violation')} ({spans})"
    if not today.cleared:
        rest = f"; {today.cost:g} remedies by itself all but {len(_left(today)['line'])}" * today.holds
        return [head + ", which the remedies that the study allows cannot remedy" + rest]
    rest = f"; the other {max(cost - today.cost, 0.0):g} buy rating" if np.isfinite(cost) else ""
    return [f"{head}; remedied by itself for {today.cost:g}{rest}",
            *(f"  {each}" for each in (_line(*row) for row in zip(*taken(today).values(), strict=True)))]


def _line(remedy, line, where, amount, unit, volume, height, radius, cost, _):
    words = f"  {_WORDS[remedy][0]} {f'{line}, ' if line else ''}{where}"
    words += f" by {amount:g} {unit}" if unit else ""
    words += f", {volume:.0f} m³" if np.isfinite(volume) else ""
    words += f", to {height:g} m above the ground" if np.isfinite(height) else ""
    return words + (f", to a radius of {radius:g} m" if np.isfinite(radius) else "") + f": {cost:.3g}"


def counted(number: int, noun: str) -> str:
    """Return so many of something, in words."""
    many = f"{noun[:-1]}ies" if noun.endswith("dy") else f"{noun}s"
    return f"{number} {noun}" if number == 1 else f"{number} {many}"
