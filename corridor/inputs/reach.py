"""Which features of a layer are near enough to the line to be of concern, and what the layer held."""

from collections import Counter

import numpy as np
import shapely

from corridor.line.facts import LayerRead

__all__ = ["kept", "together"]


def kept(rows, bounds, reach, source=None, left_out=None, counted=None):
    """Return the rows that are near the line, and a LayerRead of all of them, without its name.

    Parameters
    ----------
    rows : dict of ndarray
        Columns of `Obstacles`, in the frame, and `without_unit`, where voltages are numbers without unit, and
        `several`, where one text holds more than one.
    bounds : (float, float, float, float) or None
        Of the line [m]; None: everything is kept.
    reach : float
        Distance from the bounds within which features are kept [m], beside their own radius.
    source : (Portion, CRS, Frame), optional
        What the rows are from; without it nothing is told of exchanged axes.
    left_out : Counter, optional
        Values for which rows were left out.
    counted : ndarray, optional
        Numbers of the rows that were not, where some may be.
    """
    near = _near(rows, bounds, reach)
    box = shapely.bounds(rows["geometry"])
    box = box[np.isfinite(box).all(axis=1)]
    whole = np.r_[box[:, :2].min(axis=0), box[:, 2:].max(axis=0)] if len(box) else np.full(4, np.nan)
    swapped = source is not None and not near.any() and _near_if_swapped(*source, bounds, reach)
    own = {name: values[near] for name, values in rows.items()}
    row = np.flatnonzero(own.pop("without_unit", np.zeros(near.sum(), bool)))
    several = int(own.pop("several", np.zeros(0)).sum())
    return own, LayerRead("", len(near), int(near.sum()), whole, swapped,
                          tuple(zip(own["obstacle"][row], own["voltage"][row].tolist(), strict=True)),
                          left_out or Counter(), several, counted)


def _near_if_swapped(portion, crs, frame, bounds, reach):
    """Whether any of the first features would be near the line with its axes exchanged."""
    some = shapely.force_2d(portion.geometry[portion.fault == ""][:100])
    turned = frame.transform(shapely.transform(some, lambda xy: xy[:, ::-1]), crs)
    with np.errstate(invalid="ignore"):
        box = shapely.bounds(turned)
    sound = np.isfinite(box).all(axis=1)
    return bool(_near({"geometry": turned[sound], "radius": np.zeros(sound.sum())}, bounds, reach).any())


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


def _near(rows, bounds, reach):
    if bounds is None:
        return np.ones(len(rows["fault"]), bool)
    box = shapely.bounds(rows["geometry"])
    reach = reach + np.nan_to_num(rows["radius"])
    far = (box[:, 0] > bounds[2] + reach) | (box[:, 2] < bounds[0] - reach)
    far |= (box[:, 1] > bounds[3] + reach) | (box[:, 3] < bounds[1] - reach)
    # What has no place cannot be told to be far: nan compares False and is kept.
    return ~(far & np.isfinite(box).all(axis=1))
