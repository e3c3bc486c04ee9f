"""From strands to a conductor: layers, lay, mass and resistance by the recipe of the standards.

Outer wires run in helices, so a metre of conductor holds more than a metre of wire. The mean
increase `k` of a stranding lengthens mass and resistance alike:

    mass = A_o rho_o (1 + k_o) + A_c rho_c (1 + k_c)        resistance = r_o (1 + k_o) / A_o

with densities `rho` and resistivity `r`. IEC 61089 and EN 50182 count the aluminium alone as
conducting.

References
----------
IEC 61089:1991 and EN 50182:2001, increments due to stranding (values recalled; they reproduce the masses and
resistances of both standards' tables within 0.4 %, see the tests).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from corridor.arrays import Array

__all__ = [
    "CORE_LAY_INCREASE",
    "LAY_INCREASE",
    "LAYERS",
    "TYPICAL_LAY_INCREASE",
    "core_diameter",
    "diameter",
    "resistance",
    "strand_area",
    "stranded_mass",
]

#: Of one conductor, or of many at once.
_Size = TypeVar("_Size", float, "Array")

#: Mean increase of length by stranding k_o [-], by number of round outer wires.
LAY_INCREASE = {6: 0.0152, 18: 0.0190, 22: 0.0204, 24: 0.0212, 26: 0.0216, 30: 0.0223, 45: 0.0223, 54: 0.0233,
                84: 0.0240}

#: The same where the stranding is not known: the middle of two and three layers.
TYPICAL_LAY_INCREASE = 0.022

#: Mean increase of length by stranding k_c [-], by number of core wires.
CORE_LAY_INCREASE = {0: 0.0, 1: 0.0, 7: 0.0043, 19: 0.0077}

#: Layers of outer wires by their number (round wires).
LAYERS = {6: 1, 18: 2, 22: 2, 24: 2, 26: 2, 30: 2, 45: 3, 54: 3, 84: 4}

#: Diameter of the core over that of its wire, by number of wires.
CORE_RATIO = {1: 1.0, 7: 3.0, 19: 5.0}


def strand_area(count: int, wire_diameter: _Size) -> _Size:
    """Return the area of `count` round wires of a diameter [m] as [m2]."""
    return count * math.pi / 4 * wire_diameter**2


def core_diameter(count: int, wire_diameter: float) -> float:
    """Return the diameter [m] of a core of wires of a diameter [m]; nan unless 0, 1, 7 or 19."""
    return CORE_RATIO.get(count, math.nan) * wire_diameter if count else 0.0


def diameter(outer_count: int, outer_wire: float, core_count: int, core_wire: float) -> float:
    """Return the outer diameter [m]: the core and two wires per layer around it.

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
    return core_diameter(core_count, core_wire) + 2 * LAYERS[outer_count] * outer_wire


def stranded_mass(area: _Size, density: float, increase: float) -> _Size:
    """Return the mass [kg/m] of an area [m2] of a density [kg/m3], with its lay increase [-]."""
    return area * density * (1 + increase)


def resistance(area: _Size, resistivity: float, increase: float) -> _Size:
    """Return the dc resistance [ohm/m] of an area [m2] of a resistivity [ohm m], with its lay."""
    return resistivity * (1 + increase) / area
