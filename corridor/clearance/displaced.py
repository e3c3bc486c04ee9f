"""Ground below wires that strings hold aside of where they rest: each state has ground of its own."""

import numpy as np

from corridor.clearance.vertical import Checked, worst_of
from corridor.geometry.distance import Rows, least_heights
from corridor.line.swing import to_grid

__all__ = ["ASIDE", "below_chords", "beside_rest"]

#: Wires that strings hold farther aside than this from where they rest have ground of their own [m].
ASIDE = 0.01


def beside_rest(scene, chosen, cases, ground):
    """Return the least height over the ground of wires in still air, along the very lines they hang in.

    Where the line turns at a suspension structure its string leans inward, more or less with the tension. On a side
    slope the ground then differs from state to state.

    Parameters
    ----------
    scene : Scene
    chosen : ndarray of bool, shape (wire span,)
        Whole spans.
    cases : ndarray of int
        In still air.
    ground : Ground

    Returns
    -------
    Checked
        As `over_ground` gives for the other spans.
    """
    wires, hung = scene.wires, scene.hung
    w, o, k = (v.ravel() for v in np.meshgrid(np.flatnonzero(chosen), np.arange(len(scene.options)), cases,
                                              indexing="ij"))
    known = np.isfinite(hung.horizontal_tension[w, o, k, 0]) & np.isfinite(wires.start[w, 2] + wires.end[w, 2])
    w, o, k = w[known], o[known], k[known]
    found = below_chords(scene, w, hung.start[w, o, k, 0], hung.end[w, o, k, 0], scene.constant[w, o, k], ground)
    return _rows(scene, w, o, k, *found)


def below_chords(scene, wire, start, end, constant, ground):
    """Return the least height over the ground of wires that hang between given ends.

    Parameters
    ----------
    scene : Scene
    wire : ndarray of int, shape (n,)
        Wire spans.
    start, end : ndarray, shape (n, 3)
        In the frames of their spans [m].
    constant : ndarray, shape (n,)
        Catenary constant [m].
    ground : Ground

    Returns
    -------
    height, fraction, elevation : ndarray, shape (n,)
        [m]; the place as a share of the wire at rest; elevation of the wire there [m].
    """
    plan = [to_grid(point, scene.structures, scene.spans, scene.wires.span[wire])[:, :2] for point in (start, end)]
    profile = ground.profiles(*plan[0].T, *plan[1].T)
    length = np.linalg.norm((end - start)[:, :2], axis=-1)
    rows = Rows(profile.first, profile.fraction, profile.elevation, length, start[:, 2], end[:, 2] - start[:, 2])
    height, place, elevation = (v[:, 0] for v in least_heights(rows, constant[:, None]))
    chord = (scene.frame.end - scene.frame.start)[wire, :2]
    shift = ((start - scene.frame.start[wire])[:, :2] * chord).sum(axis=1) / scene.wires.length[wire]
    return height, (shift + place * length) / scene.wires.length[wire], elevation


def _rows(scene, w, o, k, height, place, elevation):
    """Columns of the worst wire of each span, option and case."""
    key = (scene.wires.span[w] * len(scene.options) + o) * len(scene.cases) + k
    row = worst_of(key, height[:, None])[1][:, 0]
    r = row[row >= 0]
    blank = np.full(len(r), np.nan)
    return Checked(w[r], o[r], k[r], np.full(len(r), -1), np.full(len(r), "vertical", object),
                   np.full(len(r), "above", object), height[r], place[r], elevation[r], elevation[r] - height[r], blank)
