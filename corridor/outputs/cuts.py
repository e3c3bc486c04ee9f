"""Cross-sections at violations, as lines in metres: what a sheet and a page draw of them is the same.

Across is to the right of the centre of the span, seen towards higher stations. The lengths of what is there and what is
required are those of the row.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import shapely

__all__ = ["About", "Cut", "cut_of", "cut_places", "cut_words", "drawable"]

#: Width over height of a cross-section.
SHAPE = 110.0 / 96.0
#: How far to either side of its middle is shown at least [m], and places of the ground.
_HALF, _PLACES = 9.0, 241
#: How far before and behind a cut a surface is looked at [m].
_BESIDE = np.linspace(-1, 1, 9)
#: Places of a full turn; half a turn has as many as make the same steps.
_TURN, _ARC = 181, 91


@dataclass(frozen=True)
class About:
    """What stands about a line: `sample(easting, northing)` the ground [m]; `shapes` geometries with their names in
    `shape_names`, their `heights` over the ground and `radii` [m], nan where they have none; `edge` lines at the
    edge of the right-of-way, or None; `above(easting, northing)` what a surface has there [m], nan where nothing
    stands, or None; `parcels` polygons of land with their names in `parcel_names`."""

    sample: object
    shapes: np.ndarray
    shape_names: np.ndarray
    heights: np.ndarray | None
    radii: np.ndarray | None
    edge: object
    above: object
    parcels: np.ndarray
    parcel_names: np.ndarray


@dataclass(frozen=True)
class Cut:
    """One cross-section.

    `across`, `ground` (place,) distances across and elevations, nan where the ground is not known; `wire` where it
    is in violation; `required` and `actual` lines, of two places where they are straight, else a circle about the wire;
    `things` pairs of a kind and a line: "top" what counts of an obstacle at its own height, "stem" what stands at a
    point, "fall" the way of its top; `edges` of the right-of-way, distances across; `bounds` of what
    must be shown: least and greatest across, least and maximum elevation. Lines have the shape (place, 2). All in
    metres.
    """

    across: np.ndarray
    ground: np.ndarray
    wire: tuple
    required: np.ndarray
    actual: np.ndarray
    things: tuple
    edges: tuple
    bounds: tuple


def drawable(rows):
    """Return which rows of `violations` have a place across the line, bool (row,)."""
    return (rows["offset_m"].notna() & rows["wire_elevation_m"].notna()).to_numpy()


def cut_places(rows, right, abouts, *, wide=1.0):
    """Return where the ground is asked for cross-sections.

    Parameters
    ----------
    rows : GeoDataFrame
        Of `violations`.
    right : ndarray, shape (row, 2)
        Unit vectors in the grid to the right of their spans.
    abouts : sequence of About
        What stands about each.
    wide : float
        How much wider than what must be shown.

    Returns
    -------
    across : ndarray, shape (row, place)
        [m]
    places : ndarray, shape (row, place, 2)
        Easting and northing [m].
    """
    point = shapely.get_coordinates(rows.geometry.values)
    across = np.array([row.offset_m + wide * _half(row, about) * np.linspace(-1, 1, _PLACES)
                       for row, about in zip(rows.itertuples(), abouts, strict=True)])
    across = across.reshape(-1, _PLACES)
    aside = across - rows["offset_m"].to_numpy(float)[:, None]
    return across, point[:, None] + aside[..., None] * right[:, None]


def cut_of(row, right, across, ground, about):
    """Return the cross-section of a row.

    Parameters
    ----------
    row : namedtuple
        Of `violations`.
    right : ndarray, shape (2,)
        Unit vector to the right of its span.
    across, ground : ndarray, shape (place,)
        Of `cut_places`, and the elevations there [m].
    about : About
    """
    point, half = np.array([row.geometry.x, row.geometry.y]), _half(row, about)
    wide = (across[-1] - across[0]) / 2
    required, actual = _room(row, across, ground)
    z = [row.wire_elevation_m, row.other_elevation_m, row.wire_elevation_m - row.required_m]
    middle, tall = (np.nanmin(z) + np.nanmax(z)) / 2, 2 * half / SHAPE
    return Cut(across, ground, (row.offset_m, row.wire_elevation_m), required, actual,
               (*_things(row, point, right, wide, about), *_surface(row, point, right, across, about)),
               tuple(_edges(row, point, right, wide, about)),
               (row.offset_m - half, row.offset_m + half, middle - tall / 2, middle + tall / 2))


def cut_words(row):
    """Return what a cross-section is of, and what it shows, in two lines of words."""
    name = row.obstacle if isinstance(row.obstacle, str) else row.against.replace("_", " ")
    how = {"vertical": "", "horizontal": ", beside", "radial": ", in space"}[row.measure]
    falls = ", falling" if row.position == "falling" else ""
    return (f"{row.span} {name}, {row.case}{how}{falls}; station {row.station_m:.1f}",
            f"is {row.actual_m:.2f} m, required {row.required_m:.2f} m: short by {-row.margin_m:.2f} m")


def _half(row, about):
    """Half of the width that is shown [m]: the wire with what is there and required, the centre of the span, and what
    stands at a point as far as it is high."""
    high = abs(row.wire_elevation_m - row.other_elevation_m) if pd.notna(row.other_elevation_m) else 0.0
    reach = max(row.required_m, row.actual_m, 0.0)
    own = about.shapes[about.shape_names == row.obstacle] if row.position == "falling" else []
    foot = min((shape.distance(row.geometry) for shape in own), default=0.0)
    return max(_HALF, 1.3 * reach, 0.75 * (high + row.required_m) * SHAPE, abs(row.offset_m) + 2.0, 1.2 * foot)


def _room(row, x, ground):
    """What is required and what is there, as the measure has it: lengths are those of the row.

    A circle of less than nothing, where a falling top reaches past the wire, is as large as it reaches past.
    """
    at = np.array([row.offset_m, row.wire_elevation_m])
    if row.measure == "radial":
        turn = np.linspace(0, 2 * np.pi, _TURN)
        round_ = np.column_stack([np.cos(turn), np.sin(turn)])
        return at + row.required_m * round_, at + row.actual_m * round_
    way = np.array([_side(row, x, ground), 0.0] if row.measure == "horizontal" else
                   [0.0, -1.0 if row.position == "above" else 1.0])
    return tuple(np.array([at, at + length * way]) for length in (row.required_m, row.actual_m))


def _side(row, x, ground):
    """Side on which a thing beside a wire is: where the ground, else the centre of the span, is nearer in height."""
    if row.against != "ground":
        return 1.0 if row.offset_m >= 0 else -1.0
    high = [np.interp(row.offset_m + side * row.actual_m, x, ground) for side in (1.0, -1.0)]
    return 1.0 if np.nan_to_num(high[0], nan=-np.inf) >= np.nan_to_num(high[1], nan=-np.inf) else -1.0


def _things(row, point, right, reach, about):
    """Yield the thing that counts, as far as it lies about the cut: at its own height, in plan at its own distance."""
    if not isinstance(row.obstacle, str):
        return
    line = shapely.linestrings([point - reach * right, point + reach * right])
    for k in np.flatnonzero(about.shape_names == row.obstacle):
        shape = about.shapes[k]
        if shapely.distance(shape, shapely.points(point)) > reach:
            continue
        if shapely.get_dimensions(shape) == 0:
            height = np.nan if about.heights is None else about.heights[k]
            crown = 0.0 if about.radii is None else about.radii[k]
            yield from _standing(row, shapely.get_coordinates(shape)[0], point, right, height, crown, about)
            continue
        for part in shapely.get_parts(shapely.intersection(shape, line)):
            at = (shapely.get_coordinates(part) - point) @ right + row.offset_m
            if len(at) and np.isfinite(row.other_elevation_m):
                yield "top", np.array([[at.min(), row.other_elevation_m], [at.max(), row.other_elevation_m]])


def _surface(row, point, right, across, about):
    """Yield the highest that a surface has along the cut and a little before and behind it, where something stands:
    the place of a sloping wire that is nearest to a thing is not right beside it."""
    if about.above is None:
        return
    places = point + (across - row.offset_m)[:, None] * right + _BESIDE[:, None, None] * [-right[1], right[0]]
    z = np.fmax.reduce(about.above(*places.reshape(-1, 2).T).reshape(len(_BESIDE), -1))
    stands = np.flatnonzero(np.isfinite(z))
    for run in np.split(stands, np.flatnonzero(np.diff(stands) > 1) + 1) if len(stands) else ():
        yield "top", np.column_stack([across[run], z[run]])


def _standing(row, foot, point, right, height, crown, about):
    """Yield what stands at a point: its stem and crown; where it falls, the arc of its top as far as that meets the
    cut."""
    at, base = float((foot - point) @ right + row.offset_m), float(about.sample(*foot))
    if np.isnan(height) or np.isnan(base):
        return
    yield "stem", np.array([[at, base], [at, base + height]])
    if row.position == "falling":
        # What the top reaches is a sphere about the foot: the cut has a circle of it.
        away = float((foot - point) @ np.array([-right[1], right[0]]))
        turn = np.linspace(0, np.pi, _ARC)
        yield "fall", np.array([at, base]) + np.sqrt(max(height**2 - away**2, 0.0)) * np.column_stack(
            [np.cos(turn), np.sin(turn)])
    elif crown > 0:
        yield "stem", np.array([[at - crown, base + height], [at + crown, base + height]])


def _edges(row, point, right, half, about):
    """Yield where the edges of the right-of-way meet the cut."""
    if about.edge is None:
        return
    line = shapely.linestrings([point - half * right, point + half * right])
    for place in shapely.get_coordinates(shapely.intersection(about.edge, line)):
        yield float((place - point) @ right + row.offset_m)
