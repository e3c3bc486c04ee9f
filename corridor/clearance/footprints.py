"""What wires cross in plan: shapes of objects as they are, and points and lines as wide as their radius.

A point of some radius is drawn as a polygon when it is first asked for: of very many trees along a line few lie below
a wire, and all of them drawn would take more memory than everything else.
"""

import numpy as np
import shapely

__all__ = ["Footprints"]

#: Corners of a quarter of a circle: a crown of 10 m is drawn less than 1 mm too wide.
_QUARTER = 64


class Footprints:
    """Footprints by part, `footprints[parts]`, and a tree of them.

    Parameters
    ----------
    flat : ndarray of geometry, shape (part,)
        Single geometries without Z.
    radius : ndarray, shape (part,)
        Half the width of points and lines [m of the grid], nan or 0 where they have none.
    """

    def __init__(self, flat, radius):
        radius = np.nan_to_num(radius)
        widen = (radius > 0) & (shapely.get_dimensions(flat) < 2) & ~shapely.is_empty(flat)
        # A polygon drawn in a circle is smaller than it: draw it around.
        self._around = np.where(widen, radius, 0.0) / np.cos(np.pi / (4 * _QUARTER))
        self._flat, self._shape = flat, np.array(flat, object)
        self._round = widen & (shapely.get_type_id(flat) == 0)
        self._undrawn = self._round.copy()
        lines = np.flatnonzero(widen & ~self._round)
        self._shape[lines] = self._drawn(lines)
        box = self._shape.copy()
        (x, y), a = shapely.get_coordinates(flat[self._round]).T, self._around[self._round]
        box[self._round] = shapely.box(x - a, y - a, x + a, y + a)
        self._tree = shapely.STRtree(box)

    def __len__(self):
        return len(self._shape)

    def __getitem__(self, parts):
        """Return the footprints of some parts."""
        chosen = np.arange(len(self))[parts]
        undrawn = np.unique(chosen[self._undrawn[chosen]])
        if len(undrawn):
            self._shape[undrawn] = self._drawn(undrawn)
            self._undrawn[undrawn] = False
        return self._shape[parts]

    def _drawn(self, parts):
        return shapely.buffer(self._flat[parts], self._around[parts], quad_segs=_QUARTER)

    def near(self, geometry, parts, distance):
        """Return whether footprints lie within a distance of geometries [m of the grid], pair by pair.

        Points count as circles about the polygons that are drawn for them, less than a millimetre wider.
        """
        shape = np.where(self._round[parts], self._flat[parts], self._shape[parts])
        return shapely.dwithin(geometry, shape, distance + np.where(self._round[parts], self._around[parts], 0.0))

    def query(self, geometry, predicate=None, distance=None):
        """Return indices of geometries, and of footprints that they meet, as a tree of shapely does.

        Parameters
        ----------
        geometry : geometry, or array of them
            With one alone, or without a predicate, boxes are compared and indices of footprints returned.
        predicate : str, optional
            "intersects", or "dwithin" with a `distance` [m of the grid].
        """
        found = self._tree.query(geometry, predicate, distance)
        if predicate is None:
            return found
        row, part = found
        doubtful = np.flatnonzero(self._round[part])
        pairs = np.asarray(geometry, object)[row[doubtful]], part[doubtful]
        met = self.near(*pairs, distance) if predicate == "dwithin" else shapely.intersects(pairs[0], self[pairs[1]])
        keep = np.ones(len(row), bool)
        keep[doubtful] = met
        return found[:, keep]
