"""Connected stretches of swung wires that fall short of the ground or of what is below them."""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.clearance.chords import cut_chords
from corridor.clearance.crossings import cross
from corridor.clearance.ground import ground_rows
from corridor.clearance.sweep import GROUND
from corridor.clearance.swept_area import widened
from corridor.geometry.catenary import plane_of, points
from corridor.geometry.distance import heights
from corridor.line.swing import to_grid

__all__ = ["swung_stretches"]

#: Vertices of a stretch, and half the length drawn for one that is a mere crossing point [m].
_PLACES = 17
_HALF = 0.5

#: Nodes of one object farther apart than this share of the wire are not joined [-].
_APART = 0.02


class _Nodes(NamedTuple):
    """Places (node,) of violations: which violation, share of the wire [-], and margin [m]."""

    owner: np.ndarray
    share: np.ndarray
    margin: np.ndarray


def swung_stretches(scene, columns, checked, swept, ground, index):
    """Return the rows of `violation_stretches` of wires in wind: of each violation the worst wire at its worst swing.

    Parameters
    ----------
    scene : Scene
    columns : dict of ndarray
        Columns of `clearances`.
    checked : Checked
        The compared rows that `columns` is made of.
    swept : Swept
        `step` tells by how much objects were widened.
    ground : Ground
    index : ObstacleIndex

    Returns
    -------
    dict of ndarray
    """
    windy = np.array([case.wind > 0 for case in scene.cases])[checked.case]
    short = np.flatnonzero((columns["margin_m"] < 0) & (checked.measure == "vertical") & windy)
    blown = swept.blown.take(_places(swept.checked, checked, short))
    chords = cut_chords(scene, blown)
    if not len(short):
        return {name: columns[name][short] for name in ("line", "span", "option", "case", "against", "obstacle",
                                                        "wire", "geometry")} | {
            "length_m": np.empty(0), "worst_margin_m": np.empty(0)}
    side = np.where(columns["position"][short] == "below", -1.0, 1.0)
    required = columns["required_m"][short] + np.where(side < 0, chords.depth, 0.0)
    nodes = _nodes(chords, ground, widened(index, chords.start[:, :2], swept.step), checked.obstacle[short], side,
                   required)
    owner, low, high, worst = _runs(nodes)
    keys = ("line", "span", "option", "case", "against", "obstacle", "wire")
    of = short[owner]
    S = scene.wires.length[blown.wire[owner]]
    return {name: columns[name][of] for name in keys} | {
        "length_m": (high - low) * S, "worst_margin_m": np.minimum(worst, 0.0),
        "geometry": _curves(scene, blown.take(owner), low, high, S)}


def _places(compared, checked, short):
    """Rows of the comparison that chosen rows of the findings stand for."""
    def keys(table, rows):
        return zip(*(getattr(table, name)[rows].tolist() for name in ("wire", "option", "case", "obstacle", "measure",
                                                                    "position")), strict=True)

    every = np.arange(len(compared.wire))
    at = {key: place for place, key in enumerate(keys(compared, every))}
    return np.array([at[key] for key in keys(checked, short)], int)


def _nodes(chords, ground, index, obstacle, side, required):
    """Margins at every node of the ground, or of the object, that each violation is of."""
    profile = ground.profiles(*chords.start[:, :2].T, *chords.end[:, :2].T)
    surface = ground_rows(chords, profile.first, profile.fraction, profile.elevation)
    crossed = cross(chords, index, surface, ground.sample)
    parts = []
    for rows, chord, thing in ((surface, np.arange(len(chords)), np.full(len(chords), GROUND)),
                               (crossed.rows, crossed.wire, crossed.obstacle)):
        row = np.repeat(np.arange(len(chord)), np.diff(rows.first))
        c = chord[row]
        owner = chords.span[c]
        z = heights(rows.fraction, rows.span[row], rows.start[row], rows.rise[row], chords.constant[c])
        margin = (z - rows.surface) * side[owner] - required[owner]
        count = chords.local.shape[1] - 1
        mine = thing[row] == obstacle[owner]
        parts.append(_Nodes(owner[mine], ((c % count + rows.fraction) / count)[mine], margin[mine]))
    nodes = _Nodes(*(np.concatenate(part) for part in zip(*parts, strict=True)))
    order = np.lexsort((nodes.share, nodes.owner))
    return _Nodes(*(field[order] for field in nodes))


def _runs(nodes):
    """Violation, ends [-] and worst margin [m] of every run of nodes that fall short; at least the worst node."""
    lowest = np.lexsort((np.where(np.isnan(nodes.margin), np.inf, nodes.margin), nodes.owner))
    first = lowest[np.flatnonzero(np.diff(nodes.owner[lowest], prepend=-1))]
    bad = nodes.margin < 0
    bad[first] = True
    at = np.flatnonzero(bad)
    joined = (np.diff(at) == 1) & (np.diff(nodes.owner[at]) == 0) & (np.diff(nodes.share[at]) < _APART)
    begin = np.flatnonzero(np.r_[True, ~joined][:len(at)])
    stop = np.r_[begin[1:], len(at)] - 1
    worst = np.fmin.reduceat(nodes.margin[at], begin) if len(at) else np.empty(0)
    return nodes.owner[at[begin]], nodes.share[at[begin]], nodes.share[at[stop[:len(begin)]]], worst


def _curves(scene, blown, low, high, length):
    """The stretches in space; a mere point is drawn a metre long."""
    thin = (high - low) * length < 2 * _HALF
    middle, half = (low + high) / 2, _HALF / length
    a, b = (np.clip(np.where(thin, middle + sign * half, v), 0, 1) for sign, v in ((-1, low), (1, high)))
    share = a[:, None] + (b - a)[:, None] * np.linspace(0, 1, _PLACES)
    plane = plane_of(blown.start, blown.end, blown.load)
    local = points(blown.start, plane, blown.tension / plane.load, share)
    return shapely.linestrings(to_grid(local, scene.structures, scene.spans, scene.wires.span[blown.wire]))
