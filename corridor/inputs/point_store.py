"""Points near a line, put aside on disk by squares of the ground: however many there are, memory stays flat."""

import errno
import os
import shutil
import weakref

import numpy as np
import shapely

from corridor.temporary import temporary_folder

__all__ = ["BLOCK", "PointStore", "keys_of", "squares_near"]

#: Side of the squares [m]: a power of two.
BLOCK = 64.0
#: How a point is put aside: millimetres east and north of the store's origin, and up; and its class.
_POINT = np.dtype([("e", "<i4"), ("n", "<i4"), ("z", "<i4"), ("class", "u1")])
_MILLI = 1000.0
#: Squares of a row, beyond what any grid has.
_ROW = 1 << 24


def keys_of(easting, northing):
    """Return the number of the square that each place lies in."""
    return (np.floor(np.divide(easting, BLOCK)).astype(np.int64) * _ROW
            + np.floor(np.divide(northing, BLOCK)).astype(np.int64))


def squares_near(lines, reach):
    """Return the numbers of the squares within reach of lines, ascending.

    Parameters
    ----------
    lines : ndarray of shapely geometries
        Straight, in the frame [m].
    reach : float
        [m]
    """
    found = [np.zeros(0, np.int64)]
    for line in lines:
        west, south, east, north = shapely.bounds(line) + reach * np.array([-1, -1, 1, 1])
        c, r = np.meshgrid(np.arange(west // BLOCK, east // BLOCK + 1), np.arange(south // BLOCK, north // BLOCK + 1))
        boxes = shapely.box(c * BLOCK, r * BLOCK, (c + 1) * BLOCK, (r + 1) * BLOCK)
        near = shapely.dwithin(boxes, line, reach)
        found.append(keys_of((c[near] + 0.5) * BLOCK, (r[near] + 0.5) * BLOCK))
    return np.unique(np.concatenate(found))


class PointStore:
    """Points by squares, in a file of its own that goes away with the store.

    Parameters
    ----------
    squares : ndarray of int64
        Numbers of the squares to keep points of, ascending.
    origin : (float, float)
        Easting and northing from which millimetres are counted [m].
    """

    def __init__(self, squares, origin):
        self._squares, self._origin = squares, np.asarray(origin, float)
        self.folder = temporary_folder()
        self._file = (self.folder / "points.bin").open("w+b", buffering=0)
        self._runs = {}
        self._written = 0
        self.close = weakref.finalize(self, _remove, self._file, self.folder)

    @property
    def count(self):
        """Number of points put aside."""
        return self._written

    def near(self, easting, northing):
        """Return which places lie in squares that are kept."""
        key = keys_of(easting, northing)
        at = np.searchsorted(self._squares, key)
        at[at == len(self._squares)] = 0
        return self._squares[at] == key if len(self._squares) else np.zeros(len(key), bool)

    def add(self, easting, northing, elevation, class_):
        """Put points aside; all must lie in squares that are kept."""
        key = keys_of(easting, northing)
        order = np.argsort(key, kind="stable")
        rows = np.empty(len(key), _POINT)
        rows["e"] = np.rint((easting - self._origin[0]) * _MILLI)
        rows["n"] = np.rint((northing - self._origin[1]) * _MILLI)
        rows["z"], rows["class"] = np.rint(elevation * _MILLI), class_
        first = np.flatnonzero(np.diff(key[order], prepend=-1) != 0)
        for square, begin, stop in zip(key[order][first], first, [*first[1:], len(key)], strict=True):
            self._runs.setdefault(int(square), []).append((self._written + int(begin), int(stop - begin)))
        self._file.seek(self._written * _POINT.itemsize)
        left = memoryview(rows[order].tobytes())
        while left:  # a disk that is nearly full takes a part, and no more of the next
            left = left[self._file.write(left):]
        self._written += len(rows)

    def squares(self):
        """Return the numbers of the squares that have points, ascending."""
        return sorted(self._runs)

    def read(self, squares):
        """Return the points of some squares.

        Parameters
        ----------
        squares : iterable of int

        Returns
        -------
        place : ndarray, shape (point, 3)
            Easting, northing and elevation [m], to the millimetre.
        class_ : ndarray of uint8, shape (point,)
        """
        runs = sorted(run for square in squares for run in self._runs.get(int(square), ()))
        parts = [np.frombuffer(self._read(*run), _POINT) for run in runs]
        rows = np.concatenate([np.empty(0, _POINT), *parts])
        place = np.column_stack([rows["e"], rows["n"], rows["z"]]) / _MILLI
        return place + [*self._origin, 0.0], rows["class"]

    def _read(self, first, count):
        # Spans are worked on by several threads: each reads at a place of its own.
        content = os.pread(self._file.fileno(), count * _POINT.itemsize, first * _POINT.itemsize)
        if len(content) != count * _POINT.itemsize:
            raise OSError(errno.EIO, "points that were put aside are not there any more", self._file.name)
        return content

    def within(self, lines, reach):
        """Return the points of the squares within reach of lines, as `read` does."""
        return self.read(np.intersect1d(squares_near(lines, reach), self._squares))


def _remove(file, folder):
    file.close()
    shutil.rmtree(folder, ignore_errors=True)
