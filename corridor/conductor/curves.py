"""Stress-strain and creep curves of conductors: the built-in sets, and those that a study adds.

A table of curves has one row for each curve of a set. `curve` is `initial`, `final` or `creep`, `part` is `outer`,
`core` or `whole`; `years` is the age of a creep curve; `c0` to `c4` are the coefficients of the stress on the total
area of the conductor, as such curves are published, by powers of the strain in percent; `greatest` is the maximum
strain of the measurement. Of a final line only the slope `c1` is used: its intercept belongs to one maximum stress.

A set needs the initial and final curve of each part, of the outer one alone where it is of a conductor without a core.
Creep of the `whole` is that of the outer part with the core on
its initial curve.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import NamedTuple

from corridor.conductor.materials import FOLDER, Row, read_table
from corridor.errors import InputError, nearest

__all__ = ["NO_CURVE", "Coefficients", "Creep", "CurveSet", "built_in", "curve_at", "read_curves", "yielding"]

#: Coefficients of a stress [Pa] by powers of the strain.
Coefficients = tuple[float, ...]
#: The curve of a part that has none.
NO_CURVE: Coefficients = (math.inf, 0.0, 0.0, 0.0, 0.0)

_COEFFICIENTS = ("c0", "c1", "c2", "c3", "c4")
_NEEDED = (("initial", "outer"), ("final", "outer"), ("initial", "core"), ("final", "core"))
_COLUMNS = ("name", "curve", "part", "years", *_COEFFICIENTS, "greatest", "source", "confidence")
#: Rows of a set by curve, part, and, for creep, its age [years].
_Rows = dict[tuple[str, str, float | None], Row]


class Creep(NamedTuple):
    """Curves of the two parts at an age [years]."""

    years: float
    outer: Coefficients
    core: Coefficients


@dataclass(frozen=True)
class CurveSet:
    """Curves of one stranding, in SI.

    `outer`, `core` initial curves; `outer_final`, `core_final` [Pa] final moduli; `outer_end`, `core_end` [-] maximum
    strain; `creep` by age. Stress is on the total area, or on the outer part's own where `own_area`.
    """

    name: str
    outer: Coefficients
    core: Coefficients
    outer_final: float
    core_final: float
    outer_end: float
    core_end: float
    creep: tuple[Creep, ...]
    source: str
    confidence: str
    own_area: bool = False


def yielding(name: str, yield_stress: float, hardening: float, modulus: float) -> CurveSet:
    """Return the curves of a soft outer part on a linear core: elastic up to a stress, then hardening little.

    Parameters
    ----------
    name : str
    yield_stress, hardening, modulus : float
        [Pa], on the area of the outer part; hardening is the slope past the yield.
    """
    curve = (yield_stress * (1 - hardening / modulus), hardening, 0.0, 0.0, 0.0)
    return CurveSet(name, curve, NO_CURVE, modulus, math.nan, math.inf, math.inf, (), "", "", True)


def curve_at(curves: CurveSet, years: float) -> tuple[Coefficients, Coefficients] | None:
    """Return the creep curves of outer part and core at an age, None where the set has no creep.

    Between two ages the stress at a strain goes with the logarithm of time. Raises ValueError outside of them.

    Examples
    --------
    >>> outer, core = curve_at(built_in()["aluminium on steel 26/7"], 10.0)
    >>> round(outer[1] / 6894.757e2), round(core[1] / 6894.757e2)
    (16300, 37150)
    """
    if not curves.creep:
        return None
    ages = [creep.years for creep in curves.creep]
    if not ages[0] <= years <= ages[-1]:
        raise ValueError(f"{ages[0]:g} to {ages[-1]:g} years")
    low = max(min(bisect_right(ages, years) - 1, len(ages) - 2), 0)
    high = min(low + 1, len(ages) - 1)
    share = math.log(years / ages[low]) / math.log(ages[high] / ages[low]) if high > low else 0.0
    younger, older = curves.creep[low], curves.creep[high]
    return _between(younger.outer, older.outer, share), _between(younger.core, older.core, share)


def _between(a: Coefficients, b: Coefficients, share: float) -> Coefficients:
    return tuple(x + share * (y - x) for x, y in zip(a, b, strict=True))


@cache
def built_in() -> dict[str, CurveSet]:
    """Return the built-in sets by name."""
    return read_curves(FOLDER / "curves.csv")


def read_curves(path: Path | str) -> dict[str, CurveSet]:
    """Read sets of curves, by name.

    Parameters
    ----------
    path : path
        A table with a row of names and a row of units, `psi/%` or `MPa/%` and their powers for the coefficients.

    Raises
    ------
    InputError
        A column or curve that is missing or doubled, a number that is none, or a curve that falls or is not finite.
    """
    sets: dict[str, _Rows] = {}
    for row in read_table(path):
        missing = [name for name in _COLUMNS if name not in row]
        if missing:
            raise InputError(path, "first row", f"no column {missing[0]}", ", ".join(_COLUMNS),
                             nearest(missing[0], row))
        _check_row(row)
        curve = row.text("curve")
        key = curve, row.text("part"), row.number("years") if curve == "creep" else None
        rows = sets.setdefault(row.text("name"), {})
        if key in rows:
            raise InputError(path, f"row {row.line}", "the same curve a second time", "each curve once")
        rows[key] = row
    return {name: _set(path, name, rows) for name, rows in sets.items()}


def _check_row(row: Row) -> None:
    choices = {"curve": ("initial", "final", "creep"), "part": ("outer", "core", "whole")}
    for column, known in choices.items():
        if row[column] not in known:
            hint = nearest(row[column], known)
            raise row.error(column, repr(row[column]), ", ".join(known), hint and repr(hint))
    needed = {"initial": "greatest", "creep": "years"}.get(row.text("curve"))
    if math.isnan(row.number("c1")) or (needed and not row.number(needed) > 0):
        raise InputError(row.path, f"row {row.line}", "an empty cell",
                         f"c1{f' and a positive {needed}' if needed else ''} for the curve {row['curve']}")


def _set(path: Path | str, name: str, rows: _Rows) -> CurveSet:
    cored = any(part != "outer" for _, part, _ in rows)
    needed = [(curve, part) for curve, part in _NEEDED if cored or part == "outer"]
    missing = [f"{curve} {part}" for curve, part in needed if (curve, part, None) not in rows]
    if missing:
        raise InputError(path, name, f"no curve {missing[0]}", "initial and final of outer and core")
    initial = rows["initial", "outer", None]
    outer, outer_final, *of_core = (_coefficients(rows[curve, part, None]) for curve, part in needed)
    core, core_final = of_core or (NO_CURVE, (math.nan,) * 5)
    core_end = rows["initial", "core", None].number("greatest") if cored else math.inf
    made = CurveSet(name, outer, core, outer_final[1], core_final[1], initial.number("greatest"), core_end,
                    _creep(path, name, rows, core), initial.text("source"), initial.text("confidence"), not cored)
    for age, a, b in (("initial", outer, core), *((f"creep {c.years:g} years", c.outer, c.core) for c in made.creep)):
        _check_rises(path, f"{name}, {age} outer", a, made.outer_end)
        if cored:
            _check_rises(path, f"{name}, {age} core", b, made.core_end)
    return made


def _coefficients(row: Row) -> Coefficients:
    return tuple(0.0 if row[name] is None else row.number(name) for name in _COEFFICIENTS)


def _creep(path: Path | str, name: str, rows: _Rows, core: Coefficients) -> tuple[Creep, ...]:
    """Creep curves by age, those of the whole taken apart."""
    found = []
    for years in sorted({years for _, _, years in rows if years is not None}):
        parts = {part: _coefficients(rows["creep", part, years]) for part in ("outer", "core", "whole")
                 if ("creep", part, years) in rows}
        if ("whole" in parts) == ("outer" in parts):
            raise InputError(path, f"{name}, creep {years:g} years", " and ".join(parts), "whole, or outer")
        own = parts.get("core", core)
        outer = parts.get("outer") or tuple(a - b for a, b in zip(parts["whole"], own, strict=True))
        found.append(Creep(years, outer, own))
    return tuple(found)


def _check_rises(path: Path | str, where: str, curve: Coefficients, end: float) -> None:
    """Refuse a curve that falls anywhere: it would have two strains for one stress."""
    for x in (end * i / 200 for i in range(201)):
        if not sum(k * c * x ** (k - 1) for k, c in enumerate(curve) if k) > 0:
            raise InputError(path, where, f"a curve that does not rise at {100 * x:.3g} %",
                             "one that rises up to `greatest`", "a smaller `greatest`, or a slip in a coefficient")
