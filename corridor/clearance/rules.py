"""Which clearance rule is for a pair, and what it requires, term by term.

A requirement is a sum whose terms stay apart, so that a reviewer can argue with each:

    required = base + voltage adder + altitude adder + minimum raise + buffer

Rules are data, of `corridor.clearance.rule_files`; this module knows sums and choices, not codes.
"""

import math
from dataclasses import dataclass
from functools import cache
from typing import NamedTuple

import numpy as np

from corridor.clearance.rule_files import (
    FALLBACK,
    FOLDER,
    MEASURES,
    TABLES,
    Rules,
    combine,
    load_rules,
    load_table,
    require_cases,
)
from corridor.csv_rows import read_records

__all__ = [
    "DISTANCES_FROM",
    "ELECTRICAL",
    "FLOOR",
    "MEASURES",
    "NONE",
    "TABLES",
    "Rules",
    "Terms",
    "choose",
    "combine",
    "distance_confidence",
    "electrical_distance",
    "falling_rule",
    "greatest_distance",
    "has_any_rule",
    "has_rule",
    "lacks_rule",
    "load_rules",
    "load_table",
    "most_required",
    "require_cases",
    "required",
    "requirement",
    "thin_air",
]

_TO_GROUND = 1 / math.sqrt(3)
#: What stands for the row of a rule where there is none, and where the electrical distance is kept for want of one.
NONE, ELECTRICAL = -1, -2
#: What the electrical distance is called where it stands in for a rule.
FLOOR = "electrical distance"
#: What is no obstacle and so never falls back to the rule for all others.
_NEVER_OTHER = ("ground", "right_of_way", "own_phase", "own_circuit", "own_shield_wire", "galloping", "own_structure")
#: The edition that the table of electrical distances is of.
DISTANCES_FROM = "EN 50341-1, not read"
#: A radial row against this is for all that falls; without one, the radial row of its category is.
FALLING = "falling_tree"


class Terms(NamedTuple):
    """The terms of requirements and their sum [m], of one shape; nan where there is no answer."""

    base: np.ndarray
    voltage_adder: np.ndarray
    altitude_adder: np.ndarray
    minimum_raise: np.ndarray
    buffer: np.ndarray
    required: np.ndarray


def has_rule(rules, against, measure):
    """Return True for each category that has a row of a measure in any case, its own or `other`."""
    own = set(rules.against[rules.measure == measure])
    for_all = FALLBACK in own
    return np.array([a in own or (for_all and a not in _NEVER_OTHER) for a in against], bool)


def has_any_rule(rules, against):
    """Return True for each category that has a row of some measure, its own or `other`."""
    return np.any([has_rule(rules, against, measure) for measure in MEASURES], axis=0)


def lacks_rule(rules, against, measure):
    """Return True for each category of things for which the electrical distance stands in, as the least that nothing
    may come within: in space, where no radial rule is, which is for all directions, of the ground too; and above and
    below what is crossed, where no vertical one is either."""
    own = np.array([a not in _NEVER_OTHER or (a == "ground" and measure == "radial") for a in against], bool)
    own &= ~has_rule(rules, against, "radial")
    return own & (measure != "horizontal") & ~has_rule(rules, against, measure)


def falling_rule(rules, against):
    """Return what stands in `against` for things that fall, and whether the rules hold a radial row for it.

    Parameters
    ----------
    rules : Rules
    against : array_like of str, shape (...)
        Categories of the things.

    Returns
    -------
    name, ruled : ndarray, shape (...)
        `FALLING` for all where the rules have such a radial row, else their own categories.
    """
    own = np.asarray(against, object)
    told = bool((rules.against[rules.measure == "radial"] == FALLING).any())
    return (np.full(own.shape, FALLING, object) if told else own), has_rule(rules, own, "radial") | told


def choose(rules, against, measure, case, voltage_kv, *, swung=None, other_kv=None):
    """Return for each pair the row of the rule that is for it.

    A row that names the case goes before one for all cases. Of several left, as where it is not
    known whether the wire is swung, the one with the greatest base is taken.

    Parameters
    ----------
    rules : Rules
    against, measure, case : array_like of str, shape (...)
    voltage_kv : array_like, shape (...)
        Highest voltage, line to line [kV].
    swung : array_like of bool, shape (...), optional
        Whether the wire is displaced by wind.
    other_kv : array_like, shape (...), optional
        Highest voltage of the line that is crossed [kV]; taken to be that of our line where this is left out. nan is
        within no bounds of the higher voltage.

    Returns
    -------
    ndarray of int, shape (...)
        Index into the rules; -1 where there is none, which is a pair that cannot be assessed.
    """
    state = np.full((), None) if swung is None else np.where(swung, "yes", "no")
    own = np.asarray(voltage_kv, float)
    higher = own if other_kv is None else np.maximum(own, np.asarray(other_kv, float))
    given = np.broadcast_arrays(against, measure, case, state, own, higher)
    rows = list(zip(*(np.ravel(v).tolist() for v in given), strict=True))
    found = {row: _choose_one(rules, *row) for row in set(rows)}
    return np.array([found[row] for row in rows], int).reshape(given[0].shape)


