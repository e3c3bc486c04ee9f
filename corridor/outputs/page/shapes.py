"""What stands about the line, as shapes for a map: ragged coordinates in decimetres."""

import numpy as np
import shapely

__all__ = ["pack_shapes"]

#: What is further from the line than this is not drawn [m], and by how much outlines may be simplified [m].
NEAR, TOLERANCE = 300.0, 0.4
#: Kinds of shape: a point with a radius, a line, an area.
POINT, LINE, AREA = 0, 1, 2
_KINDS = {0: POINT, 1: LINE, 2: LINE, 3: AREA}


def pack_shapes(parts, names, categories, radius, route, packer):
    """Return the shapes near a line, one per geometry.

    Parameters
    ----------
    parts : ndarray of shapely geometry, shape (part,)
        Single points, lines or polygons.
    names, categories : ndarray of str, shape (part,)
    radius : ndarray, shape (part,)
        Half width of lines and points [m], nan where there is none.
    route : ndarray, shape (span, 2, 2)
        Ends of the spans [m].
    packer : Packer
    """
    kind = np.array([_KINDS.get(i, -1) for i in shapely.get_type_id(parts)], int)
    near = np.zeros(len(parts), bool)
    if len(parts):
        near[np.unique(shapely.STRtree(parts).query(shapely.linestrings(route), "dwithin", distance=NEAR)[1])] = True
    kept = np.flatnonzero(near & (kind >= 0))
    flat = shapely.force_2d(parts[kept])
    outline = np.where(kind[kept] == AREA, shapely.get_exterior_ring(flat), flat)
    outline = np.where(kind[kept] == POINT, outline, shapely.simplify(outline, TOLERANCE))
    places = shapely.get_coordinates(outline)
    origin = np.floor(places.min(axis=0)) if len(places) else np.zeros(2)
    first = np.concatenate([[0], np.cumsum(shapely.get_num_coordinates(outline))])
    return {"origin": origin.tolist(), "first": packer.array(first.astype("int32")),
            "kind": packer.array(kind[kept].astype("uint8")), "name": packer.codes(names[kept]),
            "category": packer.codes(categories[kept]), "radius": packer.whole(radius[kept], 0.1, "int16"),
            "e": packer.whole(places[:, 0] - origin[0], 0.1), "n": packer.whole(places[:, 1] - origin[1], 0.1)}
