"""Stress-strain and creep curves of conductors: the built-in sets, and those that a study adds.

A table of curves has one row for each curve of a set. `curve` is `initial`, `final` or `creep`, `part` is `outer`,
`core` or `whole`; `years` is the age of a creep curve; `c0` to `c4` are the coefficients of the stress on the total
area of the conductor, as such curves are published, by powers of the strain in percent; `greatest` is the greatest
strain of the measurement. Of a final line only the slope `c1` is used: its intercept belongs to one maximum stress.

A set needs the initial and final curve of each part. Creep of the `whole` is that of the outer part with the core on
its initial curve.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cache

from corridor.conductor.materials import FOLDER, read_table
from corridor.errors import InputError, nearest

__all__ = ["CurveSet", "built_in", "curve_at", "read_curves", "yielding"]

#: The curve of a part that has none.
NO_CURVE = (float("inf"), 0.0, 0.0, 0.0, 0.0)

_COEFFICIENTS = ("c0", "c1", "c2", "c3", "c4")
_NEEDED = (("initial", "outer"), ("final", "outer"), ("initial", "core"), ("final", "core"))
_COLUMNS = ("name", "curve", "part", "years", *_COEFFICIENTS, "greatest", "source", "confidence")


@dataclass(frozen=True)
class CurveSet:
    """Curves of one stranding, in SI.

    `outer`, `core` coefficients of the initial curves [Pa, by powers of strain]; `outer_final`, `core_final` [Pa] final
    moduli; `outer_end`, `core_end` [-] greatest strain. `creep`: (years, outer coefficients, core coefficients) by age.
    Stress is on the total area, or on the outer part's own where `own_area`.
    """

    name: str
    outer: tuple
    core: tuple
    outer_final: float
    core_final: float
    outer_end: float
    core_end: float
    creep: tuple
    source: str
    confidence: str
    own_area: bool = False


def yielding(name, yield_stress, hardening, modulus):
    """Return the curves of a soft outer part on a linear core: elastic up to a stress, then hardening little.

    Parameters
    ----------
    name : str
    yield_stress, hardening, modulus : float
        [Pa], on the area of the outer part; hardening is the slope past the yield.
    """
    curve = (yield_stress * (1 - hardening / modulus), hardening, 0.0, 0.0, 0.0)
    return CurveSet(name, curve, NO_CURVE, modulus, float("nan"), float("inf"), float("inf"), (), "", "", True)


def curve_at(curves, years):
    """Return the creep curves of an age: coefficients of outer part and core, None where the set has no creep.

    Between two ages the stress at a strain goes with the logarithm of time. Raises ValueError outside of them.

    Examples
    --------
    >>> outer, core = curve_at(built_in()["aluminium on steel 26/7"], 10.0)
    >>> round(outer[1] / 6894.757e2), round(core[1] / 6894.757e2)
    (16300, 37150)
    """
    if not curves.creep:
        return None
    ages = [age for age, _, _ in curves.creep]
    if not ages[0] <= years <= ages[-1]:
        raise ValueError(f"{ages[0]:g} to {ages[-1]:g} years")
    low = max(min(bisect_right(ages, years) - 1, len(ages) - 2), 0)
    high = min(low + 1, len(ages) - 1)
    share = math.log(years / ages[low]) / math.log(ages[high] / ages[low]) if high > low else 0.0
    pairs = zip(curves.creep[low][1:], curves.creep[high][1:], strict=True)
    return tuple(tuple(a + share * (b - a) for a, b in zip(*pair, strict=True)) for pair in pairs)


@cache
def built_in():
    """Return the built-in sets, a dict of `CurveSet` by name."""
    return read_curves(FOLDER / "curves.csv")


def read_curves(path):
    """Read sets of curves.

    Parameters
    ----------
    path : path
        A table with a row of names and a row of units, `psi/%` or `MPa/%` and their powers for the coefficients.

    Returns
    -------
    dict of CurveSet

    Raises
    ------
    InputError
        A column or curve that is missing or doubled, a number that is none, or a curve that falls or is not finite.
    """
    rows = read_table(path)
    sets = {}
    for number, row in enumerate(rows, 3):
        missing = [name for name in _COLUMNS if name not in row]
        if missing:
            raise InputError(path, "first row", f"no column {missing[0]}", ", ".join(_COLUMNS),
                             nearest(missing[0], row))
        _check_row(path, number, row)
        key = row["curve"], row["part"], row["years"] if row["curve"] == "creep" else None
        curves = sets.setdefault(row["name"], {})
        if key in curves:
            raise InputError(path, f"row {number}", "the same curve a second time", "each curve once")
        curves[key] = row
    return {name: _set(path, name, curves) for name, curves in sets.items()}


def _check_row(path, number, row):
    choices = {"curve": ("initial", "final", "creep"), "part": ("outer", "core", "whole")}
    for column, known in choices.items():
        if row[column] not in known:
            hint = nearest(row[column], known)
            raise InputError(path, f"row {number}, {column}", repr(row[column]), ", ".join(known), hint and repr(hint))
    needed = {"initial": "greatest", "creep": "years"}.get(row["curve"])
    if row["c1"] is None or (needed and not (row[needed] or 0) > 0):
        raise InputError(path, f"row {number}", "an empty cell",
                         f"c1{f' and a positive {needed}' if needed else ''} for the curve {row['curve']}")


def _set(path, name, curves):
    missing = [f"{curve} {part}" for curve, part in _NEEDED if (curve, part, None) not in curves]
    if missing:
        raise InputError(path, name, f"no curve {missing[0]}", "initial and final of outer and core")
    rows = [curves[*key, None] for key in _NEEDED]
    outer, outer_final, core, core_final = map(_coefficients, rows)
    ends = rows[0]["greatest"], rows[2]["greatest"]
    made = CurveSet(name, outer, core, outer_final[1], core_final[1], *ends, _creep(path, name, curves, core),
                    rows[0]["source"], rows[0]["confidence"])
    for label, curve, end in (("outer", outer, ends[0]), ("core", core, ends[1])):
        _check_rises(path, f"{name}, initial {label}", curve, end)
    for years, a, b in made.creep:
        _check_rises(path, f"{name}, creep {years:g} years outer", a, ends[0])
        _check_rises(path, f"{name}, creep {years:g} years core", b, ends[1])
    return made


def _coefficients(row):
    return tuple(float(row[name] or 0.0) for name in _COEFFICIENTS)


def _creep(path, name, curves, core):
    """Creep curves by age, those of the whole taken apart."""
    found = []
    for years in sorted({key[2] for key in curves if key[0] == "creep"}):
        parts = {part: _coefficients(curves["creep", part, years]) for part in ("outer", "core", "whole")
                 if ("creep", part, years) in curves}
        if ("whole" in parts) == ("outer" in parts):
            raise InputError(path, f"{name}, creep {years:g} years", " and ".join(parts), "whole, or outer")
        own = parts.get("core", core)
        outer = parts.get("outer") or tuple(a - b for a, b in zip(parts["whole"], own, strict=True))
        found.append((years, outer, own))
    return tuple(found)


def _check_rises(path, where, curve, end):
    """Refuse a curve that falls anywhere: it would have two strains for one stress."""
    for x in (end * i / 200 for i in range(201)):
        if not sum(k * c * x ** (k - 1) for k, c in enumerate(curve) if k) > 0:
            raise InputError(path, where, f"a curve that does not rise at {100 * x:.3g} %",
                             "one that rises up to `greatest`", "a smaller `greatest`, or a slip in a coefficient")
