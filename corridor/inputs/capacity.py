"""Capacities of structures, from a table."""

import math

import numpy as np

from corridor.clearance.capacity import COMPONENTS, Capacities
from corridor.csv_rows import read_given
from corridor.errors import nearest
from corridor.study.capacity import MATERIALS, factors_of

__all__ = ["read_capacities"]

_TEXTS = ("line", "structure", "framing", "wire", "material")
#: Beyond these a number is a slip of its unit [N].
_LEAST, _MOST = 100.0, 1e8


def read_capacities(study, units, structures, framings):
    """Return the capacities that a study names, None where it names none.

    Parameters
    ----------
    study : Study
    units : mapping
        Units of numbers without one, by column; None for N.
    structures : Structures
    framings : Framings

    Returns
    -------
    Capacities or None

    Raises
    ------
    InputError
        A column or cell that cannot be used, a structure, framing or wire that there is not, or the same twice.
    """
    if study.capacity is None:
        return None
    rows = read_given(study.resolve(study.capacity.file), (*_TEXTS, *COMPONENTS), (), units,
                      "a row for each structure or framing whose capacity is known")
    loads, seen = [], set()
    for row in rows:
        _check_names(row, structures, framings)
        _check_material(row, study.capacity.grade)
        key = tuple(row[name] for name in _TEXTS[:-1])
        if key in seen:
            raise row.error(None, "each point, or whole structure, once", found="a second row for the same")
        seen.add(key)
        loads.append(_loads(row))
    columns = {name: np.array([row[name] for row in rows], object) for name in _TEXTS}
    return Capacities(**columns, load=np.array(loads), factors=factors_of(study))


def _check_names(row, structures, framings):
    """Refuse a row that is of no structure or framing, of both, or of a wire that does not hang there."""
    if bool(row["structure"]) == bool(row["framing"]):
        raise row.error(None, "one of the two", found="both structure and framing" if row["structure"] else
                        "neither structure nor framing")
    if row["structure"]:
        here = (structures.structure == row["structure"]) & ((structures.line == row["line"]) | (row["line"] == ""))
        known, key, carried = structures.structure.tolist(), "structure", set(structures.framing[here].tolist())
    else:
        known, key, carried = framings.framing.tolist(), "framing", {row["framing"]}
        here = framings.framing == row["framing"]
    if row["line"] and key == "framing":
        raise row.error("line", "nothing in a row of a framing")
    if not here.any():
        of_line = f" of line {row['line']!r}" if row["line"] else ""
        raise row.error(key, f"a {key} of the line", found=repr(row[key]) + of_line, hint=_quoted(row[key], known))
    wires = framings.wire[np.isin(framings.framing, list(carried))].tolist()
    if row["wire"] and row["wire"] not in wires:
        raise row.error("wire", f"a wire of the {key}", hint=_quoted(row["wire"], wires))


def _quoted(name, known):
    match = nearest(name, known)
    return match and repr(match)


def _check_material(row, grade):
    """Refuse an unknown material, and none where the strength factors of a grade go by it."""
    material = row["material"]
    if material not in ("", *MATERIALS) or (grade is not None and not material):
        raise row.error("material",
                        " | ".join(MATERIALS) + ", by which the grade has its strength factors" * (not material))


def _loads(row):
    """Capacities of a row [N], nan where not given; at least one is."""
    found = [row.number(name, "force", empty=math.nan, low=_LEAST, high=_MOST) for name in COMPONENTS]
    if np.isnan(found).all():
        raise row.error(None, "at least one of " + ", ".join(COMPONENTS), found="no capacity")
    return found
