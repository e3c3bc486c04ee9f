"""Text for a terminal: ratings adjusted to the air, a year by the hour, faults, and the time that is left."""

import numpy as np

from corridor.outputs.tables import aligned, number

__all__ = ["ADJUSTED", "HOLDING", "adjusted_tables", "adjusted_text", "creep_text", "fault_text", "holding_tables",
           "holding_text", "margin_text", "now_text", "strength_text"]

#: Spans that are told of each option.
_TOLD = 10
#: Heads of the spans that hold a line back.
HOLDING = "span", "clears to °C", "limiting h", "short h", "short at required h", "minimum margin m"
#: What stands over ratings adjusted to the air.
ADJUSTED = "Current per phase [A]: * a span limits, < at most so much (clearance not assessed)"


def adjusted_text(columns):
    """Return lines of ratings adjusted to the air: for each option, season and half of the day the air down, durations
    across, in A per phase; a `*` where a span limits, "at most" where clearance was not assessed.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.adjusted.adjusted_rows`.
    """
    lines = [ADJUSTED, ""]
    for title, head, rows, reasons in adjusted_tables(columns):
        lines += [title, "", *aligned(head, rows), "", *(f"  {why}" for why in reasons), ""]
    return lines


def adjusted_tables(columns):
    """Yield title, head, rows and reasons, all words, for each line, option, season and half of the day."""
    names = ("line", "option", "season", "sun")
    keys = list(zip(*(columns[name] for name in names), strict=True))
    for key in dict.fromkeys(keys):
        rows = np.array([each == key for each in keys])
        durations = list(dict.fromkeys(columns["duration"][rows]))
        air = columns["ambient_c"][rows & (columns["duration"] == durations[0])]
        across = [[_cell(columns, row) for row in np.flatnonzero(rows & (columns["duration"] == each))]
                  for each in durations]
        first = int(np.flatnonzero(rows)[0])
        hours = f"{number(columns['from_hour'][first], '.1f')} to {number(columns['to_hour'][first], '.1f')} h"
        reasons = dict.fromkeys(columns["reason"][np.flatnonzero(rows & (columns["duration"] == each))[0]]
                                for each in durations)
        yield (f"{key[0]}, {key[1]}, {key[2]}, {key[3]} ({hours})", ["air °C", *durations],
               [[f"{T:.1f}", *(column[i] for column in across)] for i, T in enumerate(air)], list(reasons))


def _cell(columns, row):
    wire, spans = columns["wire_current_a"][row], columns["assessed_spans_current_a"][row]
    least = np.fmin(wire, spans)
    if columns["spans_not_assessed"][row]:
        return f"< {number(least)}"
    return f"{number(columns['current_a'][row])}{' *' if columns['limited_by'][row] == 'span' else ''}"


def holding_text(columns):
    """Return lines of the spans that hold each option back in most hours, the ten worst first; where a span was not
    assessed, that is said.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.year.year_span_rows`.
    """
    lines = ["Spans that hold the line back", ""]
    for option, rows, lost in holding_tables(columns):
        lines.append(option)
        told = aligned([f"  {HOLDING[0]}", *HOLDING[1:]], [[f"  {span}", *rest] for span, *rest in rows])
        lines += told if rows else ["  none of those assessed"]
        lines += [f"  not assessed, and perhaps worse: {', '.join(lost)}"] * bool(len(lost)) + [""]
    return lines


def holding_tables(columns):
    """Yield option, rows of words under `HOLDING`, and the spans that were not assessed."""
    names = "hours_limiting", "hours_short", "hours_short_at_required"
    for option in dict.fromkeys(columns["option"]):
        rows = np.flatnonzero(columns["option"] == option)
        limiting, short, required = (np.nan_to_num(columns[name][rows], nan=-1.0) for name in names)
        order = rows[np.lexsort([-short, -required, -limiting])]
        order = [row for row in order if np.nansum([columns[name][row] for name in names]) > 0][:_TOLD]
        yield (option, [[columns["span"][row], number(columns["clearing_temperature_c"][row], ".1f"),
                         *(number(columns[name][row]) for name in names),
                         number(columns["minimum_margin_m"][row], ".2f")]
                        for row in order], columns["span"][rows[np.isnan(columns["hours_short"][rows])]])


