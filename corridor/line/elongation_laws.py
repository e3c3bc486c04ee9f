"""The law of elongation of every wire, as arrays, made once per conductor."""

from collections.abc import Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from corridor.arrays import Array, Booleans, Index, Texts
from corridor.conductor.conductor import Conductor
from corridor.conductor.curves import NO_CURVE, Coefficients, curve_at
from corridor.line.facts import Wiring
from corridor.mechanics.elongation import Curved, Law, TwoPart

__all__ = ["CURVES", "GAP", "GIVEN", "PREDICTED", "at_end", "choose_law", "curved", "law_rows", "reshape_law",
           "take_law", "with_sets"]

#: One kind of law.
_Kind = TypeVar("_Kind", bound=Law)

#: How the permanent sets of a wire come about.
GIVEN, PREDICTED, CURVES, GAP = "given", "predicted", "curves", "gap"


def at_end(wiring: Wiring | None, end: int) -> Wiring | None:
    """Return a wiring with the curves at an end of their band, 0 the soft and 1 the stiff one; as it is where there is
    none."""
    if wiring is None or not wiring.conductor.curves_band:
        return wiring
    return replace(wiring, conductor=replace(wiring.conductor, curves=wiring.conductor.curves_band[end]))


def law_rows(wirings: Sequence[Wiring | None]) -> tuple[Law, Curved | None, Texts]:
    """Return law, creep law and method of each wiring.

    Parameters
    ----------
    wirings : sequence of Wiring or None
        None gives nan.

    Returns
    -------
    law : TwoPart or Curved of arrays (wiring,)
        Without sets; linear where no wiring needs more.
    creep : Curved of arrays (wiring,), or None
        Each part on its creep curve at the wiring's age; nan where it has none.
    method : ndarray of str, shape (wiring,)
    """
    method = np.array([GIVEN if w is None else _method(w.conductor) for w in wirings], object)
    rows = [_row(w.conductor) if w is not None else [np.nan] * len(Curved._fields) for w in wirings]
    law = Curved(*np.array(rows, float).T)
    bent = np.isfinite(law.core_bend) & (law.core_stiffness > 0)
    if np.isin(method, (GIVEN, PREDICTED)).all() and not bent.any():
        return TwoPart(*law[:7]), None, method
    creep = [_creep_row(w, row) for w, row in zip(wirings, rows, strict=True)]
    return law, Curved(*np.array(creep, float).T), method


def with_sets(law: Law, outer_set: Array, core_set: Array) -> Law:
    """Return the law of wires with these permanent sets [-]."""
    return law._replace(outer_set=outer_set, core_set=core_set)


def curved(law: Law) -> Curved:
    """Return a law that has curves. Raises TypeError where it has none."""
    if not isinstance(law, Curved):
        raise TypeError("a law without curves")
    return law


def take_law(law: _Kind, index: Index) -> _Kind:
    """Return the law with every field indexed alike."""
    return type(law)(*(np.asarray(field)[index] for field in law))


def choose_law(chosen: Booleans, law: _Kind, other: _Kind) -> _Kind:
    """Return the law where `chosen`, else the other; all of one shape."""
    return type(law)(*(np.where(chosen, a, b) for a, b in zip(law, other, strict=True)))


def reshape_law(law: _Kind, shape: tuple[int, ...]) -> _Kind:
    """Return the law with every field broadcast and reshaped alike."""
    whole = np.broadcast_shapes(*(np.shape(field) for field in law))
    return type(law)(*(np.broadcast_to(field, whole).reshape(shape) for field in law))


def _method(conductor: Conductor) -> str:
    if conductor.elongation == "gap":
        return GAP
    if conductor.curves is not None:
        return CURVES
    return GIVEN if conductor.set_given else PREDICTED


def _row(conductor: Conductor) -> list[float]:
    """Fields of `Curved` for a conductor without sets."""
    c, curves = conductor, conductor.curves
    outer, core = c.outer_area * c.outer_modulus, c.core_area * c.core_modulus
    curve, core_curve, ends = NO_CURVE, NO_CURVE, (np.inf, np.inf)
    if curves is not None:
        area = c.outer_area if curves.own_area else c.outer_area + c.core_area
        outer, curve, ends = curves.outer_final * area, _scaled(curves.outer, area), (curves.outer_end, curves.core_end)
        if not curves.own_area:
            core, core_curve = curves.core_final * area, _scaled(curves.core, area)
        elif core:
            core_curve = _scaled(curves.core, c.core_area)
    return [outer, core, c.outer_expansion, c.core_expansion, 0.0, 0.0, c.compression * c.outer_area,
            *curve, ends[0], *core_curve, ends[1], c.core_expansion_above, c.core_expansion_change]


def _scaled(curve: Coefficients, area: float) -> Coefficients:
    return tuple(coefficient * area for coefficient in curve)


def _creep_row(wiring: Wiring | None, row: list[float]) -> list[float]:
    """Fields of `Curved` on the creep curves. Sets of -1 keep the straight lines out of the way."""
    if wiring is None or wiring.conductor.curves is None:
        return [np.nan] * len(Curved._fields)
    aged = curve_at(wiring.conductor.curves, wiring.age)
    if aged is None:
        return [np.nan] * len(Curved._fields)
    wire, (outer, core) = wiring.conductor, aged
    areas = wire.outer_area, wire.core_area
    if not wiring.conductor.curves.own_area:
        areas = sum(areas), sum(areas)
    # A core without a curve does not creep: it stays on its line.
    bent = areas[1] > 0 and np.isfinite(core[0])
    return [*row[:4], -1.0, -1.0 if bent else 0.0, row[6], *_scaled(outer, areas[0]), row[12],
            *(_scaled(core, areas[1]) if bent else NO_CURVE), row[18], *row[19:]]
