"""The ground as a page shows it: shaded along the corridor, and its profile below each span."""

from dataclasses import dataclass

import numpy as np
from scipy.spatial import cKDTree

from corridor.arrays import ragged

__all__ = ["Nodes", "Shading", "Tiles", "ask_once", "line_nodes", "tile_line"]

#: Pixels of shaded ground and nodes of profiles that a page holds at most.
PIXELS, NODES = 1_000_000, 300_000
#: How far beside the line the ground is shown [m], and the finest steps of the picture and of profiles [m].
REACH, CELL, STEP = 450.0, 5.0, 3.0
#: Pixels along a side of a tile.
TILE = 64
#: Ground shown at most [m²], and how far beside the line it is shown at least [m].
AREA, LEAST = 200e6, 60.0
#: Side of the squares in which places are asked for [m].
_SQUARE = 256.0


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


@dataclass(frozen=True)
class Tiles:
    """Pixels of tiles near a line: `cell` [m], `west`, `north` (tile,) [m], `near` (tile, row, column) with a rim of
    one pixel, and `easting`, `northing` [m] of those that are near."""

    cell: float
    west: np.ndarray
    north: np.ndarray
    near: np.ndarray
    easting: np.ndarray
    northing: np.ndarray

    def shaded(self, elevation):
        """Return the Shading of the elevation of the near pixels [m], nan where unknown."""
        whole = np.full(self.near.shape, np.nan)
        whole[self.near] = elevation
        return Shading(self.cell, self.west, self.north, whole)


@dataclass(frozen=True)
class Nodes:
    """Nodes of profiles: those of span i begin at `first[i]`, at equal distances, ends included; `easting`, `northing`
    of shape (node, line) [m]."""

    first: np.ndarray
    easting: np.ndarray
    northing: np.ndarray


def tile_line(route, *, cell=CELL):
    """Return the pixels of the ground about a line.

    Parameters
    ----------
    route : ndarray, shape (span, 2, 2)
        Ends of the spans, easting and northing [m].
    cell : float
        Side of a pixel at least [m]; a long corridor gets larger ones.
    """
    length = np.linalg.norm(route[:, 1] - route[:, 0], axis=-1).sum()
    reach = min(REACH, max(LEAST, AREA / (2 * max(length, 1.0))))
    cell = max(cell, np.sqrt(2 * reach * (length + 2 * reach) / PIXELS))
    tree = cKDTree(_dense(route, cell))
    west, north = _tiles(route, TILE * cell, reach)
    steps = (np.arange(-1, TILE + 1) + 0.5) * cell
    e, n = np.broadcast_arrays(west[:, None, None] + steps, north[:, None, None] - steps[:, None])
    distance, _ = tree.query(np.stack([e, n], axis=-1), distance_upper_bound=reach)
    near = np.isfinite(distance)
    return Tiles(cell, west, north, near, e[near], n[near])


def ask_once(sample, *places):
    """Return the elevations of several sets of places, asked square by square: a raster then reads each block once.

    Parameters
    ----------
    sample : callable
    places : of pairs of ndarray
        Easting and northing [m].
    """
    e, n = (np.concatenate([np.ravel(each[i]) for each in places]) for i in (0, 1))
    column, row = np.floor(e / _SQUARE).astype(int), np.floor(n / _SQUARE).astype(int)
    order = np.lexsort((column, row))
    elevation = np.empty(len(e))
    elevation[order] = sample(e[order], n[order])
    ends = np.cumsum([np.size(each[0]) for each in places])[:-1]
    return [part.reshape(np.shape(each[0])) for part, each in zip(np.split(elevation, ends), places, strict=True)]


def _dense(route, step):
    """Places along the line no further apart than a step."""
    ends = np.linalg.norm(route[:, 1] - route[:, 0], axis=-1)
    count = np.ceil(ends / step).astype(int) + 1
    which, number = ragged(count)
    share = number / np.maximum(count - 1, 1)[which]
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


def line_nodes(route, length, offsets):
    """Return the nodes of the ground below each span: along its chord, and beside it at the outermost wires.

    Parameters
    ----------
    route : ndarray, shape (span, 2, 2)
    length : ndarray, shape (span,)
        Ground length of the spans [m].
    offsets : ndarray, shape (line, span)
        Distance right of the chord of each line of ground [m].
    """
    step = max(STEP, length.sum() / NODES)
    count = np.ceil(length / step).astype(int) + 1
    first = np.concatenate([[0], np.cumsum(count)])
    which = np.repeat(np.arange(len(route)), count)
    share = (np.arange(first[-1]) - first[which]) / np.maximum(count - 1, 1)[which]
    way = route[:, 1] - route[:, 0]
    right = np.stack([way[:, 1], -way[:, 0]], axis=-1) / np.linalg.norm(way, axis=-1, keepdims=True)
    places = route[which, 0] + share[:, None] * way[which]
    beside = places[:, None] + np.nan_to_num(offsets).T[which][..., None] * right[which][:, None]
    return Nodes(first, beside[..., 0], beside[..., 1])
