"""Doors to the arrays, without a study: a catenary, the rating of a wire, a conductor of the catalogue.

All take and return numbers or arrays, which broadcast; what is not known (nan) makes nan.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.conductor import catalogue
from corridor.conductor.conductor import Conductor
from corridor.geometry import catenary as curve
from corridor.rating.ratings import wire_of
from corridor.thermal import rating
from corridor.thermal.balance import Weather

__all__ = ["Catenary", "Weather", "catenary", "find_conductor", "rated_current", "wire_temperature"]

#: Return the Conductor of a designation or code word of the catalogue; InputError where there is none.
find_conductor = catalogue.find


class Catenary(NamedTuple):
    """A wire between two points: `sag`, maximum drop below the chord [m]; `arc_length` [m]; `low_point`, distance of
    the lowest point of the curve from the left end, outside the span where the wire only rises or falls [m];
    `left_tension`, `right_tension` at the ends over the horizontal tension [-]."""

    sag: Array
    arc_length: Array
    low_point: Array
    left_tension: Array
    right_tension: Array


def catenary(span: ArrayLike, constant: ArrayLike, rise: ArrayLike = 0.0) -> Catenary:
    """Return the shape of a wire in a span.

    Parameters
    ----------
    span : array_like
        Horizontal distance between the ends [m].
    constant : array_like
        Catenary constant: horizontal tension over weight per length [m].
    rise : array_like
        Height of the right end above the left [m].

    References
    ----------
    As `corridor.geometry.catenary`.

    Examples
    --------
    >>> catenary([300.0, 400.0], 1500.0).sag.round(2)
    array([ 7.51, 13.35])
    >>> catenary(400.0, 1200.0, rise=-60.0).sag.round(2)
    np.float64(16.89)
    """
    S, C, h = np.broadcast_arrays(*(np.asarray(value, float) for value in (span, constant, rise)))
    return Catenary(curve.greatest_sag(S, h, C), curve.arc_length(S, h, C), curve.low_point(S, h, C),
                    *curve.end_tension_ratios(S, h, C))


def rated_current(conductor: Conductor | str, temperature: ArrayLike, weather: Weather, *, method: str = "ieee738",
                  frequency: float = 50.0) -> Array:
    """Return the current that holds one wire steadily at temperatures [A].

    Parameters
    ----------
    conductor : Conductor or str
        Or its name in the catalogue.
    temperature : array_like
        Of the wire [°C].
    weather : Weather
    method : str
        "ieee738" or "cigre601".
    frequency : float
        [Hz]

    References
    ----------
    IEEE Std 738; CIGRE TB 601: see `corridor.thermal`.

    Examples
    --------
    >>> summer = Weather(ambient=35, wind_speed=0.6, wind_angle=90, emissivity=0.8, absorptivity=0.8, solar=1000,
    ...                  elevation=0)
    >>> rated_current("Zebra", [75.0, 90.0], summer).round()
    array([807., 986.])
    """
    return rating.current_at(method, temperature, weather, wire_of(_found(conductor), frequency))


def wire_temperature(conductor: Conductor | str, current: ArrayLike, weather: Weather, *, method: str = "ieee738",
                     frequency: float = 50.0) -> Array:
    """Return the steady temperature [°C] of one wire that carries currents [A]; inf where it would melt.

    Parameters as of `rated_current`.

    Examples
    --------
    >>> still = Weather(ambient=20, wind_speed=0, wind_angle=90, emissivity=0.5, absorptivity=0.5, solar=0, elevation=0)
    >>> wire_temperature("Zebra", [0.0, 500.0], still).round(1)
    array([20. , 41.4])
    """
    return rating.temperature_at(method, current, weather, wire_of(_found(conductor), frequency))


def _found(conductor):
    return find_conductor(conductor) if isinstance(conductor, str) else conductor
