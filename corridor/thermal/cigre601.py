"""Heat gained and lost by a metre of bare wire, by CIGRE Technical Brochure 601.

Every function returns [W/m] and broadcasts its arguments. Heat that leaves the wire is positive in
`convection` and `radiation`, negative where the air is the warmer of the two.

References
----------
CIGRE TB 601 (2014), sections on convective, radiative and solar heat, recalled. No printed example
of the brochure has been compared; wires are taken as level (no correction for slope).
"""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.constants import GRAVITY
from corridor.thermal import air

__all__ = [
    "convection",
    "forced_nusselt",
    "natural_nusselt",
    "radiation",
    "roughness",
    "solar_gain",
    "wind_angle_factor",
]

#: Stefan-Boltzmann constant as printed in the brochure [W/(m² K4)].
STEFAN_BOLTZMANN = 5.6697e-8

#: Roughness `Rs` that parts the two kinds of stranded surface [-].
ROUGH = 0.05

#: Power laws `factor * number**exponent`: upper ends of all rows but the last, factors, exponents.
#: Outside the printed range of Reynolds numbers the nearest row is carried on.
SMOOTH = (np.array([5e3, 5e4]), np.array([0.583, 0.148, 0.0208]), np.array([0.471, 0.633, 0.814]))
STRANDED = (np.array([2650.0]), np.array([0.641, 0.178]), np.array([0.471, 0.633]))
STRANDED_ROUGH = (np.array([2650.0]), np.array([0.641, 0.048]), np.array([0.471, 0.800]))
NATURAL = (
    np.array([1e2, 1e4, 1e7]),
    np.array([1.02, 0.850, 0.480, 0.125]),
    np.array([0.148, 0.188, 0.250, 0.333]),
)


def _power_law(number: Number, table: tuple[Array, Array, Array]) -> Array:
    upper_ends, factors, exponents = table
    row = np.searchsorted(upper_ends, number)
    # searchsorted sorts nan last, and nan to any power is nan again
    return factors[np.minimum(row, len(factors) - 1)] * number ** exponents[row]


def roughness(diameter: Number, outer_wire_diameter: Number | None) -> Array:
    """Roughness of a stranded surface [-]: `Rs = d / (2 (D - d))`; 0, or None, is smooth.

    Examples
    --------
    >>> round(float(roughness(0.0281, 0.00444)), 5)
    0.09383
    >>> float(roughness(0.0281, None))
    0.0
    """
    D = np.asarray(diameter, np.float64)
    d = np.asarray(0.0 if outer_wire_diameter is None else outer_wire_diameter, np.float64)
    return d / (2 * (D - d))


def forced_nusselt(Re: Number, Rs: Number) -> Array:
    """Nusselt number [-] of wind across the wire, from Reynolds number and roughness [-].

    A smooth surface (`Rs = 0`) is cooled least by a slow wind, and so is the cautious choice for a
    wire whose strands are not known or are shaped. Unknown (nan) roughness gives nan.

    Examples
    --------
    >>> round(float(forced_nusselt(865.06, 0.09383)), 2)
    15.5
    """
    surfaces = [Rs == 0, (Rs > 0) & (Rs <= ROUGH), Rs > ROUGH]
    laws = [_power_law(Re, table) for table in (SMOOTH, STRANDED, STRANDED_ROUGH)]
    return np.select(surfaces, laws, default=np.nan)


def wind_angle_factor(wind_angle: ArrayLike, Rs: Number) -> Array:
    """Share of the crosswise Nusselt number that a slanted wind keeps [-].

    Stranded: `0.42 + 0.68 sin(delta)^1.08` up to 24 deg, `0.42 + 0.58 sin(delta)^0.90` above.
    Smooth: `(sin(delta)^2 + 0.0169 cos(delta)^2)^0.225`. `delta` is between wind and wire [deg].

    Examples
    --------
    >>> round(float(wind_angle_factor(60.0, 0.09)), 5)
    0.92957
    """
    delta = air.acute_angle(wind_angle)
    sine, cosine = np.sin(np.radians(delta)), np.cos(np.radians(delta))
    stranded = np.where(delta <= 24, 0.42 + 0.68 * sine**1.08, 0.42 + 0.58 * sine**0.90)
    return np.where(Rs == 0, (sine**2 + 0.0169 * cosine**2) ** 0.225, stranded)


def natural_nusselt(temperature: Number, ambient: Number, diameter: Number, viscosity: Number) -> Array:
    """Nusselt number [-] of still air, `A (Gr Pr)^m`.

    `Gr = D^3 |dT| g / ((Tf + 273) nu^2)`, with `nu` the kinematic `viscosity` [m²/s].
    """
    D, dT, nu = diameter, np.abs(np.asarray(temperature - ambient, np.float64)), viscosity
    Tf = air.film_temperature(temperature, ambient)
    Gr = D**3 * dT * GRAVITY / ((Tf + 273) * nu**2)
    return _power_law(Gr * air.prandtl(Tf), NATURAL)


def convection(temperature: Number, *, ambient: Number, wind_speed: Number, wind_angle: Number, elevation: Number,
               diameter: Number, outer_wire_diameter: Number | None = None) -> Array:
    """Heat carried off by air: the greater of wind and still air [W/m].

    `Pc = pi lambda dT Nu`

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
    outer_wire_diameter : array_like or None
        Of the wires in the outermost layer [m]; None or 0 is a smooth surface.

    Examples
    --------
    >>> breeze = dict(ambient=40., wind_speed=0.61, wind_angle=90., elevation=0., diameter=0.0281)
    >>> round(float(convection(100.0, **breeze, outer_wire_diameter=0.00444)), 2)
    83.55
    >>> round(float(convection(100.0, **breeze)), 2)
    75.99
    """
    Tf = air.film_temperature(temperature, ambient)
    nu = air.viscosity_cigre601(Tf) / air.density(Tf, elevation)
    Rs = roughness(diameter, outer_wire_diameter)
    forced = forced_nusselt(diameter * wind_speed / nu, Rs) * wind_angle_factor(wind_angle, Rs)
    Nu = np.maximum(forced, natural_nusselt(temperature, ambient, diameter, nu))
    return np.pi * air.conductivity_cigre601(Tf) * (temperature - ambient) * Nu


def radiation(temperature: Number, *, ambient: Number, emissivity: Number, diameter: Number) -> Number:
    """Heat radiated to surroundings at air temperature [W/m].

    `Pr = pi D sigma eps [(T + 273)^4 - (Ta + 273)^4]`, arguments as in `ieee738.radiation`.

    Examples
    --------
    >>> round(float(radiation(100.0, ambient=40.0, emissivity=0.8, diameter=0.0281)), 2)
    39.08
    """
    D, eps, sigma = diameter, emissivity, STEFAN_BOLTZMANN
    return np.pi * D * sigma * eps * ((temperature + 273) ** 4 - (ambient + 273) ** 4)


def solar_gain(*, solar: Number, absorptivity: Number, diameter: Number) -> Number:
    """Heat taken from the sun [W/m]: `Ps = a S D`, S the global intensity on the wire [W/m²].

    Examples
    --------
    >>> round(solar_gain(solar=1000.0, absorptivity=0.8, diameter=0.0281), 2)
    22.48
    """
    S, a, D = solar, absorptivity, diameter
    return a * S * D
