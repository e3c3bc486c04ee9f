"""What wires cross in plan: shapes of objects as they are, and points and lines as wide as their radius.

A point of some radius is drawn as a polygon when it is first asked for: of very many trees along a line few lie below
a wire, and all of them drawn would take more memory than everything else.
"""

import numpy as np
import shapely

__all__ = ["Footprints", "prepared"]

#: Corners of a quarter of a circle: a crown of 10 m is drawn less than 1 mm too wide.
_QUARTER = 64

#: Vertices from which on a shape is cut down to what is about chords, and how far beside them it stays [m of the grid].
_MANY, _BESIDE = 32, 1.0
#: Kinds of geometry that are areas alone.
_AREAS = (3, 6)

#: Directions from the centre of a drawn circle to the middles of its sides, (side, 2).
_SIDES = np.stack([f((np.arange(4 * _QUARTER) + 0.5) * np.pi / (2 * _QUARTER)) for f in (np.cos, np.sin)], axis=-1)


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
        self._centre = np.full((len(flat), 2), np.nan)
        self._centre[self._round] = shapely.get_coordinates(flat[self._round])
        (x, y), a = self._centre[self._round].T, self._around[self._round]
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

    def buffered(self, parts, distance):
        """Return footprints of some parts, all buffered by a distance [m of the grid]."""
        round_ = self._round[parts]
        flat = np.where(round_, self._flat[parts], self._shape[parts])
        if distance:
            flat[~round_] = shapely.buffer(flat[~round_], distance, quad_segs=4)
        radius = self._around[parts] * np.cos(np.pi / (4 * _QUARTER))
        return Footprints(flat, np.where(round_, radius + distance, 0.0))

    def near(self, geometry, parts, distance):
        """Return whether footprints lie within a distance of geometries [m of the grid], pair by pair.

        Points count as circles about the polygons that are drawn for them, less than a millimetre wider.
        """
        shape = np.where(self._round[parts], self._flat[parts], self._shape[parts])
        return shapely.dwithin(geometry, shape, distance + np.where(self._round[parts], self._around[parts], 0.0))

    def stretches(self, start, end, lines, pairs=None):
        """Return every stretch of chords in plan that lies over a footprint.

        Parameters
        ----------
        start, end : ndarray, shape (chord, 2)
        lines : ndarray, shape (chord,)
            The same as geometries, None for a chord to be left out.
        pairs : (chord, part) of ndarray of int, optional
            What is looked at alone; default: all.

        Returns
        -------
        chord, part : ndarray of int, shape (stretch,)
        low, high : ndarray, shape (stretch,)
            Ends of the stretch as shares of the chord [-].
        """
        chord, part = self._tree.query(lines, "intersects") if pairs is None else self._meeting(lines, *pairs)
        round_ = self._round[part]
        low, high = self._through_round(start, end, chord[round_], part[round_])
        met = low <= high
        rounds = chord[round_][met], part[round_][met], low[met], high[met]
        wide = ~round_ & (shapely.get_dimensions(self._shape[part]) > 0)
        shapes = _through_shapes(start, end, lines, chord[wide], part[wide], self._shape)
        return tuple(np.concatenate(pair) for pair in zip(rounds, shapes, strict=True))

    def _meeting(self, lines, chord, part):
        """Those of the pairs that meet, or may where a circle is not drawn yet."""
        flat = ~self._round[part]
        some, at = np.unique(part[flat], return_inverse=True)
        met = ~flat
        met[flat] = shapely.intersects(prepared(self._shape[some])[at], lines[chord[flat]])
        return chord[met], part[met]

    def _through_round(self, start, end, chord, part):
        """Shares of chords between which they are within drawn circles: low above high where they pass by.

        A side k with its normal n_k lies r off the centre c: within are the t with `t u.n_k <= r - (a - c).n_k` for all
        sides that the chord a + t u may meet.
        """
        r, a = self._around[part] * np.cos(np.pi / (4 * _QUARTER)), start[chord] - self._centre[part]
        u = end[chord] - start[chord]
        side = _SIDES[_sides_met(a, u, r)]
        along, room = (side * u[:, None]).sum(axis=-1), r[:, None] - (side * a[:, None]).sum(axis=-1)
        with np.errstate(divide="ignore", invalid="ignore"):
            t = room / along
        beside = np.where((along == 0) & (room < 0), -np.inf, np.inf)
        low = np.where(along < 0, t, -np.inf).max(axis=1, initial=0)
        return low, np.where(along > 0, t, beside).min(axis=1, initial=1)

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


