"""Which features of a layer are near enough to the line to be of concern, and what the layer held.

Of a layer of very many features those are read that its spatial index has near: a network needs little of a country.
"""

import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

import numpy as np
import shapely

from corridor.inputs.frame import horizontal, transformer
from corridor.inputs.layers import numbers_within
from corridor.line.facts import LayerRead

__all__ = ["boxes_about", "indexed", "kept", "together"]

#: Spans of a line in one box.
_SPANS = 100
#: Fewer features than this are read whole.
_MANY = 100_000
#: Beyond these nothing is, in degrees and in feet or metres.
_DEGREES, _AWAY = (361.0, 90.01), (1e9, 1e9)
#: Greatest radius of a feature [m], and how much larger than asked boxes are taken in another CRS [-].
_RADIUS, _WIDER = 500.0, 0.01


def boxes_about(structures):
    """Return boxes that hold all spans of lines (box, 4): least easting and northing, greatest ones [m]."""
    line, place = structures.line, np.stack([structures.easting, structures.northing], axis=1)
    starts = np.flatnonzero(np.r_[True, line[1:] != line[:-1]])
    ends = np.r_[starts[1:], len(line)]
    runs = [place[first:min(first + _SPANS + 1, end)] for start, end in zip(starts, ends, strict=True)
            for first in range(start, max(end - 1, start + 1), _SPANS)]
    return np.array([[*run.min(axis=0), *run.max(axis=0)] for run in runs])


def indexed(layer, frame, boxes, reach):
    """Return the numbers (fid) of features that the spatial index of a layer has near a line, ascending; None where the
    layer is to be read whole.

    Parameters
    ----------
    layer : Layer
    frame : Frame
    boxes : ndarray, shape (box, 4), or None
        As of `boxes_about`.
    reach : float
        Distance from the boxes within which features may matter [m], beside their own radius.

    Notes
    -----
    The layer is read whole where it has no more than 100,000 features, where it has no index of GeoPackage, where the
    index lacks a feature (one without a place is told of, wherever the line is), and where nothing is near by it.
    """
    if boxes is None or layer.features <= _MANY or not _has_all(layer):
        return None
    wide = boxes + (reach + _RADIUS) * np.array([-1, -1, 1, 1])
    change = transformer(frame.crs, horizontal(layer.crs))
    try:
        own = np.array([change.transform_bounds(*box, densify_pts=21) for box in wide])
    except ValueError:  # pyproj's own, of a box that has no place there
        return None
    # A box over the meridian of 180 degrees has its eastern end before its western one.
    if not (np.isfinite(own).all() and (own[:, 2:] > own[:, :2]).all()):
        return None
    size = _WIDER * (own[:, 2:] - own[:, :2]).max(axis=1)
    found = numbers_within(layer, own + size[:, None] * np.array([-1, -1, 1, 1]))
    return found if len(found) else None


def _has_all(layer):
    """Whether a spatial index of GeoPackage (OGC 12-128, annex F.3) has all features of a layer, each somewhere on the
    Earth."""
    path, most = Path(layer.path), _DEGREES if layer.crs.is_geographic else _AWAY
    if not path.is_file():
        return False
    try:
        with closing(sqlite3.connect(f"file:{quote(str(path))}?mode=ro", uri=True)) as database:
            column, = database.execute("SELECT column_name FROM gpkg_geometry_columns WHERE table_name = ?",
                                       [layer.name]).fetchone() or (None,)
            index = f"rtree_{layer.name}_{column}".replace('"', '""')
            sound, = database.execute(f'SELECT count(*) FROM "{index}" WHERE minx > -:x AND maxx < :x '
                                      "AND miny > -:y AND maxy < :y", {"x": most[0], "y": most[1]}).fetchone()
            return column is not None and sound == layer.features
    except sqlite3.Error:
        return False


def kept(rows, boxes, reach, source=None, left_out=None, counted=None):
    """Return the rows that are near the line, and a LayerRead of all of them, without its name.

    Parameters
    ----------
    rows : dict of ndarray
        Columns of `Obstacles`, in the frame, and `without_unit`, where voltages are numbers without unit, and
        `several`, where one text holds more than one.
    boxes : ndarray, shape (box, 4), or None
        As of `boxes_about`; None: everything is kept.
    reach : float
        Distance from the boxes within which features are kept [m], beside their own radius.
    source : (Portion, CRS, Frame), optional
        What the rows are from; without it nothing is told of exchanged axes.
    left_out : Counter, optional
        Values for which rows were left out.
    counted : ndarray, optional
        Numbers of the rows that were not, where some may be.
    """
    near = _near(rows, boxes, reach)
    box = shapely.bounds(rows["geometry"])
    box = box[np.isfinite(box).all(axis=1)]
    whole = np.r_[box[:, :2].min(axis=0), box[:, 2:].max(axis=0)] if len(box) else np.full(4, np.nan)
    swapped = source is not None and not near.any() and _near_if_swapped(*source, boxes, reach)
    own = {name: values[near] for name, values in rows.items()}
    row = np.flatnonzero(own.pop("without_unit", np.zeros(near.sum(), bool)))
    several = int(own.pop("several", np.zeros(0)).sum())
    return own, LayerRead("", len(near), int(near.sum()), whole, swapped,
                          tuple(zip(own["obstacle"][row], own["voltage"][row].tolist(), strict=True)),
                          left_out or Counter(), several, counted)


def _near_if_swapped(portion, crs, frame, boxes, reach):
    """Whether any of the first features would be near the line with its axes exchanged."""
    some = shapely.force_2d(portion.geometry[portion.fault == ""][:100])
    turned = frame.transform(shapely.transform(some, lambda xy: xy[:, ::-1]), crs)
    with np.errstate(invalid="ignore"):
        box = shapely.bounds(turned)
    sound = np.isfinite(box).all(axis=1)
    return bool(_near({"geometry": turned[sound], "radius": np.zeros(sound.sum())}, boxes, reach).any())


def together(name, portions_held):
    """Return the LayerRead of a layer from those of its portions."""
    boxes = np.array([held.bounds for held in portions_held] or [np.full(4, np.nan)])
    whole = np.r_[np.fmin.reduce(boxes[:, :2]), np.fmax.reduce(boxes[:, 2:])]
    return LayerRead(name, sum(held.features for held in portions_held), sum(held.near for held in portions_held),
                     whole, any(held.swapped for held in portions_held),
                     tuple(each for held in portions_held for each in held.without_unit),
                     sum((held.left_out for held in portions_held), Counter()),
                     sum(held.several for held in portions_held),
                     None if not portions_held or portions_held[0].counted is None else
                     np.concatenate([held.counted for held in portions_held]))


def _near(rows, boxes, reach):
    if boxes is None:
        return np.ones(len(rows["fault"]), bool)
    box = shapely.bounds(rows["geometry"])
    reach = reach + np.nan_to_num(rows["radius"])
    # What has no place cannot be told to be far.
    near = ~np.isfinite(box).all(axis=1)
    placed = np.flatnonzero(~near)
    own = box[placed] + reach[placed, None] * np.array([-1, -1, 1, 1])
    near[placed[shapely.STRtree(shapely.box(*boxes.T)).query(shapely.box(*own.T))[0]]] = True
    return near
