"""The history of every wire: strung on its initial curves, loaded, grown old; and the length that follows from it.

Pairs of a group of wires and an option are worked on side by side, as one axis. A pair's sets, its length and its
tensions hang together; `settle_pairs` finds those that agree.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from corridor.arrays import Array, Booleans, Index, Integers, Texts
from corridor.geometry.catenary import mean_tension_ratio, slack
from corridor.line.elongation_laws import CURVES, GAP, GIVEN, PREDICTED, curved, take_law, with_sets
from corridor.mechanics.elongation import Curved, Law, strain
from corridor.mechanics.history import gap_set, outer_set_of_creep, predicted_creep, sets_after, settle
from corridor.mechanics.ruling_span import tension, unstressed_excess
from corridor.mechanics.stringing import longest

__all__ = ["Pairs", "Settled", "settle_pairs", "unloaded"]

#: Where the settling begins [-]; any value of this order will do.
_FIRST_SET = 5e-4


@dataclass(frozen=True)
class Pairs:
    """What is known of pairs before they settle; columns of shape (pair,), (pair, case) or (pair, limit).

    `law` without sets and `creep` law; `method` of `laws`; `given_set` [-]; `span` ruling span [m]; `bare_weight`
    [N/m]; `everyday`, `stringing` temperature [°C]; `age` [years]; `pretension` [N], 0 for none;
    `measured` [N], `measured_at` [°C], under the `measured_load` [N/m], nan where nothing was; `as_strung` where that
    was on the day of stringing. `load` [N/m],
    `temperature` [°C] of each case, and whether it counts among the loads that have been, `seen`;
    `limit_tension` H [N], `limit_load`, `limit_temperature`, `limit_given`, `limit_initial` of each limit;
    `creep_share` of the sets that years leave, 1 as predicted; `let_out` share of the ruling span by which the wire of
    a pair that was not measured is longer than its limits make it [-].
    """

    law: Law
    creep: Curved | None
    method: Texts
    given_set: Array
    span: Array
    bare_weight: Array
    rts: Array
    everyday: Array
    stringing: Array
    age: Array
    pretension: Array
    measured: Array
    measured_at: Array
    measured_load: Array
    as_strung: Booleans
    load: Array
    temperature: Array
    limit_tension: Array
    limit_load: Array
    limit_temperature: Array
    limit_given: Booleans
    limit_initial: Booleans
    seen: Booleans
    creep_share: Array
    let_out: Array

    @property
    def hangs(self) -> Booleans:
        """Whether each was measured as it hangs, final."""
        return np.isfinite(self.measured) & ~self.as_strung

    def __getitem__(self, index: Index) -> "Pairs":
        """Return those pairs alone."""
        law, creep = take_law(self.law, index), self.creep and take_law(self.creep, index)
        return Pairs(law, creep, **{field.name: getattr(self, field.name)[index] for field in fields(self)[2:]})


@dataclass(frozen=True)
class Settled:
    """What pairs come to; columns of shape (pair,).

    `excess` unstressed length over ruling span less one, nan without answer; `governing` limit, -1 for none;
    `initial_outer` ... `final_core` permanent sets [-]; `set_by` what made the outer part's final set.
    """

    excess: Array
    governing: Integers
    initial_outer: Array
    initial_core: Array
    final_outer: Array
    final_core: Array
    set_by: Texts


def settle_pairs(pairs: Pairs) -> Settled:
    """Return length and sets of pairs, such that both follow from each other.

    Parameters
    ----------
    pairs : Pairs

    Returns
    -------
    Settled
    """
    count = len(pairs.span)
    sets = np.zeros((4, count))
    sets[2] = pairs.given_set
    by = np.full(count, "given", object)
    moving = np.flatnonzero(pairs.method != GIVEN)
    if len(moving):
        some = pairs[moving]
        sets[:, moving], by[moving] = _settle(some)
    by[np.isnan(sets[2]) | (sets[2] == 0)] = None
    excess, governing = _length(pairs, sets)
    return _with_sets(excess, governing, sets, by)


def unloaded(pairs: Pairs, settled: Settled, again: Booleans, doubtful: Booleans) -> Settled:
    """Return pairs as they are if no load of ice or wind has ever come.

    Parameters
    ----------
    pairs : Pairs
    settled : Settled
        The same with the loads that count.
    again : ndarray of bool, shape (pair,)
        Whose length is not known but follows from a final state: of a wire that stands. Others keep their length.
    doubtful : ndarray of bool, shape (pair,)
        Of which it is not known whether loads have come.

    Returns
    -------
    Settled
        As `settled` where loads leave nothing.
    """
    excess, sets = settled.excess.copy(), np.stack([settled.initial_outer, settled.initial_core, settled.final_outer,
                                                    settled.final_core])
    bare = pairs.load <= pairs.bare_weight[:, None] * (1 + 1e-9)
    never = replace(pairs, seen=pairs.seen & bare)
    loaded = doubtful & (pairs.method == CURVES) & (pairs.seen & ~bare).any(axis=1) & np.isfinite(excess)
    for chosen, function in ((loaded & ~again, _kept), (loaded & again, _anew)):
        if chosen.any():
            excess[chosen], sets[:, chosen] = function(never[chosen], excess[chosen])
    return _with_sets(excess, settled.governing, sets, settled.set_by)


def _with_sets(excess: Array, governing: Integers, sets: Array, by: Texts) -> Settled:
    """What pairs come to; sets (initial outer, initial core, final outer, final core)."""
    initial_outer, initial_core, final_outer, final_core = sets
    return Settled(excess, governing, initial_outer, initial_core, final_outer, final_core, by)


def _kept(pairs: Pairs, excess: Array) -> tuple[Array, Array]:
    """Length and sets of pairs whose length is known."""
    before = _pretensioned(pairs)
    left = _by_load(pairs, excess, before), _by_creep_curve(pairs, excess, before)
    return excess, np.concatenate([before, np.maximum(before, np.maximum(*left))])


def _anew(pairs: Pairs, _: Array) -> tuple[Array, Array]:
    """Length and sets of pairs that settle once more."""
    found = settle_pairs(pairs)
    return found.excess, np.stack([found.initial_outer, found.initial_core, found.final_outer, found.final_core])


def _settle(pairs: Pairs) -> tuple[Array, Texts]:
    """Sets (initial outer, initial core, final outer, final core) of pairs, and what made the final outer one."""
    before = _pretensioned(pairs)
    start = np.stack([*before, np.full_like(before[0], _FIRST_SET), np.zeros_like(before[1])])
    sets = settle(lambda sets: np.max(_sets(pairs, before, sets), axis=0), start)
    made = _sets(pairs, before, sets)[:, 2]
    by = np.array(_MAKERS, object)[np.argmax(made, axis=0)]
    return sets, by


#: What may make a set, in the order in which `_sets` tells them.
_MAKERS = ("pretension", "load", "creep", "stringing")


def _pretensioned(pairs: Pairs) -> Array:
    """Sets of both parts after the pretension, on the virgin curves."""
    drawn = (pairs.pretension > 0) & (pairs.method == CURVES)
    sets = np.zeros((2, len(drawn)))
    if drawn.any():
        some = pairs[drawn]
        e = strain(some.pretension, some.stringing, some.law)
        sets[:, drawn] = sets_after(e, some.stringing, curved(some.law))
    return sets


def _sets(pairs: Pairs, before: Array, sets: Array) -> Array:
    """Sets (maker, initial and final of both parts, pair) that the length made of these sets leads to."""
    excess, _ = _length(pairs, sets)
    made = np.zeros((len(_MAKERS), 4, len(excess)))
    made[:, :2] = before
    made[0, 2:] = before
    for method, maker, function in _HISTORIES:
        chosen = pairs.method == method
        if chosen.any():
            some = pairs[chosen]
            found = function(some, excess[chosen], sets[:, chosen])
            if method == GAP:
                made[:, 0, chosen] = found[0]
            made[maker, 2:, chosen] = np.transpose(found)
    return made


def _length(pairs: Pairs, sets: Array) -> tuple[Array, Integers]:
    """Unstressed length of pairs with these sets, and the limit that governs it."""
    outer = np.where(pairs.limit_initial, sets[0, :, None], sets[2, :, None])
    core = np.where(pairs.limit_initial, sets[1, :, None], sets[3, :, None])
    part = with_sets(take_law(pairs.law, np.s_[:, None]), outer, core)
    with np.errstate(invalid="ignore"):
        excess, governing = longest(pairs.limit_tension, pairs.limit_given, pairs.span[:, None], pairs.limit_load,
                                    pairs.limit_temperature, part)
    excess = excess + pairs.let_out
    known = np.isfinite(pairs.measured)
    if known.any():
        some = pairs[known]
        law = with_sets(some.law, *np.where(some.as_strung, sets[:2, known], sets[2:, known]))
        excess[known] = unstressed_excess(some.span, some.measured, some.measured_load, some.measured_at, law)
        governing[known] = -1
    return excess, governing


def _state(pairs: Pairs, excess: Array, load: Array, temperature: Array, part: Law) -> tuple[Array, Array, Array]:
    """Horizontal tension [N], strain [-] and mean tension [N] of a state."""
    H = tension(excess, pairs.span, load, temperature, part).horizontal_tension
    C = H / load
    with np.errstate(invalid="ignore"):
        e = (slack(pairs.span, 0.0, C) / pairs.span - excess) / (1 + excess)
        return H, e, H * mean_tension_ratio(pairs.span, 0.0, C)


def _by_load(pairs: Pairs, excess: Array, sets: Array) -> Array:
    """Greatest sets of both parts that any case leaves, the wire being on its initial curves."""
    cases = pairs.temperature.shape[1]
    pair, case = (index.ravel() for index in np.indices((len(excess), cases)))
    # A case that this wire cannot be in, for lack of a temperature, leaves nothing; nor does one that has not been.
    real = (np.isfinite(pairs.temperature) & pairs.seen).ravel()
    some, k = pairs[pair[real]], case[real]
    row = np.arange(len(k))
    load, T = some.load[row, k], some.temperature[row, k]
    law = with_sets(some.law, *sets[:2, pair[real]])
    e = _state(some, excess[pair[real]], load, T, law)[1]
    left = np.zeros((2, len(excess), cases))
    left[:, pair[real], case[real]] = sets_after(e, T, curved(law))
    return left.max(axis=-1, initial=0.0)


def _by_creep_curve(pairs: Pairs, excess: Array, sets: Array) -> Array:
    """Sets of both parts after years at the everyday temperature, on the creep curves; 0 where there are none."""
    left = np.zeros((2, len(excess)))
    has = np.isfinite(pairs.creep.outer_0) if pairs.creep else np.zeros(len(excess), bool)
    some = pairs[has]
    if some.creep and has.any():
        e = _state(some, excess[has], some.bare_weight, some.everyday, some.creep)[1]
        left[:, has] = some.creep_share * np.stack(sets_after(e, some.everyday, some.creep))
    return left


def _by_prediction(pairs: Pairs, excess: Array, sets: Array) -> Array:
    """Sets after years at the everyday temperature and the final tension there, by the published predictor."""
    law = with_sets(pairs.law, *sets[2:])
    H = _state(pairs, excess, pairs.bare_weight, pairs.everyday, law)[0]
    outer = outer_set_of_creep(pairs.creep_share * predicted_creep(H / pairs.rts, pairs.age), pairs.law)
    return np.stack([outer, np.zeros_like(outer)])


def _by_gap(pairs: Pairs, excess: Array, sets: Array) -> Array:
    """Set of an outer part that is clamped once the core has been tensioned alone."""
    alone = with_sets(pairs.law._replace(outer_compression=0.0 * pairs.span), 1.0 + 0 * excess, 0 * excess)
    F = _state(pairs, excess, pairs.bare_weight, pairs.stringing, alone)[2]
    outer = gap_set(F, pairs.stringing, curved(alone))
    return np.stack([outer, np.zeros_like(outer)])


#: By method: which maker, and the function of its sets.
_HISTORIES = (
    (CURVES, 1, _by_load),
    (CURVES, 2, _by_creep_curve),
    (PREDICTED, 2, _by_prediction),
    (GAP, 3, _by_gap),
)
