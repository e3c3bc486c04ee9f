"""Change of state by the ruling span: one level span that stands for a whole section.

Between strain structures suspension strings that swing freely nearly equalise the horizontal tension. The
section then behaves as one level span, `S_r = sqrt(sum S^3 / sum S)`. It is good to 50 to 70 °C and errs on
the unsafe side in short spans when hot (IEEE task force, Trans. Power Delivery 14(2), 1999, recalled).

The state variable is the unstressed length `L0` at the reference temperature. Whatever happens to a wire, a new
load, a new temperature, length let out, is the same equation for the horizontal tension H:

    L(H) = L0 (1 + e(F, T)),    F the mean tension along the wire.
"""

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Number
from corridor.geometry.catenary import sinh_excess
from corridor.mechanics.elongation import (
    REFERENCE_TEMPERATURE,
    Law,
    TwoPart,
    strain,
    strain_and_slope,
    strain_near,
    temperature_at,
)

__all__ = [
    "Solution",
    "knee_temperature",
    "ruling_span",
    "temperature_for_tension",
    "tension",
    "unstressed_excess",
]

#: Strain and its slope by tension from the tension and a strain that is near.
Elongation = Callable[[Array, Array], tuple[Array, Array]]

_ITERATIONS = 60
_TOLERANCE = 1e-9


def ruling_span(spans: ArrayLike, axis: int = -1) -> Array:
    """Return `sqrt(sum S^3 / sum S)` [m]; nan entries are left out.

    Examples
    --------
    >>> round(float(ruling_span([600.0, 700.0, 800.0])), 4)
    714.1428
    """
    S = np.asarray(spans, float)
    return np.sqrt(np.nansum(S**3, axis=axis) / np.nansum(S, axis=axis))


def _level(span: Number, horizontal_tension: Array, load: Number) -> tuple[Array, Array, Array, Array]:
    """Slack over span, mean tension, and the derivatives of both by ln H, of a level span."""
    S, H = span, horizontal_tension
    u = S * load / (2 * H)
    sinh_u, cosh_u = np.sinh(u), np.cosh(u)
    slack = sinh_excess(u) / u
    slack_slope = slack - (cosh_u - 1)
    ratio = u / (2 * sinh_u) + cosh_u / 2
    ratio_slope = -u * ((sinh_u - u * cosh_u) / (2 * sinh_u**2) + sinh_u / 2)
    return slack, slack_slope, H * ratio, H * (ratio + ratio_slope)


def unstressed_excess(span: Number, horizontal_tension: ArrayLike, load: Number, temperature: ArrayLike,
                      part: Law) -> Array:
    """Return how much longer than the span the unstressed wire is, `L0/S - 1` [-], often negative.

    Counted from one, since the whole of sag lies in its fourth digit:
    `(1 + L0/S - 1)(1 + e) = 1 + slack/S`.

    Parameters
    ----------
    span : array_like
        Level (ruling) span S [m].
    horizontal_tension : array_like
        H in the state that is known [N].
    load : array_like
        Resultant load |q| in that state [N/m].
    temperature : array_like
        Of the conductor in that state [°C].
    part : TwoPart
    """
    slack, _, F, _ = _level(span, np.asarray(horizontal_tension, float), load)
    e = strain(F, temperature, part)
    return (slack - e) / (1 + e)


class Solution(NamedTuple):
    """Horizontal tension H [N], nan where none was found, and the strain residual left [-]."""

    horizontal_tension: Array
    residual: Array


def tension(excess: ArrayLike, span: ArrayLike, load: ArrayLike, temperature: ArrayLike, part: Law) -> Solution:
    """Return the horizontal tension of a level span from its unstressed length.

    Newton in ln H on the strain residual `slack/S - (1 + excess)(1 + e) + 1`, which falls with H, kept within
    a bracket that shrinks with every step; all states at once.

    Parameters
    ----------
    excess : array_like
        `L0/S - 1` [-], from `unstressed_excess`.
    span, load, temperature : array_like
        As there, in the state that is wanted.
    part : TwoPart

    Returns
    -------
    Solution
        `residual` is below 1e-9 of strain wherever the tension is not nan.
    """
    T = np.asarray(temperature, float)
    shape = np.broadcast_shapes(T.shape, *(np.shape(p) for p in part))
    found = _solve(excess, span, load, shape, lambda F, e: strain_near(F, T, part, e))
    lost = np.isnan(found.horizontal_tension) & np.isfinite(found.residual)
    if not lost.any():
        return found
    # Across a kink of curves a strain by one step may point the wrong way, and the bracket lose its root: once more.
    x, S, q, at, *fields = (np.broadcast_to(np.asarray(v, float), lost.shape)[lost]
                            for v in (excess, span, load, T, *part))
    law = type(part)(*fields)
    again = _solve(x, S, q, x.shape, lambda F, _: strain_and_slope(F, at, law))
    H, residual = np.array(found.horizontal_tension), np.array(found.residual)
    H[lost], residual[lost] = again
    return Solution(H, residual)


