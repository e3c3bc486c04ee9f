"""Tables of many lines, a row per line and option, the amperes that cost least first."""

from collections.abc import Mapping, Sequence
from textwrap import wrap

import numpy as np

from corridor.outputs.guard import MARK
from corridor.outputs.tables import WIDTH, aligned
from corridor.outputs.tables_compare import plain

__all__ = ["HEADS", "SHORT_TODAY", "cells_of", "lines_markdown", "lines_text", "ranked"]

#: Columns of a comparison of lines, with their heads for people.
HEADS = {
    "rank": "", "line": "line", "option": "option", "length_km": "km", "existing_current_a": "A today",
    "limit_current_a": "A with it", "gained_current_a": "A gained", "limiting_span": "set by span", "limited_by": "by",
    "remedied_current_a": "A remedied", "violations": "violations", "not_assessed": "not assessed",
    "wire_cost": "cost of wire", "cost_per_ampere": "cost per A", "note": "note"}
#: What is to be known of a gain over nothing.
SHORT_TODAY = "the existing wire is short at any temperature: all current counts as gained"
#: How many rows a terminal gets.
_TOLD = 20
_TOLD_COLUMNS = ("rank", "line", "option", "existing_current_a", "limit_current_a", "gained_current_a", "violations",
                 "cost_per_ampere")


def ranked(rows: Sequence[Mapping], prices: Mapping[str, float], existing: str | None) -> dict[str, np.ndarray]:
    """Return rows as columns with what they gain and cost, ranked by cost per ampere gained.

    Without prices they are ranked by amperes gained. After them come, never as free, those whose price is not known,
    then those that gain nothing, and last those of which a current, or what stands between, is not known; these have no
    rank.

    Parameters
    ----------
    rows : sequence of mapping
        `line`, `option`, `length_km`, `limit_current_a`, `limiting_span`, `limited_by`, `remedied_current_a`,
        `violations`, `not_assessed`, one per line and option.
    prices : mapping
        Cost of the wires of a kilometre of line by option, of those that have one.
    existing : str or None
        The option that hangs today: it costs nothing, and others gain over it.

    Examples
    --------
    >>> rows = [{"line": "a", "option": o, "length_km": 2.0, "limit_current_a": I, "limiting_span": None,
    ...          "limited_by": None, "remedied_current_a": I, "violations": 0, "not_assessed": 0}
    ...         for o, I in (("old", 500.0), ("new", 700.0))]
    >>> ranked(rows, {"new": 50.0}, "old")["cost_per_ampere"].round(2).tolist()
    [0.5, nan]
    """
    today = {row["line"]: row["limit_current_a"] for row in rows if row["option"] == existing}
    priced = bool(prices)
    told = [_told(row, today.get(row["line"], np.nan), prices, existing) for row in rows]
    told.sort(key=lambda row: _order(row, priced))
    for number, row in enumerate(told, 1):
        row["rank"] = np.nan if any(_order(row, priced)[:3]) else number
    texts = ("line", "option", "limiting_span", "limited_by", "note")
    return {name: np.array([row[name] for row in told], object if name in texts else None)
            for name in HEADS} if told else {}


def _told(row, today, prices, existing):
    """A row with what it gains and costs."""
    hangs = row["option"] == existing
    price = 0.0 if hangs else prices.get(row["option"], np.nan)
    gained, cost = row["limit_current_a"] - today, price * row["length_km"]
    note = _why(row["limit_current_a"], today, gained, hangs, bool(prices) and np.isnan(price))
    left = [f"{row['violations']} violations to put right"] * bool(row["violations"]) + [
        f"{row['not_assessed']} not assessed: not a pass"] * bool(row["not_assessed"])
    note = "; ".join([*([note] if note else []), *left]) or None
    worth = cost / gained if not hangs and gained > 0 else np.nan
    return {**row, "existing_current_a": today, "gained_current_a": gained, "wire_cost": cost,
            "cost_per_ampere": worth, "note": note}


def _why(limit, today, gained, hangs, unpriced):
    """What is to be known of a gain, or None."""
    if hangs:
        return "the existing wire"
    if np.isnan(gained):
        return f"what the line carries {'with it' if np.isnan(limit) else 'today'} is not known"
    if gained <= 0:
        return "no more current"
    words = [SHORT_TODAY] * bool(today == 0) + ["no price is given"] * bool(unpriced)
    return "; ".join(words) or None


def _order(row, priced):
    """Key that ranks rows: known and worth something, without a price, of no gain, unknown."""
    gained = row["gained_current_a"]
    unknown = np.isnan(gained) or bool(row["not_assessed"])
    worthless, unpriced = not gained > 0, priced and np.isnan(row["cost_per_ampere"])
    worth = row["cost_per_ampere"] if priced and not unpriced and not worthless else 0.0
    return unknown, worthless, unpriced, worth, -np.nan_to_num(gained, nan=-np.inf), row["line"], row["option"]


def _cell(name, value):
    """A value for people; currents are rounded down."""
    if value is None or value != value:
        return "-"
    if name.endswith("_a"):
        return f"{np.floor(value):.0f}"
    return f"{value:.4g}" if isinstance(value, float | np.floating) else str(value)


def cells_of(columns: Mapping[str, np.ndarray]) -> tuple[list[str], list[list[str]]]:
    """Return heads and rows of texts of the whole table."""
    rows = [[_cell(name, value) for name, value in zip(columns, row, strict=True)]
            for row in zip(*columns.values(), strict=True)]
    return [HEADS[name] or name for name in columns], rows


def lines_text(columns: Mapping[str, np.ndarray], currency: str | None) -> list[str]:
    """Return lines of the table for a terminal, the first rows of it."""
    if not columns:
        return []
    rows = [[_cell(name, columns[name][i]) for name in _TOLD_COLUMNS] for i in range(len(columns["rank"]))][:_TOLD]
    more = len(columns["rank"]) - len(rows)
    priced = np.isfinite(columns["cost_per_ampere"]).any()
    words = "Lines by amperes gained; no price of an option is given ([[plan.wires]])." if not priced else (
        f"Lines by cost per ampere gained, in {currency or 'relative units'}, of the new wire alone: what puts "
        "violations right is planned with corridor plan --each-line.")
    return [*wrap(words, WIDTH.get()), *aligned([HEADS[name] for name in _TOLD_COLUMNS], rows),
            *([f"and {more} rows more"] if more else [])]


def lines_markdown(columns: Mapping[str, np.ndarray]) -> str:
    """Return the whole table in Markdown."""
    heads, rows = cells_of(columns)
    lines = ["| " + " | ".join(map(plain, cells)) + " |" for cells in (heads, *rows)]
    return "\n".join([lines[0], "|" + " --- |" * len(heads), *lines[1:], "", f"<!-- {MARK} -->", ""])