def _sides_met(a, u, r):
    """Sides of drawn circles of radius r about 0 by which lines a + t u may enter and leave, (line, 6).

    A line meets the circle at the angles `beta +- acos(s/r)`, with beta and s the direction and distance of its nearest
    point, and the drawn one up to half a side farther on: by the side there or by a neighbour.
    """
    alpha = np.arctan2(u[:, 1], u[:, 0])
    s = np.cos(alpha) * a[:, 1] - np.sin(alpha) * a[:, 0]
    beta = alpha + np.where(s < 0, -np.pi / 2, np.pi / 2)
    theta = np.arccos(np.minimum(np.abs(s) / r, 1))
    sides = np.floor(np.stack([beta - theta, beta + theta], axis=-1) * (2 * _QUARTER / np.pi)).astype(int)
    return (sides[..., None] + np.arange(-1, 2)).reshape(len(a), 6) % len(_SIDES)


def prepared(shapes):
    """Return copies of shapes, prepared for many questions by one thread.

    What a shape that is prepared remembers it works out with its first question: of two threads that ask one at the
    same time the process can die.
    """
    own = shapely.from_wkb(shapely.to_wkb(shapes))
    shapely.prepare(own)
    return own


def _through_shapes(start, end, lines, chord, part, shape):
    """Chord, part and ends of every stretch over shapes that are drawn; one over each piece of them."""
    some, at = np.unique(part, return_inverse=True)
    near = _about(shape[some], at, np.minimum(start, end)[chord], np.maximum(start, end)[chord])
    met = shapely.intersection(lines[chord], near[at])
    # What only touches a shape may miss what is cut out of it by a rounding.
    lost = np.flatnonzero(shapely.is_empty(met))
    met[lost] = shapely.intersection(lines[chord[lost]], shape[part[lost]])
    met, owner = shapely.get_parts(met, return_index=True)
    some = ~shapely.is_empty(met)
    met, owner = met[some], owner[some]
    chord, part = chord[owner], part[owner]
    coordinates, vertex = shapely.get_coordinates(met, return_index=True)
    a, along = start[chord], (end - start)[chord]
    place = ((coordinates - a[vertex]) * along[vertex]).sum(1) / (along[vertex] ** 2).sum(1)
    place = np.clip(place, 0, 1)
    low, high = np.full(len(met), np.inf), np.full(len(met), -np.inf)
    np.minimum.at(low, vertex, place)
    np.maximum.at(high, vertex, place)
    return chord, part, low, high


def _about(shapes, at, low, high):
    """Shapes as far as they are about boxes (row, 2), (row, 2) [m], of which `at` tells whose each is: of a long one
    little is, and what a chord costs goes with all of it."""
    least, most = np.full((2, len(shapes), 2), [[[np.inf]], [[-np.inf]]])
    np.minimum.at(least, at, low)
    np.maximum.at(most, at, high)
    cut = shapes.copy()
    many = np.flatnonzero(shapely.get_num_coordinates(shapes) > _MANY)
    (x0, y0), (x1, y1) = (least[many] - _BESIDE).T, (most[many] + _BESIDE).T
    pieces = shapely.intersection(shapes[many], shapely.box(x0, y0, x1, y1))
    # What meets the box in a line or a point besides is left as it is: of a mixture nothing can be cut.
    cut[many] = np.where(np.isin(shapely.get_type_id(pieces), _AREAS), pieces, shapes[many])
    return cut
