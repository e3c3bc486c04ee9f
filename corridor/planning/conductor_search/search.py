"""Options by design: from what the line allows to conductors that could hang on it, and their exact check."""

from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter

import numpy as np

from corridor.check import Progress
from corridor.conductor.conductor import Conductor
from corridor.errors import InputError
from corridor.inputs.series import YearLoads
from corridor.jobs.compare import Comparison, with_life, write_comparison
from corridor.jobs.folder import add_csvs, made_folder
from corridor.jobs.life import life_of
from corridor.opened import Opened, guard_of
from corridor.outputs.files import Files, joined
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import MARK, sealed
from corridor.outputs.tables_design import design_table, study_text
from corridor.outputs.tables_enquiry import enquiry_columns, enquiry_text
from corridor.planning.conductor_search.candidates import Space, builds, designation, material_cost
from corridor.planning.conductor_search.exact_check import Finalist, Site, checked_finalists
from corridor.planning.conductor_search.line_limits import Line, line_of
from corridor.planning.conductor_search.screening import Screened, screen
from corridor.rating.whole_life import LOSSES_OVER_LIFE
from corridor.study import Study
from corridor.study.design import Design

__all__ = ["DesignResult", "Finalist", "add_to_study", "check_copy", "design_study", "space_of", "write_design"]


#: A year [s].
_YEAR = 8760 * 3600.0


@dataclass(frozen=True)
class DesignResult:
    """What a search came to.

    `comparison` of the existing wire with the finalists on the exact check, None where there are none;
    `existing_rating` [A] and `existing_loss` [kW/km], the mean of its loads, of the existing wire; `notes` in words;
    `seconds` that the search of all candidates took; `life_losses` of the front over life, (3, front), per kilometre of
    line, at the lower, the middle and the higher price, None where the study asks for none.
    """

    study: Study
    section: Design
    space: Space
    line: Line
    screened: Screened
    finalists: tuple[Finalist, ...]
    comparison: Comparison | None
    existing_rating: float
    existing_loss: float
    notes: tuple[str, ...]
    seconds: float
    life_losses: np.ndarray | None = None

    @property
    def of_loss(self) -> str:
        """What losses are of, in words."""
        return "the loads of a year" if self.line.loads else f"{self.line.required_current:g} A"

    @property
    def front(self) -> Columns:
        """The candidates that no other beats in all of loss, rating, mass, sag and, where known, cost, as columns;
        before the check span by span, but without those that it refused."""
        s = self.screened
        c, at = s.candidates[s.wide], s.wide
        made = builds(self.space)
        return {"conductor": np.array([designation(s.candidates, i, self.space) for i in at], object),
                "family": np.array([made[b][0] for b in c.build], object),
                "loss_w_per_m": s.loss[at], "rating_a": s.rating[at], "mass_kg_per_m": c.mass,
                "sag_slack_percent": 100 * s.slack["sag"][at], "maximum_temperature_c": s.maximum[at],
                "diameter_mm": 1e3 * c.diameter, "aluminium_mm2": 1e6 * c.outer_area, "core_mm2": 1e6 * c.core_area,
                "rated_strength_kn": c.rts / 1e3, "resistance_20_ohm_per_km": 1e3 * c.resistance_20,
                **({} if s.cost is None else {"material_cost_per_km": s.cost[at]}),
                **({} if self.life_losses is None else {
                    f"{name}_per_km": each for name, each in zip(LOSSES_OVER_LIFE, self.life_losses, strict=True)})}

    @property
    def frames(self) -> Frames:
        """The tables `front`, and `finalists`, a column each beside the existing wire; none without finalists."""
        return Frames({"front": self.front, "finalists": design_table(self).columns} if self.finalists else {})


def design_study(opened: Opened, *, progress: Progress | None = None) -> DesignResult:
    """Search for the conductors that the line of a study could carry, and check the best of them span by span.

    `progress(done, total)` is told spans.

    Raises
    ------
    InputError
        Something given cannot be used; no option is existing; there is no weather or no required current.
    """
    study = opened.study
    section = study.design or Design()
    required = _required(study, section)
    facts, plan, ground = opened.laid_out
    today = (facts.options[facts.reference],)
    facts = replace(facts, options=today, mixes=(), heat=replace(facts.heat, options=today, required_current=required))
    space = space_of(section, today[0].wiring.conductor, study.path)
    loads = opened.loads
    kept = replace(facts, rules=_with_reserve(facts.rules, section.clearance_reserve))
    site = Site(kept, plan, ground, progress, loads)
    line, notes = line_of(*site[:3], section, required, progress)
    line = replace(line, loads=tuple((current, time / _YEAR) for current, time in loads.steps))
    begin = perf_counter()
    screened = screen(space, line, facts.heat)
    cost = material_cost(screened.candidates, space, {row.material: row.cost_per_kg for row in section.prices})
    unpriced = sorted({*space.cores, *space.aluminium} - {row.material for row in section.prices})
    screened = screened if unpriced else replace(screened, cost=cost)
    seconds = perf_counter() - begin
    screened, line, finalists, comparison, told = checked_finalists(site, screened, space, line, section, {
        option.name for option in study.options})
    notes = (*notes, *told, *_reserves(section), *_told(loads))
    if section.prices and unpriced:
        notes = (*notes, f"cost counts for nothing: design.prices has none of {', '.join(unpriced)}")
    if comparison is not None:
        comparison = with_life(opened, comparison, required)
    rating = float(facts.heat.current_at(0, today[0].wiring.maximum_temperature))
    lost = sum(share * float(facts.heat.loss_at(0, current)) for current, share in line.loads or ((required, 1.0),))
    return DesignResult(study=study, section=section, space=space, line=line, screened=screened, finalists=finalists,
                        comparison=comparison, existing_rating=rating, existing_loss=lost, notes=notes,
                        seconds=seconds, life_losses=_life_losses(opened, screened, required))


