"""Read an hourly series of current and weather, from CSV or Parquet."""

import numpy as np
import pyarrow as pa
from pyarrow import csv, parquet

from corridor.errors import InputError, nearest
from corridor.rating.series import Hours
from corridor.units import scale

__all__ = ["read_series"]

#: What each column may hold: least, greatest and unit.
RANGES = {"current": (0.0, 20_000.0, "A"), "ambient": (-80.0, 70.0, "degC"), "wind_speed": (0.0, 100.0, "m/s"),
          "wind_angle": (-360.0, 360.0, "deg"), "wind_direction": (-360.0, 360.0, "deg"),
          "solar": (0.0, 1500.0, "W/m2")}

#: What each column measures.
_KINDS = {"current": "current", "ambient": "temperature", "wind_speed": "speed", "wind_angle": "angle",
          "wind_direction": "angle", "solar": "irradiance"}

_READERS = {".csv": csv.read_csv, ".parquet": parquet.read_table, ".pq": parquet.read_table}


def read_series(section, resolve):
    """Return the hours of a study's series.

    Parameters
    ----------
    section : Series
        Of the study.
    resolve : callable
        Path as the study gives it to a path.

    Raises
    ------
    InputError
        No such kind of file, no currents, a column that the study names and the file lacks, both an angle and a
        direction of the wind, text among numbers, a number out of range.
    """
    path = resolve(section.file)
    table = _read(path)
    columns, given = section.columns, section.columns.model_fields_set
    found = {}
    for name in RANGES:
        heading = getattr(columns, name)
        if table.column_names.count(heading) > 1:
            raise InputError(path, "columns", f"{heading!r} twice", "each column once")
        if heading in table.column_names:
            found[name] = _numbers(path, table, heading, *RANGES[name],
                                   scale(getattr(section, f"{name}_unit", None), _KINDS[name]))
        elif name == "current" or name in given:
            raise InputError(path, "columns", f"no column {heading!r}", ", ".join(table.column_names),
                             nearest(heading, table.column_names))
    if "wind_angle" in found and "wind_direction" in found:
        raise InputError(path, "columns", "both wind_angle and wind_direction", "one of them")
    if not len(found["current"]):
        raise InputError(path, "rows", "none", "one row per step")
    return Hours(step=section.step, **found)


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
    wrong = np.flatnonzero(~((values >= low) & (values <= high)) & ~np.isnan(values))
    if len(wrong):
        raise InputError(path, heading, f"{values[wrong[0]]:g} in row {wrong[0] + 1} below the head", accepted)
    return values
