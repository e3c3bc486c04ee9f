"""The job `new`: files of a line as they are, to a study that runs, with all that is assumed."""

import csv
import io
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

import numpy as np

from corridor.clearance.rule_files import TABLES
from corridor.conductor import catalogue
from corridor.csv_rows import read_records
from corridor.errors import InputError, nearest
from corridor.inputs.cells import plain_text
from corridor.inputs.rasters import describe
from corridor.inputs.references import check_references
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.new.draft import Draft
from corridor.jobs.new.framings import HEADS, assumed_framings
from corridor.jobs.new.line import read_line
from corridor.jobs.new.obstacles import put_obstacles
from corridor.jobs.new.sources import crs_text, found_layers, linear_unit
from corridor.jobs.new.wires import put_cases, put_option
from corridor.outputs.files import Files
from corridor.outputs.guard import Guard
from corridor.study import load_study
from corridor.study.named_files import ADDRESS
from corridor.study.values import Measure, ValueFault
from corridor.study.voltages import SystemVoltage, highest

__all__ = ["NewStudy", "make_study"]

#: What stands in a folder that is used.
_WRITTEN = ("study.toml", "structures.csv", "framings.csv", "findings.gpkg")
#: Subconductors by a tag of open data.
_BUNDLES = {"single": 1, "double": 2, "triple": 3, "quad": 4}


@dataclass(frozen=True)
class NewStudy:
    """A study that was made: its `path`, `files` written, number of `structures`, `columns` pairs of what was looked
    for and where it was found, and `assumed` rows of key, value and reason; `outside` whether it reads files outside of
    its folder."""

    path: Path
    files: tuple[Path, ...]
    structures: int
    columns: tuple[tuple[str, str], ...]
    assumed: tuple[tuple[str, str, str], ...]
    outside: bool


def make_study(folder: Path | str, structures: Path | str, ground: Sequence[Path | str], *, voltage: str,
               conductor: str, line: Path | str | None = None, obstacles: Sequence[Path | str] = (),
               right_of_way: str | None = None, country: str | None = None, rules: str | None = None,
               crs: str | None = None) -> NewStudy:
    """Make a study of files as they are.

    Parameters
    ----------
    folder : path
        New, or with nothing in it but the files that are named.
    structures, line : path
        Points of structures, and the line that they stand on.
    ground : sequence of path
        Rasters of the bare earth.
    voltage, conductor : str
        Nominal voltage, line to line, and a designation of the catalogue.
    obstacles : sequence of path
        Files all of whose layers are obstacles.
    right_of_way : str, optional
        Half of its width, or a file of polygons.
    country, rules : str, optional
        A code of two letters, or a built-in table of rules. Default: by where the line is.
    crs : str, optional
        Projected CRS to work in, and that of tables that say none.

    Raises
    ------
    InputError
        Something given cannot be used: nothing is written.
    """
    folder = Path(os.path.abspath(folder))
    strip = [right_of_way] if right_of_way is not None and Path(right_of_way).exists() else []
    named = (structures, *ground, *([line] if line else []), *strip, *obstacles)
    read = [Path(os.path.abspath(each)) for each in named]
    _check_folder(folder, read)
    beside = _Beside(tuple(path.resolve().parent for path in read))
    for path in read:
        check_references(beside, path, path.name)
    nominal = _voltage(voltage)
    wire = catalogue.find(conductor, where="--conductor")
    new = read_line(read[0], read[1 + len(ground)] if line else None, crs)
    table, why = _rules(country, rules, new)
    rows, framing, assumed = assumed_framings(new, highest(nominal)[0])
    asked = _Asked(folder.name, nominal, wire, table, why, right_of_way, crs, read[1:1 + len(ground)], read[len(read) -
                   len(obstacles):], _bundle(line, crs))
    tables = {"structures.csv": _structures_csv(new, framing), "framings.csv": _csv([HEADS, *rows])}
    with TemporaryDirectory(prefix="corridor-new-") as trial:
        _try(Path(trial), _draft(asked, new, assumed, lambda path: str(path)).text(), tables)
    draft = _draft(asked, new, assumed, lambda path: Path(os.path.relpath(path, folder)).as_posix())
    with Files(Guard(tuple(read))) as files:
        staged = files.staged(folder)
        for name, text in {"study.toml": draft.text(), **tables}.items():
            (staged / name).write_text(text, encoding="utf-8", newline="")
    return NewStudy(folder / "study.toml", files.written, len(new), (*new.columns, *draft.columns),
                    tuple(draft.assumed), not all(folder in path.parents for path in read))


