"""Read an hourly series of current and weather, from CSV or Parquet."""

from typing import NamedTuple

import numpy as np
import pyarrow as pa
from pyarrow import csv, parquet

from corridor.errors import InputError, nearest
from corridor.inputs.series_times import lasting, places, repeated, stamps
from corridor.inputs.typical_year import is_typical_year, read_typical_year
from corridor.rating.series import Hours
from corridor.units import scale

__all__ = ["NO_LOADS", "Located", "YearLoads", "read_series", "read_stations", "year_loads"]

#: A year [s], and steps that a series of currents is put into.
_YEAR, _STEPS = 8760 * 3600.0, 12

#: What each column may hold: least, greatest and unit.
RANGES = {"current": (0.0, 20_000.0, "A"), "ambient": (-80.0, 70.0, "°C"), "wind_speed": (0.0, 100.0, "m/s"),
          "wind_angle": (-360.0, 360.0, "deg"), "wind_direction": (-360.0, 360.0, "deg"),
          "solar": (0.0, 1500.0, "W/m²")}

#: What each column measures.
_KINDS = {"current": "current", "ambient": "temperature", "wind_speed": "speed", "wind_angle": "angle",
          "wind_direction": "angle", "solar": "irradiance"}

_READERS = {".csv": csv.read_csv, ".parquet": parquet.read_table, ".pq": parquet.read_table}


class Located(NamedTuple):
    """The hours of a station of weather: `longitude` and `latitude` [deg], nan where it has no place; `sections` that
    have its weather by name."""

    name: str
    longitude: float
    latitude: float
    hours: Hours
    sections: tuple[str, ...] = ()


class YearLoads(NamedTuple):
    """A year's currents [A] and how long each flows [s], `steps`, none where nothing tells; what they are, `words`, and
    what is assumed of them, `notes`."""

    steps: tuple[tuple[float, float], ...] = ()
    words: str = ""
    notes: tuple[str, ...] = ()


#: What flows where nothing tells.
NO_LOADS = YearLoads()


class _Table(NamedTuple):
    """What a file tells: columns by name, times or None, notes, and its place [deg]."""

    columns: dict
    time: np.ndarray | None
    notes: tuple
    place: tuple = (np.nan, np.nan)


def read_stations(section, resolve, required_current=None):
    """Return the hours of a study's series at each station of weather, one or more.

    Parameters
    ----------
    section : Series
        Of the study.
    resolve : callable
        Path as the study gives it to a path.
    required_current : float, optional
        What flows all the time [A] where the series has no file of currents.

    Returns
    -------
    tuple of Located

    Raises
    ------
    InputError
        As `read_series`; or files of other times than each other, or a station without a place.
    """
    stations = section.stations
    if not stations:
        return Located("", np.nan, np.nan, read_series(section, resolve, required_current)),
    load = None if section.file is None else _table(section, resolve(section.file))
    found = []
    for i, station in enumerate(stations):
        weather = _table(section, resolve(station.file), current=False)
        longitude, latitude = (known if given is None else given for given, known in
                               zip((station.longitude, station.latitude), weather.place, strict=True))
        if np.isnan(longitude + latitude) and len(stations) > 1 and not station.sections:
            raise InputError(resolve(station.file), f"series.stations.{i}", "no place",
                             "longitude and latitude, a typical year, or sections")
        found.append(Located(station.name, longitude, latitude, _hours(
            section, load, weather, resolve(section.file or station.file), resolve(station.file), required_current),
            station.sections))
    count = [len(each.hours.current) for each in found]
    if len(set(count)) > 1:
        raise InputError(resolve(stations[0].file), "series.stations",
                         f"files of {' and '.join(map(str, count))} steps", "as many in each")
    return tuple(found)


def year_loads(study):
    """Return the YearLoads of a study: of `[[rating.loads]]`, or else of its file of currents, which counts as a year.

    A series is put into twelve steps of equal duration, each with the current that loses as much, and its greatest
    current by itself. Errors are as of `read_stations`.
    """
    if study.rating is not None and study.rating.loads:
        return YearLoads(tuple((load.current, load.duration) for load in study.rating.loads),
                         "the load-duration curve of the study")
    if study.series is None or study.series.file is None:
        return NO_LOADS
    current = read_stations(study.series, study.resolve, study.rating.required_current)[0].hours.current
    known = np.sort(current[~np.isnan(current)])
    if not len(known):
        return NO_LOADS
    parts = [each for each in (*np.array_split(known[:-1], _STEPS), known[-1:]) if len(each)]
    missing = len(current) - len(known)
    notes = (f"{missing} hours without a current count as the others",) if missing else ()
    return YearLoads(tuple((float(np.sqrt(np.mean(each**2))), len(each) / len(known) * _YEAR) for each in parts),
                     "the currents of the series, in the weather of [rating]", notes)


def read_series(section, resolve, required_current=None):
    """Return the hours of a study's series.

    Parameters
    ----------
    section, resolve, required_current
        As in `read_stations`.

    Raises
    ------
    InputError
        No such kind of file, no currents, a column that the study names and the file lacks, both an angle and a
        direction of the wind, text among numbers, a number out of range, times that do not rise by the step.
    """
    load = None if section.file is None else _table(section, resolve(section.file))
    if section.weather is None:
        return _hours(section, load, None, resolve(section.file), None, required_current)
    path = resolve(section.weather)
    weather = _table(section, path, current=False)
    return _hours(section, load, weather, resolve(section.file or section.weather), path, required_current)


