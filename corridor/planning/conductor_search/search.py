"""Options by design: from what the line allows to conductors that could hang on it, and their exact check."""

from dataclasses import dataclass, replace
from itertools import count
from pathlib import Path
from time import perf_counter

import numpy as np

from corridor.check import Clock, prepare
from corridor.conductor.conductor import conductor_from
from corridor.errors import InputError
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.compare import compare_facts, write_comparison
from corridor.line.build import attach
from corridor.line.facts import Limit, Option, Wiring
from corridor.line.states import group_wires, solve_states
from corridor.mechanics.stringing import greatest_tension
from corridor.outputs.tables_design import design_table, study_text
from corridor.planning.conductor_search.candidates import Space, designation, entry
from corridor.planning.conductor_search.finalists import finalists_of
from corridor.planning.conductor_search.line_room import (
    Today,
    allowed_constant,
    asked_of_today,
    rooms_beside,
    shape_bounds,
)
from corridor.planning.conductor_search.screening import Line, screen, worst_loads
from corridor.study import load_study
from corridor.study.design import Design

__all__ = ["DesignResult", "Finalist", "add_to_study", "design_study", "line_of", "space_of", "write_design"]


@dataclass(frozen=True)
class Finalist:
    """One of the best: index of the candidate, its `entry` in `[[conductors]]`, option, what it was chosen for, and new
    violations in words."""

    index: int
    entry: dict
    option: Option
    chosen: str
    new: tuple


@dataclass(frozen=True)
class DesignResult:
    """What a search came to.

    `comparison` of the existing wire with the finalists on the exact check, None where there are none;
    `existing_rating` [A] and `existing_loss` [kW/km] of the wire of today; `notes` in words; `seconds` that the search
    of all candidates took.
    """

    study: object
    section: Design
    space: Space
    line: Line
    screened: object
    finalists: tuple
    comparison: object
    existing_rating: float
    existing_loss: float
    notes: tuple
    seconds: float


def design_study(path, *, progress=None):
    """Search for the conductors that the line of a study could carry, and check the best of them span by span.

    Parameters
    ----------
    path : path
        The study file.
    progress : callable, optional
        `progress(done, total)` in spans.

    Returns
    -------
    DesignResult

    Raises
    ------
    InputError
        Something given cannot be used; no option is existing; there is no weather or no required current.
    """
    study = load_study(path)
    section = study.design or Design()
    required = _required(study, section)
    inputs = read_inputs(study)
    with inputs.terrain:
        facts, plan, ground = prepare(inputs, Clock())
        facts = replace(facts, options=(facts.options[facts.reference],),
                        heat=replace(facts.heat, options=(facts.options[facts.reference],), required_current=required))
        space = space_of(section, facts.options[0].wiring.conductor, study.path)
        line, notes = line_of(facts, plan, ground, section, required, progress)
        begin = perf_counter()
        screened = screen(space, line, facts.heat)
        seconds = perf_counter() - begin
        finalists = _finalists(screened, space, line, section, {option.name for option in study.options})
        finalists, comparison = _checked(facts, plan, ground, finalists, progress)
    today = facts.heat
    return DesignResult(study, section, space, line, screened, finalists, comparison,
                        float(today.current_at(0, facts.options[0].wiring.maximum_temperature)),
                        float(today.loss_at(0, required)), notes, seconds)


def _required(study, section):
    """Required current [A], once it is sure that the study has what a search needs."""
    def lacks(where, accepted):
        return InputError(study.path, where, "nothing", accepted)

    if study.rating is None:
        raise lacks("rating", "[rating]: the weather for which currents are computed")
    existing = [option for option in study.options if option.existing]
    if not existing:
        raise lacks("options", "one option with existing = true: a new wire is held to what hangs today")
    if existing[0].bundle > 1:
        raise InputError(study.path, "options", f"an existing wire of {existing[0].bundle} subconductors",
                         "one wire per phase: bundles are not designed")
    for i, limit in enumerate(section.stringing):
        if limit.limit.kind == "existing":
            raise InputError(study.path, f"design.stringing.{i}.limit", "'existing'", "a tension, a share of RTS, or a "
                             "constant: the tension of the existing wire is a limit besides, see load_ratio")
    required = section.required_current or study.rating.required_current
    if required is None:
        raise lacks("design.required_current", "a current, here or in [rating]")
    return required


