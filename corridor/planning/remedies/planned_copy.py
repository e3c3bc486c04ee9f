"""The planned copy of a study: one option, and the existing one, with remedies in place in a folder of its own."""

import csv
from datetime import datetime
from pathlib import Path

import geopandas
import numpy as np
import pandas
import shapely
import tomli_w

from corridor.check import Progress, check_study
from corridor.constants import GRAVITY
from corridor.errors import InputError
from corridor.inputs.cells import cells
from corridor.inputs.frame import horizontal, transformer
from corridor.inputs.framings import framing_rows
from corridor.inputs.layers import portions
from corridor.inputs.obstacles import open_obstacles
from corridor.inputs.other_lines import height_factor
from corridor.inputs.structures import FORMER_AZIMUTH, open_structures, plain_name
from corridor.inputs.study_inputs import Inputs
from corridor.outputs.guard import Guard, place_of, sealed
from corridor.outputs.tables import write_frame
from corridor.planning.remedies.alterations import NONE, Site, tauter_sections
from corridor.planning.remedies.graded_ground import write_graded
from corridor.planning.remedies.mixed import mix_tables
from corridor.planning.remedies.standing import cleared_areas
from corridor.planning.remedies.variants import Variant
from corridor.study.include import moved
from corridor.summary import Outcome
from corridor.units import scale

__all__ = ["check_folder", "checked_copy", "earlier_plan"]

_MARK = "# A planned copy, written by corridor plan: the next plan in this folder replaces it and its files.\n"
#: What a plan, and the outages for it, may write beside the study.
_WRITTEN = ("study.toml", "findings.gpkg", "structures.gpkg", "framings.csv", "graded.tif", "obstacles [0-9]*.gpkg",
            "measured.csv", "cleared.gpkg", "plan.gpkg", "items_by_circuit.csv", "states.csv", "ways.csv", "loads.csv",
            "switching.csv", "work_orders.pdf", "calendar.ics", "calendar.csv", "calendar.svg", "calendar.png",
            "calendar.pdf", "outages.svg", "outages.png", "outages.pdf")

#: Numbers of framings that remedies change: their columns, and the unit in which they are written.
_NUMBERS = {"height": ("height", "m"), "string_length": ("string_length", "m"), "string_mass": ("string_mass", "kg"),
            "string_area": ("string_wind_area", "m^2"), "vee_angle": ("vee_angle", "deg")}
#: Columns of a layer of which the study gives one number for all, some of which are other in the copy.
_PLANNED = {"height": "height_planned", "radius": "radius_planned"}


def check_folder(folder: Path, inputs: Inputs, guard: Guard) -> None:
    """Refuse a folder in which a plan would write over a study that no plan wrote, or over what it reads."""
    study, words = inputs.study, ""
    read = {study.resolve(row["path"]).resolve().parent for row in inputs.files} | {study.folder.resolve()}
    if place_of(folder) in read:
        words = "in which the study lies or reads a file"
    elif not folder.is_dir() and (folder.exists() or not folder.absolute().parent.is_dir()):
        words = "where no folder can be made"
    elif (folder / "study.toml").exists() and not _of_a_plan(folder):
        words = "with a study in it that no plan wrote"
    if words:
        raise InputError(None, "folder", f"{str(folder)!r}, {words}", "a new folder, or that of an earlier plan")
    for pattern in _WRITTEN if folder.is_dir() else ():
        for path in folder.glob(pattern):
            guard.check(path)


def _of_a_plan(folder):
    return (folder / "study.toml").is_file() and (folder / "study.toml").read_bytes().startswith(_MARK.encode())


def earlier_plan(folder: Path) -> tuple[str, ...]:
    """Return patterns of all that an earlier plan wrote to a folder: nothing of it shall be taken for a part of the
    next."""
    return _WRITTEN if _of_a_plan(folder) else ("plan.gpkg",)


