"""How hot a fault current makes a wire while no heat leaves it.

`m c dT/dt = I^2 R20 (1 + alpha (T - 20))`, and so
`I^2 t = (m c / (R20 alpha)) ln((1 + alpha (T1 - 20)) / (1 + alpha (T0 - 20)))`.
A textbook formula; heat capacity does not grow with temperature here, which errs on the hot side.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.thermal.balance import positive

__all__ = ["adiabatic_current", "adiabatic_temperature"]


def adiabatic_current(start: ArrayLike, end: ArrayLike, duration: ArrayLike, *, heat_capacity: ArrayLike,
                      resistance_20: ArrayLike, coefficient: ArrayLike) -> Array:
    """Return the constant current [A] that heats a wire from `start` to `end` [°C] in a duration [s].

    Parameters
    ----------
    heat_capacity : array_like
        [J/(m K)]
    resistance_20 : array_like
        At 20 °C [ohm/m].
    coefficient : array_like
        Of resistance, at 20 °C [1/K].

    Returns
    -------
    float or ndarray
        0 where the wire is at the end already.

    Raises
    ------
    InputError
        A duration, capacity or resistance that is not positive.
    """
    alpha, mc = np.asarray(coefficient, np.float64), positive("heat_capacity", heat_capacity, "J/(m K)")
    R, t = positive("resistance_20", resistance_20, "ohm/m"), positive("duration", duration, "s")
    T0, T1 = np.asarray(start, np.float64), np.asarray(end, np.float64)
    grown = np.log((1 + alpha * (T1 - 20)) / (1 + alpha * (T0 - 20)))
    return np.sqrt(np.maximum(grown, 0.0) * mc / (R * alpha * t))[()]


def adiabatic_temperature(start: ArrayLike, current: ArrayLike, duration: ArrayLike, *, heat_capacity: ArrayLike,
                          resistance_20: ArrayLike, coefficient: ArrayLike) -> Array:
    """Return the temperature [°C] after a current [A] has flowed for a duration [s]; arguments as above.

    Examples
    --------
    >>> wire = dict(heat_capacity=1000.0, resistance_20=7e-5, coefficient=0.004)
    >>> round(float(adiabatic_temperature(40, adiabatic_current(40, 200, 1.0, **wire), 1.0, **wire)), 6)
    200.0
    """
    alpha, mc = np.asarray(coefficient, np.float64), positive("heat_capacity", heat_capacity, "J/(m K)")
    R, t = positive("resistance_20", resistance_20, "ohm/m"), np.asarray(duration, np.float64)
    T0, I = np.asarray(start, np.float64), np.asarray(current, np.float64)  # noqa: E741
    grown = np.minimum(I**2 * t * R * alpha / mc, 50.0)
    return (20 + ((1 + alpha * (T0 - 20)) * np.exp(grown) - 1) / alpha)[()]
