"""Connected stretches of wire that fall short, vertically, of the ground or of what they pass over or under."""

from typing import NamedTuple

import numpy as np
import shapely

from corridor.clearance.swung_stretches import swung_stretches
from corridor.geometry.distance import Ends, elevations, take_rows
from corridor.line.swing import to_grid

__all__ = ["violation_stretches"]

#: Vertices of a stretch, and half the length drawn for one that is a mere crossing point [m].
_PLACES = 17
_HALF = 0.5


class _Short(NamedTuple):
    """Rows of surface in the state in which their span falls short; columns (candidate,)."""

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
        In still air every wire of the span that falls short has its own stretches, in wind the worst wire at its worst
        swing. A line crossed at one point gives a stretch of no length, drawn a metre long. Of bundles the lowest wire.
    """
    scene = scene.lowest
    below, crossed = around.below, around.crossed
    still = np.array([case.wind == 0 for case in scene.cases])[checked.case]
    short = np.flatnonzero((columns["margin_m"] < 0) & (checked.measure == "vertical") & still)
    tables = []
    for rows, wire, obstacle in ((below, np.arange(len(scene.wires)), np.full(len(scene.wires), -1)),
                                 (crossed.rows, crossed.wire, crossed.obstacle)):
        candidates = _candidates(scene, checked, columns, short, wire, obstacle)
        tables.append(_runs(scene, candidates, take_rows(rows, candidates.row)))
    low, high, worst, of = (np.concatenate(c) for c in zip(*[t[:4] for t in tables], strict=True))
    wire = np.concatenate([t[4] for t in tables])
    table = _table(scene, columns, low, high, worst, of, wire, checked)
    if swept is None:
        return table
    swung = swung_stretches(scene, columns, checked, swept, around.ground, around.index)
    return {name: np.concatenate([values, swung[name]]) for name, values in table.items()}


def _candidates(scene, checked, columns, short, wire, obstacle):
    """Every row of surface that belongs to a violation: same span, same obstacle."""
    size = obstacle.max(initial=0) + 3
    key = scene.wires.span[wire] * size + obstacle + 1
    wanted = scene.wires.span[checked.wire[short]] * size + checked.obstacle[short] + 1
    order = np.argsort(key, kind="stable")
    begin, stop = (np.searchsorted(key[order], wanted, side=side) for side in ("left", "right"))
    # A key beyond the obstacles of this table meets nothing here.
    count = np.where(checked.obstacle[short] <= obstacle.max(initial=-1), stop - begin, 0)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    row = order[np.repeat(begin, count) + within]
    violation = np.repeat(short, count)
    side = np.where(columns["position"][violation] == "below", -1.0, 1.0)
    option, case = checked.option[violation], checked.case[violation]
    # Below a thing it is the highest wire of a bundle that falls short, and the lowest by so much more.
    required = columns["required_m"][violation] + np.where(side < 0, scene.depth[wire[row], option, case], 0.0)
    return _Short(row, wire[row], option, case, required, side, violation)


def _runs(scene, candidates, rows):
    """Ends [-], worst margin [m], violation and wire of every connected run of nodes that falls short."""
    count = np.diff(rows.first)
    owner = np.repeat(np.arange(len(count)), count)
    c = candidates
    at = c.wire[owner], c.option[owner], c.case[owner]
    z = elevations(rows.fraction, rows.span[owner], *scene.lying(at, c.side[owner] < 0))
    with np.errstate(invalid="ignore"):
        margin = (z - rows.surface) * c.side[owner] - c.required[owner]
        bad = margin < 0
    joined = bad[1:] & bad[:-1] & (owner[1:] == owner[:-1])
    begin = np.flatnonzero(bad & ~np.r_[False, joined][:len(bad)])
    stop = np.flatnonzero(bad & ~np.r_[joined, False][:len(bad)])
    low, high = _edge(rows, owner, margin, begin, -1), _edge(rows, owner, margin, stop, 1)
    worst = np.array([margin[a:b + 1].min() for a, b in zip(begin, stop, strict=True)])
    hidden = _between(rows, owner, margin)
    low, high, worst, of = (np.concatenate(pair) for pair in zip((low, high, worst, owner[begin]), hidden, strict=True))
    return low, high, worst, c.violation[of], c.wire[of]


def _between(rows, owner, margin):
    """Runs within one piece, whose nodes all clear: the ends at which its parabola is zero, and its vertex."""
    middle = np.flatnonzero((np.arange(len(owner)) - rows.first[owner]) % 2 == 1)
    left, here, right = margin[middle - 1], margin[middle], margin[middle + 1]
    bend, lean = left + right - 2 * here, (right - left) / 2
    with np.errstate(invalid="ignore", divide="ignore"):
        place = np.where(bend > 0, -lean / bend, np.nan)
        least = here - lean**2 / (2 * bend)
        hidden = (np.minimum(np.minimum(left, here), right) >= 0) & (least < 0) & (np.abs(place) < 1)
    node, place, least, bend = middle[hidden], place[hidden], least[hidden], bend[hidden]
    half = np.sqrt(-2 * least / bend)
    width = (rows.fraction[node + 1] - rows.fraction[node - 1]) / 2
    centre = rows.fraction[node]
    return centre + (place - half) * width, centre + (place + half) * width, least, owner[node]


def _edge(rows, owner, margin, node, step):
    """Place at which the margin crosses zero beyond a node, linear between nodes; the node itself at an end."""
    other = np.clip(node + step, 0, max(len(owner) - 1, 0))
    usable = (owner[other] == owner[node]) & (margin[other] > 0)
    a, b = margin[node], np.where(usable, margin[other], 1.0)
    share = np.where(usable, a / (a - b), 0.0)
    return rows.fraction[node] + share * (rows.fraction[other] - rows.fraction[node])


def _table(scene, columns, low, high, worst, of, wire, checked):
    wires, frame = scene.wires, scene.frame
    S = wires.length[wire]
    thin = (high - low) * S < 2 * _HALF
    middle = (low + high) / 2
    a = np.clip(np.where(thin, middle - _HALF / S, low), 0, 1)
    b = np.clip(np.where(thin, middle + _HALF / S, high), 0, 1)
    place = a[:, None] + (b - a)[:, None] * np.linspace(0, 1, _PLACES)
    local = frame.start[wire, None] + place[..., None] * (frame.end - frame.start)[wire, None]
    at = wire, checked.option[of], checked.case[of]
    constant, ends = scene.lying(at, columns["position"][of] == "below")
    local[..., 2] = elevations(place, S[:, None], constant[:, None], Ends(*(f[:, None] for f in ends)))
    keys = {name: columns[name][of] for name in ("line", "span", "option", "case", "against", "obstacle")}
    return keys | {"wire": wires.wire[wire], "length_m": (high - low) * S, "worst_margin_m": worst,
                   "geometry": shapely.linestrings(to_grid(local, scene.structures, scene.spans, wires.span[wire]))}
