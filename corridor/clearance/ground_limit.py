"""How high the ground, or a thing on it, may be below wires, cell by cell: the rules for it turned round.

A rule for the ground asks that a wire hangs higher over it than required: `z - g >= R`. So over each place the ground
may reach `z - R`, with the lowest wire of all that hang there in any state. Rules that keep room to the side go out
from the wire in the same shapes as `corridor.clearance.shapes` has them about things. A wire is a curve and a cell an
area, so a cell gets the least over all of it that lies within.
"""

from typing import NamedTuple

import numpy as np

from corridor.clearance import rules as rule_tables
from corridor.geometry.catenary import plane_of, points
from corridor.geometry.surface import crossings
from corridor.line.swing import to_grid

__all__ = ["Cells", "Guard", "Room", "empty_room", "guards", "hung_still", "hung_swung", "lower", "mark", "place",
           "requirement_of", "spread", "window_of"]

#: Chords of a wire, over each of which its height is a parabola: to below a micrometre over 15 m.
_CHORDS = 32
#: Steps between neighbouring swings, as a share of the cell.
_STEP = 0.5
#: Swings of one wire at most.
_SWINGS = 401


class Cells(NamedTuple):
    """Square cells of the grid: `west`, `north` of the first corner [m], `size` [m]; number of `rows` and `columns`."""

    west: float
    north: float
    size: float
    rows: int
    columns: int

    def at(self, easting, northing):
        """Return column and row as fractions [cells], whole at the cells' edges."""
        return (easting - self.west) / self.size, (self.north - northing) / self.size


class Room(NamedTuple):
    """What is found in each cell (row, column): `allowed` highest elevation of the ground [m] and `left` [m] that
    is left above it, inf where no wire hangs above; `unknown` where some of it could not be assessed."""

    allowed: np.ndarray
    left: np.ndarray
    unknown: np.ndarray


def empty_room(cells):
    """Return a `Room` in which nothing was found yet."""
    shape = cells.rows, cells.columns
    return Room(np.full(shape, np.inf), np.full(shape, np.inf), np.zeros(shape, bool))


def window_of(cells, curves):
    """Return the part of some cells that holds curves in plan, and the row and column where it begins.

    Parameters
    ----------
    cells : Cells
    curves : ndarray, shape (..., 2 or more)
        On the grid; nan counts nothing, but one must be known.
    """
    column, row = cells.at(curves[..., 0], curves[..., 1])
    c0, r0 = (int(np.floor(np.nanmin(v))) for v in (column, row))
    c1, r1 = (int(np.floor(np.nanmax(v))) + 1 for v in (column, row))
    part = Cells(cells.west + c0 * cells.size, cells.north - r0 * cells.size, cells.size, r1 - r0, c1 - c0)
    return part, r0, c0


def requirement_of(rules, case, voltage, against="ground", measure="vertical"):
    """Return what is required of wires in a case, as a function of the elevation; None where nothing is.

    Where no rule keeps a category clear it is the electrical distance (`corridor.clearance.rules.required`).

    Parameters
    ----------
    rules : Rules
    case : Case
    voltage : float
        Highest, line to line [V].
    against : str
        "ground" or a category.
    measure : str
        "vertical", "horizontal" or "radial".

    Returns
    -------
    callable or None
        `required(elevation)` [m], of the shape of the elevation.
    """
    def asked(elevation):
        return rule_tables.required(rules, against, measure, case.name, voltage / 1e3, elevation, swung=case.wind > 0)

    index, terms = asked(0.0)
    if index == rule_tables.NONE:
        return None
    if index >= 0 and rules.altitude_share[index] == 0 and np.isinf(rules.max_altitude[index]):
        return _fixed(float(terms.required))
    return lambda elevation: asked(elevation)[1].required


class Guard(NamedTuple):
    """Room that is kept free below a wire and beside it: `required` of the elevation is how far below it things stay
    [m], as far as `reach` beside it in plan [m]; where there is a `drop`, that tells of the distance u in plan and of
    how much longer than in plan the wire is how far below it they stay [m], and `required` is fixed."""

    required: object
    reach: float
    drop: object


