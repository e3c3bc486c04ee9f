"""From strands to a conductor: layers, lay, mass, strength and resistance by the recipe of the standards.

Outer wires run in helices, so a metre of conductor holds more than a metre of wire. The mean
increase `k` of a stranding lengthens mass and resistance alike:

    mass = A_o rho_o (1 + k_o) + A_c rho_c (1 + k_c)        resistance = r_o (1 + k_o) / A_o

with densities `rho` and resistivity `r`. Strength is `A_o s_o + A_c s_c` with the rated
stresses `s`. IEC 61089 and EN 50182 count the aluminium alone as conducting.

References
----------
IEC 61089:1991 and EN 50182:2001, increments due to stranding (values recalled, those of 7, 19, 37, 61 and 91 wires from
a table that was read; they reproduce the masses and resistances of both standards' tables within 0.4 %, see the
tests; 12, 48 and 72 wires worked out for layers that wind once in 13 of their diameters, the outer one in 12).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from corridor.arrays import Array
    from corridor.conductor.materials import Material

__all__ = [
    "CORE_LAY_INCREASE",
    "LAY_INCREASE",
    "LAYERS",
    "TYPICAL_LAY_INCREASE",
    "core_diameter",
    "diameter",
    "mass",
    "rated_strength",
    "resistance",
    "strand_area",
    "stranded_mass",
]

#: Of one conductor, or of many at once.
_Size = TypeVar("_Size", float, "Array")

#: Mean increase of length by stranding k_o [-], by number of round outer wires.
LAY_INCREASE = {6: 0.0152, 7: 0.0111, 12: 0.0219, 18: 0.0190, 19: 0.0169, 22: 0.0204, 24: 0.0212, 26: 0.0216,
                30: 0.0223, 37: 0.0204, 45: 0.0223, 48: 0.0227, 54: 0.0233, 61: 0.0237, 72: 0.0232, 84: 0.0240,
                91: 0.0279}

#: The same where the stranding is not known: the middle of two and three layers.
TYPICAL_LAY_INCREASE = 0.022

#: Mean increase of length by stranding k_c [-], by number of core wires.
CORE_LAY_INCREASE = {0: 0.0, 1: 0.0, 7: 0.0043, 19: 0.0077}

#: Layers of outer wires by their number (round wires): around a core, or around one wire of their own.
LAYERS = {1: 0, 6: 1, 7: 1, 8: 1, 12: 1, 16: 1, 18: 2, 19: 2, 22: 2, 24: 2, 26: 2, 30: 2, 36: 3, 37: 3, 45: 3, 48: 3,
          54: 3, 61: 4, 72: 4, 84: 4, 91: 5}

#: Diameter of the core over that of its wire, by number of wires.
CORE_RATIO = {1: 1.0, 7: 3.0, 19: 5.0}


def strand_area(count: int, wire_diameter: _Size) -> _Size:
    """Return the area of `count` round wires of a diameter [m] as [m²]."""
    return count * math.pi / 4 * wire_diameter**2


def core_diameter(count: int, wire_diameter: float) -> float:
    """Return the diameter [m] of a core of wires of a diameter [m]; nan unless 0, 1, 7 or 19."""
    return CORE_RATIO.get(count, math.nan) * wire_diameter if count else 0.0


def diameter(outer_count: int, outer_wire: float, core_count: int, core_wire: float) -> float:
    """Return the outer diameter [m]: the core, or without one a wire in the middle, and two wires per layer around it.

    Parameters
    ----------
    outer_count, core_count : int
        Number of round wires; known strandings only.
    outer_wire, core_wire : float
        Wire diameters [m].

    Examples
    --------
    >>> round(diameter(54, 3.18e-3, 7, 3.18e-3) * 1e3, 2)
    28.62
    """
    middle = core_diameter(core_count, core_wire) if core_count else outer_wire
    return middle + 2 * LAYERS[outer_count] * outer_wire


def stranded_mass(area: _Size, density: float, increase: float) -> _Size:
    """Return the mass [kg/m] of an area [m²] of a density [kg/m³], with its lay increase [-]."""
    return area * density * (1 + increase)


def mass(outer: Material, core: Material | None, outer_area: _Size, core_area: _Size, *, outer_lay: float,
         core_strands: int) -> _Size:
    """Return the mass [kg/m] of parts by their areas [m²], without grease."""
    outer_mass = stranded_mass(outer_area, outer.density, outer_lay)
    return outer_mass if core is None else outer_mass + stranded_mass(core_area, core.density,
                                                                      CORE_LAY_INCREASE[core_strands])


def rated_strength(outer: Material, core: Material | None, outer_area: _Size, core_area: _Size, *,
                   kept: float = 1.0) -> _Size:
    """Return the rated tensile strength [N] of parts by their areas [m²]; the core's lay keeps a share of its own.

    Annealed aluminium stretches so far that the core reaches its ultimate strength; other aluminium breaks first, and
    the core counts with its stress at about 1 % extension, as steel does in IEC 61089.
    """
    outer_strength = outer_area * outer.rated_stress
    if core is None:
        return outer_strength
    stress = core.rated_stress if math.isnan(outer.yield_stress) else core.strength
    return outer_strength + core_area * stress * kept


def resistance(outer: Material, outer_area: _Size, outer_lay: float) -> _Size:
    """Return the dc resistance at 20 °C [ohm/m] of an area [m²] with its lay."""
    return outer.resistivity * (1 + outer_lay) / outer_area
