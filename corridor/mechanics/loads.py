"""Loads on a wire per unit of its length: own weight, ice, wind."""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.constants import GRAVITY

__all__ = ["ice_weight", "resultant", "wind_force"]


def ice_weight(diameter: ArrayLike, thickness: ArrayLike, density: Number) -> Array:
    """Return the weight of a sleeve of ice, `w_i = pi rho g t (D + t)` [N/m].

    Parameters
    ----------
    diameter : array_like
        Outer diameter D of the wire [m].
    thickness : array_like
        Radial thickness t of the ice [m]; 0 for a bare wire.
    density : array_like
        Density rho of the ice [kg/m3]: glaze 900 to 917, hard rime 600 to 900, wet snow 300 to 900
        (ISO 12494, recalled).

    Examples
    --------
    >>> round(float(ice_weight(0.02814, 0.0127, 913.0)), 3)
    14.589
    >>> float(ice_weight(0.02814, 0.0, 913.0))
    0.0
    """
    D, t = np.asarray(diameter, float), np.asarray(thickness, float)
    return np.pi * density * GRAVITY * t * (D + t)


def wind_force(diameter: ArrayLike, ice_thickness: ArrayLike, pressure: ArrayLike) -> Array:
    """Return the wind force normal to the wire, `p (D + 2t)` [N/m].

    Parameters
    ----------
    diameter, ice_thickness : array_like
        Of the wire and, radially, of its ice [m].
    pressure : array_like
        Wind pressure on the projected area of the (iced) wire [Pa].
    """
    return np.asarray(pressure) * (np.asarray(diameter) + 2 * np.asarray(ice_thickness))


def resultant(vertical: ArrayLike, transverse: ArrayLike) -> Array:
    """Return the size of the load on the wire, `hypot(w, p)` [N/m]."""
    return np.hypot(vertical, transverse)
