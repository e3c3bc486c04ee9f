"""Objects that wires pass over or under: where each wire meets each object in plan, and the object's top there."""

from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np
import shapely

from corridor.arrays import ragged
from corridor.clearance.checked import GROUND
from corridor.clearance.footprints import Footprints
from corridor.clearance.ground import ground_rows
from corridor.clearance.parcels import PARCEL
from corridor.geometry.distance import Rows, take_rows
from corridor.geometry.surface_rows import parts_of_rows

__all__ = ["REACH", "Crossed", "ObstacleIndex", "chords", "cross", "ground_as_crossed", "ground_below",
           "index_obstacles", "middles", "part_tops", "roofed", "stands", "with_rows"]

#: Places at which an object's own elevation is read along a wire that passes over it.
_PLACES = np.linspace(0, 1, 9)

#: What stands in the columns of obstacles that say nothing; in all others None.
_UNTOLD = {"layer": "", "absolute": False, "height": np.nan, "voltage": np.nan, "radius": np.nan, "fault": "",
           "falls": False}

#: A line no vertex of which lies farther from that between its ends is straight in plan [m of the grid].
_STRAIGHT = 1e-6

#: Number of the first kind of geometry with several parts.
_MULTI = 4

#: Categories, by their beginning, whose top is flat.
_ROOFED = ("building", "roof")
#: Farther than this from the line an obstacle is of no concern [m].
REACH = 500.0
#: Which way the sides of a box go outwards.
_OUT = np.array([-1.0, -1.0, 1.0, 1.0])
#: What stands no higher above the ground than this is kept clear of by the rule for the ground [m].
LOW = 3.0


@dataclass(frozen=True)
class ObstacleIndex:
    """Obstacles cut into single geometries, and a tree of their footprints.

    `part` the geometry with its own Z, `footprint` what a wire crosses in plan (a line or point widened by its
    radius), `of_part` the index of the obstacle; `tree` is asked as one of shapely.
    """

    obstacles: object
    part: np.ndarray
    footprint: Footprints
    of_part: np.ndarray
    tree: Footprints

    @cached_property
    def extent(self):
        """Extent of each obstacle with its radius (obstacle, 4) [m], nan where it has no place."""
        return shapely.bounds(self.obstacles.geometry) + np.nan_to_num(self.obstacles.radius)[:, None] * _OUT

    def near(self, low, high):
        """Return the index of those obstacles alone, in their order, that are within `REACH` of a box (2,), (2,) [m],
        or have no place; itself where these are all: what is asked of obstacles is asked of each of them."""
        box = np.r_[low, high] + REACH * _OUT
        far = (self.extent[:, :2] > box[2:]).any(axis=1) | (self.extent[:, 2:] < box[:2]).any(axis=1)
        if not far.any():
            return self
        columns = {f.name: getattr(self.obstacles, f.name) for f in fields(self.obstacles)}
        return index_obstacles(type(self.obstacles)(**{
            name: values[~far] if isinstance(values, np.ndarray) else values for name, values in columns.items()}))


@dataclass(frozen=True)
class Crossed:
    """Wires over (or under) objects, one row per wire span and stretch.

    `wire`, `obstacle` indices; `rows` the object's top below the wire, nan where it is unknown.
    """

    wire: np.ndarray
    obstacle: np.ndarray
    rows: Rows

    def take(self, chosen):
        """Return some rows, by their indices."""
        return Crossed(self.wire[chosen], self.obstacle[chosen], take_rows(self.rows, chosen))

    @property
    def unknown(self):
        """The rows of things whose top is unknown somewhere below the wire."""
        owner, _ = ragged(np.diff(self.rows.first))
        return np.flatnonzero(np.bincount(owner, np.isnan(self.rows.surface), minlength=len(self.wire)) > 0)


def ground_below(wires, ground):
    """Return the ground below wires, or chords of them, row for row, as what they cross: the obstacle `GROUND`."""
    profile = ground.profiles(*wires.start[:, :2].T, *wires.end[:, :2].T)
    return ground_as_crossed(ground_rows(wires, profile.first, profile.fraction, profile.elevation))


def ground_as_crossed(rows):
    """Return ground below wires, a row each, as what they cross: the obstacle `GROUND`."""
    return Crossed(np.arange(len(rows.span)), np.full(len(rows.span), GROUND), rows)