def guards(facts, k, against, highest):
    """Return the room that is kept free below wires in one case, as guards; empty where it asks for none.

    Parameters
    ----------
    facts : Facts
    k : int
        The case.
    against : str
        "ground" or a category of things that are no wider than a cell.
    highest : float
        Elevation at which rules are asked for what goes to the side [m]: no wire hangs higher.

    Returns
    -------
    list of Guard
        `V` below (strip above a thing), `sqrt(R^2 - u^2)` (circle), with R the electrical distance where no rule is for
        the distance in space; to the side as far as `H` the `V` of the case that asks for most (strip beside), or where
        the corner is rounded `min(V, sqrt(max(H, V)^2 - u^2))`. How far to the side is not known: a strip of which what
        it requires is not known either.
    """
    case, found = facts.cases[k], []

    def asked(measure, case=case):
        return requirement_of(facts.rules, case, facts.voltage, against, measure)

    V, R = asked("vertical"), asked("radial")
    found += [Guard(V, 0.0, None)] if V and "vertical" in case.checks else []
    found += [_tube(float(R(highest)))] if R and {"vertical", "horizontal"} & {*case.checks} else []
    H = asked("horizontal") if "horizontal" in case.checks and against != "ground" else None
    if H:
        U = facts.voltage / 1e3
        index = rule_tables.choose(facts.rules, against, "horizontal", case.name, U, swung=case.wind > 0)
        most = max([0.0, *(float(V(highest)) for V in (asked("vertical", each) for each in facts.cases) if V)])
        if facts.rules.shape[int(index)] == "corner" and V:
            found.append(_corner(float(H(highest)), float(V(highest))))
        else:
            found.append(Guard(_fixed(most), float(H(highest)), None))
    return [guard if np.isfinite(guard.reach) else Guard(_fixed(np.nan), 0.0, None) for guard in found]


def _fixed(value):
    return lambda elevation: np.full(np.shape(elevation), value)


def _tube(R):
    """The circle about a wire: on a steep wire its lower side lies farther down along the plumb."""
    return Guard(_fixed(R), R, lambda u, steep: np.sqrt(np.maximum(R**2 - u**2, 0)) * steep)


def _corner(H, V):
    return Guard(_fixed(V), H, lambda u, steep: np.minimum(V, np.sqrt(np.maximum(max(H, V)**2 - u**2, 0))) + 0 * steep)


def hung_still(scene, rows, option, case):
    """Return wires of some rows where they hang in still air: points on the grid (row, 2 chords + 1, 3)."""
    hung, at = scene.hung, (rows, option, case, 0)
    plane = plane_of(hung.start[at], hung.end[at], hung.vectors[at])
    local = points(hung.start[at], plane, hung.constant[at], np.linspace(0, 1, 2 * _CHORDS + 1))
    return to_grid(local, scene.structures, scene.spans, scene.wires.span[rows])


def hung_swung(scene, option, case, rows, size):
    """Return wires at many swings, from full wind on the left to full wind on the right.

    Parameters
    ----------
    scene : Scene
    option, case : int
    rows : ndarray of int, shape (row,)
        Their wire spans.
    size : float
        Neighbouring swings lie no more than half of this apart in plan at mid-span [m].

    Returns
    -------
    ndarray, shape (row x swing, 2 chords + 1, 3)
        On the grid.
    """
    way = scene.way(rows, option, case)
    ends = scene.ways.places(way, np.tile([-1.0, 1.0], (len(rows), 1)), np.full((len(rows), 1), 0.5))
    width = np.nanmax(np.linalg.norm(np.diff(ends[..., :2], axis=1), axis=-1), initial=0.0)
    count = int(np.clip(np.ceil(width / (_STEP * size)), 8, _SWINGS - 1)) + 1
    turn = np.tile(np.linspace(-1, 1, count), (len(rows), 1))
    share = np.tile(np.linspace(0, 1, 2 * _CHORDS + 1), (len(rows), 1))
    local = scene.ways.places(way, turn, share)
    return to_grid(local, scene.structures, scene.spans, scene.wires.span[rows]).reshape(-1, share.shape[1], 3)


