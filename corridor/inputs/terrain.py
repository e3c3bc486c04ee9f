"""The ground (or any other surface): rasters, sampled where the line needs them.

Between cell centres the surface is bilinear. A place of which one neighbour with weight is unknown
is unknown: nan, never a guess. Rasters on one grid are joined without a seam; between rasters on
different grids half a cell at the rim of each is not known from it."""

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from threading import Lock
from typing import NamedTuple

import numpy as np

from corridor.arrays import join, ragged
from corridor.errors import InputError
from corridor.geometry.surface import SIDE, blocks_about, crossings
from corridor.inputs.digest import digest_files, files_of
from corridor.inputs.frame import transformer
from corridor.inputs.mosaic import Mosaic, Reader, group
from corridor.inputs.rasters import Raster, describe

__all__ = ["Cells", "Profiles", "RasterFacts", "Terrain", "open_terrain", "vertical_name"]

#: Nodes worked on at once, so that the arrays of a long line do not add up.
_NODES = 400_000
#: Heights of two grids that differ by less are taken for both [m].
_ALIKE = 0.01
#: Distance below which a change of CRS is none [m].
_SAME = 1e-6


class Profiles(NamedTuple):
    """The surface along straight segments, ragged.

    `first` (segment + 1,) offsets into `fraction` and `elevation` (node,): share of the segment, 0
    to 1 and ascending, knots at even and middles at odd places of each segment, and elevation [m],
    nan where unknown. On each piece between two knots the surface is quadratic, so its three nodes
    give it exactly."""

    first: np.ndarray
    fraction: np.ndarray
    elevation: np.ndarray


class Cells(NamedTuple):
    """Cell centres of the surface about straight segments in plan, in square blocks.

    `segment` (block,) each is for; `easting`, `northing` [m], `elevation` [m], nan where unknown, (block, SIDE + 1,
    SIDE + 1): neighbouring blocks share their rim. Between four neighbours the surface is bilinear.
    """

    segment: np.ndarray
    easting: np.ndarray
    northing: np.ndarray
    elevation: np.ndarray


@dataclass(frozen=True)
class RasterFacts:
    """What is written down of a raster that was used; `cell_size` [m], `digest` SHA-256 of its
    files."""

    path: str
    digest: str
    crs: str
    vertical_crs: str
    unit: str
    cell_size: float
    dtype: str
    nodata: float | None


