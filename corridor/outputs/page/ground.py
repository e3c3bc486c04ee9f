"""The ground as a page shows it: shaded along the corridor, and its profile below each span."""

import numpy as np
from scipy.spatial import cKDTree

__all__ = ["Shading", "ground_lines", "shade"]

#: Pixels of shaded ground and nodes of profiles that a page holds at most.
PIXELS, NODES = 1_000_000, 300_000
#: How far beside the line the ground is shown [m], and the finest steps of the picture and of profiles [m].
REACH, CELL, STEP = 450.0, 5.0, 3.0
#: Pixels along a side of a tile.
TILE = 64
#: Pixels sampled at a time.
_BATCH = 200_000


class Shading:
    """Tiles of shaded ground.

    `cell` [m] side of a pixel; `west`, `north` [m] corner of each tile, shape (tile,); `light` and `height` uint8 of
    shape (tile, TILE, TILE), rows from the north: light 1 to 255, 0 where the ground is not known or far; height from
    the lowest (0) to the highest (255).
    """

    def __init__(self, cell, west, north, elevation):
        self.cell, self.west, self.north = cell, west, north
        inner = elevation[:, 1:-1, 1:-1]
        self.light = _light(elevation, cell)
        low, high = np.nanmin(inner, initial=np.inf), np.nanmax(inner, initial=-np.inf)
        share = (inner - low) / max(high - low, 1e-9) if high > low else np.zeros(inner.shape)
        self.height = np.nan_to_num(255 * share).astype("uint8")


def shade(sample, route, *, cell=CELL, reach=REACH):
    """Return the ground about a line, shaded.

    Parameters
    ----------
    sample : callable
        `sample(easting, northing)` is the elevation [m], nan where unknown.
    route : ndarray, shape (span, 2, 2)
        Ends of the spans, easting and northing [m].
    cell : float
        Side of a pixel at least [m]; a long corridor gets larger ones.
    reach : float
        How far from the line the ground is shown [m].
    """
    length = np.linalg.norm(route[:, 1] - route[:, 0], axis=-1).sum()
    cell = max(cell, np.sqrt(2 * reach * (length + 2 * reach) / PIXELS))
    tree = cKDTree(_dense(route, cell))
    west, north = _tiles(route, TILE * cell, reach)
    steps = (np.arange(-1, TILE + 1) + 0.5) * cell
    elevation = np.full((len(west), TILE + 2, TILE + 2), np.nan)
    size = max(_BATCH // (TILE + 2) ** 2, 1)
    for first in range(0, len(west), size):
        some = slice(first, first + size)
        e, n = np.broadcast_arrays(west[some, None, None] + steps, north[some, None, None] - steps[:, None])
        distance, _ = tree.query(np.stack([e, n], axis=-1), distance_upper_bound=reach)
        near = np.isfinite(distance)
        elevation[some][near] = sample(e[near], n[near])
    return Shading(cell, west, north, elevation)


def _dense(route, step):
    """Places along the line no further apart than a step."""
    ends = np.linalg.norm(route[:, 1] - route[:, 0], axis=-1)
    count = np.ceil(ends / step).astype(int) + 1
    which = np.repeat(np.arange(len(route)), count)
    share = (np.arange(len(which)) - np.repeat(np.cumsum(count) - count, count)) / np.maximum(count - 1, 1)[which]
    return route[which, 0] + share[:, None] * (route[which, 1] - route[which, 0])


def _tiles(route, side, reach):
    """North-west corners of the tiles that come within reach of the line."""
    spots = _dense(route, side / 2)
    around = np.linspace(-reach, reach, 2 + int(2 * reach // (side / 2)))
    offset = np.stack(np.meshgrid(around, around), axis=-1).reshape(-1, 2)
    column, row = np.unique(np.floor((spots[:, None] + offset) / side).astype(int).reshape(-1, 2), axis=0).T
    return column * side, (row + 1) * side


def _light(elevation, cell):
    """Light from the north-west on a slope, 1 to 255; 0 where it is not known (Lambert's cosine law)."""
    east = (elevation[:, 1:-1, 2:] - elevation[:, 1:-1, :-2]) / (2 * cell)
    north = (elevation[:, :-2, 1:-1] - elevation[:, 2:, 1:-1]) / (2 * cell)
    sun = np.array([-0.5, 0.5, np.sqrt(0.5)])
    exaggeration = 2.0
    slope = exaggeration * east, exaggeration * north
    cosine = (sun[2] - sun[0] * slope[0] - sun[1] * slope[1]) / np.sqrt(1 + slope[0] ** 2 + slope[1] ** 2)
    light = 1 + 254 * np.clip(cosine, 0, 1)
    return np.where(np.isnan(light), 0, light).astype("uint8")


def ground_lines(sample, route, length, offsets):
    """Return the ground below each span: along its chord, and beside it at the outermost wires.

    Parameters
    ----------
    sample : callable
    route : ndarray, shape (span, 2, 2)
    length : ndarray, shape (span,)
        Ground length of the spans [m].
    offsets : ndarray, shape (line, span)
        Distance right of the chord of each line of ground [m].

    Returns
    -------
    first : ndarray of int, shape (span + 1,)
        Where the nodes of each span begin; they lie at equal distances, ends included.
    elevation : ndarray, shape (line, node)
        [m], nan where unknown.
    """
    step = max(STEP, length.sum() / NODES)
    count = np.ceil(length / step).astype(int) + 1
    first = np.concatenate([[0], np.cumsum(count)])
    which = np.repeat(np.arange(len(route)), count)
    share = (np.arange(first[-1]) - first[which]) / np.maximum(count - 1, 1)[which]
    way = route[:, 1] - route[:, 0]
    right = np.stack([way[:, 1], -way[:, 0]], axis=-1) / np.linalg.norm(way, axis=-1, keepdims=True)
    places = route[which, 0] + share[:, None] * way[which]
    # Node by node, so that a raster gives each of its blocks once.
    beside = places[:, None] + np.nan_to_num(offsets).T[which][..., None] * right[which][:, None]
    return first, sample(beside[..., 0], beside[..., 1]).T
