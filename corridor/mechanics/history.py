"""What a wire's history leaves in it: permanent sets of both parts, and the fixed point they hang on.

A state on the curve leaves each part the set from which its final line leads to that very state. Of several states
the greatest set holds, part by part. The sets depend on the tension, the tension on the unstressed length, and that,
where a limit is final, on the sets: `settle` finds the sets that agree with themselves.
"""

from collections.abc import Callable

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Number
from corridor.mechanics.curves import REFERENCE_TEMPERATURE, Curved, core_free_strain, part_forces
from corridor.mechanics.elongation import Law

__all__ = ["HOT", "HOURS_PER_YEAR", "creep_when_hot", "gap_set", "outer_set_of_creep", "predicted_creep", "sets_after",
           "settle"]

#: Hours of a year of 365 days, as creep is usually counted: ten years are 87 600 h.
HOURS_PER_YEAR = 8760.0

#: Temperature above which creep counts as that of a hot wire [°C].
HOT = 75.0

_ITERATIONS = 100
_TOLERANCE = 1e-12


def sets_after(strain: Number, temperature: ArrayLike, part: Curved) -> tuple[Array, Array]:
    """Return the permanent sets that a state leaves in the outer part and in the core [-].

    Parameters
    ----------
    strain : array_like
        Of the conductor in that state [-].
    temperature : array_like
        [°C]
    part : Curved
        The law the wire obeys as it comes to that state: its initial curves, or its creep curves.

    Returns
    -------
    outer, core : ndarray
        `s_i = m_i - F_i/K_i` with the mechanical strain m and force F of the part; 0 for a part that is slack or does
        not exist: it keeps what it had.
    """
    outer, core, outer_slope, _ = part_forces(strain, temperature, part)
    m = strain - part.outer_expansion * (np.asarray(temperature, float) - REFERENCE_TEMPERATURE)
    outer_set = np.where(outer_slope == 0, 0.0, m - outer / part.outer_stiffness)
    with np.errstate(divide="ignore", invalid="ignore"):
        core_set = strain - core_free_strain(temperature, part) - core / part.core_stiffness
    return outer_set, np.where(part.core_stiffness > 0, core_set, 0.0)


def gap_set(tension: Number, temperature: ArrayLike, part: Curved) -> Array:
    """Return the set of an outer part that is clamped without force while the core holds a tension [-].

    `s_o = F/K_c + a_c (T - T_ref) - a_o (T - T_ref)`: in the gap type the core alone is tensioned at stringing, so that
    the knee is the temperature of stringing.
    """
    rise = np.asarray(temperature, float) - REFERENCE_TEMPERATURE
    return tension / part.core_stiffness + core_free_strain(temperature, part) - part.outer_expansion * rise


def settle(update: Callable[[Array], Array], start: ArrayLike) -> Array:
    """Return the fixed point of `update`, column by column, by Wegstein's method.

    Parameters
    ----------
    update : callable
        `(values) -> values`, ndarray to ndarray of one shape (value, column); a column depends on itself alone, each
        of its values mostly on itself.
    start : ndarray, shape (value, column)

    Returns
    -------
    ndarray
        nan in every column that changes by more than 1e-12 when put in once more. A column that has settled is left
        alone, so that it does not depend on its neighbours.
    """
    x = np.array(start, float)
    value, slope = update(x), np.zeros_like(x)
    settled = _settled(x, value)
    for _ in range(_ITERATIONS):
        if settled.all():
            break
        new = np.where(settled, x, x + (value - x) / (1 - slope))
        new_value = np.where(settled, value, update(new))
        step = new - x
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.where(np.abs(step) > 1e-13, (new_value - value) / step, 0.0)
        slope = np.clip(np.nan_to_num(slope), -2.0, 0.8)
        x, value = new, new_value
        settled = _settled(x, value)
    return np.where(settled & ~np.isnan(value), value, np.nan)


def _settled(x: Array, value: Array) -> Booleans:
    """True for columns that change no more, or are not known at all."""
    return np.all(~(np.abs(value - x) > _TOLERANCE), axis=0)


def predicted_creep(share: ArrayLike, years: ArrayLike) -> Array:
    """Return the creep of a conductor of aluminium on steel at room temperature [-].

    `e = 2.4e-6 p^1.3 t^0.16`, with the tension p in percent of the rated strength and the time t in hours: Harvey and
    Larson (1972), also in IEEE Std 1283; recalled with medium confidence. Of another order than one measured wire it
    is not (728 against 524 microstrain for ten years at 20 %).

    Parameters
    ----------
    share : array_like
        Tension over rated tensile strength [-].
    years : array_like

    Examples
    --------
    >>> round(float(predicted_creep(0.2, 10.0)) * 1e6)
    728
    """
    percent = 100 * np.maximum(share, 0.0)
    return 2.4e-6 * percent**1.3 * (HOURS_PER_YEAR * np.asarray(years, float)) ** 0.16


def creep_when_hot(share: ArrayLike, temperature: ArrayLike, hours: ArrayLike, before: ArrayLike = 0.0) -> Array:
    """Return the creep of a conductor of aluminium on little steel after hours at high temperatures [-].

    `e = 0.24e-6 p T t^0.16`, with p in percent of the rated strength, T in °C and t in hours, for steel of less than
    7.5 % of the area: Harvey and Larson (1972), also in IEEE Std 1283; recalled with low to medium confidence. At
    20 °C it is within a quarter of `predicted_creep`. Each temperature goes on where the creep before would have been
    reached at it, so that `e^(1/0.16)` is a sum, in whatever order.

    Parameters
    ----------
    share : array_like
        Tension over rated tensile strength [-].
    temperature, hours : array_like, shape (n,)
        [°C] and [h]; hours at `HOT` or less leave nothing.
    before : array_like
        Creep that has been [-].

    Examples
    --------
    >>> round(float(creep_when_hot(0.2, [100.0], [1000.0])) * 1e6)
    1450
    """
    T, t, p = (np.asarray(v, float) for v in (temperature, hours, 100 * np.maximum(share, 0.0)))
    rate = np.where(T > HOT, (0.24 * T) ** (1 / 0.16) * t, 0.0).sum()
    # In millionths: their powers stay within the range of numbers.
    return 1e-6 * ((1e6 * np.asarray(before, float)) ** (1 / 0.16) + rate * p ** (1 / 0.16)) ** 0.16


def outer_set_of_creep(creep: Number, part: Law) -> Array:
    """Return the set of the outer part that makes a conductor that much longer [-].

    All of the creep is put on the aluminium, `s_o = e (K_o + K_c)/K_o`: of the two the core hardly creeps.
    """
    return creep * (part.outer_stiffness + part.core_stiffness) / part.outer_stiffness
