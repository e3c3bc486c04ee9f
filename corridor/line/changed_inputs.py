"""Wires as they are strung where inputs are not what they are taken to be, for a whole batch of errors at once."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import NamedTuple, TypeVar

import numpy as np

from corridor.arrays import Array, Booleans, Integers, take
from corridor.line.elongation_laws import reshape_law, take_law, with_sets
from corridor.line.history import Settled
from corridor.line.states import Asked, Strung, doubtful_ends, settle_asked
from corridor.line.uncertainty import Deviation
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.elongation import Law

__all__ = ["OF_WIRES", "Changed", "WireStates", "change_inputs"]

#: Inputs that act through the wire.
OF_WIRES = ("survey_temperature", "survey_sag", "stringing_sag", "expansion", "modulus", "mass", "creep",
            "compression", "wire_temperature")

#: One kind of law.
_Kind = TypeVar("_Kind", bound=Law)

_STRESSES = ("outer_stiffness", "core_stiffness", *(f"{part}_{k}" for part in ("outer", "core") for k in range(5)))
_EXPANSIONS = ("outer_expansion", "core_expansion", "core_expansion_above")
#: No error takes more of an input away than this share, nor of a sag.
_LEAST = 0.1


class WireStates(NamedTuple):
    """States that wires are asked for; columns (state,): `unit`, `option`, `case`, `wind` [N/m], and whether the wire
    hangs at that end of its history at which it is higher, `taut`."""

    unit: Integers
    option: Integers
    case: Integers
    wind: Array
    taut: Booleans


@dataclass(frozen=True)
class Changed:
    """Pairs under errors, one row for each error, unit and option, in this order; `shape` their numbers. `asked` and
    `settled` tell of them; `weight` [N/m] and `temperature` [°C] in each case; `never` the final law if no load has
    come, and `doubtful` where that is another."""

    shape: tuple[int, int, int]
    asked: Asked
    settled: Settled
    weight: Array
    temperature: Array
    never: Law
    doubtful: Booleans

    def tension(self, states: WireStates) -> tuple[Array, Array]:
        """Return the horizontal tension [N] and the weight [N/m] of states under every error, (error, state)."""
        errors, units, options = self.shape
        row = np.arange(errors)[:, None] * (units * options) + states.unit * options + states.option
        pairs, found = self.asked.pairs, self.settled
        weight, case = self.weight[row, states.case], np.broadcast_to(states.case, row.shape)
        initial = self.asked.table.initial_case[case] & ~pairs.hangs[row]
        state = (found.excess[row], pairs.span[row], np.hypot(weight, states.wind), self.temperature[row, case])
        outer, core = (np.where(initial, getattr(found, f"initial_{part}")[row], getattr(found, f"final_{part}")[row])
                       for part in ("outer", "core"))
        H = ruling.tension(*state, with_sets(take_law(pairs.law, row), outer, core)).horizontal_tension
        again = self.doubtful[row] & ~initial
        if again.any():
            excess, span, load, T = (v[again] for v in state)
            other = ruling.tension(excess, span, load, T, take_law(self.never, row[again])).horizontal_tension
            taut = np.broadcast_to(states.taut, row.shape)[again]
            H[again] = np.where(taut, np.maximum(H[again], other), np.minimum(H[again], other))
        return H, weight


def change_inputs(asked: Asked, strung: Strung, group: Integers, inputs: Mapping[str, Deviation],
                  scores: Mapping[str, Array]) -> Changed:
    """Return units of wires under errors of their inputs.

    Parameters
    ----------
    asked : Asked
        Without errors.
    strung : Strung
        What that comes to.
    group : ndarray of int, shape (unit,)
        The group that each unit is of, the wires that err alike.
    inputs : mapping of Deviation
    scores : mapping of ndarray, shape (error, unit)
        By input, the error in standard deviations.
    """
    errors, options = len(next(iter(scores.values()))), asked.which.shape[1]
    pair = (group[:, None] * options + np.arange(options)).ravel()
    index = np.tile(pair, errors)
    row = asked.which.ravel()[index]
    error = {name: _error(asked, row, name, inputs.get(name), scores.get(name), options, len(index))
             for name in OF_WIRES}
    pairs, limits = asked.pairs[index], take(asked.limits, index)
    own, table = pairs.bare_weight, asked.table
    heavier = (error["mass"] * own)[:, None]
    weight = table.weight[row] + heavier
    T = table.temperature[row] + error["wire_temperature"][:, None] * table.named[row]
    limits = replace(limits, weight=limits.weight + heavier)
    by_shape = np.where(asked.by_shape[index], error["mass"], 0.0)
    changed = replace(
        pairs, law=_stretched(pairs.law, error), creep=pairs.creep and _stretched(pairs.creep, error),
        given_set=pairs.given_set * (1 + error["creep"]), creep_share=1 + error["creep"],
        bare_weight=own + heavier[:, 0], load=np.hypot(weight, table.wind[row]), temperature=T,
        measured=_lower(pairs.measured * (1 + by_shape), pairs.measured_load, pairs.span, error["survey_sag"]),
        measured_at=pairs.measured_at + error["survey_temperature"],
        measured_load=pairs.measured_load * (1 + error["mass"]),
        limit_tension=limits.tension(np.where(limits.kind == "existing", np.nan, limits.value)),
        limit_load=np.hypot(limits.weight, limits.wind),
        let_out=_let_out(asked, strung, error["stringing_sag"], index))
    of = Asked(np.tile(asked.which[group], (errors, 1)), table, changed, limits, take(asked.ends, index),
               asked.share[index], asked.by_shape[index], asked.today)
    settled, never = settle_asked(of)
    doubtful, law = doubtful_ends(changed, settled, never)
    return Changed((errors, len(group), options), of, settled, weight, T, law, doubtful)


def _error(asked: Asked, row: Integers, name: str, input_: Deviation | None, score: Array | None, options: int,
           count: int) -> Array:
    """Error of an input of pairs of wirings `row` in its unit; of compression a force [N]."""
    if input_ is None or score is None:
        return np.zeros(count)
    sd: float | Array = input_.sd
    if name == "compression":
        columns = {key: values[row] for key, values in asked.table.columns.items()}
        if np.isnan(input_.sd):
            # The band is taken to hold all values, each as likely as the other.
            sd = (columns["compression_high"] - columns["compression_low"]) / np.sqrt(12)
        sd = sd * columns["outer_area"]
    error = sd * np.repeat(score.ravel(), options)
    return np.maximum(error, _LEAST - 1) if name in ("expansion", "modulus", "mass", "creep") else error


def _stretched(law: _Kind, error: Mapping[str, Array]) -> _Kind:
    """A law with other moduli, expansions and compression."""
    fields = {name: getattr(law, name) * (1 + error[by]) for by, names in (
        ("modulus", _STRESSES), ("expansion", _EXPANSIONS)) for name in names if name in law._fields}
    fields["outer_compression"] = np.maximum(law.outer_compression + error["compression"], 0.0)
    return type(law)(**(law._asdict() | fields))


def _lower(tension: Array, weight: Array, span: Array, sag: Array) -> Array:
    """Horizontal tension [N] of bare wires whose sag is more than `w S^2 / 8 H` by so much [m]."""
    known = weight * span**2 / (8 * tension)
    return tension * known / np.maximum(known + sag, _LEAST * known)


def _let_out(asked: Asked, strung: Strung, sag: Array, index: Integers) -> Array:
    """Share of the ruling span that makes the sag on the day of stringing more by so much [m]."""
    pairs, law = asked.pairs, reshape_law(strung.initial, (len(asked.pairs.span),))
    state = pairs.span, pairs.bare_weight, pairs.stringing
    H = ruling.tension(strung.excess.ravel(), *state, law).horizontal_tension
    some = pairs.span[index], pairs.bare_weight[index], pairs.stringing[index]
    lower = _lower(H[index], some[1], some[0], sag)
    return (ruling.unstressed_excess(some[0], lower, *some[1:], take_law(law, index))
            - ruling.unstressed_excess(*state[:1], H, *state[1:], law)[index])
