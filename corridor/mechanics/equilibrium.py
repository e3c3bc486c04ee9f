"""The exact equilibrium of sections: every span keeps its own wire, every string hangs where forces balance.

A wire does not run through its clamps. When it grows warm or takes ice, what a span has too much or too little
is shared only as far as the strings swing along the line. Two kinds of equation say all:

- each span: `L(H, A, B, q) = L0 (1 + e(F, T))`, with the ends A, B at the strings' ends;
- each string: what pulls at its end, both wires, half the string's weight and half its wind, has no part
  across the string.

The unknowns are a horizontal tension for every span and two small displacements for every string end. The
tensions are eliminated span by span. What is left is the slope of an energy that is convex in the wires' ends,
because a wire only pulls; so a Newton step that is shortened where it overshoots finds the balance from
afar. Sections, options and cases are solved together.

A string pulls too, and never pushes. One that would have to push hangs slack instead: its wire end is free in space
within the string's length. So the whole is a convex energy over balls about the hinges, and has one rest.
"""

from typing import NamedTuple

import numpy as np

from corridor.geometry.catenary import Plane
from corridor.mechanics import block_newton as block
from corridor.mechanics.supports import FREE, POST, SLACK, dot, forces_on_ends, hanging, planes, prepare, unit

__all__ = ["Equilibrium", "solve"]

_ITERATIONS = 60
_HALVINGS = 12
_ROUNDS = 12
_CHUNK = 12_000
_LENGTH_TOLERANCE = 1e-9


class Equilibrium(NamedTuple):
    """Where a section comes to rest; nan throughout where it was not found.

    `horizontal_tension` (batch, n) [N], across the load; `end` (batch, n + 1, 3) [m] of the wire; `iterations`
    (batch,); `residual_force` (batch,) [N], the greatest force left across a string (along the line at a post, any at
    a slack string); `residual_length` (batch,) [-], the greatest of `L/(L0 (1 + e)) - 1`; `converged` (batch,);
    `lifted` (batch, n + 1), True for strings that wires have lifted: slack, or above their hinge.
    """

    horizontal_tension: np.ndarray
    end: np.ndarray
    iterations: np.ndarray
    residual_force: np.ndarray
    residual_length: np.ndarray
    converged: np.ndarray
    lifted: np.ndarray


class _State(NamedTuple):
    """`offset` (3, node, batch) of the wire from the hinge; `force` (3, node, batch) on the string's end; the wires."""

    offset: np.ndarray
    log_tension: np.ndarray
    force: np.ndarray
    residual: np.ndarray
    plane: Plane
    wire: block.Shape


class _Found(NamedTuple):
    """What is kept of a solution; `force` (batch,) [N] and `length` (batch,) [-] what is left, `pull` (node, batch) [N]
    along strings."""

    offset: np.ndarray
    log_tension: np.ndarray
    pull: np.ndarray
    force: np.ndarray
    length: np.ndarray
    iterations: np.ndarray


