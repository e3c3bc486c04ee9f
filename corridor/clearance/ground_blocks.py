"""The ground about spans in blocks of cells, and planes through parts of them, with how high it gets above these."""

from functools import cached_property
from typing import NamedTuple

import numpy as np

from corridor.geometry.surface import SIDE
from corridor.line.swing import from_grid, to_grid

__all__ = ["BlocksAbout", "GroundBlocks", "Parts", "Tops"]

#: Places within a part, as shares of its sides from the middle.
_WITHIN = np.array([[0, 0], [-0.25, -0.25], [-0.25, 0.25], [0.25, -0.25], [0.25, 0.25]])


class Parts(NamedTuple):
    """Parts of blocks and the wires they are compared with, (part,): row of the wire, block, place of the first corner
    in it, `right` and `down`, and sides of the part, `wide` and `high` [cells], all of one size where they are larger
    than a cell; and where to look for the foot of the middle, turn and share [nodes]."""

    row: np.ndarray
    block: np.ndarray
    right: np.ndarray
    down: np.ndarray
    wide: np.ndarray
    high: np.ndarray
    turn: np.ndarray
    share: np.ndarray

    @property
    def cells(self):
        """How many cells parts are wide, 1 for parts of one."""
        return int(max(self.wide.max(initial=0), self.high.max(initial=0), 1))

    def chosen(self, index):
        """Return some parts."""
        return Parts(*(v[index] for v in self))

    def halved(self, upright):
        """Return both halves of each: beside each other where the cut is `upright`, else one below the other."""
        two = self.chosen(np.repeat(np.arange(len(self.row)), 2))
        upright, second = np.repeat(upright, 2), np.tile([0, 1], len(self.row))
        wide, high = np.where(upright, two.wide / 2, two.wide), np.where(upright, two.high, two.high / 2)
        return two._replace(wide=wide, high=high, right=two.right + second * upright * wide,
                            down=two.down + second * ~upright * high)


class Tops(NamedTuple):
    """Planes through parts: `middle` (part, 3), `across` and `along` (part, 3) from side to side of the part, and how
    high the ground gets above that, `above` (part,), nan where some of it is not known; of parts of one cell by how
    much two opposite corners are above it and two below, `twist` (part, 3), else None; all in metres."""

    middle: np.ndarray
    across: np.ndarray
    along: np.ndarray
    above: np.ndarray
    twist: np.ndarray | None

    @property
    def known(self):
        """Whether all of each part is known."""
        return np.isfinite(self.above)

    def chosen(self, index):
        """Return those of some parts."""
        return Tops(*(None if v is None else v[index] for v in self))

    def corners(self, across, along):
        """Return a corner of each part of one cell, by the signs of the ways there from its middle."""
        a, b = across[:, None], along[:, None]
        return self.middle + (a * self.across + b * self.along) / 2 + a * b * self.twist


