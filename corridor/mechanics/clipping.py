"""How long each span's wire is: from the state that it was clipped in, or from stringing in travellers.

A standing line is taken to have been clipped in with strings that hang in balance and one horizontal tension
throughout: plumb along the line. That fixes the unstressed length of each span for good.

A new line first lies in travellers. Over a sheave without friction the wire's *tension* is equal on both sides, not
its horizontal component: on a slope the spans farther up are tighter, and travellers lean uphill. To have strings
plumb, clamps are set off from where the wire touches its sheave. Wire is only shifted from span to span:
between the ends of a block there is as much before as after.
"""

from typing import NamedTuple

import numpy as np

from corridor.mechanics import block_newton as block
from corridor.mechanics.elongation import strain, strain_slope
from corridor.mechanics.supports import FREE, forces_on_ends, hanging, planes, prepare, unit

__all__ = ["Clipped", "Travellers", "clip_in", "clipping_offsets", "lying_in_travellers"]

_ITERATIONS = 100
_TOLERANCE = 1e-10
#: Iterations where strings turn by a part of the way alone, the first such part and the least [-].
_DAMPED, _PART, _LEAST_PART = 2000, 0.3, 0.01


class Clipped(NamedTuple):
    """`unstressed` length of each span [m], (batch, n); `end` (batch, n + 1, 3) of the wire when clipped in [m].

    nan where strings do not hang in that state.
    """

    unstressed: np.ndarray
    end: np.ndarray


class Travellers(NamedTuple):
    """A block of spans in travellers; nan where there is no balance.

    `offset` (batch, n + 1) [m]: along the wire, from its point on the sheave to the clamp, positive ahead (towards
    the last support). `horizontal_tension` (batch, n) [N] and `sheave` (batch, n + 1, 3) [m] in travellers: what to
    sag to. `unstressed` (batch, n) [m] after clipping in.
    """

    offset: np.ndarray
    horizontal_tension: np.ndarray
    sheave: np.ndarray
    unstressed: np.ndarray


