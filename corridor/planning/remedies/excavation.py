"""Ground that is cut below wires: which cells, how deep, how much, and the ground as it is then."""

from dataclasses import dataclass

import numpy as np
import rasterio
import shapely
from rasterio import Affine
from rasterio.windows import Window

from corridor.assessment import Ground
from corridor.clearance.grading import grading
from corridor.inputs.mosaic import group
from corridor.inputs.rasters import describe
from corridor.inputs.terrain import Profiles, open_terrain

__all__ = ["Cells", "Cut", "Survey", "lowered", "one_grid", "survey_cells", "write_graded"]

#: Nobody digs nearer to a structure than this [m].
_KEEP = 6.0
_EMPTY = -9999.0


@dataclass(frozen=True)
class Cut:
    """Cells of the ground raster that are dug, sorted by `key`, their place in the grid, and how deep, `depth` [m]."""

    raster: object
    key: np.ndarray
    depth: np.ndarray

    @classmethod
    def of(cls, raster, dug):
        """Return the cut of several spans, each (row, column, depth [m]); where they overlap depths add up."""
        row, column, depth = (np.concatenate(v) for v in zip(*dug, strict=True))
        key, place = np.unique(_keys(row, column), return_inverse=True)
        return cls(raster, key, np.bincount(place, depth, minlength=len(key)))

    def at(self, easting, northing):
        """Return the depth at places [m], bilinear between the centres of cells, as the ground itself is."""
        to_cell = np.linalg.inv(self.raster.matrix)
        c, r, _ = np.tensordot(to_cell, np.stack([easting, northing, np.ones_like(easting)]), 1) - 0.5
        i, j = np.floor(r), np.floor(c)
        u, v = r - i, c - j
        i, j = i.astype(np.int64), j.astype(np.int64)
        return sum(w * self._of(_keys(i + a, j + b)) for w, a, b in (
            ((1 - u) * (1 - v), 0, 0), ((1 - u) * v, 0, 1), (u * (1 - v), 1, 0), (u * v, 1, 1)))

    def _of(self, key):
        at = np.minimum(np.searchsorted(self.key, key), len(self.key) - 1)
        return np.where(self.key[at] == key, self.depth[at], 0.0)


def _keys(row, column):
    """One number for each cell, however far from the first."""
    return np.asarray(row, np.int64) * (1 << 32) + np.asarray(column, np.int64)


@dataclass(frozen=True)
class Cells:
    """Cells of the ground raster below the wires of a span; columns (cell,): `row`, `column`, `elevation` [m] and
    `headroom` [m], what is left of the clearance above the cell in the worst case.

    `margin` the least that any check of the span found [m]; `deepest` cut that no road, object or structure is in the
    way of [m]; `blocked` words for what is; `area` of a cell [m2].
    """

    raster: object
    row: np.ndarray
    column: np.ndarray
    elevation: np.ndarray
    headroom: np.ndarray
    margin: float
    deepest: float
    blocked: str
    area: float

    def volume(self, depth):
        """Return the volume [m3] of the cut after which every cell has `depth` more than the least margin now."""
        return float(np.nan_to_num(grading(self.headroom - (self.margin + depth), self.area).volume))

    def dug(self, depth):
        """Return row, column and depth [m] of the cells that this cut digs."""
        cut = np.maximum(self.margin + depth - self.headroom, 0.0)
        some = cut > 0
        return self.row[some], self.column[some], cut[some]


def lowered(ground, cells, cut):
    """Return the ground with cuts in it.

    Parameters
    ----------
    ground : Ground
    cells : dict of int to Cells
    cut : ndarray, shape (span,)
        Depth of each span's cut [m].
    """
    spans = np.flatnonzero(cut)
    if not len(spans):
        return ground
    whole = Cut.of(cells[spans[0]].raster, [cells[span].dug(cut[span]) for span in spans])
    if not len(whole.key):
        return ground

    def sample(e, n):
        e, n = np.broadcast_arrays(np.asarray(e, float), n)
        return ground.sample(e, n) - whole.at(e, n)

    def profiles(e0, n0, e1, n1):
        found = ground.profiles(e0, n0, e1, n1)
        owner = np.repeat(np.arange(len(found.first) - 1), np.diff(found.first))
        a = [np.atleast_1d(np.asarray(v, float))[owner] for v in (e0, n0, e1, n1)]
        t = found.fraction
        depth = whole.at(a[0] + t * (a[2] - a[0]), a[1] + t * (a[3] - a[1]))
        return Profiles(found.first, t, found.elevation - depth)

    return Ground(sample, profiles)


