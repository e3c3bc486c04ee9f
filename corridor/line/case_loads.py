"""What a metre of wire carries in each case."""

from collections.abc import Sequence

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.constants import GRAVITY
from corridor.line.facts import Case
from corridor.mechanics.loads import ice_thickness, ice_weight, wind_force, with_constant

__all__ = ["case_loads", "sleeves"]


def case_loads(diameter: ArrayLike, mass: ArrayLike, cases: Sequence[Case], *, tension: bool = False
               ) -> tuple[Array, Array]:
    """Return weight and wind of a metre of wire in the cases, its ice all over [N/m], shape (..., case).

    Parameters
    ----------
    diameter, mass : array_like, shape (...)
        [m], [kg/m]
    cases : sequence of Case
    tension : bool
        With the constants that codes add where tension is asked for.
    """
    D, m = (np.asarray(v, float)[..., None] for v in (diameter, mass))
    density, pressure, constant = (np.array([getattr(case, key) for case in cases], float)
                                   for key in ("ice_density", "wind", "constant"))
    t = sleeves(diameter, cases)
    loads = m * GRAVITY + ice_weight(D, t, density), wind_force(D, t, pressure)
    return with_constant(*loads, constant) if tension else loads


def sleeves(diameter: ArrayLike, cases: Sequence[Case]) -> Array:
    """Return the radial thickness of the ice of cases on wires [m], shape (..., case); of a density as the case says.

    Parameters
    ----------
    diameter : array_like, shape (...)
        [m]
    cases : sequence of Case
    """
    D = np.asarray(diameter, float)[..., None]
    t, w, k, density = (np.array([getattr(case, key) for case in cases], float)
                        for key in ("ice", "ice_weight", "ice_weight_per_diameter", "ice_density"))
    return t + ice_thickness(D, w + k * D, density)