class Terrain:
    """A surface of one or more rasters, in the working frame. Open it with `open_terrain`.

    Parameters
    ----------
    rasters : list of Raster
        Where they overlap the first that knows a height wins.
    frame : Frame
    budget : int
        Bytes of heights to keep in memory, over all grids.
    """

    def __init__(self, rasters, frame, budget):
        self._rasters, self._frame = rasters, frame
        groups = group(rasters)
        self._reader = Reader()
        self._mosaics = [Mosaic(members, self._reader, budget // len(groups)) for members in groups]
        self._changes = [_change(members, frame) for members in groups]
        #: For whoever asks from several threads: the surface is for one at a time.
        self.lock = Lock()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def close(self):
        """Close all files."""
        self._reader.close()

    def forget(self):
        """Forget which cells were asked for, so that `warnings` tell of those to come alone."""
        for mosaic in self._mosaics:
            mosaic.forget()

    @property
    def met(self):
        """What `warnings` tell of the cells asked for, for `take`: of each grid `Mosaic.met`."""
        return [mosaic.met for mosaic in self._mosaics]

    def take(self, met):
        """Take note of what was `met` where the same surface was asked in another process."""
        for mosaic, each in zip(self._mosaics, met, strict=True):
            mosaic.take(each)

    def expect(self, e0, n0, e1, n1, reach):
        """Say where the surface will be asked for: along straight segments in plan, (n,) [m], and `reach` [m] beside
        them. It answers the same elsewhere, but there a block may be read again."""
        for index, mosaic in enumerate(self._mosaics):
            paths = self._paths(index, e0, n0, e1, n1)
            mosaic.expect(paths[:, 0], paths[:, 2], reach / self._cell(index))

    @property
    def blocks_read(self):
        """Blocks read from files so far."""
        return sum(m.blocks_read for m in self._mosaics)

    @property
    def vertical_crs(self):
        """Vertical CRS of the first raster (pyproj CRS), or None where it names none."""
        return self._rasters[0].vertical_crs

    @property
    def rasters(self):
        """The rasters, as their files describe themselves (tuple of `Raster`)."""
        return tuple(self._rasters)

    @cached_property
    def cell_size(self):
        """Shortest side of a cell of any raster [m]."""
        return min(self._cell(index) for index in range(len(self._mosaics)))

    @property
    def grid(self):
        """West, north of a corner and side of the cells [m] of the first raster; None where its cells
        are not square, or do not lie along the axes of the frame."""
        (a, b, west), (d, e, north), _ = self._rasters[0].matrix
        straight = self._changes[0] is None and b == d == 0 and a == -e > 0
        return (float(west), float(north), float(a)) if straight else None

    @property
    def warnings(self):
        """What is to be said of the rasters, and of the cells asked for since `forget`."""
        texts = [text for raster in self._rasters for text in raster.cautions]
        names = list(dict.fromkeys(vertical_name(r) for r in self._rasters))
        if len(names) > 1:
            texts.append("rasters of different height systems are mixed: " + ", ".join(names))
        if len(self._mosaics) > 1:
            texts.append(
                f"the rasters lie on {len(self._mosaics)} different grids: where one ends "
                "and another begins, "
                "up to a cell between them may be unknown"
            )
        for mosaic in self._mosaics:
            texts += [
                f"{Path(path).name}: {count} cells not marked as empty are no heights "
                "(not finite, below -500 m or above 9000 m); taken as unknown"
                for path, count in mosaic.absurd.items()
            ]
        return tuple(texts)

    @cached_property
    def facts(self):
        """Tuple of `RasterFacts`, one per raster. Its files are read once in full, for their
        digest."""
        cell = {
            m[0].path: self._cell(i)
            for i, mosaic in enumerate(self._mosaics)
            for m in mosaic.members
        }
        return tuple(
            RasterFacts(
                r.path,
                digest_files([*r.files, *files_of(r.path)]),
                r.horizontal_crs.name,
                vertical_name(r),
                r.unit,
                cell[r.path],
                r.dtype,
                r.nodata,
            )
            for r in self._rasters
        )

    def touches(self, easting, northing):
        """Return which places lie within the outline of any grid of rasters, known there or not;
        any shape."""
        e, n = np.broadcast_arrays(np.asarray(easting, float), northing)
        return np.any(
            [self._mosaics[i].covers(*self._cells(i, e, n)) for i in range(len(self._mosaics))],
            axis=0,
        )

    def sample(self, easting, northing):
        """Return the elevation of the surface [m], nan where it is not known.

        Parameters
        ----------
        easting, northing : array_like
            Places in the frame [m]; of any shape, broadcasting.
        """
        e, n = np.broadcast_arrays(np.asarray(easting, float), northing)
        e, n = e.ravel(), n.ravel()
        result = np.full(e.shape, np.nan)
        for index, mosaic in enumerate(self._mosaics):
            open_ = np.flatnonzero(np.isnan(result))
            result[open_] = mosaic.sample(*self._cells(index, e[open_], n[open_]))
        return result.reshape(np.broadcast_shapes(np.shape(easting), np.shape(northing)))

    def profiles(self, e0, n0, e1, n1):
        """Return the surface along straight segments in plan, with all its pieces.

        Parameters
        ----------
        e0, n0, e1, n1 : array_like, shape (n,)
            Ends in the frame [m].

        Returns
        -------
        Profiles
            Knots where the segment crosses a row or column of cell centres of any grid of rasters
            there.

        Notes
        -----
        In another CRS than the frame's, a segment is slightly bent. Its places are then taken from
        the parabola through its ends and middle, its knots from the chord: they lie off by the
        bend, a few millimetres in 500 m."""
        ends = [np.atleast_1d(np.asarray(v, float)) for v in (e0, n0, e1, n1)]
        paths = [self._paths(index, *ends) for index in range(len(self._mosaics))]
        length = 3 + 2 * sum(np.nan_to_num(np.abs(p[:, 2] - p[:, 0])).sum(axis=0) for p in paths)
        cuts = np.r_[0, np.flatnonzero(np.diff(np.cumsum(length) // _NODES)) + 1, len(ends[0])]
        parts = [
            self._profiles([p[:, :, a:b] for p in paths])
            for a, b in zip(cuts[:-1], cuts[1:], strict=True)
        ]
        shift = np.cumsum([0, *(p.first[-1] for p in parts)])
        first = np.concatenate(
            [[0], *(p.first[1:] + s for p, s in zip(parts, shift[:-1], strict=True))]
        )
        return Profiles(first, *(np.concatenate(v) for v in list(zip(*parts, strict=True))[1:]))

    def cells(self, e0, n0, e1, n1, reach):
        """Return the cell centres about straight segments in plan, with all that lie within a reach of them.

        Parameters
        ----------
        e0, n0, e1, n1, reach : array_like, shape (segment,)
            Ends in the frame, and how far beside them [m].

        Returns
        -------
        Cells
            Of a grid of rasters whose heights others win there, all but what is hidden whole.
        """
        ends = [np.atleast_1d(np.asarray(v, float)) for v in (e0, n0, e1, n1)]
        found = []
        for index, mosaic in enumerate(self._mosaics):
            paths = self._paths(index, *ends)
            segment, column, row = blocks_about(paths[:, 0], paths[:, 2], reach / self._cell(index))
            step = np.arange(SIDE + 1)
            shape = len(segment), SIDE + 1, SIDE + 1
            c, r = (np.broadcast_to(v, shape).ravel() for v in
                    (column[:, None, None] + step, row[:, None, None] + step[:, None]))
            x, y = mosaic.members[0][0].places(c + 0.5, r + 0.5)
            change = self._changes[index]
            places = (x, y) if change is None else change.transform(x, y, direction="INVERSE")
            e, n, z = (np.asarray(v).reshape(shape) for v in (*places, mosaic.sample(c, r)))
            if index:
                z = np.where(self._hidden(index, e, n, z), np.nan, z)
                # What no grid knows is unknown in the blocks of the first, which go beyond its rasters.
                some = np.isfinite(z).any(axis=(1, 2))
                segment, e, n, z = segment[some], e[some], n[some], z[some]
            found.append(Cells(segment, e, n, z))
        return join(found)

    def _hidden(self, index, easting, northing, z):
        """Whether nothing but other grids' heights stands at cell centres and all about them."""
        own = np.abs(self.sample(easting, northing) - z) < _ALIKE
        near = np.zeros_like(own)
        for down, right in np.ndindex(3, 3):
            padded = np.pad(own, ((0, 0), (1, 1), (1, 1)), constant_values=True)
            near |= padded[:, down : down + own.shape[1], right : right + own.shape[2]]
        return ~near

    def _profiles(self, paths):
        start, stop = (np.concatenate([p[:, at] for p in paths]) for at in (0, 2))
        low, high = (
            [v for m in self._mosaics for v in getattr(m, side)] for side in ("low", "high")
        )
        first, t = crossings(start, stop, low, high)
        owner, _ = ragged(np.diff(first))
        elevation = np.full(len(t), np.nan)
        for mosaic, path in zip(self._mosaics, paths, strict=True):
            open_ = (
                slice(None) if mosaic is self._mosaics[0] else np.flatnonzero(np.isnan(elevation))
            )
            elevation[open_] = mosaic.sample(*_along(path, owner[open_], t[open_]))
        return Profiles(first, t, elevation)

    def _paths(self, index, e0, n0, e1, n1):
        """Column and row of start, middle and end of segments in a grid, shape (2, 3, segment)
        [cells]."""
        e, n = (np.stack([a, (a + b) / 2, b]) for a, b in ((e0, e1), (n0, n1)))
        return np.stack(self._cells(index, e, n))

    def _cells(self, index, easting, northing):
        change = self._changes[index]
        if change is not None:
            easting, northing = change.transform(easting, northing)
        return self._mosaics[index].cells(np.asarray(easting), np.asarray(northing))

    def _cell(self, index):
        """Shortest side of a cell in the middle of a grid [m]."""
        mosaic = self._mosaics[index]
        raster = mosaic.members[0][0]
        c, r = raster.width / 2, raster.height / 2
        x, y = raster.places(np.array([c, c + 1, c]), np.array([r, r, r + 1]))
        change = self._changes[index]
        e, n = (x, y) if change is None else change.transform(x, y, direction="INVERSE")
        return float(np.hypot(e[1:] - e[0], n[1:] - n[0]).min())


def _along(path, owner, t):
    """Column and row at shares of the way on the parabola through start, middle and end."""
    start, middle, end = path[:, 0], path[:, 1], path[:, 2]
    bend = 4 * (middle - (start + end) / 2)
    way = end - start
    return [
        a[owner] + t * (w[owner] + (1 - t) * b[owner])
        for a, w, b in zip(start, way, bend, strict=True)
    ]


def vertical_name(raster):
    """Return the name of a raster's system of heights."""
    if raster.vertical_crs is not None:
        return raster.vertical_crs.name
    return "ellipsoidal height" if len(raster.crs.axis_info) == 3 else "not stated"


def _change(members, frame):
    """The way from the frame to the rasters' CRS, or None where they are the same."""
    raster = members[0][0]
    share = np.array([[0, 1, 0, 1, 0.5], [0, 0, 1, 1, 0.5]])
    x, y = raster.places(share[0] * raster.width, share[1] * raster.height)
    try:
        change = transformer(frame.crs, raster.horizontal_crs)
    except InputError as error:
        raise InputError(raster.path, "crs", error.found, error.accepted, error.hint) from None
    e, n = change.transform(x, y, direction="INVERSE")
    same = raster.crs.is_projected and np.abs([e - x, n - y]).max() < _SAME
    return None if same else change


def open_terrain(paths, frame, vertical_unit=None, *, budget=256_000_000):
    """Return the surface of one or more rasters, to be used in a `with` statement.

    Parameters
    ----------
    paths : list of path, str or Raster
        Rasters that GDAL reads, single files or mosaics; where they overlap the first that knows a
        height wins.
    frame : Frame
    vertical_unit : str or None
        "m", "ft" or "us-ft"; None: what each raster says, else metres, with a warning.
    budget : int
        Bytes of heights to keep in memory (see `Mosaic`).

    Returns
    -------
    Terrain

    Raises
    ------
    InputError
        No raster, one that cannot be opened, one without CRS.
    """
    paths = [paths] if isinstance(paths, (str, Path)) else list(paths)
    if not paths:
        raise InputError(None, "terrain.ground", "no raster", "one or more rasters")
    rasters = [path if isinstance(path, Raster) else describe(path, vertical_unit) for path in paths]
    return Terrain(rasters, frame, budget)
