"""How a conductor of two parts stretches: outer aluminium and core, with set, knee and compression.

In the linear law each part i carries `F_i = K_i (e - a_i (T - T_ref) - s_i)`, with its stiffness `K_i = E_i A_i`,
expansion `a_i` and permanent set `s_i`. The outer part goes no lower than `-F_comp`: past that, the knee, the core
alone takes every further newton and the conductor expands as the core does. `curves.Curved` is the law by measured
stress-strain curves.

The strain `e` is counted from the unstressed length at `T_ref`, at which both parts of a new conductor are
without force. Every function takes either law and tells them apart by their type.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Number
from corridor.mechanics import curves
from corridor.mechanics.curves import REFERENCE_TEMPERATURE, Curved

__all__ = [
    "REFERENCE_TEMPERATURE",
    "Curved",
    "Law",
    "TwoPart",
    "strain",
    "strain_and_slope",
    "strain_near",
    "strain_slope",
    "temperature_at",
]


class TwoPart(NamedTuple):
    """A linear conductor of two parts; every field an array that broadcasts with the others.

    `outer_stiffness`, `core_stiffness` E A [N]; `outer_expansion`, `core_expansion` [1/K]; `outer_set`,
    `core_set` [-] permanent elongation; `outer_compression` [N] the compression that the slack outer
    part takes, positive. A conductor of one part has no core stiffness.
    """

    outer_stiffness: Array
    core_stiffness: Array
    outer_expansion: Array
    core_expansion: Array
    outer_set: Array
    core_set: Array
    outer_compression: Array


#: A law of elongation, of arrays that broadcast with each other.
Law = TwoPart | Curved


def strain(tension: Number, temperature: ArrayLike, part: Law) -> Array:
    """Return the strain of the conductor from its unstressed length [-].

    Parameters
    ----------
    tension : array_like
        Total tension F [N].
    temperature : array_like
        Conductor temperature T [°C].
    part : TwoPart or Curved

    Returns
    -------
    ndarray
        Linear, both parts carry: `e = (F + Ko e_o + Kc e_c)/(Ko + Kc)` with the free strains
        `e_i = a_i (T - T_ref) + s_i`; past the knee: `e = e_c + (F + F_comp)/Kc`. By curves: `curves.strain`.
    """
    return _STRAIN[type(part)](tension, temperature, part)


def strain_slope(tension: Number, temperature: ArrayLike, part: Law) -> Array:
    """Return the derivative of strain by tension [1/N]."""
    return _SLOPE[type(part)](tension, temperature, part)


def strain_and_slope(tension: Number, temperature: ArrayLike, part: Law) -> tuple[Array, Array]:
    """Return the strain [-] and its derivative by tension [1/N], at little more than the cost of one of them."""
    return _BOTH[type(part)](tension, temperature, part)


def strain_near(tension: Number, temperature: ArrayLike, part: Law, near: Number) -> tuple[Array, Array]:
    """Return strain [-] and its slope [1/N] as an iteration wants them that brings a better `near` each time.

    Exact under the linear law; under curves one Newton step from the strain `near`, exact once that is the strain.
    """
    return _NEAR[type(part)](tension, temperature, part, near)


def temperature_at(tension: Number, strain_wanted: Number, part: Law) -> Array:
    """Return the temperature at which the conductor has a strain under a tension [°C].

    The inverse of `strain` in temperature: strain rises with temperature on both branches, at first with
    both parts and, past the knee, with the core's expansion alone.
    """
    return _TEMPERATURE[type(part)](tension, strain_wanted, part)


def _free_strains(part: TwoPart, temperature: ArrayLike) -> tuple[Array, Array]:
    """Strain at which the outer part, and the core, are without force [-]."""
    rise = np.asarray(temperature, float) - REFERENCE_TEMPERATURE
    return part.outer_expansion * rise + part.outer_set, part.core_expansion * rise + part.core_set


def _strain_and_branch(tension: Number, temperature: ArrayLike, part: TwoPart) -> tuple[Array, Booleans]:
    """Strain, and True where the core alone takes further load."""
    outer_free, core_free = _free_strains(part, temperature)
    Ko, Kc = part.outer_stiffness, part.core_stiffness
    both = (tension + Ko * outer_free + Kc * core_free) / (Ko + Kc)
    slack = (Kc > 0) & (Ko * (both - outer_free) < -part.outer_compression)
    with np.errstate(divide="ignore", invalid="ignore"):
        core_only = core_free + (tension + part.outer_compression) / Kc
    return np.where(slack, core_only, both), slack


def _linear_strain(tension: Number, temperature: ArrayLike, part: TwoPart) -> Array:
    return _strain_and_branch(tension, temperature, part)[0]


def _branch_slope(slack: Booleans, part: TwoPart) -> Array:
    with np.errstate(divide="ignore"):
        return np.where(slack, 1 / np.asarray(part.core_stiffness, float),
                        1 / (part.outer_stiffness + part.core_stiffness))


def _linear_slope(tension: Number, temperature: ArrayLike, part: TwoPart) -> Array:
    return _branch_slope(_strain_and_branch(tension, temperature, part)[1], part)


def _linear_both(tension: Number, temperature: ArrayLike, part: TwoPart) -> tuple[Array, Array]:
    """The lesser of two lines: past the knee the core alone, softer, is below what both parts would stretch to."""
    outer_free, core_free = _free_strains(part, temperature)
    Ko, Kc = part.outer_stiffness, np.asarray(part.core_stiffness, float)
    one = 1 / (Ko + Kc)
    e = tension * one + (Ko * outer_free + Kc * core_free) * one
    if not (Kc > 0).any():
        return e, np.broadcast_to(one, e.shape)
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = np.where(Kc > 0, 1 / Kc, 0.0)
        core_only = tension * alone + np.where(Kc > 0, core_free + part.outer_compression * alone, np.inf)
    return np.minimum(e, core_only), np.where(core_only < e, alone, one)


def _linear_near(tension: Number, temperature: ArrayLike, part: TwoPart, near: Number) -> tuple[Array, Array]:
    e, slack = _strain_and_branch(tension, temperature, part)
    return e, _branch_slope(slack, part)


def _linear_temperature(tension: Number, strain_wanted: Number, part: TwoPart) -> Array:
    Ko, Kc = part.outer_stiffness, part.core_stiffness
    K = Ko + Kc
    sets = (Ko * part.outer_set + Kc * part.core_set) / K
    expansion = (Ko * part.outer_expansion + Kc * part.core_expansion) / K
    both = (strain_wanted - tension / K - sets) / expansion
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = strain_wanted - part.core_set - (tension + part.outer_compression) / Kc
        core_only = alone / part.core_expansion
    T = REFERENCE_TEMPERATURE + both
    slack = _strain_and_branch(tension, T, part)[1]
    return np.where(slack, REFERENCE_TEMPERATURE + core_only, T)


# A law's own function takes that law alone: the type of the key, which no type of a dictionary can say.
_STRAIN: dict[type[Law], Callable[..., Array]] = {TwoPart: _linear_strain, Curved: curves.strain}
_SLOPE: dict[type[Law], Callable[..., Array]] = {TwoPart: _linear_slope, Curved: curves.strain_slope}
_BOTH: dict[type[Law], Callable[..., tuple[Array, Array]]] = {TwoPart: _linear_both, Curved: curves.strain_and_slope}
_NEAR: dict[type[Law], Callable[..., tuple[Array, Array]]] = {TwoPart: _linear_near, Curved: curves.strain_near}
_TEMPERATURE: dict[type[Law], Callable[..., Array]] = {TwoPart: _linear_temperature, Curved: curves.temperature_at}
