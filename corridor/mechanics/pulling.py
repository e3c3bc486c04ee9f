"""A wire that is pulled over travellers: its tension from the tensioner to the puller, and what it does to structures.

Along a catenary `T + q.x` stays the same, so a climb of h adds `w h`. Each sheave adds what its bearing takes:
the tension on the puller's side is that on the other over its efficiency e, so over n sheaves `T_n = T_0/e^n`.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans
from corridor.mechanics import balance
from corridor.mechanics import block_newton as block
from corridor.mechanics.clipping import sheave_tension
from corridor.mechanics.elongation import Law, strain
from corridor.mechanics.supports import HELD, Problem, Supports, forces_on_ends, hanging, planes, prepare
from corridor.mechanics.wires import Strung

__all__ = ["Pulled", "friction", "pull", "pull_up_to"]

_ITERATIONS = 60
#: Change of log tension, and of offsets [m], that counts as none; and force across a string [N]: at which the search
#: ends, and that counts as balance. What changes by less than `_SETTLED` has an answer.
_TOLERANCE, _FINE, _ACCEPTED, _SETTLED = 1e-10, 1e-6, 0.01, 1e-8


class Pulled(NamedTuple):
    """Wires while they are pulled; nan where no balance is found.

    `tension` (batch, n, 2) at the start and the end of each span [N]; `horizontal_tension` (batch, n) [N]; `end`
    (batch, n + 1, 3) on the sheaves [m]; `unstressed` (batch, n) length of wire [m]; `force` (batch, n + 1, 3) of wires
    and half of the string on each support [N]; `held_down` (batch, n + 1), True where the wire would lift its
    traveller, and is taken to be held where a plumb string has it.
    """

    tension: Array
    horizontal_tension: Array
    end: Array
    unstressed: Array
    force: Array
    held_down: Booleans

    @property
    def greatest(self) -> Array:
        """Maximum tension of each wire (batch,) [N]; nan where it is not known."""
        return np.fmax.reduce(self.tension, axis=(1, 2))


def friction(sheaves: ArrayLike, efficiency: ArrayLike) -> Array:
    """Return tension behind a row of sheaves over that before it, `1/e^n` [-].

    IEEE Std 524 gives the form, with e about 0.98 for a bearing in good order (recalled).

    Examples
    --------
    >>> friction([5, 10, 15, 20], 0.98).round(3).tolist()
    [1.106, 1.224, 1.354, 1.498]
    """
    return np.asarray(efficiency, float) ** -np.asarray(sheaves, float)


def pull(supports: Supports, tension: ArrayLike, gain: ArrayLike, load: ArrayLike, temperature: ArrayLike,
         part: Law, *, count: ArrayLike | None = None) -> Pulled:
    """Return wires that lie over sheaves with the tension given at their first support.

    Parameters
    ----------
    supports : Supports
        The first and the last are the machines at the ground, all others carry travellers.
    tension : array_like, shape (batch,)
        At the start of the first span [N].
    gain : array_like, shape (batch, n + 1)
        Tension ahead of each support over that behind it [-]: `friction` where the puller is at the end, one over it
        where it is at the start. Those of machines do not count.
    load : array_like, shape (batch, 3)
        Of the wire [N/m], the same in all spans.
    temperature, part, count
        As in `corridor.mechanics.clipping.clip_in`; they matter to the unstressed length alone.
    """
    gain = np.asarray(gain, float)
    down = np.zeros(np.shape(supports.hinge)[:-1], bool)
    while True:
        found, lifted = _pulled(_held_down(supports, down), tension, gain, load, temperature, part, count)
        if not (lifted & ~down).any():
            return found._replace(held_down=np.broadcast_to(down, found.held_down.shape))
        down = down | lifted


def _held_down(supports: Supports, down: Booleans) -> Supports:
    """Supports at which the wire is held where a plumb string would have it, where it would lift that."""
    hinge = np.array(supports.hinge, float)
    hinge[..., 2] -= np.where(down, supports.string_length, 0.0)
    return supports._replace(hinge=hinge, kind=np.where(down, HELD, supports.kind))


def _pulled(supports: Supports, tension: ArrayLike, gain: Array, load: ArrayLike, temperature: ArrayLike, part: Law,
            count: ArrayLike | None) -> tuple[Pulled, Booleans]:
    """Wires over sheaves, and which strings they lift (batch, n + 1)."""
    problem = prepare(supports, np.asarray(load, float)[..., None, :], temperature, part, count)
    first, offset = np.asarray(tension, float), hanging(problem)
    with np.errstate(all="ignore"):
        t = np.broadcast_to(np.log(first), problem.active.shape)
        for _ in range(_ITERATIONS):
            wire = block.shape(*planes(problem, offset)[:3], t)
            T, slope = sheave_tension(wire, block.slopes_by_tension(wire)[0])
            lack = _along(problem, offset, first, gain.T) - T
            step = np.where(problem.active, np.clip(lack / slope, -0.5, 0.5), 0.0)
            t = t + step
            found = balance.find(problem._replace(strung=Strung(t)), _FINE, _ACCEPTED, start=offset)
            moved = np.abs(found.offset - offset).max(axis=(0, 1), initial=0.0)
            offset, worst = found.offset, np.maximum(moved, np.abs(step).max(axis=0, initial=0.0))
            if not np.any(worst > _TOLERANCE):
                break
        plane = planes(problem, offset)
        wire = block.shape(*plane[:3], t)
        force, e = forces_on_ends(problem, plane, wire), strain(wire.F, problem.kept.temperature, problem.kept.part)
    lifted, good = balance.lifted(problem, found), (worst < _SETTLED) & found.good
    there = good & problem.active
    ends = wire.q[..., None] / 2 * np.stack([wire.L * wire.k - wire.h, wire.L * wire.k + wire.h], axis=-1)
    place = balance.ends(problem, found._replace(good=good))
    force = np.where(np.isnan(place[..., :1]), np.nan, force.T)
    return Pulled(np.where(there[..., None], ends, np.nan).swapaxes(0, 1), np.where(there, wire.H, np.nan).T, place,
                  np.where(there, wire.L / (1 + e), np.nan).T, force, lifted.T), (lifted & good).T


def _along(problem: Problem, offset: Array, first: Array, gain: Array) -> Array:
    """Tension at the start of each span, (span, batch) [N], that sheaves and climbs make of the first."""
    x = problem.hinge + offset
    climb = (problem.size * problem.against * (x[:, 1:] - x[:, :-1])).sum(axis=0)
    T = np.empty_like(climb)
    T[0] = first
    for i in range(1, len(T)):
        T[i] = gain[i] * (T[i - 1] + climb[i - 1])
    return T


def pull_up_to(supports: Supports, greatest: ArrayLike, gain: ArrayLike, load: ArrayLike, temperature: ArrayLike,
               part: Law) -> Pulled:
    """Return wires that are pulled as hard as a bound on their tension lets them be, anywhere.

    Parameters
    ----------
    greatest : array_like, shape (batch,)
        Tension that no place of the wire exceeds [N].
    supports, gain, load, temperature, part
        As in `pull`.

    Returns
    -------
    Pulled
        nan where the wire cannot hang at so little.

    Notes
    -----
    The tension at any place is nearly linear in that at the first support: a secant is there in a few steps.
    """
    bound = np.asarray(greatest, float)
    first = 0.7 * bound
    found = pull(supports, first, gain, load, temperature, part)
    for _ in range(20):
        first = first * bound / found.greatest
        found = pull(supports, first, gain, load, temperature, part)
        if not np.any(np.abs(found.greatest / bound - 1) > 1e-9):
            break
    return found
