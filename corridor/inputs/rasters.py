"""One raster of heights: what its file says of itself, and a window of it in metres."""

from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import rasterio
from pyproj import CRS
from rasterio.enums import MaskFlags
from rasterio.errors import RasterioError
from rasterio.windows import Window

from corridor.errors import InputError, nearest
from corridor.inputs.frame import horizontal, vertical, vertical_factor

__all__ = ["KINDS", "UNITS", "Raster", "describe", "open_dataset", "read_window", "unit_name"]

#: Kinds that hold their cells themselves, or name their tiles in words that are looked at, by GDAL's names.
KINDS = ("GTiff", "VRT", "AAIGrid", "AIG", "EHdr", "GSAG", "GSBG", "GS7BG", "SRTMHGT", "DTED", "USGSDEM", "XYZ")
#: Metres per unit, by the names a study may use.
UNITS = {"m": 1.0, "ft": 0.3048, "us-ft": 1200 / 3937}
#: Other names by which files call them.
_ALIASES = {
    "m": ("m", "metre", "metres", "meter", "meters"),
    "ft": ("ft", "foot", "feet", "international foot", "international feet"),
    "us-ft": (
        "us-ft",
        "us_ft",
        "ftus",
        "us survey foot",
        "us survey feet",
        "us_survey_foot",
        "survey foot",
    ),
}
#: Heights outside these are no ground on which a line stands [m]; the lowest shore is at -430, the
#: summit at 8849.
LOWEST, HIGHEST = -500.0, 9000.0
#: Cells that GDAL reads at once at most, of a file in strips as wide as itself.
_BLOCK = 100_000_000
#: Finest cells [m]: many times finer than any survey, and what a span has of them can be read. Metres of a radian.
_FINEST, _RADIAN = 0.0099, 6.37e6
#: Kinds of number that single precision holds exactly.
_SINGLE = ("uint8", "int8", "uint16", "int16", "float16", "float32")


@dataclass(frozen=True)
class Raster:
    """What a raster file says of itself.

    `source` is what GDAL opens: the path, or the text of a mosaic less the tiles that are not there.
    `matrix` (3, 3) leads from column, row and 1 (corner of the first cell at 0, 0) to its CRS;
    `factor` metres per unit of height, `unit` its name; `masked` is True where its own mask must be
    asked beside `nodata`. `cautions` are words to the user; `unit_doubt` says why the unit may be
    wrong, "" where nothing speaks against it; `kinds` are those of `open_dataset`."""

    path: str
    source: str
    crs: CRS
    matrix: np.ndarray
    width: int
    height: int
    block: tuple[int, int]
    dtype: str
    nodata: float | None
    masked: bool
    scale: float
    offset: float
    factor: float
    unit: str
    files: tuple[str, ...]
    cautions: tuple[str, ...]
    unit_doubt: str = ""
    kinds: tuple[str, ...] | None = None

    def places(self, column, row):
        """Return x and y in its CRS of places counted from the corner of the first cell."""
        x, y, _ = self.matrix @ np.stack([column, row, np.ones_like(column)])
        return x, y

    @property
    def horizontal_crs(self):
        """Horizontal part of the CRS."""
        return horizontal(self.crs)

    @property
    def vertical_crs(self):
        """Vertical part of the CRS, or None."""
        return vertical(self.crs)

    @property
    def single(self):
        """Whether single precision holds its heights in metres as well as the file does."""
        return self.dtype in _SINGLE and (self.scale, self.offset, self.factor) == (1.0, 0.0, 1.0)


def open_dataset(path, kinds=None):
    """Return an open rasterio data set of its own, never shared.

    Parameters
    ----------
    path : path or str
    kinds : sequence of str or None
        GDAL's names of the kinds that it may be of, tried in turn; None: any.

    Raises
    ------
    InputError
        The file is not there or no raster.
    """
    words = ""
    for kind in (None,) if kinds is None else kinds:
        try:
            return rasterio.open(path, driver=kind, sharing=False)
        except RasterioError as error:
            words = words or _first_line(error)
    raise InputError(path, None, f"no readable raster ({words})",
                     "a raster of heights: GeoTIFF, an Esri grid or another kind that is read")