def clip_in(supports, horizontal_tension, load, temperature, part, *, count=None):
    """Return the unstressed lengths of a line that has one horizontal tension in a known state.

    Parameters
    ----------
    supports : Supports
    horizontal_tension : array_like, shape (batch,)
        H in every span of the section [N].
    load : array_like, shape (batch, n, 3) or (batch, 1, 3)
        In that state [N/m].
    temperature : array_like, shape (batch,)
        Of the conductor in that state [degC].
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
        offset, wire, good = _balance(problem, np.log(np.asarray(horizontal_tension, float)))
        unstressed = wire.L / (1 + strain(wire.F, problem.temperature, problem.part))
    return Clipped(*_outside(problem, good, unstressed, offset))


def _balance(problem, log_tension):
    """Directions of strings at given tensions: each along the force at its end, again and again.

    Beside a span so short that turning a string changes the force on it more than it turns, that runs away: there
    strings turn by a part of the way, less whenever the last turn was greater than the one before.
    """
    offset, wire, good = _turned(problem, log_tension, 1.0, _ITERATIONS)
    rows = np.flatnonzero(~good & np.isfinite(log_tension))
    if rows.size:
        found, shape, right = _turned(_rows(problem, rows), log_tension[rows], _PART, _DAMPED)
        offset[..., rows] = np.where(right, found, offset[..., rows])
        for whole, part in zip(wire, shape, strict=True):
            whole[..., rows] = np.where(right, part, whole[..., rows])
        good[rows] = right
    return offset, wire, good


def _rows(record, rows):
    """Some sections of a record whose batch is last."""
    return type(record)(*(_rows(field, rows) if isinstance(field, tuple) else field[..., rows] for field in record))


def _turned(problem, log_tension, part, iterations):
    """The same where strings turn by a part of the way at most, the shape of the wires, and where that is a balance."""
    offset, before, most = hanging(problem), np.inf, part
    for _ in range(iterations):
        plane = planes(problem, offset)
        wire = block.shape(plane.span, plane.rise, plane.load, log_tension)
        new, moved, hangs = _hang(problem, plane, wire, offset)
        if not np.any(moved > _TOLERANCE):
            break
        part = np.where(moved > before, np.maximum(part / 2, _LEAST_PART), np.minimum(1.02 * part, most))
        before = moved
        turned = problem.length * unit(offset + part * (new - offset))
        offset = np.where((problem.kind == FREE) & (part < 1), turned, new)
    return offset, wire, (moved <= 1e-6) & hangs


def _hang(problem, plane, wire, offset):
    """New offsets along the forces, the greatest move [m], and whether all inner strings hang down."""
    force = forces_on_ends(problem, plane, wire)
    free = problem.kind == FREE
    new = np.where(free, problem.length * unit(force), offset)
    moved = np.abs(new - offset).max(axis=(0, 1))
    return new, moved, ~(free & problem.inner & (force[2] >= 0)).any(axis=0)


def _outside(problem, good, unstressed, offset):
    """Lengths and wire ends as the caller has them: batch first, nan where there is no answer."""
    there = np.concatenate([problem.active[:1], problem.active])
    return (np.where(good & problem.active, unstressed, np.nan).T,
            np.where(good & there, problem.hinge + offset, np.nan).T)


def clipping_offsets(supports, horizontal_tension, load, temperature, part, *, count=None):
    """Return where the clamps go on a wire that lies in travellers, one block of spans in each row.

    A block is held at both its ends, by a dead end, or by an anchor or the finished block behind. The wire in it is
    just what clipping in to the wanted tension needs, so no offset is left at the last support.

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
    clipping in needs. Newton on both, while travellers turn into the direction of their force.
    """
    problem = prepare(supports, np.asarray(load, float)[..., None, :], temperature, part, count)
    t = np.log(np.asarray(horizontal_tension, float))
    with np.errstate(all="ignore"):
        offset, wire, good = _balance(problem, t)
        e = strain(wire.F, problem.temperature, problem.part)
        wanted = wire.L / (1 + e)
        t, sheave, lying, found = _in_travellers(problem, wanted, offset, np.broadcast_to(t, wanted.shape))
        shift = np.cumsum(np.where(problem.active, wanted - lying, 0.0), axis=0) * (1 + e)
    unstressed, _ = _outside(problem, good & found, wanted, offset)
    tension, sheave = _outside(problem, good & found, np.exp(t), sheave)
    shift = np.concatenate([np.zeros_like(shift[:1]), shift]).T
    return Travellers(np.where(np.isnan(sheave[..., 0]), np.nan, shift), tension, sheave, unstressed)


def lying_in_travellers(supports, unstressed, horizontal_tension, load, temperature, part, *, count=None):
    """Return the wires of blocks in travellers that hold as much wire as their spans will be clipped in with.

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
        [N]; nan where travellers find no balance.
    end : ndarray, shape (batch, n + 1, 3)
        Of the wires, on the sheaves [m].
    """
    problem = prepare(supports, np.asarray(load, float)[..., None, :], temperature, part, count, unstressed)
    with np.errstate(all="ignore"):
        t = np.broadcast_to(np.log(np.asarray(horizontal_tension, float)), problem.unstressed.shape)
        t, sheave, _, found = _in_travellers(problem, problem.unstressed, hanging(problem), t)
    return _outside(problem, found, np.exp(t), sheave)


def _in_travellers(problem, wanted, offset, t):
    """Log tensions, offsets of sheaves, unstressed lengths in travellers, and whether they were found."""
    active, first = problem.active, None
    for _ in range(_ITERATIONS):
        plane = planes(problem, offset)
        wire, tension, tension_t, unstressed, unstressed_t = _over_sheaves(problem, plane, t)
        x = problem.hinge + offset
        fall = (problem.size[:1] * -problem.against[:, :1] * (x - x[:, :1])[:, :-1]).sum(axis=0)
        first = tension[0] if first is None else first
        lack = first - fall - tension
        needed = np.where(active, wanted - unstressed - unstressed_t * lack / tension_t, 0.0).sum(axis=0)
        change = needed / np.where(active, unstressed_t / tension_t, 0.0).sum(axis=0)
        step = np.where(active, (lack + change) / tension_t, 0.0)
        t, first = t + np.clip(step, -0.5, 0.5), first + change
        offset, moved, hangs = _hang(problem, plane, wire, offset)
        worst = np.maximum(moved, np.abs(step).max(axis=0))
        if not np.any(worst > _TOLERANCE):
            break
    return t, offset, unstressed, (worst < 1e-8) & hangs


def _over_sheaves(problem, plane, t):
    """The wires, tension at their left ends, unstressed lengths, and derivatives of both by t."""
    wire = block.shape(plane.span, plane.rise, plane.load, t)
    L_t, F_t = block.slopes_by_tension(wire)
    e, slope = (f(wire.F, problem.temperature, problem.part) for f in (strain, strain_slope))
    tension = wire.q / 2 * (wire.L * wire.k - wire.h)
    tension_t = wire.q / 2 * (L_t * wire.k + wire.L * wire.u / wire.sinh_u**2)
    unstressed = wire.L / (1 + e)
    return wire, tension, tension_t, unstressed, (L_t - unstressed * slope * F_t) / (1 + e)