def checked_copy(site: Site, after: Variant, folder: Path, time: datetime | None = None,
                 progress: Progress | None = None) -> tuple[Outcome, int]:
    """Write a study with the alterations of a variant in place, and all files that they change; return what a full
    check of it, at the time of the run, says of the option that is planned, and how many doubts about the data could
    hide a violation. `progress` is as for the check."""
    path = folder / "study.toml"
    path.write_text(sealed(_MARK + tomli_w.dumps(_tables(site, after, folder))), encoding="utf-8")
    result = check_study(path, trust=True, time=time, progress=progress)
    return result.of_options[site.option], result.inspection.open


def _tables(site, after, folder):
    """The tables of the copy; the files that they name are written."""
    study, done = site.study, after.alterations
    tables = study.tables
    keep = {site.strung, *(each.name for each in study.options if each.existing)}
    tables["options"] = [each for each in tables["options"] if each["name"] in keep]
    for key in ("design", "mixes"):
        tables.pop(key, None)
    if site.facts.mixes:
        tables["mixes"] = mix_tables(site, after)
    _set_temperatures(site, next(each for each in tables["options"] if each["name"] == site.strung))
    tables = moved(tables, study.folder, folder)
    tables["study"]["output"] = "findings.gpkg"
    if tables.pop("surveys", None):
        _write_measured(after.line.facts, tables["options"], folder / "measured.csv")
    if any(change != NONE for change in done.changes) or len(done.added):
        _write_structures(site, after, folder / "structures.gpkg")
        _write_framings(site, after, folder / "framings.csv")
        tables["structures"] = _as_read(tables["structures"]) | {"file": "structures.gpkg", "layer": "structures"}
        tables["framings"]["file"] = "framings.csv"
    if done.cut.any() and write_graded(folder / "graded.tif", site.cells, done.cut):
        tables["terrain"]["ground"].insert(0, "graded.tif")
    if done.removed.any() or done.tops.any() or done.narrower.any():
        # Of several of one name, some of which stay, none is taken out of the files: the check of the copy tells.
        names = site.facts.index.obstacles.obstacle
        removed = set(names[done.removed]) - set(names[~done.removed])
        less = {key: {names[i]: float(amount[i]) for i in np.flatnonzero(amount)} for key, amount in (
            ("height", done.tops), ("radius", done.narrower))}
        if "obstacles" in tables:
            tables["obstacles"] = _other_obstacles(study, removed, less, tables["obstacles"], folder)
        areas = cleared_areas(site.facts.index.obstacles, done.removed, site.inputs.cleared, site.inputs.frame.crs)
        if areas is not None:
            write_frame(folder / "cleared.gpkg", "cleared", areas)
            tables["terrain"]["surface_cleared"] = "cleared.gpkg"
    if done.tightened.any():
        option = next(each for each in tables["options"] if each["name"] == site.strung)
        option.setdefault("tightened", []).extend(
            {"line": row.line, "section": row.section, "by": row.share}
            for row in tauter_sections(site, after.line.plan, after.line.parent, done.tightened))
    return tables


def _set_temperatures(site, option):
    """Write the temperatures that an option is planned for, where they are not those of the study."""
    given = next(each for each in site.inputs.options if each.name == site.strung).wiring
    for key in ("maximum_temperature", "emergency_temperature"):
        if getattr(site.wiring, key) != getattr(given, key):
            option[key] = round(float(getattr(site.wiring, key)), 6)


def _write_measured(facts, options, path):
    """Write what surveys saw of sections, which the points would not tell of structures that stand elsewhere."""
    wiring = next(each for each in facts.options if each.existing).wiring
    weight = wiring.conductor.mass * GRAVITY
    rows = [("line", "section", "temperature", "horizontal_tension", "swing", "condition")]
    rows += [(row.line, row.section, row.temperature,
              row.constant * weight * np.hypot(1.0, row.slant) if np.isnan(row.horizontal_tension)
              else row.horizontal_tension, np.degrees(np.arctan(row.slant)),
              "initial" if row.initial else "final") for row in wiring.measured]
    if len(rows) > 1:
        with path.open("w", newline="", encoding="utf-8") as file:
            csv.writer(file).writerows(rows)
        option = next(each for each in options if each.get("existing"))
        option["measured"] = path.name
        for key in [key for key in option if key.startswith("measured_")]:
            del option[key]


