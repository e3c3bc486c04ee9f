"""A job beside the check: ratings adjusted to the air, by season, day and night, and duration."""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from pyproj import Transformer

from corridor.check import Progress
from corridor.errors import InputError
from corridor.inputs.series import read_stations
from corridor.jobs.folder import add_csvs, made_folder
from corridor.jobs.rating import found_limits
from corridor.jobs.read_back import columns_of, read_back
from corridor.opened import Opened
from corridor.outputs.files import Files
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard
from corridor.outputs.workbook import need_workbook, write_workbook
from corridor.rating.adjusted import adjusted_rows
from corridor.rating.seasons import as_rated, season_of
from corridor.units import QuantityError, quantity

__all__ = ["AdjustedResult", "adjusted_study", "known_limits", "span_bearings", "write_adjusted"]

#: How far beyond the record the air goes [K]: 10 degrees Fahrenheit.
BEYOND = 10 / 1.8


@dataclass(frozen=True)
class AdjustedResult:
    """Ratings adjusted to the air, as columns, and `notes` on what they rest on."""

    table: Columns
    notes: tuple[str, ...]

    @property
    def status(self) -> int:
        """Exit status: 0, or 3 where clearance was not assessed."""
        return 3 if np.any(np.isnan(self.table["current_a"])) else 0

    @property
    def frames(self) -> Frames:
        """The table `adjusted` as a data frame."""
        return Frames({"adjusted": self.table})


def known_limits(opened: Opened, progress: Progress | None = None) -> tuple[Columns, str]:
    """Return the columns of the layer `limits`, and where they are from: the findings of the study as it is now, or
    else found now."""
    try:
        source, layers = read_back(opened, None, ["limits"])
        return columns_of(layers["limits"]), f"limits of spans are from {source.name}"
    except InputError:
        return found_limits(opened.laid_out, progress), "limits of spans were found now"


def span_bearings(opened: Opened, limits: Columns) -> np.ndarray:
    """Return the bearing of the span of each row of limits [deg]."""
    spans = opened.laid_out.plan.spans
    azimuth = dict(zip(zip(spans.line, spans.name, strict=True), spans.azimuth, strict=True))
    return np.array([azimuth[pair] for pair in zip(limits["line"], limits["span"], strict=True)], float)


def adjusted_study(opened: Opened, *, step: str | float = "5 degF", air: tuple[float, float] | None = None,
                   limits: Columns | None = None, progress: Progress | None = None) -> AdjustedResult:
    """Rate every option over the air: each season of the study, by day and by night, for ever and for its durations.

    Parameters
    ----------
    opened : Opened
    step : str or float
        Of the temperature of the air [K], or text such as "5 degF".
    air : (float, float), optional
        From where to where it goes [°C]; default: as far as the weather of the series, or else the ambients of the
        rating tables, and 10 °F beyond.
    limits : dict of ndarray, optional
        Columns of the layer `limits`; default: those of the findings, or else found now.
    progress : callable, optional
        As in `limit_study`.

    Raises
    ------
    InputError
        There is no [rating]; or a step or range that makes no table.
    """
    study = opened.study
    if study.rating is None:
        raise InputError(study.path, "rating", "no such table", "[rating]: the weather for which currents are computed")
    ratings = opened.laid_out.facts.heat
    limits, told = known_limits(opened, progress) if limits is None else (limits, "limits of spans as found")
    low, high, record = _air(study, air)
    ambients = _steps(study, step, low, high)
    seasons = [season_of(table) for table in study.ratings] or [as_rated(ratings)]
    latitude = _latitude(opened)
    table = adjusted_rows(ratings, seasons, ambients, limits, span_bearings(opened, limits), latitude=latitude,
                          strength=study.strength)
    sun = f"day and night by sunrise and sunset at {latitude:.2f} deg, solar time"
    return AdjustedResult(table, (told, record, sun))


def _air(study, given):
    """Lowest and highest temperature of the air [°C], and where from in words."""
    if given is not None:
        return *given, f"air from {given[0]:g} to {given[1]:g} °C as asked for"
    known, word = np.asarray(study.rating.table_ambients, float), "the ambients of [rating]"
    if study.series is not None:
        stations = read_stations(study.series, study.resolve, study.rating.required_current)
        columns = [each.hours.ambient for each in stations if each.hours.ambient is not None]
        if columns:
            known, word = np.concatenate(columns), "the record of the series"
    low, high = np.nanmin(known), np.nanmax(known)
    return low - BEYOND, high + BEYOND, f"air 10 °F beyond {word}, {low:.1f} to {high:.1f} °C"


def _steps(study, step, low, high):
    """Multiples of the step that reach over a range [°C]; those of Fahrenheit are counted from 0 °F."""
    fahrenheit = str(step).rstrip().endswith("F")
    try:
        size = quantity(step, "temperature_difference", plain_text=True)
    except QuantityError:
        size = np.nan
    if not (0.1 <= size <= 50 and low <= high and -80 <= low and high <= 70):
        raise InputError(study.path, "step", f"{step} from {low:g} to {high:g} °C",
                         "a step from 0.1 to 50 K, such as '5 degF' or '2 degC', between -80 and 70 °C")
    zero = -160 / 9 if fahrenheit else 0.0
    counts = np.arange(np.floor((low - zero) / size + 1e-9), np.ceil((high - zero) / size - 1e-9) + 1)
    return zero + size * counts


def _latitude(opened):
    """Mean latitude of the structures [deg]."""
    structures, frame = opened.laid_out.facts.structures, opened.inputs.frame
    change = Transformer.from_crs(frame.crs, 4326, always_xy=True)
    return float(np.mean(change.transform(structures.easting, structures.northing)[1]))


def write_adjusted(result: AdjustedResult, folder: Path | str, guard: Guard = PLAIN, time: datetime | None = None
                   ) -> tuple[Path, ...]:
    """Write an AdjustedResult as CSV and as a workbook, and return their paths.

    Raises
    ------
    InputError
        The folder is none, and cannot be made, or a file in it must not be replaced.
    CorridorError
        openpyxl is missing: nothing is written.
    """
    need_workbook()
    folder = made_folder(folder)
    with Files(guard) as files:
        add_csvs(files, folder, {"adjusted": result.table})
        write_workbook(files.new(folder / "adjusted.xlsx"), {"adjusted": result.table}, time)
    return files.written
