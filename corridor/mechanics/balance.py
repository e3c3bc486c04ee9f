"""The search for the balance of a section: what pulls at the end of every string has no part across it.

Given the ends of a wire, its forces on them are known, with their derivatives in closed form. So what is sought are
the wires' ends alone: two small displacements across each string, one along the line at a post. Newton on all of
them at once, a chain of small blocks, is there in 3 to 6 steps where every string pulls.

A string pulls and never pushes. One that would have to push hangs slack instead: its wire end is free in space within
the string's length. So the whole is the rest of a convex energy over balls about the hinges, for a wire only pulls,
too. Sections that the short way does not settle go through the inside of the balls (`interior_point`), which
tells taut strings from slack ones, and end with the same Newton.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from corridor.arrays import Array, Booleans, Integers
from corridor.geometry.catenary import Plane
from corridor.mechanics import block_newton as block
from corridor.mechanics.interior_point import approach
from corridor.mechanics.moves import answered, chain_blocks, tangents, together, within
from corridor.mechanics.supports import FREE, POST, SLACK, Problem, beside, dot, hanging, planes, put, take, unit

__all__ = ["LENGTH_TOLERANCE", "Balance", "ends", "find", "lifted"]

#: Greatest misfit of a length that counts as none, of the length [-].
LENGTH_TOLERANCE = 1e-9
_STEPS = 8
_CHUNK = 12_000
_HALVINGS = 12
_ROUNDS = 4
#: How far a slack string may seem drawn out, of the square of its length [-].
_DRAWN = 2e-7


class Balance(NamedTuple):
    """Where sections come to rest, or as near to it as the search came.

    `offset` (3, node, batch) of the wire from the hinge [m]; `log_tension` (span, batch); `kind` (node, batch), with
    SLACK where strings are; `pull` (node, batch) along the strings [N], inf where none swings taut; `across` (node,
    batch), the force that is left [N]; `misfit` (span, batch) of lengths [-]; `iterations` (batch,); `good` (batch,).
    """

    offset: Array
    log_tension: Array
    kind: NDArray[np.int8]
    pull: Array
    across: Array
    misfit: Array
    iterations: Integers
    good: Booleans


class _State(NamedTuple):
    """`offset` (3, node, batch) of the wire from the hinge; `force` (3, node, batch) on the string's end; the wires."""

    offset: Array
    log_tension: Array
    force: Array
    misfit: Array
    plane: Plane
    wire: block.Shape