def describe(path, vertical_unit=None, kinds=None):
    """Return what a raster says of itself.

    Parameters
    ----------
    path : path or str
    vertical_unit : str or None
        A key of `UNITS`, which wins over what the file says.
    kinds : sequence of str or None
        As of `open_dataset`.

    Raises
    ------
    InputError
        No raster, no CRS, complex numbers, no grid or one too fine, an unknown unit, or a mosaic that lacks
        tiles and would have numbers in their place.
    """
    path = str(path)
    if vertical_unit is not None and vertical_unit not in UNITS:
        raise InputError(
            None,
            "terrain.vertical_unit",
            f"{vertical_unit!r}",
            ", ".join(UNITS),
            nearest(vertical_unit, UNITS),
        )
    source, lost = _without_lost_tiles(path)
    with open_dataset(source, kinds) as dataset:
        crs = _crs(dataset, path)
        if dataset.transform.determinant == 0 or "complex" in dataset.dtypes[0]:
            raise InputError(
                path,
                None,
                f"{dataset.dtypes[0]} cells on the grid {tuple(dataset.transform)[:6]}",
                "real heights on a regular grid",
            )
        side = _finest_side(dataset.transform, crs)
        if side < _FINEST:
            raise InputError(path, None, f"cells of {side:.2g} m", "cells of 1 cm or more", "resample it")
        if np.prod(np.array(dataset.block_shapes[0], float)) > _BLOCK:
            raise InputError(path, None, "blocks of {} by {} cells".format(*dataset.block_shapes[0]),
                             f"a raster in blocks of at most {_BLOCK} cells", "store it in tiles")
        factor, unit, cautions, doubt = _unit(dataset, crs, vertical_unit)
        flags = set(dataset.mask_flag_enums[0])
        return Raster(
            path,
            source,
            crs,
            np.array(dataset.transform).reshape(3, 3),
            dataset.width,
            dataset.height,
            dataset.block_shapes[0],
            dataset.dtypes[0],
            dataset.nodata,
            not flags <= {MaskFlags.all_valid, MaskFlags.nodata},
            dataset.scales[0],
            dataset.offsets[0],
            factor,
            unit,
            tuple(dict.fromkeys((path, *dataset.files))),
            tuple(f"{Path(path).name}: {text}" for text in (*lost, *cautions, *_cautions(dataset))),
            doubt,
            kinds,
        )


def _crs(dataset, path):
    if dataset.crs is None:
        raise InputError(
            path,
            "crs",
            "none",
            "a raster that says in which CRS it is",
            "assign the CRS it was made in",
        )
    crs = CRS.from_wkt(dataset.crs.to_wkt())
    flat = horizontal(crs)
    if not (flat.is_projected or flat.is_geographic):
        raise InputError(
            path,
            "crs",
            f"{flat.name}, which is not tied to the Earth",
            "a projected or geographic CRS",
        )
    return crs


def _finest_side(transform, crs):
    """The shorter side of a cell, about [m]."""
    flat = horizontal(crs)
    metres = flat.axis_info[0].unit_conversion_factor * (_RADIAN if flat.is_geographic else 1.0)
    return metres * min(np.hypot(transform.a, transform.d), np.hypot(transform.b, transform.e))


def _without_lost_tiles(path):
    """What GDAL shall open in place of a mosaic some of whose tiles are not there, and words on that.

    GDAL itself fails at all that it reads together with such a tile."""
    if not path.lower().endswith(".vrt") or not Path(path).is_file():
        return path, ()
    try:
        root = ElementTree.parse(path).getroot()
    except ElementTree.ParseError:
        return path, ()
    lost = [
        (parent, source, text)
        for parent in root.iter()
        for source in list(parent)
        if (text := _lost_tile(source.find("SourceFilename"), Path(path).parent)) is not None
    ]
    if not lost:
        return path, ()
    for parent, source, text in lost:
        if parent.find("NoDataValue") is None or parent.find("HideNoDataValue") is not None:
            accepted = "tiles that exist, or a NoDataValue of the band to stand in their place"
            raise InputError(path, "SourceFilename", f"{text}, which is not there", accepted)
        parent.remove(source)
    for name in root.iter("SourceFilename"):
        if name.get("relativeToVRT") == "1":
            name.text = str((Path(path).parent / name.text.strip()).resolve())
            name.set("relativeToVRT", "0")
    names = dict.fromkeys(text for *_, text in lost)
    return ElementTree.tostring(root, "unicode"), (
        f"{len(names)} of its tiles are not there, {next(iter(names))} among them; what they covered is unknown",
    )