def index_obstacles(obstacles):
    """Return the index of all obstacles that are without fault, but for parcels: nothing has to keep clear of these."""
    placed = np.flatnonzero((obstacles.fault == "") & (obstacles.category != PARCEL))
    part, of_part = obstacles.geometry[placed], placed
    # What is single and flat already, as trees are, is not copied.
    if (shapely.get_type_id(part) >= _MULTI).any():
        part, owner = shapely.get_parts(part, return_index=True)
        of_part = placed[owner]
    flat, solid = part.copy(), shapely.has_z(part)
    flat[solid] = shapely.force_2d(part[solid])
    footprint = Footprints(flat, obstacles.radius[of_part])
    return ObstacleIndex(obstacles, part, footprint, of_part, footprint)


def with_rows(obstacles, rows):
    """Return obstacles with more of them after: dicts of their columns; what these leave out says nothing."""
    def column(name):
        old = getattr(obstacles, name)
        if not (isinstance(old, np.ndarray) or old is None and any(name in row for row in rows)):
            return old
        plain = _UNTOLD.get(name)
        old = np.full(len(obstacles), plain, object if plain is None else None) if old is None else old
        new = np.empty(len(rows), old.dtype)
        new[:] = [row.get(name, plain) for row in rows]
        return np.concatenate([old, new])

    return replace(obstacles, **{f.name: column(f.name) for f in fields(obstacles)})


def chords(wires, some=slice(None)):
    """Return the plan chord of each wire span as a shapely line; None where an end is unknown, and of all but some."""
    plan = np.stack([wires.start[:, :2], wires.end[:, :2]], axis=1)
    known = np.zeros(len(plan), bool)
    known[some] = np.isfinite(plan[some]).all(axis=(1, 2))
    lines = np.full(len(plan), None, object)
    lines[known] = shapely.linestrings(plan[known])
    return lines


def cross(wires, index, ground, sample, pairs=None):
    """Return every stretch of wire over an object.

    Parameters
    ----------
    wires : WireSpans
    index : ObstacleIndex
    ground : Rows
        Ground under each wire span, row for row.
    sample : callable
        `(easting, northing) -> ground elevation [m]`, for the outlines of buildings.
    pairs : (wire, part) of ndarray of int, optional
        What is looked at alone; default: all.

    Returns
    -------
    Crossed
    """
    lines = chords(wires) if pairs is None else chords(wires, pairs[0])
    wire, part, low, high = _stretches(lines, wires, index, pairs)
    absolute = index.obstacles.absolute[index.of_part[part]]
    building = roofed(index.obstacles.category[index.of_part[part]])
    draped = ~absolute & ~building
    own = _own_tops(lines, wire, part, low, high, index, absolute)
    flat = np.zeros(len(index.part), bool)
    flat[part[~absolute & building]] = True
    roofs = np.repeat(part_tops(index, sample, flat)[part[~absolute & building], None], len(_PLACES), axis=1)
    pieces = [_draped(ground, wire, part, low, high, index, draped),
              _flat(low, high, absolute, own), _flat(low, high, ~absolute & building, roofs)]
    first = np.r_[0, np.cumsum(np.concatenate([np.diff(p[0]) for p in pieces]))]
    order = np.concatenate([np.flatnonzero(m) for m in (draped, absolute, ~absolute & building)])
    wire, obstacle = wire[order], index.of_part[part[order]]
    rows = Rows(first, np.concatenate([p[1] for p in pieces]), np.concatenate([p[2] for p in pieces]),
                ground.span[wire], ground.start[wire], ground.rise[wire])
    return Crossed(wire, obstacle, rows)


def roofed(category):
    """Return which categories have a flat top: as high above the highest ground at their outline as they are."""
    return np.array([name.startswith(_ROOFED) for name in category], bool)


def stands(index):
    """Return which parts reach up to where wires are, or may: all others are low, and the rule for the ground is for
    them."""
    return (index.obstacles.absolute | ~(index.obstacles.height <= LOW))[index.of_part]


def _stretches(lines, wires, index, pairs):
    """Wire, part, and the ends of the stretch along the wire [-] of every meeting in plan."""
    wire, part, low, high = index.footprint.stretches(wires.start[:, :2], wires.end[:, :2], lines, pairs)
    order = np.lexsort((low, index.of_part[part], wire))
    return wire[order], part[order], low[order], high[order]