def spread(curves, size, beside, guard):
    """Return curves together with copies of them moved aside in plan, to either side, as far as a guard goes.

    Parameters
    ----------
    curves : ndarray, shape (curve, point, 3)
        On the grid.
    size : float
        Side of the cells, of which neighbouring copies lie half apart at most [m].
    beside : float
        How far wires are taken wider [m].
    guard : Guard
        Where it has a drop, copies are raised so that what is required below them ends there.

    Returns
    -------
    ndarray, shape (curve x copy, point, 3)
    """
    reach = beside + guard.reach
    aside = np.linspace(-reach, reach, 2 * int(np.ceil(reach / (_STEP * size))) + 1)
    chord = curves[:, -1, :2] - curves[:, 0, :2]
    right = np.stack([chord[:, 1], -chord[:, 0], 0 * chord[:, 0]], axis=-1) / np.linalg.norm(chord, axis=-1)[:, None]
    moved = curves[:, None] + (aside[:, None] * right[:, None])[:, :, None]
    if guard.drop is not None:
        u = np.maximum(np.abs(aside) - beside, 0)
        rise = np.gradient(curves, axis=1)
        steep = np.hypot(1, rise[..., 2] / np.linalg.norm(rise[..., :2], axis=-1))
        moved[..., 2] += guard.required(0.0) - guard.drop(u[:, None], steep[:, None])
    return moved.reshape(-1, *curves.shape[1:])


def lower(room, cells, curves, sample, required):
    """Take curves of wires into a room, in place: where they hang lower than what was found, they count.

    Parameters
    ----------
    room : Room
        Of the cells.
    cells : Cells
    curves : ndarray, shape (curve, 2 chords + 1, 3)
        On the grid, all within the cells; every chord has its ends and the wire's place at its middle.
    sample : callable
        `(easting, northing) -> ground elevation [m]`.
    required : callable
        `required(ground elevation) -> height that is required above it [m]`; where the ground is not known it is asked
        for the elevation of the wire, above which it does not lie.
    """
    z, ground, place = _pieces(cells, curves, sample)
    least, over = _vertex(*z), _vertex(*(z - ground))
    known = np.isfinite(over)
    R = required(np.where(np.isnan(ground[1]), z[1], ground[1]))
    ruled = np.isfinite(R)
    np.minimum.at(room.allowed, tuple(place[:, ruled]), (least - R)[ruled])
    some = known & ruled
    np.minimum.at(room.left, tuple(place[:, some]), (over - R)[some])
    room.unknown[tuple(place[:, ~some])] = True


def mark(room, cells, curves):
    """Mark the cells below curves as not assessed, in place; arguments as in `lower`."""
    *_, place = _pieces(cells, curves, lambda easting, northing: np.zeros(np.shape(easting)))
    room.unknown[tuple(place)] = True


def place(room, cells, easting, northing, allowed, left):
    """Take single places into a room, in place, as findings have them; columns of shape (place,)."""
    column, row = (np.floor(v).astype(int) for v in cells.at(easting, northing))
    np.minimum.at(room.allowed, (row, column), allowed)
    np.minimum.at(room.left, (row, column), left)


def _pieces(cells, curves, sample):
    """Wires cut at edges and middle lines of cells: elevations and ground at start, middle and end (3, piece), and row
    and column (2, piece) of the cell. On a grid of the ground raster's own cells the ground is quadratic on each."""
    a, m, b = (curves[:, i:j:2].reshape(-1, 3) for i, j in ((0, -1), (1, None), (2, None)))
    start, stop = (2 * np.stack(cells.at(v[:, 0], v[:, 1])) for v in (a, b))
    first, t = crossings(start, stop, (0, 0), (2 * cells.columns, 2 * cells.rows))
    chord = np.repeat(np.arange(len(a)), np.diff(first))
    drop = (a + b)[:, 2] / 2 - m[:, 2]
    e, n, z = (a[chord] + t[:, None] * (b - a)[chord]).T
    z = z - 4 * drop[chord] * t * (1 - t)
    ground = sample(e, n)
    middle = np.flatnonzero((np.arange(len(t)) - first[chord]) % 2 == 1)
    column, row = (np.floor(v).astype(int) for v in cells.at(e[middle], n[middle]))
    at = middle + np.arange(-1, 2)[:, None]
    return z[at], ground[at], np.stack([row, column])


def _vertex(left, middle, right):
    """Minimum value of the parabolas through three even places, between the outer two."""
    bend, lean = left + right - 2 * middle, (left - right) / 4
    with np.errstate(invalid="ignore", divide="ignore"):
        place = np.clip(np.where(bend > 0, 2 * lean / bend, np.sign(lean)), -1, 1)
    return middle - 2 * lean * place + bend / 2 * place**2