def _hours(section, load, weather, path, weather_path, required):
    """Hours of what two files tell; either may be None."""
    columns = dict(load.columns) if load else {}
    notes, time = load.notes if load else (), load.time if load else None
    if weather is not None:
        twice = sorted(set(columns) & set(weather.columns))
        if twice:
            raise InputError(path, "columns", f"{', '.join(twice)}, as in {weather_path.name}", "weather in one file")
        _together(path, load, weather, weather_path)
        columns |= weather.columns
        notes, time = (*notes, *weather.notes), weather.time if time is None else time
    if "current" not in columns:
        columns["current"] = np.full(len(next(iter(columns.values()))), float(required))
        notes = (*notes, f"the required {required:g} A flow all the time")
    if "wind_angle" in columns and "wind_direction" in columns:
        raise InputError(path, "columns", "both wind_angle and wind_direction", "one of them")
    return Hours(step=section.step, time=time, notes=notes, **columns)


def _together(path, load, weather, weather_path):
    """Refuse files of other hours than each other."""
    if load is None:
        return
    counts = len(load.columns["current"]), len(next(iter(weather.columns.values())))
    if counts[0] != counts[1]:
        raise InputError(path, "rows", f"{counts[0]} steps, and {counts[1]} in {weather_path.name}", "as many in both")
    if load.time is None or weather.time is None:
        return
    typical = not np.isnan(weather.place[0])
    one, other = ((t - t.astype("datetime64[Y]") if typical else t) for t in (load.time, weather.time))
    if np.any(one != other):
        row = np.flatnonzero(one != other)[0]
        raise InputError(path, "time", f"{load.time[row]} where {weather_path.name} has {weather.time[row]}",
                         "the same times in both")


def _table(section, path, *, current=True):
    """What one file of a series tells; with `current`, it must tell currents."""
    if path.suffix.lower() in (".epw", ".csv") and is_typical_year(path):
        year = read_typical_year(path)
        if current:
            raise InputError(path, "series.file", "a typical year of weather",
                             "currents; weather goes to series.weather")
        columns = {name: _in_range(path, name, values, *RANGES[name]) for name, values in year.columns.items()}
        return _placed(path, columns, year.time, ("a typical year: months of several years, and wind as the station "
                       "measured it, commonly 10 m above open ground",), 3600.0, section.step,
                       (year.longitude, year.latitude))
    table = _read(path)
    columns, given = section.columns, section.columns.model_fields_set
    found = {}
    for name in RANGES:
        if name == "current" and not current:
            continue
        heading = getattr(columns, name)
        if table.column_names.count(heading) > 1:
            raise InputError(path, "columns", f"{heading!r} twice", "each column once")
        if heading in table.column_names:
            found[name] = _numbers(path, table, heading, *RANGES[name],
                                   scale(getattr(section, f"{name}_unit", None), _KINDS[name]))
        elif name == "current" or (name in given and not (current and (section.weather or section.stations))):
            raise InputError(path, "columns", f"no column {heading!r}", ", ".join(table.column_names),
                             nearest(heading, table.column_names))
    if not found:
        raise InputError(path, "columns", ", ".join(table.column_names), "at least one column of weather")
    if not len(next(iter(found.values()))):
        raise InputError(path, "rows", "none", "one row per step")
    time, notes = stamps(path, table, columns.time, "time" in given)
    return _placed(path, found, time, notes, section.step, section.step)


def _placed(path, columns, time, notes, step, wanted, place=(np.nan, np.nan)):
    """A table with its rows in the steps that they tell of, nan in all others."""
    if step != wanted:
        raise InputError(path, "series.step", f"{wanted / 3600:g} h", f"{step / 3600:g} h, that of the file")
    notes = (*notes, *repeated(path, list(columns.values()), step))
    count = len(next(iter(columns.values())))
    if time is not None:
        at, count, told = places(path, time, step)
        notes = (*notes, *told)
        if told:
            columns = {name: _spread(values, at, count) for name, values in columns.items()}
            time = time[0] + (np.arange(count) * step).astype("timedelta64[s]")
    return _Table(columns, time, (*notes, *lasting(path, count, step)), place)


def _spread(values, at, count):
    whole = np.full(count, np.nan)
    whole[at] = values
    return whole


def _read(path):
    reader = _READERS.get(path.suffix.lower())
    if reader is None:
        raise InputError(path, "series.file", f"the ending {path.suffix!r}", ", ".join(_READERS))
    try:
        table = reader(path)
        table.column_names  # noqa: B018, fails where they are no text
        return table
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise InputError(path, None, f"a file that cannot be read ({str(error).splitlines()[0]})",
                         "CSV with a head, or Parquet") from None


def _numbers(path, table, heading, low, high, unit, to_si):
    accepted = f"numbers from {low:g} to {high:g} {unit}, or nothing where it is not known"
    column = table[heading]
    if not (pa.types.is_floating(column.type) or pa.types.is_integer(column.type) or pa.types.is_null(column.type)):
        raise InputError(path, heading, f"a column of {column.type}", accepted)
    values = column.cast(pa.float64()).to_numpy(zero_copy_only=False).astype(float) * to_si[0] + to_si[1]
    return _in_range(path, heading, values, low, high, unit)


def _in_range(path, heading, values, low, high, unit):
    wrong = np.flatnonzero(~((values >= low) & (values <= high)) & ~np.isnan(values))
    if len(wrong):
        raise InputError(path, heading, f"{values[wrong[0]]:g} in row {wrong[0] + 1} below the head",
                         f"numbers from {low:g} to {high:g} {unit}, or nothing where it is not known")
    return values
