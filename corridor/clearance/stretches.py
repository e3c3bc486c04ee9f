"""Connected stretches of wire that are in violation, vertically, of the ground or of what they pass over or under."""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.arrays import join, matches, ragged, take
from corridor.clearance.checked import keys_of
from corridor.clearance.chords import chords_of
from corridor.clearance.crossings import cross, ground_as_crossed, ground_below
from corridor.clearance.swept_area import buffered
from corridor.geometry.distance import Ends, elevations, heights, take_rows
from corridor.line.swing import to_grid

__all__ = ["violation_stretches"]

#: Vertices of a stretch, and half the length drawn for one that is a mere crossing point [m].
_PLACES = 17
_HALF = 0.5

#: Nodes of one swung wire farther apart than this share of it are not joined [-].
_APART = 0.02


class _Nodes(NamedTuple):
    """Places along wires, those of one row of surface after one another; columns (node,).

    `owner` of which only nodes are joined; `of` index of what the caller looks at; `share` of the wire [-]; `margin`
    [m]; `short` whether it is in violation; `middle` whether it is the middle node of a piece of surface.
    """

    owner: np.ndarray
    of: np.ndarray
    share: np.ndarray
    margin: np.ndarray
    short: np.ndarray
    middle: np.ndarray


class _Runs(NamedTuple):
    """Stretches that are in violation, (run,): `of` index of what the caller looks at, ends `low`, `high` [-], `worst`
    margin [m]."""

    of: np.ndarray
    low: np.ndarray
    high: np.ndarray
    worst: np.ndarray


class _Short(NamedTuple):
    """Rows of surface in the state in which their span is in violation; columns (candidate,)."""

    row: np.ndarray
    wire: np.ndarray
    option: np.ndarray
    case: np.ndarray
    required: np.ndarray
    side: np.ndarray
    violation: np.ndarray


def violation_stretches(scene, checked, columns, around, swept=None):
    """Return the rows of `violation_stretches`.

    Parameters
    ----------
    scene : Scene
    checked : Checked
        The compared rows that `columns` is made of, row for row.
    columns : dict of ndarray
        Columns of `clearances`.
    around : Around
        What is below the wires.
    swept : Swept, optional
        Wires in wind.

    Returns
    -------
    dict of ndarray
        In still air every wire of the span with a violation has its own stretches, in wind the worst wire at its worst
        swing. A line crossed at one point gives a stretch of no length, drawn a metre long. Of bundles the lowest wire.
    """
    scene = scene.lowest
    windy = np.array([case.wind > 0 for case in scene.cases])[checked.case]
    short = (columns["margin_m"] < 0) & (checked.measure == "vertical")
    side = np.where(columns["position"] == "below", -1.0, 1.0)
    tables = [_still(scene, checked, columns, side, np.flatnonzero(short & ~windy), met)
              for met in (ground_as_crossed(around.below), around.crossed)]
    if swept is not None and (short & windy).any():
        tables.append(_swung(scene, checked, columns, side, np.flatnonzero(short & windy), swept, around))
    return join(tables)


def _still(scene, checked, columns, side, short, met):
    """Stretches of all wires in still air over (or under) what they meet."""
    c = _candidates(scene, checked, columns, side, short, met.wire, met.obstacle)
    at = c.wire, c.option, c.case
    constant, ends = scene.lying(at, checked.taut[c.violation])
    runs = _runs(_nodes(c, take_rows(met.rows, c.row), constant, ends))
    of = runs.of
    start, end = scene.frame.start[c.wire[of], None], scene.frame.end[c.wire[of], None]

    def curve(share):
        local = start + share[..., None] * (end - start)
        local[..., 2] = elevations(share, scene.wires.length[c.wire[of], None], constant[of, None],
                                   Ends(*(field[of, None] for field in ends)))
        return local

    return _table(scene, columns, runs, c.violation[of], c.wire[of], curve)


def _candidates(scene, checked, columns, side, short, wire, obstacle):
    """Every row of surface that belongs to a violation: same span, same obstacle."""
    key = keys_of(scene.wires.span[np.r_[checked.wire[short], wire]], np.r_[checked.obstacle[short], obstacle])
    of, row = matches(key[:len(short)], key[len(short):])
    violation = short[of]
    option, case = checked.option[violation], checked.case[violation]
    # Below a thing it is the highest wire of a bundle that is in violation, and the lowest by so much more.
    depth = np.where(side[violation] < 0, scene.depth[wire[row], option, case], 0.0)
    return _Short(row, wire[row], option, case, columns["required_m"][violation] + depth, side[violation], violation)


def _nodes(candidates, rows, constant, ends):
    """All nodes of rows of surface, a row of each candidate."""
    c = candidates
    owner, number = ragged(np.diff(rows.first))
    z = elevations(rows.fraction, rows.span[owner], constant[owner], take(ends, owner))
    with np.errstate(invalid="ignore"):
        margin = (z - rows.surface) * c.side[owner] - c.required[owner]
    return _Nodes(owner, owner, rows.fraction, margin, margin < 0, number % 2 == 1)


def _swung(scene, checked, columns, side, short, swept, around):
    """Stretches in wind: of each violation the worst wire at its worst swing."""
    swung = take(swept.swung, _places(swept.checked, checked, short))
    chords = chords_of(scene, swung)
    required = columns["required_m"][short] + np.where(side[short] < 0, chords.depth, 0.0)
    index = buffered(around.index, chords.start[:, :2], swept.step)
    runs = _runs(_swung_nodes(chords, around.ground, index, checked.obstacle[short], side[short], required))
    hung = take(swung, runs.of)
    return _table(scene, columns, runs._replace(worst=np.minimum(runs.worst, 0.0)), short[runs.of],
                  scene.of_way(hung.path)[0], hung.points)


