"""Structures raised by standard steps, and what a raise is worth at a place in a span, to first order."""

from dataclasses import fields, replace

import numpy as np

__all__ = ["grading_volume", "lift_rows", "raise_structures", "raised_name", "uplift_rows"]

#: Wires that pull a string down by less than this much of its weight are said to lift it (with the string's own).
_HELD = 1.5


def raised_name(framing, height):
    """Return the name of a framing whose wires all hang higher by `height` [m].

    >>> raised_name("S18", 1.5)
    'S18 +1.5 m'
    """
    return f"{framing} +{height:g} m"


def raise_structures(structures, framings, height):
    """Return structures and framings with every wire of each structure higher by a height of its own.

    Parameters
    ----------
    structures : Structures
    framings : Framings
    height : ndarray, shape (structure,)
        Raise [m]; 0 leaves a structure as it stands.

    Returns
    -------
    structures : Structures
    framings : Framings
        With a framing added for every pair of framing and raise.
    """
    moved = np.flatnonzero(height)
    names = structures.framing.copy()
    for i in moved:
        names[i] = raised_name(structures.framing[i], height[i])
    pairs = dict.fromkeys((structures.framing[i], float(height[i])) for i in moved)
    rows = [(np.flatnonzero(framings.framing == framing), rise) for framing, rise in pairs]
    source = np.concatenate([np.arange(len(framings.framing)), *(row for row, _ in rows)])
    rise = np.concatenate([np.zeros(len(framings.framing)), *(np.full(len(row), r) for row, r in rows)])
    columns = {f.name: getattr(framings, f.name) for f in fields(framings)}
    columns = {name: None if values is None else values[source] for name, values in columns.items()}
    columns["framing"] = np.array([raised_name(name, r) if r else name
                                   for name, r in zip(columns["framing"], rise, strict=True)], object)
    columns["height"] = columns["height"] + rise
    return replace(structures, framing=names), type(framings)(**columns)


def lift_rows(clearances, tail, head, length):
    """Return how much the actual clearance of each row grows with a raise of the two ends of its span [-].

    A raise `r` of one end lifts the point of the wire at the share `x` of the span by `r (1 - x)`, as the chord does,
    while its tension stays. A wire above something gains that, a wire below loses it, and of a distance in space
    counts the share that the lift has in its direction, `(z_wire - z_other) / distance`. A distance sideways counts 0.

    Parameters
    ----------
    clearances : dict of ndarray, shape (row,)
        Columns of the layer `clearances`.
    tail, head : ndarray of int, shape (row,)
        Structures at the ends of the row's span.
    length : ndarray, shape (row,)
        Of the span [m].

    Returns
    -------
    row, structure : ndarray of int, shape (2 row,)
    lift : ndarray, shape (2 row,)
    """
    x = np.clip(clearances["distance_from_start_m"] / length, 0, 1)
    apart = (clearances["wire_elevation_m"] - clearances["other_elevation_m"]).astype(float)
    actual = np.maximum(np.abs(clearances["actual_m"].astype(float)), 1e-9)
    radial = np.nan_to_num(np.clip(apart / actual, -1, 1))
    sign = np.where(clearances["position"] == "below", -1.0, 1.0)
    way = np.select([clearances["measure"] == "vertical", clearances["measure"] == "radial"], [sign, radial], 0.0)
    row = np.arange(len(x))
    return np.r_[row, row], np.r_[tail, head], np.r_[way * (1 - x), way * x]


def uplift_rows(loads, line_place, tension, weight):
    """Return the linear limits that keep wires from lifting suspension strings.

    A raise `r` of a structure adds `H (1/L1 + 1/L2) r` to the pull of a wire on it, and takes `H r / L` from its
    neighbours'. A string of weight `W` is lifted where the pull, string included, is below `1.5 W`.

    Parameters
    ----------
    loads : dict of ndarray, shape (row,)
        Rows of `structure_loads` at suspension strings.
    line_place : ndarray of int, shape (row, 3)
        The structure before, the structure itself, the one after.
    tension : ndarray, shape (row, 2)
        `H / L` of the span before and after [N/m].
    weight : ndarray, shape (row,)
        Of the string [N].

    Returns
    -------
    row, structure, coefficient
        As `lift_rows`, the coefficients in N/m.
    room : ndarray, shape (row,)
        What the pull may lose [N].
    """
    before, after = tension.T
    row = np.arange(len(before))
    coefficient = np.r_[-before, before + after, -after]
    return np.tile(row, 3), line_place.T.ravel(), coefficient, loads["vertical_n"].astype(float) - _HELD * weight


def grading_volume(depth, length, width):
    """Return the soil to take away so that a stretch clears [m3], an estimate.

    The shortfall along the stretch is taken as a parabola over its length and level across the wires:
    `V = 2/3 d L b`.

    Parameters
    ----------
    depth, length, width : array_like
        Greatest shortfall `d`, length `L` of the stretch and breadth `b` of the cut [m].
    """
    d, L, b = depth, length, width
    return 2 / 3 * d * L * b
