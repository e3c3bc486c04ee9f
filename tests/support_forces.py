"""Forces on the structures of a section that has been solved, for tests."""

from typing import NamedTuple

import numpy as np

from corridor.mechanics import block_newton as block
from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.supports import forces_on_ends, planes, prepare


class SupportForces(NamedTuple):
    """Force on each structure at the hinge [N], (batch, n + 1): `down`, negative where wires lift; `right` of the line;
    `ahead`, along it."""

    down: np.ndarray
    right: np.ndarray
    ahead: np.ndarray


def support_forces(supports, equilibrium, load, *, count=None):
    """What wires and strings do to the structures, string weight and wind included, by the solution of a section; nan
    where it was not found, and beyond its supports. The line's direction at a support halves its angle."""
    H = equilibrium.horizontal_tension
    problem = prepare(supports, load, 0.0, TwoPart(*np.zeros(7)), count, H)
    plane = planes(problem, equilibrium.end.T - problem.hinge)
    with np.errstate(invalid="ignore"):
        wire = block.shape(plane.span, plane.rise, plane.load, np.log(np.where(problem.active, H.T, 1.0)))
        east, north, up = forces_on_ends(problem, plane, wire) + problem.pull
    line_east, line_north, _ = problem.line
    there = np.isfinite(equilibrium.end[..., 0])
    parts = -up, east * line_north - north * line_east, east * line_east + north * line_north
    return SupportForces(*(np.where(there, p.T, np.nan) for p in parts))
