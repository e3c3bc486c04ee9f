"""The catalogue: conductors of published tables, and options derived from them by rule.

Tables, each a file of the folder `catalogue`: `astm_b232`, `iec_61089`, `en_50182`, and
`derived`, which `derivation.write_derived` makes. A conductor is found by its designation or by
its code word.
"""

from functools import cache

from corridor.conductor.conductor import conductor_from
from corridor.conductor.materials import FOLDER, read_table
from corridor.errors import InputError, nearest

__all__ = ["TABLES", "aliases", "find", "names"]

#: Tables of the catalogue, in the order in which their conductors are listed.
TABLES = ("astm_b232", "iec_61089", "en_50182", "derived")


@cache
def _rows():
    """Rows of all tables by designation, each with its file."""
    found = {}
    for table in TABLES:
        path = FOLDER / f"{table}.csv"
        for row in read_table(path):
            if row["name"] in found:
                raise InputError(
                    path, row["name"], "a second conductor of this name", "unique names"
                )
            found[row["name"]] = path, {**row, "derived": table == "derived"}
    return found


@cache
def aliases():
    """Return the code words, a dict from code word to designation."""
    return {row["alias"]: name for name, (_, row) in _rows().items() if row.get("alias")}


def names():
    """Return the designations of all conductors, a tuple of text."""
    return tuple(_rows())


@cache
def _built(name):
    path, row = _rows()[name]
    return conductor_from(row, where=name, file=path)


def find(name, *, where=None, file=None):
    """Return the conductor of a designation or code word.

    Parameters
    ----------
    name : str
    where, file : str, optional
        Place and file of the name, for the error.

    Returns
    -------
    Conductor

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
    corridor.errors.InputError: conductor: found 'Zebr'; accepted: ... names; perhaps 'Zebra'?
    """
    designation = aliases().get(name, name)
    if designation in _rows():
        return _built(designation)
    known = (*names(), *aliases())
    close = nearest(name, known)
    raise InputError(
        file,
        where or "conductor",
        repr(name),
        f"one of the catalogue's {len(known)} names",
        close and repr(close),
    )
