"""The surface of a study, of what grows or stands on the ground: its cells near a line, as the assessment takes them.

A cell is a square, level at its value. It counts as the disc about it, which is nowhere nearer to its middle than its
edges are.
"""

import numpy as np
import shapely

from corridor.clearance.clouds import CLEARED, HOLE, NO_CLASS, Cloud, Group
from corridor.errors import InputError
from corridor.geometry.surface import SIDE, blocks_about
from corridor.inputs.references import rasters_of
from corridor.inputs.terrain import Terrain
from corridor.study.terrain import SURFACE

__all__ = ["SurfaceCells", "open_surface", "surface_cloud"]

#: Bytes of raster blocks to keep in memory.
_BUDGET = 128_000_000
#: What a length in the grid may be short of one on the ground, as a share: more than at 5,000 m, or in a zone of UTM.
_STRETCH = 2e-3
#: From the middle of a cell to places by its corners, at which its class is read [cells].
_CORNER = 0.49


class SurfaceCells(Terrain):
    """A surface of rasters, read cell by cell; otherwise as the ground. Open it with `open_surface`."""

    def cells_near(self, lines, reach):
        """Return the cells about lines.

        Parameters
        ----------
        lines : sequence of shapely geometry
            Straight, in the frame.
        reach : float
            How far beside them at least [m].

        Returns
        -------
        place : ndarray, shape (cell, 3)
            Easting, northing of the middle, and elevation [m]; nan where it is not known, which of several grids is
            told of the first.
        """
        ends = np.array([shapely.get_coordinates(line) for line in lines])
        found = []
        for index, mosaic in enumerate(self._mosaics):
            paths = self._paths(index, ends[:, 0, 0], ends[:, 0, 1], ends[:, 1, 0], ends[:, 1, 1])
            far = np.full(len(ends), reach / self._cell(index))
            _, column, row = blocks_about(paths[:, 0], paths[:, 2], far)
            column, row = np.unique(np.stack([column, row]), axis=1)
            step = np.arange(SIDE)
            c, r = (v.ravel() for v in np.broadcast_arrays(column[:, None, None] + step,
                                                           row[:, None, None] + step[:, None]))
            z = mosaic.sample(c, r)
            e, n = self._middles(index, c, r)
            if index:
                e, n, z = e[np.isfinite(z)], n[np.isfinite(z)], z[np.isfinite(z)]
            elif len(self._mosaics) > 1:
                # What another grid knows is no hole: that grid has the cell.
                hole = np.flatnonzero(np.isnan(z))
                filled = hole[np.isfinite(self.sample(e[hole], n[hole]))]
                e, n, z = (np.delete(v, filled) for v in (e, n, z))
            found.append(np.column_stack([e, n, z]))
        return np.concatenate(found)

    def nearest(self, easting, northing):
        """Return the value of the cell that places lie in, nan where none is known; all of shape (place,)."""
        result = np.full(len(easting), np.nan)
        for index, mosaic in enumerate(self._mosaics):
            open_ = np.flatnonzero(np.isnan(result))
            column, row = self._cells(index, easting[open_], northing[open_])
            result[open_] = mosaic.sample(np.rint(column), np.rint(row))
        return result

    def standing(self, easting, northing, sample, above):
        """Return the elevation of what stands at places more than so much above the ground, which `sample(easting,
        northing)` knows, nan where nothing does; cells are as wide as the discs about them. All in [m], (place,)."""
        turn = np.arange(8) * np.pi / 4
        wider = self.cell_size * (np.sqrt(2) - 1) / 2
        with self.lock:
            z = np.fmax.reduce([self.nearest(easting + wider * e, northing + wider * n) for e, n in
                                ((0.0, 0.0), *zip(np.cos(turn), np.sin(turn), strict=True))])
        return np.where(z <= sample(easting, northing) + above, np.nan, z)

    def sides(self, easting, northing):
        """Return the ways from the middle of a cell to that of the next column and row, of all grids, about places;
        shape (grid, place, 2, 2) [m]."""
        sides = []
        for index in range(len(self._mosaics)):
            c, r = self._cells(index, np.asarray(easting), np.asarray(northing))
            middle = np.stack(self._middles(index, c, r), axis=-1)
            sides.append(np.stack([np.stack(self._middles(index, c + a, r + b), axis=-1) - middle
                                   for a, b in ((1, 0), (0, 1))], axis=1))
        return np.array(sides)

    def _middles(self, index, column, row):
        """Easting and northing of places in a grid [cells]."""
        x, y = self._mosaics[index].members[0][0].places(column + 0.5, row + 0.5)
        change = self._changes[index]
        return (x, y) if change is None else change.transform(x, y, direction="INVERSE")


