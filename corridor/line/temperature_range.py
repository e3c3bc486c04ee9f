"""Wires through a range of temperatures, bare and in still air: the states that charts and curves are made of."""

from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Integers
from corridor.geometry.catenary import greatest_sag, plane_of
from corridor.line.hang import hang, still_states
from corridor.line.model import Model
from corridor.mechanics.elongation import Law

__all__ = ["AtTemperatures", "at_temperatures"]


class AtTemperatures(NamedTuple):
    """Wires at temperatures; arrays of shape (wire, temperature), nan where there is no answer.

    `horizontal_tension` [N]; `constant` C [m]; `span`, `rise` of the wire's ends where they hang [m]; `sag` maximum
    drop below the chord [m].
    """

    horizontal_tension: Array
    constant: Array
    span: Array
    rise: Array
    sag: Array


def at_temperatures(model: Model, wires: Integers, option: int, temperature: ArrayLike,
                    law: Law | None = None) -> AtTemperatures:
    """Return wires at each of some temperatures.

    Parameters
    ----------
    model : Model
    wires : ndarray of int, shape (wire,)
        Wire spans.
    option : int
    temperature : array_like, shape (temperature,)
        Of the conductor [°C].
    law : law of arrays (group, option), optional
        In the condition that is asked for. Default: final, at the end of the history at which the wire hangs lower.
    """
    T = np.asarray(temperature, float)
    wire = np.repeat(wires, len(T))
    hung = hang(model, still_states(model, wire, np.full(len(wire), option), np.tile(T, len(wires)), law))
    hung = hung.reshaped(len(wires), len(T))
    plane = plane_of(hung.start, hung.end, hung.vectors)
    C = hung.constant
    return AtTemperatures(hung.horizontal_tension, C, plane.span, plane.rise, greatest_sag(plane.span, plane.rise, C))
