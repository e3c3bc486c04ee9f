"""Rule tables: what their columns mean, the built-in ones, and those of a user.

A table holds facts, read or recalled, not the code itself: each row of a built-in table names its
edition and its confidence, and is to be verified against the edition that is in force.
"""

import math
from dataclasses import dataclass, fields
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

import numpy as np

from corridor.csv_rows import read_cells, read_given
from corridor.errors import InputError, nearest
from corridor.units import QuantityError, quantity

__all__ = [
    "COLUMNS",
    "FALLBACK",
    "FOLDER",
    "MEASURES",
    "SHAPES",
    "TABLES",
    "Column",
    "Rules",
    "combine",
    "file_markdown",
    "known_categories",
    "load_rules",
    "load_table",
    "require_cases",
    "table_markdown",
]

#: Built-in tables by name.
TABLES = {
    "european-electrical-distance": "european_electrical_distance.csv",
    "us-rural-utility": "us_rural_utility.csv",
    "us-safety-code": "us_safety_code.csv",
    "california-1941": "california_1941.csv",
    "vegetation-flashover": "vegetation_flashover.csv",
    "new-south-wales-policy": "new_south_wales_policy.csv",
    "new-south-wales-statutory": "new_south_wales_statutory.csv",
    "australian-capital-territory": "australian_capital_territory.csv",
    "new-zealand-buildings": "new_zealand_buildings.csv",
    "india": "india.csv",
}
#: Where the tables of the package lie.
FOLDER = Path(__file__).with_name("rule_tables")
#: A row against this category is for every obstacle whose category has no row of its own in that
#: measure. No built-in table has one: a user who wants it says so.
FALLBACK = "other"
#: What a rule measures.
MEASURES = ("vertical", "horizontal", "radial")


class Column(NamedTuple):
    """What a column holds: kind of cell, value of an empty cell (None: must be filled), meaning."""

    kind: str | tuple
    default: object
    meaning: str


_TEXT, _LENGTH, _KV, _SHARE = "text", "length", "kV", "share"

#: The shapes of `corridor.clearance.shapes`, and the measure of the rows that may have them.
SHAPES = {"strip_above": "vertical", "strip_beside": "horizontal", "corner": "horizontal", "circle": "radial"}

#: The columns of a rule table, in the order of `Rules`.
COLUMNS = {
    "rule": Column(_TEXT, None, "name of the rule, as it stands in the findings"),
    "against": Column(_TEXT, None, "ground, right_of_way or the category of an obstacle; "
                                   "other: every category without a row of its own"),
    "measure": Column(MEASURES, None, "the distance that is measured"),
    "shape": Column(("", *SHAPES), "", "the room to keep free; empty: strip_above, strip_beside or circle, by the "
                    "measure. corner: the corner between what horizontal and vertical row keep free is rounded"),
    "base": Column(_LENGTH, None, "clearance before anything is added [m]"),
    "per_kv": Column(_LENGTH, 0.0, "voltage adder per kilovolt above above_kv [m/kV]"),
    "above_kv": Column(_KV, 0.0, "voltage above which the adder counts [kV]"),
    "other_per_kv": Column(_LENGTH, 0.0, "the same for the voltage of the other line [m/kV]"),
    "other_above_kv": Column(_KV, 0.0, "voltage above which that counts [kV]"),
    "voltage_basis": Column(("line to line", "line to ground"), "line to line",
                            "what the kilovolts of the adders are"),
    "electrical_distance": Column(("", "D_el", "D_pp"), "", "a distance by highest system voltage "
                                  "that is part of the voltage adder"),
    "altitude_share": Column(_SHARE, 0.0, "share of the voltage adder that is added for every "
                             "altitude_step, in proportion [-]"),
    "altitude_above": Column(_LENGTH, 0.0, "altitude above which it is added [m]"),
    "altitude_step": Column(_LENGTH, 300.0, "altitude for which the share is added once [m]"),
    "max_altitude": Column(_LENGTH, math.inf, "altitude above which the row has no answer [m]"),
    "buffer": Column(_LENGTH, 0.0, "margin of the owner on top of the rule [m]"),
    "minimum": Column(_LENGTH, 0.0, "what base and adders are raised to where they are less [m]"),
    "min_kv": Column(_KV, 0.0, "the row is for highest voltages, line to line, above this [kV]"),
    "max_kv": Column(_KV, math.inf, "and up to and with this [kV]"),
    "bounds_of": Column(("own", "higher"), "own", "whose voltage min_kv and max_kv bound: our line's, or the higher of "
                        "our line's and the one that is crossed"),
    "swung": Column(("", "yes", "no"), "", "yes: wires displaced by wind only; no: at rest only"),
    "cases": Column("names", (), "cases that the row is for, with semicolons; empty: all"),
    "authority": Column(_TEXT, "", "who issued the rule"),
    "edition": Column(_TEXT, "", "which edition"),
    "clause": Column(_TEXT, "", "where it stands in it"),
    "confidence": Column(_TEXT, "", "how the number is known"),
    "note": Column(_TEXT, "", "what else to know"),
}


