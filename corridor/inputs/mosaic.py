"""Rasters on one grid, as a single grid of cells: a block is read and taken apart into small tiles at once, and those
that are wanted, now or along the line, are kept while there is room."""

from collections import OrderedDict
from concurrent.futures import ThreadPoolExecutor
from threading import Lock, local

import numpy as np
import rasterio

from corridor.arrays import ragged
from corridor.geometry.surface import bilinear, snap
from corridor.inputs.rasters import open_dataset, read_window

__all__ = ["Mosaic", "Reader", "group"]

#: Farthest from a whole cell that two rasters of one grid may lie apart [cells].
_ALIGNED = 1e-3
#: Side of the blocks read from files that have no handy ones of their own, and least side of any [cells].
_SIDE, _LEAST = 256, 64
#: Cells of a block that is read at once at most: of one each thread holds at a time.
_BLOCK = 1 << 24
#: Side of the tiles that are kept [cells].
_TILE = 64
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
            handles[path] = open_dataset(raster.source, raster.kinds)
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


def _block_of(raster):
    """Rows and columns that are read at once: whole blocks of the file, lest one is unpacked for each of its parts."""
    whole = (raster.height, raster.width)
    sides = tuple(n * -(-min(_LEAST, most) // n) for n, most in zip(raster.block, whole, strict=True))
    return sides if sides[0] * sides[1] <= _BLOCK else (_SIDE, _SIDE)


class Mosaic:
    """The cells of rasters on one grid; where they overlap the first that knows a height wins.

    Parameters
    ----------
    members : list of (Raster, row, column)
        As `group` returns them.
    reader : Reader
    budget : int
        Bytes of tiles to keep; four tiles at least. Besides them each thread of the reader holds one block, of 2**24
        cells at most.

    Notes
    -----
    Places are columns and rows counted in cells, whole numbers at cell centres, from the first
    raster's first cell. `low` and `high` are the first and last centre of all rasters, (column,
    row). A tile is numbered by its block, and its row and column there."""

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
        self._block = _block_of(first)
        self._tile = tuple(min(n, _TILE) for n in self._block)
        self._tiles = tuple(-(-n // side) for n, side in zip(self._block, self._tile, strict=True))
        self._each = self._tiles[0] * self._tiles[1]
        self._across = (right - left) // self._block[1] + 1
        count = ((bottom - top) // self._block[0] + 1) * self._across * self._each
        # Pages of a new array take no memory until they are written: 0 is no slot, others count from 1.
        self._slot_of = np.zeros(count, np.int32)
        self._along = None
        kind = np.dtype(np.float32 if all(m.single for m, *_ in members) else np.float64)
        slots = min(max(int(budget // (self._tile[0] * self._tile[1] * kind.itemsize)), 4), count)
        self._table = np.empty((slots, *self._tile), kind)
        self._held = np.full(slots, -1)
        self._used = np.zeros(slots, np.int64)
        self._clock, self.blocks_read = 0, 0
        self._faulty, self._asked = {}, set()

    def expect(self, start, stop, reach):
        """Say where the surface will be asked for: of a block that is read, tiles elsewhere are let go unless they are
        wanted just then.

        Parameters
        ----------
        start, stop : ndarray, shape (2, segment)
            Column and row of the ends of segments [cells].
        reach : float
            How far beside them [cells].
        """
        count = np.ceil(np.hypot(*(stop - start)) / (min(self._tile) / 2)).astype(int) + 1
        owner, number = ragged(count)
        column, row = start[:, owner] + number / np.maximum(count - 1, 1)[owner] * (stop - start)[:, owner]
        self._along = np.zeros(len(self._slot_of), bool)
        aside = [np.linspace(-reach, reach, int(np.ceil(2 * reach / side)) + 1) for side in self._tile]
        for down in aside[0]:
            for right in aside[1]:
                c, r = column + right, row + down
                known = self.covers(c, r)
                tile, _ = self._find((r[known] - self.low[1]).astype(np.int64),
                                     (c[known] - self.low[0]).astype(np.int64))
                self._along[tile] = True

    def forget(self):
        """Forget which blocks were asked for, as `absurd` counts them."""
        self._asked.clear()

    @property
    def met(self):
        """Cells that are no heights in the blocks asked for: block to (path, count) of each raster that has some."""
        return {block: self._faulty[block] for block in sorted(self._asked)}

    def take(self, met):
        """Take note of what was `met` where the same surface was asked in another process."""
        self._faulty |= met
        self._asked |= met.keys()

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

    def _find(self, row, column):
        """The tile that holds cells counted from the corner of all rasters, and the place in it."""
        (high, wide), (tall, broad) = self._block, self._tile
        i, j = row // high, column // wide
        row, column = row - i * high, column - j * wide
        a, b = row // tall, column // broad
        tile = (i * self._across + j) * self._each + a * self._tiles[1] + b
        return tile, (row - a * tall) * broad + column - b * broad

    def _sample(self, column, row):
        """The surface at places that are covered, counted from the corner of all rasters."""
        c0, r0 = np.floor(column).astype(np.int64), np.floor(row).astype(np.int64)
        u, v = column - c0, row - r0
        # On a centre the next cell has no weight: name the same one twice, it may lie outside or be
        # unknown.
        c1, r1 = c0 + (u > 0), r0 + (v > 0)
        corners = [self._find(r, c) for r, c in ((r0, c0), (r0, c1), (r1, c0), (r1, c1))]
        wanted = self._wanted([tile for tile, _ in corners])
        if len(wanted) > len(self._held):
            return self._in_parts(column, row, corners[0][0])
        self._load(wanted)
        flat, cells = self._table.reshape(-1), self._tile[0] * self._tile[1]
        z = [flat[(self._slot_of[tile].astype(np.int64) - 1) * cells + place] for tile, place in corners]
        return bilinear(*(k.astype(float) for k in z), u, v)

    def _wanted(self, tiles):
        """Numbers of the tiles touched, ascending. Neighbours along a line mostly share one: drop
        repeats first."""
        runs = [t[np.r_[True, t[1:] != t[:-1]]] if len(t) else t for t in tiles]
        return np.unique(np.concatenate(runs))

    def _in_parts(self, column, row, tile):
        """As `_sample`, for places in more tiles than there is room for: tile by tile, half and
        half."""
        order = np.argsort(tile, kind="stable")
        result = np.empty(len(column))
        for half in np.array_split(order, 2):
            result[half] = self._sample(column[half], row[half])
        return result

    def _load(self, wanted):
        """Have the wanted tiles in the table, in the place of those unused for longest."""
        self._clock += 1
        slot = self._slot_of[wanted]
        self._used[slot[slot > 0] - 1] = self._clock
        missing = wanted[slot == 0]
        if len(missing):
            self._read(missing, len(wanted) - len(missing))
        if self._faulty:
            self._asked.update(self._faulty.keys() & (wanted // self._each).tolist())

    def _read(self, missing, in_use):
        """Read the blocks of tiles that are missing, each once, and keep what is expected to be asked for as well, as
        far as there is room beside what is in use."""
        blocks = np.unique(missing // self._each)
        more = (blocks[:, None] * self._each + np.arange(self._each)).ravel()
        more = more[(self._slot_of[more] == 0) & (True if self._along is None else self._along[more])]
        room = len(self._held) - in_use - len(missing)
        tiles = np.sort(np.r_[missing, np.setdiff1d(more, missing, assume_unique=True)[:room]])
        slots = np.argsort(self._used, kind="stable")[: len(tiles)]
        self._slot_of[self._held[slots][self._held[slots] >= 0]] = 0
        self._held[slots] = -1
        cuts = np.searchsorted(tiles, blocks * self._each)[1:]
        counts = self._reader.map(self._fill, list(zip(blocks.tolist(), np.split(tiles % self._each, cuts),
                                                       np.split(slots, cuts), strict=True)))
        self._held[slots], self._used[slots], self._slot_of[tiles] = tiles, self._clock, slots + 1
        self.blocks_read += len(blocks)
        self._faulty |= {block: met for block, met in zip(blocks.tolist(), counts, strict=True) if met}

    def _fill(self, job):
        """Read a block and put some of its tiles into slots; the absurd cells met, by path."""
        block, tiles, slots = job
        cells, met = self._cells_of(block)
        tall, broad = self._tile
        for tile, slot in zip(tiles.tolist(), slots.tolist(), strict=True):
            a, b = divmod(tile, self._tiles[1])
            part = cells[a * tall : (a + 1) * tall, b * broad : (b + 1) * broad]
            self._table[slot, : part.shape[0], : part.shape[1]] = part
        return met

    def _cells_of(self, block):
        """Heights of a block [m], nan where none is known, and the absurd cells met, by path."""
        top = block // self._across * self._block[0] + self.low[1]
        left = block % self._across * self._block[1] + self.low[0]
        bottom, right = top + self._block[0] - 1, left + self._block[1] - 1
        box, met, out = self._box, [], None
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
            met += [(raster.path, absurd)] if absurd else []
            if out is None and (z.shape, z.dtype) == (self._block, self._table.dtype):
                out = z
            else:
                out = np.full(self._block, np.nan, self._table.dtype) if out is None else out
                part = out[r0 - top : r1 - top, c0 - left : c1 - left]
                np.copyto(part, z, where=np.isnan(part))
            if not np.isnan(out).any():
                break
        return np.full(self._block, np.nan) if out is None else out, met
