"""Two jobs beside the check: what each option carries, and what the worst spans of a line cost."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from pyproj import CRS

from corridor.arrays import join
from corridor.assessment import OPTIONAL, make_scene
from corridor.check import Progress, find
from corridor.errors import InputError, nearest
from corridor.inputs.series import read_stations
from corridor.jobs.folder import add_csvs, made_folder
from corridor.opened import LaidOut, Opened
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.tables import write_layers
from corridor.rating import series, year
from corridor.rating.hot_creep import LAW, creep_law, hot_creep_rows, nothing_known
from corridor.rating.ladder import Limits, ladder_rows
from corridor.rating.limits import UNKNOWN
from corridor.rating.margins import Margins, margin_nodes
from corridor.rating.mixes import line_ceilings
from corridor.rating.rating_tables import comparison, rating_table
from corridor.rating.ratings import Ratings
from corridor.rating.withstand import fault_rows

__all__ = ["LimitResult", "RatingResult", "limit_study", "rate_study", "rating_rows", "write_limits",
           "write_ratings", "year_tables"]

#: Layers that no rating is made of.
_NEEDLESS = OPTIONAL - {"limits"}


@dataclass(frozen=True)
class RatingResult:
    """What the options carry: tables as columns, by the names of the files they are written to.

    `ratings` is what they were made with; `tables` are `options` and `ratings`, and those of the hours, where the study
    has a series; `temperatures` (option, hour) [°C] of the hottest bearing; `step` of the series [h]; `notes` on what
    the series lacks; `stations` (row of `series_spans`, 2) [m] of both ends of its span.
    """

    ratings: Ratings
    tables: dict[str, Columns]
    temperatures: tuple[np.ndarray, ...]
    step: float
    notes: tuple[str, ...] = ()
    stations: np.ndarray | None = None

    @property
    def not_assessed(self) -> dict[str, list[str]]:
        """Spans of a year that were not assessed, by option."""
        spans = self.tables.get("series_spans")
        if spans is None:
            return {}
        lost = np.isnan(spans["hours_short"])
        return {option: list(spans["span"][lost & (spans["option"] == option)])
                for option in dict.fromkeys(spans["option"][lost])}

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where a span of a year was not assessed."""
        return 3 if self.not_assessed else 0

    @property
    def frames(self) -> Frames:
        """The tables as data frames."""
        return Frames(self.tables)


