"""The balance of a section from inside: strings as walls that are felt from afar, and then less and less.

Every wire end stays within the ball of its string. A string of length l that holds its end at the offset o pulls by
`p o`, and may only pull; what it lacks to its length and what it pulls are tied by

    p (l^2 - o.o) = 2 m,    p > 0,  l^2 > o.o,

which for small m says: taut, or without force. For m > 0 all is smooth, and definite as wires and walls only pull, so
there is one answer, and Newton's direction always makes what is left less. m falls each time the answer is near. Wires
keep their tension as an unknown beside the ends, so that their lengths need not fit on the way: two spans of 10 m are
as stiff as rods, and a search that kept to their lengths would creep. This is the primal-dual interior-point method:
J. Nocedal, S. J. Wright, *Numerical Optimization*, 2nd ed., Springer 2006, chapter 19.
"""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, Integers
from corridor.geometry.catenary import Plane
from corridor.mechanics import block_newton as block
from corridor.mechanics.moves import answered, chain_blocks, every_way, together, within
from corridor.mechanics.supports import FREE, POST, Problem, dot, hanging, planes, take

__all__ = ["MOST_STEPS", "Point", "approach"]

#: Most Newton steps.
MOST_STEPS = 100
_HALVINGS = 30
#: Least m [J]: a string of 1 N stops a thousandth of a millimetre short of its length.
_LEAST = 1e-5
#: What is left may be this many times m for m to fall, to its tenth or its power of 1.5, whichever is less.
_NEAR, _FALL, _POWER = 10.0, 0.1, 1.5
#: A step goes no farther than this share of the way to where a string were taut, or pulled at nothing [-].
_SHARE = 0.95


class Point(NamedTuple):
    """Wire ends within the balls of their strings, ready for a last search.

    `offset` (3, node, batch) from the hinge [m]; `log_tension` (span, batch); `pull` (node, batch) of strings, p [N/m];
    `wall` (batch,), m [J]; `iterations` (batch,).
    """

    offset: Array
    log_tension: Array
    pull: Array
    wall: Array
    iterations: Integers


class _Left(NamedTuple):
    """What is left at a point: `force` (3, node, batch) [N], `length` (span, batch) [m] with its slope by t, `tie`
    (node, batch) of `p (l^2 - o.o) - 2 m` [J]; with the `room` l^2 - o.o, the planes and the wires."""

    force: Array
    length: Array
    length_t: Array
    tie: Array
    room: Array
    plane: Plane
    wire: block.Shape


class _Direction(NamedTuple):
    """Newton's change of a point."""

    offset: Array
    log_tension: Array
    pull: Array


def approach(problem: Problem) -> Point:
    """Return the ends of wires within the balls of their strings, where all but 1e-6 J of every string is in balance.

    Parameters
    ----------
    problem : Problem
        With no string taken to be slack.

    Returns
    -------
    Point
        After `MOST_STEPS` as near as that is.
    """
    found = _start(problem)
    rows, part, point = np.arange(problem.kind.shape[1]), problem, found
    for step in range(1, MOST_STEPS + 1):
        left = _left(part, point)
        point, left = _lowered(part, point, left, step)
        done = (_size(part, left) <= _NEAR * _LEAST) & (point.wall <= _LEAST)
        for whole, some in zip(found, point, strict=True):
            whole[..., rows] = some
        waits = ~done & np.isfinite(left.force).all(axis=(0, 1))
        if not waits.any():
            break
        if not waits.all():
            rows, part, point, left = rows[waits], take(part, waits), take(point, waits), take(left, waits)
        point = _stepped(part, point, left)._replace(iterations=np.full(rows.shape, step))
    return found


def _start(problem: Problem) -> Point:
    """Half-way down plumb strings, each pulling as hard as the hardest would have to.

    Strain strings begin all but taut: half-way, they would draw a short wire out by metres.
    """
    free, offset = problem.kind == FREE, hanging(problem) * np.where(problem.inner, 0.5, 0.999)
    plane = planes(problem, offset)
    t = np.broadcast_to(problem.wires.common(plane, problem.active), plane.span.shape).copy()
    force = answered(problem, plane, block.shape(plane.span, plane.rise, plane.load, t), offset)
    hardest = np.maximum(np.sqrt(dot(force, force)).max(axis=0), 1.0)
    pull = np.where(free, hardest / problem.length, 0.0)
    room = np.where(free, problem.length**2 - dot(offset, offset), 0.0)
    wall = (pull * room).sum(axis=0) / 2 / np.maximum(free.sum(axis=0), 1)
    return Point(offset, t, pull, np.maximum(_FALL * wall, _LEAST), np.zeros(wall.shape, int))


def _left(problem: Problem, point: Point) -> _Left:
    plane = planes(problem, point.offset)
    wire = block.shape(plane.span, plane.rise, plane.load, point.log_tension)
    force, post = answered(problem, plane, wire, point.offset), problem.kind == POST
    free = problem.kind == FREE
    along = np.where(post, dot(force, problem.line) * problem.line, 0.0)
    room = np.where(free, problem.length**2 - dot(point.offset, point.offset), 1.0)
    length, slope = problem.wires.excess(wire)
    return _Left(np.where(free, force - point.pull * point.offset, along), length * problem.active, slope,
                 np.where(free, point.pull * room - 2 * point.wall, 0.0), room, plane, wire)


