"""Where wires get to in wind, in plan: one envelope per span, option and case, and the room it leaves by side."""

import numpy as np
import shapely

from corridor.arrays import names_of
from corridor.clearance.right_of_way import rooms
from corridor.clearance.swung_wires import hung_curves
from corridor.clearance.v_strings import slack_wires
from corridor.line.swing import to_grid

__all__ = ["envelope_rows"]


def envelope_rows(scene, way):
    """Return the rows of `swing_envelopes`.

    Parameters
    ----------
    scene : Scene
    way : RightOfWay

    Returns
    -------
    dict of ndarray
        One row per span, option and case with wind in which every wire of the span has an answer. A span of which a
        wire has none, or hangs from a V-string with a slack arm, gets no envelope: it would be too small.
    """
    cases = np.array([k for k, case in enumerate(scene.cases) if case.wind > 0], int)
    swung = hung_curves(scene.hung, cases)
    room, outermost = _room(scene, way, swung), np.stack([-swung.points[..., 1, :, 1], swung.points[..., 0, :, 1]], -2)
    aside = scene.reach.aside[:, :, cases]
    room_by_side = _per_span(scene, room.min(axis=-1) - aside[..., None], np.minimum)
    reach = _per_span(scene, outermost.max(axis=-1) + aside[..., None], np.maximum)
    slack = _per_span(scene, slack_wires(scene)[:, :, cases], np.maximum)
    whole = np.isfinite(reach).all(axis=-1) & (slack == 0)
    s, o, k = np.nonzero(whole)
    factor, wider = scene.spans.ground_factor[s], _per_span(scene, aside, np.maximum)[s, o, k]
    area = _areas(scene, swung)[s, o, k]
    area[wider > 0] = shapely.buffer(area[wider > 0], (wider / factor)[wider > 0])
    outside = shapely.area(shapely.difference(area, _strips(scene, way, s))) * factor**2
    return {
        "line": scene.spans.line[s], "span": scene.spans.name[s],
        "option": names_of(scene.options)[o],
        "case": np.array([scene.cases[c].name for c in cases], object)[k],
        "reach_left_m": reach[s, o, k, 0], "reach_right_m": reach[s, o, k, 1],
        "room_left_m": room_by_side[s, o, k, 0], "room_right_m": room_by_side[s, o, k, 1],
        "area_m2": shapely.area(area) * factor**2, "area_outside_m2": outside, "geometry": area,
    }


def _has(way):
    return way.half_width is not None or way.polygon is not None


def _room(scene, way, swung):
    """Distance to the edge (wire span, option, case, side left and right, place), nan without a right-of-way."""
    if not _has(way):
        return np.full(swung.points.shape[:-1], np.nan)
    return rooms(swung, scene.wires, scene.spans, scene.structures, way)[0][..., ::-1, :]


def _per_span(scene, values, best):
    """The least or greatest of all wires of each span; nan where one of them is not known."""
    result = np.full((len(scene.spans), *values.shape[1:]), np.inf if best is np.minimum else -np.inf)
    best.at(result, scene.wires.span, values)
    return np.where(np.isfinite(result), result, np.nan)


def _areas(scene, swung):
    """Hull in plan of all wires of each span blown to both sides, (span, option, case); None where one is unknown."""
    grid = to_grid(swung.points, scene.structures, scene.spans, scene.wires.span)[..., :2]
    shape = (len(scene.spans), *grid.shape[1:3])
    result = np.full(shape, None, object)
    for span in np.unique(scene.wires.span):
        points = np.moveaxis(grid[scene.wires.span == span], 0, 2)
        points = points.reshape(*shape[1:], int(np.prod(points.shape[2:-1])), 2)
        known = np.isfinite(points).all(axis=(-1, -2))
        if known.any():
            result[span][known] = shapely.convex_hull(shapely.multipoints(points[known]))
    return result


def _strips(scene, way, span):
    """The right-of-way beside each row's span, in plan; empty where there is none to be outside of."""
    if way.polygon is not None:
        return np.full(len(span), way.polygon, object)
    if way.half_width is None:
        return np.full(len(span), None, object)
    s, structures = scene.spans, scene.structures
    ends = [np.stack([structures.easting[i[span]], structures.northing[i[span]]], axis=-1) for i in (s.tail, s.head)]
    return shapely.buffer(shapely.linestrings(np.stack(ends, axis=1)), way.half_width / s.ground_factor[span],
                          quad_segs=32)
