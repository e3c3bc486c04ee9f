"""How long each span's wire is: from the state that it was clipped in, or from stringing in travellers.

A standing line is taken to have been clipped in with strings that hang in balance and one horizontal tension
throughout: plumb along the line. That fixes the unstressed length of each span for good.

A new line first lies in travellers. Over a sheave without friction the wire's *tension* is equal on both sides, not
its horizontal component: on a slope the spans farther up are tighter, and travellers lean uphill. To have strings
plumb, clamps are set off from where the wire touches its sheave. Wire is only shifted from span to span:
between the ends of a sag section there is as much before as after.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Integers
from corridor.geometry.catenary import Plane
from corridor.mechanics import balance
from corridor.mechanics import block_newton as block
from corridor.mechanics.elongation import Law, strain, strain_slope
from corridor.mechanics.supports import Problem, Supports, hanging, planes, prepare
from corridor.mechanics.wires import Strung

__all__ = ["Clipped", "Travellers", "clip_in", "clipping_offsets", "lying_in_travellers", "sheave_tension"]

_ITERATIONS = 60
_TOLERANCE = 1e-10
#: Force across a string at which the search ends, and that counts as balance [N].
_FINE, _ACCEPTED = 1e-6, 0.01


class Clipped(NamedTuple):
    """Wires as they were clipped in; nan where they cannot hang so.

    `unstressed` length of each span [m], (batch, n); `end` (batch, n + 1, 3) of the wire [m]; `lifted` (batch, n + 1),
    True for strings that wires lift in that state; `iterations` (batch,); `left` (batch, n + 1) [N]: all three as of
    `Equilibrium`.
    """

    unstressed: Array
    end: Array
    lifted: Booleans
    iterations: Integers
    left: Array


class Travellers(NamedTuple):
    """A sag section in travellers; nan where there is no balance, or wires lift a string.

    `offset` (batch, n + 1) [m]: along the wire, from its point on the sheave to the clamp, positive ahead (towards
    the last support). `horizontal_tension` (batch, n) [N] and `sheave` (batch, n + 1, 3) [m] in travellers: what to
    sag to. `unstressed` (batch, n) [m] after clipping in.
    """

    offset: Array
    horizontal_tension: Array
    sheave: Array
    unstressed: Array


def clip_in(supports: Supports, horizontal_tension: ArrayLike, load: ArrayLike, temperature: ArrayLike, part: Law, *,
            count: ArrayLike | None = None) -> Clipped:
    """Return the unstressed lengths of a line whose horizontal tensions are known in a state, mostly one for all spans.

    Where wires lift a string in that state it hangs slack, with the wire in its own station: nothing else tells
    where along the line it holds the wire.

    Parameters
    ----------
    supports : Supports
    horizontal_tension : array_like, shape (batch,) or (batch, n)
        H in every span of the section, or in each [N]. Where they differ strings lean, as they balance.
    load : array_like, shape (batch, n, 3) or (batch, 1, 3)
        In that state [N/m].
    temperature : array_like, shape (batch,)
        Of the conductor in that state [°C].
    part : TwoPart or Curved, of arrays (batch,)
    count : array_like of int, optional
        As in `equilibrium.solve`.

    Returns
    -------
    Clipped
        The same equations as those of `equilibrium.solve`, which gives this state back.
    """
    problem = prepare(supports, load, temperature, part, count)
    with np.errstate(all="ignore"):
        found, _, _, unstressed = _clipped(problem, horizontal_tension)
    lengths = np.where(found.good & problem.active, unstressed, np.nan).T
    return Clipped(lengths, balance.ends(problem, found), balance.lifted(problem, found).T, found.iterations,
                   found.across.T)


def _clipped(problem: Problem, horizontal_tension: ArrayLike) -> tuple[balance.Balance, block.Shape, Array, Array]:
    """Where wires rest that all have one tension, their shapes, strains and unstressed lengths."""
    t = np.broadcast_to(np.log(np.asarray(horizontal_tension, float)).T, problem.active.shape)
    found = balance.find(problem._replace(strung=Strung(t)), _FINE, _ACCEPTED)
    plane, kept = planes(problem, found.offset), problem.kept
    wire = block.shape(plane.span, plane.rise, plane.load, t)
    e = strain(wire.F, kept.temperature, kept.part)
    return found, wire, e, wire.L / (1 + e)


def clipping_offsets(supports: Supports, horizontal_tension: ArrayLike, load: ArrayLike, temperature: ArrayLike,
                     part: Law, *, count: ArrayLike | None = None) -> Travellers:
    """Return where the clamps go on a wire that lies in travellers, one sag section in each row.

    A sag section is held at both its ends, by a dead end, or by an anchor or the finished sag section behind. The wire
    in it is just what clipping in to the wanted tension needs, so no offset is left at the last support.

    Parameters
    ----------
    supports : Supports
        All inner ones carry travellers, on their strings where they have one.
    horizontal_tension : array_like, shape (batch,)
        Wanted in every span after clipping in [N].
    load : array_like, shape (batch, 3)
        At stringing [N/m], the same in all spans.
    temperature, part, count
        As in `clip_in`, at stringing.

    Returns
    -------
    Travellers

    Notes
    -----
    Along a wire that runs over sheaves `T + q.x` stays the same. So the tension T0 at the first support gives
    the tension at the left end of each span, `T0 - q.(x - x0)`; T0 is where unstressed lengths make up the sum that
    clipping in needs. Newton on both, and between its steps strings turn into the direction of their force.
    """
    problem = prepare(supports, np.asarray(load, float)[..., None, :], temperature, part, count)
    with np.errstate(all="ignore"):
        clipped, wire, e, wanted = _clipped(problem, horizontal_tension)
        lying, unstressed = _in_travellers(problem, wanted, clipped.offset, clipped.log_tension)
        shift = np.cumsum(np.where(problem.active, wanted - unstressed, 0.0), axis=0) * (1 + e)
    good = clipped.good & lying.good & ~balance.lifted(problem, clipped).any(axis=0)
    found = lying._replace(good=good)
    sheave = balance.ends(problem, found)
    shift = np.concatenate([np.zeros_like(shift[:1]), shift]).T
    return Travellers(np.where(np.isnan(sheave[..., 0]), np.nan, shift), _tensions(problem, found), sheave,
                      np.where(good & problem.active, wanted, np.nan).T)


def _tensions(problem: Problem, found: balance.Balance) -> Array:
    return np.where(found.good & problem.active, np.exp(found.log_tension), np.nan).T


def lying_in_travellers(supports: Supports, unstressed: ArrayLike, horizontal_tension: ArrayLike, load: ArrayLike,
                        temperature: ArrayLike, part: Law, *, count: ArrayLike | None = None) -> tuple[Array, Array]:
    """Return the wires of sag sections in travellers that hold as much wire as their spans will be clipped in with.

    Parameters
    ----------
    supports, load, temperature, part, count
        As in `clipping_offsets`.
    unstressed : array_like, shape (batch, n)
        Of the spans once clipped in [m].
    horizontal_tension : array_like, shape (batch,)
        Where to start [N].

    Returns
    -------
    horizontal_tension : ndarray, shape (batch, n)
        [N]; nan where travellers find no balance, or wires lift them.
    end : ndarray, shape (batch, n + 1, 3)
        Of the wires, on the sheaves [m].
    """
    problem = prepare(supports, np.asarray(load, float)[..., None, :], temperature, part, count, unstressed)
    with np.errstate(all="ignore"):
        t = np.broadcast_to(np.log(np.asarray(horizontal_tension, float)), problem.active.shape)
        found, _ = _in_travellers(problem, problem.kept.unstressed, hanging(problem), t)
    return _tensions(problem, found), balance.ends(problem, found)


def _in_travellers(problem: Problem, wanted: Array, offset: Array, t: Array) -> tuple[balance.Balance, Array]:
    """Wires in travellers that hold as much as is wanted in all, from offsets and tensions that are near, and their
    unstressed lengths."""
    active, first = problem.active, np.full(problem.kind.shape[1], np.nan)
    for step in range(_ITERATIONS):
        wire, tension, tension_t, unstressed, unstressed_t = _over_sheaves(problem, planes(problem, offset), t)
        x = problem.hinge + offset
        fall = (problem.size[:1] * -problem.against[:, :1] * (x - x[:, :1])[:, :-1]).sum(axis=0)
        first = first if step else tension[0]
        lack = first - fall - tension
        needed = np.where(active, wanted - unstressed - unstressed_t * lack / tension_t, 0.0).sum(axis=0)
        change = needed / np.where(active, unstressed_t / tension_t, 0.0).sum(axis=0)
        gain = np.where(active, (lack + change) / tension_t, 0.0)
        t, first = t + np.clip(gain, -0.5, 0.5), first + change
        found = balance.find(problem._replace(strung=Strung(t)), _FINE, _ACCEPTED, start=offset)
        moved = np.abs(found.offset - offset).max(axis=(0, 1), initial=0.0)
        offset, worst = found.offset, np.maximum(moved, np.abs(gain).max(axis=0, initial=0.0))
        if not np.any(worst > _TOLERANCE):
            break
    good = (worst < 1e-8) & found.good & ~balance.lifted(problem, found).any(axis=0)
    return found._replace(log_tension=t, good=good), unstressed


def sheave_tension(wire: block.Shape, L_t: Array) -> tuple[Array, Array]:
    """Return the tension at the left ends of wires [N], and its derivative by t, of which `L_t` is that of length."""
    return (wire.q / 2 * (wire.L * wire.k - wire.h),
            wire.q / 2 * (L_t * wire.k + wire.L * wire.u / wire.sinh_u**2))


def _over_sheaves(problem: Problem, plane: Plane, t: Array) -> tuple[block.Shape, Array, Array, Array, Array]:
    """The wires, tension at their left ends, unstressed lengths, and derivatives of both by t."""
    wire, kept = block.shape(plane.span, plane.rise, plane.load, t), problem.kept
    L_t, F_t = block.slopes_by_tension(wire)
    e, slope = (f(wire.F, kept.temperature, kept.part) for f in (strain, strain_slope))
    tension, tension_t = sheave_tension(wire, L_t)
    unstressed = wire.L / (1 + e)
    return wire, tension, tension_t, unstressed, (L_t - unstressed * slope * F_t) / (1 + e)
