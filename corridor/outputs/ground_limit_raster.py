"""Write how high the ground may be as a Cloud-Optimized GeoTIFF, a window at a time.

Cells gather in a sparse GeoTIFF beside the target that goes with the job. At the end come the coarser levels, which
GDAL has no fitting way to make: a cell of theirs has the least of the four below it, so that no want of room is lost by
looking from afar.
"""

import shutil
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

import numpy as np
import rasterio
from pyproj import CRS
from rasterio.shutil import copy
from rasterio.transform import Affine
from rasterio.windows import Window

from corridor.errors import CorridorError
from corridor.outputs.files import disk_errors
from corridor.outputs.ground_limit_style import ground_limit_style
from corridor.outputs.guard import MARK
from corridor.outputs.tables import aligned, number
from corridor.temporary import need_written, sum_of, temporary_folder

__all__ = ["BANDS", "NODATA", "OUTCOMES", "GroundLimitRaster", "ground_limit_text"]

NODATA = -9999.0
#: What the bands hold: description and unit.
BANDS = (("highest elevation that the rules allow", "metre"),
         ("room: that elevation minus the ground, least within the cell", "metre"),
         ("outcome: 1 clear, 2 not assessed, 3 violation", ""))
#: Values of the third band; of four cells the greatest shows from afar.
OUTCOMES = {"clear": 1, "not assessed": 2, "violation": 3}
_BLOCK = 512
_FORMAT = {"driver": "GTiff", "count": len(BANDS), "dtype": "float32", "nodata": NODATA, "tiled": True,
           "blockxsize": _BLOCK, "blockysize": _BLOCK, "SPARSE_OK": True, "BIGTIFF": "IF_SAFER"}
_COG = {"driver": "COG", "compress": "DEFLATE", "predictor": "YES", "blocksize": _BLOCK, "overviews": "AUTO",
        "SPARSE_OK": "YES", "STATISTICS": "YES", "BIGTIFF": "IF_SAFER"}