class GroundBlocks:
    """Cell centres about spans in the frames of these, block by block of `SIDE` cells.

    Parameters
    ----------
    scene : Scene
    ground : Ground
    reach : ndarray, shape (span,)
        How far beside the spans [m]; nan: nothing is asked there.

    Attributes
    ----------
    first : ndarray of int, shape (span + 1,)
        First block of each span.
    place : ndarray, shape (block, row, column, 3)
        Cell centres [m], nan heights where the ground is not known.
    """

    def __init__(self, scene, ground, reach):
        spans, structures = scene.spans, scene.structures
        asked = np.flatnonzero(np.isfinite(reach))
        ends = (v[end[asked]] for end in (spans.tail, spans.head) for v in (structures.easting, structures.northing))
        found = ground.cells(*ends, reach[asked] / spans.ground_factor[asked])
        order = np.argsort(found.segment, kind="stable")
        span = asked[found.segment[order]]
        self.first = np.searchsorted(span, np.arange(len(spans) + 1))
        self._scene, self._ground, self._span = scene, ground, span
        grid = np.stack([found.easting, found.northing, found.elevation], axis=-1)[order]
        self.place = from_grid(grid, structures, spans, span)
        self._above = {}

    @cached_property
    def extent(self):
        """Least and greatest coordinates of the known cells of each block, two of (block, 3) [m]."""
        return tuple(f(self.place, axis=(1, 2)) for f in (np.fmin.reduce, np.fmax.reduce))

    @cached_property
    def holes(self):
        """Whether the ground of blocks is not known everywhere, (block,)."""
        return np.isnan(self.place[..., 2]).any(axis=(1, 2))

    def unknown(self, block, tops):
        """Return whether some of the ground of parts that are not known is known from no grid of rasters either."""
        middle, across, along = (np.nan_to_num(v)[:, None] for v in (tops.middle, tops.across, tops.along))
        spot = middle + _WITHIN[:, :1] * across + _WITHIN[:, 1:] * along
        grid = to_grid(spot, self._scene.structures, self._scene.spans, self._span[block])
        return np.isnan(self._ground.sample(grid[..., 0], grid[..., 1])).any(axis=1)

    def _rises(self, side, block, row, column):
        """How far the ground rises above the planes over parts of a side [m]. It is worked out with the first question,
        which is of all blocks whose parts will be asked about: few of those that lie about a wire."""
        if side not in self._above:
            some = np.unique(block)
            self._above[side] = np.full((len(self.place), *2 * (SIDE // side,)), np.nan)
            self._above[side][some] = self._highest(self.place[some, ..., 2], side)
        return self._above[side][block, row, column]

    @staticmethod
    def _highest(Z, side):
        """How far the ground rises above the plane through the middles of opposite sides of parts, (block, row,
        column) [m]; nan where some of it is unknown."""
        count = SIDE // side
        above = np.empty((len(Z), count, count))
        u, v = np.meshgrid(*2 * [np.linspace(-0.5, 0.5, side + 1)])
        for i, j in np.ndindex(count, count):
            part = Z[:, i * side : (i + 1) * side + 1, j * side : (j + 1) * side + 1]
            a, b, c, d = (part[:, y, x, None, None] for y, x in ((0, 0), (0, -1), (-1, 0), (-1, -1)))
            plane = (a + b + c + d) / 4 + u * (b + d - a - c) / 2 + v * (c + d - a - b) / 2
            above[:, i, j] = (part - plane).max(axis=(1, 2))
        return above

    def tops(self, parts):
        """Return the planes over parts.

        Of four cell centres or more all places between lie in the hull of these. Within four it is bilinear: by a
        quarter of its twist above the plane through the middles of its sides.
        """
        corner, step = np.floor(np.stack([parts.down, parts.right])).astype(int), parts.cells
        a, b, c, d = (self.place[parts.block, corner[0] + down, corner[1] + right] for down, right in
                      ((0, 0), (0, step), (step, 0), (step, step)))
        if step > 1:
            above, twist = self._rises(step, parts.block, *(corner // step)), None
            middle, across, along = (a + b + c + d) / 4, (b + d - a - c) / 2, (c + d - a - b) / 2
        else:
            v, u = (np.stack([parts.down + parts.high / 2, parts.right + parts.wide / 2]) - corner)[..., None]
            wide, high = parts.wide[:, None], parts.high[:, None]
            twist = a + d - b - c
            middle = a + u * (b - a) + v * (c - a) + u * v * twist
            across, along = wide * (b - a + v * twist), high * (c - a + u * twist)
            twist = twist * wide * high / 4
            above = np.abs(twist[:, 2])
        return Tops(middle, across, along, above, twist)


class BlocksAbout:
    """`GroundBlocks` of scenes with the same spans, which are made once for all that ask no farther beside them."""

    def __init__(self, ground):
        self._ground, self._reach, self._blocks = ground, -np.inf, None

    def within(self, scene, reach):
        """Return blocks that go at least as far beside spans as `reach` (span,) [m]."""
        wanted = np.where(np.isnan(reach), -np.inf, reach)
        if self._blocks is None or (wanted > self._reach).any():
            self._reach = np.maximum(wanted, self._reach)
            known = np.where(np.isfinite(self._reach), self._reach, np.nan)
            self._blocks = GroundBlocks(scene, self._ground, known)
        return self._blocks
