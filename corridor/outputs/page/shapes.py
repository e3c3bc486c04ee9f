"""What stands about the line, and what wires sweep, as shapes for a map: ragged coordinates in decimetres."""

import numpy as np
import shapely

__all__ = ["near_shapes", "pack_envelopes", "pack_outlines", "pack_shapes"]

#: What is further from the line than this is not drawn [m], and by how much outlines may be simplified [m].
NEAR, TOLERANCE = 300.0, 0.4
#: Kinds of shape: a point with a radius, a line, an area.
POINT, LINE, AREA = 0, 1, 2
_KINDS = {0: POINT, 1: LINE, 2: LINE, 3: AREA}


def pack_outlines(shapes, packer):
    """Return the outlines of points, lines and polygons: pieces, each a run of places, and the pieces of each shape.

    The first piece of a polygon is its shell, the others are its holes.

    Parameters
    ----------
    shapes : ndarray of shapely geometry, shape (shape,)
    packer : Packer
    """
    flat = shapely.force_2d(shapes)
    area = shapely.get_type_id(flat) == 3
    rings, of_ring = shapely.get_rings(flat[area], return_index=True)
    pieces = np.concatenate([rings, flat[~area]])
    of = np.concatenate([np.flatnonzero(area)[of_ring], np.flatnonzero(~area)]).astype(int)
    order = np.argsort(of, kind="stable")
    pieces, of = pieces[order], of[order]
    places = shapely.get_coordinates(pieces)
    origin = np.floor(places.min(axis=0)) if len(places) else np.zeros(2)
    first = np.concatenate([[0], np.cumsum(shapely.get_num_coordinates(pieces))])
    return {"origin": origin.tolist(), "place": packer.array(first.astype("int32")),
            "piece": packer.array(np.searchsorted(of, np.arange(len(flat) + 1)).astype("int32")),
            "e": packer.whole(places[:, 0] - origin[0], 0.1), "n": packer.whole(places[:, 1] - origin[1], 0.1)}


def near_shapes(parts, route):
    """Return which shapes are drawn: those near a line, numbers of parts in their order; see `pack_shapes`."""
    near = np.zeros(len(parts), bool)
    if len(parts):
        near[np.unique(shapely.STRtree(parts).query(shapely.linestrings(route), "dwithin", distance=NEAR)[1])] = True
    return np.flatnonzero(near & (_kinds(parts) >= 0))


def _kinds(parts):
    return np.array([_KINDS.get(i, -1) for i in shapely.get_type_id(parts)], int)


def pack_shapes(parts, names, categories, radius, route, packer, foot=None, top=None):
    """Return the shapes near a line, one per geometry; a line with a width is the area that it covers.

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
    foot, top : ndarray, shape (part,), optional
        Elevations of what stands at a point [m], nan where it is not known.
    """
    kind, kept = _kinds(parts), near_shapes(parts, route)
    shapes, kind, radius = shapely.force_2d(parts[kept]), kind[kept], radius[kept]
    wide = (kind == LINE) & (radius > 0)
    shapes[wide] = shapely.buffer(shapes[wide], radius[wide], cap_style="flat", quad_segs=4)
    kind[wide & (shapely.get_type_id(shapes) == 3)] = AREA
    shapes = np.where(kind == POINT, shapes, shapely.simplify(shapes, TOLERANCE))
    foot, top = (np.full(len(kept), np.nan) if each is None else each[kept] for each in (foot, top))
    return pack_outlines(shapes, packer) | {
        "kind": packer.array(kind.astype("uint8")), "name": packer.codes(names[kept]),
        "category": packer.codes(categories[kept]), "radius": packer.whole(radius, 0.1, "int16"),
        "foot": packer.whole(foot, 0.01), "top": packer.whole(top, 0.01)}


def pack_envelopes(columns, order, first, keys, packer):
    """Return the areas that wires sweep, sorted by span.

    Parameters
    ----------
    columns : dict of ndarray
        The layer `swing_envelopes`.
    order, first : ndarray of int
        Order that sorts rows by span, and where each span begins in it.
    keys : dict
        Packed columns of option and case, sorted.
    packer : Packer
    """
    room = np.fmin(columns["room_left_m"].astype(float), columns["room_right_m"].astype(float))
    shapes = shapely.simplify(columns["geometry"][order], TOLERANCE / 2)
    return pack_outlines(shapes, packer) | keys | {
        "first": packer.array(first), "room_m": packer.whole(room[order], 1e-3, down=True)}
