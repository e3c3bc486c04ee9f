"""Resistance of a wire: with temperature, with frequency, and with a magnetised steel core.

Where a measured or tabulated alternating-current resistance is at hand, use it: what follows is for
a catalogue that gives direct current at 20 °C only. Proximity to other wires is neglected.

References
----------
Skin effect: the classical solution for a round wire and a round tube in Bessel functions, as in
H. B. Dwight, "Skin effect in tubular and flat conductors", AIEE Transactions 37 (1918), recalled.
Core magnetisation: see `core_magnetisation_factor`.
"""

import numpy as np
import scipy  # its parts load when they are first used
from numpy.typing import NDArray

from corridor.arrays import Array, ArrayLike, Number
from corridor.errors import InputError

__all__ = ["core_magnetisation_factor", "dc_resistance", "skin_effect_factor"]

_Complex = NDArray[np.complex128]

#: Permeability of free space, and of air and aluminium [H/m].
PERMEABILITY = 4e-7 * np.pi

#: Slope [1/A] and zero-current value [-] of the three-layer formula of CIGRE TB 207, recalled.
THREE_LAYER_SLOPE, THREE_LAYER_START = 2.36e-5, 1.0123

#: One layer: greatest rise [-] (IEEE Std 738, recalled), and the density that reaches it [A/m²]
#: (our choice).
ONE_LAYER_BOUND, ONE_LAYER_DENSITY = 0.20, 2.0e6


def dc_resistance(resistance_20: Number, temperature: ArrayLike, temperature_coefficient: Number = 0.00403) -> Array:
    """Direct-current resistance [ohm/m] at a temperature [°C]: `R = R20 (1 + a (T - 20))`.

    The default coefficient [1/K] is that of hard-drawn aluminium, IEC 60889.

    Examples
    --------
    >>> round(float(dc_resistance(7.02e-5, 75.0)) * 1e5, 3)
    8.576
    """
    R20, T, a = resistance_20, np.asarray(temperature, np.float64), temperature_coefficient
    return R20 * (1 + a * (T - 20))


def _solid(z: _Complex) -> _Complex:
    """`(z/2) I0(z)/I1(z)`; scaled functions, whose common factor cancels, do not overflow."""
    return z / 2 * scipy.special.ive(0, z) / scipy.special.ive(1, z)


def _tube(z: _Complex, ratio: Array) -> _Complex:
    """Tube of inner over outer radius `ratio`, no current inside it, `z` the outer argument."""
    outer, inner = z, z * ratio
    # ive and kve carry exp(-Re) and exp(+z): bring both products to a common scale
    shift = np.exp(2 * (inner - outer) - 1j * (inner.imag - outer.imag))
    rising = scipy.special.kve(1, inner)
    falling = scipy.special.ive(1, inner) * shift
    above = scipy.special.ive(0, outer) * rising + scipy.special.kve(0, outer) * falling
    below = scipy.special.ive(1, outer) * rising - scipy.special.kve(1, outer) * falling
    return z * (1 - ratio**2) / 2 * above / below


def skin_effect_factor(resistance: ArrayLike, *, frequency: ArrayLike = 50.0, core_ratio: ArrayLike = 0.0) -> Array:
    """Alternating over direct-current resistance [-] of a solid wire, or of a tube about its core.

    Strands count as one solid tube, and the core as empty: it carries little current.

    Parameters
    ----------
    resistance : array_like
        Direct-current resistance at the temperature in question [ohm/m].
    frequency : array_like
        [Hz], 0 gives 1.
    core_ratio : array_like
        Core diameter over outer diameter [-], 0 up to less than 1.

    Notes
    -----
    `Rac/Rdc = Re[z (1 - q^2)/2 (I0(z) K1(qz) + K0(z) I1(qz)) / (I1(z) K1(qz) - K1(z) I1(qz))]`,
    `z = r sqrt(j w mu0 sigma)`, with `sigma` such that the tube has the resistance given:
    `z^2 = 2 j mu0 f / (R (1 - q^2))`. The outer radius drops out.

    Examples
    --------
    >>> round(float(skin_effect_factor(7.16e-5, frequency=60.0, core_ratio=0.368)), 3)
    1.012
    >>> float(skin_effect_factor(7.16e-5, frequency=0.0))
    1.0
    """
    R, f, q = (np.asarray(a, np.float64) for a in (resistance, frequency, core_ratio))
    z = np.sqrt(2j * PERMEABILITY * f / (R * (1 - q**2)))
    with np.errstate(all="ignore"):
        factor = np.where(q > 0, _tube(z, q), _solid(z)).real
    # at z = 0 both are 0/0, and the limit is 1
    return np.where(f == 0, 1.0, factor)[()]


def core_magnetisation_factor(current: ArrayLike, *, layers: ArrayLike, outer_area: Number) -> Array:
    """Factor on resistance [-] by the steel core under an odd number of aluminium layers.

    Layers are laid in opposite turns: the fields of two or four along the core cancel nearly, those
    of one or three do not.

    Parameters
    ----------
    current : array_like
        Effective value [A].
    layers : array_like of int
        Layers of aluminium over a magnetic core; 0 for a wire without one.
    outer_area : array_like
        Area of aluminium [m²], used for one layer.

    Returns
    -------
    ndarray
        1 for even numbers of layers and for none.

    Raises
    ------
    InputError
        For more than four layers, or a negative number.

    Notes
    -----
    Three layers: CIGRE TB 207 (2002) gives `Rac/Rdc = 1.0123 + 2.36e-5 I` for large steel-core
    conductors of three layers, skin effect included; its value at zero current is divided out here.

    One layer: IEEE Std 738 says in words that the rise can reach 20 %. It is ramped here with
    current density, `1 + 0.20 min(J / J1, 1)` with `J1` = 2 A/mm². **The ramp is our choice, not
    published.** Handbook tables of 6/1 conductors show 14 to 22 % at 2.4 to 3.2 A/mm², and of 6/7
    conductors, whose core is heavier, 40 % and more (recalled). Give a measured resistance where
    one layer matters.

    Examples
    --------
    >>> core_magnetisation_factor(900.0, layers=[1, 2, 3], outer_area=4e-4).round(3)
    array([1.2  , 1.   , 1.021])
    """
    n, I = np.asarray(layers), np.abs(np.asarray(current, np.float64))  # noqa: E741
    if np.any((n < 0) | (n > 4)):
        raise InputError(None, "layers", str(layers), "0 to 4 layers of aluminium over the core")
    J = I / outer_area
    one = 1 + ONE_LAYER_BOUND * np.minimum(J / ONE_LAYER_DENSITY, 1)
    three = 1 + THREE_LAYER_SLOPE * I / THREE_LAYER_START
    return np.select([n == 1, n == 3], [one, three], default=1.0)[()]
