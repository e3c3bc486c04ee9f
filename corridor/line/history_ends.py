"""Two ends of a wire's history: that loads of ice and wind have stretched it, and that they never came.

Which end hangs lower is another in every state. A wire that is known by a tension has, with less set, its knee at a
higher temperature, and sags more when hot; one that is known by its length sags more with more set. So both ends are
kept as laws of one unstressed length, and in each state that is taken in which the wire is slacker.
"""

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from corridor.arrays import Array, Booleans, Integers
from corridor.line.elongation_laws import choose_law, curved, reshape_law, take_law, with_sets
from corridor.line.history import Pairs, Settled
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.curves import counted_from
from corridor.mechanics.elongation import Curved, Law

if TYPE_CHECKING:
    from corridor.line.states import Strung

__all__ = ["Chosen", "choose_end", "in_states", "law_at_end", "moved_onto", "put_among"]


class Chosen(NamedTuple):
    """Of two ends, state by state: `slack` the law with which the wire hangs lower and `slack_tension` [N] with it,
    `taut` and `taut_tension` the other."""

    slack: Law
    slack_tension: Array
    taut: Law
    taut_tension: Array


def choose_end(state: tuple[Array, Array, Array, Array], loaded: Law, tension: Array, never: Law,
               doubtful: Booleans) -> Chosen:
    """Return the ends of histories by how wires hang in some states.

    Parameters
    ----------
    state : tuple of ndarray
        Unstressed excess, ruling span, load and temperature, as `ruling_span.tension` takes them.
    loaded, never : law
        Final, if loads have come and if they never have; of one unstressed length.
    tension : ndarray
        With the first [N].
    doubtful : ndarray of bool
        Where the two differ and the state is final; elsewhere both are `loaded`. All broadcast with each other.
    """
    at = np.nonzero(np.broadcast_to(doubtful, tension.shape))
    if not len(at[0]):
        return Chosen(loaded, tension, loaded, tension)
    one, other = (type(law)(*(np.broadcast_to(field, tension.shape)[at] for field in law)) for law in (loaded, never))
    excess, span, load, temperature = (np.broadcast_to(v, tension.shape)[at] for v in state)
    H = ruling.tension(excess, span, load, temperature, other).horizontal_tension
    # An end without answer is none that could be relied on: the state has none.
    lower = ~(H >= tension[at])
    slack, taut = (_put(loaded, tension.shape, at, law)
                   for law in (choose_law(lower, other, one), choose_law(lower, one, other)))
    less, more = (_put_one(tension, at, each)
                  for each in (np.where(lower, H, tension[at]), np.where(lower, tension[at], H)))
    return Chosen(slack, less, taut, more)


def _put_one(whole: Array, at: tuple[Integers, ...], values: Array) -> Array:
    whole = np.array(whole, float)
    whole[at] = values
    return whole


def _put(law: Law, shape: tuple[int, ...], at: tuple[Integers, ...], some: Law) -> Law:
    """A law of some shape with other rows at places."""
    return type(law)(*(_put_one(np.broadcast_to(field, shape), at, part)
                       for field, part in zip(law, some, strict=True)))


def in_states(excess: Array, law: Law, states: tuple[int, ...]) -> tuple[Array, Law]:
    """Return excess (pair,) and law (pair, case) for every state (group, option, case)."""
    return np.broadcast_to(excess.reshape(states[:2])[..., None], states), reshape_law(law, states)


def put_among(every: tuple[Array, Law], some: Integers, excess: Array, law: Law) -> tuple[Array, Law]:
    """Return excess and law of every state (group, option, case) with those of some pairs (pair,), (pair, case) put in
    their places."""
    states = every[0].shape
    flat = states[0] * states[1], states[2]
    whole = _put_one(every[0].reshape(flat), (some,), excess[:, None])
    return whole.reshape(states), reshape_law(_put(reshape_law(every[1], flat), flat, (some,), law), states)


def law_at_end(strung: "Strung", group: Integers, option: Integers, span: Array, load: Array, temperature: Array, *,
               taut: bool = False) -> Law:
    """Return the final law of wires in groups and options (row,) at the end of their history at which they hang lower,
    or higher.

    Parameters
    ----------
    strung : Strung
    group, option : ndarray of int, shape (row,)
    span : ndarray, shape (row,)
        Ruling span [m].
    load : ndarray, shape (row,)
        [N/m]
    temperature : ndarray, shape (row,)
        [°C]
    taut : bool
        Whether it is the end at which they hang higher.
    """
    shape = strung.excess.shape
    loaded, never = (take_law(reshape_law(law, shape), (group, option)) for law in (strung.final, strung.unloaded))
    at = np.nonzero(strung.doubtful[group, option])
    if not len(at[0]):
        return loaded
    state = strung.excess[group, option][at], span[at], load[at], temperature[at]
    some, never = take_law(loaded, at), take_law(never, at)
    H = ruling.tension(*state, some).horizontal_tension
    chosen = choose_end(state, some, H, never, np.ones(H.shape, bool))
    return _put(loaded, group.shape, at, chosen.taut if taut else chosen.slack)


def moved_onto(pairs: Pairs, settled: Settled, never: Settled, doubtful: Booleans) -> Law:
    """Return the final law of pairs if no load has come, counted from the unstressed length they have if loads have.

    Parameters
    ----------
    pairs : Pairs
    settled, never : Settled
        With loads, and without.
    doubtful : ndarray of bool, shape (pair,)
        Where the two differ.
    """
    final = with_sets(pairs.law, settled.final_outer, settled.final_core)
    if not isinstance(pairs.law, Curved) or not doubtful.any():
        return final
    law = with_sets(take_law(pairs.law, doubtful), never.final_outer[doubtful], never.final_core[doubtful])
    moved = counted_from(curved(law), (1 + never.excess[doubtful]) / (1 + settled.excess[doubtful]))
    return _put(final, doubtful.shape, np.nonzero(doubtful), moved)
