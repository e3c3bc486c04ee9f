"""Areas of ground: the right-of-way, and what was cleared of all that stood there."""

import numpy as np
import shapely

from corridor.errors import InputError, nearest
from corridor.inputs.cells import plain_text
from corridor.inputs.layers import open_layer, portions
from corridor.inputs.obstacles import check_shape
from corridor.line.facts import RightOfWay

__all__ = ["CATEGORY", "read_cleared", "read_right_of_way"]

#: Column that says what was taken away of where polygons are, where that is not all.
CATEGORY = "surface_category"


def _polygons(path, layer, where, frame, column=None):
    """Polygons of a layer in the working frame, and what stands in a column, None without it; refuses a feature that is
    no sound polygon: an area with a part missing would be a wrong one."""
    layer = open_layer(path, layer, where)
    wanted = [column] if column in layer.fields else []
    read = list(portions(layer, wanted))
    if not read:
        raise InputError(layer.path, f"layer {layer.name}", "no polygons", f"polygons of {where}")
    fid, geometry, fault = (np.concatenate([getattr(p, name) for p in read]) for name in ("fid", "geometry", "fault"))
    geometry = frame.transform(shapely.force_2d(geometry), layer.crs)
    check_shape(geometry, fault)
    area = np.isin(shapely.get_type_id(geometry), (3, 6))
    fault[(fault == "") & ~area] = "a geometry that is no polygon"
    for index in np.flatnonzero(fault != "")[:1]:
        raise InputError(layer.path, f"layer {layer.name}, feature {fid[index]}", fault[index], "a sound polygon")
    return geometry, np.concatenate([p.columns[column] for p in read]) if wanted else np.full(len(fid), None)


def read_cleared(path, frame, categories):
    """Return where nothing of a surface stands any more: by category the union of polygons in the working frame, under
    None that of those which are for all.

    Parameters
    ----------
    path : path
        Of polygons; what `CATEGORY` says of one, where there is such a column and something stands there, is gone of
        it, and nothing else.
    frame : Frame
    categories : set of str
        Those of the surface.

    Raises
    ------
    InputError
        A feature that is no sound polygon, or a category that the surface has not.
    """
    geometry, category = _polygons(path, None, "terrain.surface_cleared", frame, CATEGORY)
    category = np.array([plain_text(value) or None for value in category.tolist()], object)
    for name in category[~np.isin(category, [None, *categories])][:1]:
        raise InputError(path, f"column {CATEGORY}", repr(name), ", ".join(sorted(categories)),
                         nearest(name, categories))
    return {name: shapely.union_all(geometry[category == name]) for name in dict.fromkeys(category.tolist())}


def read_right_of_way(section, resolve, frame):
    """Return the strip that the line may use; of polygons that are sound.

    Parameters
    ----------
    section : object or None
        The study's `right_of_way`, with `half_width` [m], or `file` and `layer` of polygons.
    resolve : callable
    frame : Frame

    Returns
    -------
    RightOfWay
        The union of all polygons.
    """
    if section is None:
        return RightOfWay()
    if section.half_width is not None:
        return RightOfWay(half_width=float(section.half_width))
    return RightOfWay(polygon=shapely.union_all(_polygons(
        resolve(section.file), section.layer, "right_of_way", frame)[0]))
