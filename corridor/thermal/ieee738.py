"""Heat gained and lost by a metre of bare wire, by IEEE Std 738.

Every function returns [W/m] and broadcasts its arguments. Heat that leaves the wire is positive in
`convection` and `radiation`, negative where the air is the warmer of the two.

References
----------
IEEE Std 738-2012, clause 4.4, formulas recalled, and verified against the standard's worked example
(`tests/published/test_ieee738.py`).
"""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.thermal import air

__all__ = ["convection", "radiation", "solar_gain", "wind_angle_factor"]


def wind_angle_factor(wind_angle: ArrayLike) -> Array:
    """Share of the crosswise cooling that a slanted wind keeps [-].

    `K = 1.194 - cos(phi) + 0.194 cos(2 phi) + 0.368 sin(2 phi)`, `phi` between wind and wire [deg].

    Examples
    --------
    >>> [round(float(wind_angle_factor(a)), 4) for a in (0, 45, 90)]
    [0.388, 0.8549, 1.0]
    """
    phi = np.radians(air.acute_angle(wind_angle))
    return 1.194 - np.cos(phi) + 0.194 * np.cos(2 * phi) + 0.368 * np.sin(2 * phi)


def convection(temperature: Number, *, ambient: Number, wind_speed: Number, wind_angle: Number, elevation: Number,
               diameter: Number, outer_wire_diameter: Number | None = None) -> Array:
    """Heat carried off by air: the greatest of low wind, high wind and still air [W/m].

    Parameters
    ----------
    temperature, ambient : array_like
        Wire surface and air [°C].
    wind_speed : array_like
        [m/s], 0 is still air.
    wind_angle : array_like
        Between wind and wire [deg], 90 is across.
    elevation : array_like
        Above sea level [m].
    diameter : array_like
        Outer diameter of the wire [m].
    outer_wire_diameter : ignored
        This method does not know the roughness of the surface.

    Notes
    -----
    With `Re = D rho V / mu` and `dT` the excess over air:
    `qc1 = K (1.01 + 1.35 Re^0.52) k dT`, `qc2 = K 0.754 Re^0.6 k dT`,
    `qcn = 3.645 rho^0.5 D^0.75 dT^1.25`.

    Examples
    --------
    >>> still = dict(ambient=40.0, wind_speed=0.0, wind_angle=90.0, elevation=0.0, diameter=0.02812)
    >>> round(float(convection(100.0, **still)), 1)
    42.4
    """
    D, dT = diameter, np.asarray(temperature - ambient, np.float64)
    Tf = air.film_temperature(temperature, ambient)
    rho, k = air.density(Tf, elevation), air.conductivity_ieee738(Tf)
    Re = D * rho * wind_speed / air.viscosity_ieee738(Tf)
    K = wind_angle_factor(wind_angle)
    per_kelvin = np.maximum(1.01 + 1.35 * Re**0.52, 0.754 * Re**0.6) * K * k
    qcn = 3.645 * rho**0.5 * D**0.75 * np.abs(dT) ** 1.25
    return np.sign(dT) * np.maximum(per_kelvin * np.abs(dT), qcn)


def radiation(temperature: Number, *, ambient: Number, emissivity: Number, diameter: Number) -> Number:
    """Heat radiated to surroundings at air temperature [W/m].

    `qr = 17.8 D eps [((T + 273)/100)^4 - ((Ta + 273)/100)^4]`

    Parameters
    ----------
    temperature, ambient : array_like
        Wire surface and air [°C].
    emissivity : array_like
        [-], 0 to 1.
    diameter : array_like
        Outer diameter [m].

    Examples
    --------
    >>> round(radiation(100.0, ambient=40.0, emissivity=0.8, diameter=0.02812), 1)
    39.1
    """
    D, eps = diameter, emissivity
    return 17.8 * D * eps * (((temperature + 273) / 100) ** 4 - ((ambient + 273) / 100) ** 4)


def solar_gain(*, solar: Number, absorptivity: Number, diameter: Number) -> Number:
    """Heat taken from the sun [W/m]: `qs = a S D`.

    `solar` S [W/m²] is what falls on the projected area of the wire, its diameter times its length:
    `corridor.thermal.sun.received` gives it from the sun's place.

    Examples
    --------
    >>> round(solar_gain(solar=1000.0, absorptivity=0.8, diameter=0.028), 2)
    22.4
    """
    S, a, D = solar, absorptivity, diameter
    return a * S * D
