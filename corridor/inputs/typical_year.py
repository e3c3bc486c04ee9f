"""Read a typical year of weather as meteorological services give it: EPW, and TMY3 as CSV."""

from typing import NamedTuple

import numpy as np
import pyarrow as pa
from pyarrow import csv

from corridor.errors import InputError

__all__ = ["TypicalYear", "is_typical_year", "read_typical_year"]

#: Columns of each kind, and the number that stands for a value that is not known. EPW has no head: places from 0.
_EPW = {"ambient": (6, 99.9), "wind_direction": (20, 999.0), "wind_speed": (21, 999.0), "direct": (14, 9999.0),
        "diffuse": (15, 9999.0)}
_TMY3 = {"ambient": ("Dry-bulb (C)", -9900.0), "wind_direction": ("Wdir (degrees)", -9900.0),
         "wind_speed": ("Wspd (m/s)", -9900.0), "direct": ("DNI (W/m^2)", -9900.0), "diffuse": ("DHI (W/m^2)", -9900.0)}
_TMY3_HEAD = "Date (MM/DD/YYYY),Time (HH:MM)"


class TypicalYear(NamedTuple):
    """Hours of a typical year: `columns` by name (hour,), `time` datetime64[s] at which each begins in a year without a
    leap day, by the standard time of the place; `longitude` and `latitude` [deg]."""

    columns: dict
    time: np.ndarray
    longitude: float
    latitude: float


def is_typical_year(path):
    """Return whether a file is an EPW or TMY3 one; one that cannot be read is none."""
    if path.suffix.lower() == ".epw":
        return True
    if path.suffix.lower() != ".csv":
        return False
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            file.readline(10_000)
            return file.readline(10_000).startswith(_TMY3_HEAD)
    except OSError:
        return False


def read_typical_year(path):
    """Return a TypicalYear; the sun is direct and diffuse light together: on a wire across the rays, at most.

    Raises
    ------
    InputError
        It cannot be read, or a date, hour or place in it cannot be.
    """
    epw = path.suffix.lower() == ".epw"
    try:
        with path.open(encoding="utf-8", errors="replace") as file:
            head = file.readline(10_000).rstrip().split(",")
        table = csv.read_csv(path, csv.ReadOptions(skip_rows=8, autogenerate_column_names=True) if epw
                             else csv.ReadOptions(skip_rows=1))
        table.column_names  # noqa: B018, fails where they are no text
    except (pa.ArrowException, OSError, UnicodeDecodeError) as error:
        raise InputError(path, None, f"a file that cannot be read ({str(error).splitlines()[0]})",
                         "a typical year (EPW or TMY3)") from None
    names = {key: f"f{at}" if epw else at for key, (at, _) in (_EPW if epw else _TMY3).items()}
    needed = [*names.values(), *(("f1", "f2", "f3") if epw else _TMY3_HEAD.split(","))]
    for name in needed:
        if name not in table.column_names:
            raise InputError(path, "columns", f"no column {name!r}", "the columns of EPW or TMY3")
    found = {key: _column(path, table, name, (_EPW if epw else _TMY3)[key][1]) for key, name in names.items()}
    found["solar"] = found.pop("direct") + found.pop("diffuse")
    month, day, hour = _epw_clock(path, table) if epw else _tmy3_clock(path, table)
    latitude, longitude = (_place(path, head, at) for at in ((6, 7) if epw else (4, 5)))
    return TypicalYear(found, _times(path, month, day, hour), longitude, latitude)


def _column(path, table, name, missing):
    kind = table[name].type
    if not (pa.types.is_floating(kind) or pa.types.is_integer(kind)):
        raise InputError(path, name, f"a column of {kind}", "numbers")
    values = table[name].cast(pa.float64()).to_numpy().astype(float)
    return np.where(values == missing, np.nan, values)


def _epw_clock(path, table):
    return tuple(_column(path, table, name, np.nan) for name in ("f1", "f2", "f3"))


def _tmy3_clock(path, table):
    """Month, day and hour, written 01/31/1988 and 13:00."""
    try:
        date, time = (table[name].cast(pa.string()).to_pylist() for name in _TMY3_HEAD.split(","))
        rows = [(int(d[:2]), int(d[3:5]), int(t[:2])) for d, t in zip(date, time, strict=True)]
    except (ValueError, TypeError, pa.ArrowException):
        raise InputError(path, _TMY3_HEAD, "a date or a time that cannot be read", "01/31/1988 and 13:00") from None
    return tuple(np.array(rows, float).reshape(-1, 3).T)


def _times(path, month, day, hour):
    """When each hour begins: hours are numbered 1 to 24 by their ends, months may be of any years."""
    if not np.all((month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (hour >= 1) & (hour <= 24)):
        raise InputError(path, "date", "a month, day or hour that is none", "months 1 to 12, days, hours 1 to 24")
    year = 2000 if np.any((month == 2) & (day == 29)) else 2001
    first = np.array([f"{year}-{m:02.0f}" for m in month], "datetime64[M]")
    days = first.astype("datetime64[D]") + (day - 1).astype("timedelta64[D]")
    return days.astype("datetime64[s]") + ((hour - 1) * 3600).astype("timedelta64[s]")


def _place(path, head, at):
    try:
        return float(head[at])
    except (ValueError, IndexError):
        raise InputError(path, "first row", f"no place in it ({','.join(head)[:60]})",
                         "a first row with latitude and longitude") from None
