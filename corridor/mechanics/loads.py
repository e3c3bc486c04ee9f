"""Loads on a wire per unit of its length: own weight, ice, wind."""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.constants import GRAVITY

__all__ = ["ice_thickness", "ice_weight", "wind_force", "with_constant"]


def ice_weight(diameter: ArrayLike, thickness: ArrayLike, density: Number) -> Array:
    """Return the weight of a sleeve of ice, `w_i = pi rho g t (D + t)` [N/m].

    Parameters
    ----------
    diameter : array_like
        Outer diameter D of the wire [m].
    thickness : array_like
        Radial thickness t of the ice [m]; 0 for a bare wire.
    density : array_like
        Density rho of the ice [kg/m³]: glaze 900 to 917, hard rime 600 to 900, wet snow 300 to 900
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


def ice_thickness(diameter: ArrayLike, weight: ArrayLike, density: Number) -> Array:
    """Return the radial thickness of a round sleeve of ice by its weight, `t = (sqrt(D^2 + 4w/(pi rho g)) - D)/2` [m].

    Parameters
    ----------
    diameter : array_like
        Outer diameter D of the wire [m].
    weight : array_like
        Weight w of the ice [N/m].
    density : array_like
        Density rho of the ice [kg/m³].

    Examples
    --------
    >>> round(float(ice_thickness(0.02814, 14.589, 913.0)), 5)
    0.0127
    """
    D = np.asarray(diameter, float)
    return (np.sqrt(D**2 + 4 * np.asarray(weight, float) / (np.pi * density * GRAVITY)) - D) / 2


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


def with_constant(vertical: ArrayLike, transverse: ArrayLike, constant: ArrayLike) -> tuple[Array, Array]:
    """Return weight and wind of the load with a constant added to its resultant, along it [N/m].

    Some codes add one where tension is asked for, never for clearance: the load keeps its direction, so that no wire
    swings more for it.

    Parameters
    ----------
    vertical, transverse : array_like
        Weight w and wind p [N/m].
    constant : array_like
        K [N/m]: 0.30 lbf/ft in the heavy district of ANSI C2, Table 251-1 (recalled).

    Examples
    --------
    >>> w, p = with_constant(3.0, 4.0, 0.5)
    >>> round(float(w), 3), round(float(p), 3)
    (3.3, 4.4)
    """
    w, p, K = (np.asarray(v, float) for v in (vertical, transverse, constant))
    share = np.divide(K, np.hypot(w, p), out=np.zeros(np.broadcast_shapes(w.shape, p.shape, K.shape)),
                      where=np.broadcast_to(K > 0, np.broadcast_shapes(w.shape, p.shape, K.shape)))
    return w * (1 + share), p * (1 + share)