def open_surface(study, frame, structures):
    """Return the surface of a study and its raster of classes, each None where the study has none that wires are
    compared with.

    Parameters
    ----------
    study : Study
    frame : Frame
    structures : Structures

    Returns
    -------
    surface, classes : SurfaceCells or None
        Open; to be closed.

    Raises
    ------
    InputError
        A raster that cannot be used, or that does not touch the line.
    """
    t = study.terrain
    if not t.compares_surface:
        return None, None
    surface = SurfaceCells(rasters_of(study, t.surface, t.surface_vertical_unit), frame, _BUDGET)
    classes = None if t.surface_classes is None else SurfaceCells(
        rasters_of(study, (t.surface_classes.file,), "m"), frame, _BUDGET)
    for each, where in ((surface, "surface"), (classes, "surface_classes.file")):
        if each is not None and not each.touches(structures.easting, structures.northing).any():
            surface.close()
            raise InputError(study.path, f"terrain.{where}", "rasters that do not touch the line",
                             "rasters of what stands about the line", "another CRS of the rasters, or take it out")
    return surface, classes


def surface_cloud(inputs, sample):
    """Return the Cloud of the cells of a surface.

    Parameters
    ----------
    inputs : Inputs
        With a surface.
    sample : callable
        `(easting, northing) -> ground elevation [m]`.
    """
    t, surface, classes = inputs.study.terrain, inputs.surface, inputs.classes
    radius = _radius(surface, inputs.structures)
    values = {0: t.surface_category} if classes is None else t.surface_classes.values
    names = tuple(dict.fromkeys(values.values()))
    groups = tuple(Group(name, name, tuple(k for k, v in values.items() if v == name), radius) for name in names)

    def within(lines, reach):
        with surface.lock:
            place = surface.cells_near(lines, reach)
        unknown = np.isnan(place[:, 2])
        # Where the ground is not known, whatever the surface has may stand.
        stands = ~(place[:, 2] <= sample(place[:, 0], place[:, 1]) + t.surface_above)
        hole, place = place[unknown], place[stands & ~unknown]
        class_ = np.zeros(len(place), int)
        if classes is not None:
            with surface.lock, classes.lock:
                place, class_ = _by_class(classes, surface, place)
        for category, area in inputs.cleared.items():
            mine = np.full(len(place), True) if category is None else np.isin(
                class_, [k for k, v in values.items() if v == category])
            class_[mine & shapely.contains_xy(area, place[:, 0], place[:, 1])] = CLEARED
        return np.concatenate([place, hole]), np.r_[class_, np.full(len(hole), HOLE)]

    return Cloud(SURFACE, groups, (), (), (CLEARED,), t.surface_wire_distance, t.surface_structure_distance, None, 0.0,
                 True, 2 * radius, t.surface_reach, within, cells=True)


def _radius(surface, structures):
    """Radius of the disc about the largest cell at any structure [m]."""
    sides = surface.sides(structures.easting, structures.northing)
    diagonal = np.stack([sides[..., 0, :] + sides[..., 1, :], sides[..., 0, :] - sides[..., 1, :]])
    return float(np.linalg.norm(diagonal, axis=-1).max()) / 2 * (1 + _STRETCH)


def _by_class(classes, surface, place):
    """Cells, once for each class that the raster has in them, and these."""
    if not len(place):
        return place, np.zeros(0, int)
    sides = surface.sides(place[:, 0], place[:, 1])
    # Of several grids the cells of the coarsest are taken for all: what lies beside a cell may count, too.
    across, down = sides[np.argmax(np.abs(sides).max(axis=(1, 2, 3)))].swapaxes(0, 1)
    found = []
    for a, b in ((0, 0), (-1, -1), (-1, 1), (1, -1), (1, 1)):
        spot = place[:, :2] + _CORNER * (a * across + b * down)
        value = classes.nearest(*spot.T)
        found.append(np.where(np.isnan(value), NO_CLASS, value).astype(int))
    found = np.sort(np.stack(found, axis=1), axis=1)
    new = np.diff(found, axis=1, prepend=found.min() - 1) != 0
    row, k = np.nonzero(new)
    return place[row], found[row, k]
