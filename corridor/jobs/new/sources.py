"""Layers of somebody's files: which there are, of what geometry, and how their places are read."""

from types import SimpleNamespace

import numpy as np
import pyogrio
from pyogrio.errors import DataSourceError

from corridor.errors import InputError
from corridor.inputs.frame import horizontal
from corridor.inputs.layers import open_layer, portions
from corridor.jobs.new.names import PLACES, plain

__all__ = ["Found", "crs_text", "found_layers", "linear_unit"]

#: Metres of a foot of the United States' surveys; the other foot is 0.3048 m.
_SURVEY_FOOT = 1200 / 3937


class Found:
    """A layer that opens: `layer`, and what the study writes of where it is: `file`, `name` (None: the only one),
    `places` columns of x and y, and `crs` where the study must say it."""

    def __init__(self, path, name, only, places, crs, where):
        self.path, self.name, self.places = path, None if only else name, places
        section = SimpleNamespace(crs=crs, where=(), values=(), x_column=places and places[0],
                                  y_column=places and places[1])
        self.layer = open_layer(path, name, where, section, {})
        self.crs = crs

    def read(self, columns=()):
        """Return geometries, faults and columns of all rows."""
        parts = list(portions(self.layer, columns))
        if not parts:
            raise InputError(self.path, f"layer {self.layer.name}", "no rows", "one or more")
        return (np.concatenate([part.geometry for part in parts]), np.concatenate([part.fault for part in parts]),
                {name: np.concatenate([part.columns[name] for part in parts]) for name in columns})

    def write(self, draft, file):
        """Write where the layer is into a table of a study."""
        draft.put("file", file)
        if self.name is not None:
            draft.put("layer", self.name)
        if self.places is not None:
            draft.put("x_column", self.places[0])
            draft.put("y_column", self.places[1])
        if self.crs is not None:
            draft.put("crs", self.crs)


def found_layers(path, where, crs):
    """Return the layers of a file that have places: geometries, or columns of x and y.

    Parameters
    ----------
    path : Path
    where : str
        The option that names it, for the error.
    crs : str or None
        CRS of a table without geometry.

    Raises
    ------
    InputError
        It is no vector file, no layer has places, or a table has none that says its CRS.
    """
    if not path.exists():
        raise InputError(path, where, "no such file", "a file that exists")
    try:
        listed = [(str(name), kind) for name, kind in pyogrio.list_layers(path)]
    except DataSourceError as error:
        raise InputError(path, where, f"no readable vector file ({error})",
                         "a GeoPackage, a shapefile, GeoJSON, CSV or another kind that is read") from None
    bare = {name: pyogrio.read_info(path, layer=name)["crs"] is None for name, _ in listed}
    lost = next((name for name, kind in listed if kind is not None and bare[name]), None)
    if lost is not None and crs is None:
        raise InputError(path, f"layer {lost}", "no CRS", "a layer that says in which CRS it is, or one by --crs")
    found = [Found(path, name, len(listed) == 1, None, crs if bare[name] else None, where)
             for name, kind in listed if kind is not None]
    for name, _ in listed if not found else ():
        columns = {plain(field): field for field in pyogrio.read_info(path, layer=name)["fields"]}
        places = next(((columns[x], columns[y], degrees) for x, y, degrees in PLACES if {x, y} <= set(columns)), None)
        if places is not None:
            given = "EPSG:4326" if places[2] else crs
            if given is None:
                raise InputError(path, where, f"columns {places[0]} and {places[1]}, and no CRS",
                                 "a CRS by --crs, such as EPSG:25832")
            found.append(Found(path, name, len(listed) == 1, places[:2], given, where))
    if not found:
        raise InputError(path, where, "no geometry, and no columns of places such as x and y",
                         "a layer with geometries, or a table with such columns and --crs")
    return found


def crs_text(crs):
    """Return what a study writes for the horizontal part of a CRS."""
    flat = horizontal(crs)
    known = flat.to_authority()
    return ":".join(known) if known else flat.to_wkt()


def linear_unit(crs):
    """Return the unit of length of a CRS's own axes: m, ft or us-ft; of degrees m."""
    factor = 1.0 if horizontal(crs).is_geographic else horizontal(crs).axis_info[0].unit_conversion_factor
    if abs(factor - 1) < 0.1:
        return "m"
    return "us-ft" if abs(factor - _SURVEY_FOOT) < 1e-7 else "ft"
