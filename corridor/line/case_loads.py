"""What a metre of wire carries in each case."""

from collections.abc import Sequence

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.constants import GRAVITY
from corridor.line.facts import Case
from corridor.mechanics.loads import ice_weight, wind_force, with_constant

__all__ = ["case_loads"]


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
    t, density, pressure, constant = (np.array([getattr(case, key) for case in cases], float)
                                      for key in ("ice", "ice_density", "wind", "constant"))
    loads = m * GRAVITY + ice_weight(D, t, density), wind_force(D, t, pressure)
    return with_constant(*loads, constant) if tension else loads
