"""Elongation by measured curves: each part on its initial curve, or below it on its final line.

A part first follows its stress-strain curve `f`. Unloaded, it returns on a straight line of its final modulus,
which a permanent set `s` has moved; loaded again past the strain it had reached, it is back on the curve. Both are
one rule, `F_i = min(K_i (m - s_i), f_i(m))`, in the mechanical strain `m = e - a_i (T - T_ref)`. A part without a
curve has f = inf and is linear. Creep is the same rule with the curve of some years in place of f.

The outer part goes no lower than `-F_comp`, as in `elongation.TwoPart`. The core may expand at another rate past a
temperature, as invar does.
"""

from math import comb
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Number

__all__ = [
    "REFERENCE_TEMPERATURE",
    "Curved",
    "core_free_strain",
    "counted_from",
    "part_forces",
    "strain",
    "strain_and_slope",
    "strain_near",
    "strain_slope",
    "temperature_at",
]

#: Temperature of the unstressed length [°C].
REFERENCE_TEMPERATURE = 20.0

_ITERATIONS = 80
_TOLERANCE = 1e-15


class Curved(NamedTuple):
    """A conductor of two parts with curves; every field an array that broadcasts with the others.

    The first seven are those of `TwoPart`. `outer_0` to `outer_4`, `core_0` to `core_4` [N] are the coefficients of
    the curve `f(m) = sum c_k m^k`, which ends at the strain `outer_end`, `core_end` [-] and goes on along its tangent,
    there and below zero; `c_0 = inf` is no curve. The core expands by `core_expansion_above` [1/K] past the
    temperature `core_bend` [°C], inf where it does not change.
    """

    outer_stiffness: Array
    core_stiffness: Array
    outer_expansion: Array
    core_expansion: Array
    outer_set: Array
    core_set: Array
    outer_compression: Array
    outer_0: Array
    outer_1: Array
    outer_2: Array
    outer_3: Array
    outer_4: Array
    outer_end: Array
    core_0: Array
    core_1: Array
    core_2: Array
    core_3: Array
    core_4: Array
    core_end: Array
    core_expansion_above: Array
    core_bend: Array


def core_free_strain(temperature: ArrayLike, part: Curved) -> Array:
    """Return the strain at which the core without set is without force [-], with its two expansions."""
    T = np.asarray(temperature, float)
    below = part.core_expansion * (np.minimum(T, part.core_bend) - REFERENCE_TEMPERATURE)
    return below + part.core_expansion_above * np.maximum(T - part.core_bend, 0.0)


def counted_from(part: Curved, ratio: ArrayLike) -> Curved:
    """Return the law of a conductor with its strain counted from another unstressed length.

    Parameters
    ----------
    part : Curved
    ratio : array_like
        Its own unstressed length over the other, b.

    Returns
    -------
    Curved
        `1 + e' = b (1 + e)`, so that `m = (m' - a)/b` with a = b - 1, of lines and curves, and expansions are b times
        as great.
    """
    b = np.asarray(ratio, float)
    a = b - 1

    def moved(curve: tuple[Array, ...]) -> list[Array]:
        # f((m' - a)/b), expanded again by powers of m'.
        scaled = [c / b**k for k, c in enumerate(curve)]
        return [sum((comb(j, k) * (-a) ** (j - k) * scaled[j] for j in range(k + 1, 5)), scaled[k]) for k in range(5)]

    outer, core = (dict(zip(Curved._fields[i:i + 5], moved(part[i:i + 5]), strict=True)) for i in (7, 13))
    return part._replace(
        outer_stiffness=part.outer_stiffness / b, core_stiffness=part.core_stiffness / b,
        outer_expansion=part.outer_expansion * b, core_expansion=part.core_expansion * b,
        core_expansion_above=part.core_expansion_above * b, outer_set=part.outer_set * b + a,
        core_set=part.core_set * b + a, outer_end=part.outer_end * b + a, core_end=part.core_end * b + a,
        **outer, **core)


def _one(m: Array, stiffness: Array, permanent: Array, curve: tuple[Array, ...], end: Array) -> tuple[Array, Array]:
    """Force of one part and its derivative by strain, the lower of line and curve."""
    line = stiffness * (m - permanent)
    if not np.any(np.isfinite(curve[0])):
        return line, np.broadcast_to(stiffness, line.shape)
    x = np.minimum(np.maximum(m, 0.0), end)
    c0, c1, c2, c3, c4 = curve
    slope = c1 + x * (2 * c2 + x * (3 * c3 + x * 4 * c4))
    force = c0 + x * (c1 + x * (c2 + x * (c3 + x * c4))) + slope * (m - x)
    on_curve = force < line
    return np.where(on_curve, force, line), np.where(on_curve, slope, stiffness)