def space_of(section, existing, file=None):
    """Return the design space that the table [design] of a study asks for.

    Raises
    ------
    InputError
        A range whose least is above its greatest.
    """
    D = existing.diameter
    ranges = {}
    for name, low, high in (("diameter", 0.8 * D, D), ("core_diameter", 0.2 * D, 0.55 * D), ("fill", None, None)):
        least, greatest = getattr(section, f"{name}_least"), getattr(section, f"{name}_greatest")
        least, greatest = low if least is None else least, high if greatest is None else greatest
        if least > greatest:
            raise InputError(file, f"design.{name}_least", f"{least:g}", f"no more than the greatest, {greatest:g}")
        ranges[name] = least, greatest
    hottest, emergency = (np.inf if value is None else value
                          for value in (section.maximum_temperature, section.emergency_temperature))
    return Space(section.cores, section.aluminium, section.shapes, ranges["diameter"], ranges["core_diameter"],
                 ranges["fill"], section.candidates, hottest, emergency)


def line_of(facts, plan, ground, section, required, progress=None):
    """Return what the line asks of a wire, and notes in words.

    Parameters
    ----------
    facts : Facts
        With the existing option alone.
    plan : Plan
    ground : Ground
    section : Design
    required : float
        Current [A].
    """
    wires, _ = attach(facts.structures, plan.base_elevation, plan.route, plan.spans, facts.framings)
    groups = group_wires(plan.spans, wires)
    strung = solve_states(groups, facts.options, facts.cases, facts.shield, plan.sections)
    phase = np.flatnonzero((groups.kind == "phase") & np.isfinite(strung.excess[:, 0]))
    today = Today(facts, plan, wires, groups, strung, phase)
    rows, margins = asked_of_today(facts, plan, ground, progress)
    constant, notes = allowed_constant(today, rows)
    swung = tuple(k for k, case in enumerate(facts.cases) if case.wind and "horizontal" in case.checks)
    swing = tuple(rooms_beside(today, margins, k) for k in swung)
    least, greatest = shape_bounds(today, margins)
    limits = _limits(facts, section)
    hard = [_hardest(groups, strung, g) for g in phase]
    bound = np.array([[_bound(limit, facts.cases, strung, g, *at) for limit in limits]
                      for g, at in zip(phase, hard, strict=True)])
    if section.load_ratio != 1:  # a study can name the tension of the existing wire, not a share of it: the least, then
        bound = np.broadcast_to(bound.min(axis=0), bound.shape)
    wire = facts.options[0].wiring
    weight, wind = worst_loads(wire.conductor.diameter, wire.conductor.mass, facts.cases)
    everyday = next((limit.temperature for limit in limits if limit.temperature is not None), 15.0)
    ratio = section.load_ratio
    return Line(groups.span[phase], *np.transpose(hard), constant, bound, limits, facts.cases, ratio * float(wind),
                ratio * float(weight), swung, swing, everyday, 10.0, required, least, greatest), notes


def _limits(facts, section):
    """Limits that candidates are strung to: those of the study, and the tension of the wire of today in each case."""
    own = tuple(Limit(s.limit.text, s.limit.kind, s.limit.value, s.temperature, s.case, s.condition)
                for s in section.stringing)
    own = own or tuple(limit for limit in facts.options[0].wiring.stringing)
    return own + tuple(Limit(f"tension of the existing wire in {case.name}, {case.condition}", "existing",
                             section.load_ratio, None, case.name, case.condition)
                       for case in facts.cases if "tension" in case.checks)


def _hardest(groups, strung, g):
    """Span and rise [m] whose ends pull hardest in the worst case of a group."""
    H, w, p = strung.horizontal_tension[g, 0], strung.weight[g, 0], strung.wind[g, 0]
    k = np.nanargmax(H * np.hypot(w, p))
    S, h = groups.spans[g], groups.rises[g]
    worst = np.nanargmax(greatest_tension(H[k], S[:, None], h[:, None], w[k], p[k]))
    return S[worst], h[worst]


