"""What holds the wires of a section, and what the wires do to it.

Vectors are (easting, northing, elevation). Strings are straight, swing freely about their hinge, and have half of
their weight and of their wind at each end. Inside, arrays have the batch last: (span, batch), (node, batch),
vectors (3, ..., batch); sections of fewer spans are filled with level spans that pull at nothing.
"""

from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from corridor.arrays import Array, ArrayLike, Booleans, Integers
from corridor.errors import InputError
from corridor.geometry.catenary import Plane, plane_of
from corridor.mechanics import block_newton as block
from corridor.mechanics.elongation import Law
from corridor.mechanics.wires import Kept, Strung, Wires

__all__ = [
    "FREE", "HELD", "POST", "SLACK", "Problem", "Supports", "beside", "dot", "end_forces",
    "forces_on_ends", "hanging", "planes", "prepare", "put", "take", "unit",
]

#: A string that swings; a wire held at the hinge; a post that bends along the line.
FREE, HELD, POST = 0, 1, 2
#: A string that wires have lifted until it hangs slack: it holds nothing. The solution finds where; it is never given.
SLACK = 3

#: Arrays by name, the batch last, and records of them.
Record = TypeVar("Record", bound=NamedTuple)
#: Some of a batch.
Index = Integers | Booleans | slice

#: A filling span, level: chord [m], load [N/m].
_FILL_CHORD, _FILL_LOAD = np.array([100.0, 0, 0]), np.array([0, 0, -10.0])


class Supports(NamedTuple):
    """What holds the wire, in order along the line; the first and the last of a section are its dead ends.

    `hinge` (batch, n + 1, 3) [m]: where a string hangs; the wire itself where it is held or on a post.
    `kind` (batch, n + 1): FREE, HELD or POST. A free string at a dead end is the strain string, a link between
    structure and wire. `string_length` [m], 0 holds the wire at the hinge; `string_weight` [N], all of it;
    `string_force` (batch, n + 1, 3) [N], all the wind on the string; `stiffness` [N/m] of a post along the line.
    `across` (batch, n + 1, 3): at a V-string the horizontal unit vector along which its two arms hold the wire, where
    the hinge is midway between theirs and the length is the depth of the V; 0 where a string swings every way.
    """

    hinge: ArrayLike
    kind: ArrayLike
    string_length: ArrayLike
    string_weight: ArrayLike = 0.0
    string_force: ArrayLike = 0.0
    stiffness: ArrayLike = 0.0
    across: ArrayLike = 0.0


class Problem(NamedTuple):
    """Sections with the batch last.

    (3, node, batch): `hinge`, `line` and `pull`, half the weight and wind of free strings. (node, batch): `kind`,
    `length` of strings, `stiffness`, `inner`. (span, batch): `active` where there is a wire, `size` of the load [N/m],
    and with 3 in front `against` the load [-] and `chord` from hinge to hinge [m]. `kept`, what wires keep once they
    are clamped; `strung`, given where they keep their tension instead. `across` (3, node, batch) of V-strings, None
    where there is none; `line` is at right angles to it there.
    """

    hinge: Array
    kind: NDArray[np.int8]
    length: Array
    pull: Array
    stiffness: Array
    line: Array
    inner: Booleans
    active: Booleans
    chord: Array
    size: Array
    against: Array
    kept: Kept
    strung: Strung | None = None
    across: Array | None = None

    @property
    def wires(self) -> Wires:
        """What stays the same of the wires."""
        return self.kept if self.strung is None else self.strung


def prepare(supports: Supports, load: ArrayLike, temperature: ArrayLike, part: Law, count: ArrayLike | None = None,
            unstressed: ArrayLike = 1.0, broken: ArrayLike = False) -> Problem:
    """Broadcast, put the batch last, and fill short sections.

    Parameters
    ----------
    supports : Supports
    load, temperature, part, count, unstressed, broken
        As in `equilibrium.solve`.

    Returns
    -------
    Problem

    Raises
    ------
    InputError
        Where `kind` or `count` is none that exists, or a string's length negative.
    """
    given = [np.asarray(v, float) for v in (supports.hinge, load, unstressed)]
    n = given[0].shape[-2] - 1
    columns = [np.atleast_1d(np.asarray(v)) for v in (temperature, n if count is None else count, *part)]
    batch = np.broadcast_shapes(*(v.shape[:1] for v in given), *(c.shape for c in columns))
    T, many, *numbers = (np.broadcast_to(c, batch) for c in columns)
    node = np.arange(n + 1)[:, None]
    active = (np.arange(n)[:, None] < many) & ~np.broadcast_to(broken, (*batch, n)).T

    def filled(values: ArrayLike, used: Booleans, fill: ArrayLike = 0.0) -> Array:
        size = np.shape(fill)[:1]
        values = np.broadcast_to(np.asarray(values, float), (*batch, len(used), *size)).T
        return np.ascontiguousarray(np.where(used, values, np.reshape(fill, (*size, 1, 1))))

    there, none = node <= many, np.zeros(3)
    kind, length = filled(supports.kind, there, HELD), filled(supports.string_length, there)
    _check(kind, length, many, n)
    kind = np.where((kind == FREE) & (length == 0), HELD, kind)
    pull = filled(supports.string_force, there, none) / 2
    pull[2] -= filled(supports.string_weight, there) / 2
    # A dead end whose wire is broken holds none.
    kind = np.where(beside(active), kind, HELD)
    hinge, loads = filled(given[0], there, none), filled(given[1], active, _FILL_LOAD)
    chord, size = np.where(active, np.diff(hinge, axis=1), _FILL_CHORD[:, None, None]), _size(loads)
    line, across = _in_planes(_line_direction(chord, active), filled(supports.across, kind == FREE, none))
    return Problem(
        hinge, kind.astype(np.int8), np.where(kind == FREE, length, 1.0), np.where(kind == FREE, pull, 0.0),
        filled(supports.stiffness, there), line, (node > 0) & (node < many), active,
        chord, size, loads / -size, Kept(filled(given[2], active, _FILL_CHORD[0]), T.astype(float),
                                         type(part)(*numbers)), across=across)