def _as_read(table):
    """The table of a layer that is written anew as it was read, without what tells how to read it."""
    return {key: value for key, value in table.items()
            if key not in ("crs", "x_column", "y_column", "where", "values", "route")}


def _rows_of(layer):
    """The rows of a layer as they are read, by the numbers of their features."""
    parts = list(portions(layer, layer.fields))
    columns = {name: np.concatenate([part.columns[name] for part in parts]) for name in layer.fields}
    geometry = np.concatenate([part.geometry for part in parts])
    return geopandas.GeoDataFrame(columns, geometry=geometry, crs=layer.crs,
                                  index=np.concatenate([part.fid for part in parts]))


def _write_structures(site, after, path):
    """Write the structures as they are with the remedies in place."""
    section, names = site.study.structures, site.study.structures.columns
    rows = _rows_of(open_structures(site.study.resolve(section.file), section))
    x, spans = site.facts.structures, site.plan.spans
    lines = rows[names.line].map(plain_name) if names.line in rows else ["line"] * len(rows)
    place = {key: i for i, key in enumerate(zip(lines, rows[names.structure].map(plain_name), strict=True))}
    row_of = np.array([place[key] for key in zip(x.line, x.structure, strict=True)])
    rows = rows.reset_index(drop=True)
    if names.order not in rows:
        rows[names.order] = x.order[np.argsort(row_of)]
    new = [_new_row(rows.iloc[row_of[spans.tail[span]]].copy(), names, site, after, i, rows.crs) for span, i in
           zip(after.alterations.added, np.flatnonzero(after.line.origin < 0), strict=True)]
    framing = _framings_now(after)
    for s, change in enumerate(after.alterations.changes):
        if change != NONE:
            rows.loc[row_of[s], names.framing] = framing[s]
            rows.loc[row_of[s], names.role] = "strain" if change.string == "strain" else x.role[s]
    if new:
        rows[names.order] = rows[names.order].astype(float)
        rows = pandas.concat([rows, geopandas.GeoDataFrame(new, crs=rows.crs)], ignore_index=True)
    write_frame(path, "structures", rows)


def _new_row(row, names, site, after, i, crs):
    """The row of a structure that is added, made of its neighbour's."""
    x = after.line.facts.structures
    e, n = transformer(site.inputs.frame.crs, horizontal(crs)).transform(x.easting[i], x.northing[i])
    row["geometry"] = shapely.Point(e, n, 0) if row["geometry"].has_z else shapely.Point(e, n)
    for key in ("structure", "order", "role", "framing"):
        row[getattr(names, key)] = getattr(x, key)[i]
    for key in (names.base_elevation, names.crossarm_azimuth, FORMER_AZIMUTH):
        if key in row:
            row[key] = None
    return row


def _framings_now(after):
    """The names of the framings that structures of the existing line have with the remedies in place."""
    return after.line.facts.structures.framing[after.line.origin >= 0]


def _write_framings(site, after, path):
    """Write the table of framings, and below it those that are changed: a row as it was but for what differs, in SI."""
    rows = framing_rows(site.study.resolve(site.study.framings.file))
    f, known, more = after.line.facts.framings, site.facts.framings, []
    was = dict(zip(zip(known.framing, known.wire, strict=True), range(len(known.framing)), strict=True))
    pairs = zip(site.facts.structures.framing, _framings_now(after), strict=True)
    for framing, name in dict.fromkeys(pair for pair in pairs if pair[0] != pair[1]):
        for row in rows:
            if row["framing"] == framing:
                before = was[framing, row["wire"]]
                now = np.flatnonzero((f.framing == name) & (f.wire == row["wire"]))[0]
                more.append(row | {"framing": name, "string": f.string[now]} | _others(f, now, known, before))
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(dict.fromkeys(key for row in (rows[0], *more) for key in row)),
                                restval="", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows + more)


