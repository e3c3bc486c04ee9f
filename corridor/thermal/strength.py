"""How much of its strength hard-drawn aluminium keeps after hours of heat.

References
----------
The form of Harvey, as IEEE Std 1283 has it; recalled. It is of wires drawn hard; annealed aluminium has nothing to
lose, and alloys have laws of their own.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.thermal.balance import positive

__all__ = ["COLDEST", "remaining", "remaining_after", "temperature_for"]

#: No strength is lost up to here [°C].
COLDEST = 95.0
#: The diameter to which the exponent refers: a tenth of an inch [m].
_TENTH = 0.00254


def _terms(T: Array, strand: Array) -> tuple[Array, Array]:
    """Share at one hour, and the exponent of time."""
    return (np.minimum(100.0, 134.0 - 0.24 * T),
            np.maximum(0.001 * T - 0.095, 0.0) * _TENTH / positive("strand", strand, "m"))


def remaining(temperature: ArrayLike, hours: ArrayLike, strand: ArrayLike) -> Array:
    """Return what is left of the strength of hard-drawn aluminium wires [%].

    `RS = min(100, 134 - 0.24 T) t^-((0.001 T - 0.095) 0.1 / d)`, d in inches; at most 100, at least 0.

    Parameters
    ----------
    temperature : array_like
        [°C]; inf leaves nothing.
    hours : array_like
        How long [h], 0 or more; less than one counts as one where there are any.
    strand : array_like
        Diameter of a wire [m].

    Examples
    --------
    >>> remaining([100, 125, 150, 175], 1000, 0.1749 * 0.0254).round(1)
    array([98. , 88.8, 78.9, 67.1])
    """
    T, t = np.asarray(temperature, np.float64), np.asarray(hours, np.float64)
    A, k = _terms(np.minimum(T, 600.0), np.asarray(strand, np.float64))
    left = np.clip(A * np.maximum(t, 1.0) ** -k, 0.0, 100.0)
    left = np.where(np.isinf(T) | (T > 600.0), 0.0, left)
    return np.where((t > 0) | np.isnan(t), left, 100.0 + 0.0 * left)[()]


def remaining_after(temperature: ArrayLike, hours: ArrayLike, strand: float) -> float:
    """Return what is left [%] after hours at several temperatures.

    From the coldest on, each begins with the time in which it would have lost as much as is lost already; the order in
    which they came is not asked.

    Parameters
    ----------
    temperature, hours : array_like, shape (n,)
        [°C] and [h]; nan is left out.

    Examples
    --------
    >>> round(remaining_after([150, 150, 60], [600, 400, 8000], 0.1749 * 0.0254), 1)
    78.9
    """
    T, t = np.asarray(temperature, np.float64), np.asarray(hours, np.float64)
    known = np.isfinite(T + t) | np.isinf(T)
    order = np.argsort(T[known], kind="stable")
    left = 100.0
    for each, time in zip(T[known][order], t[known][order], strict=True):
        if time <= 0 or each <= COLDEST:
            continue
        if each > 600.0:
            return 0.0
        A, k = (float(v) for v in _terms(np.asarray(each), np.asarray(strand)))
        before = (A / left) ** (1 / k) if left < A else 0.0
        left = min(left, float(remaining(each, before + time, strand)))
    return left


def temperature_for(loss: float, hours: float, strand: float) -> float:
    """Return the temperature [°C] at which a loss [%] is reached in a time [h]; nan where the diameter is not known.

    Examples
    --------
    >>> round(temperature_for(100 - 78.9, 1000, 0.1749 * 0.0254))
    150
    """
    if not np.isfinite(strand):
        return np.nan
    low, high = COLDEST, 600.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if float(remaining(middle, hours, strand)) > 100 - loss else (low, middle)
    return low
