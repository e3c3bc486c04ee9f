"""A job beside the check: what engineers look up, as CSV files and one workbook."""

from collections.abc import Mapping
from datetime import datetime
from pathlib import Path

import numpy as np

from corridor.check import Progress
from corridor.jobs.folder import add_csvs, made_folder
from corridor.jobs.rating import rating_rows
from corridor.jobs.read_back import columns_of, plan_layers, read_back
from corridor.jobs.sag import chart_study, sag_study
from corridor.opened import Opened
from corridor.outputs.field_export import structure_places
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.workbook import need_workbook, write_workbook

__all__ = ["TEMPERATURES", "study_tables", "write_tables"]

#: Temperatures of the stringing chart [°C].
TEMPERATURES = tuple(range(-10, 45, 5))

#: Columns of the clearance schedule.
_SCHEDULE = ("line", "span", "section", "wire", "option", "case", "against", "obstacle", "outcome", "margin_m",
             "actual_m", "required_m", "rule", "rule_confidence", "rule_edition", "measure", "station_m",
             "distance_from_start_m", "offset_m", "wire_elevation_m", "other_elevation_m", "conductor_temperature_c",
             "base_m", "voltage_adder_m", "altitude_adder_m", "minimum_raise_m", "buffer_m", "margin_low_m",
             "margin_high_m", "margin_sd_m", "probability_short", "largest_share")


def study_tables(opened: Opened, findings: Path | str | None = None, *, progress: Progress | None = None
                 ) -> Frames:
    """Return what is looked up in a study, table by table.

    Parameters
    ----------
    opened : Opened
    findings : path, optional
        Those of the check, a GeoPackage or a folder; default: what the study says.
    progress : callable, optional
        `progress(done, total)` in spans, once for sags and once for the stringing chart.

    Returns
    -------
    Frames
        violations (worst first), clearance_schedule (with what was not assessed at its end), not_assessed,
        sag_tension, sag_tension_spans, stringing_chart, structures (with easting, northing, longitude and latitude),
        structure_loads, options; with [rating] in the study ratings, with [uncertainty] that, too; where
        `corridor plan` has left a plan beside the findings its layers, too.

    Raises
    ------
    InputError
        There are no findings of this study, or something given cannot be used.
    """
    source, layers = read_back(opened, findings, ("clearances", "not_assessed", "structures", "structure_loads",
                                             "options", "uncertainty", "run"))
    plain = {name: columns_of(frame) for name, frame in layers.items()}
    sags = sag_study(opened, progress=progress)
    schedule = _schedule(plain["clearances"], plain["not_assessed"])
    tables = {"violations": _short(schedule), "clearance_schedule": schedule,
              "not_assessed": plain["not_assessed"], "sag_tension": sags.sections, "sag_tension_spans": sags.spans,
              "stringing_chart": chart_study(opened, TEMPERATURES, progress=progress).rows,
              "structures": structure_places(layers["structures"]),
              "structure_loads": plain["structure_loads"], "options": plain["options"]}
    if opened.study.uncertainty is not None:
        tables["uncertainty"] = plain["uncertainty"]
    if opened.study.rating is not None:
        tables["ratings"] = rating_rows(opened)
    plans = {"plan" if name == "plan" else f"plan_{name}": columns_of(frame)
             for name, frame in plan_layers(source).items()}
    return Frames(tables | plans | {"run": _run(plain["run"])})


def _short(schedule):
    """Rows of the schedule that are in violation, the worst first."""
    rows = np.flatnonzero(schedule["outcome"] == "violation")
    rows = rows[np.argsort(schedule["margin_m"][rows], kind="stable")]
    return {name: column[rows] for name, column in schedule.items() if name not in ("outcome", "reason")}


def _schedule(clearances, gaps):
    """Clearances with their outcome in words; what was not assessed follows, so that no one misses it."""
    margin = clearances["margin_m"]
    outcome = np.select([margin < 0, margin >= 0], ["violation", "clear"], "not assessed").astype(object)
    upper, count = clearances | {"outcome": outcome}, len(gaps["reason"])
    lower = gaps | {"outcome": np.full(count, "not assessed", object)}
    missing = {name: np.full(count, np.nan if upper[name].dtype.kind == "f" else None, upper[name].dtype)
               for name in _SCHEDULE}
    rows = {name: np.concatenate([upper[name], lower.get(name, missing[name])]) for name in _SCHEDULE}
    return rows | {"reason": np.concatenate([np.full(len(margin), None, object), gaps["reason"]])}


def _run(run):
    """What was run, one row a thing: cautions must travel with the numbers."""
    rows = [(name, str(column[0])) for name, column in run.items() if name != "inputs" and column[0] is not None]
    return {"what": np.array([name for name, _ in rows], object), "value": np.array([v for _, v in rows], object)}


def write_tables(tables: Mapping[str, Columns], folder: Path | str, *, workbook: bool = True,
                 time: datetime | None = None, guard: Guard = PLAIN) -> tuple[Path, ...]:
    """Write tables as CSV files and, unless asked not to, as the workbook tables.xlsx; return their paths.

    Raises
    ------
    InputError
        The folder is none and cannot be made, a file in it must not be replaced, or a table is too long for a sheet.
    CorridorError
        openpyxl is missing: nothing is written.
    """
    if workbook:
        need_workbook()
    folder = made_folder(folder)
    with Files(guard) as files:
        add_csvs(files, folder, tables)
        if workbook:
            write_workbook(files.new(folder / "tables.xlsx"), tables, time, cover=_cover(tables))
    return files.written


#: What is in a table, for the cover.
_HOLDS = {"violations": "every violation, the worst first", "clearance_schedule": "all that was compared",
          "not_assessed": "what could not be compared: not a pass", "sag_tension": "sag and tension of sections",
          "sag_tension_spans": "sag and tension of spans", "stringing_chart": "tension and sag to string by",
          "structures": "structures and where they stand", "structure_loads": "pulls of wires on structures",
          "options": "the conductors that were studied", "uncertainty": "how sure inputs are",
          "ratings": "currents of the options", "plan": "what is done", "plan_costs": "what the plan costs",
          "plan_work_items": "work of the plan", "plan_outages": "outages of the plan",
          "plan_remedies": "remedies of each violation",
          "plan_left": "violations that the plan leaves", "run": "what was run, and cautions"}


def _cover(tables):
    """Lines of the cover: what was studied, what each option comes to, what each sheet holds, and cautions."""
    run, options = dict(zip(tables["run"]["what"], tables["run"]["value"], strict=True)), tables["options"]
    rows = [("Study", run.get("study")), ("Grid", run.get("frame")), ("Elevations above", run.get("vertical_datum")),
            ("Findings of", run.get("time")), ("Software", f"corridor {run.get('software_version')}"), (None, None)]
    rows += [(f"Option {name!r}", f"{short:.0f} violations, {gaps:.0f} not assessed: not a pass; "
              f"minimum margin {'not known' if np.isnan(worst) else f'{worst:.2f} m'}")
             for name, short, gaps, worst in zip(*(options[k] for k in (
                 "option", "violations", "not_assessed", "worst_margin_m")), strict=True)]
    rows += [(None, None), *((name, _HOLDS.get(name, "")) for name in tables), (None, None)]
    return rows + [("Caution", line) for line in (run.get("cautions") or "").splitlines()]
