"""One layer of a vector file: opened with clear faults, read in portions."""

from dataclasses import dataclass

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError
from pyproj import CRS

from corridor.errors import InputError, nearest
from corridor.inputs.digest import digest
from corridor.inputs.frame import horizontal, read_crs, vertical, vertical_factor
from corridor.units import QuantityError, quantity, scale

__all__ = ["Layer", "LayerFacts", "Portion", "cells", "layer_facts", "numbers_within", "open_layer", "portions"]

#: Features held at once.
_PORTION = 100_000
#: Faults of a geometry.
NO_GEOMETRY, UNREADABLE = "no geometry", "the geometry cannot be read"


@dataclass(frozen=True)
class Layer:
    """A layer that opens: `fields` its columns, `crs` its CRS (pyproj), `features` how many it says
    to have."""

    path: str
    name: str
    crs: CRS
    fields: tuple[str, ...]
    features: int

    @property
    def height_factor(self):
        """Metres per unit of Z: what the CRS says, else 1."""
        return vertical_factor(self.crs) or 1.0

    def require(self, column, where):
        """Return a column's name, or raise InputError where the layer lacks it."""
        if column not in self.fields:
            raise InputError(
                self.path,
                f"layer {self.name}",
                f"no column {column!r} (from {where})",
                "one of " + ", ".join(self.fields),
                nearest(column, self.fields),
            )
        return column


@dataclass(frozen=True)
class LayerFacts:
    """What is written down of a layer that was used; `digest` is the SHA-256 of its file or
    files."""

    path: str
    layer: str
    digest: str
    crs: str
    vertical_crs: str
    unit: str
    features: int


@dataclass(frozen=True)
class Portion:
    """Some features of a layer: `fid` (feature,), `geometry` (feature,) of shapely geometries,
    missing ones None, `fault` "" or why one is missing, and `columns`, name to array."""

    fid: np.ndarray
    geometry: np.ndarray
    fault: np.ndarray
    columns: dict


def open_layer(path, layer, where):
    """Return a layer of a vector file.

    Parameters
    ----------
    path : path or str
        A file or folder that GDAL reads.
    layer : str or None
        None: the only one.
    where : str
        The key of the study that names it.

    Raises
    ------
    InputError
        No such file or layer, more than one to choose from, or no CRS.
    """
    path = str(path)
    try:
        listed = pyogrio.list_layers(path)
        known = [name for name, _ in listed]
        names = [name for name, kind in listed if kind is not None] or known
        chosen = _choose(path, layer, where, known, names)
        info = pyogrio.read_info(path, layer=chosen, force_feature_count=True)
    except (DataSourceError, DataLayerError) as error:
        raise InputError(
            path,
            where,
            f"no readable vector file ({error})",
            "a GeoPackage, a shapefile, GeoJSON, CSV or another kind that is read",
        ) from None
    crs = read_crs(info["crs"], path, f"layer {chosen}")
    if crs is None:
        raise InputError(
            path,
            f"layer {chosen}",
            "no CRS",
            "a layer that says in which CRS it is",
            "assign the CRS it was drawn in",
        )
    flat = horizontal(crs)
    if not (flat.is_projected or flat.is_geographic):
        raise InputError(
            path,
            f"layer {chosen}",
            f"the CRS {crs.name}, which is not tied to the Earth",
            "a projected or geographic CRS",
        )
    return Layer(path, chosen, crs, tuple(info["fields"]), int(info["features"]))


def _choose(path, layer, where, known, spatial):
    if layer is None:
        if len(spatial) != 1:
            raise InputError(path, f"{where}.layer", "none named", "one of " + ", ".join(known))
        return spatial[0]
    if layer not in known:
        raise InputError(
            path,
            f"{where}.layer",
            f"{layer!r}",
            "one of " + ", ".join(known),
            nearest(layer, known),
        )
    return layer


def layer_facts(layer):
    """Return what is written down of a layer; its file is read once in full, for the digest."""
    heights, factor = vertical(layer.crs), vertical_factor(layer.crs)
    return LayerFacts(
        layer.path,
        layer.name,
        digest(layer.path),
        horizontal(layer.crs).name,
        heights.name if heights is not None else "not stated",
        f"{factor:g} m" if factor else "m (assumed)",
        layer.features,
    )


def numbers_within(layer, boxes):
    """Return the numbers (fid) of features whose extent meets one of some boxes (box, 4) in the layer's CRS, ascending,
    by the spatial index of the layer, where it has one."""
    found = [_asked(layer, [], read_geometry=False, bbox=tuple(box))[1] for box in boxes]
    return np.unique(np.concatenate([np.empty(0, np.int64), *found]))


def portions(layer, columns, numbers=None):
    """Yield all features of a layer, or those of some numbers (fid), portion by portion; curves are made of short lines
    by GDAL."""
    wanted = list(dict.fromkeys(columns))
    for first in range(0, 0 if numbers is None else len(numbers), _PORTION):
        meta, fid, wkb, data = _asked(layer, wanted, fids=numbers[first:first + _PORTION])
        yield _portion(fid, wkb, dict(zip(meta["fields"], data, strict=True)))
    skip = 0
    while numbers is None:
        meta, fid, wkb, data = _asked(layer, wanted, skip_features=skip, max_features=_PORTION)
        if len(fid):
            yield _portion(fid, wkb, dict(zip(meta["fields"], data, strict=True)))
        if len(fid) < _PORTION:
            return
        skip += _PORTION


def _asked(layer, wanted, **which):
    """Some features as GDAL reads them."""
    try:
        return pyogrio.raw.read(
            layer.path,
            layer=layer.name,
            columns=wanted,
            return_fids=True,
            **which,
        )
    except FeatureError as error:
        raise InputError(layer.path, f"layer {layer.name}", str(error), "features that can be read") from error


def _portion(fid, wkb, columns):
    wkb = np.full(len(fid), None, object) if wkb is None else wkb
    missing = np.array([w is None for w in wkb], bool)
    geometry = shapely.from_wkb(wkb, on_invalid="ignore")
    fault = np.where(missing | shapely.is_empty(geometry), NO_GEOMETRY, "")
    fault = np.where(~missing & shapely.is_missing(geometry), UNREADABLE, fault)
    return Portion(fid, geometry, fault.astype(object), columns)


def cells(values, kind, unit=None):
    """Return a column as numbers in the SI unit of a kind, and a fault for each cell that is none.

    Parameters
    ----------
    values : ndarray
        Numbers in that unit, or text with or without one; missing ones None or nan.
    kind : str
        A key of `corridor.units.KINDS`.
    unit : str or None
        The unit of numbers without one; None: the SI unit.

    Returns
    -------
    numbers : ndarray
        nan where missing or at fault.
    fault : ndarray of str
        "" where it is a number, "missing", or what stands there.
    """
    if values.dtype.kind in "iuf":
        factor, offset = scale(unit, kind)
        numbers = values.astype(float) * factor + offset
        return np.where(np.isfinite(numbers), numbers, np.nan), np.where(
            np.isnan(numbers), "missing", np.where(np.isinf(numbers), "infinite", "")
        ).astype(object)
    read = {value: _cell(value, kind, unit) for value in set(values.tolist())}
    pairs = [read[value] for value in values.tolist()]
    return np.array([p[0] for p in pairs], float), np.array([p[1] for p in pairs], object)


def _cell(value, kind, unit):
    if value is None or value != value or not str(value).strip():
        return np.nan, "missing"
    try:
        return quantity(value, kind, plain_text=True, unit=unit), ""
    except QuantityError:
        return np.nan, f"{value!r}"
