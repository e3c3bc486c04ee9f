"""A job beside the check: sag against temperature of every option in one span, the knee, and what clearance allows."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from corridor.assessment import make_scene, meet
from corridor.check import Progress
from corridor.clearance.findings import requirements
from corridor.clearance.not_assessed import missing_rows
from corridor.clearance.proximity import compare, surroundings
from corridor.errors import InputError, nearest
from corridor.jobs.folder import add_csvs, made_folder
from corridor.line.elongation_laws import reshape_law
from corridor.line.temperature_range import at_temperatures
from corridor.opened import Opened
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard
from corridor.rating.limits import MAXIMUM, NO_TEMPERATURE, UNKNOWN, limit_rows

__all__ = ["Curve", "Curves", "curve_study", "write_curves"]

#: Temperature up to which it is asked where a wire just clears [°C]: hotter than any wire gets, so that a wire which
#: clears at its own maximum has an allowable sag, too.
_HOTTEST = 500.0
#: Step of a curve [K].
_STEP = 2.0

@dataclass(frozen=True)
class Curve:
    """One option, final, bare and in still air; arrays of shape (temperature,).

    `temperature` [°C] up to the emergency temperature, or else the maximum; `sag` [m], and at the ends of the band of
    compression `sag_low`, `sag_high`; `tension` horizontal [N]; `knee`, `knee_low`, `knee_high` [°C], nan where there
    is none, `knee_sag` [m] there; `clears_to` [°C] at which the span's worst margin is gone and
    `allowable_sag` [m] then, nan where none is known or another wire is the worst; `clears` what it clears in words.
    """

    name: str
    existing: bool
    temperature: np.ndarray
    sag: np.ndarray
    sag_low: np.ndarray
    sag_high: np.ndarray
    tension: np.ndarray
    knee: float
    knee_low: float
    knee_high: float
    knee_sag: float
    maximum_temperature: float
    emergency_temperature: float | None
    allowable_sag: float
    clears_to: float
    clears: str


@dataclass(frozen=True)
class Curves:
    """All options in one span.

    `length` of the span and its section's `ruling_span` [m]; `wire` the one drawn; `against` what sets the allowable
    sag, None where nothing does, and `why` then the reason. `unknown` are the spans asked for that were not assessed in
    some option: one of them may be worse. `two_ends` whether it is not known of some wire what loads have come: curves
    are those of the end of its history at which it hangs lower, at each temperature.
    """

    line: str
    section: str
    span: str
    wire: str
    length: float
    ruling_span: float
    against: str | None
    why: str
    options: tuple[Curve, ...]
    unknown: tuple[str, ...]
    two_ends: bool = False

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where a span was not assessed."""
        return 3 if self.unknown else 0

    @property
    def frames(self) -> Frames:
        """The tables `curves`, a row a point, and `knees`, a row an option, as data frames."""
        return Frames({"curves": _points(self), "knees": knee_columns(self)})

    @property
    def allowable_sag(self) -> float:
        """The least allowable sag of any option [m]: they differ by what strings swing. nan where none is known."""
        return float(np.fmin.reduce([option.allowable_sag for option in self.options]))

    @property
    def title_lines(self) -> tuple[str, str]:
        """What is shown, in two lines."""
        ends = ", the lower of both ends of histories" if self.two_ends else ""
        return (f"{self.line}, span {self.span}: sag against temperature of the wire",
                f"wire {self.wire}, {self.length:.0f} m, in section {self.section} of ruling span "
                f"{self.ruling_span:.0f} m; final{ends}, bare, in still air")


def curve_study(opened: Opened, *, line: str | None = None, section: str | None = None, span: str | None = None,
                progress: Progress | None = None) -> Curves:
    """Find the curves of one span of a study.

    Parameters
    ----------
    opened : Opened
    line, section, span : str, optional
        Names. Of what they leave, the span is taken whose wires sag most past what clearance allows, at the maximum
        temperature of any option; where nothing is known of any, the longest.
    progress : callable, optional
        `progress(done, total)` in spans.

    Raises
    ------
    InputError
        There is no such span, or no wire of it has an answer.
    """
    facts, plan, ground = opened.laid_out
    wanted = _wanted(plan, line, section, span)
    sections = np.unique(plan.spans.section[wanted])
    found, unknown = [], []
    for done, index in enumerate(sections):
        first, last = int(plan.sections.first[index]), int(plan.sections.last[index])
        scene, unmatched = make_scene(facts, plan, first, last)
        if scene is None:
            unknown += plan.spans.name[first:last + 1][wanted[first:last + 1]].tolist()
            continue
        limits = _limits(facts, plan, scene, (first, last), unmatched, ground)
        unknown += [name for name in dict.fromkeys(row["span"] for row in limits if row["governs"] == UNKNOWN)
                    if name in scene.spans.name[wanted[first:last + 1]]]
        # Only the worst scene so far is kept: each is large.
        found = [max([*found, (scene, *_worst(scene, limits, wanted[first:last + 1]))], key=lambda each: each[1])]
        if progress:
            progress(done + 1, len(sections))
    if not found:
        raise InputError(None, "framings", f"no wire that hangs at both ends of {', '.join(unknown)}",
                         "framings of neighbouring structures that name the same wires")
    scene, _, index, limits = found[0]
    return _curves(facts, scene, index, limits, tuple(unknown))


