"""Two jobs beside the check: what each option carries, and what the worst spans of a line cost."""

from dataclasses import dataclass

import numpy as np

from corridor.check import Clock, find, prepare
from corridor.errors import InputError
from corridor.inputs.series import read_series
from corridor.inputs.study_inputs import read_inputs
from corridor.jobs.folder import made_folder
from corridor.outputs import tables
from corridor.rating import series
from corridor.rating.ladder import Limits, ceilings, ladder_rows
from corridor.rating.limits import UNKNOWN
from corridor.rating.rating_tables import comparison, rating_table
from corridor.study import load_study

__all__ = ["LimitResult", "RatingResult", "limit_study", "rate_study", "write_limits", "write_ratings"]


@dataclass(frozen=True)
class RatingResult:
    """What the options carry: tables as columns, by the names of the files they are written to.

    `ratings` is what they were made with; `series` the tables of the hours, empty where the study has none;
    `temperatures` (option, hour) [degC] of the hottest bearing; `step` of the series [h].
    """

    ratings: object
    comparison: dict
    table: dict
    series: dict
    temperatures: tuple
    step: float


@dataclass(frozen=True)
class LimitResult:
    """What each span allows (`limits`) and what the worst cost (`ladder`), as columns; `crs` of the places."""

    limits: dict
    ladder: dict
    crs: object
    required_current: float | None

    @property
    def status(self):
        """Exit status: 0, or 3 where a span was not assessed."""
        return 3 if np.any(self.limits["governs"] == UNKNOWN) else 0


def limit_study(path, *, progress=None):
    """Find the limits of every span of a study, and the ladder of every line.

    Parameters
    ----------
    path : path
        The study file.
    progress : callable, optional
        `progress(done, total)` in spans.

    Raises
    ------
    InputError
        Something given cannot be used.
    """
    inputs = read_inputs(load_study(path))
    with inputs.terrain:
        facts, plan, ground = prepare(inputs, Clock())
        limits = _limits(facts, plan, ground, progress)
    ladder = ladder_rows(limits, ceilings(facts.heat, plan.spans))
    return LimitResult(limits, ladder, inputs.crs, facts.heat.required_current)


def _limits(facts, plan, ground, progress):
    limits = Limits()
    for layer, columns in find(facts, plan, ground, progress=progress):
        limits.add(layer, columns)
    return limits.columns


def rate_study(path, *, progress=None):
    """Rate every option of a study; with a series, look at every span through its hours, too.

    Parameters
    ----------
    path, progress
        As in `limit_study`; spans are only looked at where the study has a series.

    Raises
    ------
    InputError
        Something given cannot be used, or there is no weather: no [rating].
    """
    study = load_study(path)
    if study.rating is None:
        raise InputError(study.path, "rating", "no such table", "[rating]: the weather for which currents are computed")
    inputs = read_inputs(study)
    hours = read_series(study.series, study.resolve) if study.series is not None else None
    with inputs.terrain:
        facts, plan, ground = prepare(inputs, Clock())
        limits = _limits(facts, plan, ground, progress) if hours is not None else None
    ratings = facts.heat
    loads = [(load.current, load.duration) for load in study.rating.loads]
    known, temperatures = _through(ratings, hours, limits, plan.spans) if hours is not None else ({}, ())
    return RatingResult(ratings, comparison(ratings, loads),
                        rating_table(ratings, study.rating.table_ambients, study.rating.table_winds),
                        known, temperatures, hours.step / 3600 if hours is not None else np.nan)


def _through(ratings, hours, limits, spans):
    """Tables of a series, and the temperatures of each option."""
    ratings = series.with_bearings(ratings, hours, spans.azimuth)
    courses = [series.course(ratings, option, hours) for option in range(len(ratings.options))]
    azimuth = dict(zip(zip(spans.line, spans.name, strict=True), spans.azimuth, strict=True))
    of_row = np.array([azimuth[pair] for pair in zip(limits["line"], limits["span"], strict=True)], float)
    return {"series": series.option_rows(ratings, courses, hours),
            "series_temperatures": series.distribution_rows(ratings, courses, hours),
            "series_spans": series.span_rows(limits, of_row, ratings, courses, hours)}, tuple(
                each.temperature.max(axis=1) for each in courses)


def write_ratings(result, folder, kind="svg"):
    """Write the tables of a RatingResult as CSV and its drawings, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made.
    """
    from corridor.outputs.drawings.ratings import draw_hours, draw_ratings

    folder, method = made_folder(folder), result.ratings.method
    written = []
    for name, columns in {"options": result.comparison, "ratings": result.table, **result.series}.items():
        written.append(folder / f"{name}.csv")
        tables.write_csv(written[-1], columns)
    written.append(folder / f"ratings.{kind}")
    draw_ratings(written[-1], result.table, method)
    if result.temperatures:
        written.append(folder / f"series.{kind}")
        draw_hours(written[-1], result.temperatures, [each.name for each in result.ratings.options], result.step)
    return tuple(written)


def write_limits(result, folder, kind="svg"):
    """Write limits and ladder of a LimitResult as CSV, GeoPackage and drawing, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made.
    """
    from corridor.outputs.drawings.ladder import draw_ladder

    folder = made_folder(folder)
    written = tuple(folder / name for name in ("limits.csv", "ladder.csv", "limits.gpkg", f"ladder.{kind}"))
    tables.write_csv(written[0], result.limits)
    tables.write_csv(written[1], result.ladder)
    tables.write_layers(written[2], result.crs, {"limits": result.limits, "ladder": result.ladder})
    draw_ladder(written[3], result.ladder, result.required_current)
    return written