def solve(supports, unstressed, load, temperature, part, *, count=None, tolerance=0.01):
    """Return the equilibrium of sections under loads and at temperatures.

    Parameters
    ----------
    supports : Supports
    unstressed : array_like, shape (batch, n)
        Length L0 of each span's wire, without force at the reference temperature [m], as `clip_in` gives.
    load : array_like, shape (batch, n, 3) or (batch, 1, 3)
        Load per length of wire [N/m]: weight down, wind across; it may differ from span to span.
    temperature : array_like, shape (batch,)
        Of the conductor [degC].
    part : TwoPart or Curved, of arrays (batch,)
    count : array_like of int, shape (batch,), optional
        Number of spans of each section; what stands beyond is ignored.
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
    problem = prepare(supports, load, temperature, part, count, unstressed)
    batch = problem.unstressed.shape[1]
    size = max(1, _CHUNK // problem.unstressed.shape[0])
    with np.errstate(all="ignore"):
        pieces = [_solve(_take(problem, slice(i, i + size)), tolerance) for i in range(0, max(batch, 1), size)]
    H, end, lifted, *rest = (np.concatenate(columns, axis=-1) for columns in zip(*pieces, strict=True))
    return Equilibrium(H.T, end.T, *rest, lifted.T)


def _take(record, index):
    return type(record)(*(_take(f, index) if isinstance(f, tuple) else f[..., index] for f in record))


def _put(record, values, index):
    for field, value in zip(record, values, strict=True):
        if isinstance(field, tuple):
            _put(field, value, index)
        else:
            field[..., index] = value


def _solve(problem, tolerance):
    """One chunk; fields of `Equilibrium`, batch last, `lifted` third."""
    found = _search(problem, _start(problem), tolerance)
    kind = _let_go(problem, found, tolerance)
    good = (found.force <= tolerance) & (found.length <= _LENGTH_TOLERANCE) & ~_wrong(problem, kind, found).any(axis=0)
    used = np.concatenate([problem.active[:1], problem.active])
    lifted = (kind == SLACK) | ((kind == FREE) & problem.inner & (found.offset[2] > 0))
    return (np.where(good & problem.active, np.exp(found.log_tension), np.nan),
            np.where(good & used, problem.hinge + found.offset, np.nan), good & lifted, found.iterations, found.force,
            found.length, good)


def _wrong(problem, kind, found):
    """True for strings that push, and for slack ones that are drawn out beyond their length."""
    beyond = dot(found.offset, found.offset) > problem.length**2 * (1 + 1e-9)
    return ((kind == FREE) & ~(found.pull > 0)) | ((kind == SLACK) & beyond)


def _let_go(problem, found, tolerance):
    """Let strings go slack that push, and draw those that wires pull away, until all are right; their kinds."""
    kind = problem.kind.copy()
    for _ in range(_ROUNDS):
        wrong = _wrong(problem, kind, found)
        rows = np.flatnonzero(wrong.any(axis=0) & np.isfinite(found.force))
        if not rows.size:
            break
        kind[:, rows] = np.where(wrong[:, rows], np.where(kind[:, rows] == FREE, SLACK, FREE), kind[:, rows])
        part, before = _take(problem, rows)._replace(kind=kind[:, rows]), _take(found, rows)
        drawn = (part.kind == FREE) & wrong[:, rows]
        offset = np.where(drawn, part.length * unit(before.offset), before.offset)
        new = _search(part, _evaluate(part, offset, before.log_tension), tolerance)
        _put(found, new._replace(iterations=before.iterations + new.iterations), rows)
    return kind


def _search(problem, state, tolerance):
    """Newton from a state; what is found drops out, so that it does not wait for others."""
    found = _Found(state.offset.copy(), state.log_tension.copy(), np.zeros(problem.kind.shape),
                   *np.full((2, *problem.temperature.shape), np.nan), np.zeros(problem.temperature.shape, int))
    rows, left = np.arange(problem.temperature.size), problem
    waits = np.ones(rows.shape, bool)
    for step in range(_ITERATIONS + 1):
        pull, force, length = _left_over(left, state)
        # What is unknown stays so.
        ends = waits & ((force <= tolerance) & (length <= _LENGTH_TOLERANCE) | ~np.isfinite(force + length))
        if step == _ITERATIONS:
            ends = waits
        kept = _Found(state.offset, state.log_tension, pull, force, length, np.full(rows.shape, step))
        _put(found, _take(kept, ends), rows[ends])
        waits &= ~ends
        if not waits.any():
            break
        if waits.mean() < 0.8:
            left, state, rows, waits = _take(left, waits), _take(state, waits), rows[waits], waits[waits]
        state = _improve(left, state)
    return found


def _left_over(problem, state):
    """Force along every string [N], infinite where there is none; the greatest that is left, and that of lengths."""
    kind, force = problem.kind, state.force
    free = kind == FREE
    along = dot(force, state.offset) / problem.length
    across = force - along / problem.length * state.offset
    left = np.where(free, np.sqrt(dot(across, across)), 0.0)
    if (kind == POST).any():
        left = np.where(kind == POST, np.abs(dot(force, problem.line)), left)
    if (kind == SLACK).any():
        left = np.where(kind == SLACK, np.sqrt(dot(force, force)), left)
    return np.where(free, along, np.inf), left.max(axis=0), np.abs(state.residual).max(axis=0)


def _evaluate(problem, offset, log_tension):
    plane = planes(problem, offset)
    t, wire, residual = block.settle(plane.span, plane.rise, plane.load, problem.unstressed, problem.temperature,
                                     problem.part, log_tension)
    return _State(offset, t, _force(problem, plane, wire, offset), residual * problem.active, plane, wire)


def _force(problem, plane, wire, offset):
    """Force on every string end, and on a post's with its answer to its bend."""
    force, post = forces_on_ends(problem, plane, wire), problem.kind == POST
    if post.any():
        force -= np.where(post, problem.stiffness, 0.0) * offset
    return force


def _start(problem):
    """Strings where they would hang if all spans had one tension, the one at which lengths fit in the sum."""
    free = problem.kind == FREE
    offset = hanging(problem)
    plane = planes(problem, offset)
    guess = np.log((2.5 * plane.load * plane.span).max(axis=0))
    t, wire, _ = block.settle(plane.span, plane.rise, plane.load, problem.unstressed, problem.temperature, problem.part,
                              guess, share=problem.active.astype(float), tolerance=1e-6)
    force = _force(problem, plane, wire, offset)
    force[2] = np.where(problem.inner, -np.abs(force[2]), force[2])
    offset = np.where(free, problem.length * unit(force), 0.0)
    return _evaluate(problem, offset, np.broadcast_to(t, plane.span.shape))


