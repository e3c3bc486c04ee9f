"""Vertical clearance of wires: to the ground, and to what they pass over or under."""

import numpy as np

from corridor.clearance.checked import keys_of, placed, worst_of
from corridor.geometry.distance import Ends, Least, elevations, heights, least_heights, take_rows

__all__ = ["least_past", "past_in_still_air"]


def past_in_still_air(scene, met, side, constant, cases, ends=None, depth=None):
    """Return the minimum vertical distance of every span from what its wires have above or below, in still air.

    Parameters
    ----------
    scene : Scene
    met : Crossed
        What they cross, or the ground (`ground_as_crossed`).
    side : ndarray, shape (row of met,)
        1 where the wire shall pass above, -1 below.
    constant : ndarray, shape (wire span, option, case)
        [m]
    cases : ndarray of int
        The cases without wind in which vertical clearance is asked for.
    ends : Ends, optional
        Of shape (wire span, option, case), where strings have moved the wires' ends.
    depth : ndarray, shape (wire span, option, case), optional
        From the wires up to the highest of their bundles, which counts below things [m].

    Returns
    -------
    Checked
    """
    def states(values):
        """Columns of the rows, one per option and case."""
        chosen = values[met.wire][:, :, cases]
        return chosen.reshape(len(chosen), chosen.shape[1] * len(cases))

    least = least_past(met.rows, states(constant), side, None if ends is None else Ends(*map(states, ends)),
                       0.0 if depth is None else states(depth))
    row = worst_of(keys_of(scene.wires.span[met.wire], met.obstacle), least.height)
    group, state = np.nonzero(row >= 0)
    row = row[group, state]
    option, case = np.divmod(state, max(len(cases), 1))
    height, share, elevation = (v[row, state] for v in least)
    wire, way = met.wire[row], side[row]
    position = np.where(way > 0, "above", "below")
    start, end = scene.frame.start[wire, 0], scene.frame.end[wire, 0]
    place = np.column_stack([start + share * (end - start), np.full(len(row), np.nan), elevation])
    return placed(scene, wire, option, cases[case], met.obstacle[row], "vertical", position, height, place,
                  elevation - height * way)


def least_past(rows, constant, side, ends=None, depth=0.0):
    """Return how far wires are above surfaces at least, or below them, in each state.

    Parameters
    ----------
    rows : Rows
    constant : ndarray, shape (row, state)
        [m]
    side : ndarray, shape (row,)
        1 above, -1 below.
    ends : Ends, optional
        As in `least_heights`.
    depth : array_like, shape (row, state)
        From the wires up to the highest of their bundles, which counts below [m].

    Returns
    -------
    Least
        `height` above or below, `elevation` of the wire that counts.
    """
    least, under = least_heights(rows, constant, ends=ends), np.flatnonzero(side < 0)
    if len(under):
        up = np.broadcast_to(depth, constant.shape)[under]
        height, place, elevation = _least_below(rows, constant, under, ends)
        for whole, part in zip(least, (height - up, place, elevation + up), strict=True):
            whole[under] = part
    return least


def _least_below(rows, constant, index, ends):
    """Minimum height of the object above the wire at the nodes of rows, its place and elevation.

    Crossing lines have nodes where they are crossed and nowhere else, so the nodes are all there is.
    """
    rows, C = take_rows(rows, index), constant[index]
    count = np.diff(rows.first)
    place = np.arange(count.max(initial=1))
    node = np.minimum(rows.first[:-1, None] + place, max(len(rows.fraction) - 1, 0))
    t, top = rows.fraction[node], rows.surface[node]

    def at(t):
        """Elevations (row, state, ...) at places of the rows."""
        if ends is None:
            return heights(t, *(v[:, None, None] for v in (rows.span, rows.start, rows.rise)), C[..., None])
        moved = Ends(*(field[index][..., None] for field in ends))
        return elevations(t, rows.span[:, None, None], C[..., None], moved)

    above = top[:, None] - at(t[:, None])
    above = np.where(np.isnan(above) | (place >= count[:, None])[:, None], np.inf, above)
    best = above.argmin(axis=-1)[..., None]
    least = np.take_along_axis(above, best, -1)[..., 0]
    where = np.take_along_axis(np.broadcast_to(t[:, None], above.shape), best, -1)
    known = np.isfinite(least)
    return Least(*(np.where(known, v, np.nan) for v in (least, where[..., 0], at(where)[..., 0])))
