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
"""

from typing import NamedTuple

import numpy as np

from corridor.mechanics import block_newton as block
from corridor.mechanics.supports import FREE, POST, forces_on_ends, hanging, planes, prepare, unit

__all__ = ["Equilibrium", "solve"]

_ITERATIONS = 60
_HALVINGS = 12
_CHUNK = 12_000
_LENGTH_TOLERANCE = 1e-9


class Equilibrium(NamedTuple):
    """Where a section comes to rest; nan throughout where it was not found.

    `horizontal_tension` (batch, n) [N], across the load; `end` (batch, n + 1, 3) [m] of the wire; `iterations`
    (batch,); `residual_force` (batch,) [N], the greatest force left across a string (along the line at a post);
    `residual_length` (batch,) [-], the greatest of `L/(L0 (1 + e)) - 1`; `converged` (batch,).
    """

    horizontal_tension: np.ndarray
    end: np.ndarray
    iterations: np.ndarray
    residual_force: np.ndarray
    residual_length: np.ndarray
    converged: np.ndarray


class _State(NamedTuple):
    """`offset` (3, node, batch) of the wire from the hinge; `force` (3, node, batch) on the string's end."""

    offset: np.ndarray
    log_tension: np.ndarray
    force: np.ndarray
    residual: np.ndarray


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
        A section that was not found, or with a string in compression, is nan with its residuals.

    Raises
    ------
    InputError
        Where `kind` or `count` is none that exists, or a string's length negative.
    """
    problem = prepare(supports, load, temperature, part, count, unstressed)
    batch = problem.unstressed.shape[1]
    size = max(1, _CHUNK // problem.unstressed.shape[0])
    pieces = [_solve(_take(problem, slice(i, i + size)), tolerance) for i in range(0, batch, size)]
    joined = (np.concatenate(columns, axis=-1) for columns in zip(*pieces, strict=True))
    H, end, *rest = joined
    return Equilibrium(H.T, end.T, *rest)


def _take(record, index):
    return type(record)(*(_take(f, index) if isinstance(f, tuple) else f[..., index] for f in record))


def _evaluate(problem, offset, log_tension):
    plane = planes(problem, offset)
    t, wire, residual = block.settle(plane.span, plane.rise, plane.load, problem.unstressed, problem.temperature,
                                     problem.part, log_tension)
    return _State(offset, t, _force(problem, plane, wire, offset), residual * problem.active)


def _force(problem, plane, wire, offset):
    """Force on every string end, and on a post's with its answer to its bend."""
    spring = np.where(problem.kind == POST, problem.stiffness, 0.0)
    return forces_on_ends(problem, plane, wire) - spring * offset


def _start(problem):
    """Strings where they would hang if all spans had one tension, the one at which lengths fit in the sum."""
    free = problem.kind == FREE
    offset = hanging(problem)
    plane = planes(problem, offset)
    guess = np.log((2.5 * plane.load * plane.span).max(axis=0))
    t, wire, _ = block.settle(plane.span, plane.rise, plane.load, problem.unstressed, problem.temperature, problem.part,
                              guess, share=problem.active.astype(float))
    force = _force(problem, plane, wire, offset)
    force[2] = np.where(problem.inner, -np.abs(force[2]), force[2])
    offset = np.where(free, problem.length * unit(force), 0.0)
    return _evaluate(problem, offset, np.broadcast_to(t, plane.span.shape))


def _tangents(problem, offset):
    """Two directions in which each wire end may move, (2, 3, node, batch); zero where it may not.

    Across a string: T. Duff et al., "Building an Orthonormal Basis, Revisited", J. Computer Graphics Techniques 6(1),
    2017, which holds for every direction.
    """
    x, y, z = offset / problem.length
    sign = np.copysign(1.0, z)
    a = -1 / (sign + z)
    b = x * y * a
    across = np.stack([np.stack([1 + sign * x * x * a, sign * b, -sign * x]), np.stack([b, sign + y * y * a, -y])])
    along = np.stack([problem.line, np.zeros_like(problem.line)])
    return np.where(problem.kind == FREE, across, np.where(problem.kind == POST, along, 0.0))


def _residual(problem, state):
    """Force left in the directions of the tangents [N], (2, node, batch)."""
    return (_tangents(problem, state.offset) * state.force).sum(axis=1)


def _string_tension(problem, state):
    """Force along each string, positive in tension [N]; infinite where there is none."""
    return np.where(problem.kind == FREE, (state.force * state.offset).sum(axis=0) / problem.length, np.inf)


