"""Tiles of point clouds, LAS and LAZ: what each says of itself, and its points, some at a time."""

import struct
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from corridor.errors import CorridorError, InputError
from corridor.inputs.frame import horizontal, read_crs, vertical, vertical_factor
from corridor.inputs.point_header import fault_of
from corridor.inputs.rasters import height_unit

__all__ = ["Tile", "describe_tile", "need_cloud", "read_tile"]

#: Points that are read at once: some 100 MB while they are sorted out.
CHUNK = 1_000_000
#: Bytes of points that are unpacked at once at most.
BYTES = 256_000_000
#: GeoTIFF keys of the vertical CRS and of the unit of heights, and the units by their EPSG codes (OGC 19-008r4).
_VERTICAL_CRS, _VERTICAL_UNIT = 4096, 4099
_UNIT_CODES = {9001: 1.0, 9002: 0.3048, 9003: 1200 / 3937}


@dataclass(frozen=True)
class Tile:
    """What a tile says of itself.

    `low`, `high` (3,) bounds in its CRS and unit of heights; `factor` metres per unit of height, `unit` its name;
    `cautions` are words to the user.
    """

    path: str
    crs: CRS
    points: int
    low: np.ndarray
    high: np.ndarray
    factor: float
    unit: str
    vertical_name: str | None
    cautions: tuple[str, ...]

    @property
    def horizontal_crs(self):
        """Horizontal part of the CRS."""
        return horizontal(self.crs)


def need_cloud():
    """Raise CorridorError where the libraries for point clouds are not there."""
    if find_spec("laspy") is None or find_spec("lazrs") is None:
        raise CorridorError("point clouds need laspy and lazrs: pip install 'corridor[cloud]'")


@contextmanager
def _opened(path, points):
    """Return a context with a reader of a tile, for its points or its header alone; whatever is wrong with the file in
    it is an InputError."""
    import laspy
    import lazrs

    try:
        fault = fault_of(path, points)
        if fault is not None:
            raise ValueError(fault)
        with laspy.open(path, laz_backend=laspy.LazBackend.Lazrs) as reader:
            yield reader
    except (laspy.errors.LaspyException, lazrs.LazrsError, OSError, EOFError, ValueError, struct.error) as error:
        reason = (str(error).strip().splitlines() or [type(error).__name__])[0]
        raise InputError(path, None, f"no whole point cloud ({reason})", "a LAS or LAZ file, 1.0 to 1.4") from None


def describe_tile(path, crs=None, vertical_unit=None):
    """Return what a tile says of itself.

    Parameters
    ----------
    path : path or str
    crs : str or None
        In whose stead the tile's own is not asked.
    vertical_unit : str or None
        A key of `UNITS`, which wins over what the file says.

    Raises
    ------
    InputError
        No point cloud, no points, or no CRS.
    CorridorError
        The extra is not installed.
    """
    need_cloud()
    path = str(path)
    with _opened(path, points=False) as reader:
        header = reader.header
        count, low, high = header.point_count, np.array(header.mins), np.array(header.maxs)
        keys = _geo_keys(header)
        try:
            own = read_crs(crs, path, "crs") if crs is not None else header.parse_crs()
        except CRSError as error:
            raise InputError(path, "crs", f"none that is known ({str(error).splitlines()[0]})", "a known CRS",
                             "give point_clouds.crs") from None
    if count == 0:
        raise InputError(path, None, "no points", "one or more", "take the tile out of the study")
    if own is None:
        raise InputError(path, "crs", "none", "a tile that says in which CRS it is", "give point_clouds.crs")
    flat = horizontal(own)
    if not (flat.is_projected or flat.is_geographic):
        raise InputError(path, "crs", f"{flat.name}, which is not tied to the Earth", "a projected or geographic CRS")
    keys = keys if crs is None else {}
    stated = vertical_factor(own)
    stated = _UNIT_CODES.get(keys.get(_VERTICAL_UNIT)) if stated is None else stated
    factor, unit, cautions, _ = height_unit(own, stated, vertical_unit)
    name = Path(path).name
    return Tile(path, own, count, low, high, factor, unit, _vertical_name(own, keys),
                tuple(f"{name}: {text}" for text in cautions))


def _geo_keys(header):
    """Codes of the GeoTIFF keys of a header, by key."""
    found = {}
    for record in header.vlrs.get("GeoKeyDirectoryVlr"):
        found |= {key.id: key.value_offset for key in record.geo_keys if key.tiff_tag_location == 0}
    return found


def _vertical_name(crs, keys):
    """Name of the system of heights, None where none is stated."""
    code = keys.get(_VERTICAL_CRS)
    if vertical(crs) is not None:
        return vertical(crs).name
    if len(crs.axis_info) == 3:
        return "ellipsoidal height"
    try:
        return CRS.from_epsg(code).name if code and code < 32767 else None
    except CRSError:
        return None


def read_tile(tile):
    """Yield the points of a tile, some at a time, but those that it withholds.

    Parameters
    ----------
    tile : Tile

    Yields
    ------
    x, y : ndarray, shape (point,)
        In the tile's CRS.
    z : ndarray, shape (point,)
        Elevation [m].
    class_ : ndarray of uint8, shape (point,)
        Number of the class.

    Raises
    ------
    InputError
        The file ends before its points do.
    """
    done = 0
    with _opened(tile.path, points=True) as reader:
        for points in reader.chunk_iterator(max(min(CHUNK, BYTES // reader.header.point_format.size), 1)):
            done += len(points)
            keep = np.asarray(points.withheld) == 0
            yield (np.asarray(points.x)[keep], np.asarray(points.y)[keep], np.asarray(points.z)[keep] * tile.factor,
                   np.asarray(points.classification)[keep].astype(np.uint8))
    if done < tile.points:
        raise InputError(tile.path, None, f"{done} of the {tile.points} points that it tells of", "a whole file")
