"""Creep that is predicted where no creep curve was measured."""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.mechanics.elongation import Law

__all__ = ["HOURS_PER_YEAR", "outer_set_of_creep", "predicted_creep"]

#: Hours of a year of 365 days, as creep is usually counted: ten years are 87 600 h.
HOURS_PER_YEAR = 8760.0


def predicted_creep(share: ArrayLike, years: ArrayLike) -> Array:
    """Return the creep of a conductor of aluminium on steel at room temperature [-].

    `e = 2.4e-6 p^1.3 t^0.16`, with the tension p in percent of the rated strength and the time t in hours: Harvey and
    Larson (1972), also in IEEE Std 1283; recalled with medium confidence. Of another order than one measured wire it
    is not (728 against 524 microstrain for ten years at 20 %).

    Parameters
    ----------
    share : array_like
        Tension over rated tensile strength [-].
    years : array_like

    Examples
    --------
    >>> round(float(predicted_creep(0.2, 10.0)) * 1e6)
    728
    """
    percent = 100 * np.maximum(share, 0.0)
    return 2.4e-6 * percent**1.3 * (HOURS_PER_YEAR * np.asarray(years, float)) ** 0.16


def outer_set_of_creep(creep: Number, part: Law) -> Array:
    """Return the set of the outer part that makes a conductor that much longer [-].

    All of the creep is put on the aluminium, `s_o = e (K_o + K_c)/K_o`: of the two the core hardly creeps.
    """
    return creep * (part.outer_stiffness + part.core_stiffness) / part.outer_stiffness
