"""Rows of comma-separated files: as they stand, and those of tables that a user gives, cell by cell."""

import csv
from collections.abc import Collection, Mapping
from math import inf
from pathlib import Path

from corridor.errors import InputError, nearest
from corridor.units import KINDS, QuantityError, quantity

__all__ = ["GivenRow", "read_cells", "read_given", "read_records"]

#: Cells of a table, of a row one at least: they are held in memory, and those of the hours of a century are half of it.
_MOST = 10_000_000


class GivenRow(dict[str, str]):
    """A row of a user's table: texts by column, "" for a column that is not there; with its file, the number of its
    line, and units of numbers without one, by column."""

    def __init__(self, path: Path | str, line: int, cells: Mapping[str, str], units: Mapping[str, str | None]) -> None:
        super().__init__(cells)
        self.path, self.line, self.units = path, line, units

    def __missing__(self, column: str) -> str:
        return ""

    def error(self, column: str | None, accepted: str, *, found: str | None = None,
              hint: str | None = None) -> InputError:
        """Return the error of a cell, or of the whole row; `found` by default what stands in the cell."""
        if found is None:
            found = repr(self[column]) if column and self[column] else "nothing"
        return InputError(self.path, f"row {self.line}" + (f": {column}" if column else ""), found, accepted, hint)

    def choice(self, column: str, known: Collection[str]) -> str:
        """Return a cell that holds one of known words. Raises InputError where it does not."""
        if self[column] not in known:
            raise self.error(column, " | ".join(filter(None, known)), hint=nearest(self[column], known))
        return self[column]

    def number(self, column: str, kind: str, *, empty: float | None = None, low: float = -inf,
               high: float = inf) -> float:
        """Return a number.

        Parameters
        ----------
        column : str
        kind : str
            A key of `corridor.units.KINDS`; a number without a unit has that of the column, or else the one of SI.
        empty : float, optional
            What an empty cell stands for; default: it is refused.
        low, high : float
            Beyond these a number is refused [SI].

        Raises
        ------
        InputError
        """
        if not self[column] and empty is not None:
            return empty
        unit = KINDS[kind].unit
        accepted = KINDS[kind].accepts + ("" if low == -inf else ", no negative number" if (low, high) == (0, inf)
                                          else f", from {low:g} to {high:g} {unit}")
        try:
            value = quantity(self[column], kind, plain_text=True, unit=self.units.get(column))
        except QuantityError as error:
            raise self.error(column, accepted, hint=error.hint) from None
        if not low <= value <= high:
            raise self.error(column, accepted, found=f"{value:g} {unit}")
        return value


def read_cells(path: Path | str, *, least: int = 1) -> list[tuple[int, list[str]]]:
    """Return the rows of a comma-separated file as numbers of lines and lists of text, at least so many of them.

    Raises
    ------
    InputError
        A file that cannot be read or is not UTF-8, or has fewer rows, or more cells than any needs.
    """
    rows, count = [], 0
    try:
        with Path(path).open(newline="", encoding="utf-8-sig") as file:
            reader = csv.reader(file, strict=True)
            for row in reader:
                rows.append((reader.line_num, row))
                count += max(len(row), 1)
                if count > _MOST:
                    raise InputError(path, f"row {reader.line_num}", f"more than {_MOST / 1e6:g} million cells",
                                     "a smaller table")
    except UnicodeDecodeError:
        raise InputError(path, "text", "bytes that are not UTF-8", "a comma-separated file in UTF-8") from None
    except (OSError, csv.Error) as error:
        raise InputError(path, None, f"a table that cannot be read ({error})", "a comma-separated file") from None
    if len(rows) < least:
        raise InputError(path, "rows", str(len(rows)), f"{least} or more")
    return rows


def read_records(path: Path | str) -> list[dict[str, str]]:
    """Return the rows of a comma-separated file of the package as texts by its heads.

    Raises
    ------
    InputError
        As `read_cells`.
    """
    (_, head), *rows = read_cells(path)
    return [dict(zip(head, row, strict=True)) for _, row in rows]


def read_given(path: Path | str, columns: Collection[str], needed: Collection[str],
               units: Mapping[str, str | None] | None, rows: str) -> list[GivenRow]:
    """Return the rows of a table that a user gives, without those that hold nothing.

    Parameters
    ----------
    path : path
        UTF-8, with a row of heads.
    columns, needed : collection of str
        Heads that there may be, in any order, and those that there must be.
    units : mapping, optional
        Units of numbers without one, by column.
    rows : str
        Words for what a row is of, for the error where there is none.

    Raises
    ------
    InputError
        A file that cannot be read; a column that is missing, unknown or there twice; a row of another length; no row.
    """
    lines = read_cells(path, least=0)
    head = [name.strip() for name in lines[0][1]] if lines else []
    for name in needed:
        if name not in head:
            raise InputError(path, "first row", f"no column {name!r} among {', '.join(head) or 'none'}",
                             f"a header with {', '.join(needed)}, separated by commas", nearest(name, head))
    for name in head:
        if name not in columns:
            raise InputError(path, "first row", repr(name), "a header of " + ", ".join(columns), nearest(name, columns))
        if head.count(name) > 1:
            raise InputError(path, "first row", f"{name!r} twice", "each column of the header once")
    found = []
    for line, cells in lines[1:]:
        cells = [cell.strip() for cell in cells]
        if any(cells):
            row = GivenRow(path, line, dict(zip(head, cells, strict=False)), units or {})
            if len(cells) != len(head):
                raise row.error(None, f"the number of cells of the header, {len(head)}; text that holds a comma stands "
                                "in double quotes", found=f"{len(cells)} cells")
            found.append(row)
    if not found:
        raise InputError(path, None, "no rows", f"a header, and {rows}")
    return found