def _tangents(problem, offset):
    """Directions in which each wire end may move, (2 or 3, 3, node, batch); zero where it may not.

    Across a string: T. Duff et al., "Building an Orthonormal Basis, Revisited", J. Computer Graphics Techniques 6(1),
    2017, which holds for every direction. A slack string leaves all three.
    """
    kind = problem.kind
    slack, post = kind == SLACK, kind == POST
    x, y, z = offset / problem.length
    sign = np.copysign(1.0, z)
    a = -1 / (sign + z)
    b = x * y * a
    result = np.zeros((3 if slack.any() else 2, *offset.shape))
    result[0, 0], result[0, 1], result[0, 2] = 1 + sign * x * x * a, sign * b, -sign * x
    result[1, 0], result[1, 1], result[1, 2] = b, sign + y * y * a, -y
    result[:2] *= kind == FREE
    if post.any():
        result[0] += np.where(post, problem.line, 0.0)
    if slack.any():
        result += slack * np.eye(3)[:, :, None, None]
    return result


def _step(problem, state):
    """Newton's displacement of wire ends, (3, node, batch), at most 0.7 of a string, and the change of ln H with it."""
    plane = state.plane
    stiff = block.stiffness(state.wire, problem.unstressed, problem.temperature, problem.part)
    tangents = _tangents(problem, state.offset)
    x = block.solve_blocks(*_blocks(problem, state, stiff, tangents), -_within(tangents, state.force))
    size = np.sqrt((x * x).sum(axis=0)) / problem.length
    far = np.where(problem.kind == POST, 0.0, size).max(axis=0)
    move = _together(tangents, x) * np.minimum(1, 0.7 / np.maximum(far, 1e-9))
    moved = move[:, 1:] - move[:, :-1]
    gain = stiff.left[0, 0] * dot(moved, plane.along) + stiff.left[0, 1] * dot(moved, plane.against)
    return move, np.clip(gain / state.wire.H, -1.0, 1.0)


def _within(tangents, vectors):
    """Products of tangents with vectors, (d, ...)."""
    return np.einsum("ijnb,jnb->inb", tangents, vectors)


def _together(tangents, amounts):
    """Vectors (3, ...) that amounts (d, ...) of the tangents make."""
    return np.einsum("ijnb,inb->jnb", tangents, amounts)


def _blocks(problem, state, stiff, tangents):
    """Derivatives of the forces along the tangents by the moves along them: below, on and above the diagonal."""
    left, right, across = tangents[..., :-1, :], tangents[..., 1:, :], stiff.across
    if not problem.active.all():
        left, right, across = left * problem.active, right * problem.active, across * problem.active
    here, there = ((_within(each, state.plane.along), _within(each, state.plane.against)) for each in (left, right))
    diagonal = np.zeros((len(tangents), len(tangents), *tangents.shape[2:]))
    diagonal[..., :-1, :] = -block.project(stiff.left, stiff.across, here, here)
    diagonal[..., 1:, :] += block.project(stiff.right, -stiff.across, there, there)
    springs = _springs(problem, state)
    for i in range(len(tangents)):
        diagonal[i, i, :-1] -= across
        diagonal[i, i, 1:] -= across
        diagonal[i, i] -= springs[i]
    beside = across * np.einsum("ijnb,kjnb->iknb", left, right)
    lower = np.swapaxes(beside, 0, 1) - block.project(stiff.right, -stiff.across, there, here)
    upper = beside + block.project(stiff.left, stiff.across, here, there)
    return lower, diagonal, upper


def _springs(problem, state):
    """Stiffness of strings as pendulums, of posts, and 1 where nothing moves, a (node, batch) a direction [N/m].

    A string in compression would fall over: its sign is turned, so that the step leads away from there.
    """
    kind = problem.kind
    pendulum = np.abs(dot(state.force, state.offset)) / problem.length**2
    still = np.where(kind == SLACK, 0.0, 1.0)
    both = np.where(kind == FREE, pendulum, still)
    return np.where(kind == POST, problem.stiffness, both), both, still


def _moved(problem, offset, displacement):
    """New offsets, on the sphere of their strings, and the velocity along the way there at this point."""
    free = problem.kind == FREE
    new = offset + displacement
    size = np.where(free, np.sqrt(dot(new, new)), 1.0)
    d = new / size
    across = problem.length / size * (displacement - d * dot(d, displacement))
    return np.where(free, problem.length * d, new), np.where(free, across, displacement)


def _improve(problem, state):
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
        tried, over = _tried(_take(problem, todo), _take(state, todo), move[..., todo], gain[..., todo], pulled[todo])
        _put(new, tried, todo)
        todo = todo[over]
    return new


def _tried(problem, state, move, gain, pulled):
    """The state after a step, and whether it went too far: work per step at its end, against that at its start [J]; a
    microjoule is nothing."""
    offset, velocity = _moved(problem, state.offset, move)
    new = _evaluate(problem, offset, state.log_tension + gain)
    return new, ~(dot(new.force, velocity).sum(axis=0) >= -0.9 * pulled - 1e-6)