@dataclass(frozen=True)
class LimitResult:
    """What each span allows (`limits`) and what the worst cost (`ladder`), as columns of the layers of these names;
    `crs` of the places; `required_current` [A] of the study."""

    limits: Columns
    ladder: Columns
    crs: CRS
    required_current: float | None

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where a span was not assessed, continuously or in an emergency."""
        return 3 if any(np.any(self.limits[name] == UNKNOWN) for name in ("governs", "emergency_governs")) else 0

    @property
    def frames(self) -> Frames:
        """The tables `limits` and `ladder` as data frames."""
        return Frames({"limits": self.limits, "ladder": self.ladder}, self.crs)


def limit_study(opened: Opened, *, progress: Progress | None = None) -> LimitResult:
    """Find the limits of every span of a study, and the ladder of every line.

    Parameters
    ----------
    opened : Opened
    progress : callable, optional
        `progress(done, total)` in spans.
    """
    facts, plan, _ = laid = opened.laid_out
    limits = found_limits(laid, progress)
    return LimitResult(limits, ladder_rows(limits, line_ceilings(facts, plan)), opened.inputs.crs,
                       facts.heat.required_current)


def found_limits(laid: LaidOut, progress: Progress | None = None) -> Columns:
    """Return the columns of the layer `limits` of a study that is laid out."""
    limits = Limits()
    for layer, columns in find(*laid, progress=progress, needless=_NEEDLESS):
        limits.add(layer, columns)
    return limits.columns


def rate_study(opened: Opened, *, progress: Progress | None = None) -> RatingResult:
    """Rate every option of a study; with a series, look at every span through its hours, too.

    Parameters
    ----------
    opened, progress
        As in `limit_study`; spans are only looked at where the study has a series.

    Raises
    ------
    InputError
        There is no weather: no [rating].
    """
    study = opened.study
    if study.rating is None:
        raise InputError(study.path, "rating", "no such table", "[rating]: the weather for which currents are computed")
    laid = opened.laid_out
    ratings = laid.facts.heat
    # Of a series the losses are told hour by hour.
    curve = [(each.current, each.duration) for each in study.rating.loads]
    tables = {"options": comparison(ratings, curve), "ratings": rating_rows(opened)}
    if study.fault is not None:
        tables["fault"] = fault_rows(ratings.options, laid.facts.shield, study.fault, ratings.frequency)
    if study.series is None:
        return RatingResult(ratings, tables, (), np.nan)
    known, temperatures, notes, at = _through(opened, ratings, progress)
    return RatingResult(ratings, tables | known, temperatures, study.series.step / 3600, notes, at)


def rating_rows(opened: Opened) -> Columns:
    """Return the currents of every option over the air and wind that the [rating] of the study asks for."""
    section = opened.study.rating
    return rating_table(opened.laid_out.facts.heat, section.table_ambients, section.table_winds)


def _through(opened, ratings, progress):
    """As `year_tables`, with margins, for which every span is looked at."""
    study = opened.study
    stations = read_stations(study.series, study.resolve, study.rating.required_current)
    _stations_given(study, stations, opened.laid_out.plan)  # what is wrong is told before the spans are looked at
    hours = [each.hours for each in stations]
    return year_tables(opened, ratings, *_limits_and_margins(opened.laid_out, margin_nodes(ratings, hours), progress))


def year_tables(opened: Opened, ratings: Ratings, limits: Columns, margins: Sequence[Margins | None] | None = None
                ) -> tuple[dict[str, Columns], tuple[np.ndarray, ...], tuple[str, ...], np.ndarray]:
    """Return the tables of a study's series, temperatures of each option [°C], notes, and stations of spans (row, 2)
    [m].

    Parameters
    ----------
    opened : Opened
        Its study has a series.
    ratings : Ratings
    limits : dict of ndarray
        Columns of the layer `limits`.
    margins : sequence of Margins, optional
        By option; default: margins are not known.
    """
    study, laid, frame = opened.study, opened.laid_out, opened.inputs.frame
    stations = read_stations(study.series, study.resolve, study.rating.required_current)
    spans, margins = laid.plan.spans, margins or [None] * len(ratings.options)
    structures = laid.facts.structures
    middles = ((v[spans.tail] + v[spans.head]) / 2 for v in (structures.easting, structures.northing))
    at = [frame.transform_points(each.longitude, each.latitude, CRS.from_epsg(4326)) if np.isfinite(each.latitude)
          else (np.nan, np.nan) for each in stations]
    given = _stations_given(study, stations, laid.plan)
    places = year.places_near([each.hours for each in stations], *np.transpose(at), *middles, given)
    number = {pair: i for i, pair in enumerate(zip(spans.line, spans.name, strict=True))}
    of_row = np.array([number[pair] for pair in zip(limits["line"], limits["span"], strict=True)], int)
    years = [year.year_of(ratings, option, places, limits, of_row, spans.azimuth, each)
             for option, each in enumerate(margins)]
    courses, hours = [each.course for each in years], stations[0].hours
    life = 1.0 if study.strength is None else study.strength.years
    names, step = ("strength_left_percent", "strength_left_after_years_percent"), hours.step / 3600
    left = {name: np.array([year.strength_left(option, each.temperature[:, 0], step, many)
                            for option, each in zip(ratings.options, courses, strict=True)])
            for name, many in zip(names, (1.0, life), strict=True)}
    left["strength_law"] = np.array([year.strength_law(option) for option in ratings.options], object)
    tables = {"series": series.option_rows(ratings, courses, hours) | left,
              "series_temperatures": series.distribution_rows(ratings, courses, hours),
              "series_spans": year.year_span_rows(limits, years, step),
              "series_hours": year.hour_rows(ratings, years, limits, hours),
              "series_creep": _creep_rows(laid, ratings, courses, step, life)}
    notes = tuple(dict.fromkeys(note for each in stations for note in each.hours.notes))
    ends = laid.plan.route.station[np.column_stack([spans.tail, spans.head])][of_row]
    return tables, tuple(each.temperature[:, 0] for each in courses), notes, ends


def _creep_rows(laid, ratings, courses, step, years):
    """Rows of the table `series_creep`: every span in every option."""
    facts, plan = laid.facts, laid.plan
    parts = []
    for number, option in enumerate(ratings.options):
        law, T = creep_law(option), courses[number].temperature[:, 0]
        if law != LAW:
            parts.append(nothing_known(plan.spans.line, plan.spans.name, option, law))
            continue
        known, count = np.unique(np.ceil(T[~np.isnan(T)]), return_counts=True)
        for first, last in zip(plan.sections.first, plan.sections.last, strict=True):
            scene, _ = make_scene(facts, plan, int(first), int(last))
            if scene is not None:
                parts.append(hot_creep_rows(scene, number, known, count * step * years))
    return join(parts)


def _stations_given(study, stations, plan):
    """The station of each span whose section is named, -1 for the others (span,)."""
    given, names = np.full(len(plan.spans), -1), plan.sections.name[plan.spans.section]
    for i, station in enumerate(stations):
        for section in station.sections:
            of_section, where = names == section, f"series.stations.{i}.sections"
            if not of_section.any():
                known = list(dict.fromkeys(plan.sections.name))
                raise InputError(study.path, where, section, f"sections: {', '.join(known)}", nearest(section, known))
            if np.any(given[of_section] >= 0):
                raise InputError(study.path, where, f"{section} twice", "each section at one station")
            given[of_section] = i
    if len(stations) > 1 and np.any(given < 0) and all(np.isnan(each.latitude) for each in stations):
        raise InputError(study.path, "series.stations", f"no station for {names[given < 0][0]}",
                         "all sections named, or stations with a place")
    return given


def _limits_and_margins(laid, nodes, progress):
    """Columns of the layer `limits`, and the Margins of each option at its nodes (option, node) [°C]."""
    limits, margins = Limits(), []
    for layer, columns in find(replace(laid.facts, margins_at=nodes, mixes=()), *laid[1:], progress=progress,
                               needless=_NEEDLESS):
        limits.add(layer, columns)
        if layer == "margins":
            margins.append(columns["margin_m"])
    values, known = np.concatenate(margins), np.isfinite(nodes)
    return limits.columns, [Margins(at[on], values[:, on]) for at, on in zip(nodes, known, strict=True)]


def write_ratings(result: RatingResult, folder: Path | str, kind: str = "svg", guard: Guard = PLAIN
                  ) -> tuple[Path, ...]:
    """Write the tables of a RatingResult as CSV and its drawings, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made, or a file in it must not be replaced.
    """
    from corridor.outputs.drawings.ratings import draw_hours, draw_ratings

    folder = made_folder(folder)
    with Files(guard) as files:
        add_csvs(files, folder, result.tables)
        draw_ratings(files.new(folder / f"ratings.{kind}"), result.tables["ratings"], result.ratings.method)
        if result.temperatures:
            draw_hours(files.new(folder / f"series.{kind}"), result.temperatures,
                       [each.name for each in result.ratings.options], result.step)
            _draw_year(files, folder, kind, result)
    return files.written


def _draw_year(files, folder, kind, result):
    """Drawings of the hours: of ratings, and of the spans that hold the line back."""
    from corridor.outputs.drawings.hours import draw_exceedance, draw_heat_map, draw_limiting

    hours, spans = result.tables["series_hours"], result.tables["series_spans"]
    draw_exceedance(files.new(folder / f"series_exceedance.{kind}"), hours, result.step)
    if hours["time"][0] is not None:
        for number, option in enumerate(result.ratings.options, 1):
            draw_heat_map(files.new(folder / f"series_months_{number}.{kind}"), hours, option.name)
    draw_limiting(files.new(folder / f"series_limiting.{kind}"), spans, result.stations)


def write_limits(result: LimitResult, folder: Path | str, kind: str = "svg", guard: Guard = PLAIN
                 ) -> tuple[Path, ...]:
    """Write limits and ladder of a LimitResult as CSV, GeoPackage and drawing, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made, or a file in it must not be replaced.
    """
    from corridor.outputs.drawings.ladder import draw_ladder

    folder, tables = made_folder(folder), {"limits": result.limits, "ladder": result.ladder}
    with Files(guard) as files:
        add_csvs(files, folder, tables)
        write_layers(files.new(folder / "limits.gpkg"), result.crs, tables)
        draw_ladder(files.new(folder / f"ladder.{kind}"), result.ladder, result.required_current)
    return files.written