def _places(compared, checked, short):
    """Rows of the comparison that chosen rows of the findings stand for."""
    def keys(table, rows):
        columns = "wire", "option", "case", "obstacle", "measure", "position"
        return zip(*(getattr(table, name)[rows].tolist() for name in columns), strict=True)

    every = np.arange(len(compared.wire))
    at = {key: place for place, key in enumerate(keys(compared, every))}
    return np.array([at[key] for key in keys(checked, short)], int)


def _swung_nodes(chords, ground, index, obstacle, side, required):
    """Nodes of the ground, or of the object, that each violation is of: all that are in it, at least the worst."""
    surface = ground_below(chords, ground)
    crossed = cross(chords, index, surface.rows, ground.sample)
    parts, count = [], chords.local.shape[1] - 1
    for met in (surface, crossed):
        rows = met.rows
        row, _ = ragged(np.diff(rows.first))
        c = met.wire[row]
        of = chords.span[c]
        z = heights(rows.fraction, rows.span[row], rows.start[row], rows.rise[row], chords.constant[c])
        margin = (z - rows.surface) * side[of] - required[of]
        mine = met.obstacle[row] == obstacle[of]
        parts.append((of[mine], ((c % count + rows.fraction) / count)[mine], margin[mine]))
    of, share, margin = (np.concatenate(part) for part in zip(*parts, strict=True))
    order = np.lexsort((share, of))
    of, share, margin = of[order], share[order], margin[order]
    lowest = np.lexsort((np.where(np.isnan(margin), np.inf, margin), of))
    short = margin < 0
    short[lowest[np.flatnonzero(np.diff(of[lowest], prepend=-1))]] = True
    at = np.flatnonzero(short)
    joined = (np.diff(at) == 1) & (np.diff(of[at]) == 0) & (np.diff(share[at]) < _APART)
    owner = np.cumsum(np.r_[True, ~joined][:len(at)])
    return _Nodes(owner, of[at], share[at], margin[at], short[at], np.zeros(len(at), bool))


def _runs(nodes):
    """Every connected run of nodes that is in violation, and those that hide within a piece."""
    bad, same = nodes.short, nodes.owner[1:] == nodes.owner[:-1]
    joined = bad[1:] & bad[:-1] & same
    begin = np.flatnonzero(bad & ~np.r_[False, joined][:len(bad)])
    stop = np.flatnonzero(bad & ~np.r_[joined, False][:len(bad)])
    worst = np.array([np.fmin.reduce(nodes.margin[a:b + 1]) for a, b in zip(begin, stop, strict=True)])
    seen = _Runs(nodes.of[begin], _edge(nodes, begin, -1), _edge(nodes, stop, 1), worst)
    return join([seen, _between(nodes)])


def _between(nodes):
    """Runs within one piece, whose nodes all clear: the ends at which its parabola is zero, and its vertex."""
    middle = np.flatnonzero(nodes.middle)
    left, here, right = (nodes.margin[middle + step] for step in (-1, 0, 1))
    bend, lean = left + right - 2 * here, (right - left) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        place = np.where(bend > 0, -lean / bend, np.nan)
        least = here - lean**2 / (2 * bend)
        hidden = (np.minimum(np.minimum(left, here), right) >= 0) & (least < 0) & (np.abs(place) < 1)
    node, place, least, bend = middle[hidden], place[hidden], least[hidden], bend[hidden]
    half = np.sqrt(-2 * least / bend)
    width = (nodes.share[node + 1] - nodes.share[node - 1]) / 2
    low, high = (nodes.share[node] + (place + sign * half) * width for sign in (-1, 1))
    return _Runs(nodes.of[node], low, high, least)


def _edge(nodes, node, step):
    """Place at which the margin crosses zero beyond a node, linear between nodes; the node itself at an end."""
    owner, margin, share = nodes.owner, nodes.margin, nodes.share
    other = np.clip(node + step, 0, max(len(owner) - 1, 0))
    usable = (owner[other] == owner[node]) & (margin[other] > 0)
    a, b = margin[node], np.where(usable, margin[other], 1.0)
    part = np.divide(a, a - b, out=np.zeros(len(node)), where=usable)
    return share[node] + part * (share[other] - share[node])


def _table(scene, columns, runs, violation, wire, curve):
    """Rows of stretches, of violations and wires (run,); `curve(share)` places of them in the frames of spans [m]. A
    mere point is drawn a metre long."""
    low, high, wires = runs.low, runs.high, scene.wires
    S = wires.length[wire]
    thin = (high - low) * S < 2 * _HALF
    middle = (low + high) / 2
    a, b = (np.clip(np.where(thin, middle + sign * _HALF / S, end), 0, 1) for sign, end in ((-1, low), (1, high)))
    local = curve(a[:, None] + (b - a)[:, None] * np.linspace(0, 1, _PLACES))
    keys = {name: columns[name][violation] for name in ("line", "span", "option", "case", "against", "obstacle")}
    return keys | {"wire": wires.wire[wire], "length_m": (high - low) * S, "worst_margin_m": runs.worst,
                   "geometry": shapely.linestrings(to_grid(local, scene.structures, scene.spans, wires.span[wire]))}
