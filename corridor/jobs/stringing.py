"""A job beside the check: how new wires are put up, option by option, for the engineer and the crew."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike
from pyproj import CRS

from corridor.arrays import join
from corridor.assessment import make_scene, meet
from corridor.check import Progress
from corridor.clearance.clipping import clipping_rows
from corridor.clearance.not_assessed import faulty_obstacles
from corridor.clearance.proximity import surroundings
from corridor.errors import InputError, nearest
from corridor.inputs.measured import read_sags
from corridor.installation.as_built import as_built_rows, section_rows
from corridor.installation.profiles import Profile, profile_of
from corridor.installation.pull_rows import pull_rows
from corridor.installation.pulling import pull_wires
from corridor.installation.pulls import course_of, pulls_of
from corridor.installation.readiness import FAILED, NOT_GIVEN, lost_rows, readiness_rows
from corridor.installation.sagging import control_rows, watched_spans
from corridor.installation.tolerance import tolerance_rows
from corridor.installation.wire_rules import load_wire_rules
from corridor.jobs.folder import add_csvs, made_folder
from corridor.line.facts import Option
from corridor.opened import Opened
from corridor.outputs.batches import as_columns
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.stringing_layers import STRINGING_LAYERS
from corridor.outputs.tables import write_layers
from corridor.outputs.workbook import need_workbook, write_workbook
from corridor.study.stringing import Stringing
from corridor.summary import CAUTIONS

__all__ = ["TEMPERATURES", "StringingResult", "stringing_study", "write_stringing"]

#: Wire temperatures of control spans [°C].
TEMPERATURES = tuple(range(-10, 45, 5))
#: What must travel with these numbers.
STRINGING_CAUTIONS = (
    *CAUTIONS[:1],
    "Rules of stringing are recalled or read facts: the makers of wire, fittings and machines, and the owner, say what "
    "holds. What nobody gave is told as not given, and is not a pass.",
    CAUTIONS[2],
    "Earthing, guards and the safety of people are planned by those who are answerable for them; a wire may come down "
    "while it is pulled, whatever is below.",
    "Tensions are those of a wire that is drawn steadily: starting, jerks, running boards and joints over travellers "
    "are left out. Structures are taken to stand still.",
)


@dataclass(frozen=True)
class StringingResult:
    """How new wires are put up: `layers` columns by name (docs/stringing_layers.md), `crs` of their places, `options`
    that are told of; `profiles` of pulls by line and name, of all `options_of_profiles`; `cautions` what to be careful
    of."""

    layers: dict[str, Columns]
    crs: CRS
    options: tuple[str, ...]
    profiles: dict[tuple[str, str], Profile]
    options_of_profiles: tuple[str, ...]
    cautions: tuple[str, ...] = STRINGING_CAUTIONS

    @property
    def status(self) -> int:
        """Exit status: 1 where a check of readiness failed, or a wire as built has a violation; 3 where something was
        not given; else 0."""
        states, margins = set(self.layers["installation"]["state"]), self.layers["as_built_sections"]["margin_m"]
        return 1 if (margins < 0).any() or FAILED in states else 3 if NOT_GIVEN in states else 0

    @property
    def frames(self) -> Frames:
        """All layers as data frames."""
        return Frames(self.layers, self.crs)


def stringing_study(opened: Opened, options: Sequence[str] = (), temperatures: ArrayLike = TEMPERATURES, *,
                    as_built: Path | str | None = None, progress: Progress | None = None) -> StringingResult:
    """Return how the wires of options are pulled, sagged and clipped in, and what must be ready for that.

    Parameters
    ----------
    opened : Opened
    options : sequence of str
        Names; default: all but the existing one.
    temperatures : array_like, shape (temperature,)
        Of the wire, for control spans [°C].
    as_built : path, optional
        A CSV file of sags that were measured once the wire of the one option was strung
        (`corridor.inputs.measured.read_sags`): it is told what each hangs at, and all is checked again.
    progress : callable, optional
        `progress(done, total)` in spans: each counts twice, once pulled and once for the tolerance of its sag.

    Raises
    ------
    InputError
        No such option, or a file that cannot be used.
    """
    facts, plan, ground = opened.laid_out
    names = _wanted(opened, facts.options, options)
    if as_built is not None and len(names) > 1:
        raise InputError(opened.study.path, "--as-built", f"{len(names)} options", "--option with the one that hangs")
    sags = [] if as_built is None else read_sags(as_built)
    stringing = opened.study.stringing or Stringing()
    rules = load_wire_rules(None if stringing.rules is None else opened.study.resolve(stringing.rules))
    T, total = np.unique(np.asarray(temperatures, float)), 2 * len(plan.spans)
    work = _Work(facts, plan, ground, stringing, rules, T)
    done = 0
    for pulled in pulls_of(facts.structures, plan, stringing):
        work.add_pull(pulled)
        # Each section as soon as all of it is pulled: a pull of one section has its scene already.
        while done < len(plan.sections) and plan.sections.last[done] <= pulled.last:
            work.add_section(int(plan.sections.first[done]), int(plan.sections.last[done]))
            done += 1
        if progress:
            progress(pulled.last + 1, total)
    tolerance = {option.name: rules.strictest(option.wiring.conductor, "sag tolerance")[0] for option in facts.options}

    def told(done: int, count: int) -> None:
        if progress:
            progress(count + done, 2 * count)

    rows = tolerance_rows(facts, plan, ground, work.watched, {name: tolerance[name] for name in names}, progress=told)
    built = as_built_rows(facts, plan, names[0], sags, tolerance[names[0]], as_built) if sags else []
    again = section_rows(facts, plan, ground, names[0], built) if built else []
    found = {"sag_tolerance": rows, "as_built": [each.row for each in built], "as_built_sections": again}
    return StringingResult(work.layers(names) | {name: as_columns(name, part) for name, part in found.items()},
                           opened.inputs.crs, names, work.profiles, tuple(option.name for option in facts.options),
                           (*opened.study.cautions, *STRINGING_CAUTIONS))


def _wanted(opened: Opened, known: Sequence[Option], options: Sequence[str]) -> tuple[str, ...]:
    """Names of the options that are told of."""
    names = [option.name for option in known]
    for name in options:
        if name not in names:
            raise InputError(opened.study.path, "--option", repr(name), ", ".join(names), nearest(name, names))
    chosen = tuple(name for name in names if name in options) if options else tuple(
        option.name for option in known if not option.existing)
    if not chosen:
        raise InputError(opened.study.path, "options", "no new one", "an option that is not existing, or --option")
    return chosen


class _Work:
    """Rows of all layers as they are found, pull by pull and section by section."""

    def __init__(self, facts, plan, ground, stringing, rules, temperatures):
        self.facts, self.plan, self.ground, self.stringing = facts, plan, ground, stringing
        self.rules, self.temperatures, self.watched, self.control, self.marks = rules, temperatures, {}, [], []
        self.rows = {layer.name: [] for layer in STRINGING_LAYERS}
        self.profiles = {}
        self.faulty = faulty_obstacles(plan.spans, facts.structures, facts.index.obstacles)
        self._of_ends = lru_cache(maxsize=2)(self._made)

    def scene(self, first, last):
        """Facts, scene and partners of whole sections that hold some spans, and where clamps go; None where no wire
        hangs."""
        sections, of = self.plan.sections, self.plan.spans.section
        return self._of_ends(int(sections.first[of[first]]), int(sections.last[of[last]]))

    def _made(self, *ends):
        scene, _ = make_scene(self.facts, self.plan, *ends)
        if scene is None:
            return None
        return *meet(self.facts, self.plan, scene, *ends), clipping_rows(scene, self.stringing.pull_ends)

    def add_pull(self, pulled):
        """Add the rows of a pull."""
        found = self.scene(pulled.first, pulled.last)
        if found is None:
            self.rows["installation"] += lost_rows(self.facts, pulled, self.plan)
            return
        facts, scene, met, marks = found
        heights = max(self.rules.strictest(option.wiring.conductor, "machine distance")[0] for option in scene.options)
        course = course_of(scene, pulled, self.plan, self.ground, self.stringing, heights)
        if not course.wire:
            self.rows["installation"] += lost_rows(self.facts, pulled, self.plan, course.lost)
            return
        wires = pull_wires(scene, pulled, course, self.rules, self.stringing)
        around = surroundings(facts, scene, self.ground, met.partners)
        self.profiles[pulled.line, pulled.name] = profile_of(around, wires, pulled, self.plan)
        rows = pull_rows(around, wires, pulled, self.plan, self.rules, self.stringing, self.faulty)
        for name, part in vars(rows).items():
            self.rows[name] += part
        self.rows["installation"] += readiness_rows(scene, course, rows, self.rules, self.stringing,
                                                    self._knees(scene), self._set_off(scene, marks),
                                                    first=len(self.profiles) == 1)

    def _knees(self, scene):
        """Knees of options with a pretension, with it and without [°C]."""
        drawn = {option.name: o for o, option in enumerate(scene.options) if option.wiring.pretension > 0}
        if not drawn:
            return {}
        plain = tuple(replace(option, wiring=replace(option.wiring, pretension=0.0)) for option in self.facts.options)
        other = make_scene(replace(self.facts, options=plain), self.plan, *self._ends(scene))[0]
        phase = np.flatnonzero(scene.groups.kind == "phase")[0]
        return {name: (scene.strung.knee[phase, o], other.strung.knee[phase, o]) for name, o in drawn.items()}

    def _ends(self, scene):
        """First and last span of the plan of a scene."""
        places = {int(tail): i for i, tail in enumerate(self.plan.spans.tail)}
        return places[int(scene.spans.tail[0])], places[int(scene.spans.tail[-1])]

    def _set_off(self, scene, marks):
        """Greatest offset of clamps by option and structure, where heights differ by more than a share of the span."""
        spans, wires, steep = scene.spans, scene.wires, {}
        rise = np.abs(wires.end - wires.start)[:, 2] / spans.length[wires.span]
        for end in (spans.tail, spans.head):
            for s, value in zip(scene.structures.structure[end[wires.span]], rise, strict=True):
                steep[s] = max(steep.get(s, 0.0), value)
        found = {option.name: {} for option in scene.options}
        for o, s, plumb in zip(marks["option"], marks["structure"],
                               marks["clipping_offset_m"] + np.nan_to_num(marks["traveller_lean_m"]), strict=True):
            wire = next(option.wiring.conductor for option in scene.options if option.name == o)
            share, rule = self.rules.strictest(wire, "offset clipping")
            if rule is None or steep.get(s, 0.0) >= share:
                before = found[o].get(s, (0.0, rule))[0]
                found[o][s] = (np.maximum(before, abs(plumb)), rule)
        return found

    def add_section(self, first, last):
        """Add the rows of a section: what it is sagged and clipped in by."""
        found = self.scene(first, last)
        if found is None:
            return
        _, scene, _, marks = found
        ends = self.stringing.pull_ends
        self.control.append(control_rows(scene, self.plan, ends, self.temperatures, self.stringing.time_in_travellers))
        self.marks.append(marks | {"plumb_offset_m": marks["clipping_offset_m"] + marks["traveller_lean_m"]})
        for each in watched_spans(scene, ends):
            key = scene.spans.line[each.span], scene.sections.name[each.section]
            self.watched.setdefault(key, []).append(
                (scene.spans.name[each.span], (each.ruling_span / scene.spans.length[each.span])**2))

    def layers(self, names):
        """Return all layers but that of tolerances, of some options alone, as columns."""
        whole = {name: as_columns(name, [row for row in rows if row["option"] in names])
                 for name, rows in self.rows.items()}
        for name, parts in (("control_spans", self.control), ("clipping_marks", self.marks)):
            columns = join(parts) if parts else {}
            keep = np.isin(columns["option"].astype(str), names) if parts else slice(0)
            kept = {column.name for layer in STRINGING_LAYERS if layer.name == name for column in layer.columns}
            whole[name] = {key: column[keep] for key, column in columns.items() if key in kept}
        return whole


def write_stringing(result: StringingResult, folder: Path | str, guard: Guard = PLAIN, *, sheets: bool = True,
                    workbook: bool = False, time: datetime | None = None) -> tuple[Path, ...]:
    """Write how wires are put up as a GeoPackage, tables and, unless not wanted, sheets; with a workbook where asked.

    Raises
    ------
    InputError
        The folder is none, and cannot be made, or a file in it must not be replaced.
    CorridorError
        A workbook is asked for, and openpyxl is missing: nothing is written.
    """
    if workbook:
        need_workbook()
    folder = made_folder(folder)
    with Files(guard) as files:
        write_layers(files.new(folder / "stringing.gpkg"), result.crs, result.layers)
        add_csvs(files, folder, {f"stringing_{name}": columns for name, columns in result.layers.items()})
        if sheets:
            from corridor.outputs.drawings.stringing_sheets import draw_sheets

            draw_sheets(files.new(folder / "stringing.pdf"), result, result.cautions)
        if workbook:
            said = {"cautions": {"caution": np.array(result.cautions, object)}}
            tables = {name: {key: v for key, v in columns.items() if key != "geometry"}
                      for name, columns in result.layers.items()}
            write_workbook(files.new(folder / "stringing.xlsx"), tables | said, time)
    return files.written
