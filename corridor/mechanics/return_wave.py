"""How long a jerk takes along a wire and back: sag told by a watch.

A jerk across a wire runs along it at `v = sqrt(T/m)`, with the tension T and the mass m per length, is turned round at
the far support and comes back. The sag follows from the time alone, whatever the wire.
"""

import numpy as np

from corridor.arrays import Array, ArrayLike
from corridor.constants import GRAVITY
from corridor.geometry.catenary import low_point

__all__ = ["return_time"]

_NODE, _WEIGHT = np.polynomial.legendre.leggauss(12)


def return_time(span: ArrayLike, rise: ArrayLike, constant: ArrayLike, *, returns: int = 1) -> Array:
    """Return the time after which a jerk at one end of a bare wire is back for the n-th time [s].

    Along the catenary `T = H cosh(x/C)`, `ds = cosh(x/C) dx` and `H/m = g C`, x counted from the low point, so

        t = 2 n integral ds / v = 2 n / sqrt(g C)  integral sqrt(cosh(x/C)) dx.

    Parameters
    ----------
    span, rise : array_like
        S and h of the wire, in the plane that it hangs in [m].
    constant : array_like
        Catenary constant C of the bare wire in still air [m].
    returns : int, optional
        Number n of returns.

    Returns
    -------
    ndarray

    Examples
    --------
    >>> round(float(return_time(300.0, 0.0, 1500.0, returns=3)), 2)
    14.85
    """
    S, h, C = (np.asarray(v, float) for v in (span, rise, constant))
    x = S[..., None] * (1 + _NODE) / 2 - low_point(S, h, C)[..., None]
    run = S / 2 * (np.sqrt(np.cosh(x / C[..., None])) * _WEIGHT).sum(axis=-1)
    return 2 * returns * run / np.sqrt(GRAVITY * C)
