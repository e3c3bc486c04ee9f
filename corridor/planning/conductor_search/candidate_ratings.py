"""Ratings and losses of many candidates at once, in the weather of a study."""

from functools import cache

import numpy as np
from scipy.interpolate import RectBivariateSpline

from corridor.conductor.materials import find_material
from corridor.planning.conductor_search.candidates import CORES, builds
from corridor.thermal.radial import core_excess
from corridor.thermal.rating import MELTING, current_at, temperature_at
from corridor.thermal.resistance import core_magnetisation_factor, dc_resistance, skin_effect_factor

__all__ = ["candidate_ratings", "candidate_resistance"]

_MAGNETIC = ("steel", "aluminium-clad steel", "invar")


def candidate_ratings(c, space, heat, maximum, emergency, required_current):
    """Return rating, emergency rating [A] and loss at the required current [kW/km] of candidates, one wire a phase.

    Where wind or sun depend on the bearing, those of the bearing on which the wire of today carries least.

    Parameters
    ----------
    c : Candidates
    space : Space
    heat : Ratings
    maximum, emergency : ndarray, shape (candidate,)
        [degC]
    required_current : float
        [A]
    """
    if not len(c):
        return np.zeros(0), np.zeros(0), np.zeros(0)
    R = candidate_resistance(c, space, heat.frequency)
    # A surface of shaped wires is smooth: that of round ones next to nothing.
    strand = np.where(np.isnan(c.outer_wire), 1e-9, c.outer_wire)
    wire = {"diameter": c.diameter, "resistance": R, "outer_wire_diameter": strand}
    weather = heat.weather_at(_worst_bearing(heat))
    currents = [_current(heat, T, weather, wire, c) for T in (maximum, emergency)]
    T = temperature_at(heat.method, np.full(len(c), float(required_current)), weather, **wire)
    with np.errstate(invalid="ignore"):
        loss = np.where(np.isinf(T), np.inf, 3 * required_current**2 * R(np.minimum(T, MELTING), required_current))
    return *currents, loss


def _worst_bearing(heat):
    today = next((i for i, option in enumerate(heat.options) if option.existing), 0)
    T = heat.options[today].wiring.maximum_temperature
    return heat.bearings[np.argmin(heat.current_at(today, np.full(heat.bearings.shape, T), heat.bearings))]


def _current(heat, T, weather, wire, c):
    """Current [A] at temperatures of the core, which is hotter than the surface where heat is conducted."""
    surface = T
    for _ in range(1 if heat.radial_conductivity is None else 12):
        current = current_at(heat.method, surface, weather, **wire)
        if heat.radial_conductivity is not None:
            P = current**2 * wire["resistance"](surface, current)
            surface = T - core_excess(P, c.diameter, c.core_diameter, heat.radial_conductivity)
    return current


def candidate_resistance(c, space, frequency):
    """Return the resistance of candidates [ohm/m], a function of temperature [degC] and current [A].

    As `corridor.rating.resistances.computed`, with a spline for the skin effect of all of them.
    """
    made = builds(space)
    a = np.array([find_material(outer).temperature_coefficient for _, outer, _ in made])[c.build]
    magnetic = np.array([CORES[core] in _MAGNETIC for *_, core in made])[c.build]
    layers = np.where(magnetic & (c.layers % 2 == 1), c.layers, 0).astype(int)
    skin, ratio = _skin(frequency), c.core_diameter / c.diameter

    def resistance(temperature, current):
        R = dc_resistance(c.resistance_20, temperature, a)
        return R * skin.ev(np.log(R), ratio) * core_magnetisation_factor(current, layers=layers,
                                                                         outer_area=c.outer_area)

    return resistance


@cache
def _skin(frequency):
    """Spline of the skin effect over the logarithm of resistance [ohm/m] and the share of the core's diameter."""
    log_R, ratio = np.linspace(np.log(5e-6), np.log(2e-2), 160), np.linspace(0, 0.9, 46)
    factor = skin_effect_factor(np.exp(log_R)[:, None], frequency=frequency, core_ratio=ratio)
    return RectBivariateSpline(log_R, ratio, factor)
