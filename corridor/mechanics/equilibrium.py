"""The exact equilibrium of sections: every span keeps its own wire, every string hangs where forces balance.

A wire does not run through its clamps. When it grows warm or takes ice, what a span has too much or too little
is shared only as far as the strings swing along the line. Two kinds of equation say all:

- each span: `L(H, A, B, q) = L0 (1 + e(F, T))`, with the ends A, B at the strings' ends;
- each string: what pulls at its end, both wires, half the string's weight and half its wind, has no part
  across the string; or it hangs slack, and nothing is left that pulls at its end.

The unknowns are a horizontal tension for every span and the place of every string end; `balance` searches for them.
Sections, options and cases are solved together.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Integers
from corridor.mechanics import balance
from corridor.mechanics.elongation import Law
from corridor.mechanics.supports import Supports, prepare

__all__ = ["Equilibrium", "solve"]


class Equilibrium(NamedTuple):
    """Where a section comes to rest; nan throughout where it was not found.

    `horizontal_tension` (batch, n) [N], across the load; `end` (batch, n + 1, 3) [m] of the wire; `iterations`
    (batch,); `left` (batch, n + 1) [N], the force left across each string (along the line at a post, any at a slack
    string), 0 beyond the last support; `residual_length` (batch,) [-], the greatest of `L/(L0 (1 + e)) - 1`, both nan
    where something is unknown; `converged` (batch,); `lifted` (batch, n + 1), True for strings that wires have lifted:
    slack, or above their hinge.
    """

    horizontal_tension: Array
    end: Array
    iterations: Integers
    left: Array
    residual_length: Array
    converged: Booleans
    lifted: Booleans

    @property
    def residual_force(self) -> Array:
        """The greatest force left in each section (batch,) [N]."""
        return self.left.max(axis=-1)


def solve(supports: Supports, unstressed: ArrayLike, load: ArrayLike, temperature: ArrayLike, part: Law, *,
          count: ArrayLike | None = None, broken: ArrayLike = False, tolerance: float = 0.01) -> Equilibrium:
    """Return the equilibrium of sections under loads and at temperatures.

    Parameters
    ----------
    supports : Supports
    unstressed : array_like, shape (batch, n)
        Length L0 of each span's wire, without force at the reference temperature [m], as `clip_in` gives.
    load : array_like, shape (batch, n, 3) or (batch, 1, 3)
        Load per length of wire [N/m]: weight down, wind across; it may differ from span to span.
    temperature : array_like, shape (batch,)
        Of the conductor [°C].
    part : TwoPart or Curved, of arrays (batch,)
    count : array_like of int, shape (batch,), optional
        Number of spans of each section; what stands beyond is ignored.
    broken : array_like of bool, shape (batch, n), optional
        Spans whose wire is broken: it pulls at nothing, its tension is nan, and both parts of the section come to rest
        on their own. The string beside a break hangs from its hinge with one wire.
    tolerance : float
        Greatest force across a string that counts as balance [N].

    Returns
    -------
    Equilibrium
        A section that was not found is nan with its residuals.

    Raises
    ------
    InputError
        Where `kind` or `count` is none that exists, or a string's length negative.
    """
    problem = prepare(supports, load, temperature, part, count, unstressed, broken)
    with np.errstate(all="ignore"):
        found = balance.find(problem, tolerance)
        H = np.where(found.good & problem.active, np.exp(found.log_tension), np.nan)
    return Equilibrium(H.T, balance.ends(problem, found), found.iterations, found.across.T,
                       np.abs(found.misfit).max(axis=0), found.good, balance.lifted(problem, found).T)
