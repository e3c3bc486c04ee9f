"""The catalogue: conductors of published tables, and options derived from them by rule.

Tables, each a file of the folder `catalogue`: those of `standards.STANDARDS`, whose empty cells the rules of the
standard fill, and `derived`, which `derivation.write_derived` makes. Each conductor on galvanised steel of the ASTM and
EN tables is there with a core of aluminium-clad steel, too. A conductor is found by its designation or code word.
"""

from collections.abc import Iterable
from functools import cache
from pathlib import Path

from corridor.conductor.conductor import Conductor, conductor_from
from corridor.conductor.materials import FOLDER, Row, read_table
from corridor.conductor.standards import STANDARDS, clad, complete
from corridor.errors import InputError, nearest

__all__ = ["TABLES", "aliases", "find", "names"]

#: Tables of the catalogue, in the order in which their conductors are listed.
TABLES = (*STANDARDS, "derived")
#: Tables whose conductors are made with a core of aluminium-clad steel as well.
_CLAD = ("astm_b232", "astm_b232_sizes", "en_50182", "en_50182_sizes")


@cache
def _rows() -> dict[str, Row]:
    """Rows of all tables by designation."""
    found: dict[str, Row] = {}
    for table in TABLES:
        for row in _of_table(table):
            name = row.text("name")
            if name in found:
                raise InputError(row.path, name, "a second conductor of this name", "unique names")
            row["derived"] = table == "derived"
            found[name] = row
    return found


def _of_table(table: str) -> list[Row]:
    """Rows of a table, whole, with those on another core that follow from it."""
    rows = read_table(FOLDER / f"{table}.csv")
    if table not in STANDARDS:
        return rows
    if table in _CLAD:
        rows += [made for row in rows if (made := clad(row))]
    return [complete(row, STANDARDS[table]) for row in rows]


@cache
def aliases() -> dict[str, str]:
    """Return the designations by code word."""
    return {row.text("alias"): name for name, row in _rows().items() if row.get("alias")}


def names() -> tuple[str, ...]:
    """Return the designations of all conductors."""
    return tuple(_rows())


@cache
def _built(name: str) -> Conductor:
    row = _rows()[name]
    return conductor_from(row, where=name, file=row.path)


def find(name: str, *, where: str = "conductor", file: Path | str | None = None,
         besides: Iterable[str] = ()) -> Conductor:
    """Return the conductor of a designation or code word.

    Parameters
    ----------
    name : str
    where, file : str, optional
        Place and file of the name, for the error.
    besides : iterable of str
        Names that the place could have held besides those of the catalogue.

    Raises
    ------
    InputError
        Where the catalogue has none of that name; it names the nearest.

    Examples
    --------
    >>> find("Zebra").name
    '429-AL1/56-ST1A'
    >>> find("Zebr")
    Traceback (most recent call last):
    corridor.errors.InputError: conductor: found 'Zebr'; accepted: a designation ...; perhaps Zebra?
    """
    designation = aliases().get(name, name)
    if designation in _rows():
        return _built(designation)
    raise InputError(file, where, repr(name), "a designation of the catalogue (docs/conductors.md), or a name from "
                     "[[conductors]]", nearest(name, (*besides, *names(), *aliases())))