@dataclass(frozen=True)
class Rules:
    """Rows of rule tables as columns of shape (rule,); `COLUMNS` gives their meanings and units.

    `cases` holds a tuple of names per row, the other texts are str, the numbers float.
    """

    rule: np.ndarray
    against: np.ndarray
    measure: np.ndarray
    shape: np.ndarray
    base: np.ndarray
    per_kv: np.ndarray
    above_kv: np.ndarray
    other_per_kv: np.ndarray
    other_above_kv: np.ndarray
    voltage_basis: np.ndarray
    electrical_distance: np.ndarray
    altitude_share: np.ndarray
    altitude_above: np.ndarray
    altitude_step: np.ndarray
    max_altitude: np.ndarray
    buffer: np.ndarray
    minimum: np.ndarray
    min_kv: np.ndarray
    max_kv: np.ndarray
    bounds_of: np.ndarray
    swung: np.ndarray
    cases: np.ndarray
    authority: np.ndarray
    edition: np.ndarray
    clause: np.ndarray
    confidence: np.ndarray
    note: np.ndarray

    def __len__(self):
        return len(self.rule)


def load_table(name):
    """Return a built-in table.

    Raises
    ------
    InputError
        There is no table of that name.

    Examples
    --------
    >>> len(load_table("us-rural-utility")) > 10
    True
    """
    if name not in TABLES:
        raise InputError(None, "rules.table", repr(name), ", ".join(TABLES), nearest(name, TABLES))
    return load_rules(FOLDER / TABLES[name])


@cache
def known_categories():
    """Return the categories of obstacles that a built-in table has a row for."""
    against = {each for name in TABLES for each in load_table(name).against.tolist()}
    return frozenset(against - {"ground", "right_of_way"})


def load_rules(file, units=None):
    """Return the rules of a comma-separated file with a header row.

    Parameters
    ----------
    file : path
        UTF-8. Columns of `COLUMNS`, in any order; rule, against, measure and base are needed.
        Lengths are numbers in m or text with a unit ("18.5 ft"), voltages in kV or with a unit.
    units : mapping, optional
        Units of numbers without one, by column.

    Raises
    ------
    InputError
        Names the row by its line in the file, and the column: a file that cannot be read, an
        unknown or missing column, a bad cell, no row at all, or two rows that would answer for the
        same pair.
    """
    needed = [name for name, column in COLUMNS.items() if column.default is None]
    rows = read_given(file, COLUMNS, needed, units, "at least one rule")
    rules = _columns([_read_row(row) for row in rows])
    _refuse_rivals(rows, rules)
    return rules


def _read_row(row):
    values = {}
    for name, column in COLUMNS.items():
        try:
            values[name] = _read_cell(row, name, column)
        except ValueError as error:
            raise row.error(name, str(error)) from error
    if values["max_kv"] <= values["min_kv"]:
        raise row.error("max_kv", "more than min_kv")
    if values["altitude_step"] == 0:
        raise row.error("altitude_step", "more than 0 m")
    if values["shape"] and SHAPES[values["shape"]] != values["measure"]:
        fitting = ", ".join(shape for shape, measure in SHAPES.items() if measure == values["measure"])
        raise row.error("shape", f"for {values['measure']}: {fitting}")
    return values


def _read_cell(row, name, column):
    """Value of a cell; ValueError says what is accepted."""
    text, unit = row[name], row.units.get(name)
    if not text:
        if column.default is None:
            raise ValueError(column.meaning)
        return column.default
    if isinstance(column.kind, tuple):
        return row.choice(name, column.kind)
    return _READERS[column.kind](f"{text} {unit}" if unit is not None and text[-1] in "0123456789." else text)


def _length(text):
    accepted = "a length of 0 m or more, such as 5.6 or '18.5 ft'"
    return _positive(text.removesuffix("/kV"), "length", 1.0, accepted)


def _kilovolts(text):
    return _positive(text, "voltage", 1e-3, "a voltage of 0 kV or more, such as 22 or '22 kV'")