class GroundLimitRaster:
    """Collect the room below wires of one option and write it, in a `with` statement.

    Parameters
    ----------
    files : Files
        What the raster, and a style beside it, come into being with.
    path : path
        The file to write.
    cells : Cells
        Of the whole raster.
    crs : pyproj.CRS or str
        The working frame.
    tags : dict of str to str
        What the file says of itself.

    Raises
    ------
    CorridorError
        When the folder cannot be written, or the disk fails or is full.
    """

    def __init__(self, files, path, cells, crs, tags):
        self.path, self._cells, self._tags = Path(path), cells, tags | {"ORIGIN": MARK}
        self._crs = rasterio.crs.CRS.from_wkt(CRS.from_user_input(crs).to_wkt())
        self._touched = set()
        self._new = files.new(path, "marked"), files.new(self.path.with_suffix(".qml"), "marked")
        with disk_errors(self.path):
            self._folder = temporary_folder(self.path.parent)
        self._levels = []

    def __enter__(self):
        self._levels.append(self._open(0))
        return self

    def __exit__(self, kind, value, traceback):
        with rasterio.Env():  # else GDAL prints what it could not write any more
            for level in self._levels:
                level.close()
        shutil.rmtree(self._folder, ignore_errors=True)

    def _open(self, level):
        """A new raster of a level, each cell 2^level wide."""
        c, factor = self._cells, 2**level
        return rasterio.open(self._folder / f"{level}.tif", "w+", **_FORMAT, crs=self._crs,
                             width=-(-c.columns // factor), height=-(-c.rows // factor),
                             transform=Affine(c.size * factor, 0, c.west, 0, -c.size * factor, c.north))

    def merge(self, room, row, column):
        """Take what was found in some cells, from a row and column on; the lower counts where something was found.

        Parameters
        ----------
        room : Room
        row, column : int
        """
        height, width = room.allowed.shape
        if min(row, column) < 0 or row + height > self._cells.rows or column + width > self._cells.columns:
            raise CorridorError("a wire hangs outside of the raster that was laid about the line")
        window = Window(column, row, width, height)
        with disk_errors(self.path), rasterio.Env():
            self._levels[0].write(_together(self._levels[0].read(window=window), room), window=window)
        blocks = [range(a // _BLOCK, (a + size - 1) // _BLOCK + 1) for a, size in ((row, height), (column, width))]
        self._touched |= {(i, j) for i in blocks[0] for j in blocks[1]}

    def blocks(self):
        """Yield room and outcome of all blocks in which something was found, as they stand; nan for none."""
        for window in self._windows():
            room_left, outcome = self._levels[0].read((2, 3), window=window)
            yield np.where(room_left == NODATA, np.nan, room_left.astype(float)), outcome

    def _windows(self):
        """Windows of the blocks of the coarsest level so far in which something was found."""
        for i, j in sorted(self._touched):
            size = [min(_BLOCK, n - k * _BLOCK) for n, k in zip(self._levels[-1].shape, (i, j), strict=True)]
            yield Window(j * _BLOCK, i * _BLOCK, size[1], size[0])

    def _sums(self):
        return {window: sum_of(self._levels[-1], window) for window in self._windows()}

    def close(self):
        """Make the coarser levels and write the file, and a style beside it; once, after all was merged.

        Raises
        ------
        CorridorError
            As when it was opened.
        """
        with disk_errors(self.path), rasterio.Env():
            sums = [self._sums()]
            while max(self._levels[-1].shape) > _BLOCK:
                self._levels.append(self._open(len(self._levels)))
                self._touched = {(i // 2, j // 2) for i, j in self._touched}
                for block in sorted(self._touched):
                    _coarsen(*self._levels[-2:], *block)
                sums.append(self._sums())
            for level in self._levels:
                level.close()
            whole = self._folder / "whole.vrt"
            whole.write_text(self._described(), encoding="utf-8")
            copy(whole, self._new[0], **_COG)
            for level, told in enumerate(sums):
                need_written(self._new[0], told, **{"overview_level": level - 1} if level else {})
            self._new[1].write_text(ground_limit_style(), encoding="utf-8")

    def _described(self):
        """The levels as one raster, in GDAL's words for a virtual one."""
        c = self._cells
        tags = "".join(f"<MDI key={quoteattr(key)}>{escape(text)}</MDI>" for key, text in self._tags.items())
        bands = "".join(_band(number + 1, *band, len(self._levels), c) for number, band in enumerate(BANDS))
        return (f'<VRTDataset rasterXSize="{c.columns}" rasterYSize="{c.rows}"><SRS>{escape(self._crs.to_wkt())}</SRS>'
                f"<GeoTransform>{c.west!r},{c.size!r},0,{c.north!r},0,{-c.size!r}</GeoTransform>"
                f"<Metadata>{tags}</Metadata>{bands}</VRTDataset>")


def _band(number, description, unit, levels, cells):
    def source(level):
        return f'<SourceFilename relativeToVRT="1">{level}.tif</SourceFilename><SourceBand>{number}</SourceBand>'

    box = f'xOff="0" yOff="0" xSize="{cells.columns}" ySize="{cells.rows}"'
    coarser = "".join(f"<Overview>{source(level)}</Overview>" for level in range(1, levels))
    return (f'<VRTRasterBand dataType="Float32" band="{number}" blockXSize="{_BLOCK}" blockYSize="{_BLOCK}">'
            f"<Description>{escape(description)}</Description><UnitType>{unit}</UnitType>"
            f"<NoDataValue>{NODATA}</NoDataValue><SimpleSource>{source(0)}<SrcRect {box}/><DstRect {box}/>"
            f"</SimpleSource>{coarser}</VRTRasterBand>")


def _together(old, room):
    """Bands of cells in which something stood, once more was found."""
    *least, outcome = old
    allowed, room_left = (np.minimum(np.where(was == NODATA, np.inf, was), now)
                         for was, now in zip(least, (room.allowed, room.left), strict=True))
    unknown = room.unknown | (outcome == OUTCOMES["not assessed"])
    short = room_left < 0
    verdict = np.where(short, OUTCOMES["violation"], np.where(unknown, OUTCOMES["not assessed"], OUTCOMES["clear"]))
    said = short | (np.isfinite(room_left) & ~unknown)
    return np.stack([np.where(np.isfinite(allowed), allowed, NODATA), np.where(said, room_left, NODATA),
                     np.where(said | unknown, verdict, NODATA)]).astype("float32")


def _coarsen(fine, coarse, i, j):
    """Fill a block of a coarser level: the least of four cells, and the worst outcome."""
    rows, columns = coarse.height - i * _BLOCK, coarse.width - j * _BLOCK
    rows, columns = min(rows, _BLOCK), min(columns, _BLOCK)
    top, left = 2 * i * _BLOCK, 2 * j * _BLOCK
    known = min(2 * rows, fine.height - top), min(2 * columns, fine.width - left)
    four = np.full((len(BANDS), 2 * rows, 2 * columns), NODATA, "float32")
    four[:, :known[0], :known[1]] = fine.read(window=Window(left, top, known[1], known[0]))
    four = four.reshape(len(BANDS), rows, 2, columns, 2).swapaxes(2, 3).reshape(len(BANDS), rows, columns, 4)
    least = np.where(four[:2] == NODATA, np.inf, four[:2]).min(axis=-1)
    bands = [*np.where(np.isfinite(least), least, NODATA), four[2].max(axis=-1)]
    coarse.write(np.stack(bands).astype("float32"), window=Window(j * _BLOCK, i * _BLOCK, columns, rows))


def ground_limit_text(columns):
    """Return lines that say what is in the rasters, option by option.

    Parameters
    ----------
    columns : dict of ndarray
        `option`, `minimum_room_m`, `short_area_m2`, `cut_volume_m3`, `not_assessed_area_m2`.
    """
    head = ("option", "minimum room m", "violation m²", "to dig m³", "not assessed m²")
    forms = {"minimum_room_m": ".2f", "short_area_m2": ".0f", "cut_volume_m3": ".0f", "not_assessed_area_m2": ".0f"}
    rows = [[option, *(number(columns[name][i], form) for name, form in forms.items())]
            for i, option in enumerate(columns["option"])]
    return aligned(head, rows)
