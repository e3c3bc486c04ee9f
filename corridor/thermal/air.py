"""Air beside the wire: properties at film temperature, and the angle at which the wind meets it.

The two methods of rating give air slightly different viscosities and conductivities; the density is
one. Kelvins are whole in both (`T + 273`), as their printed formulas have it.

References
----------
IEEE Std 738-2012, clause 4.4 (air), recalled, and verified against its worked example.
CIGRE TB 601 (2014), section on convective cooling, recalled; its annexes have not been read.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number

__all__ = [
    "acute_angle",
    "conductivity_cigre601",
    "conductivity_ieee738",
    "density",
    "film_temperature",
    "prandtl",
    "viscosity_cigre601",
    "viscosity_ieee738",
]

#: Specific heat of air at constant pressure [J/(kg K)], CIGRE TB 601, recalled.
AIR_SPECIFIC_HEAT = 1005.0


def film_temperature(temperature: Number, ambient: Number) -> Number:
    """Mean of wire surface and air [°C].

    Examples
    --------
    >>> film_temperature(100.0, 40.0)
    70.0
    """
    return (temperature + ambient) / 2


def density(film: Number, elevation: Number) -> Number:
    """Density of air [kg/m³] at film temperature [°C] and elevation above sea level [m].

    `rho = (1.293 - 1.525e-4 He + 6.379e-9 He^2) / (1 + 0.00367 Tf)`; both methods use it.

    Examples
    --------
    >>> round(density(70.0, 0.0), 3)
    1.029
    """
    Tf, He = film, elevation
    return (1.293 - 1.525e-4 * He + 6.379e-9 * He**2) / (1 + 0.00367 * Tf)


def viscosity_ieee738(film: Number) -> Number:
    """Dynamic viscosity [kg/(m s)] at film temperature [°C].

    `mu = 1.458e-6 (Tf + 273)^1.5 / (Tf + 383.4)`

    Examples
    --------
    >>> round(viscosity_ieee738(70.0) * 1e5, 2)
    2.04
    """
    Tf = film
    return 1.458e-6 * (Tf + 273) ** 1.5 / (Tf + 383.4)


def conductivity_ieee738(film: Number) -> Number:
    """Thermal conductivity [W/(m K)] at film temperature [°C].

    `k = 2.424e-2 + 7.477e-5 Tf - 4.407e-9 Tf^2`

    Examples
    --------
    >>> round(conductivity_ieee738(70.0), 4)
    0.0295
    """
    Tf = film
    return 2.424e-2 + 7.477e-5 * Tf - 4.407e-9 * Tf**2


def viscosity_cigre601(film: Number) -> Number:
    """Dynamic viscosity [kg/(m s)] at film temperature [°C].

    `mu = (17.239 + 4.635e-2 Tf - 2.03e-5 Tf^2) 1e-6`
    """
    Tf = film
    return (17.239 + 4.635e-2 * Tf - 2.03e-5 * Tf**2) * 1e-6


def conductivity_cigre601(film: Number) -> Number:
    """Thermal conductivity [W/(m K)] at film temperature [°C].

    `lambda = 2.368e-2 + 7.23e-5 Tf - 2.763e-8 Tf^2`
    """
    Tf = film
    return 2.368e-2 + 7.23e-5 * Tf - 2.763e-8 * Tf**2


def prandtl(film: Number) -> Number:
    """Prandtl number [-] of air at film temperature [°C]: `Pr = c mu / lambda` (CIGRE TB 601).

    Examples
    --------
    >>> round(prandtl(70.0), 3)
    0.716
    """
    return AIR_SPECIFIC_HEAT * viscosity_cigre601(film) / conductivity_cigre601(film)


def acute_angle(angle: ArrayLike) -> Array:
    """Fold an angle between wind and wire into 0 to 90 [deg]: cooling knows no front or back.

    Examples
    --------
    >>> float(acute_angle(-60.0)), float(acute_angle(270.0))
    (60.0, 90.0)
    """
    turned = np.mod(angle, 180.0)
    return np.minimum(turned, 180.0 - turned)
