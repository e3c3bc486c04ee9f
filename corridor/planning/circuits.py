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
    """Return the circuits of other lines, name to obstacles: wires near each other of one layer and voltage are one,
    with the name of the first, but for those that cross: they are of different lines."""
    shapes, wires = {}, {}
    for i in np.flatnonzero((obstacles.category == "line") & (obstacles.fault == "")):
        key, wire = (obstacles.layer[i], obstacles.voltage[i]), obstacles.geometry[i]
        name = next((name for name, (other, shape) in shapes.items()
                     if other == key and shapely.distance(shape, wire) < _ONE_CIRCUIT
                     and not _crosses(wire, obstacles.geometry[wires[name]])), obstacles.obstacle[i])
        shapes[name] = key, shapely.union(shapes[name][1], wire) if name in shapes else wire
        wires.setdefault(name, []).append(int(i))
    return wires


def _crosses(wire, others):
    """Whether a wire crosses one of others, from which it goes elsewhere: wires above each other may cross as drawn."""
    met = others[shapely.crosses(others, wire)]
    near = (shapely.covered_by(a, shapely.buffer(b, _ONE_CIRCUIT)) for a, b in ((wire, met), (met, wire)))
    return bool((~np.logical_or(*near)).any())