def _wanted(plan, line, section, span):
    """True for the spans that are named."""
    spans = plan.spans
    chosen = np.ones(len(spans), bool)
    for key, name, column in (("line", line, spans.line), ("section", section, plan.sections.name[spans.section]),
                              ("span", span, spans.name)):
        if name is None:
            continue
        if not (chosen & (column == name)).any():
            known = list(dict.fromkeys(column[chosen]))
            raise InputError(None, f"--{key}", repr(name), f"a {key} of the study, such as {known[0]!r}",
                             nearest(name, known))
        chosen &= column == name
    _only_line(spans.line[chosen], span or section)
    return chosen


def _only_line(lines, name):
    """Refuse a name that several lines have."""
    several = list(dict.fromkeys(lines))
    if name is not None and len(several) > 1:
        raise InputError(None, "--line", f"nothing, and {name!r} is in several", " or ".join(map(repr, several)))


def _limits(facts, plan, scene, ends, unmatched, ground):
    """Rows of `limits` as they were if wires bore any temperature: list of dicts."""
    hot = tuple(replace(each, wiring=replace(each.wiring, maximum_temperature=_HOTTEST)) for each in scene.options)
    known, (facts, whole, met) = facts, meet(facts, plan, scene, *ends)
    gaps = met.gaps
    if facts.clouds:  # others of the surveyed points may be the nearest where wires are hotter than in any case
        told = np.array([case.temperature == "maximum" for case in scene.cases])
        hotter = scene.at_temperature(np.where(told, _HOTTEST, scene.temperature))
        facts, whole, met = meet(known, plan, hotter, *ends)
    scene = scene.among(whole.obstacles)
    around = surroundings(facts, replace(scene, options=hot), ground, met.partners)
    met_with = compare(around)
    gaps = [*missing_rows(around, met_with, requirements(scene, met_with.checked).unruled, unmatched), *gaps]
    columns = limit_rows(around, None, gaps, _no_current)
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def _no_current(option, temperature, azimuth):
    return np.full(len(temperature), np.nan)


def _worst(scene, limits, wanted):
    """How much the worst wanted span sags past what is allowed [m], its index, and its limits, option by option.

    A span that clears at no temperature ranks before all others; one of which nothing is known behind them, by its
    length.
    """
    options, best = len(scene.options), None
    for span in np.flatnonzero(wanted):
        rows = limits[span * options:(span + 1) * options]
        known = [_excess(scene, span, option, row) for option, row in enumerate(rows)]
        excess = max(known)
        rank = (excess > -np.inf, excess if excess > -np.inf else scene.spans.length[span])
        if best is None or rank > best[0]:
            best = rank, span, rows
    return best


def _excess(scene, span, option, row):
    """Sag at the option's maximum temperature less what is allowed [m]; inf where none is, -inf where not known."""
    if row["governs"] == NO_TEMPERATURE:
        return np.inf
    if not np.isfinite(row["clearing_temperature_c"]):
        return -np.inf
    wire = _wire(scene, span, row["governing_wire"])
    T = [row["clearing_temperature_c"], scene.options[option].wiring.maximum_temperature]
    allowed, sag = at_temperatures(scene.model, wire, option, T).sag[0]
    return sag - allowed


def _wire(scene, span, name):
    """Index of a wire by its span and name, in an array of one."""
    return np.flatnonzero((scene.wires.span == span) & (scene.wires.wire == name))


def _curves(facts, scene, span, limits, unknown):
    name = _drawn_wire(scene, span, limits)
    wire = _wire(scene, span, name)
    coldest = min((case.temperature for case in facts.cases if not isinstance(case.temperature, str)), default=0.0)
    options = tuple(_curve(scene, wire, option, row, name, min(coldest, 0.0)) for option, row in enumerate(limits))
    if not any(np.isfinite(option.sag).any() for option in options):
        raise InputError(None, "--span", f"{scene.spans.name[span]!r}, in which no wire has an answer",
                         "a span whose wires hang: see the findings of the check")
    row = next((row for row, option in zip(limits, options, strict=True) if np.isfinite(option.allowable_sag)), None)
    against, why = (_against(row), "") if row else (None, _why({each["governs"] for each in limits}))
    return Curves(scene.spans.line[span], scene.sections.name[scene.spans.section[span]], scene.spans.name[span],
                  name, float(scene.spans.length[span]), float(scene.groups.span[scene.group[wire[0]]]), against, why,
                  options, unknown, bool(scene.strung.doubtful[scene.group[wire[0]]].any()))