def _choose_one(rules, against, measure, case, swung, voltage, higher):
    """Index of the rule for one pair, or -1."""
    of_measure = rules.measure == measure
    named = of_measure & (rules.against == against)
    if not named.any() and against not in _NEVER_OTHER:
        named = of_measure & (rules.against == FALLBACK)
    bounded = np.where(rules.bounds_of == "higher", higher, voltage)
    fits = named & (rules.min_kv < bounded) & (bounded <= rules.max_kv)
    if swung is not None:
        fits &= (rules.swung == "") | (rules.swung == swung)
    ranked = [(case in rules.cases[i], rules.base[i], -i) for i in np.flatnonzero(fits)
              if not rules.cases[i] or case in rules.cases[i]]
    return -max(ranked)[2] if ranked else -1


def requirement(rules, index, voltage_kv, altitude, *, other_kv=None):
    """Return what rules require, term by term.

    Parameters
    ----------
    rules : Rules
    index : array_like of int, shape (...)
        Row of each rule, from `choose`; -1 gives nan.
    voltage_kv : array_like, shape (...)
        Highest (not nominal) voltage U, line to line [kV].
    altitude : array_like, shape (...)
        Elevation Z [m]; nan gives nan where the rule has an altitude share or goes up to some altitude only.
    other_kv : array_like, shape (...), optional
        Highest voltage U_o of the line that is crossed [kV]; taken to be U where this is left out.
        nan gives nan where the rule counts it.

    Returns
    -------
    Terms
        With `k` 1 or, on the line to ground basis, 1/sqrt(3), and `D` the electrical distance:
        voltage adder `a = D + per_kv max(k U - above_kv, 0)`
        `+ other_per_kv max(k U_o - other_above_kv, 0)`,
        altitude adder `z = a altitude_share max(Z - altitude_above, 0)/altitude_step`,
        minimum raise `max(minimum - base - a - z, 0)`; the buffer comes on top of the minimum.

    Examples
    --------
    >>> table = load_table("european-electrical-distance")
    >>> road = choose(table, "road", "vertical", "hot", 245.0)
    >>> float(requirement(table, road, 245.0, 200.0).required)
    7.7
    """
    U, Z = np.asarray(voltage_kv, float), np.asarray(altitude, float)
    U_o = U if other_kv is None else np.asarray(other_kv, float)
    index, U, Z, U_o = np.broadcast_arrays(np.asarray(index, int), U, Z, U_o)
    row = _Picked(rules, index)
    k = np.where(row.text("voltage_basis") == "line to ground", _TO_GROUND, 1.0)
    a = _distance(row.text("electrical_distance"), np.maximum(U, U_o))
    a = a + _adder(row.number("per_kv"), k * U, row.number("above_kv"))
    a = a + _adder(row.number("other_per_kv"), k * U_o, row.number("other_above_kv"))
    steps = np.maximum(Z - row.number("altitude_above"), 0) / row.number("altitude_step")
    share = row.number("altitude_share")
    z = np.where(share == 0, 0.0, a * share * steps)
    limit, buffer = row.number("max_altitude"), row.number("buffer")
    base = np.where((limit == np.inf) | (limit >= Z), row.number("base"), np.nan)
    short = np.maximum(row.number("minimum") - (base + a + z), 0)
    return Terms(base, a, z, short, buffer, base + a + z + short + buffer)


