"""Wires through a range of temperatures, bare and in still air: the states that charts and curves are made of."""

from typing import NamedTuple

import numpy as np

from corridor.geometry.catenary import greatest_sag, plane_of
from corridor.line.laws import reshape_law, take_law
from corridor.mechanics import ruling_span as ruling

__all__ = ["Warmed", "warm"]


class Warmed(NamedTuple):
    """Wires at temperatures; arrays of shape (wire, temperature), nan where there is no answer.

    `horizontal_tension` [N]; `constant` C [m]; `span`, `rise` of the wire's ends where they hang [m]; `sag` greatest
    drop below the chord [m].
    """

    horizontal_tension: np.ndarray
    constant: np.ndarray
    span: np.ndarray
    rise: np.ndarray
    sag: np.ndarray


def warm(scene, wires, option, temperature, part):
    """Return wires at each of some temperatures, each section in equilibrium by the method of the scene.

    Parameters
    ----------
    scene : Scene
        With `strung`, `groups`, `group`, `model` (None: by the ruling span) and `frame`.
    wires : ndarray of int, shape (wire,)
        Wire spans.
    option : int
    temperature : array_like, shape (temperature,)
        Of the conductor [degC].
    part : law of arrays (group, option)
        In the condition that is asked for.
    """
    T = np.asarray(temperature, float)
    law = take_law(reshape_law(part, scene.strung.excess.shape), np.s_[:, option])
    H, start, end = _by_ruling_span(scene, wires, option, T, law)
    if scene.model is not None:
        exact = scene.hung.exact[wires]
        for whole, some in zip((H, start, end), _in_equilibrium(scene, wires[exact], option, T, law), strict=True):
            whole[exact] = some
    w = np.broadcast_to(scene.strung.bare_weight[scene.group[wires], option, None], H.shape)
    plane = plane_of(start, end, np.stack([0 * w, 0 * w, -w], axis=-1))
    C = H / w
    return Warmed(H, C, plane.span, plane.rise, greatest_sag(plane.span, plane.rise, C))


def _by_ruling_span(scene, wires, option, T, law):
    """Tension of the ruling span, and ends with strings plumb; arrays (wire, temperature[, 3])."""
    strung, g = scene.strung, scene.group[wires]
    H = ruling.tension(strung.excess[g, option, None], scene.groups.span[g, None], strung.bare_weight[g, option, None],
                       T, take_law(law, (g, None))).horizontal_tension
    shape = (*H.shape, 3)
    return H, *(np.broadcast_to(ends[wires, None], shape).copy() for ends in (scene.frame.start, scene.frame.end))


def _in_equilibrium(scene, wires, option, T, law):
    """Tension and ends, arrays (wire, temperature[, 3]).

    Every chain is solved once for each temperature, however many of its wires are asked for.
    """
    model = scene.model
    chain, place = model.place_of(wires)
    chains, at = np.unique(chain, return_inverse=True)
    c, k = (index.ravel() for index in np.indices((len(chains), len(T))))
    g = model.group[chains[c]]
    weight = scene.strung.bare_weight[g, option]
    H, start, end, *_ = model.solve(chains[c], np.full(len(c), option), weight, np.zeros(len(c)), T[k],
                                    take_law(law, g))
    index, spot = np.arange(len(c)).reshape(len(chains), len(T))[at], place[:, None]
    return H[index, spot], start[index, spot], end[index, spot]
