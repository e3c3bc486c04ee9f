"""The ground between surveyed points, where no raster knows it: triangles over points, read off in cells.

Between ground points the surface is that of their Delaunay triangles. One whose longest edge is longer than a gap that
the study allows is none: what lies in it stays unknown.
"""

import zlib

import numpy as np
import rasterio
import scipy  # its parts load when they are first used
from rasterio._err import CPLE_BaseError  # which rasterio raises, too, and has no other name for
from rasterio.errors import RasterioError
from rasterio.transform import Affine
from rasterio.windows import Window

from corridor.errors import MachineError
from corridor.inputs.point_store import BLOCK
from corridor.temporary import need_written

__all__ = ["CELL", "triangulated", "write_ground"]

#: Side of the cells [m].
CELL = 1.0
#: Beyond the rim of a square, places in which the raster is asked whether it knows the ground [m].
_RIM = 4.0


def triangulated(place, easting, northing, gap):
    """Return the elevation of places on the triangles over points [m], nan where there is none.

    Parameters
    ----------
    place : ndarray, shape (point, 3)
        Easting, northing, elevation [m].
    easting, northing : ndarray, shape (n,)
        [m]
    gap : float
        Longest edge of a triangle that counts [m].
    """
    plan, first = np.unique(place[:, :2], axis=0, return_index=True)
    result = np.full(len(easting), np.nan)
    if len(plan) < 3:
        return result
    # Millimetres of a grid far from its origin would be lost in the products of the triangulation.
    origin = plan.mean(axis=0)
    try:
        mesh = scipy.spatial.Delaunay(plan - origin)
    except scipy.spatial.QhullError:
        return result
    spot = np.column_stack([easting, northing]) - origin
    # No place in a triangle is farther from a corner than its longest edge over sqrt(3); places outside of all
    # triangles would be looked for in every one of them.
    near = np.isfinite(scipy.spatial.cKDTree(plan - origin).query(spot, distance_upper_bound=0.58 * gap)[0])
    found = np.full(len(spot), -1)
    found[near] = mesh.find_simplex(spot[near])
    corner = mesh.simplices[found]
    edge = np.linalg.norm(plan[corner] - plan[np.roll(corner, 1, axis=1)], axis=-1).max(axis=1)
    known = (found >= 0) & (edge <= gap)
    matrix = mesh.transform[found[known]]
    share = np.einsum("nij,nj->ni", matrix[:, :2], spot[known] - matrix[:, 2])
    share = np.column_stack([share, 1 - share.sum(axis=1)])
    result[known] = (share * place[first][corner[known], 2]).sum(axis=1)
    return result


def write_ground(path, stores, sample, crs):
    """Write a raster of the ground where another source does not know it.

    Parameters
    ----------
    path : Path
    stores : sequence of (PointStore, classes, gap)
        Where they overlap the first that knows a height wins.
    sample : callable
        `(easting, northing) -> elevation [m]`, nan where the other source does not know it.
    crs : pyproj CRS
        Of the frame, with that of the heights where it is known.

    Returns
    -------
    bool
        Whether anything was written.

    Raises
    ------
    MachineError, OSError
        It could not be.
    """
    squares = sorted({square for store, *_ in stores for square in store.squares()})
    if not squares:
        return False
    column, row = np.array([_corner(square) for square in squares]).T
    left, top, count = column.min(), row.max() + BLOCK, int(BLOCK / CELL)
    size = {"width": int((column.max() - left) / BLOCK + 1) * count, "height": int((top - row.min()) / BLOCK) * count}
    layout = {"tiled": True, "blockxsize": count, "blockysize": count, "compress": "deflate", "sparse_ok": True,
              "bigtiff": "if_safer"}
    sums = {}
    try:
        with rasterio.open(path, "w", driver="GTiff", count=1, dtype="float64", nodata=np.nan, crs=crs.to_wkt(),
                           transform=Affine(CELL, 0, left, 0, -CELL, top), **size, **layout) as target:
            for square, c, r in zip(squares, column, row, strict=True):
                z = _fill(square, stores, sample)
                if z is not None:
                    window = Window((c - left) / CELL, (top - BLOCK - r) / CELL, count, count)
                    target.write(z, 1, window=window)
                    sums[window] = zlib.crc32(z.tobytes())
        need_written(path, sums)
    except (RasterioError, CPLE_BaseError) as error:
        raise MachineError(f"the ground of surveyed points could not be written: {error}") from error
    return bool(sums)


def _corner(square):
    """Easting and northing of the lower left corner of a square [m]."""
    column = (square + (1 << 23)) >> 24
    return column * BLOCK, (square - (column << 24)) * BLOCK


def _fill(square, stores, sample):
    """Elevations in the cells of a square, or None where there is nothing to fill, or nothing to fill it with."""
    west, south = _corner(square)
    at = (np.arange(int(BLOCK / CELL)) + 0.5) * CELL
    e, n = (v.ravel() for v in np.meshgrid(west + at, south + BLOCK - at))
    rim = np.concatenate([-_RIM + np.zeros(1), at, BLOCK + _RIM + np.zeros(1)])
    asked = np.meshgrid(west + rim, south + rim)
    if not np.isnan(sample(asked[0].ravel(), asked[1].ravel())).any():
        return None
    result = np.full(len(e), np.nan)
    for store, classes, gap in stores:
        place, class_ = store.read(_around(square))
        near = (place[:, :2] > [west - gap, south - gap]).all(axis=1)
        near &= (place[:, :2] < [west + BLOCK + gap, south + BLOCK + gap]).all(axis=1)
        place = place[near & np.isin(class_, classes)]
        open_ = np.flatnonzero(np.isnan(result))
        result[open_] = triangulated(place, e[open_], n[open_], gap)
    return None if np.isnan(result).all() else result.reshape(len(at), len(at))


def _around(square):
    """A square and its neighbours."""
    return [square + (c << 24) + r for c in (-1, 0, 1) for r in (-1, 0, 1)]