def one_grid(study, frame):
    """Return the raster whose grid all ground rasters share, if it is that of the frame; else None."""
    rasters = [describe(study.resolve(path), study.terrain.vertical_unit) for path in study.terrain.ground]
    same = len(group(rasters)) == 1 and rasters[0].horizontal_crs == frame.crs
    return rasters[0] if same else None


@dataclass(frozen=True)
class Survey:
    """What cells are found with: the `raster` whose grid they are of, the open `terrain` of the rasters alone, and what
    nobody digs at: `footprints` of objects on the ground in a tree."""

    raster: object
    terrain: object
    footprints: shapely.STRtree

    def known(self, row, column):
        """Easting, northing and elevation of cells [m], nan where the rasters do not know it."""
        e, n = self.raster.places(column + 0.5, row + 0.5)
        return e, n, self.terrain.sample(e, n)


def survey_cells(site, looked, wanted):
    """Return the cells below spans that fall short of the ground, span to Cells; none where the rasters have no grid.

    Parameters
    ----------
    site : corridor.planning.remedies.variants.Site
    looked : corridor.planning.remedies.variants.Look
        The line as it stands.
    wanted : dict of int to float
        Span to its least margin over the ground [m].
    """
    raster = one_grid(site.study, site.inputs.frame)
    if raster is None or not wanted:
        return {}
    index = site.facts.index
    standing = index.footprint[~index.obstacles.absolute[index.of_part]]
    files = [site.study.resolve(path) for path in site.study.terrain.ground]
    levels = _levels(site, looked)
    with open_terrain(files, site.inputs.frame, site.study.terrain.vertical_unit) as terrain:
        survey = Survey(raster, terrain, shapely.STRtree(standing))
        return {span: _cells(site, survey, span, margin, levels[span]) for span, margin in wanted.items()
                if span in levels}


def _levels(site, looked):
    """Of every span the curves of its phase wires, each with what the ground rule of its case requires [m]."""
    c, w = looked.layers["clearances"], looked.layers["wires"]
    index = {key: i for i, key in enumerate(zip(site.plan.spans.line, site.plan.spans.name, strict=True))}
    required = {}
    for i in np.flatnonzero((c["against"] == "ground") & (c["measure"] == "vertical")):
        key = index[c["line"][i], c["span"][i]], c["case"][i]
        required[key] = max(required.get(key, 0.0), float(c["required_m"][i]))
    found = {}
    for i in np.flatnonzero(w["kind"] == "phase"):
        span = index[w["line"][i], w["span"][i]]
        if (span, w["case"][i]) in required:
            found.setdefault(span, []).append((shapely.get_coordinates(w["geometry"][i], include_z=True),
                                               required[span, w["case"][i]]))
    return found


