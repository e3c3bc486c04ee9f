"""Rasters on one grid, as a single grid of cells whose blocks are read once and kept while there is
room."""

from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from threading import Lock, local

import numpy as np
import rasterio

from corridor.geometry.surface import bilinear, snap
from corridor.inputs.rasters import open_dataset, read_window

__all__ = ["Mosaic", "Reader", "group"]

#: Farthest from a whole cell that two rasters of one grid may lie apart [cells].
_ALIGNED = 1e-3
#: Side of the blocks read from files that have no handy ones of their own [cells].
_SIDE = 256
#: Places looked up at once: their arrays stay in a core's cache.
_CHUNK = 1 << 16
#: Bytes that GDAL's own cache may take.
_GDAL_CACHE = 32_000_000
#: Open files per thread.
_HANDLES = 64


class Reader:
    """Reads windows of rasters, on two threads that each hold their own open files."""

    def __init__(self, threads=2):
        self._pool = ThreadPoolExecutor(threads)
        self._threads = threads
        self._own = local()
        self._opened = []
        self._lock = Lock()

    def close(self):
        """Close all files."""
        self._pool.shutdown()
        for handles in self._opened:
            for dataset in handles.values():
                dataset.close()
        self._opened.clear()

    def map(self, work, items):
        """Call `work` on every item; each thread takes a run of neighbours."""
        if len(items) < 2:
            return [work(item) for item in items]
        cuts = np.linspace(0, len(items), self._threads + 1).astype(int)
        runs = [items[a:b] for a, b in zip(cuts[:-1], cuts[1:], strict=True)]
        return [
            result
            for run in self._pool.map(lambda run: [work(i) for i in run], runs)
            for result in run
        ]

    def read(self, raster, row, column, height, width):
        """Heights of a window of a raster, and how many cells were none (see `read_window`)."""
        # GDAL would keep the blocks a second time, in up to a twentieth of the machine's memory.
        with rasterio.Env(GDAL_CACHEMAX=_GDAL_CACHE):
            return read_window(self._handle(raster), raster, row, column, height, width)

    def _handle(self, raster):
        if not hasattr(self._own, "handles"):
            self._own.handles = OrderedDict()
            with self._lock:
                self._opened.append(self._own.handles)
        handles = self._own.handles
        path = raster.path
        if path not in handles:
            if len(handles) >= _HANDLES:
                handles.popitem(last=False)[1].close()
            handles[path] = open_dataset(raster.source)
        handles.move_to_end(path)
        return handles[path]


def group(rasters):
    """Return the rasters of each grid, with their offsets in cells from the first of them, in the
    order given.

    Returns
    -------
    list of list of (Raster, row, column)
        Rasters share a grid when they share the CRS and the size and direction of the cell, and lie
        whole cells apart.
    """
    groups = []
    for raster in rasters:
        for members in groups:
            offset = _offset(members[0][0], raster)
            if offset is not None:
                members.append((raster, *offset))
                break
        else:
            groups.append([(raster, 0, 0)])
    return groups


def _offset(base, raster):
    if base.horizontal_crs != raster.horizontal_crs:
        return None
    into = np.linalg.inv(base.matrix) @ raster.matrix
    drift = np.abs(into - np.eye(3))[:2, :2].max() * max(raster.width, raster.height)
    column, row = (int(n) for n in np.rint(into[:2, 2]))
    apart = np.abs(into[:2, 2] - [column, row]).max()
    return (row, column) if drift < _ALIGNED and apart < _ALIGNED else None


