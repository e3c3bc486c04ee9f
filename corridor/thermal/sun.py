"""Where the sun stands, and how much of it a wire receives, by IEEE Std 738.

Hours are solar time: the sun is due south or due north at 12. Angles are degrees; azimuths run
clockwise from north.

References
----------
IEEE Std 738-2012, clause 4.5 and its tables of coefficients, recalled, and verified against the
standard's worked example for a clear sky; the industrial sky is recalled only.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.errors import InputError, nearest

__all__ = [
    "ATMOSPHERES",
    "altitude",
    "azimuth",
    "declination",
    "elevation_factor",
    "incidence",
    "intensity",
    "received",
]

#: Coefficients of ascending powers of the sun's altitude [deg], intensity [W/m²] at sea level.
ATMOSPHERES = {
    "clear": (-42.2391, 63.8044, -1.9220, 3.46921e-2, -3.61118e-4, 1.94318e-6, -4.07608e-9),
    "industrial": (53.1821, 14.2110, 6.6138e-1, -3.1658e-2, 5.4654e-4, -4.3446e-6, 1.3236e-8),
}


def declination(day: ArrayLike) -> Array:
    """Declination of the sun [deg] on a day of the year (1 to 366).

    `delta = 23.46 sin((284 + N) 360/365)`; within 1.1 deg of the sun's true place.

    Examples
    --------
    >>> round(float(declination(161)), 1)
    23.0
    """
    N = np.asarray(day, np.float64)
    return 23.46 * np.sin(np.radians((284 + N) * 360 / 365))


def _hour_angle(hour: ArrayLike) -> Array:
    return np.radians(15 * (np.asarray(hour, np.float64) - 12))


def altitude(latitude: ArrayLike, day: ArrayLike, hour: ArrayLike) -> Array:
    """Altitude of the sun above the horizon [deg], negative at night.

    `Hc = arcsin(cos Lat cos delta cos omega + sin Lat sin delta)`

    Parameters
    ----------
    latitude : array_like
        [deg], north positive.
    day : array_like
        Of the year, 1 to 366.
    hour : array_like
        Solar time [h], 0 to 24.

    Examples
    --------
    >>> round(float(altitude(30.0, 161, 11.0)), 1)
    74.9
    """
    Lat, delta, omega = np.radians(latitude), np.radians(declination(day)), _hour_angle(hour)
    sine = np.cos(Lat) * np.cos(delta) * np.cos(omega) + np.sin(Lat) * np.sin(delta)
    return np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0)))


def azimuth(latitude: ArrayLike, day: ArrayLike, hour: ArrayLike) -> Array:
    """Azimuth of the sun [deg], clockwise from north, 0 to 360.

    `Zc = C + arctan(chi)`, `chi = sin omega / (sin Lat cos omega - cos Lat tan delta)`.

    The standard's table of `C` is the quadrant of numerator and denominator. `arctan2` finds the
    same one, and stays right where the table fails, at noon with the sun in the north.

    Examples
    --------
    >>> round(float(azimuth(30.0, 161, 11.0)))
    114
    >>> float(azimuth(-30.0, 161, 12.0))
    0.0
    """
    Lat, delta, omega = np.radians(latitude), np.radians(declination(day)), _hour_angle(hour)
    denominator = np.sin(Lat) * np.cos(omega) - np.cos(Lat) * np.tan(delta)
    return np.mod(180 + np.degrees(np.arctan2(np.sin(omega), denominator)), 360)


def elevation_factor(elevation: Number) -> Number:
    """Growth of the sun's intensity with elevation [m]: `K = 1 + 1.148e-4 He - 1.108e-8 He^2` [-].

    Examples
    --------
    >>> round(elevation_factor(1000.0), 4)
    1.1037
    """
    He = elevation
    return 1 + 1.148e-4 * He - 1.108e-8 * He**2


def intensity(sun_altitude: ArrayLike, atmosphere: str = "clear") -> Array:
    """Direct and diffuse intensity on a surface that faces the sun, at sea level [W/m²].

    `Qs = sum a_i Hc^i`, never below 0, and 0 with the sun at or under the horizon.

    Raises
    ------
    InputError
        If the atmosphere is not one of `ATMOSPHERES`.

    Examples
    --------
    >>> round(float(intensity(74.8)))
    1027
    >>> float(intensity(-5.0))
    0.0
    """
    if atmosphere not in ATMOSPHERES:
        accepted, hint = ", ".join(ATMOSPHERES), nearest(atmosphere, ATMOSPHERES)
        raise InputError(None, "atmosphere", repr(atmosphere), accepted, hint)
    Hc = np.asarray(sun_altitude, np.float64)
    Qs = np.polynomial.polynomial.polyval(Hc, ATMOSPHERES[atmosphere])
    return np.where(Hc <= 0, 0.0, np.maximum(Qs, 0.0))[()]


def incidence(sun_altitude: ArrayLike, sun_azimuth: ArrayLike, line_azimuth: ArrayLike) -> Array:
    """Angle between the sun's rays and the wire [deg], 0 to 180.

    `theta = arccos(cos Hc cos(Zc - Zl))`

    Examples
    --------
    >>> round(float(incidence(74.8, 114.0, 90.0)), 1)
    76.1
    """
    Hc, Zc, Zl = (np.asarray(v, np.float64) for v in (sun_altitude, sun_azimuth, line_azimuth))
    return np.degrees(np.arccos(np.cos(np.radians(Hc)) * np.cos(np.radians(Zc - Zl))))


def received(*, latitude: ArrayLike, day: ArrayLike, hour: ArrayLike, line_azimuth: ArrayLike, elevation: Number,
             atmosphere: str = "clear") -> Array:
    """Intensity on the projected area of the wire [W/m²]: the `solar` of a heat balance.

    `S = K Qs sin theta`

    Parameters
    ----------
    latitude : array_like
        [deg], north positive.
    day, hour : array_like
        Day of the year; solar time [h].
    line_azimuth : array_like
        Bearing of the wire [deg], either way along it.
    elevation : array_like
        Above sea level [m].
    atmosphere : str
        A key of `ATMOSPHERES`.

    Raises
    ------
    InputError
        If the atmosphere is not one of `ATMOSPHERES`.

    Examples
    --------
    >>> round(float(received(latitude=30.0, day=161, hour=11.0, line_azimuth=90.0, elevation=0.0)))
    998
    """
    Hc, Zc = altitude(latitude, day, hour), azimuth(latitude, day, hour)
    theta = np.radians(incidence(Hc, Zc, line_azimuth))
    return elevation_factor(elevation) * intensity(Hc, atmosphere) * np.sin(theta)
