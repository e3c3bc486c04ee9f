"""Circuits by name: those on the structures of a study, and those of other lines."""

from collections.abc import Iterable

import numpy as np
import shapely

from corridor.line.facts import Framings, Obstacles, Structures

__all__ = ["GUARDED", "other_circuits", "own_circuits"]

#: Things below a span that are guarded while wires are drawn over them.
GUARDED = ("road", "rail", "water")

#: Wires of another line nearer to each other than this are one circuit, where their layer and voltage agree [m].
_ONE_CIRCUIT = 15.0


def own_circuits(structures: Structures, framings: Framings, at: Iterable[int]) -> tuple[str, ...]:
    """Return the circuits whose phases hang on some structures, sorted."""
    x, f = structures, framings
    return tuple(sorted({f"{x.line[s]}, circuit {c}" for s in at
                         for c in f.circuit[(f.framing == x.framing[s]) & (f.kind == "phase")]}))


def other_circuits(obstacles: Obstacles) -> dict[str, shapely.Geometry]:
    """Return the circuits of other lines, name to shape: wires near each other of one layer and voltage are one, with
    the name of the first."""
    shapes = {}
    for i in np.flatnonzero((obstacles.category == "line") & (obstacles.fault == "")):
        key, wire = (obstacles.layer[i], obstacles.voltage[i]), obstacles.geometry[i]
        name = next((name for name, (other, shape) in shapes.items()
                     if other == key and shapely.distance(shape, wire) < _ONE_CIRCUIT), obstacles.obstacle[i])
        shapes[name] = key, shapely.union(shapes[name][1], wire) if name in shapes else wire
    return {name: shape for name, (_, shape) in shapes.items()}