def _lost_tile(name, folder):
    """The name of a tile that is not there, or None."""
    text = "" if name is None else (name.text or "").strip()
    if not text or text.startswith("/vsi") or "://" in text:
        return None
    file = folder / text if name.get("relativeToVRT") == "1" else Path(text)
    return None if file.exists() else text


def _unit(dataset, crs, given):
    """As `height_unit`."""
    own, band = vertical_factor(crs), _known_unit(dataset.units[0])
    factor, unit, cautions, doubt = height_unit(crs, own if own is not None else band, given)
    if own is not None and band is not None and not np.isclose(own, band, rtol=1e-9):
        cautions.insert(0, f"the unit of the band ({dataset.units[0]}) is not that of its vertical CRS, which is used")
    return factor, unit, cautions, doubt


def height_unit(crs, stated, given):
    """Return metres per unit of height, the unit's name, what is to be said of it, and what speaks against it.

    Parameters
    ----------
    crs : CRS
        Of the file.
    stated : float or None
        What the file says [m].
    given : str or None
        What the study says: a key of `UNITS`.
    """
    if given is None and stated is None:
        axis = horizontal(crs).axis_info[0]
        feet = crs.is_projected and abs(axis.unit_conversion_factor - 1) > 1e-9
        said = "the unit of its heights is not stated; taken as metres"
        said += f", although its grid is in {axis.unit_name}: check, and set vertical_unit" if feet else ""
        return 1.0, "m (assumed)", [said], said if feet else ""
    if given is None:
        return stated, unit_name(stated), [], ""
    if stated is not None and not np.isclose(UNITS[given], stated, rtol=1e-9):
        said = f"heights are read in {given} as the study says, although the file says {unit_name(stated)}"
        return UNITS[given], given, [said], said
    return UNITS[given], given, [], ""


def _known_unit(text):
    named = (text or "").strip().lower()
    return next((UNITS[unit] for unit, names in _ALIASES.items() if named in names), None)


def unit_name(factor):
    """Return the unit of a factor to metres by its name, else the factor itself in metres."""
    return next(
        (unit for unit, value in UNITS.items() if np.isclose(value, factor, rtol=1e-9)),
        f"{factor:g} m",
    )


def _cautions(dataset):
    height, width = dataset.block_shapes[0]
    if dataset.count > 1:
        yield f"has {dataset.count} bands; the first is taken as heights"
    if width == dataset.width > 1024 and height < 64:
        yield "is stored in strips as wide as itself, which is slow along a line; store it in tiles"


def read_window(dataset, raster, row, column, height, width):
    """Return heights of a window that lies within the raster [m], and how many cells were no
    heights.

    Parameters
    ----------
    dataset : open rasterio data set
    raster : Raster
    row, column, height, width : int

    Returns
    -------
    heights : ndarray, shape (height, width)
        nan where the file says there is none, and where what it says cannot be one.
    absurd : int
        Cells not marked as empty whose value is not finite or not between -500 m and 9000 m.
    """
    try:
        raw = dataset.read(1, window=Window(column, row, width, height), masked=raster.masked)
    except RasterioError as error:
        raise InputError(
            raster.path,
            f"rows {row} to {row + height - 1}",
            f"cells that cannot be read ({_first_line(error)})",
            "a whole file",
        ) from None
    empty = _empty(np.ma.getdata(raw), raster.nodata) | np.ma.getmaskarray(raw)
    z = np.ma.getdata(raw).astype(np.float32 if raster.single else np.float64)
    if not raster.single:
        z = (z * raster.scale + raster.offset) * raster.factor
    z[empty] = np.nan
    absurd = ~((z >= LOWEST) & (z <= HIGHEST)) & ~empty
    z[absurd] = np.nan
    return z, np.count_nonzero(absurd)


def _empty(raw, nodata):
    if nodata is None or np.isnan(nodata):
        return np.isnan(raw) if raw.dtype.kind == "f" else np.zeros(raw.shape, bool)
    # A tag such as -9999.9 is stored in double; the cells hold its nearest neighbour in their own
    # kind.
    same = raw == (raw.dtype.type(nodata) if raw.dtype.kind == "f" else nodata)
    return same | np.isnan(raw) if raw.dtype.kind == "f" else same


def _first_line(error):
    return str(error).strip().splitlines()[0] if str(error).strip() else type(error).__name__