class _Beside(NamedTuple):
    """What files that the person names may lead to: what lies beside one of them, or below."""

    folders: tuple

    def may_read(self, name):
        """Return whether a file may be read, wherever links lead."""
        path = Path(name).resolve()
        return not ADDRESS.match(str(name)) and any(root in path.parents for root in self.folders)


def _voltage(text):
    try:
        return SystemVoltage()(text)
    except ValueFault as fault:
        bare = text.strip().replace(".", "", 1).isdigit() and float(text) < 1500
        raise InputError(None, "--voltage", f"{text!r} ({fault.reason})", SystemVoltage().accepts,
                         f"'{text} kV'" if bare else fault.hint) from None


@dataclass(frozen=True)
class _Asked:
    """What the person said, read: `bundle` subconductors and why."""

    title: str
    voltage: float
    conductor: object
    rules: str
    rules_reason: str | None
    right_of_way: str | None
    crs: str | None
    ground: list
    obstacles: list
    bundle: tuple


def _check_folder(folder, read):
    """Refuse a folder that holds anything but what is read, and files that are not there."""
    for path in read:
        if not path.exists():
            raise InputError(path, None, "no such file", "a file that exists")
    if not folder.parent.is_dir():
        raise InputError(folder, "FOLDER", f"no folder {folder.parent.name!r}", "a new name in one that exists")
    if folder.exists() and not folder.is_dir():
        raise InputError(folder, "FOLDER", "something that is no folder", "a new name")
    for each in sorted(folder.iterdir()) if folder.exists() else ():
        ours = any(each == path or each in path.parents or each.name.split(".")[0] == path.name.split(".")[0]
                   for path in read)
        if each.name in _WRITTEN or not ours:
            raise InputError(folder, "FOLDER", f"a folder with {each.name!r} in it",
                             "a new folder, or one with nothing but the files that are named")


def _rules(country, rules, line):
    """The table of rules, and why it was taken, None where the person said it."""
    if rules is not None:
        if rules not in TABLES:
            raise InputError(None, "--rules", repr(rules), ", ".join(TABLES), nearest(rules, TABLES))
        return rules, None
    rows = read_records(Path(__file__).with_name("rules_by_country.csv"))
    if country is not None:
        row = next((row for row in rows if country.lower() in row["codes"].split()), None)
        if row is None:
            codes = "; ".join(f"{row['codes']} ({row['country']})" for row in rows)
            raise InputError(None, "--country", repr(country), f"a code for which a table is built in, {codes}; or a "
                             "table by --rules: " + ", ".join(TABLES))
        return row["table"], f"the built-in table for {row['country']}: verify it against the code in force"
    x, y = float(line.longitude.mean()), float(line.latitude.mean())
    row = next((row for row in rows if float(row["west"]) <= x <= float(row["east"])
                and float(row["south"]) <= y <= float(row["north"])), None)
    if row is None:
        raise InputError(None, "--rules", f"a line at longitude {x:.2f}, latitude {y:.2f}, for which no table is built "
                         "in", "a table by --rules: " + ", ".join(TABLES))
    return row["table"], (f"the line is at longitude {x:.2f}, latitude {y:.2f}: {row['country']}, by a rough box; "
                          "verify it against the code in force")


def _bundle(path, crs):
    """Subconductors that the tags of a line tell, and the reason."""
    for found in found_layers(Path(path), "--line", crs) if path else ():
        if "wires" in found.layer.fields:
            told = {plain_text(value) for value in found.read(["wires"])[2]["wires"].tolist()} - {""}
            counts = {_BUNDLES.get(each, 1) for each in told}
            if len(counts) == 1:
                return counts.pop(), f"wires = {', '.join(sorted(told))} in {Path(path).name}"
    return 1, None


