"""What a line carries when its worst spans are remedied, one after the other: the price of each bad span."""

from typing import NamedTuple

import numpy as np

from corridor.arrays import join
from corridor.rating.limits import CLEARANCE, ICE, MAXIMUM, NO_TEMPERATURE, UNKNOWN

__all__ = ["Ceiling", "Limits", "ceilings", "ladder_rows"]

#: What is told of a mix whose currents are not known.
_NO_CURRENT = "each span with the wire that hangs there: without currents none is the limit of the line"


class Ceiling(NamedTuple):
    """What an option carries where there is no violation: its maximum temperature [°C], and the current there [A]; the
    same in an emergency, nan where it has no such temperature."""

    temperature: float
    current: float
    emergency_temperature: float = np.nan
    emergency_current: float = np.nan


class Limits:
    """Rows of the layer `limits` as they come, batch by batch, kept for the ladder."""

    def __init__(self):
        self._batches = []

    def add(self, layer, columns):
        """Keep a batch of rows, if they are limits."""
        if layer == "limits":
            self._batches.append(columns)

    @property
    def columns(self):
        """All rows so far, as columns."""
        return join(self._batches)


def ceilings(ratings, spans):
    """Return what each option carries on each line where there is no violation, (line, option) to Ceiling.

    Parameters
    ----------
    ratings : Ratings
    spans : Spans
        Of all lines; the current of a line is the least over its bearings.
    """
    found = {}
    for line in dict.fromkeys(spans.line):
        azimuth = np.unique(np.round(spans.azimuth[spans.line == line], 3))
        for index, option in enumerate(ratings.options):
            emergency = option.wiring.emergency_temperature
            T = option.wiring.maximum_temperature, np.nan if emergency is None else emergency
            current, hurried = (float(np.min(ratings.current_at(index, np.full(azimuth.shape, each), azimuth)))
                                for each in T)
            found[line, option.name] = Ceiling(T[0], current, T[1], hurried)
    return found


def ladder_rows(limits, ceilings):
    """Return the rows of the layer `ladder`, as columns.

    A line carries what its worst span allows. With `n` of its spans remedied it carries what the next one allows,
    and in the end what its maximum temperature does. Spans not assessed may be the worst of all, so they come first,
    and the limit is unknown (nan) until they are remedied: what the others allow is then at most so much. Last come
    those that carry the maximum temperature and are in violation at the emergency one: the current stays, the note
    tells. Beside each continuous limit stands that of an emergency, by the cases at the emergency temperature: the
    least of the spans that are not remedied yet, nan where one of them is not known or the study looks at no such case.

    Parameters
    ----------
    limits : dict of ndarray
        Columns of the layer `limits`: line, span, option, limit_temperature_c, limit_current_a, governs, and
        emergency_limit_temperature_c, emergency_limit_current_a, emergency_governs.
    ceilings : dict
        (line, option) to Ceiling. Where its current is nan (no weather is given) spans are ordered by temperature;
        where its temperature is nan, too (a mix), they are named, and no limit of the line is known.

    Returns
    -------
    dict of ndarray
    """
    keys = list(zip(limits["line"], limits["option"], strict=True))
    groups = {}
    for row, key in enumerate(keys):
        groups.setdefault(key, []).append(row)
    parts = [_steps(*key, {name: column[rows] for name, column in limits.items()}, ceilings[key])
             for key, rows in groups.items()]
    return join(parts) if parts else {}


def _steps(line, option, limits, ceiling):
    """Steps of one line and option."""
    span, current, temperature = (limits[name] for name in ("span", "limit_current_a", "limit_temperature_c"))
    by, top = (temperature, ceiling.temperature) if np.isnan(ceiling.current) else (current, ceiling.current)
    none = limits["governs"] == NO_TEMPERATURE
    # A number that is not known never counts as one that suffices.
    unknown = (limits["governs"] == UNKNOWN) | (np.isnan(by) & ~none)
    worth = np.where(unknown, -np.inf, np.where(none, -1e9, by))
    order = np.argsort(worth, kind="stable")
    # A span within a thousandth of what the whole line carries in the end gains nothing.
    less = worth < top - 1e-3 if np.isfinite(top) else ~np.isin(limits["governs"].astype(str), (MAXIMUM, ICE[MAXIMUM]))
    order = order[less[order]]
    lost, late = unknown[order], _short_in_need(limits, order)
    ends, fixes = np.full(len(late) + 1, 1.0), np.concatenate([order, late])
    notes = _notes(limits, order, lost, by, top, "°C" if np.isnan(ceiling.current) else "A")
    fixed, count, nothing = span[fixes], len(order) + len(late) + 1, lost | np.isnan(top)
    return {
        "line": np.full(count, line, object), "option": np.full(count, option, object),
        "spans_fixed": np.arange(count), "fixed_span": np.append(None, fixed).astype(object),
        "limiting_span": np.append(fixed, None).astype(object),
        "limit_temperature_c": np.append(np.where(nothing, np.nan, temperature[order]), ends * ceiling.temperature),
        "limit_current_a": np.append(np.where(nothing, np.nan, current[order]), ends * ceiling.current),
        **_in_need(limits, fixes, ceiling),
        "note": np.concatenate([notes[:-1], _notes_in_need(limits, late), notes[-1:]]),
    }