def _draped(ground, wire, part, low, high, index, chosen):
    """Rows of objects that stand on the ground: its profile under the wire, raised by their height."""
    first, fraction, surface = parts_of_rows(ground.first, ground.fraction, ground.surface,
                                             wire[chosen], low[chosen], high[chosen])
    height = index.obstacles.height[index.of_part[part[chosen]]]
    return first, fraction, surface + np.repeat(height, np.diff(first))


def _flat(low, high, chosen, tops):
    """Rows of nodes at `_PLACES` between the ends, with given tops (row, place)."""
    low, high = low[chosen, None], high[chosen, None]
    fraction = low + (high - low) * _PLACES
    first = np.arange(len(low) + 1) * len(_PLACES)
    return first, fraction.ravel(), tops.ravel()


def _own_tops(lines, wire, part, low, high, index, chosen):
    """Elevation of objects that carry their own: of a line beside each place, of a polygon its highest vertex."""
    wire, part, low, high = wire[chosen], part[chosen], low[chosen], high[chosen]
    tops = np.repeat(_highest(index.part[part])[:, None], len(_PLACES), axis=1)
    line = np.flatnonzero(shapely.get_dimensions(index.part[part]) == 1)
    place = (low + (high - low) * _PLACES[:, None]).T[line]
    some, at = np.unique(part[line], return_inverse=True)
    for each, geometry in enumerate(index.part[some]):
        mine = np.flatnonzero(at == each)
        tops[line[mine]] = _along(geometry, lines[wire[line[mine]]], place[mine])
    return tops


def _along(geometry, chords, place):
    """Elevation of a line where it is nearest in plan to places (row, place) [-] of chords (row,)."""
    ends = shapely.get_coordinates(chords).reshape(-1, 2, 2)
    spot = ends[:, :1] + place[..., None] * (ends[:, 1:] - ends[:, :1])
    vertex = shapely.get_coordinates(geometry, include_z=True)
    x, y = (vertex[:, :2] - vertex[0, :2]).T
    length = np.hypot(x[-1], y[-1])
    if length:
        u, v = x[-1] / length, y[-1] / length
        along = x * u + y * v
        if (np.abs(y * u - x * v) < _STRAIGHT).all() and (np.diff(along) > 0).all():
            return np.interp((spot - vertex[0, :2]) @ [u, v], along, vertex[:, 2])
    # Both calls measure in plan; the interpolated point carries the line's Z there.
    on_line = shapely.line_interpolate_point(geometry, shapely.line_locate_point(geometry, shapely.points(spot)))
    return shapely.get_z(on_line)


def middles(rows):
    """Return the place half-way between the ends of every row of surface [-]."""
    return (rows.fraction[rows.first[:-1]] + rows.fraction[rows.first[1:] - 1]) / 2


def part_tops(index, sample, wanted):
    """Return the elevation of the top of some parts [m], shape (part,), nan where unknown or not wanted.

    Parameters
    ----------
    index : ObstacleIndex
    sample : callable
        `(easting, northing) -> ground elevation [m]`.
    wanted : ndarray of bool, shape (part,)
    """
    tops = np.full(len(index.part), np.nan)
    absolute = index.obstacles.absolute[index.of_part]
    own = np.flatnonzero(wanted & absolute)
    tops[own] = _highest(index.part[own])
    standing = np.flatnonzero(wanted & ~absolute)
    if len(standing):
        coordinates, owner = shapely.get_coordinates(index.part[standing], return_index=True)
        base = np.full(len(standing), -np.inf)
        with np.errstate(invalid="ignore"):
            np.maximum.at(base, owner, sample(coordinates[:, 0], coordinates[:, 1]))
        tops[standing] = np.where(np.isfinite(base), base, np.nan) + index.obstacles.height[index.of_part[standing]]
    return tops


def _highest(geometry):
    """Highest vertex of each geometry [m], nan for an empty array or a missing Z."""
    coordinates, owner = shapely.get_coordinates(geometry, include_z=True, return_index=True)
    top = np.full(len(geometry), -np.inf)
    with np.errstate(invalid="ignore"):
        np.maximum.at(top, owner, coordinates[:, 2])
    return np.where(np.isfinite(top), top, np.nan)