def _size(problem: Problem, left: _Left) -> Array:
    """The greatest work that is left [J]: of forces on strings, of lengths, of ties."""
    force = (np.sqrt(dot(left.force, left.force)) * problem.length).max(axis=0)
    length = (np.abs(left.length) * left.wire.H).max(axis=0)
    return np.maximum(np.maximum(force, length), np.abs(left.tie).max(axis=0))


def _lowered(problem: Problem, point: Point, left: _Left, step: int) -> tuple[Point, _Left]:
    """The walls lower where the answer is near."""
    near = (_size(problem, left) <= _NEAR * point.wall) & (step > 1)
    lower = np.maximum(np.minimum(_FALL * point.wall, point.wall**_POWER), _LEAST)
    wall = np.where(near, lower, point.wall)
    tie = np.where(problem.kind == FREE, left.tie + 2 * (point.wall - wall), 0.0)
    return point._replace(wall=wall), left._replace(tie=tie)


def _stepped(problem: Problem, point: Point, left: _Left) -> Point:
    """One Newton step, halved until less is left."""
    way = _direction(problem, point, left)
    share = _longest(problem, point, left, way)
    weight = left.wire.H / left.wire.L + 50 * left.wire.q
    before = _sum(problem, left, weight)
    for _ in range(_HALVINGS):
        new = Point(point.offset + share * way.offset, point.log_tension + share * way.log_tension,
                    point.pull + share * way.pull, *point[3:])
        worse = ~(_sum(problem, _left(problem, new), weight) <= (1 - 1e-4 * share) * before + 1e-3)
        if not worse.any():
            break
        share = np.where(worse, share / 2, share)
    return new


def _sum(problem: Problem, left: _Left, weight: Array) -> Array:
    """Root of the sum of squares of all that is left [N]; lengths count by a stiffness of the size of their wires'."""
    return np.sqrt((left.force**2).sum(axis=(0, 1)) + ((left.length * weight)**2).sum(axis=0)
                   + ((left.tie / problem.length)**2).sum(axis=0))


def _direction(problem: Problem, point: Point, left: _Left) -> _Direction:
    """Newton's direction: tensions and pulls are eliminated, span by span and string by string."""
    free, wire, plane, o = problem.kind == FREE, left.wire, left.plane, point.offset
    ways, stiff = every_way(problem, o), problem.wires.stiffness(wire)
    lower, diagonal, upper = chain_blocks(problem, plane, stiff, ways, np.where(free, point.pull, 0.0))
    wall = np.where(free, 2 * point.pull / left.room, 0.0)
    on = within(ways, o)
    diagonal -= wall * on[:, None] * on
    fit = -left.length / left.length_t
    force = left.force + _fitted(problem, plane, wire, fit) + left.tie / left.room * o
    move = together(ways, block.solve_blocks(lower, diagonal, upper, -within(ways, force)))
    moved = move[:, 1:] - move[:, :-1]
    gain = stiff.left[0, 0] * dot(moved, plane.along) + stiff.left[0, 1] * dot(moved, plane.against)
    pull = np.where(free, (2 * point.pull * dot(o, move) - left.tie) / left.room, 0.0)
    return _Direction(move, fit + gain / wire.H, pull)


def _fitted(problem: Problem, plane: Plane, wire: block.Shape, gain: Array) -> Array:
    """What forces on string ends change by when t does [N]."""
    on_left, on_right = (np.where(problem.active, each * gain, 0.0) for each in block.ends_by_tension(wire))
    force = np.zeros((3, problem.kind.shape[0], problem.kind.shape[1]))
    force[:, :-1] += on_left[0] * plane.along + on_left[1] * plane.against
    force[:, 1:] += on_right[0] * plane.along + on_right[1] * plane.against
    return force


def _longest(problem: Problem, point: Point, left: _Left, way: _Direction) -> Array:
    """Maximum share of a step at which all strings have room and pull, t changes by 1 at most, and no span closes."""
    free = problem.kind == FREE
    forth, ahead = np.where(free, dot(way.offset, way.offset), 0.0), dot(point.offset, way.offset)
    taut = (np.sqrt(ahead**2 + forth * left.room) - ahead) / np.where(forth > 0, forth, 1.0)
    loose = np.where(free & (way.pull < 0), point.pull / -way.pull, np.inf)
    share = _SHARE * np.where(free & (forth > 0), np.minimum(taut, loose), loose).min(axis=0)
    closing = -dot(way.offset[:, 1:] - way.offset[:, :-1], left.plane.along) * problem.active
    nearer = np.where(closing > 0, 0.7 * left.plane.span / closing, np.inf).min(axis=0)
    steady = 1 / np.maximum(np.abs(way.log_tension * problem.active).max(axis=0), 1.0)
    return np.minimum(np.minimum(share, nearer), steady)
