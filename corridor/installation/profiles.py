"""Profiles of pulls for drawings: the ground, and the lowest wire while it is pulled, along the line."""

from dataclasses import dataclass

import numpy as np

from corridor.arrays import Array
from corridor.geometry.distance import heights

__all__ = ["Profile", "profile_of"]

#: Places of a wire that are drawn in a span.
_PLACES = np.linspace(0.0, 1.0, 41)


@dataclass(frozen=True)
class Profile:
    """The profile of a pull: `station` and `ground` elevation below the first wire [m], nan where it is not known;
    `structure` names, `at` their stations, `hook` where the first wire lies on their travellers, `base`; `machine` (2,)
    stations and `machine_elevation`; `wire` (option, place) lowest elevation of pulled wires at `wire_station`."""

    station: Array
    ground: Array
    structure: Array
    at: Array
    hook: Array
    base: Array
    machine: Array
    machine_elevation: Array
    wire_station: Array
    wire: Array


def profile_of(around, wires, pulled, plan):
    """Return the Profile of a pull.

    Parameters
    ----------
    around : Around
    wires : PulledWires
    pulled : Pull
    plan : Plan
    """
    course, moving, scene = wires.course, wires.moving, around.scene
    spans = slice(pulled.first, pulled.last + 1)
    length, at = plan.spans.length[spans], plan.route.station[course.structure]
    rows, station, ground = around.below, [], []
    for s, i in enumerate(course.row[0]):
        piece = slice(rows.first[i], rows.first[i + 1])
        station.append(at[s] + rows.fraction[piece] * length[s])
        ground.append(rows.surface[piece])
    start, end = moving.end[:, :, 1:-2], moving.end[:, :, 2:-1]
    chord = end - start
    C = moving.horizontal_tension[:, :, 1:-1] / scene.strung.bare_weight[scene.group[course.row]].swapaxes(1, 2)
    z = heights(_PLACES, *(v[..., None] for v in (np.hypot(chord[..., 0], chord[..., 1]), start[..., 2], chord[..., 2],
                                                  C)))
    lowest = np.fmin.reduce(z, axis=0).reshape(len(scene.options), -1)
    hinge = np.asarray(course.supports.hinge)[0]
    hook = hinge[1:-1, 2] - np.asarray(course.supports.string_length)[0, 1:-1]
    return Profile(np.concatenate(station), np.concatenate(ground), scene.structures.structure[course.structure], at,
                   hook, plan.base_elevation[course.structure],
                   np.array([at[0] - course.distance[0], at[-1] + course.distance[1]]), hinge[[0, -1], 2],
                   (at[:-1, None] + length[:, None] * _PLACES).ravel(), lowest)
