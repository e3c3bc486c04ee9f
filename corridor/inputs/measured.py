"""Tensions measured on a wire that hangs, section by section."""

import math
from typing import NamedTuple

import numpy as np

from corridor.csv_rows import read_given
from corridor.errors import InputError, nearest
from corridor.geometry.catenary import greatest_sag
from corridor.line.facts import Measured

__all__ = ["SagRow", "check_measured", "constant_of_sag", "read_measured", "read_sags"]

#: Columns, with the bounds beyond which a number is a slip of its unit; None for text.
COLUMNS = {"section": None, "line": None, "temperature": (-60.0, 300.0), "horizontal_tension": (100.0, 1e6),
           "sag": (0.01, 500.0), "span_length": (5.0, 5000.0), "rise": (-3000.0, 3000.0), "swing": (-60.0, 60.0),
           "condition": None}
#: What columns measure that are no lengths.
_KINDS = {"temperature": "temperature", "horizontal_tension": "force", "swing": "angle"}


def read_measured(path, units=None):
    """Read measured tensions.

    Parameters
    ----------
    path : path
        A CSV file with a row of names: `section`, `temperature` [°C], and `horizontal_tension` [N], or `sag` [m]
        with `span_length` [m] and, where its ends differ in height, `rise` [m]; `swing` [deg] of the wire's plane then,
        where wind blew; `line` where lines share a name of a section; `condition` "final", which is the default, or
        "initial" for a new wire that was measured when it had been strung.
    units : mapping or None
        Units of numbers without one, by column; None where they are as above.

    Returns
    -------
    tuple of Measured
        Of a sag the catenary constant: the tension needs the wire's weight besides.

    Raises
    ------
    InputError
        A column, cell or section that cannot be used, or one section twice.
    """
    found = {}
    for row in read_given(path, COLUMNS, ("section", "temperature"), units, "a row for each section that was measured"):
        made = _measured(row)
        key = made.line, made.section
        if key in found:
            raise row.error("section", "each section once")
        found[key] = made
    return tuple(found.values())


class SagRow(NamedTuple):
    """A sag measured on the day of stringing: of a `wire` in a `span`, clipped in, bare; `line` "" where only one has
    such a span; `temperature` of the wire [°C], `sag` [m], and the `line_number` of the row in its file."""

    line: str
    span: str
    wire: str
    temperature: float
    sag: float
    line_number: int


def read_sags(path):
    """Read sags measured on the day of stringing.

    Parameters
    ----------
    path : path
        A CSV file with a row of names: `span`, `wire`, `temperature` [°C], `sag` [m], and `line` where lines share
        a name of a span.

    Returns
    -------
    list of SagRow

    Raises
    ------
    InputError
        A column or cell that cannot be used, or one wire in a span twice.
    """
    found = {}
    for row in read_given(path, ("line", "span", "wire", "temperature", "sag"), ("span", "wire", "temperature", "sag"),
                          None, "a row for each sag that was measured"):
        numbers = {name: row.number(name, _KINDS.get(name, "length"), low=COLUMNS[name][0], high=COLUMNS[name][1])
                   for name in ("temperature", "sag")}
        key = row["line"], row["span"], row["wire"]
        if key in found or not row["span"] or not row["wire"]:
            raise row.error("span", "the name of a span and of a wire, each pair once")
        found[key] = SagRow(*key, **numbers, line_number=row.line)
    return list(found.values())


def check_measured(measured, structures, path):
    """Refuse a measurement of a section that the line does not have.

    Parameters
    ----------
    measured : tuple of Measured
    structures : Structures
    path : path
        Of the measurements, for the error.
    """
    new = np.r_[True, structures.line[1:] != structures.line[:-1]]
    ends = np.flatnonzero(new | np.r_[new[1:], True] | (structures.role != "suspension"))
    pairs = [(a, b) for a, b in zip(ends[:-1], ends[1:], strict=True) if not new[b]]
    name, line = structures.structure, structures.line
    known = {(line[a], f"{name[a]}-{name[b]}") for a, b in pairs}
    names = sorted({section for _, section in known})
    for row in measured:
        if row.line and (row.line, row.section) not in known or row.section not in names:
            close = nearest(row.section, names)
            raise InputError(path, "section", f"{row.section!r}" + f" of line {row.line!r}" * bool(row.line),
                             ", ".join(names[:8]) + ", ..." * (len(names) > 8), close and repr(close))


def _measured(row):
    if not row["section"]:
        raise row.error("section", "the name of a section, <from>-<to>")
    values = {name: row.number(name, _KINDS.get(name, "length"), low=bounds[0], high=bounds[1],
                               empty=None if name == "temperature" else math.nan)
              for name, bounds in COLUMNS.items() if bounds}
    H, sag, S = (values[name] for name in ("horizontal_tension", "sag", "span_length"))
    if math.isnan(H) == math.isnan(sag) or math.isnan(sag) != math.isnan(S):
        raise row.error(None, "horizontal_tension, or sag with span_length",
                        found="neither or both, or a sag without its span")
    rise = 0.0 if math.isnan(values["rise"]) else values["rise"]
    constant = math.nan if math.isnan(sag) else constant_of_sag(S, rise, sag)
    if not math.isnan(sag) and math.isnan(constant):
        raise row.error("sag", "the sag of a hanging wire", found=f"{sag:g} m in a span of {S:g} m")
    initial = bool(row["condition"]) and row.choice("condition", ("initial", "final")) == "initial"
    slant = 0.0 if math.isnan(values["swing"]) else math.tan(math.radians(values["swing"]))
    return Measured(row["line"], row["section"], values["temperature"], H, constant, slant, initial)


def constant_of_sag(span, rise, sag):
    """Return the catenary constant [m] of a sag [m], by root finding; nan where no wire hangs so."""
    def off(constant):
        return float(greatest_sag(span, rise, constant)) - sag

    low, high = span / 4, span * 1e4
    if off(low) < 0 or off(high) > 0:
        return math.nan
    # Only a study with measured curves needs it, and it takes a quarter of a second to load.
    from scipy.optimize import brentq

    return brentq(off, low, high, xtol=1e-9)
