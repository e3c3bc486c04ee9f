"""What remedies do to structures and framings, and what they are worth at a place in a span, to first order."""

from dataclasses import fields, replace
from typing import NamedTuple

import numpy as np

__all__ = ["NONE", "Change", "added_lift", "change_structures", "lift_rows", "lift_way", "raise_structures",
           "uplift_rows"]

#: Wires that pull a string down by less than this much of its weight are said to lift it (with the string's own).
_HELD = 1.5


class Change(NamedTuple):
    """What is done to a structure: `rise` of all wires [m]; suspension strings of phases `shorter` by so much [m] or
    made posts, or all strings made strain strings (`string`)."""

    rise: float = 0.0
    shorter: float = 0.0
    string: str = ""

    def named(self, framing):
        """Return the name of a framing that is so changed.

        >>> Change(1.5, string="post").named("S18")
        'S18 post +1.5 m'
        """
        words = [framing] + [self.string] * bool(self.string)
        words += [f"strings {-self.shorter:g} m"] * bool(self.shorter) + [f"{self.rise:+g} m"] * bool(self.rise)
        return " ".join(words)


#: Nothing is done.
NONE = Change()


def change_structures(structures, framings, changes):
    """Return structures and framings of which some are changed.

    Parameters
    ----------
    structures : Structures
    framings : Framings
    changes : sequence of Change, length structure

    Returns
    -------
    structures : Structures
        One whose strings are made strain strings is a strain structure.
    framings : Framings
        With a framing added for every pair of framing and change.
    """
    names, role = structures.framing.copy(), structures.role.copy()
    pairs = dict.fromkeys((framing, change) for framing, change in zip(names, changes, strict=True) if change != NONE)
    for i, change in enumerate(changes):
        names[i] = change.named(names[i])
        role[i] = "strain" if change.string == "strain" else role[i]
    parts = [framings, *(_changed(framings, *pair) for pair in pairs)]
    columns = {f.name: [getattr(part, f.name) for part in parts] for f in fields(framings)}
    joined = {name: None if values[0] is None else np.concatenate(values) for name, values in columns.items()}
    return replace(structures, framing=names, role=role), type(framings)(**joined)


def _changed(framings, framing, change):
    """The rows of one framing, changed."""
    own = np.flatnonzero(framings.framing == framing)
    rows = {f.name: getattr(framings, f.name) for f in fields(framings)}
    rows = {name: None if values is None else values[own] for name, values in rows.items()}
    hangs = (rows["string"] == "suspension") & (rows["kind"] == "phase")
    made = hangs if change.string == "post" else np.full(len(own), change.string == "strain")
    rows["framing"] = np.full(len(own), change.named(framing), object)
    rows["string_length"] = rows["string_length"] - np.where(hangs, change.shorter, 0.0)
    rows["string"] = np.where(made, change.string or "", rows["string"]).astype(object)
    rows["height"] = rows["height"] + change.rise
    return type(framings)(**rows)


def raise_structures(structures, framings, height):
    """Return structures and framings with every wire of each structure higher by a height of its own [m], (structure,).

    As `change_structures`; 0 leaves a structure as it stands.
    """
    return change_structures(structures, framings, [Change(float(h)) for h in height])


def lift_way(clearances):
    """Return how much the actual clearance of each row grows with a lift of the wire at its place [-].

    A wire above something gains the lift, a wire below loses it, and of a distance in space counts the share in its
    direction, `(z_wire - z_other) / distance`. A distance sideways counts 0.

    Parameters
    ----------
    clearances : dict of ndarray, shape (row,)
        Columns of the layer `clearances`.
    """
    apart = (clearances["wire_elevation_m"] - clearances["other_elevation_m"]).astype(float)
    actual = np.maximum(np.abs(clearances["actual_m"].astype(float)), 1e-9)
    radial = np.nan_to_num(np.clip(apart / actual, -1, 1))
    sign = np.where(clearances["position"] == "below", -1.0, 1.0)
    return np.select([clearances["measure"] == "vertical", clearances["measure"] == "radial"], [sign, radial], 0.0)


def added_lift(along, length, constant, share, start, end, middle):
    """Return how much higher a wire is with a support more in its span [m].

    To first order a wire of constant `C` between ends at `a` and `b` has the elevation `a + (b - a) x - S^2 x (1 - x) /
    2C` at the share `x` of its span `S`. With a support of elevation `m` at the share `s` the part that holds the place
    is a span of its own, of length `S s` or `S (1 - s)`.

    Parameters
    ----------
    along, length, constant : ndarray
        Place from the start of the span, span and catenary constant [m].
    share : ndarray
        Of the span at which the new support stands [-].
    start, end, middle : ndarray
        Elevation of the wire at both ends and at the new support [m].
    """
    x, S, C, s, a, b, m = np.clip(along / length, 0, 1), length, constant, share, start, end, middle
    first = x < s
    part = np.where(first, s, 1 - s)
    u = np.where(first, x, x - s) / part
    low, high = np.where(first, a, m), np.where(first, m, b)
    now = a + (b - a) * x - S**2 * x * (1 - x) / (2 * C)
    return low + (high - low) * u - (S * part) ** 2 * u * (1 - u) / (2 * C) - now


def lift_rows(clearances, tail, head, length):
    """Return how much the actual clearance of each row grows with a raise of the two ends of its span [-].

    A raise `r` of one end lifts the point of the wire at the share `x` of the span by `r (1 - x)`, as the chord does,
    while its tension stays. What a lift is worth, `lift_way` tells.

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
    way = lift_way(clearances)
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
