"""A job beside the check: weather and current of now, the current before, and the time until a span is short."""

from dataclasses import dataclass, fields, replace
from pathlib import Path

import numpy as np

from corridor.arrays import join
from corridor.check import Progress
from corridor.errors import InputError
from corridor.inputs.series import read_series
from corridor.jobs.adjusted import known_limits, span_bearings
from corridor.jobs.folder import write_csvs
from corridor.opened import Opened
from corridor.outputs.frames import Columns, Frames
from corridor.outputs.guard import PLAIN, Guard
from corridor.rating.series import in_weather
from corridor.rating.time_left import NEVER, NOW, OVER_NOW, time_left_rows
from corridor.study.currents import Series

__all__ = ["NowResult", "now_study", "write_now"]


@dataclass(frozen=True)
class NowResult:
    """How long each span stays clear, as columns, the shortest first; `before` and `current` [A] per phase; `notes`."""

    spans: Columns
    before: float
    current: float
    notes: tuple[str, ...]

    @property
    def status(self) -> int:
        """Exit status: 1 where a span is short now, else 3 where one was not assessed, its weather is not known, or its
        wire is hotter now than it is known to clear."""
        state = self.spans["state"]
        unknown = np.isnan(self.spans["time_left_s"]) & (state != NEVER) | (state == OVER_NOW)
        return 1 if np.any(state == NOW) else 3 if unknown.any() else 0

    @property
    def frames(self) -> Frames:
        """The table `time_left` as a data frame."""
        return Frames({"time_left": self.spans})


def now_study(opened: Opened, weather: Path | str, *, before: float | None = None, progress: Progress | None = None
              ) -> NowResult:
    """Find the time until the first span is short, of the existing option, or of all where none is.

    Parameters
    ----------
    opened : Opened
    weather : path
        CSV or Parquet with the columns of [series]; its last row is the hour of now.
    before : float, optional
        Current per phase before it [A]; default: that of the row above.
    progress : callable, optional
        As in `limit_study`.

    Raises
    ------
    InputError
        There is no [rating]; the file cannot be read; or no current before is known.
    """
    study, path = opened.study, Path(weather)
    if study.rating is None:
        raise InputError(study.path, "rating", "no such table", "[rating]: the weather for which currents are computed")
    section = Series(file=str(path)) if study.series is None else study.series
    section = section.model_copy(update={"file": str(path), "weather": None, "stations": ()})
    if not path.is_file():
        raise InputError(path, "weather", "no such file", "a CSV or Parquet file")
    hours = read_series(section, Path)
    if before is None and len(hours.current) < 2:
        raise InputError(path, "rows", "one", "two or more, the last of now; or the current before it (--before)")
    before = float(hours.current[-2]) if before is None else before
    if np.isnan(before):
        raise InputError(path, "current", "nothing in the row above the last", "the current before; or --before")
    now = hours.part(slice(-1, None))
    heat = opened.laid_out.facts.heat
    ratings = _at(in_weather(heat, now))
    earlier = _at(in_weather(heat, hours.part(slice(-2, -1)))) if len(hours.current) > 1 else None
    limits, told = known_limits(opened, progress)
    chosen = [i for i, option in enumerate(ratings.options) if option.existing] or range(len(ratings.options))
    parts = [time_left_rows(ratings, i, before, float(now.current[0]), limits, span_bearings(opened, limits),
                            earlier=earlier) for i in chosen]
    spans = join(parts)
    missing = [name for name in ("ambient", "wind_speed", "solar") if getattr(now, name) is None]
    notes = (told, *([f"as in [rating]: {', '.join(missing)}"] if missing else []))
    return NowResult(spans, before, float(now.current[0]), notes)


def _at(ratings):
    """The ratings in the one hour that they are of, its weather as numbers."""
    weather, sky = ratings.weather, ratings.sky
    one = {field.name: np.ravel(getattr(weather, field.name))[0] for field in fields(weather)}
    wind = None if sky.wind_direction is None else float(np.ravel(sky.wind_direction)[0])
    return replace(ratings, weather=replace(weather, **one), sky=replace(sky, wind_direction=wind))


def write_now(result: NowResult, folder: Path | str, guard: Guard = PLAIN) -> tuple[Path, ...]:
    """Write a NowResult as CSV and return its path; errors as of `write_csvs`."""
    return write_csvs(folder, {"time_left": result.spans}, guard)