class Mosaic:
    """The cells of rasters on one grid; where they overlap the first that knows a height wins.

    Parameters
    ----------
    members : list of (Raster, row, column)
        As `group` returns them.
    reader : Reader
    budget : int
        Bytes of blocks to keep.

    Notes
    -----
    Places are columns and rows counted in cells, whole numbers at cell centres, from the first
    raster's first cell. `low` and `high` are the first and last centre of all rasters, (column,
    row)."""

    def __init__(self, members, reader, budget):
        self.members, self._reader = members, reader
        first = members[0][0]
        # Centre of the first cell at 0, 0. The place is taken from the origin first: no digits are
        # lost.
        self.origin = first.places(0.5, 0.5)
        self.inverse = np.linalg.inv(first.matrix[:2, :2])
        box = np.array([(r, c, r + m.height - 1, c + m.width - 1) for m, r, c in members])
        self._box = box
        (top, left), (bottom, right) = box[:, :2].min(axis=0), box[:, 2:].max(axis=0)
        self.low, self.high = (left, top), (right, bottom)
        self._block = tuple(n if 64 <= n <= 1024 else _SIDE for n in first.block)
        self._across = (right - left) // self._block[1] + 1
        self._slot_of = np.full(((bottom - top) // self._block[0] + 1) * self._across, -1, np.int32)
        kind = np.dtype(np.float32 if all(m.single for m, *_ in members) else np.float64)
        cells = self._block[0] * self._block[1]
        slots = min(max(int(budget // (cells * kind.itemsize)), 4), len(self._slot_of))
        # Pages of an empty array take no memory until they are written.
        self._table = np.empty((slots, *self._block), kind)
        self._held = np.full(slots, -1)
        self._used = np.zeros(slots, np.int64)
        self._clock, self.blocks_read = 0, 0
        self._faulty, self._asked = {}, set()

    def forget(self):
        """Forget which blocks were asked for, as `absurd` counts them."""
        self._asked.clear()

    @property
    def absurd(self):
        """Number of cells that are no heights in the blocks asked for, for each path."""
        counts = {}
        for path, count in (item for block in sorted(self._asked) for item in self._faulty[block]):
            counts[path] = counts.get(path, 0) + count
        return counts

    def cells(self, x, y):
        """Return column and row of places in the rasters' CRS [cells]."""
        x, y = x - self.origin[0], y - self.origin[1]
        (a, b), (c, d) = self.inverse
        return a * x + b * y, c * x + d * y

    def covers(self, column, row):
        """Return which places lie within the outermost cell centres of all rasters together."""
        return (
            (column >= self.low[0])
            & (column <= self.high[0])
            & (row >= self.low[1])
            & (row <= self.high[1])
        )

    def sample(self, column, row):
        """Return the bilinear surface at places [m], nan where it is not known; both of shape
        (place,)."""
        result = np.full(len(column), np.nan)
        for start in range(0, len(column), _CHUNK):
            part = slice(start, start + _CHUNK)
            c, r = snap(column[part]), snap(row[part])
            known = np.flatnonzero(self.covers(c, r))
            c, r = c[known] - self.low[0], r[known] - self.low[1]
            result[start + known] = self._sample(c, r)
        return result

    def _sample(self, column, row):
        """The surface at places that are covered, counted from the corner of all rasters."""
        c0, r0 = np.floor(column).astype(np.int64), np.floor(row).astype(np.int64)
        u, v = column - c0, row - r0
        # On a centre the next cell has no weight: name the same one twice, it may lie outside or be
        # unknown.
        c1, r1 = c0 + (u > 0), r0 + (v > 0)
        (i0, y0), (i1, y1) = divmod(r0, self._block[0]), divmod(r1, self._block[0])
        (j0, x0), (j1, x1) = divmod(c0, self._block[1]), divmod(c1, self._block[1])
        corners = ((i0, j0), (i0, j1), (i1, j0), (i1, j1))
        blocks = [i * self._across + j for i, j in corners]
        wanted = self._wanted(blocks)
        if len(wanted) > len(self._held):
            return self._in_parts(column, row, blocks[0])
        self._load(wanted)
        places = ((y0, x0), (y0, x1), (y1, x0), (y1, x1))
        flat, width = self._table.reshape(-1), self._block[1]
        cells = self._block[0] * width
        z = [
            flat[self._slot_of[b].astype(np.int64) * cells + y * width + x]
            for b, (y, x) in zip(blocks, places, strict=True)
        ]
        return bilinear(*(k.astype(float) for k in z), u, v)

    def _wanted(self, blocks):
        """Numbers of the blocks touched, ascending. Neighbours along a line mostly share one: drop
        repeats first."""
        runs = [b[np.r_[True, b[1:] != b[:-1]]] if len(b) else b for b in blocks]
        return np.unique(np.concatenate(runs))

    def _in_parts(self, column, row, block):
        """As `_sample`, for places in more blocks than there is room for: block by block, half and
        half."""
        order = np.argsort(block, kind="stable")
        result = np.empty(len(column))
        for half in np.array_split(order, 2):
            result[half] = self._sample(column[half], row[half])
        return result

    def _load(self, wanted):
        """Have the wanted blocks in the table, in the place of those unused for longest."""
        self._clock += 1
        present = self._slot_of[wanted] >= 0
        self._used[self._slot_of[wanted[present]]] = self._clock
        missing = wanted[~present]
        if len(missing):
            self._read(missing)
        if self._faulty:
            self._asked.update(self._faulty.keys() & wanted.tolist())

    def _read(self, missing):
        slots = np.argsort(self._used, kind="stable")[: len(missing)]
        self._slot_of[self._held[slots][self._held[slots] >= 0]] = -1
        self._held[slots] = -1
        counts = self._reader.map(
            self._fill, list(zip(missing.tolist(), slots.tolist(), strict=True))
        )
        self._held[slots], self._used[slots], self._slot_of[missing] = missing, self._clock, slots
        self.blocks_read += len(missing)
        self._faulty |= {block: met for block, met in zip(missing.tolist(), counts, strict=True) if met}

    def _fill(self, job):
        """Read a block into a slot; the absurd cells met, by path."""
        block, slot = job
        out = self._table[slot]
        out[...] = np.nan
        top = block // self._across * self._block[0] + self.low[1]
        left = block % self._across * self._block[1] + self.low[0]
        bottom, right = top + self._block[0] - 1, left + self._block[1] - 1
        box, met = self._box, []
        near = (
            (box[:, 0] <= bottom) & (box[:, 2] >= top) & (box[:, 1] <= right) & (box[:, 3] >= left)
        )
        for index in np.flatnonzero(near):
            r0, c0 = max(top, box[index, 0]), max(left, box[index, 1])
            r1, c1 = min(bottom, box[index, 2]) + 1, min(right, box[index, 3]) + 1
            raster, row, column = self.members[index]
            z, absurd = self._reader.read(
                raster, int(r0 - row), int(c0 - column), int(r1 - r0), int(c1 - c0)
            )
            part = out[r0 - top : r1 - top, c0 - left : c1 - left]
            np.copyto(part, z, where=np.isnan(part))
            met += [(raster.path, absurd)] if absurd else []
            if not np.isnan(out).any():
                break
        return met
