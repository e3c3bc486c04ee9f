"""Circuits by name: those on the structures of a study, and those of other lines."""

from collections.abc import Iterable

import numpy as np
import shapely

from corridor.line.facts import Framings, Obstacles, Structures

__all__ = ["GUARDED", "circuits_of_wires", "other_circuits", "own_circuits", "phases_at", "wires_of_others"]

#: Things below a span that are guarded while wires are drawn over them.
GUARDED = ("road", "rail", "water")

#: Wires of another line nearer to each other than this are one circuit, where their layer and voltage agree [m].
_ONE_CIRCUIT = 15.0
#: Ends of wires nearer to each other than this are joined, whichever way they go [m].
_JOINED = 0.5
#: Wires whose ways from an end that they share have a lesser product go on from each other: a line turns by less than
#: 60 degrees (common practice, no source).
_TURN = -0.5


def own_circuits(structures: Structures, framings: Framings, at: Iterable[int]) -> tuple[str, ...]:
    """Return the circuits whose phases hang on some structures, sorted."""
    x, f = structures, framings
    return tuple(sorted({f"{x.line[s]}, circuit {c}" for s in at
                         for c in f.circuit[(f.framing == x.framing[s]) & (f.kind == "phase")]}))


def phases_at(structures: Structures, framings: Framings, at: Iterable[int], circuits: Iterable[str]) -> int:
    """Return how many phase wires of some circuits there are on some structures."""
    x, f, own = structures, framings, {*circuits}
    return len({(x.line[s], f.wire[i]) for s in at for i in np.flatnonzero((f.framing == x.framing[s])
                                                                          & (f.kind == "phase"))
                if f"{x.line[s]}, circuit {f.circuit[i]}" in own})


def circuits_of_wires(structures: Structures, framings: Framings) -> dict[tuple[str, str], frozenset[str]]:
    """Return the circuits of each phase wire by its line and name: several where a name is of one circuit here, and of
    another there."""
    x, f, found = structures, framings, {}
    for line, framing in dict.fromkeys(zip(x.line.tolist(), x.framing.tolist(), strict=True)):
        for i in np.flatnonzero((f.framing == framing) & (f.kind == "phase")):
            found.setdefault((line, f.wire[i]), set()).add(f"{line}, circuit {f.circuit[i]}")
    return {key: frozenset(own) for key, own in found.items()}


def other_circuits(obstacles: Obstacles) -> dict[str, shapely.Geometry]:
    """Return the circuits of other lines, name to shape, as `wires_of_others` has them."""
    return {name: shapely.union_all(obstacles.geometry[own]) for name, own in wires_of_others(obstacles).items()}


def wires_of_others(obstacles: Obstacles) -> dict[str, list[int]]:
    """Return the circuits of other lines, name to obstacles: wires of one layer and voltage that run beside each other,
    or go on from each other, are one, with the name of the first, but for those that cross: they are of different
    lines."""
    shapes, wires = {}, {}
    for i in np.flatnonzero((obstacles.category == "line") & (obstacles.fault == "")):
        key, wire = (obstacles.layer[i], obstacles.voltage[i]), obstacles.geometry[i]
        name = next((name for name, (other, shape) in shapes.items()
                     if other == key and shapely.distance(shape, wire) < _ONE_CIRCUIT
                     and _go_together(wire, own := obstacles.geometry[wires[name]]) and not _crosses(wire, own)),
                    obstacles.obstacle[i])
        shapes[name] = key, shapely.union(shapes[name][1], wire) if name in shapes else wire
        wires.setdefault(name, []).append(int(i))
    return wires


def _go_together(wire, others):
    """Whether a wire runs beside any of others, for half of the shorter at least, or goes on from one end to end: a
    span of another line whose structure is near by does neither."""
    beside = np.maximum(*(shapely.length(shapely.intersection(a, shapely.buffer(b, _ONE_CIRCUIT))) for a, b in (
        (wire, others), (others, wire))))
    if (beside >= 0.5 * np.minimum(shapely.length(wire), shapely.length(others))).any():
        return True
    # Ends in plan, and the way from each end into its wire.
    (a, into_a), (b, into_b) = _ends([wire]), _ends(others)
    far = np.linalg.norm(b[:, None] - a, axis=-1)
    return bool(((far < _ONE_CIRCUIT) & (into_b @ into_a.T < _TURN) | (far < _JOINED)).any())


def _ends(wires):
    """Both ends of wires in plan (end, 2), and unit vectors from there to the other end."""
    ends = np.array([shapely.get_coordinates(shapely.get_parts(wire))[[0, -1]] for wire in wires])
    way = ends[:, ::-1] - ends
    return ends.reshape(-1, 2), (way / np.maximum(np.linalg.norm(way, axis=-1, keepdims=True), 1e-9)).reshape(-1, 2)


def _crosses(wire, others):
    """Whether a wire crosses one of others, from which it goes elsewhere: wires above each other may cross as drawn."""
    met = others[shapely.crosses(others, wire)]
    near = (shapely.covered_by(a, shapely.buffer(b, _ONE_CIRCUIT)) for a, b in ((wire, met), (met, wire)))
    return bool((~np.logical_or(*near)).any())
