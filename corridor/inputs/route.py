"""The order of structures along the line that they stand on, from a layer of lines."""

import numpy as np
import shapely
from pyproj import CRS, Transformer

from corridor.errors import InputError, nearest
from corridor.inputs.cells import plain_text
from corridor.inputs.frame import horizontal
from corridor.inputs.layers import open_layer, portions

__all__ = ["local_grid", "order_along"]


def local_grid(longitude, latitude):
    """Return a grid in metres, equidistant from the middle of places on WGS 84 [deg]."""
    return CRS.from_proj4(f"+proj=aeqd +lat_0={np.mean(latitude):.6f} +lon_0={np.mean(longitude):.6f} +datum=WGS84")


def order_along(route, path, longitude, latitude, lines, names):
    """Return the position of structures along their line, and what is to be said of it.

    Parameters
    ----------
    route : Route
        The table of the study.
    path : Path
        Its file.
    longitude, latitude : ndarray, shape (structure,)
        On WGS 84 [deg].
    lines, names : ndarray of str, shape (structure,)

    Returns
    -------
    order : ndarray, shape (structure,)
        From the start of the line, in an equidistant projection about the middle of the structures [m].
    words : tuple of str
        Of bends of the line at which no structure stands.

    Raises
    ------
    InputError
        No line, one in several pieces, or a structure farther from it than the reach.
    """
    layer = open_layer(path, route.layer, "structures.route")
    local = local_grid(longitude, latitude)
    ways = _ways(route, layer, local)
    points = shapely.points(*Transformer.from_crs("EPSG:4326", local, always_xy=True).transform(longitude, latitude))
    order, words = np.full(len(points), np.nan), []
    for line in dict.fromkeys(lines.tolist()):
        own = lines == line
        if route.line_column is not None and line not in ways:
            raise InputError(layer.path, f"layer {layer.name}", f"no line {line!r}", ", ".join(ways),
                             nearest(line, ways))
        way = ways[line if route.line_column is not None else None]
        away = shapely.distance(way, points[own])
        worst = int(np.argmax(away))
        if away[worst] > route.reach:
            far = int((away > route.reach).sum())
            raise InputError(layer.path, f"layer {layer.name}", f"structure {names[own][worst]}, {away[worst]:.1f} m "
                             f"from the line{f', the farthest of {far}' if far > 1 else ''}",
                             f"structures within {route.reach:g} m of it (structures.route.reach)")
        order[own] = shapely.line_locate_point(way, points[own])
        words += _bends(layer, way, points[own], route.reach)
    return order, tuple(words)


def _ways(route, layer, local):
    """One line for each name, in the local projection."""
    column = None if route.line_column is None else layer.require(route.line_column, "structures.route.line_column")
    change = Transformer.from_crs(horizontal(layer.crs), local, always_xy=True)
    parts = {}
    for portion in portions(layer, () if column is None else (column,)):
        shapes = shapely.force_2d(portion.geometry)
        for i, shape in enumerate(shapes):
            kind = None if portion.fault[i] else shape.geom_type
            if kind not in ("LineString", "MultiLineString"):
                raise InputError(layer.path, f"layer {layer.name}, feature {portion.fid[i]}",
                                 portion.fault[i] or f"a geometry of kind {kind}", "a line")
            moved = shapely.transform(shape, lambda xy: np.column_stack(change.transform(*xy.T)))
            parts.setdefault(None if column is None else plain_text(portion.columns[column][i]), []).append(moved)
    if not parts:
        raise InputError(layer.path, f"layer {layer.name}", "no lines", "the line that structures lie along")
    return {name: _joined(layer, name, shapes) for name, shapes in parts.items()}


def _joined(layer, name, shapes):
    """One line of pieces that join end to end, in the direction of the first."""
    pieces = shapely.get_parts(np.array(shapes, object))
    way = pieces[0] if len(pieces) == 1 else shapely.line_merge(shapely.multilinestrings(pieces))
    called = f"the line {name!r}" if name else "a line"
    if way.geom_type != "LineString" or way.is_ring:
        found = f"{called} that is closed" if way.is_ring else f"{called} of {len(way.geoms)} pieces that do not join"
        raise InputError(layer.path, f"layer {layer.name}", found, "pieces that join to one line with two ends",
                         "structures.route.line_column, where these are several lines")
    first = shapely.get_coordinates(pieces[0])
    ahead = shapely.line_locate_point(way, shapely.points(first[[0, -1]]))
    return way if ahead[0] < ahead[1] else shapely.reverse(way)


def _bends(layer, way, points, reach):
    """Vertices between the outermost structures that are none, and off the straight way between their neighbours."""
    places = shapely.get_coordinates(way)
    along = shapely.line_locate_point(way, shapely.points(places))
    order = np.sort(shapely.line_locate_point(way, points))
    inner = np.flatnonzero((along > order[0]) & (along < order[-1]))
    stops = shapely.get_coordinates(shapely.line_interpolate_point(way, order))
    chain = shapely.linestrings(stops) if len(stops) > 1 else None
    off = [] if chain is None else shapely.distance(chain, shapely.points(places[inner]))
    bare = int((np.asarray(off) > reach).sum())
    return [f"{layer.name}: the line of the structures bends at {bare} place{'s' * (bare > 1)} where no structure "
            "stands: is one missing?"] if bare else []