def find(problem: Problem, tolerance: float, accepted: float | None = None, *, start: Array | None = None) -> Balance:
    """Return where sections come to rest.

    Parameters
    ----------
    problem : Problem
    tolerance : float
        Force across a string at which the search ends [N].
    accepted : float, optional
        Force that counts as balance [N]; default: the tolerance. Rounding may leave more of steep and stiff sections.
    start : ndarray, shape (3, node, batch), optional
        Offsets of wires from hinges that are near [m].

    Returns
    -------
    Balance
        nan where a number is unknown.
    """
    rows = np.flatnonzero(_known(problem))
    nodes, batch = problem.kind.shape
    pull, across = np.full((2, nodes, batch), np.nan)
    whole = Balance(np.full((3, nodes, batch), np.nan), np.full((nodes - 1, batch), np.nan), problem.kind.copy(),
                    pull, across, np.full((nodes - 1, batch), np.nan), np.zeros(batch, int),
                    np.zeros(batch, bool))
    size = max(1, _CHUNK // max(nodes - 1, 1))
    for i in range(0, rows.size, size):
        some = slice(i, i + size) if rows.size == batch else rows[i : i + size]
        part = take(problem, some)
        state = _start(part, None if start is None else start[..., some])
        put(whole, _found(part, state, tolerance, accepted or tolerance), some)
    return whole


def lifted(problem: Problem, found: Balance) -> Booleans:
    """Return the strings that wires have lifted, (node, batch): slack, or above their hinge.

    One that a wire draws along from one side alone, beside a break, is lifted by none.
    """
    above = (found.kind == FREE) & problem.inner & (found.offset[2] > 0)
    above[1:-1] &= problem.active[:-1] & problem.active[1:]
    return found.good & ((found.kind == SLACK) | above)


def ends(problem: Problem, found: Balance) -> Array:
    """Return where wires end (batch, node, 3) [m], nan where there is no balance and beyond the last support."""
    return np.where(found.good & beside(problem.active), problem.hinge + found.offset, np.nan).T


def _known(problem: Problem) -> Booleans:
    """Whether all that is given of a section is a number, and every wire has a length and a distance to span."""
    kept = problem.kept
    known = np.isfinite(problem.hinge + problem.pull).all(axis=(0, 1)) & np.isfinite(kept.temperature)
    known &= np.isfinite(problem.length + problem.stiffness).all(axis=0)
    known &= ((problem.size > 0) & np.isfinite(problem.size)).all(axis=0)
    known &= ((kept.unstressed > 0) & np.isfinite(kept.unstressed)).all(axis=0)
    if problem.strung is not None:
        known &= np.isfinite(problem.strung.log_tension).all(axis=0)
    return known & (planes(problem, np.zeros_like(problem.hinge)).span > 0).all(axis=0)


def _found(problem: Problem, state: _State, tolerance: float, accepted: float) -> Balance:
    found = _search(problem, state, tolerance)
    found = found._replace(good=_good(problem, found, accepted))
    rows = np.flatnonzero(~found.good)
    if rows.size:
        better = _from_inside(take(problem, rows), tolerance, accepted)
        put(found, better._replace(iterations=better.iterations + found.iterations[rows]), rows)
    return found


def _good(problem: Problem, found: Balance, accepted: float) -> Booleans:
    """True for sections in balance, all of whose strings are as they were taken to be."""
    fits = (np.abs(found.misfit).max(axis=0) <= LENGTH_TOLERANCE) & (found.across.max(axis=0) <= accepted)
    return fits & ~_wrong(problem, found, accepted).any(axis=0)


def _wrong(problem: Problem, found: Balance, accepted: float) -> Booleans:
    """True for strings that push, and for slack ones that are drawn out beyond their length."""
    beyond = dot(found.offset, found.offset) > problem.length**2 * (1 + _DRAWN)
    return (problem.kind == FREE) & ~(found.pull > -accepted) | (problem.kind == SLACK) & beyond


def _from_inside(problem: Problem, tolerance: float, accepted: float) -> Balance:
    """What is found of sections that the short way did not settle."""
    point = approach(problem)
    slack = (problem.kind == FREE) & (point.pull * problem.length <= accepted)
    problem = problem._replace(kind=np.where(slack, SLACK, problem.kind).astype(np.int8))
    found = _search(problem, _evaluate(problem, _on_strings(problem, point.offset), point.log_tension), tolerance)
    found = found._replace(iterations=found.iterations + point.iterations)
    for _ in range(_ROUNDS):
        wrong = _wrong(problem, found, accepted)
        rows = np.flatnonzero(wrong.any(axis=0))
        if not rows.size:
            break
        other = np.where(problem.kind == FREE, SLACK, FREE)
        problem = problem._replace(kind=np.where(wrong, other, problem.kind).astype(np.int8))
        part, before = take(problem, rows), take(found, rows)
        new = _search(part, _evaluate(part, _on_strings(part, before.offset), before.log_tension), tolerance)
        put(found, new._replace(iterations=before.iterations + new.iterations), rows)
    return found._replace(good=_good(problem, found, accepted))


def _on_strings(problem: Problem, offset: Array) -> Array:
    """Offsets with taut strings at their length, and slack ones plumb along the line where nothing else tells."""
    offset = np.where(problem.kind == FREE, problem.length * unit(offset), offset)
    if problem.wires.slides:
        line = np.where(problem.kind == SLACK, problem.line, 0.0)
        offset = offset - dot(offset, line) * line
    return offset


def _search(problem: Problem, state: _State, tolerance: float) -> Balance:
    """Newton from a state; what is found drops out, so that it does not wait for others. Of `good` nothing is said."""
    count = problem.kind.shape[1]
    found = Balance(state.offset.copy(), state.log_tension.copy(), problem.kind.copy(), np.zeros(problem.kind.shape),
                    np.zeros(problem.kind.shape), np.zeros(problem.active.shape), np.zeros(count, int),
                    np.zeros(count, bool))
    rows, left, waits = np.arange(count), problem, np.ones(count, bool)
    for step in range(_STEPS + 1):
        pull, across = _left_over(left, state)
        force, length = across.max(axis=0), np.abs(state.misfit).max(axis=0)
        # What is unknown stays so.
        ends = waits & ((force <= tolerance) & (length <= LENGTH_TOLERANCE) | ~np.isfinite(force + length))
        if step == _STEPS:
            ends = waits
        kept = Balance(state.offset, state.log_tension, left.kind, pull, across, state.misfit,
                       np.full(rows.shape, step), np.zeros(rows.shape, bool))
        put(found, take(kept, ends), rows[ends])
        waits = waits & ~ends
        if not waits.any():
            break
        if waits.mean() < 0.8:
            left, state, rows, waits = take(left, waits), take(state, waits), rows[waits], waits[waits]
        state = _improve(left, state)
    return found


def _left_over(problem: Problem, state: _State) -> tuple[Array, Array]:
    """Force along every string [N], infinite where there is none, and the force that is left there."""
    kind, force = problem.kind, state.force
    free = kind == FREE
    along = dot(force, state.offset) / problem.length
    across = force - along / problem.length * state.offset
    left = np.where(free, np.sqrt(dot(across, across)), 0.0)
    if (kind == POST).any():
        left = np.where(kind == POST, np.abs(dot(force, problem.line)), left)
    if (kind == SLACK).any():
        size = np.sqrt(dot(force, force))
        if problem.across is not None and problem.wires.slides:
            # A slack V stays at its station, though with one tension all along nothing holds it there at a turn.
            size = np.where(problem.across.any(axis=0), np.abs(force[2]), size)
        left = np.where(kind == SLACK, size, left)
    return np.where(free, along, np.inf), left


def _evaluate(problem: Problem, offset: Array, log_tension: Array) -> _State:
    plane = planes(problem, offset)
    t, wire, misfit = problem.wires.settle(plane, log_tension)
    return _State(offset, t, answered(problem, plane, wire, offset), misfit * problem.active, plane, wire)


def _start(problem: Problem, near: Array | None) -> _State:
    """Strings where they are near, or would hang if all spans had one tension: that at which lengths fit in the sum."""
    offset = hanging(problem) if near is None else near
    plane = planes(problem, offset)
    t = np.broadcast_to(problem.wires.common(plane, problem.active), plane.span.shape)
    if near is None:
        force = answered(problem, plane, block.shape(plane.span, plane.rise, plane.load, t), offset)
        force[2] = np.where(problem.inner, -np.abs(force[2]), force[2])
        offset = np.where(problem.kind == FREE, problem.length * unit(force), 0.0)
    return _evaluate(problem, offset, t)


def _step(problem: Problem, state: _State) -> tuple[Array, Array]:
    """Newton's displacement of wire ends, (3, node, batch), at most 0.7 of a string, and the change of ln H with it."""
    plane, kind = state.plane, problem.kind
    stiff = problem.wires.stiffness(state.wire)
    ways = tangents(problem, state.offset, slides=problem.wires.slides)
    # A string in compression would fall over: its sign is turned, so that the step leads away from there.
    pendulum = np.abs(dot(state.force, state.offset)) / problem.length**2
    blocks = chain_blocks(problem, plane, stiff, ways, np.where(kind == FREE, pendulum, 0.0))
    x = block.solve_blocks(*blocks, -within(ways, state.force))
    size = np.sqrt((x * x).sum(axis=0)) / problem.length
    far = np.where(kind == POST, 0.0, size).max(axis=0)
    move = together(ways, x) * np.minimum(1, 0.7 / np.maximum(far, 1e-9))
    moved = move[:, 1:] - move[:, :-1]
    gain = stiff.left[0, 0] * dot(moved, plane.along) + stiff.left[0, 1] * dot(moved, plane.against)
    return move, np.clip(gain / state.wire.H, -1.0, 1.0)


def _moved(problem: Problem, offset: Array, displacement: Array) -> tuple[Array, Array]:
    """New offsets, on the sphere of their strings, and the velocity along the way there at this point."""
    free = problem.kind == FREE
    new = offset + displacement
    size = np.where(free, np.sqrt(dot(new, new)), 1.0)
    d = new / size
    across = problem.length / size * (displacement - d * dot(d, displacement))
    return np.where(free, problem.length * d, new), np.where(free, across, displacement)


def _improve(problem: Problem, state: _State) -> _State:
    """One Newton step, halved while the forces at its end push back harder than they pulled at its start."""
    move, gain = _step(problem, state)
    pulled = dot(state.force, move).sum(axis=0)
    new, over = _tried(problem, state, move, gain, pulled)
    todo = np.flatnonzero(over)
    for _ in range(_HALVINGS):
        if not todo.size:
            break
        for column in (move, gain, pulled):
            column[..., todo] /= 2
        tried, over = _tried(take(problem, todo), take(state, todo), move[..., todo], gain[..., todo], pulled[todo])
        put(new, tried, todo)
        todo = todo[over]
    return new


def _tried(problem: Problem, state: _State, move: Array, gain: Array, pulled: Array) -> tuple[_State, Booleans]:
    """The state after a step, and whether it went too far: work per step at its end, against that at its start [J]; a
    microjoule is nothing."""
    offset, velocity = _moved(problem, state.offset, move)
    new = _evaluate(problem, offset, state.log_tension + gain)
    return new, ~(dot(new.force, velocity).sum(axis=0) >= -0.9 * pulled - 1e-6)
