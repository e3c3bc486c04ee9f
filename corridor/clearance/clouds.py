"""Clouds of surveyed points as the assessment takes them."""

from dataclasses import dataclass
from typing import NamedTuple

__all__ = ["CLEARED", "Cloud", "Group", "HOLE", "NO_CLASS"]

#: What stands for the class of a cell of a surface that is unknown, of one that nothing says the class of, and of one
#: where nothing stands any more.
HOLE, NO_CLASS, CLEARED = -1, -2, -3


class Group(NamedTuple):
    """Classes of points that are compared by the rules for one category; `radius` of each point [m]."""

    name: str
    category: str
    classes: tuple
    radius: float


@dataclass(frozen=True)
class Cloud:
    """One cloud: what its classes stand for, and `within(lines, reach)`, which gives its points near lines.

    `groups` are compared; of `wire_classes` and `structure_classes` what is within `wire_distance` of our wires and
    `structure_distance` of our structures [m] is ours; wires of others may be `wire_movement` [m] off their survey.
    `passed` are classes that nothing is compared with; all others are unknown, and told where they are too near if
    `strict`. `within` gives places (point, 3) in the frame [m] and the number of the class (point,), `HOLE` where it is
    not known whether anything is.

    `cells` True: they are cells of a surface, which do not say what they are. Whatever their class, those where wires
    and structures of ours are known to be are taken for ours.
    """

    name: str
    groups: tuple
    wire_classes: tuple
    structure_classes: tuple
    passed: tuple
    wire_distance: float
    structure_distance: float
    wire_voltage: float | None
    wire_movement: float
    strict: bool
    cluster_distance: float
    reach: float
    within: object
    cells: bool = False

    @property
    def noun(self):
        """What its points are called."""
        return "cells of the surface" if self.cells else "surveyed points"