def _others(now, row, before, was):
    """Numbers of a row of framings that are others than those of a row before, as text with its unit."""
    found = {}
    for name, (column, unit) in _NUMBERS.items():
        values = [0.0 if each is None else float(each[i]) for each, i in (
            (getattr(now, name), row), (getattr(before, name), was))]
        if values[0] != values[1] and np.isfinite(values[0]):
            found[column] = f"{values[0]!r} {unit}"
    return found


def _parts(study, section, key, less):
    """The layers of a section as frames in the CRS of the first, with a column of what findings call each feature, and
    with heights and radii that are `less` by that name, more where negative [m]."""
    frames = []
    for part in section.parts:
        layer = open_obstacles(part, study.resolve)
        rows = _rows_of(layer)
        if key != part.id_column:
            own = rows.index if part.id_column is None else rows[part.id_column]
            rows[key] = [f"{part.label}{plain_name(each)}" if part.label else each for each in own]
        names = rows[key].map(plain_name).to_numpy()
        for what, amounts in less.items():
            # Of several of one name none is other: the check of the copy tells.
            found = ((np.flatnonzero(names == name), metres) for name, metres in amounts.items())
            at = {int(own[0]): metres for own, metres in found if len(own) == 1}
            if amounts:
                _lessen(rows, at, what, part, layer)
        frames.append(rows if not frames else rows.to_crs(frames[0].crs))
    return frames


def _lessen(rows, at, what, part, layer):
    """Take metres from the height or radius of rows, by their numbers, where the study has them: in a column, as one
    number of all, or as Z."""
    key = "elevation" if what == "height" and part.elevation_column is not None else what
    column, unit = (getattr(part, f"{key}_{each}") for each in ("column", "unit"))
    if column is None and getattr(part, what) is not None:
        column, unit = _PLANNED[what], "m"
        rows[column] = getattr(part, what)
    if column is None:
        places = rows.geometry.to_numpy().copy()
        for i, metres in at.items():
            down = [0, 0, metres / height_factor(part, layer)]
            places[i] = shapely.transform(places[i], lambda xyz, down=down: xyz - down, include_z=True)
        rows.geometry = places
        return
    values = rows[column].to_numpy()
    told = cells(values, "length", unit)[0]
    values = values.astype(float if values.dtype.kind in "iuf" else object)
    for i, metres in at.items():
        left = float(told[i] - metres)
        values[i] = f"{left!r} m" if values.dtype.kind == "O" else left / scale(unit, "length")[0]
    rows[column] = values


def _other_obstacles(study, removed, less, tables, folder):
    """The tables of obstacles, the layers of which some features are taken away, lower or narrower written anew; `less`
    by "height" and "radius" the metres by name."""
    left = []
    for given, section in zip(tables, study.obstacles, strict=True):
        before = f"{section.name}:"
        gone = {name.removeprefix(before) for name in removed if name.startswith(before)}
        own = {what: {name.removeprefix(before): metres for name, metres in amounts.items() if name.startswith(before)}
               for what, amounts in less.items()}
        if not gone and not any(own.values()):
            left.append(given)
            continue
        key = section.id_column if len(section.parts) == 1 and section.id_column else "feature_before"
        rows = geopandas.GeoDataFrame(pandas.concat(_parts(study, section, key, own), ignore_index=True))
        rows = rows[~rows[key].map(plain_name).isin(gone)]
        if len(rows):
            file, table = f"obstacles {len(left) + 1}.gpkg", _as_read(given)
            write_frame(folder / file, "left", rows.reset_index(drop=True))
            for what, column in _PLANNED.items():
                columns = {f"{what}_column", *["elevation_column"] * (what == "height")}
                if own[what] and what in table and not columns & table.keys():
                    del table[what]
                    table |= {f"{what}_column": column, f"{what}_unit": "m"}
            left.append(table | {"file": file, "layer": "left", "id_column": key})
    return left