def _drawn_wire(scene, span, limits):
    """Name of the wire that is in violation first, or else of the first phase wire."""
    known = [row for row in limits if row["governing_wire"] is not None and row["governs"] != UNKNOWN]
    if known:
        return min(known, key=_heat)["governing_wire"]
    names = scene.wires.wire[(scene.wires.span == span) & (scene.wires.kind == "phase")]
    if not len(names):
        raise InputError(None, "--span", f"{scene.spans.name[span]!r}, which has no phase wire", "a span with wires")
    return names[0]


def _heat(row):
    """How hot an option may get [°C], beyond all bounds either way where no temperature sets a bound."""
    return -np.inf if row["governs"] == NO_TEMPERATURE else np.nan_to_num(row["clearing_temperature_c"], nan=np.inf)


def _against(row):
    """What a wire comes too near, in words."""
    name, what = row["governing_obstacle"], row["governing_against"]
    return f"{name} ({what})" if name else what


def _why(governs):
    """Why no sag is allowed or known to be, from what governs each option."""
    if UNKNOWN in governs:
        return "Allowable sag not known: span not assessed"
    return "No temperature clears" if NO_TEMPERATURE in governs else "No wire sags as far as a violation"


def _curve(scene, wire, option, row, name, coldest):
    choice, g = scene.options[option], scene.group[wire[0]]
    wiring, strung = choice.wiring, scene.strung
    top = wiring.emergency_temperature or wiring.maximum_temperature
    knees = [float(v) for v in (strung.knee[g, option], *strung.knee_band[:, g, option])]
    steps = np.arange(coldest, top, _STEP)
    T = np.unique([*steps, *(knee for knee in knees if coldest < knee < top), wiring.maximum_temperature, top])
    hung = at_temperatures(scene.model, wire, option, T)
    low, high = (at_temperatures(_compressed(scene.model, band), wire, option, T).sag[0]
                 for band in strung.compression_band)
    clearing = row["clearing_temperature_c"]
    allowed, at_knee = at_temperatures(scene.model, wire, option, [clearing, knees[0]]).sag[0]
    allowed = allowed if row["governing_wire"] == name else np.nan
    return Curve(choice.name, choice.existing, T, hung.sag[0], low, high, hung.horizontal_tension[0], *knees,
                 float(at_knee), wiring.maximum_temperature, wiring.emergency_temperature, float(allowed),
                 float(clearing), _clears(row, wiring.maximum_temperature))


def _compressed(model, compression):
    """The model of wires with another compression of their slack aluminium [N], (group, option)."""
    strung = model.strung
    final, unloaded = (reshape_law(law, strung.excess.shape)._replace(outer_compression=compression)
                       for law in (strung.final, strung.unloaded))
    return replace(model, strung=replace(strung, final=final, unloaded=unloaded))


def _clears(row, maximum):
    """Up to which temperature a span clears, in words."""
    T = row["clearing_temperature_c"]
    if np.isfinite(T):
        return f"{np.floor(10 * T) / 10:.1f}" if T < maximum else "its maximum"
    return "its maximum" if row["governs"] == MAXIMUM else row["governs"]


def write_curves(curves: Curves, folder: Path | str, kind: str = "svg", guard: Guard = PLAIN) -> tuple[Path, ...]:
    """Write the curves of a span as CSV and drawing, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made.
    """
    from corridor.outputs.drawings.curves import draw_curves

    folder = made_folder(folder)
    with Files(guard) as files:
        draw_curves(files.new(folder / f"curves.{kind}"), curves)
        add_csvs(files, folder, {"curves": _points(curves), "knees": knee_columns(curves)})
    return files.written


def _points(curves):
    """One row a point of a curve, as columns."""
    options = curves.options
    where = {name: np.full(sum(len(each.temperature) for each in options), getattr(curves, name), object)
             for name in ("line", "section", "span", "wire")}
    names = {"temperature": "temperature_c", "sag": "sag_m", "sag_low": "sag_low_m", "sag_high": "sag_high_m",
             "tension": "horizontal_tension_n"}
    name = np.concatenate([np.full(len(each.temperature), each.name, object) for each in options])
    return where | {"option": name} | {
        column: np.concatenate([getattr(each, name) for each in options]) for name, column in names.items()}


_KNEES = {"name": "option", "knee": "knee_temperature_c", "knee_low": "knee_low_c", "knee_high": "knee_high_c",
          "knee_sag": "knee_sag_m", "maximum_temperature": "maximum_temperature_c",
          "emergency_temperature": "emergency_temperature_c", "allowable_sag": "allowable_sag_m",
          "clears_to": "clearing_temperature_c", "clears": "clears_to"}


def knee_columns(curves: Curves) -> Columns:
    """Return one row an option, as columns: knee, band, limits and sags of a `Curves`."""
    return {column: [getattr(each, name) for each in curves.options] for name, column in _KNEES.items()}
