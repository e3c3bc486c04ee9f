"""Small moves of wires' ends: where they may go, and how wires and strings answer.

Arrays have the batch last, as in `supports`.
"""

import numpy as np

from corridor.arrays import Array
from corridor.geometry.catenary import Plane
from corridor.mechanics import block_newton as block
from corridor.mechanics.supports import FREE, POST, SLACK, Problem, dot, forces_on_ends, unit

__all__ = ["answered", "chain_blocks", "every_way", "tangents", "together", "within"]

_UP = np.array([0.0, 0.0, 1.0])[:, None, None]


def answered(problem: Problem, plane: Plane, wire: block.Shape, offset: Array) -> Array:
    """Return the force on every string end, on a post's with its answer to its bend, at a V-string without what its
    arms hold across the line [N], (3, node, batch)."""
    force, post = forces_on_ends(problem, plane, wire), problem.kind == POST
    if post.any():
        force -= np.where(post, problem.stiffness, 0.0) * offset
    if problem.across is not None:
        force -= dot(force, problem.across) * problem.across
    return force


def tangents(problem: Problem, offset: Array, *, slides: bool = False) -> Array:
    """Return the directions in which each wire end may move, (2 or 3, 3, node, batch); zero where it may not.

    Across a taut string two, along the line at a post one. A slack string leaves all three, or, where it `slides`,
    those across the line. A V-string leaves those of its plane.
    """
    kind, line = problem.kind, problem.line
    slack = kind == SLACK
    result = np.zeros((3 if slack.any() else 2, *offset.shape))
    result[:2] = _across(offset / problem.length)
    result[:2] *= kind == FREE
    if slack.any() and slides:
        flat = np.stack([-line[1], line[0], np.zeros_like(line[2])])
        result[:2] += np.where(slack, np.stack([flat, np.broadcast_to(_UP, flat.shape)]), 0.0)
    elif slack.any():
        result += slack * np.eye(3)[:, :, None, None]
    if problem.across is not None:
        along, vee = unit(offset), problem.across.any(axis=0)
        up, none = np.broadcast_to(_UP, line.shape), np.zeros_like(line)
        loose = [up, none, none] if slides else [line, up, none]
        taut = [np.cross(problem.across, along, axis=0), none, none]
        result = np.where(vee & slack, np.stack(loose)[:len(result)], result)
        result = np.where(vee & (kind == FREE), np.stack(taut)[:len(result)], result)
    return _with_posts(problem, result)


def every_way(problem: Problem, offset: Array) -> Array:
    """Return three directions for the end of every string, the last along it, (3, 3, node, batch); one for posts.

    So what is stiff along the string alone does not blur the rest.
    """
    along = unit(np.where(dot(offset, offset) > 0, offset, _UP))
    ways = np.concatenate([_across(along), along[None]]) * (problem.kind == FREE)
    if problem.across is not None:
        plane = np.stack([np.cross(problem.across, along, axis=0), np.zeros_like(along), along])
        ways = np.where(problem.across.any(axis=0), plane, ways)
    return _with_posts(problem, ways)


def _with_posts(problem: Problem, ways: Array) -> Array:
    post = problem.kind == POST
    if post.any():
        ways[0] += np.where(post, problem.line, 0.0)
    return ways


def _across(direction: Array) -> Array:
    """Two unit vectors across unit vectors, and across each other, (2, 3, ...).

    T. Duff et al., "Building an Orthonormal Basis, Revisited", J. Computer Graphics Techniques 6(1), 2017, which holds
    for every direction.
    """
    x, y, z = direction
    sign = np.copysign(1.0, z)
    a = -1 / (sign + z)
    b = x * y * a
    result = np.empty((2, *direction.shape))
    result[0, 0], result[0, 1], result[0, 2] = 1 + sign * x * x * a, sign * b, -sign * x
    result[1, 0], result[1, 1], result[1, 2] = b, sign + y * y * a, -y
    return result


def within(ways: Array, vectors: Array) -> Array:
    """Return products of tangents with vectors, (d, ...)."""
    return np.einsum("ijnb,jnb->inb", ways, vectors)


def together(ways: Array, amounts: Array) -> Array:
    """Return the vectors (3, ...) that amounts (d, ...) of the tangents make."""
    return np.einsum("ijnb,inb->jnb", ways, amounts)


def chain_blocks(problem: Problem, plane: Plane, stiff: block.Stiffness, ways: Array,
                 springs: Array) -> tuple[Array, Array, Array]:
    """Return the derivatives of forces along the tangents by moves along them: below, on and above the diagonal.

    Parameters
    ----------
    problem : Problem
    plane, stiff
        Of the wires.
    ways : ndarray
        Of `tangents`.
    springs : ndarray, shape (node, batch)
        What strings answer to a move in any direction [N/m].
    """
    left, right, across = ways[..., :-1, :], ways[..., 1:, :], stiff.across
    if not problem.active.all():
        left, right, across = left * problem.active, right * problem.active, across * problem.active
    here, there = ((within(each, plane.along), within(each, plane.against)) for each in (left, right))
    diagonal = np.zeros((len(ways), len(ways), *ways.shape[2:]))
    diagonal[..., :-1, :] = -block.project(stiff.left, stiff.across, here, here)
    diagonal[..., 1:, :] += block.project(stiff.right, -stiff.across, there, there)
    posts = np.where(problem.kind == POST, problem.stiffness, 0.0)
    for i in range(len(ways)):
        diagonal[i, i, :-1] -= across
        diagonal[i, i, 1:] -= across
        # What does not move has a stiffness of its own, so that the blocks have inverses.
        diagonal[i, i] -= springs + (posts if i == 0 else 0.0) + ~ways[i].any(axis=0)
    beside = across * np.einsum("ijnb,kjnb->iknb", left, right)
    lower = np.swapaxes(beside, 0, 1) - block.project(stiff.right, -stiff.across, there, here)
    upper = beside + block.project(stiff.left, stiff.across, here, there)
    return lower, diagonal, upper
