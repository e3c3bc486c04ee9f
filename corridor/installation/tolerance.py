"""What the tolerance of sags on the day of stringing may take from margins."""

from dataclasses import replace

import numpy as np

from corridor.arrays import join
from corridor.assessment import OPTIONAL
from corridor.check import find
from corridor.line.uncertainty import Deviation, Uncertainty

__all__ = ["KEPT", "found_clearances", "margin_words", "rows_of", "tolerance_rows"]

#: Columns that a row keeps of the clearance with the least that is left.
KEPT = ("span", "against", "obstacle", "case", "margin_m")


def tolerance_rows(facts, plan, ground, watched, tolerance, *, progress=None):
    """Return the rows of `sag_tolerance`, as dicts: what is left of the margins of each section and option.

    Parameters
    ----------
    facts, plan, ground
        Of the study.
    watched : dict
        Line, section to a list of (span, share): sag of the ruling span over that of the watched span [-].
    tolerance : dict
        Option to tolerance of the sag in the watched span [m]; nan where none is known.
    progress : callable, optional

    Returns
    -------
    list of dict
        A margin changes with the sag as it does for a small error of it (`corridor.clearance.spread`), to the worse.

    Notes
    -----
    All margins of the check are looked at. What it could not assess has no margin here either, and is counted.
    """
    unit = max((value for value in tolerance.values() if np.isfinite(value)), default=0.0)
    if not unit:
        return [_unknown(line, section, option) for line, section in watched for option in tolerance]
    sure = Uncertainty({"stringing_sag": Deviation(unit, "section", "tolerance of sags", "m")})
    rows, lost = found_clearances(replace(facts, uncertainty=sure), plan, ground, progress)
    return [_row(rows, lost, key, option, spans, value, unit) for key, spans in watched.items()
            for option, value in tolerance.items()]


def found_clearances(facts, plan, ground, progress=None):
    """Return the clearances of a check, and how much it could not assess.

    Returns
    -------
    rows : dict of ndarray
        Columns of `clearances` that a row is made of.
    lost : dict
        Line, section and option to the number of rows of `not_assessed`.
    """
    kept, lost = [], {}
    names = dict(zip(zip(plan.spans.line, plan.spans.name, strict=True), plan.sections.name[plan.spans.section],
                     strict=True))
    for layer, columns in find(facts, plan, ground, progress=progress, needless=OPTIONAL - {"chances"}):
        if layer == "clearances":
            kept.append({name: columns.get(name, np.full(len(columns["line"]), np.nan))
                         for name in ("line", "section", "option", "margin_sd_m", *KEPT)})
        elif layer == "not_assessed":
            for line, span, option in zip(columns["line"], columns["span"], columns["option"], strict=True):
                for each in facts.options if option is None else (option,):
                    key = line, names.get((line, span)), getattr(each, "name", each)
                    lost[key] = lost.get(key, 0) + 1
    return (join(kept) if kept else {}), lost


def rows_of(rows, line, section, option):
    """Return the rows (index) of `found_clearances` of a section and option."""
    if not rows:
        return np.zeros(0, int)
    return np.flatnonzero((rows["line"] == line) & (rows["section"] == section) & (rows["option"] == option))


def margin_words(margin):
    """Return a margin [m] in words, never more than it is.

    >>> margin_words(0.129), margin_words(-0.121)
    ('0.12 m left', 'short by 0.12 m')
    """
    return f"short by {-margin:.2f} m" if margin < 0 else f"{np.floor(100 * margin) / 100:.2f} m left"


def _unknown(line, section, option):
    return {"line": line, "section": section, "option": option, "words": "no tolerance is given"}


def _row(rows, lost, key, option, spans, tolerance, unit):
    """The row of a section and option."""
    line, section = key
    if not np.isfinite(tolerance):
        return _unknown(line, section, option)
    control, share = max(spans, key=lambda each: each[1])
    base = {"line": line, "section": section, "option": option, "control_span": control, "tolerance_m": tolerance}
    own = rows_of(rows, line, section, option)
    left = rows["margin_m"][own] - rows["margin_sd_m"][own] * share * tolerance / unit if len(own) else np.zeros(0)
    missing = lost.get((line, section, option), 0) + int(np.isnan(left).sum())
    after = f"; {missing} more not assessed" * bool(missing)
    if not np.isfinite(left).any():
        return base | {"words": "nothing is assessed" + after}
    i = own[int(np.nanargmin(left))]
    least = float(np.nanmin(left))
    words = (f"{tolerance:.2f} m more or less sag in {control}: {rows['span'][i]}, {rows['against'][i]}, "
             f"{rows['case'][i]}: {margin_words(least)}")
    return base | {name: rows[name][i] for name in KEPT} | {"margin_with_tolerance_m": least, "words": words + after}
