"""Capacities of structures, from a table."""

import math

import numpy as np

from corridor.clearance.capacity import COMPONENTS, Capacities
from corridor.conductor.materials import read_cells
from corridor.errors import InputError, nearest
from corridor.study.capacity import MATERIALS, factors_of
from corridor.units import QuantityError, quantity

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
    path = study.resolve(study.capacity.file)
    names, *rows = read_cells(path)
    names = [name.strip() for name in names]
    for name in names:
        if names.count(name) > 1:
            raise InputError(path, "first row", f"{name!r} twice", "each column once")
        if name not in (*_TEXTS, *COMPONENTS):
            hint = nearest(name, (*_TEXTS, *COMPONENTS))
            raise InputError(path, "first row", repr(name), ", ".join((*_TEXTS, *COMPONENTS)), hint and repr(hint))
    texts, loads, seen = [], [], set()
    for number, row in enumerate(rows, 2):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) != len(names):
            raise InputError(path, f"row {number}", f"{len(row)} cells", f"{len(names)} cells")
        cells = dict(zip(names, (cell.strip() for cell in row), strict=True))
        text = {name: cells.get(name, "") for name in _TEXTS}
        _check_names(path, number, text, structures, framings)
        _check_material(path, number, text["material"], study.capacity.grade)
        key = tuple(text[name] for name in _TEXTS[:-1])
        if key in seen:
            raise InputError(path, f"row {number}", "a second row for the same", "each point, or whole structure, once")
        seen.add(key)
        texts.append(text)
        loads.append(_loads(path, number, cells, units))
    if not texts:
        raise InputError(path, "rows", "none", "a row for each structure or framing whose capacity is known")
    columns = {name: np.array([text[name] for text in texts], object) for name in _TEXTS}
    return Capacities(**columns, load=np.array(loads), factors=factors_of(study))


def _check_names(path, number, text, structures, framings):
    """Refuse a row that is of no structure or framing, of both, or of a wire that does not hang there."""
    if bool(text["structure"]) == bool(text["framing"]):
        raise InputError(path, f"row {number}", "both structure and framing" if text["structure"] else
                         "neither structure nor framing", "one of the two")
    if text["structure"]:
        here = (structures.structure == text["structure"]) & ((structures.line == text["line"]) | (text["line"] == ""))
        known, key, carried = structures.structure.tolist(), "structure", set(structures.framing[here].tolist())
    else:
        known, key, carried = framings.framing.tolist(), "framing", {text["framing"]}
        here = framings.framing == text["framing"]
    if text["line"] and key == "framing":
        raise InputError(path, f"row {number}: line", repr(text["line"]), "nothing in a row of a framing")
    if not here.any():
        match = nearest(text[key], known)
        of_line = f" of line {text['line']!r}" if text["line"] else ""
        raise InputError(path, f"row {number}: {key}", repr(text[key]) + of_line, f"a {key} of the line",
                         match and repr(match))
    wires = framings.wire[np.isin(framings.framing, list(carried))].tolist()
    if text["wire"] and text["wire"] not in wires:
        match = nearest(text["wire"], wires)
        raise InputError(path, f"row {number}: wire", repr(text["wire"]), f"a wire of the {key}",
                         match and repr(match))


def _check_material(path, number, material, grade):
    """Refuse an unknown material, and none where the strength factors of a grade go by it."""
    if material not in ("", *MATERIALS) or (grade is not None and not material):
        raise InputError(path, f"row {number}: material", repr(material) if material else "nothing",
                         " | ".join(MATERIALS) + ", by which the grade has its strength factors" * (not material))


def _loads(path, number, cells, units):
    """Capacities of a row [N], nan where not given; at least one is."""
    found = []
    for name in COMPONENTS:
        cell = cells.get(name, "")
        try:
            value = quantity(cell, "force", plain_text=True, unit=units.get(name)) if cell else math.nan
        except QuantityError as error:
            raise InputError(path, f"row {number}: {name}", repr(cell), "a force", error.hint) from None
        if cell and not _LEAST <= value <= _MOST:
            raise InputError(path, f"row {number}: {name}", f"{value:g} N", f"from {_LEAST:g} to {_MOST:g} N")
        found.append(value)
    if np.isnan(found).all():
        raise InputError(path, f"row {number}", "no capacity", "at least one of " + ", ".join(COMPONENTS))
    return found
