"""Wires hung once more, bare and in still air, each at a temperature of its own."""

from typing import NamedTuple

import numpy as np

from corridor.geometry.distance import Ends
from corridor.line.hanging import Hung
from corridor.line.laws import take_law
from corridor.mechanics import ruling_span as ruling

__all__ = ["Bare", "hang_bare"]


class Bare(NamedTuple):
    """Wires in still air, of shape (n,).

    Catenary `constant` [m], nan where there is no answer; `ends` in the chord of the wire at rest; `aside` (n, 2), both
    ends to the right of it [m]; `start`, `end` (n, 3) in the span's frame.
    """

    constant: np.ndarray
    ends: Ends
    aside: np.ndarray
    start: np.ndarray
    end: np.ndarray


def hang_bare(scene, wires, option, temperature):
    """Return wires in still air, in the final condition.

    Parameters
    ----------
    scene : Scene
        With `strung`, `groups`, `group`, `model` (None: by the ruling span), `frame` and `wires`.
    wires : ndarray of int, shape (n,)
        Wire spans.
    option : int
    temperature : ndarray, shape (n,)
        Of the conductor [degC], one for each wire and the whole section around it.

    Returns
    -------
    Bare
    """
    strung, g = scene.strung, scene.group[wires]
    weight = strung.bare_weight[g, option]
    part = take_law(_options_law(strung), (g, np.full(len(g), option)))
    if scene.model is None:
        H = ruling.tension(strung.excess[g, option], scene.groups.span[g], weight, temperature, part).horizontal_tension
        frame = scene.frame
        start, end = frame.start[wires], frame.end[wires]
    else:
        H, start, end = _in_equilibrium(scene.model, wires, option, weight, temperature, part)
    hung = Hung(*(v[:, None, None, None] for v in (H, start, end)), None, None, weight[:, None, None],
                np.zeros((len(wires), 1, 1)))
    frame = _some(scene.frame, wires)
    ends, aside = hung.moved(frame)
    return Bare(H / weight, Ends(*(field[:, 0, 0, 0] for field in ends)), aside[:, 0, 0, 0], start, end)


def _options_law(strung):
    shape = strung.excess.shape
    return type(strung.final)(*(np.broadcast_to(field, shape) for field in strung.final))


def _some(frame, rows):
    return type(frame)(*(getattr(frame, name)[rows] for name in frame.__dataclass_fields__))


def _in_equilibrium(model, wires, option, weight, temperature, part):
    """Tension and ends of wires, each with its whole chain solved at its own temperature."""
    chain, place = model.place_of(wires)
    still = np.zeros(len(chain))
    H, start, end, _, _ = model.solve(chain, np.full(len(chain), option), weight, still, temperature, part)
    every = np.arange(len(chain))
    return H[every, place], start[every, place], end[every, place]
