"""One layer of a vector file: opened with clear faults, read in portions."""

from collections import Counter
from dataclasses import dataclass, field, replace

import numpy as np
import pyogrio
import pyogrio.raw
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, FeatureError
from pyproj import CRS

from corridor.errors import InputError, nearest
from corridor.inputs.digest import digest
from corridor.inputs.frame import horizontal, read_crs, vertical, vertical_factor
from corridor.inputs.selection import ALL, Selection, left_words, selection_of

__all__ = ["Layer", "LayerFacts", "Portion", "layer_facts", "numbers_within", "open_layer", "portions"]

#: Features held at once.
_PORTION = 100_000
#: Faults of a geometry.
NO_GEOMETRY, UNREADABLE = "no geometry", "the geometry cannot be read"


@dataclass(frozen=True)
class Layer:
    """A layer that opens: `fields` its columns, `crs` its CRS (pyproj), `features` how many it says
    to have; `selection` which of its rows count and what their values mean."""

    path: str
    name: str
    crs: CRS
    fields: tuple[str, ...]
    features: int
    selection: Selection = ALL

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
    missing ones None, `fault` "" or why one is missing, and `columns`, name to array; `left_out` the values for which
    rows were left out, each with how many."""

    fid: np.ndarray
    geometry: np.ndarray
    fault: np.ndarray
    columns: dict
    left_out: Counter = field(default_factory=Counter)


def open_layer(path, layer, where, section=None, names=None):
    """Return a layer of a vector file.

    Parameters
    ----------
    path : path or str
        A file or folder that GDAL reads.
    layer : str or None
        None: the only one.
    where : str
        The key of the study that names it.
    section : Source, optional
        The table of the study that names it, which may tell its CRS.
    names : mapping, optional
        Names of the layer's columns by the keys of `values`: it is read as the table asks, with the rows that count,
        what values mean and columns of places. Without them all rows are as they stand.

    Raises
    ------
    InputError
        No such file, layer or column, more than one layer to choose from, no CRS, or one that differs from the CRS
        that the study gives.
    """
    path = str(path)
    try:
        listed = pyogrio.list_layers(path)
        known = [name for name, _ in listed]
        spatial = [name for name, kind in listed if kind is not None] or known
        chosen = _choose(path, layer, where, known, spatial)
        info = pyogrio.read_info(path, layer=chosen, force_feature_count=True)
    except (DataSourceError, DataLayerError) as error:
        raise InputError(
            path,
            where,
            f"no readable vector file ({error})",
            "a GeoPackage, a shapefile, GeoJSON, CSV or another kind that is read",
        ) from None
    crs = _crs_of(info["crs"], section, path, chosen, where)
    if crs is None:
        raise InputError(
            path,
            f"layer {chosen}",
            "no CRS",
            "a layer that says in which CRS it is",
            f"assign the CRS it was drawn in, or give {where}.crs",
        )
    flat = horizontal(crs)
    if not (flat.is_projected or flat.is_geographic):
        raise InputError(
            path,
            f"layer {chosen}",
            f"the CRS {crs.name}, which is not tied to the Earth",
            "a projected or geographic CRS",
        )
    opened = Layer(path, chosen, crs, tuple(info["fields"]), int(info["features"]))
    return opened if names is None else replace(opened, selection=selection_of(section, opened, where, names))


def _crs_of(own, section, path, name, where):
    """The CRS that a layer says, else that of the study; both where they are one."""
    said, given = read_crs(own, path, f"layer {name}"), getattr(section, "crs", None)
    given = read_crs(given, path, f"{where}.crs")
    if said is not None and given is not None and horizontal(said) != horizontal(given):
        raise InputError(path, f"{where}.crs", f"{given.name}, but layer {name} says {said.name}",
                         "the CRS of the layer, or no such key")
    return given if said is None else said


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
    """Yield all features of a layer that count, or those of some numbers (fid), portion by portion; curves are made of
    short lines by GDAL.

    Raises
    ------
    InputError
        Its rows cannot be read, none of them counts, or a value has no meaning.
    """
    chosen, kept, left_out = layer.selection, 0, Counter()
    wanted = list(dict.fromkeys([*columns, *(chosen.places or ()), *(name for name, _ in chosen.where)]))
    for meta, fid, wkb, data in _chunks(layer, wanted, numbers):
        part = chosen.of(layer, _portion(fid, wkb, dict(zip(meta["fields"], data, strict=True))))
        kept += len(part.fid)
        left_out += part.left_out
        yield part
    if left_out and not kept and numbers is None:
        raise InputError(layer.path, f"layer {layer.name}, where", f"no row that counts of {left_out.total()}",
                         "values that stand there", left_words(left_out))


def _chunks(layer, wanted, numbers):
    """All features of a layer, or those of some numbers, as GDAL reads them, not too many at a time."""
    for first in range(0, 0 if numbers is None else len(numbers), _PORTION):
        yield _asked(layer, wanted, fids=numbers[first:first + _PORTION])
    skip = 0
    while numbers is None:
        read = _asked(layer, wanted, skip_features=skip, max_features=_PORTION)
        if len(read[1]):
            yield read
        if len(read[1]) < _PORTION:
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
            **{"read_geometry": layer.selection.places is None} | which,
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
