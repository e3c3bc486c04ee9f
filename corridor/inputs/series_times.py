"""The times of a series: whether its rows follow each other as they should, and what to know where they do not."""

import numpy as np
import pyarrow as pa

from corridor.errors import InputError

__all__ = ["YEAR", "lasting", "places", "repeated", "stamps"]

#: Hours of a year without a leap day; a gap longer than one with it is a slip.
YEAR, _LONGEST = 8760, 8784
_ACCEPTED = "dates with times that rise by the step, by one clock all the year, such as 2025-01-31 13:00"


def stamps(path, table, heading, given):
    """Return the times of a table, datetime64[s], and notes; None where it has none.

    Parameters
    ----------
    path : Path
    table : pyarrow.Table
    heading : str
        Of the column of times; where none has it and the study does not name it (`given`), the one column of dates or
        times is taken.

    Raises
    ------
    InputError
        The column is not there, or holds no dates with times.
    """
    if heading not in table.column_names:
        if given:
            raise InputError(path, "columns", f"no column {heading!r}", ", ".join(table.column_names))
        of_time = [name for name, kind in zip(table.column_names, table.schema.types, strict=True)
                   if pa.types.is_temporal(kind)]
        if len(of_time) != 1:
            named = f" (columns of times: {', '.join(of_time)}; none is called {heading!r})" if of_time else ""
            return None, (f"{path.name} has no column of times{named}: rows are taken to follow each other",)
        heading = of_time[0]
    column = table[heading]
    kind = column.type
    if not (pa.types.is_timestamp(kind) or pa.types.is_date(kind)):
        words = "times of the day without dates" if pa.types.is_time(kind) else f"a column of {kind}"
        raise InputError(path, heading, words, _ACCEPTED)
    times = column.cast(pa.timestamp("s", getattr(kind, "tz", None)), safe=False).to_numpy().astype("datetime64[s]")
    return times, ()


def places(path, times, step):
    """Return in which step of the series each row lies, how many steps there are, and notes.

    Parameters
    ----------
    path : Path
    times : ndarray of datetime64[s], shape (row,)
    step : float
        [s]

    Returns
    -------
    tuple
        Places (row,), their number, words. Steps that no row tells of are not known: they are not a pass.

    Raises
    ------
    InputError
        A time is not there, comes twice or before the one above it, or lies between two steps.
    """
    seconds = (times - times[0]).astype("timedelta64[s]").astype(float)
    seconds[np.isnat(times)] = np.nan
    apart = np.diff(seconds)
    found = np.flatnonzero(~((apart > 0) & (np.abs(apart / step - np.round(apart / step)) < 1e-6)
                             & (apart <= 3600 * _LONGEST)))
    if len(found):
        row = found[0] + 1
        words = "no time" if np.isnat(times[row]) else _text(times[row])
        why = ", as in the row above" if apart[row - 1] == 0 else f" after {_text(times[row - 1])}"
        raise InputError(path, "time", f"{words} in row {row + 1} below the head{why}",
                         f"{_ACCEPTED}; the step is {step / 3600:g} h")
    place = np.round(seconds / step).astype(int)
    count, holes = place[-1] + 1, np.flatnonzero(np.diff(place) > 1)
    if not len(holes):
        return place, count, ()
    if count > 10 * len(place) + _LONGEST:
        raise InputError(path, "time", f"{len(place)} rows in {count} steps", "rows of most steps, one after the other")
    lost, first = count - len(place), times[holes[0]] + np.timedelta64(int(step), "s")
    return place, count, (f"{path.name} skips {lost} steps in {len(holes)} "
                          f"place{'s' if len(holes) > 1 else ''}, first at {_text(first)}: they count as not known",)


def _text(time):
    return str(time.astype("datetime64[m]")).replace("T", " ")


def lasting(path, count, step):
    """Return a note where a series lasts no whole year."""
    hours = count * step / 3600
    if hours < YEAR:
        return (f"{path.name} lasts {hours:g} h, less than a year ({YEAR} h): hours are told of these alone",)
    return () if hours in (YEAR, _LONGEST) else (f"{path.name} lasts {hours:g} h, and no single year ({YEAR} h)",)


def repeated(path, columns, step):
    """Return a note where the same day or week comes again and again: somebody filled a series up.

    Parameters
    ----------
    path : Path
    columns : sequence of ndarray, shape (row,)
    step : float
        [s]
    """
    for name, length in (("day", 86_400), ("week", 7 * 86_400)):
        period = round(length / step)
        if period and len(columns[0]) >= 2 * period and all(
                np.array_equal(column[period:], column[:-period], equal_nan=True) for column in columns):
            return (f"{path.name} repeats one {name} {len(columns[0]) / period:g} times: nothing else is in it",)
    return ()