def _in_need(limits, fixes, ceiling):
    """Limits of an emergency at each step, and the span that sets them, as columns; `fixes` rows in the order in which
    they are remedied."""
    governs = limits["emergency_governs"]
    # Where no case is at the emergency temperature nothing tells what it allows.
    T, current = (ceiling.emergency_temperature, ceiling.emergency_current) if np.any(governs != None) else (  # noqa: E711
        np.nan, np.nan)
    none, spans = governs == NO_TEMPERATURE, limits["span"]
    unknown = (governs == UNKNOWN) | (np.isnan(limits["emergency_limit_temperature_c"]) & ~none)
    by = np.where(unknown, -np.inf, np.where(none, -1e9, limits["emergency_limit_temperature_c"]))
    columns = {name: np.full(len(fixes) + 1, nothing, object if nothing is None else float) for name, nothing in (
        ("emergency_limit_temperature_c", np.nan), ("emergency_limit_current_a", np.nan),
        ("emergency_limiting_span", None))}
    left = np.ones(len(by), bool)
    for step in range(len(fixes) + 1 if np.isfinite(T) else 0):
        left[fixes[:step]] = False
        row = np.flatnonzero(left)[np.argmin(by[left])] if left.any() else None
        if row is None or by[row] >= T - 1e-9:
            found = T, current, None
        elif unknown[row] or none[row]:
            found = np.nan, 0.0 if none[row] else np.nan, spans[row]
        else:
            found = by[row], np.min(limits["emergency_limit_current_a"][left]), spans[row]
        for column, value in zip(columns.values(), found, strict=True):
            column[step] = value
    return columns


def _short_in_need(limits, order):
    """Rows of the spans with violations, or are not known, at the emergency temperature alone, the worst first."""
    short = np.isin(limits["emergency_governs"].astype(str), (CLEARANCE, NO_TEMPERATURE, UNKNOWN))
    short[order] = False
    late = np.flatnonzero(short)
    return late[np.argsort(np.nan_to_num(limits["emergency_limit_temperature_c"][late], nan=-np.inf), kind="stable")]


def _notes_in_need(limits, late):
    """Words for the steps of those."""
    words = {UNKNOWN: "not known at the emergency temperature", NO_TEMPERATURE: "short at any emergency temperature"}
    return np.array([words.get(governs, f"short at the emergency temperature, clear to {T:.0f} °C") for governs, T in
                     zip(limits["emergency_governs"][late], limits["emergency_limit_temperature_c"][late],
                         strict=True)], object)


def _notes(limits, order, lost, by, top, unit):
    """Words for each step, None where there is nothing to know."""
    notes = np.full(len(order) + 1, None, object)
    known = by[order][~lost]
    bound = known[0] if len(known) else top
    for step in np.flatnonzero(lost):
        bound_text = f"at most {bound:.0f} {unit}" if np.isfinite(bound) else "no temperature clears another"
        notes[step] = f"{_spans(lost.sum() - step)} not assessed; the others allow {bound_text}"
    if np.isnan(top):
        notes[:] = [f"{_spans(lost[step:].sum())} not assessed; " * bool(lost[step:].any()) + _NO_CURRENT
                    for step in range(len(notes))]
    iced = np.sum(limits["governs"] == ICE[MAXIMUM])
    if iced:
        words = f"under ice short, whatever the current: {_spans(iced)} more"
        notes[-1] = words if notes[-1] is None else f"{notes[-1]}; {words}"
    return notes


def _spans(count):
    return f"{count} span{'s' if count != 1 else ''}"
