"""How much hotter the core of a wire is than its surface.

The current heats the aluminium, the heat leaves by the surface, and the gaps between strands hinder it on the way.

References
----------
Conduction through a tube that is heated evenly and sheds its heat outward (H. S. Carslaw and J. C. Jaeger, Conduction
of Heat in Solids, recalled). IEEE Std 738-2012 and CIGRE TB 601 (2014) give the same formula, recalled.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.thermal.balance import positive

__all__ = ["RADIAL_CONDUCTIVITY", "core_excess"]

#: Effective radial conductivity for which an excess is told where none is given [W/(m K)]. TB 601 names 0.7 for
#: aluminium that carries no tension and 1.5 for layers pressed together, IEEE 738 a range of 0.5 to 7, all recalled
#: (medium confidence). Annealed aluminium, or any above its knee, carries no tension: hence the lower one.
RADIAL_CONDUCTIVITY = 0.7


def core_excess(heat: ArrayLike, diameter: ArrayLike, core_diameter: ArrayLike,
                conductivity: ArrayLike = RADIAL_CONDUCTIVITY) -> Array:
    """Temperature of the core less that of the surface [K].

    `dT = P / (2 pi k) [1/2 - d^2/(D^2 - d^2) ln(D/d)]`; without a core the bracket is 1/2.

    Parameters
    ----------
    heat : array_like
        P, what the current makes in the wire [W/m].
    diameter, core_diameter : array_like
        D over the outer wires, d over the core [m], `0 <= d < D`.
    conductivity : array_like
        Effective, across the strands and their gaps, k [W/(m K)].

    Raises
    ------
    InputError
        For a diameter or conductivity that is not positive.

    Examples
    --------
    >>> round(float(core_excess(50.0, 0.0281, 0.0104, 1.5)), 2)
    1.82
    """
    D, k = positive("diameter", diameter, "m"), positive("radial_conductivity", conductivity, "W/(m K)")
    P, d = np.asarray(heat, np.float64), np.asarray(core_diameter, np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        hollow = d**2 / (D**2 - d**2) * np.log(D / d)
    bracket = 0.5 - np.where(d == 0, 0.0, hollow)
    return P / (2 * np.pi * k) * bracket
