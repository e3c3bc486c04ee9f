"""The resistance of an option's conductor as a function of temperature and current, made once and called often."""

import numpy as np
from numpy.polynomial import Chebyshev

from corridor.conductor.materials import find_material
from corridor.errors import InputError
from corridor.thermal.resistance import core_magnetisation_factor, dc_resistance, skin_effect_factor

__all__ = ["COLDEST", "computed", "is_magnetic", "refuse_steel", "tabulated"]

#: Range of temperatures that a resistance is made for [°C]: a wire colder than any air, and melting aluminium.
COLDEST, HOTTEST = -90.0, 661.0

#: Cores in which a field along them rises and falls with the current, by a word that describes their material.
_MAGNETIC = ("steel", "invar")

#: Degree of the polynomial that stands for the skin effect: within 3e-9 of the Bessel functions.
_DEGREE = 12


def computed(conductor, frequency):
    """Return the alternating-current resistance [ohm/m] of a conductor, as a function.

    Direct current at the temperature, times skin effect, times core magnetisation for one or three layers of
    aluminium over steel. The skin effect is a smooth function of conductance; a polynomial is two hundred times
    quicker than its Bessel functions.

    Parameters
    ----------
    conductor : Conductor
    frequency : float
        [Hz]

    Returns
    -------
    callable
        `(temperature [°C], current [A]) -> [ohm/m]`, from `COLDEST` to melting.
    """
    c = conductor
    ratio = np.nan_to_num(c.core_diameter) / c.diameter
    layers = int(np.nan_to_num(c.outer_layers)) if is_magnetic(c.core_material) else 0

    def dc(temperature):
        return dc_resistance(c.resistance_20, temperature, c.temperature_coefficient)

    skin = Chebyshev.interpolate(lambda G: skin_effect_factor(1 / G, frequency=frequency, core_ratio=ratio), _DEGREE,
                                 domain=[1 / dc(HOTTEST), 1 / dc(COLDEST)])

    def without_core(temperature, current):
        R = dc(temperature)
        return R * skin(1 / R)

    def resistance(temperature, current):
        return without_core(temperature, current) * core_magnetisation_factor(current, layers=layers,
                                                                              outer_area=c.outer_area)

    # The fields of an even number of layers cancel.
    return resistance if layers % 2 else without_core


def refuse_steel(conductor, tables):
    """Refuse to compute the resistance of a wire of steel without a table of it.

    Its resistance to alternating current grows with the current, beyond what skin effect tells: what is computed would
    be too little, and the current too much.

    Raises
    ------
    InputError
        The outer part is of steel, and `tables` hold nothing by the conductor's name.
    """
    if is_magnetic(conductor.outer_material) and conductor.name not in tables:
        raise InputError(None, "rating.resistances", f"none of {conductor.name}, a wire of steel",
                         "two or more measured resistances of it: to alternating current it has more than can be "
                         "computed, the more the greater the current")


def is_magnetic(material):
    """Return whether a field along a core of a material, by its name, rises and falls with the current."""
    return bool(material) and any(word in find_material(material).description for word in _MAGNETIC)


def tabulated(temperature, resistance, where="resistances"):
    """Return a measured alternating-current resistance as a function, straight between and beyond its points.

    Parameters
    ----------
    temperature, resistance : array_like, shape (n,)
        [°C] and [ohm/m], two points or more.
    where : str
        Place that an error names.

    Raises
    ------
    InputError
        Fewer than two temperatures, or a resistance that does not rise with temperature, or that would be nothing at
        `COLDEST`.

    Examples
    --------
    >>> R = tabulated([25, 75], [7.283e-5, 8.688e-5])
    >>> round(float(R(100.0, 0.0)) * 1e5, 4)
    9.3905
    """
    T, order = np.unique(np.asarray(temperature, float), return_index=True)
    R = np.asarray(resistance, float)[order]
    if len(T) < 2 or len(T) < len(temperature):
        raise InputError(None, where, f"{len(T)} different temperatures in {len(temperature)} rows",
                         "two or more, each once")
    first, last = np.diff(R)[[0, -1]] / np.diff(T)[[0, -1]]
    if np.any(np.diff(R) <= 0) or R[0] + first * (COLDEST - T[0]) <= 0:
        raise InputError(None, where, f"{R.tolist()} ohm/m at {T.tolist()} °C",
                         f"a resistance that rises with temperature, and from {COLDEST:g} °C on is more than 0")

    def table(at, current):
        beyond = first * np.minimum(at - T[0], 0) + last * np.maximum(at - T[-1], 0)
        return np.interp(at, T, R) + beyond + 0 * np.asarray(current, float)

    return table
