"""The catalogue: conductors of published tables, and options derived from them by rule.

Tables, each a file of the folder `catalogue`: those of `standards.STANDARDS`, whose empty cells the rules of the
standard fill, and `derived`, which `derivation.write_derived` makes. Each conductor on galvanised steel of the ASTM and
EN tables is there with a core of aluminium-clad steel, too. A conductor is found by its designation or code word.
"""

import re
from collections.abc import Iterable
from difflib import get_close_matches
from functools import cache
from pathlib import Path

from corridor.conductor.conductor import Conductor, conductor_from
from corridor.conductor.materials import FOLDER, Row, read_table
from corridor.conductor.standards import STANDARDS, clad, complete
from corridor.errors import InputError

__all__ = ["TABLES", "aliases", "find", "like", "names"]

#: Tables of the catalogue, in the order in which their conductors are listed.
TABLES = (*STANDARDS, "derived")
#: Tables whose conductors are made with a core of aluminium-clad steel as well.
_CLAD = ("astm_b232", "astm_b232_sizes", "en_50182", "en_50182_sizes")
#: A designation of a wire with a core; what its core is told by: a composite, metal matrix, invar, clad or plain steel.
_CORED = re.compile(r"[\d.]+-?\w*/\w")
_CORES = ("CF", "MMC", "INV", "SA", "ST")


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
                     "[[conductors]]", " or ".join(like(name, besides)) or None)


def like(name: str, besides: Iterable[str] = ()) -> tuple[str, ...]:
    """Return up to three designations or names most like one that is unknown: of a wire with a core only such as have
    the same kind of core (steel, where it says none), and the same kind of aluminium where there are any.

    >>> like("264-AT9/62")
    ('264-AT1/62-ST1A',)
    """
    if _CORED.match(name) is None:
        return tuple(get_close_matches(name, dict.fromkeys((*besides, *names(), *aliases())), n=1))
    area, outer, core = _kind(name)
    same = [each for each in names() if _CORED.match(each) and _kind(each)[2] == core]
    near = get_close_matches(name, dict.fromkeys((*besides, *same)), n=20)
    for place, wanted in enumerate((area, outer)):
        near = [each for each in near if each in besides or _kind(each)[place] == wanted] or near
    return tuple(near[:3])


def _kind(name: str) -> tuple[str, str, str]:
    """Area or diameter, kind of aluminium and kind of core of a designation; a core of which nothing is said is steel,
    of a word that nothing is called by no kind."""
    outer, _, core = name.upper().partition("/")
    letters, word = re.search(r"A[A-Z]*", outer), re.search(r"[A-Z]+\d*[A-Z]*|\d+[A-Z]+", core)
    kind = next((each for each in _CORES if each in core), "ST" if word is None else "")
    if not kind and word is not None:
        called = get_close_matches(word[0], ("ST1A", "ST6C", "20SA", "A20SA", "INV", "MMC", "CF"), n=1)
        kind = next((each for each in _CORES if called and each in called[0]), "")
    return outer.partition("-")[0], letters[0] if letters else "", kind