def required(rules, against, measure, case, voltage_kv, altitude, *, swung=None, other_kv=None):
    """Return the row of the rule that is for each pair, and what it requires: `choose`, then `requirement`.

    Where no rule keeps a category clear in a measure (`lacks_rule`) the electrical distance is required, that between
    phases of other lines, at the higher of both voltages; above 1000 m more of it (`thin_air`).

    Returns
    -------
    rule : ndarray of int, shape (...)
        `ELECTRICAL` where the electrical distance stands in, `NONE` where there is none.
    terms : Terms
    """
    rule = choose(rules, against, measure, case, voltage_kv, swung=swung, other_kv=other_kv)
    terms = requirement(rules, rule, voltage_kv, altitude, other_kv=other_kv)
    given = np.broadcast_arrays(against, measure, rule, voltage_kv, voltage_kv if other_kv is None else other_kv)
    own, of, row, U, U_o = (np.ravel(v) for v in given)
    lone, gap, row = np.flatnonzero(row < 0), np.full(len(row), np.nan), row.copy()
    for each in np.unique(of[lone].astype(str)):
        at = lone[of[lone] == each]
        at = at[lacks_rule(rules, own[at], each)]
        higher = electrical_distance(np.maximum(U[at], U_o[at]), "D_pp")
        row[at], gap[at] = ELECTRICAL, np.where(own[at] == "line", higher, electrical_distance(U[at]))
    rule, gap = row.reshape(rule.shape), gap.reshape(rule.shape)
    more = gap * thin_air(altitude)
    stands_in = {"voltage_adder": gap, "altitude_adder": more, "required": gap + more}
    return rule, Terms(**{name: np.where(rule == ELECTRICAL, stands_in.get(name, 0.0), values)
                          for name, values in terms._asdict().items()})


@dataclass(frozen=True)
class _Picked:
    """Columns at chosen rows: nan and "" where the index is -1."""

    rules: Rules
    index: np.ndarray

    def number(self, name):
        return np.append(getattr(self.rules, name), np.nan)[self.index]

    def text(self, name):
        return np.asarray(np.append(getattr(self.rules, name), "")[self.index], object)


def most_required(rules, measure, voltage_kv):
    """Return no less than any row of a measure requires of any category, in any case and at any altitude up to 6000 m,
    beside any line of up to 1200 kV [m]; 0 without a row.

    Examples
    --------
    >>> most_required(load_table("european-electrical-distance"), "horizontal", 245.0) < 20
    True
    """
    row = np.flatnonzero(rules.measure == measure)[:, None, None]
    other = np.array([voltage_kv, *_distances()["highest_voltage"], 1200.0])
    found = requirement(rules, row, voltage_kv, np.array([[0.0], [6000.0]]), other_kv=other).required
    return float(np.fmax.reduce(found, axis=None, initial=0.0))


def _adder(per_kv, voltage, above):
    return np.where(per_kv == 0, 0.0, per_kv * np.maximum(voltage - above, 0))


def _distance(kind, voltage):
    total = np.zeros(kind.shape)
    for name in ("D_el", "D_pp"):
        total = total + np.where(kind == name, electrical_distance(voltage, name), 0.0)
    return total


@cache
def _distances():
    rows = read_records(FOLDER / "electrical_distance.csv")
    kinds = {"highest_voltage": float, "D_el": float, "D_pp": float, "confidence": str}
    return {name: np.array([kind(row[name]) for row in rows], float if kind is float else object)
            for name, kind in kinds.items()}


def greatest_distance():
    """Return the greatest electrical distance between phases that is known [m]."""
    return float(_distances()["D_pp"].max())


def distance_confidence(voltage_kv):
    """Return how the electrical distance of a highest system voltage [kV] is known, "" where it is not."""
    return _of_distances(voltage_kv, "confidence", "")


def _of_distances(voltage_kv, column, unknown):
    """A column of the table of distances by highest system voltage [kV]: of the next higher one."""
    table, U = _distances(), np.asarray(voltage_kv, float)
    place = np.searchsorted(table["highest_voltage"], U)
    return np.where(U > 0, np.append(table[column], unknown)[place], unknown)


def thin_air(altitude):
    """Return the share by which an air gap is greater than up to 1000 m, at an elevation Z [m].

    `exp((Z - 1000)/8150) - 1`: IEC 60071-2 for lightning impulses (recalled), which ask for the most; the distance is
    taken to grow with the voltage to withstand.
    """
    return np.expm1(np.maximum(np.asarray(altitude, float) - 1000.0, 0.0) / 8150.0)


def electrical_distance(voltage_kv, kind="D_el"):
    """Return the air gap that withstands the overvoltages of a system [m].

    Parameters
    ----------
    voltage_kv : array_like
        Highest system voltage, line to line [kV]. Between two voltages of the table, and below its
        first, the value of the next higher one; nan above its last, and for no positive voltage.
    kind : str
        "D_el" to earth, "D_pp" between phase conductors.

    References
    ----------
    EN 50341-1, table of minimum air clearances by highest system voltage (recalled).

    Examples
    --------
    >>> electrical_distance([123.0, 130.0, 900.0])
    array([1. , 1.2, nan])
    """
    return _of_distances(voltage_kv, kind, np.nan)
