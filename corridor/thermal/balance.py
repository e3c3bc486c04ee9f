"""The heat balance of a metre of wire: weather, methods by name, and the root they are solved by.

`m c dT/dt = Ps + I^2 R(T, I) - Pc - Pr`: the sun and the current heat the wire, air and radiation
cool it. `METHODS` names whose formulas the sun, the air and the radiation come from; another method
is another entry.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import NamedTuple, Protocol

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.errors import InputError, nearest
from corridor.thermal import cigre601, ieee738

__all__ = ["METHODS", "RANGES", "Method", "Resistance", "Weather", "Wire", "net_cooling", "positive", "root", "within"]

#: Accepted ranges, wide enough for any place on Earth, narrow enough to catch a wrong unit.
RANGES = {
    "ambient": (-90.0, 70.0, "°C"),
    "wind_speed": (0.0, 100.0, "m/s"),
    "wind_angle": (-360.0, 360.0, "deg"),
    "emissivity": (0.0, 1.0, "as a share"),
    "absorptivity": (0.0, 1.0, "as a share"),
    "solar": (0.0, 2000.0, "W/m²"),
    "elevation": (-500.0, 9000.0, "m"),
}


class Method(Protocol):
    """Three functions [W/m] that make a heat balance: those of `ieee738` tell what they take."""

    def convection(self, temperature: Number, *, ambient: Number, wind_speed: Number, wind_angle: Number,
                   elevation: Number, diameter: Number, outer_wire_diameter: Number | None = None) -> Array:
        """Heat carried off by air."""

    def radiation(self, temperature: Number, *, ambient: Number, emissivity: Number, diameter: Number) -> Number:
        """Heat radiated."""

    def solar_gain(self, *, solar: Number, absorptivity: Number, diameter: Number) -> Number:
        """Heat taken from the sun."""


METHODS: dict[str, Method] = {"ieee738": ieee738, "cigre601": cigre601}

#: Alternating-current resistance [ohm/m] at a temperature [°C] and a current [A]; it does not fall when either rises.
Resistance = Callable[[Array, Array], Array]


class Wire(NamedTuple):
    """What the heat balance asks of a wire; numbers, or arrays that broadcast.

    `diameter` over the outer wires [m]; `resistance`; `outer_wire_diameter` of the wires in the outermost layer [m],
    for CIGRE's roughness: None is a smooth surface, the cautious choice.
    """

    diameter: Number
    resistance: Resistance
    outer_wire_diameter: Number | None = None


@dataclass(frozen=True, kw_only=True)
class Weather:
    """Air, wind and sun about a wire, and how its surface takes them; each a number or an array.

    Attributes
    ----------
    ambient : array_like
        Temperature of the air [°C].
    wind_speed, wind_angle : array_like
        [m/s]; between wind and wire [deg], 90 is across.
    emissivity, absorptivity : array_like
        Of the surface, for heat and for sunlight [-], 0 to 1.
    solar : array_like
        On the projected area of the wire [W/m²], 0 at night; `corridor.thermal.sun.received`
        computes it.
    elevation : array_like
        Above sea level [m]: thin air cools less.

    Raises
    ------
    InputError
        For a value outside `RANGES`. Not a number passes, and makes results that are not numbers.

    Examples
    --------
    >>> calm = dict(ambient=35, wind_angle=90, emissivity=0.8, absorptivity=0.8, solar=1000)
    >>> Weather(wind_speed=0.6, elevation=0, **calm).wind_speed
    array(0.6)
    >>> Weather(wind_speed=-1, elevation=0, **calm)
    Traceback (most recent call last):
    corridor.errors.InputError: wind_speed: found -1; accepted: 0 to 100 m/s
    """

    ambient: Array
    wind_speed: Array
    wind_angle: Array
    emissivity: Array
    absorptivity: Array
    solar: Array
    elevation: Array

    def __post_init__(self) -> None:
        for field in fields(self):
            value = within(field.name, getattr(self, field.name), *RANGES[field.name])
            object.__setattr__(self, field.name, value)


def within(name: str, given: ArrayLike, low: float, high: float, unit: str) -> Array:
    """Return a value as an array, if none of it is outside a range."""
    value = np.asarray(given, np.float64)
    wrong = value[(value < low) | (value > high)]
    if wrong.size:
        raise InputError(None, name, f"{wrong.flat[0]:g}", f"{low:g} to {high:g} {unit}")
    return value


def positive(name: str, given: ArrayLike, unit: str) -> Array:
    """Return a value as an array, if none of it is 0 or less."""
    value = np.asarray(given, np.float64)
    wrong = value[value <= 0]
    if wrong.size:
        raise InputError(None, name, f"{wrong.flat[0]:g}", f"more than 0 {unit}")
    return value


def _find(method: str) -> Method:
    if method not in METHODS:
        raise InputError(None, "method", repr(method), ", ".join(METHODS), nearest(method, METHODS))
    return METHODS[method]


def net_cooling(method: str, weather: Weather, wire: Wire) -> Callable[[Array], Array]:
    """Return the function of temperature [°C] that gives `Pc + Pr - Ps` [W/m].

    Raises
    ------
    InputError
        For an unknown method, or a diameter that is not positive.
    """
    heat, w = _find(method), weather
    D = positive("diameter", wire.diameter, "m")
    Ps = heat.solar_gain(solar=w.solar, absorptivity=w.absorptivity, diameter=D)

    def cooling(T: Array) -> Array:
        Pc = heat.convection(T, ambient=w.ambient, wind_speed=w.wind_speed, wind_angle=w.wind_angle,
                             elevation=w.elevation, diameter=D, outer_wire_diameter=wire.outer_wire_diameter)
        Pr = heat.radiation(T, ambient=w.ambient, emissivity=w.emissivity, diameter=D)
        return Pc + Pr - Ps

    return cooling


def root(function: Callable[[Array], Array], low: Array, high: Array, *, tolerance: float) -> Array:
    """Where a rising function is 0, for all elements at once.

    Newton's step, its slope a finite difference; the bracket is halved where that step leaves it
    or does not shrink as fast as halving would.

    Parameters
    ----------
    function : callable
        Array to array, not above 0 at `low` and not below it at `high`.
    low, high : ndarray
        Of the shape that `function` returns.
    tolerance : float
        In the unit of the argument.

    Returns
    -------
    ndarray
        nan where the function is not finite, or the root was not found.

    Examples
    --------
    >>> cubes = np.array([8.0, 0.0, np.nan])
    >>> root(lambda x: x**3 - cubes, np.zeros(3), np.full(3, 9.0), tolerance=1e-9).round(6)
    array([ 2.,  0., nan])
    """
    x, settled = (low + high) / 2, np.zeros(np.shape(low), bool)
    last, increment = high - low, 100 * tolerance
    for _ in range(100):
        value = function(x)
        low, high = np.where(value <= 0, x, low), np.where(value > 0, x, high)
        with np.errstate(divide="ignore", invalid="ignore"):
            newton = x - value * increment / (function(x + increment) - value)
        serves = (newton >= low) & (newton <= high) & (np.abs(newton - x) <= last / 2)
        new = np.where(serves, newton, (low + high) / 2)
        last = np.abs(new - x)
        x = np.where(settled, x, new)
        settled = settled | (last <= tolerance / 4) | ~np.isfinite(value)
        if np.all(settled):
            break
    return np.where(settled & np.isfinite(function(x)), x, np.nan)