#: Maximum number of a rule, in metres, kV or shares: a slip beyond, and no sum of such is infinite.
_MOST = 1e6


def _positive(text, kind, factor, accepted):
    """A bare number as it stands, else a quantity times `factor`; neither negative nor beyond all measure."""
    try:
        value = float(text)
    except ValueError:
        try:
            value = quantity(text, kind) * factor
        except QuantityError as error:
            raise ValueError(accepted) from error
    if not 0 <= value <= _MOST:
        raise ValueError(accepted)
    return value


def _share(text):
    accepted = "a share between 0 and 1, such as 0.03"
    try:
        value = float(text)
    except ValueError as error:
        raise ValueError(accepted) from error
    if not 0 <= value <= 1:
        raise ValueError(accepted)
    return value


def _names(text):
    return tuple(name.strip() for name in text.split(";") if name.strip())


_READERS = {_TEXT: str, _LENGTH: _length, _KV: _kilovolts, _SHARE: _share, "names": _names}


def _columns(rows):
    def column(name):
        values = [row[name] for row in rows]
        kind = float if COLUMNS[name].kind in (_LENGTH, _KV, _SHARE) else object
        whole = np.empty(len(values), kind)
        whole[:] = values
        return whole

    return Rules(*(column(f.name) for f in fields(Rules)))


def _refuse_rivals(rows, rules):
    """Refuse two rows that answer for the same pair, measure, case and voltage."""
    for i, j in combinations(range(len(rules)), 2):
        same = rules.against[i] == rules.against[j] and rules.measure[i] == rules.measure[j]
        both = (rules.cases[i] == rules.cases[j]) or set(rules.cases[i]) & set(rules.cases[j])
        swung = "" in (rules.swung[i], rules.swung[j]) or rules.swung[i] == rules.swung[j]
        volts = max(rules.min_kv[i], rules.min_kv[j]) < min(rules.max_kv[i], rules.max_kv[j])
        if same and both and swung and volts:
            raise rows[j].error(None, "one rule for each pair, case and voltage",
                                found=f"a second rule for {rules.against[j]}, {rules.measure[j]} "
                                      f"(after row {rows[i].line})")


def combine(table, own):
    """Return a table in which own rows stand for all rows of the same (against, measure).

    Parameters
    ----------
    table, own : Rules or None
        An own row for some cases or voltages only also replaces the table's rows for all others:
        what is then left without a rule is not assessed.

    Returns
    -------
    Rules
    """
    if table is None or own is None:
        return own if table is None else table
    replaced = set(zip(own.against, own.measure, strict=True))
    keep = [pair not in replaced for pair in zip(table.against, table.measure, strict=True)]
    names = [f.name for f in fields(Rules)]
    return Rules(*(np.concatenate([getattr(table, n)[keep], getattr(own, n)]) for n in names))


def require_cases(rules, known, file):
    """Raise InputError where a rule is for a case that the study does not have, so never used."""
    for rule, cases in zip(rules.rule, rules.cases, strict=True):
        for case in cases:
            if case not in known:
                raise InputError(file, f"{rule}: cases", repr(case), ", ".join(known),
                                 nearest(case, known))


def table_markdown(rules):
    """Return the numbers and the sources of rules as a Markdown table, for the documentation."""
    names = ("rule", "against", "measure", "swung", "min_kv", "max_kv", "base", "per_kv",
             "above_kv", "electrical_distance", "minimum", "buffer", "clause", "confidence", "note")
    # What few tables use is left out of the others.
    some = {"shape": "base", "bounds_of": "base", "max_altitude": "buffer"}
    for name, after in some.items():
        if any(_cell(name, value) for value in getattr(rules, name)):
            names = (*names[:names.index(after)], name, *names[names.index(after):])
    lines = ["| " + " | ".join(names) + " |", "|" + " --- |" * len(names)]
    for cells in zip(*(getattr(rules, n) for n in names), strict=True):
        lines.append("| " + " | ".join(map(_cell, names, cells)) + " |")
    return "\n".join(lines) + "\n"


def file_markdown(file):
    """Return a comma-separated file as a Markdown table, for the documentation."""
    head, *rows = (cells for _, cells in read_cells(file))
    lines = ["| " + " | ".join(row) + " |" for row in (head, *rows)]
    return "\n".join([lines[0], "|" + " --- |" * len(head), *lines[1:]]) + "\n"


def _cell(name, value):
    """Text of a cell; numbers that are left out of the file are left out here too."""
    if isinstance(value, str):
        return "" if value == "own" else value
    return "" if name != "base" and value in (0, math.inf) else f"{value:.6g}"
