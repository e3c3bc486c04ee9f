"""Ground that is cut below wires: how deep, how much, and the ground as it is then."""

import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from rasterio import Affine
from rasterio.windows import Window

from corridor.assessment import Ground
from corridor.clearance.grading import grading
from corridor.inputs.rasters import Raster
from corridor.inputs.terrain import Profiles
from corridor.outputs.guard import MARK
from corridor.temporary import need_written

__all__ = ["SpanCells", "excavated", "write_graded"]

_EMPTY = -9999.0


@dataclass(frozen=True)
class SpanCells:
    """Cells of the ground raster below the wires of a span; columns (cell,): `row`, `column`, `elevation` [m] and
    `room` [m], what is left of the clearance above the cell in the worst case.

    `margin` the least that any check of the span found [m]; `deepest` cut that no road, object or structure is in the
    way of [m]; `blocked` words for what is; `area` of a cell [m²].
    """

    raster: Raster
    row: np.ndarray
    column: np.ndarray
    elevation: np.ndarray
    room: np.ndarray
    margin: float
    deepest: float
    blocked: str
    area: float

    def volume(self, depth: float) -> float:
        """Return the volume [m³] of the cut after which every cell has `depth` more than the minimum margin now."""
        return float(grading(self.room - (self.margin + depth), self.area).volume)

    def dug(self, depth: float) -> tuple[np.ndarray, np.ndarray]:
        """Return index and depth [m] of the cells that this cut digs."""
        cut = np.maximum(self.margin + depth - self.room, 0.0)
        return np.flatnonzero(cut), cut[cut > 0]


@dataclass(frozen=True)
class _Excavation:
    """Cells that are dug below all spans, sorted by `key`, their place in the grid; `depth` and `elevation` before [m].

    Where cuts of spans overlap, depths add up.
    """

    raster: Raster
    key: np.ndarray
    depth: np.ndarray
    elevation: np.ndarray

    @classmethod
    def of(cls, cells: dict[int, SpanCells], cut: np.ndarray) -> "_Excavation | None":
        """Return the cuts of all spans, None where nothing is dug; `cut` (span,) [m]."""
        parts = [(_keys(own.row, own.column)[at], depth, own.elevation[at]) for span in np.flatnonzero(cut)
                 for own in [cells[span]] for at, depth in [own.dug(cut[span])]]
        if not any(len(part[0]) for part in parts):
            return None
        key, depth, elevation = (np.concatenate(v) for v in zip(*parts, strict=True))
        key, first, place = np.unique(key, return_index=True, return_inverse=True)
        return cls(next(iter(cells.values())).raster, key, np.bincount(place, depth), elevation[first])

    def at(self, easting, northing):
        """Return the depth at places [m], bilinear between the centres of cells, as the ground itself is."""
        to_cell = np.linalg.inv(self.raster.matrix)
        c, r, _ = np.tensordot(to_cell, np.stack([easting, northing, np.ones_like(easting)]), 1) - 0.5
        i, j = np.floor(r), np.floor(c)
        u, v = r - i, c - j
        return sum(w * self._of(_keys(i + a, j + b)) for w, a, b in (
            ((1 - u) * (1 - v), 0, 0), ((1 - u) * v, 0, 1), (u * (1 - v), 1, 0), (u * v, 1, 1)))

    def _of(self, key):
        at = np.minimum(np.searchsorted(self.key, key), len(self.key) - 1)
        return np.where(self.key[at] == key, self.depth[at], 0.0)


def _keys(row, column):
    """One number for each cell, however far from the first."""
    return np.asarray(row, np.int64) * (1 << 32) + np.asarray(column, np.int64)


def excavated(ground: Ground, cells: dict[int, SpanCells], cut: np.ndarray) -> Ground:
    """Return the ground with cuts of a depth below each span, (span,) [m]."""
    whole = _Excavation.of(cells, cut)
    if whole is None:
        return ground

    def sample(e, n):
        e, n = np.broadcast_arrays(np.asarray(e, float), n)
        return ground.sample(e, n) - whole.at(e, n)

    def profiles(e0, n0, e1, n1):
        found = ground.profiles(e0, n0, e1, n1)
        owner = np.repeat(np.arange(len(found.first) - 1), np.diff(found.first))
        a = [np.atleast_1d(np.asarray(v, float))[owner] for v in (e0, n0, e1, n1)]
        t = found.fraction
        depth = whole.at(a[0] + t * (a[2] - a[0]), a[1] + t * (a[3] - a[1]))
        return Profiles(found.first, t, found.elevation - depth)

    def about(*segments):
        found = ground.cells(*segments)
        return found._replace(elevation=found.elevation - whole.at(found.easting, found.northing))

    return Ground(sample, profiles, about)


def write_graded(path: Path, cells: dict[int, SpanCells], cut: np.ndarray) -> bool:
    """Write the cells that are cut, as they are then, to a raster on the grid of the ground; False where none is.

    `cut` (span,) [m].
    """
    whole = _Excavation.of(cells, cut)
    if whole is None:
        return False
    raster, z = whole.raster, (whole.elevation - whole.depth) / whole.raster.factor
    row, column = whole.key >> 32, whole.key & 0xFFFFFFFF
    r0, c0 = row.min(), column.min()
    matrix = raster.matrix @ np.array([[1, 0, c0], [0, 1, r0], [0, 0, 1.0]])
    shape = {"height": int(row.max() - r0 + 1), "width": int(column.max() - c0 + 1)}
    whole_window = Window(0, 0, shape["width"], shape["height"])
    with rasterio.open(path, "w", driver="GTiff", count=1, dtype="float64", nodata=_EMPTY, crs=raster.crs.to_wkt(),
                       transform=Affine(*matrix[:2].ravel()), tiled=True, sparse_ok=True, **shape) as dataset:
        dataset.update_tags(ORIGIN=MARK)
        sums = {}
        for window, some in _blocks(row - r0, column - c0):
            block = np.full((window.height, window.width), _EMPTY)
            block[row[some] - r0 - window.row_off, column[some] - c0 - window.col_off] = z[some]
            inside = window.intersection(whole_window)
            block = block[:inside.height, :inside.width]
            dataset.write(block, 1, window=inside)
            sums[inside] = zlib.crc32(block.tobytes())
    need_written(path, sums)
    return True


def _blocks(row: np.ndarray, column: np.ndarray, side: int = 256) -> Iterator[tuple[Window, np.ndarray]]:
    """Windows of the tiles that hold cells, each with the cells in it."""
    tile = np.stack([row // side, column // side], axis=-1)
    for r, c in np.unique(tile, axis=0):
        yield Window(int(c) * side, int(r) * side, side, side), np.flatnonzero((tile == [r, c]).all(axis=-1))