def _life_losses(opened, screened, required):
    """Losses over life of the front per kilometre of line, (3, front); nan of what may not carry all of the loads."""
    at = screened.wide
    top = max((current for current, _ in opened.loads.steps), default=required)
    energy = np.where(screened.rating[at] >= top, screened.loss[at] * _YEAR / 3.6e6, np.nan)
    found = life_of(opened, energy, np.full(len(at), np.nan), screened.rating[at], None)
    return None if found is None else found.losses


def _told(loads: YearLoads):
    """What losses are of, in words."""
    if loads.steps:
        yield f"losses are the mean over {'; '.join((loads.words, *loads.notes))}"


def _with_reserve(rules, reserve):
    """Rules that require so much more of every distance [m]."""
    return replace(rules, buffer=rules.buffer + reserve)


def _reserves(section):
    """What is kept in reserve, in words."""
    if section.clearance_reserve:
        yield (f"{section.clearance_reserve:g} m are kept on top of every distance that a rule requires: of what "
               "allows sag, and in the violations told here, also of the existing wire")
    if section.tension_reserve:
        yield (f"{100 * section.tension_reserve:g} % of the tension of the existing wire in each case are kept in "
               "reserve")


def _required(study, section):
    """Required current [A], once it is sure that the study has what a search needs."""
    existing = [option for option in study.options if option.existing]
    required = section.required_current or (study.rating and study.rating.required_current)
    for where, missing, accepted in (
            ("rating", study.rating is None, "[rating]: the weather for which currents are computed"),
            ("options", not existing, "one option with existing = true: a new wire is held to what hangs today"),
            ("design.required_current", required is None, "a current, here or in [rating]")):
        if missing:
            raise InputError(study.path, where, "nothing", accepted)
    for i, limit in enumerate(section.stringing):
        if limit.limit.kind == "existing":
            raise InputError(study.path, f"design.stringing.{i}.limit", "'existing'", "a tension, a share of RTS, or a "
                             "constant: the tension of the existing wire is a limit besides, see load_ratio")
    return required


def space_of(section: Design, existing: Conductor, file: Path | None = None) -> Space:
    """Return the design space that the table [design] of a study asks for.

    Raises
    ------
    InputError
        A range whose least is above its greatest.
    """
    D, ranges = existing.diameter, {}
    for name, default in (("diameter", (0.8 * D, D)), ("core_diameter", (0.2 * D, 0.55 * D)), ("fill", (None, None))):
        least, greatest = (other if (given := getattr(section, f"{name}_{end}")) is None else given
                           for end, other in zip(("least", "greatest"), default, strict=True))
        if least > greatest:
            raise InputError(file, f"design.{name}_least", f"{least:g}", f"no more than the greatest, {greatest:g}")
        ranges[name] = least, greatest
    hottest, emergency = (np.inf if value is None else value
                          for value in (section.maximum_temperature, section.emergency_temperature))
    return Space(section.cores, section.aluminium, section.shapes, **ranges, count=section.candidates, hottest=hottest,
                 hottest_emergency=emergency, makeable=section.sizes == "makeable")


def check_copy(study: Study, path: Path | str) -> Path:
    """Return the path of a copy of a study; InputError as of `add_to_study` where it cannot be one."""
    path = Path(path)
    if path.resolve().parent != study.path.resolve().parent or path.resolve() == study.path.resolve():
        raise InputError(None, "--add", repr(str(path)), "a new name in the folder of the study, to which its paths "
                         "are relative")
    if not study.path.is_file():
        raise InputError(None, "--add", "a study that is no file", "a study file, of which a copy is written")
    return path


def add_to_study(result: DesignResult, path: Path | str, *, overwrite: bool = False, files: Files | None = None
                 ) -> Path:
    """Write a copy of the study with the finalists added, and return its path.

    Raises
    ------
    InputError
        The copy would be in another folder, to which the study's paths do not lead, be the study itself or what it
        reads, or replace a file that this software did not write or somebody changed, unless it may be overwritten.
    """
    study = result.study
    path = check_copy(study, path)
    text = study.path.read_text(encoding="utf-8-sig").rstrip() + "\n\n" + "\n".join(study_text(result))
    with joined(files, guard_of(study, overwrite)) as out:
        out.new(path).write_text(sealed(text), encoding="utf-8")
    return path


def write_design(result: DesignResult, folder: Path | str, kind: str = "svg", *, overwrite: bool = False,
                 files: Files | None = None) -> tuple[Path, ...]:
    """Write the table of the finalists (CSV, Markdown), an enquiry for makers (CSV, text), what goes into a study, and
    the drawing; return the paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made, or a file in it must not be replaced.
    """
    from corridor.outputs.drawings.design import draw_design

    folder = made_folder(folder)
    with joined(files, guard_of(result.study, overwrite)) as out:
        draw_design(out.new(folder / f"design.{kind}"), result)
        if result.finalists:
            write_comparison(design_table(result), folder / "design.csv", folder / "design.md", files=out)
            add_csvs(out, folder, {"front": result.front, "enquiry": enquiry_columns(result)})
            out.new(folder / "enquiry.txt").write_text("\n".join([*enquiry_text(result), f"# {MARK}", ""]),
                                                       encoding="utf-8")
            out.new(folder / "design.toml").write_text(sealed("\n".join(study_text(result))), encoding="utf-8")
    return out.written