def _solve(excess: ArrayLike, span: ArrayLike, load: ArrayLike, shape: tuple[int, ...], law: Elongation) -> Solution:
    """Solution of `slack/S - excess = (1 + excess) e(F)`; `law(F, e)` gives strain and slope by F, near e."""
    excess, S, q = (np.asarray(v, float) for v in (excess, span, load))
    shape = np.broadcast_shapes(excess.shape, S.shape, q.shape, shape)
    low = np.broadcast_to(np.log(q * S / 8), shape).copy()
    high = np.broadcast_to(np.log(q * S * 2e4), shape).copy()
    guess = np.broadcast_to(np.log(q * S * 2.5), shape).copy()
    with np.errstate(over="ignore", invalid="ignore"):
        for _ in range(_ITERATIONS):
            residual, slope = _residual(guess, excess, S, q, law)
            low = np.where(residual > 0, guess, low)
            high = np.where(residual < 0, guess, high)
            new = guess - residual / slope
            # A step that small is done: its own bracket would refuse it.
            done = np.abs(new - guess) <= _TOLERANCE
            new = np.where(done | ((new > low) & (new < high)), new, (low + high) / 2)
            moved = np.where(done, 0.0, np.abs(new - guess))
            guess = new
            if not np.any(moved > 0):
                break
        residual = _residual(guess, excess, S, q, law)[0]
        found = np.abs(residual) < 1e-9
    return Solution(np.where(found, np.exp(guess), np.nan), residual)


def _residual(log_tension: Array, excess: Array, S: Array, q: Array, law: Elongation) -> tuple[Array, Array]:
    """Strain residual of the change of state and its derivative by ln H."""
    slack, slack_slope, F, F_slope = _level(S, np.exp(log_tension), q)
    e, e_slope = law(F, (slack - excess) / (1 + excess))
    return slack - excess - (1 + excess) * e, slack_slope - (1 + excess) * e_slope * F_slope


def temperature_for_tension(horizontal_tension: ArrayLike, excess: Number, span: Number, load: Number,
                            part: Law) -> Array:
    """Return the conductor temperature at which the span has a horizontal tension [°C].

    The inverse of `tension`, in closed form: the shape gives the strain, the strain gives the temperature.
    """
    slack, _, F, _ = _level(span, np.asarray(horizontal_tension, float), load)
    e = (slack - excess) / (1 + excess)
    return temperature_at(F, e, part)


def knee_temperature(excess: ArrayLike, span: Number, load: Number, part: TwoPart) -> Array:
    """Return the temperature at which the outer part goes slack and the core alone carries [°C].

    There both branches of elongation meet, which ties temperature and strain to the tension:
    `T - T_ref = ((F + F_comp)/Kc + F_comp/Ko + s_c - s_o)/(a_o - a_c)` and `e = a_o (T - T_ref) + s_o - F_comp/Ko`.

    Parameters
    ----------
    excess, span, load : array_like
        As in `tension`; the load is the bare wire's weight for the knee of everyday talk.
    part : TwoPart

    Returns
    -------
    ndarray
        nan for a conductor of one part, or of two that expand alike.
    """
    Ko, Kc, Fc = part.outer_stiffness, part.core_stiffness, part.outer_compression
    with np.errstate(divide="ignore", invalid="ignore"):
        rise = 1 / (Kc * (part.outer_expansion - part.core_expansion))

        def above(F: Array) -> Array:
            return (F + Fc + Kc * (Fc / Ko + part.core_set - part.outer_set)) * rise

        def law(F: Array, _: Array) -> tuple[Array, Array]:
            return part.outer_expansion * above(F) + part.outer_set - Fc / Ko, part.outer_expansion * rise

        H = _solve(excess, span, load, np.broadcast_shapes(*(np.shape(p) for p in part)), law).horizontal_tension
        T = REFERENCE_TEMPERATURE + above(_level(span, H, load)[2])
    return np.where(np.isfinite(rise) & (rise > 0), T, np.nan)