def _step(problem, state):
    """Newton's displacement of wire ends, (3, node, batch), at most 0.7 of a string, and the change of ln H with it."""
    plane = planes(problem, state.offset)
    wire = block.shape(plane.span, plane.rise, plane.load, state.log_tension)
    stiff = block.stiffness(wire, problem.unstressed, problem.temperature, problem.part)
    tangents = _tangents(problem, state.offset)
    left, right = tangents[..., :-1, :] * problem.active, tangents[..., 1:, :] * problem.active
    frame = plane.along, plane.against
    diagonal = np.zeros((2, *tangents.shape[:1], *tangents.shape[2:]))
    diagonal[..., :-1, :] -= block.project(stiff.left, stiff.across, left, left, *frame)
    diagonal[..., 1:, :] += block.project(stiff.right, -stiff.across, right, right, *frame)
    diagonal[[0, 1], [0, 1]] -= _springs(problem, state)
    lower = -block.project(stiff.right, -stiff.across, right, left, *frame)
    upper = block.project(stiff.left, stiff.across, left, right, *frame)
    x = block.solve_blocks(lower, diagonal, upper, -(tangents * state.force).sum(axis=1))
    relative = np.where(problem.kind == FREE, np.sqrt((x * x).sum(axis=0)) / problem.length, 0.0)
    move = (tangents * x[:, None]).sum(axis=0) * np.minimum(1, 0.7 / np.maximum(relative.max(axis=0), 1e-9))
    longer, higher = (np.diff(move, axis=1) * np.stack(frame)).sum(axis=1)
    return move, np.clip((stiff.left[0, 0] * longer + stiff.left[0, 1] * higher) / wire.H, -1.0, 1.0)


def _springs(problem, state):
    """Stiffness of strings as pendulums, of posts, and 1 where nothing moves, (2, node, batch) [N/m].

    A string in compression would fall over: its sign is turned, so that the step leads away from there.
    """
    pendulum = np.abs((state.force * state.offset).sum(axis=0)) / problem.length**2
    post = np.stack([problem.stiffness, np.ones_like(problem.stiffness)])
    return np.where(problem.kind == FREE, pendulum, np.where(problem.kind == POST, post, 1.0))


def _moved(problem, offset, displacement):
    """New offsets, on the sphere of their strings, and the velocity along the way there at this point."""
    free = problem.kind == FREE
    new = offset + displacement
    size = np.where(free, np.sqrt((new * new).sum(axis=0)), 1.0)
    d = new / size
    across = problem.length / size * (displacement - d * (d * displacement).sum(axis=0))
    return np.where(free, problem.length * d, new), np.where(free, across, displacement)


def _improve(problem, state):
    """One Newton step, halved while the forces at its end push back harder than they pulled at its start."""
    move, gain = _step(problem, state)
    pulled = (state.force * move).sum(axis=(0, 1))
    new = _tried(problem, state, move, gain)
    todo = np.flatnonzero(_overshoots(problem, state, new, move, pulled))
    for _ in range(_HALVINGS):
        if not todo.size:
            break
        for column in (move, gain, pulled):
            column[..., todo] /= 2
        part, before = _take(problem, todo), _take(state, todo)
        tried = _tried(part, before, move[..., todo], gain[..., todo])
        _put(new, tried, todo)
        todo = todo[_overshoots(part, before, tried, move[..., todo], pulled[todo])]
    return new


def _tried(problem, state, move, gain):
    return _evaluate(problem, _moved(problem, state.offset, move)[0], state.log_tension + gain)


def _overshoots(problem, state, new, move, pulled):
    """Whether a step went too far: work per step at its end, against that at its start [J]; a microjoule is nothing."""
    ahead = (new.force * _moved(problem, state.offset, move)[1]).sum(axis=(0, 1))
    return ~(ahead >= -0.9 * pulled - 1e-6)


def _put(record, values, index):
    for field, value in zip(record, values, strict=True):
        field[..., index] = value


def _solve(problem, tolerance):
    """One chunk; fields of `Equilibrium`, batch last."""
    with np.errstate(all="ignore"):
        state = _State(*(field.copy() for field in _start(problem)))
        iterations = np.zeros(problem.temperature.shape, int)
        force, length = _worst(problem, state)
        for _ in range(_ITERATIONS):
            todo = np.flatnonzero((force > tolerance) | (length > _LENGTH_TOLERANCE))
            if not todo.size:
                break
            part = _take(problem, todo)
            new = _improve(part, _take(state, todo))
            _put(state, new, todo)
            iterations[todo] += 1
            force[todo], length[todo] = _worst(part, new)
        taut = (_string_tension(problem, state) > 0).all(axis=0)
    good = (force <= tolerance) & (length <= _LENGTH_TOLERANCE) & taut
    used = np.concatenate([problem.active[:1], problem.active])
    return (np.where(good & problem.active, np.exp(state.log_tension), np.nan),
            np.where(good & used, problem.hinge + state.offset, np.nan), iterations, force, length, good)


def _worst(problem, state):
    return np.abs(_residual(problem, state)).max(axis=(0, 1)), np.abs(state.residual).max(axis=0)