def take(record: Record, index: Index) -> Record:
    """Return some of the batch, which is last, of a record and of the records in it."""
    return record._make(None if f is None else f[..., index] if isinstance(f, np.ndarray) else take(f, index)
                        for f in record)


def put(record: Record, values: Record, index: Index) -> None:
    """Write values into some of the batch of a record."""
    for field, value in zip(record, values, strict=True):
        if isinstance(field, tuple):
            put(field, value, index)
        else:
            field[..., index] = value


def _check(kind: Array, length: Array, count: NDArray[np.int_], n: int) -> None:
    unknown = ~np.isin(kind, (FREE, HELD, POST))
    if unknown.any():
        raise InputError(None, "kind", np.unique(kind[unknown]).tolist(), f"FREE {FREE}, HELD {HELD}, POST {POST}")
    if np.any(length < 0):
        raise InputError(None, "string_length", f"{length.min():g} m", "0 m or more")
    if np.any((count < 1) | (count > n)):
        raise InputError(None, "count", f"{count.min()} to {count.max()}", f"1 to {n} spans")


def unit(vector: Array) -> Array:
    """Return unit vectors of vectors (3, ...); nan of nothing."""
    with np.errstate(invalid="ignore", divide="ignore"):
        return vector / _size(vector)


def _size(vector: Array) -> Array:
    return np.sqrt(dot(vector, vector))


def dot(a: Array, b: Array) -> Array:
    """Return products of vectors (3, ...)."""
    result = a[0] * b[0]
    result += a[1] * b[1]
    result += a[2] * b[2]
    return result


def _line_direction(chord: Array, active: Booleans) -> Array:
    """Horizontal unit vector along the line at each support, halving its angle, (3, node, batch)."""
    chord = np.where(active, unit(chord * np.array([1.0, 1, 0])[:, None, None]), 0.0)
    both = np.zeros((3, chord.shape[1] + 1, chord.shape[2]))
    both[:, :-1] += chord
    both[:, 1:] += chord
    return unit(both)


def _in_planes(line: Array, across: Array) -> tuple[Array, Array | None]:
    """Directions along the line, at V-strings within the plane in which these swing; and what is across that plane,
    None without V-strings."""
    vee = across.any(axis=0)
    if not vee.any():
        return line, None
    within = np.stack([-across[1], across[0], np.zeros_like(across[0])])
    return np.where(vee, np.copysign(1.0, dot(within, line)) * within, line), across


def beside(active: Booleans) -> Booleans:
    """Return the nodes beside which there is a wire, (node, batch)."""
    found = np.zeros((len(active) + 1, *active.shape[1:]), bool)
    found[:-1] |= active
    found[1:] |= active
    return found


def planes(problem: Problem, offset: Array) -> Plane:
    """Return the planes of all wires as `plane_of` does, vectors first; `offset` (3, node, batch) from the hinges."""
    c = offset[:, 1:] - offset[:, :-1]
    if not problem.active.all():
        c *= problem.active
    c += problem.chord
    h = dot(c, problem.against)
    c -= h * problem.against
    S = _size(c)
    c /= S
    return Plane(S, h, problem.size, c, problem.against)


def forces_on_ends(problem: Problem, plane: Plane, wire: block.Shape) -> Array:
    """Return the force of wires and strings on every string end, or of wires on a held end [N], (3, node, batch)."""
    force = problem.pull.copy()
    pull, lever, half = wire.H * plane.along, wire.h * wire.k, wire.q / 2
    left, right = pull - half * (wire.L - lever) * plane.against, pull + half * (wire.L + lever) * plane.against
    if not problem.active.all():
        left, right = (np.where(problem.active, each, 0.0) for each in (left, right))
    force[:, :-1] += left
    force[:, 1:] -= right
    return force


def hanging(problem: Problem) -> Array:
    """Return offsets of strings that hang plumb, or at dead ends point to the next support, (3, node, batch)."""
    chord = unit(problem.chord)
    inward = -np.concatenate([-chord[:, :1], chord], axis=1)
    plumb = np.array([0, 0, -1.0])[:, None, None]
    return np.where(problem.kind == FREE, problem.length * np.where(problem.inner, plumb, inward), 0.0)


def end_forces(start: ArrayLike, end: ArrayLike, load: ArrayLike, horizontal_tension: ArrayLike) -> tuple[Array, Array]:
    """Return the forces of wires on their two ends [N].

    Parameters
    ----------
    start, end, load : array_like, shape (..., 3)
        Ends of the wire [m] and its load per length [N/m].
    horizontal_tension : array_like, shape (...)
        Component across the load, H [N].

    Returns
    -------
    on_start, on_end : ndarray, shape (..., 3)
        Together the whole load on the wire, `q L`.

    Examples
    --------
    >>> on_start, on_end = end_forces([0, 0, 0], [300, 0, 30], [0, 0, -20], 30000.0)
    >>> on_start.round(1).tolist(), on_end.round(1).tolist()
    ([30000.0, 0.0, -9.9], [-30000.0, 0.0, -6029.9])
    """
    plane = plane_of(start, end, load)
    wire = block.shape(plane.span, plane.rise, plane.load, np.log(np.asarray(horizontal_tension, float)))
    along, across = wire.H[..., None] * plane.along, plane.against
    return along - wire.left[..., None] * across, -along - wire.right[..., None] * across
