"""What stands about a line, as drawings and the page need it."""

import numpy as np
import shapely

from corridor.clearance.parcels import PARCEL
from corridor.outputs.cuts import About

__all__ = ["about_line"]


def about_line(inputs, ground, lines, ground_factor):
    """Return what stands about a line.

    Parameters
    ----------
    inputs : corridor.opened.Inputs
    ground : corridor.opened.Ground
    lines : ndarray of shapely geometry, shape (span,)
        Spans in plan.
    ground_factor : ndarray, shape (span,)
        Distances on the ground over those in the grid.

    Returns
    -------
    About
    """
    index, obstacles = inputs.index, inputs.index.obstacles
    own = (column[index.of_part] for column in (obstacles.obstacle, obstacles.height, obstacles.radius))
    return About(ground.sample, shapely.force_2d(index.part), *own, _edge(inputs.right_of_way, lines, ground_factor),
                 None if inputs.surface is None else lambda e, n: inputs.surface.standing(
                     e, n, ground.sample, inputs.study.terrain.surface_above), *_parcels(obstacles))


def _parcels(obstacles):
    """Parcels of land as single polygons, and the name of each."""
    land = np.flatnonzero((obstacles.fault == "") & (obstacles.category == PARCEL))
    part, of = shapely.get_parts(shapely.force_2d(obstacles.geometry[land]), return_index=True)
    return part, obstacles.obstacle[land[of]]


def _edge(way, lines, ground_factor):
    """The edge of the right-of-way as lines, None where the study has none."""
    area = way.polygon
    if way.half_width is not None:
        area = shapely.union_all(shapely.buffer(shapely.force_2d(lines), way.half_width / ground_factor.mean()))
    return None if area is None else shapely.boundary(area)