def _draft(asked, line, assumed, name):
    """The study, with paths as `name` writes them."""
    draft = Draft()
    draft.table("[study]")
    draft.put("title", asked.title)
    draft.put("voltage", f"{asked.voltage / 1000:.15g} kV")
    if asked.crs is not None:
        draft.put("crs", asked.crs)
    draft.put("output", "findings.gpkg")
    draft.table("[terrain]")
    draft.put("ground", [name(path) for path in asked.ground])
    _put_vertical_unit(draft, asked.ground)
    draft.table("[structures]")
    marks = dict.fromkeys(key.partition(".")[2] for key, *_ in line.assumed)
    draft.put("file", "structures.csv", mark=", ".join([*marks, "framing"]) + " of each; the rows at the end tell why")
    draft.put("x_column", "x")
    draft.put("y_column", "y")
    draft.put("crs", crs_text(line.crs))
    draft.table("[framings]")
    draft.put("file", "framings.csv", mark="heights, offsets and strings; the rows at the end tell why")
    for row in (*line.assumed, *assumed):
        draft.assume(*row)
    emergency = put_option(draft, asked.conductor, *asked.bundle)
    put_cases(draft, emergency, asked.rules)
    draft.table("[rules]")
    draft.put("table", asked.rules, asked.rules_reason)
    taken = set()
    for path in asked.obstacles:
        for found in found_layers(path, "--obstacles", asked.crs):
            if found.layer.features:
                put_obstacles(draft, found, name(path), taken)
    _put_right_of_way(draft, asked, name)
    return draft


def _put_vertical_unit(draft, ground):
    """Write the unit of elevations where rasters are on a grid in feet and say none."""
    rasters = [describe(path) for path in ground]
    units = {linear_unit(raster.horizontal_crs) for raster in rasters}
    if all(raster.unit == "m (assumed)" for raster in rasters) and len(units) == 1 and units != {"m"}:
        unit, = units
        draft.put("vertical_unit", unit, "the rasters say no unit of their heights: that of their grid")


def _put_right_of_way(draft, asked, name):
    given = asked.right_of_way
    if given is None:
        return
    draft.table("[right_of_way]")
    if Path(given).exists():
        draft.put("file", name(Path(os.path.abspath(given))))
        return
    measure = Measure("length", 0, 1000, above=True)
    try:
        draft.put("half_width", f"{measure(given):.15g} m")
    except ValueFault as fault:
        raise InputError(None, "--right-of-way", f"{given!r} ({fault.reason}), and no such file",
                         f"half of its width, {measure.accepts}, or a file of polygons") from None


def _structures_csv(line, framing):
    """The structures as the study reads them."""
    columns = {"structure": line.structure, "line": line.line, "order": [f"{v:.15g}" for v in line.order],
               "role": line.role, "framing": framing, "x": [repr(float(v)) for v in line.x],
               "y": [repr(float(v)) for v in line.y]}
    if np.isfinite(line.base).any():
        columns["base_elevation"] = ["" if np.isnan(v) else f"{v:.4f}" for v in line.base]
    return _csv([tuple(columns), *zip(*columns.values(), strict=True)])


def _csv(rows):
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue()


def _try(folder, text, tables):
    """Read what was made as the study that it will be; refuse ground that does not cover the line."""
    for name, content in {"study.toml": text, **tables}.items():
        (folder / name).write_text(content, encoding="utf-8", newline="")
    study = load_study(folder / "study.toml", trust=True)
    inputs = read_inputs(study)
    with inputs.terrain as terrain:
        inputs.described.result()
        on = terrain.touches(inputs.structures.easting, inputs.structures.northing)
        if not on.all():
            names = inputs.structures.structure[~on]
            raise InputError(study.resolve(study.terrain.ground[0]), "--ground", "rasters that do not cover "
                             f"{len(names)} of {len(on)} structures, such as {names[0]}",
                             "rasters of the ground below the whole line")
