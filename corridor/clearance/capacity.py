"""What structures bear: loads of wires, with the load factors of a code, beside capacities with its strength factors.

A capacity is that of one point, at which a wire of all its subconductors pulls, or that of a structure as a whole, on
which all its wires pull at once. It is for wires alone: what the structure's own weight, and the wind on it, take of
its strength must be off already.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import shapely

from corridor.arrays import names_of
from corridor.line.hang import SIDES

__all__ = ["CHANGE", "COMPONENTS", "NOT_GIVEN", "Capacities", "Factors", "Totals", "factor_arrays", "point_columns",
           "states_at_structures"]

#: Components of a load, in the order of the last axis.
COMPONENTS = ("vertical", "transverse", "longitudinal")
#: What is told of a load for which no capacity is known.
NOT_GIVEN = "not given"
#: What is told of a structure at which the wires of a mix change.
CHANGE = "wires change here"
#: What is told of a wire's load where the capacity is that of the whole structure.
_WHOLE = "of the whole structure, in structure_capacity"
#: What is told where the load is not known.
_UNKNOWN = "not assessed: a wire of the structure has no tension"


@dataclass(frozen=True)
class Factors:
    """Factors of a case: on `vertical` loads, on those of `wind` and of `tension`; `strength` on capacities, by
    material ("" where none is told); `told` in words."""

    vertical: float = 1.0
    wind: float = 1.0
    tension: float = 1.0
    strength: Mapping[str, float] = field(default_factory=dict)
    told: str = "none"


@dataclass(frozen=True)
class Capacities:
    """Capacities as they are given; columns of shape (row,).

    Of each row either `structure` (with `line`, "" for whichever) or `framing` is told, the other is ""; `wire` is ""
    where the capacity is that of the structure as a whole; `material`; `load` (row, 3) vertical, transverse,
    longitudinal [N], nan where not given. `factors` by name of case; of other cases they are 1.
    """

    line: np.ndarray
    structure: np.ndarray
    framing: np.ndarray
    wire: np.ndarray
    material: np.ndarray
    load: np.ndarray
    factors: Mapping[str, Factors]

    def of(self, structures, at, wire):
        """Return the row for each structure (index) and wire ("": as a whole), -1 where none is; both of shape (row,).
        A row of a structure goes before that of its framing."""
        known = {key: i for i, key in enumerate(zip(self.line, self.structure, self.framing, self.wire, strict=True))}
        found = np.full(len(at), -1)
        for i, (s, name) in enumerate(zip(at, wire, strict=True)):
            own = structures.structure[s]
            for key in ((structures.line[s], own, "", name), ("", own, "", name),
                        ("", "", structures.framing[s], name)):
                if key in known:
                    found[i] = known[key]
                    break
        return found

    def allowed(self, row, case):
        """Return the capacity of rows in cases with its strength factor [N], (row, case, 3); nan where none is."""
        strength = np.array([[self._factors(each).strength.get(m, 1.0) for each in case] for m in self.material])
        load = self.load[:, None] * strength[..., None]
        return np.where((row >= 0)[:, None, None], load[row], np.nan)

    def _factors(self, case):
        return self.factors.get(case.name, Factors())

    def told(self, cases):
        """Return the factors of cases in words, (case,)."""
        return np.array([self._factors(case).told for case in cases], object)


def states_at_structures(cases):
    """Return how many states a structure has for each side of the wind: two where a case is another for each span that
    is looked at, that of the span back and that of the span ahead of it."""
    return 2 if any(case.by_span for case in cases) else 1


def factor_arrays(capacities, cases):
    """Return the factors on vertical loads, wind and tension of each case, each of shape (case,)."""
    known = [Factors() if capacities is None else capacities.factors.get(case.name, Factors()) for case in cases]
    return tuple(np.array([getattr(each, name) for each in known]) for name in ("vertical", "wind", "tension"))


def point_columns(capacities, scene, wire, totals, rows):
    """Return the columns of `structure_loads` that compare loads with capacities.

    Parameters
    ----------
    capacities : Capacities or None
    scene : Scene
    wire : ndarray of str, shape (row,)
    totals : tuple
        Structure (index) of each, and its load (row, option, case, bound, state, 3) with factors: down, right, ahead
        [N]. Empty where there are no capacities.
    rows : tuple of ndarray
        Row, option and case of each row of the layer.
    """
    r, o, k = rows
    if capacities is None:
        return _columns(np.full((len(r), 3), np.nan), np.full((len(r), 3), np.nan), np.full(len(r), NOT_GIVEN, object),
                        np.full(len(r), "none", object))
    structure, forces = totals
    row = capacities.of(scene.structures, structure, wire)
    whole = capacities.of(scene.structures, structure, np.full(len(row), "", object))
    size = np.abs(forces).max(axis=(3, 4))[r, o, k]
    allowed = capacities.allowed(row, scene.cases)[r, k]
    without = np.where(whole >= 0, _WHOLE, NOT_GIVEN)[r].astype(object)
    return _columns(size, allowed, without, capacities.told(scene.cases)[k])


def _columns(size, allowed, without, factors):
    """Columns of loads (row, 3) beside what is allowed; `without` what is told where nothing is given."""
    share = size / allowed
    given = np.isfinite(allowed).any(axis=1)
    known = given & ~(np.isfinite(allowed) & np.isnan(size)).any(axis=1)
    greatest = np.fmax.reduce(share, axis=1)
    greatest[~known] = np.nan
    told = without.copy()
    told[given & ~known] = _UNKNOWN
    for i in np.flatnonzero(known):
        told[i] = _words(size[i], allowed[i], share[i])
    over = np.full(len(size), None, object)
    over[known] = greatest[known] > 1 + 1e-9
    return {**{f"of_capacity_{name}": np.where(known, share[:, i], np.nan) for i, name in enumerate(COMPONENTS)},
            "of_capacity": greatest, "over_capacity": over, "capacity": told, "load_factors": factors}


def _words(size, allowed, share):
    """The component that has least to spare, and those of which no capacity is given."""
    i = int(np.nanargmax(share))
    without = [name for name, most in zip(COMPONENTS, allowed, strict=True) if np.isnan(most)]
    words = f"{COMPONENTS[i]} {size[i] / 1e3:.4g} kN of {allowed[i] / 1e3:.4g} kN"
    return words + (f"; {' and '.join(without)} {NOT_GIVEN}" if without else "")


class Totals:
    """Loads on structures as a whole, summed while batches pass by: at a strain structure two batches may meet.

    In a case with a broken wire one wire is, whichever makes the load the greatest, and all others are whole.
    Structures at which the wires of a mix change, `changes` by its name, are told of without a capacity, too.
    """

    def __init__(self, facts, changes=None):
        self.facts, given, self._changes = facts, facts.capacities, changes or {}
        count = len(facts.structures)
        self.row = np.full(count, -1)
        if given is not None:
            self.row = given.of(facts.structures, np.arange(count), np.full(count, "", object))
        self._told = (self.row >= 0) | np.isin(np.arange(count), [s for at in self._changes.values() for s in at])
        self.at, self._place = np.flatnonzero(self._told), np.cumsum(self._told) - 1
        # The least and the greatest, in each state, of two sides.
        self._sum = np.zeros((len(self.at), len(facts.names), len(facts.cases), 2, states_at_structures(facts.cases),
                              len(SIDES), 3))
        self._broken = np.array([case.broken is not None for case in facts.cases])
        # What one broken wire changes at the least and at the most.
        self._change = np.zeros((*self._sum.shape[:2], self._broken.sum(), 2, len(SIDES), 3))
        self._seen = np.zeros(len(self.at), bool)

    def add(self, structure=(), forces=()):
        """Add the loads of wires (row, option, case, bound, state, 3) [N], with their factors, on structures (row,)."""
        if not len(structure) or not len(self.at):
            return
        here = np.flatnonzero(self._told[structure])
        place = self._place[structure[here]]
        forces = forces[here]
        forces = forces.reshape(len(place), *self._sum.shape[1:])
        if self._broken.any():
            gone, whole = np.moveaxis(forces[:, :, self._broken], 4, 0)
            for bound, of in enumerate((np.minimum, np.maximum)):
                of.at(self._change[..., bound, :, :], place, (gone - whole)[..., bound, :, :])
            forces[:, :, self._broken] = whole[..., None, :, :]
        np.add.at(self._sum, place, forces)
        self._seen[place] = True

    def rows(self, base_elevation):
        """Return the rows of `structure_capacity`: one per structure with a capacity as a whole, option and case."""
        facts, x = self.facts, self.facts.structures
        s, o, k = (v.ravel() for v in np.indices(self._sum.shape[:3]))
        kept = self._seen[s]
        s, o, k = s[kept], o[kept], k[kept]
        whole = self._sum.copy()
        if self._broken.any():
            whole[:, :, self._broken] += self._change[..., None, :, :]
        size = np.abs(whole[s, o, k]).max(axis=(1, 2, 3))
        at = self.at[s]
        allowed = (np.full((len(s), 3), np.nan) if facts.capacities is None else
                   facts.capacities.allowed(self.row[self.at], facts.cases)[s, k])
        factors = (facts.capacities.told(facts.cases)[k] if facts.capacities is not None else
                   np.full(len(s), "none", object))
        place, names = np.stack([x.easting, x.northing, base_elevation], axis=-1), np.array(facts.names, object)[o]
        columns = _columns(size, allowed, np.full(len(s), NOT_GIVEN, object), factors)
        for name, changed in self._changes.items():
            columns["capacity"][(names == name) & np.isin(at, changed)] += f"; {CHANGE}"
        return {
            "line": x.line[at], "structure": x.structure[at], "role": x.role[at], "framing": x.framing[at],
            "option": names,
            "case": names_of(facts.cases)[k],
            **{f"factored_{name}_n": size[:, i] for i, name in enumerate(COMPONENTS)},
            **columns, "geometry": shapely.points(place)[at]}