def now_text(result):
    """Return lines of the time until the first span is short, the ten shortest of each option.

    Parameters
    ----------
    result : NowResult
    """
    spans, lines = result.spans, [f"From {result.before:g} A to {result.current:g} A per phase, now", ""]
    for option in dict.fromkeys(spans["option"]):
        rows = np.flatnonzero(spans["option"] == option)
        stay = rows[spans["state"][rows] == "stays clear"]
        told = [row for row in rows if row not in set(stay)][:_TOLD]
        lines.append(option)
        lines += aligned(["  span", "now °C", "in the end", "clears to", "minutes left", "state"],
                         [[f"  {spans['span'][row]}", *(number(spans[name][row], ".1f") for name in (
                             "temperature_now_c", "steady_temperature_c", "clearing_temperature_c")),
                           number(spans["time_left_s"][row] / 60, ".1f"), spans["state"][row]] for row in told])
        lines += [f"  {len(stay)} spans stay clear", ""]
    return lines


def fault_text(columns):
    """Return lines of what a short circuit does to the wires.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.withstand.fault_rows`.
    """
    head = ("wire", "kA", "s", "from °C", "to °C", "may take", "permitted kA", "withstands")
    rows = [[f"{option or 'shield wire'}", f"{current / 1000:.1f}", f"{t:g}", f"{start:.0f}",
             f"{end:.0f}" if end < 660 else "melts", f"{top:.0f}", f"{may / 1000:.1f}", "yes" if holds else "no"]
            for option, current, t, start, end, top, may, holds in zip(
                *(columns[name] for name in ("option", "fault_current_a", "duration_s", "start_temperature_c",
                                             "end_temperature_c", "permitted_temperature_c", "permitted_current_a",
                                             "withstands")), strict=True)]
    return ["Short circuit, no heat leaves the wire", "", *aligned(head, rows), ""]


def strength_text(columns):
    """Return lines that say what is left of the strength of the aluminium, and by what law; "-" where none is known.

    Parameters
    ----------
    columns : dict of ndarray
        The table `series` of `corridor.jobs.rating`.
    """
    names = ("strength_left_percent", "strength_left_after_years_percent")
    rows = [[option, *(number(value, ".1f") for value in values), law] for option, law, *values in
            zip(columns["option"], columns["strength_law"], *(columns[name] for name in names), strict=True)]
    head = ("option", "after a year", "after all years", "law")
    return ["Strength left of the aluminium [%]", "", *aligned(head, rows), ""]


def margin_text(columns, step):
    """Return lines of the minimum margin of the hours, by option: how low, where and when; hours below nought, and
    hours in which a span has none.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.year.hour_rows`.
    step : float
        How long a row lasts [h].
    """
    rows = []
    for option in dict.fromkeys(columns["option"]):
        here = np.flatnonzero(columns["option"] == option)
        margin = columns["assessed_margin_m"][here]
        least = here[np.nanargmin(margin)] if np.isfinite(margin).any() else None
        rows.append([option, *(["-"] * 4 if least is None else [
            f"{columns['assessed_margin_m'][least]:.2f}", columns["margin_span"][least],
            str(columns["time"][least] or f"hour {columns['hour'][least]:g}"), number(np.sum(margin < 0) * step)]),
            number(np.sum(columns["spans_without_margin"][here] > 0) * step)])
    head = ("option", "minimum m", "span", "when", "negative h", "not known of a span h")
    return ["Minimum margin of the assessed spans through the hours", "", *aligned(head, rows), ""]


def creep_text(columns):
    """Return lines of what hot hours of all years add to the creep of each option, and of the span that sinks most.

    Parameters
    ----------
    columns : dict of ndarray
        Of `corridor.rating.hot_creep.hot_creep_rows`.
    """
    rows = []
    for option in dict.fromkeys(columns["option"]):
        here = np.flatnonzero(columns["option"] == option)
        sag = columns["sag_added_maximum_m"][here]
        worst = here[np.nanargmax(sag)] if np.isfinite(sag).any() else here[0]
        rows.append([option, number(columns["hot_hours"][worst]), number(columns["creep_added_percent"][worst], ".4f"),
                     columns["span"][worst] if np.isfinite(sag).any() else "-",
                     number(columns["sag_added_maximum_m"][worst], ".2f"),
                     number(columns["sag_added_everyday_m"][worst], ".2f"), columns["creep_law"][worst]])
    head = ("option", "hot h", "creep added %", "span", "lower when hot m", "everyday m", "law")
    return ["Creep that hot hours of all years add, and the span that sinks most", "", *aligned(head, rows), ""]