def _cells(site, survey, span, margin, curves):
    """Cells below one span: a strip as wide as its wires are blown to either side."""
    spans, x = site.plan.spans, site.facts.structures
    tail, head = (np.array([x.easting[i], x.northing[i]]) for i in (spans.tail[span], spans.head[span]))
    length = float(np.hypot(*(head - tail)))
    ahead = (head - tail) / length
    across = np.array([-ahead[1], ahead[0]])
    cell = float(np.sqrt(abs(np.linalg.det(survey.raster.matrix[:2, :2]))))
    half = max(np.abs((xyz[:, :2] - tail) @ across).max() for xyz, _ in curves) + 1.5 * cell
    row, column = _within(survey.raster, [tail + s * half * across for s in (1, -1)]
                          + [head + s * half * across for s in (1, -1)])
    e, n, z = survey.known(row, column)
    along, aside = (np.stack([e, n], axis=-1) - tail) @ ahead, (np.stack([e, n], axis=-1) - tail) @ across
    own = (np.abs(aside) <= half) & (along > 0) & (along < length) & np.isfinite(z)
    row, column, e, n, z, along = (v[own] for v in (row, column, e, n, z, along))
    level = np.min([np.interp(along, (xyz[:, :2] - tail) @ ahead, xyz[:, 2]) - need for xyz, need in curves], axis=0)
    near = (along < _KEEP + 2 * cell) | (along > length - _KEEP - 2 * cell)
    stands = np.zeros(len(e), bool)
    stands[survey.footprints.query(shapely.points(e, n), predicate="dwithin", distance=1.5 * cell)[0]] = True
    headroom, stop = level - z, near | stands
    deepest = float(np.min(headroom[stop], initial=np.inf)) - margin
    worst = stands[stop][np.argmin(headroom[stop])] if stop.any() else False
    words = "an object on the ground" if worst else "a structure"
    area = cell**2 * spans.ground_factor[span] ** 2
    free = ~stop
    return Cells(survey.raster, row[free], column[free], z[free], headroom[free], margin, deepest, words, area)


def _within(raster, corners):
    """Row and column of all cells in the box of some places."""
    to_cell = np.linalg.inv(raster.matrix)
    c, r, _ = to_cell @ np.stack([*np.transpose(corners), np.ones(len(corners))])
    row, column = np.meshgrid(np.arange(np.floor(r.min()), np.ceil(r.max()) + 1),
                              np.arange(np.floor(c.min()), np.ceil(c.max()) + 1), indexing="ij")
    return row.ravel().astype(int), column.ravel().astype(int)


def write_graded(path, cells, cut):
    """Write the cells that are cut, as they are then, to a raster on the grid of the ground.

    Parameters
    ----------
    path : path
        The GeoTIFF to write.
    cells : dict of int to Cells
    cut : ndarray, shape (span,)
        Depth of each span's cut [m].
    """
    spans = np.flatnonzero(cut)
    raster = cells[spans[0]].raster
    whole = Cut.of(raster, [cells[span].dug(cut[span]) for span in spans])
    known = np.concatenate([_keys(cells[span].row, cells[span].column) for span in spans])
    first = np.unique(known, return_index=True)
    elevation = np.concatenate([cells[span].elevation for span in spans])[first[1]]
    z = (elevation[np.searchsorted(first[0], whole.key)] - whole.depth) / raster.factor
    row, column = whole.key >> 32, whole.key & 0xFFFFFFFF
    r0, c0 = row.min(), column.min()
    matrix = raster.matrix @ np.array([[1, 0, c0], [0, 1, r0], [0, 0, 1.0]])
    shape = {"height": int(row.max() - r0 + 1), "width": int(column.max() - c0 + 1)}
    with rasterio.open(path, "w", driver="GTiff", count=1, dtype="float64", nodata=_EMPTY, crs=raster.crs.to_wkt(),
                       transform=Affine(*matrix[:2].ravel()), tiled=True, sparse_ok=True, **shape) as dataset:
        for window, some in _blocks(row - r0, column - c0):
            block = np.full((window.height, window.width), _EMPTY)
            block[row[some] - r0 - window.row_off, column[some] - c0 - window.col_off] = z[some]
            dataset.write(block[: shape["height"] - window.row_off, : shape["width"] - window.col_off], 1,
                          window=window.intersection(Window(0, 0, shape["width"], shape["height"])))


def _blocks(row, column, side=256):
    """Windows of the tiles that hold cells, each with the cells in it."""
    tile = np.stack([row // side, column // side], axis=-1)
    for r, c in np.unique(tile, axis=0):
        yield Window(int(c) * side, int(r) * side, side, side), np.flatnonzero((tile == [r, c]).all(axis=-1))
