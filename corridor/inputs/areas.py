"""Areas of ground: the right-of-way, and what was cleared of all that stood there."""

import numpy as np
import shapely

from corridor.errors import InputError
from corridor.inputs.layers import open_layer, portions
from corridor.inputs.obstacles import check_shape
from corridor.line.facts import RightOfWay

__all__ = ["read_area", "read_right_of_way"]


def read_area(path, layer, where, frame):
    """Return the union of all polygons of a layer, in the working frame.

    Parameters
    ----------
    path : path
    layer : str or None
        Its name; None: the only one.
    where : str
        The key of the study that named it.
    frame : Frame

    Raises
    ------
    InputError
        A feature that is no sound polygon: an area with a part missing would be a wrong one.
    """
    layer = open_layer(path, layer, where)
    read = list(portions(layer, ()))
    if not read:
        raise InputError(layer.path, f"layer {layer.name}", "no polygons", f"polygons of {where}")
    fid, geometry, fault = (np.concatenate([getattr(p, name) for p in read]) for name in ("fid", "geometry", "fault"))
    geometry = frame.transform(shapely.force_2d(geometry), layer.crs)
    check_shape(geometry, fault)
    area = np.isin(shapely.get_type_id(geometry), (3, 6))
    fault[(fault == "") & ~area] = "a geometry that is no polygon"
    for index in np.flatnonzero(fault != "")[:1]:
        raise InputError(layer.path, f"layer {layer.name}, feature {fid[index]}", fault[index], "a sound polygon")
    return shapely.union_all(geometry)


def read_right_of_way(section, resolve, frame):
    """Return the strip that the line may use; errors as of `read_area`.

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
    return RightOfWay(polygon=read_area(resolve(section.file), section.layer, "right_of_way", frame))