def _bound(limit, cases, strung, g, span, rise):
    """Tension of the wire of today [N] times the factor of a limit; nan where the limit is another."""
    if limit.kind != "existing":
        return np.nan
    k = [case.name for case in cases].index(limit.case)
    H, w, p = (values[g, 0, k] for values in (strung.horizontal_tension, strung.weight, strung.wind))
    return limit.value * float(greatest_tension(H, np.array([span]), np.array([rise]), w, p))


def _finalists(screened, space, line, section, taken):
    """The best as options, each with what it was chosen for."""
    chosen = finalists_of(screened, section.finalists)
    names = (name for name in (f"design {number}" for number in count(1)) if name not in taken)
    limits = tuple(_as_written(limit, line.bound[0, j]) for j, limit in enumerate(line.limits))
    return tuple(_finalist(screened, space, line, index, why, name, limits)
                 for (index, why), name in zip(chosen.items(), names, strict=False))


def _as_written(limit, bound):
    """A limit as a study can name it: a share of the tension of the existing wire as that tension [N]."""
    if limit.kind != "existing" or limit.value == 1:
        return limit
    return replace(limit, text=f"{bound:.0f} N in {limit.case}, {limit.condition}", kind="tension",
                   value=float(round(bound)))


def _finalist(screened, space, line, index, why, name, limits):
    values = entry(screened.candidates, index, space, f"{name}: {designation(screened.candidates, index, space)}")
    wiring = Wiring(conductor_from(values), float(screened.maximum[index]), float(screened.emergency[index]),
                    limits, 1, line.everyday, line.everyday, line.age)
    return Finalist(int(index), values, Option(name, wiring), why, ())


def _checked(facts, plan, ground, finalists, progress):
    """The finalists with their new violations, and how they compare with the wire of today, span by span."""
    if not finalists:
        return (), None
    options = (*facts.options, *(each.option for each in finalists))
    facts = replace(facts, options=options, heat=replace(facts.heat, options=options))
    new = {option.name: [] for option in options}

    def watch(layer, columns):
        if layer == "violations":
            for row in np.flatnonzero(columns["inherited"] != True):  # noqa: E712
                new[columns["option"][row]].append(
                    f"{columns['span'][row]}, {columns['against'][row]}, {columns['case'][row]}: "
                    f"{columns['margin_m'][row]:+.2f} m")

    comparison = compare_facts(facts, plan, ground, progress=progress, watch=watch)
    return tuple(replace(each, new=tuple(new[each.option.name])) for each in finalists), comparison


def add_to_study(result, path):
    """Write a copy of the study with the finalists added, and return its path.

    Raises
    ------
    InputError
        The copy would be in another folder, to which the study's paths do not lead, be the study itself, or cannot be
        written.
    """
    study, path = result.study, Path(path)
    if path.resolve().parent != study.path.resolve().parent or path.resolve() == study.path.resolve():
        raise InputError(None, "--add", repr(str(path)), "a new name in the folder of the study, to which its paths "
                         "are relative")
    text = study.path.read_text(encoding="utf-8-sig").rstrip() + "\n\n" + "\n".join(study_text(result))
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError(None, "--add", f"{str(path)!r} ({(error.strerror or 'unusable').lower()})",
                         "a file that can be written") from None
    return path


def write_design(result, folder, kind="svg"):
    """Write the table of the finalists (CSV, Markdown), their text for a study, and the drawing; return the paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made.
    """
    from corridor.outputs.drawings.design import draw_design

    folder = Path(folder)
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(None, "folder", f"{str(folder)!r} ({(error.strerror or 'unusable').lower()})",
                         "a folder, or a new name in one") from None
    written = [folder / f"design.{kind}"]
    draw_design(written[0], result)
    if result.finalists:
        written += [folder / name for name in ("design.csv", "design.md", "design.toml")]
        write_comparison(design_table(result), *written[1:3])
        written[3].write_text("\n".join(study_text(result)), encoding="utf-8")
    return tuple(written)
