"""What swings over parcels of land: the area of each swing envelope above them, and how far it stays from others."""

import numpy as np
import shapely

__all__ = ["PARCEL", "parcel_rows"]

PARCEL = "parcel"
#: Parcels farther from an envelope than this are not told [m].
_NEAR = 30.0


def parcel_rows(scene, envelopes):
    """Return the rows of `parcels`.

    Parameters
    ----------
    scene : Scene
    envelopes : dict of ndarray
        Rows of `swing_envelopes`.

    Returns
    -------
    dict of ndarray
        One row per envelope and parcel over it or within 30 m of it.
    """
    obstacles, spans = scene.obstacles, scene.spans
    parcel = np.flatnonzero((obstacles.category == PARCEL) & (obstacles.fault == ""))
    area, land = envelopes["geometry"], obstacles.geometry[parcel]
    row, at = shapely.STRtree(land).query(area, predicate="dwithin", distance=_NEAR)
    order = np.lexsort((at, row))
    row, at = row[order], at[order]
    factors = dict(zip(zip(spans.line, spans.name, strict=True), spans.ground_factor, strict=True))
    keys = zip(envelopes["line"][row], envelopes["span"][row], strict=True)
    factor = np.array([factors[key] for key in keys], float)
    over = shapely.intersection(area[row], shapely.force_2d(land[at]))
    size = shapely.area(over) * factor**2
    return {name: envelopes[name][row] for name in ("line", "span", "option", "case")} | {
        "parcel": obstacles.obstacle[parcel][at], "overlap_m2": size,
        "distance_m": shapely.distance(area[row], land[at]) * factor,
        "geometry": _areas(over)}


def _areas(shapes):
    """The areas of overlaps, each as one multipolygon; None where there is none."""
    areas = np.full(len(shapes), None, object)
    for i, shape in enumerate(shapes):
        parts = [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon" and part.area > 0]
        areas[i] = shapely.multipolygons(parts) if parts else None
    return areas