def part_forces(strain: ArrayLike, temperature: ArrayLike, part: Curved) -> tuple[Array, Array, Array, Array]:
    """Return the forces of both parts and their derivatives by strain.

    Parameters
    ----------
    strain : array_like
        Of the conductor from its unstressed length [-].
    temperature : array_like
        [°C]
    part : Curved

    Returns
    -------
    outer, core, outer_slope, core_slope : ndarray
        [N]; the outer part's slope is 0 where it has gone slack.
    """
    e, T = np.asarray(strain, float), np.asarray(temperature, float)
    m = e - part.outer_expansion * (T - REFERENCE_TEMPERATURE)
    outer, outer_slope = _one(m, part.outer_stiffness, part.outer_set, part[7:12], part.outer_end)
    m = e - core_free_strain(T, part)
    core, core_slope = _one(m, part.core_stiffness, part.core_set, part[13:18], part.core_end)
    slack = (outer < -part.outer_compression) & (part.core_stiffness > 0)
    return np.where(slack, -part.outer_compression, outer), core, np.where(slack, 0.0, outer_slope), core_slope


def strain_near(tension: Number, temperature: ArrayLike, part: Curved, near: Number) -> tuple[Array, Array]:
    """Return one Newton step for the strain from a strain that is near [-], and its slope by tension [1/N]."""
    outer, core, outer_slope, core_slope = part_forces(near, temperature, part)
    slope = outer_slope + core_slope
    return near + (tension - outer - core) / slope, 1 / slope


def _linear_strain(tension: Array, temperature: Array, part: Curved) -> Array:
    """Strain were both parts on their lines [-]: never more than the true one."""
    outer = part.outer_expansion * (temperature - REFERENCE_TEMPERATURE) + part.outer_set
    core = core_free_strain(temperature, part) + part.core_set
    Ko, Kc = part.outer_stiffness, part.core_stiffness
    both = (tension + Ko * outer + Kc * core) / (Ko + Kc)
    slack = (Kc > 0) & (Ko * (both - outer) < -part.outer_compression)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(slack, core + (tension + part.outer_compression) / Kc, both)


def strain(tension: ArrayLike, temperature: ArrayLike, part: Curved) -> Array:
    """Return the strain of the conductor from its unstressed length [-].

    Parameters
    ----------
    tension : array_like
        Total tension F [N].
    temperature : array_like
        [°C]
    part : Curved

    Returns
    -------
    ndarray
        The strain at which the forces of the parts add up to F: by Newton from the strain of the straight lines,
        within a bracket.
    """
    F, T = np.asarray(tension, float), np.asarray(temperature, float)
    low = _linear_strain(F, T, part)
    e, high = low, np.full_like(low, np.inf)
    for _ in range(_ITERATIONS):
        new, slope = strain_near(F, T, part, e)
        low, high = np.where(new > e, np.fmax(low, e), low), np.where(new < e, np.fmin(high, e), high)
        outside = (new < low) | (new > high)
        new = np.where(outside, (low + np.minimum(high, 1.0)) / 2, new)
        moved = np.abs(new - e)
        e = new
        if not np.any(moved > _TOLERANCE + 1e-13 * np.abs(e)):
            break
    return e


def strain_slope(tension: ArrayLike, temperature: ArrayLike, part: Curved) -> Array:
    """Return the derivative of strain by tension [1/N]."""
    return strain_and_slope(tension, temperature, part)[1]


def strain_and_slope(tension: ArrayLike, temperature: ArrayLike, part: Curved) -> tuple[Array, Array]:
    """Return the strain [-] and its derivative by tension [1/N]."""
    e = strain(tension, temperature, part)
    outer_slope, core_slope = part_forces(e, temperature, part)[2:]
    return e, 1 / (outer_slope + core_slope)


def temperature_at(tension: ArrayLike, strain_wanted: ArrayLike, part: Curved) -> Array:
    """Return the temperature at which the conductor has a strain under a tension [°C].

    The forces of both parts fall as the temperature rises under a fixed strain: Newton within a bracket that reaches
    beyond any wire's temperature; -inf or inf lies outside of it, nan stays nan.
    """
    F, e = np.asarray(tension, float), np.asarray(strain_wanted, float)
    shape = np.broadcast_shapes(F.shape, e.shape, *(np.shape(p) for p in part))
    low, high = np.full(shape, -1000.0), np.full(shape, 5000.0)
    T = np.full(shape, 60.0)
    for _ in range(_ITERATIONS):
        outer, core, outer_slope, core_slope = part_forces(e, T, part)
        over = outer + core - F
        low, high = np.where(over > 0, T, low), np.where(over < 0, T, high)
        rate = np.where(part.core_bend < T, part.core_expansion_above, part.core_expansion)
        new = T + over / (outer_slope * part.outer_expansion + core_slope * rate)
        new = np.where((new > low) & (new < high), new, np.where(over == 0, T, (low + high) / 2))
        moved = np.abs(new - T)
        T = new
        if not np.any(moved > 1e-9):
            break
    T = np.where(T > 4999.0, np.inf, np.where(T < -999.0, -np.inf, T))
    return np.where(np.isnan(F + e + part.outer_set), np.nan, T)
