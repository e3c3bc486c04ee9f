"""Every section of wire in every option and case: strung to its limits, then loaded, in one batch."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, Booleans, Integers, Texts, take
from corridor.line.build import Sections
from corridor.line.elongation_laws import choose_law, reshape_law, take_law, with_sets
from corridor.line.facts import Case, Measured, Option, Tightened, Wiring
from corridor.line.history import Pairs, Settled, settle_pairs, unloaded
from corridor.line.history_ends import choose_end, in_states, moved_onto, put_among
from corridor.line.limit_words import texts, unmet
from corridor.line.section_wires import WireGroups
from corridor.line.wiring_table import WiringTable
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.elongation import Law
from corridor.mechanics.knee import knee_temperature
from corridor.mechanics.stringing import greatest_tension, limit_tensions

__all__ = ["Asked", "PairLimits", "Strung", "ask", "doubtful_ends", "settle_asked", "solve_states"]


@dataclass(frozen=True)
class Strung:
    """The solved batch. Shapes: (group, option) or (group, option, case).

    `weight`, `wind` load per length where tension is asked for [N/m], constants of the code included; `temperature`
    [°C]; `horizontal_tension` [N], nan where there is no answer; `residual` of strain; `excess` unstressed length
    over ruling span less one; `governing` index of the stringing limit, -1 where none is or a measurement replaces
    them, and `limit_text` its words; `unmet` (group, option) why the limits leave no tension, in words, "" where they
    leave one; `knee` [°C] bare, final, of two ends of the history the higher; `rts` [N]; `set_by` what made the final
    set of the outer part, `outer_set`, `core_set` [-] the final sets if loads have come; `final`, `initial` the law in
    that condition (group, option), `part` that of every state (group, option, case). Of the band of compression, first
    axis low and high: `compression_band` [N] of the outer part, `knee_band` [°C]. `tension_band` [N] of every state,
    the greatest and the least that it may be by all that is in doubt.

    Of the two ends of a history, that loads of ice and wind have come or never have: `unloaded` the final law (group,
    option) if they never have, of the same unstressed length, and `doubtful` (group, option) where that is another,
    `final_doubtful` the same of final states (group, option, case);
    `part` is the end at which the wire hangs lower, `taut` the other, `taut_tension` [N] with it (group, option, case).
    `in_doubt` are all laws that wires may obey, each with the excess that goes with it, (group, option, case).
    `measured_final` (group, option) those that were measured as they hang, final.
    """

    weight: Array
    wind: Array
    temperature: Array
    horizontal_tension: Array
    residual: Array
    excess: Array
    governing: Integers
    limit_text: Texts
    knee: Array
    rts: Array
    bare_weight: Array
    final: Law
    part: Law
    set_by: Texts
    outer_set: Array
    core_set: Array
    compression_band: Array
    knee_band: Array
    tension_band: Array
    initial: Law
    unmet: Texts
    unloaded: Law
    doubtful: Booleans
    final_doubtful: Booleans
    taut: Law
    taut_tension: Array
    in_doubt: tuple[tuple[Array, Law], ...]
    measured_final: Booleans

    @property
    def constant(self) -> Array:
        """Catenary constant H/|q| [m], shape (group, option, case)."""
        return self.horizontal_tension / np.hypot(self.weight, self.wind)


def solve_states(groups: WireGroups, options: Sequence[Option], cases: Sequence[Case], shield: Wiring | None,
                 sections: Sections | None = None) -> Strung:
    """Return every group in every option and case, strung to the limits of its wiring.

    Parameters
    ----------
    groups : WireGroups
    options : sequence of Option
    cases : sequence of Case
    shield : Wiring or None
        Of the shield wires, the same in every option; None leaves them without answer (nan).
    sections : Sections, optional
        The sections that `groups` refers to, by whose names measured tensions are found.

    Returns
    -------
    Strung
    """
    asked = ask(groups, options, cases, shield, sections)
    settled, never = settle_asked(asked)
    which, table, pairs, limits, ends, share = asked[:6]
    strung = _strung(which, table, pairs, settled, never, share, unmet(which, table, pairs, limits, settled))
    return _widened(strung, which.ravel(), table, pairs, settled.excess, ends) if table.ends else strung


class Ends(NamedTuple):
    """Columns (pair,): whether the wire `stands`, so that its length follows from a final state; whether it is
    `doubtful` that loads of ice and wind have come."""

    stands: Booleans
    doubtful: Booleans


class Asked(NamedTuple):
    """What is asked of pairs: `which` wiring of the `table` each is of (group, option), `pairs` of group and option
    side by side with their `limits` and `ends`; `share` by which limits are more than they say, and whether what was
    measured is a shape, `by_shape`, (pair,); `today` index of the option that hangs, None where none does."""

    which: Integers
    table: WiringTable
    pairs: Pairs
    limits: "PairLimits"
    ends: Ends
    share: Array
    by_shape: Booleans
    today: int | None


def ask(groups: WireGroups, options: Sequence[Option], cases: Sequence[Case], shield: Wiring | None,
        sections: Sections | None = None) -> Asked:
    """Return what is asked of every group in every option; arguments as of `solve_states`."""
    table = WiringTable([shield, *(option.wiring for option in options)], cases)
    which = np.where((groups.kind == "shield")[:, None], 0, 1 + np.arange(len(options)))
    pairs, limits, share, by_shape = _pairs(groups, which, table, sections)
    today = next((i for i, option in enumerate(options) if option.existing), None)
    stands = (which == 0) | (np.arange(len(options)) == (-1 if today is None else today))
    ends = Ends(stands.ravel() & ~pairs.as_strung | pairs.hangs, table.doubtful[which.ravel()])
    return Asked(which, table, pairs, limits, ends, share, by_shape, today)


def settle_asked(asked: Asked) -> tuple[Settled, Settled]:
    """Return length and sets of pairs if loads have come, and if they never have."""
    settled = _settled(asked.pairs, asked.limits, asked.table, asked.today, asked.which.shape[1], asked.ends)
    return settled, unloaded(asked.pairs, settled, *asked.ends)


#: Sets and lengths that differ by less are one [-]: no wire hangs a tenth of a millimetre otherwise for it.
_SAME = 1e-9


@dataclass(frozen=True)
class PairLimits:
    """Limits of pairs, columns of shape (pair, limit), and the spans they are for, (pair, 1, span)."""

    kind: Texts
    value: Array
    weight: Array
    wind: Array
    spans: Array
    rises: Array

    def tension(self, value: Array) -> Array:
        """Horizontal tension [N] of every limit whose bound is this value."""
        return limit_tensions(value, self.kind == "constant", self.spans, self.rises, self.weight, self.wind)


def _pairs(groups: WireGroups, which: Integers, table: WiringTable,
           sections: Sections | None) -> tuple[Pairs, PairLimits, Array, Booleans]:
    """Pairs of group and option, side by side, their limits, and more columns of `Asked`."""
    row = which.ravel()
    group = np.repeat(np.arange(len(groups)), which.shape[1])
    columns = {name: column[row] for name, column in table.columns.items()}
    share = _tightened(groups, which, table, sections)[:, None]
    limits = PairLimits(table.kind[row], table.value[row] * (1 + share), table.limit_weight[row], table.limit_wind[row],
                     groups.spans[group, None], groups.rises[group, None])
    bound = np.where(limits.kind == "existing", np.nan, limits.value)
    measured, measured_at, measured_load, by_shape, as_strung = _measured(groups, which, table, sections)
    one = np.ones(len(row))
    pairs = Pairs(
        take_law(table.law, row), None if table.creep is None else take_law(table.creep, row), table.method[row],
        columns["permanent_set"], groups.span[group], table.bare_weight[row], columns["rts"],
        columns["everyday_temperature"], columns["stringing_temperature"], columns["age"], columns["pretension"],
        measured, measured_at, measured_load, as_strung > 0,
        np.hypot(table.weight, table.wind)[row], table.temperature[row], limits.tension(bound),
        np.hypot(limits.weight, limits.wind), table.limit_temperature[row], limits.kind != "",
        table.limit_initial[row], table.seen[row], one, 0 * one)
    return pairs, limits, share[:, 0], by_shape > 0


def _named(row: Measured | Tightened, groups: WireGroups, sections: Sections | None) -> Booleans:
    """Whether groups are of the section that a row names, (group, 1)."""
    if sections is None:
        raise ValueError("a section is named, and none are given")
    here = (sections.name == row.section) & ((sections.line == row.line) | (row.line == ""))
    return here[groups.section][:, None]


def _tightened(groups: WireGroups, which: Integers, table: WiringTable, sections: Sections | None) -> Array:
    """Share by which the limits of each pair are more than they say, 0 where they are not."""
    share = np.zeros(which.shape)
    for index, wiring in enumerate(table.wirings):
        for row in wiring.tightened if wiring is not None else ():
            share[_named(row, groups, sections) & (which == index)] = row.share
    return share.ravel()


def _measured(groups: WireGroups, which: Integers, table: WiringTable, sections: Sections | None) -> Array:
    """Measured horizontal tension [N] of each pair, its temperature [°C] and the load [N/m], nan where nothing was
    measured; 1 where that was a shape, 0 where a tension; 1 where it was as the wire was strung."""
    found = np.full((5, *which.shape), np.nan)
    for index, wiring in enumerate(table.wirings):
        for row in wiring.measured if wiring is not None else ():
            given = np.isfinite(row.horizontal_tension)
            load = table.bare_weight[index] * np.hypot(1.0, row.slant)
            H = row.horizontal_tension if given else row.constant * load
            at = _named(row, groups, sections) & (which == index)
            found[:, at] = np.reshape([H, row.temperature, load, not given, row.initial], (5, 1))
    return found.reshape(5, -1)


def _settled(pairs: Pairs, limits: PairLimits, table: WiringTable, today: int | None, options: int,
             ends: Ends) -> Settled:
    """Length and sets of all pairs: first those that do not look at the existing wire, then those that do."""
    looks = (limits.kind == "existing").any(axis=1)
    if not looks.any():
        return settle_pairs(pairs)
    if today is None:
        raise ValueError("limits look at the existing wire, and none hangs")
    first, index = settle_pairs(pairs[~looks]), np.flatnonzero(looks)
    whole = _spread(first, ~looks)
    of_today = index // options * options + today
    some = pairs[of_today], take(whole, of_today)
    # What the existing wire is known to pull is the less of what it pulls at the two ends of its history.
    value = np.fmin(*(_bound_of_today(some[0], limits, table, 1 + today, index, end)
                      for end in (some[1], unloaded(*some, *(column[of_today] for column in ends)))))
    tension = take(limits, index).tension(value)
    second = _spread(settle_pairs(replace(pairs[index], limit_tension=tension)), looks)
    return type(first)(*(np.where(looks, getattr(second, f.name), getattr(whole, f.name)) for f in fields(first)))


def _spread(table: Settled, chosen: Booleans) -> Settled:
    """The rows of a table at chosen places of a longer one."""
    place = np.cumsum(chosen) - 1
    return take(table, np.maximum(place, 0))


def _bound_of_today(today: Pairs, limits: PairLimits, table: WiringTable, wiring: int, index: Integers,
                    settled: Settled) -> Array:
    """Bounds of limits, with the maximum tension of the existing wire where they ask for it."""
    some, k = take(limits, index), table.limit_case[1:][index % (len(table.wirings) - 1)]
    in_case = k >= 0
    w = np.where(in_case, table.weight[wiring, k], table.bare_weight[wiring])
    w = w + (today.bare_weight - table.bare_weight[wiring])[:, None]
    p = np.where(in_case, table.wind[wiring, k], 0.0)
    own = table.limit_temperature[1:][index % (len(table.wirings) - 1)]
    T = np.where(in_case, table.temperature[wiring, k], own)
    initial = table.limit_initial[1:][index % (len(table.wirings) - 1)] & ~today.hangs[:, None]
    law = _conditioned(today.law, settled, initial)
    H = ruling.tension(settled.excess[:, None], today.span[:, None], np.hypot(w, p), T, law).horizontal_tension
    # What structures bear of today's bundle the subconductors of another share.
    bundle = np.array([1 if each is None else each.bundle for each in table.wirings])
    share = (bundle[wiring] / bundle[1:][index % (len(table.wirings) - 1)])[:, None]
    bound = some.value * share * greatest_tension(H, some.spans, some.rises, w, p)
    return np.where(some.kind == "existing", bound, some.value)


def _conditioned(law: Law, settled: Settled, initial: Booleans) -> Law:
    """Law of pairs in states, (pair, state), with the sets of the condition of each."""
    outer = np.where(initial, settled.initial_outer[:, None], settled.final_outer[:, None])
    core = np.where(initial, settled.initial_core[:, None], settled.final_core[:, None])
    return with_sets(take_law(law, np.s_[:, None]), outer, core)


def doubtful_ends(pairs: Pairs, settled: Settled, never: Settled) -> tuple[Booleans, Law]:
    """Return where the two ends of a history differ (pair,), and the final law if no load has come."""
    doubtful = np.any([np.abs(getattr(never, name) - getattr(settled, name)) > _SAME
                       for name in ("final_outer", "final_core", "excess")], axis=0)
    return doubtful, moved_onto(pairs, settled, never, doubtful)


def _strung(which: Integers, table: WiringTable, pairs: Pairs, settled: Settled, never: Settled, share: Array,
            lost: Texts) -> Strung:
    """The solved batch of settled pairs; `never` as they are if no load has come."""
    row, shape, states = which.ravel(), which.shape, (*which.shape, table.weight.shape[1])
    # A wire whose tension was measured as it hangs is final, whatever a case says.
    initial = table.initial_case & ~pairs.hangs[:, None]
    seen = _conditioned(pairs.law, settled, initial)
    final = with_sets(pairs.law, settled.final_outer, settled.final_core)
    state = settled.excess[:, None], pairs.span[:, None], pairs.load, pairs.temperature
    solved, (doubtful, other) = ruling.tension(*state, seen), doubtful_ends(pairs, settled, never)
    ends = choose_end(state, seen, solved.horizontal_tension, take_law(other, np.s_[:, None]),
                      doubtful[:, None] & ~initial)
    part = ends.slack
    band = np.stack([table.columns[name][row] for name in ("compression_low", "compression_high")])
    band *= table.columns["outer_area"][row]
    laws = [law._replace(outer_compression=c[:, None])
            for law in ((part, ends.taut) if doubtful.any() else (part,)) for c in band]
    tensions = [ruling.tension(*state, law).horizontal_tension for law in laws]
    bare = settled.excess, pairs.span, pairs.bare_weight
    # A wire of known length is the slacker the more set it has: its knee is that of the loads that it is strung for.
    known = never.excess == settled.excess
    both = (final, final if known.all() else choose_law(known, final, other))
    knees = np.array([[knee_temperature(*bare, law._replace(outer_compression=c))
                       for c in (final.outer_compression, *band)] for law in both])
    outer, core, by, governing = (getattr(settled, name).reshape(shape)
                                  for name in ("final_outer", "final_core", "set_by", "governing"))
    return Strung(
        table.weight[which], table.wind[which], table.temperature[which], ends.slack_tension.reshape(states),
        solved.residual.reshape(states), settled.excess.reshape(shape), governing,
        texts(which, table, pairs, governing, share),
        knees[:, 0].max(axis=0).reshape(shape), pairs.rts.reshape(shape), pairs.bare_weight.reshape(shape),
        reshape_law(final, shape), reshape_law(part, states), by, outer, core, band.reshape(2, *shape),
        np.reshape([knees[:, 1].min(axis=0), knees[:, 2].max(axis=0)], (2, *shape)),
        np.reshape([np.max(tensions, axis=0), np.min(tensions, axis=0)], (2, *states)),
        reshape_law(_initial(pairs, settled), shape), lost, reshape_law(other, shape), doubtful.reshape(shape),
        np.broadcast_to(doubtful[:, None] & ~initial, tensions[0].shape).reshape(states),
        reshape_law(ends.taut, states), ends.taut_tension.reshape(states),
        tuple(in_states(settled.excess, law, states) for law in laws), pairs.hangs.reshape(shape))


def _widened(strung: Strung, row: Integers, table: WiringTable, pairs: Pairs, excess: Array, ends: Ends) -> Strung:
    """The solved batch with the band of tensions as wide as the doubt about estimated curves.

    At either end of these a wire is strung anew; a limit that looks at the existing wire bounds it by the same tension.
    """
    some = np.flatnonzero(table.estimated[row] & np.isfinite(excess))
    initial = table.initial_case & ~pairs.hangs[some][:, None]
    states = strung.tension_band.shape
    band = strung.tension_band.reshape(2, len(row), -1).copy()
    compression = strung.compression_band.reshape(2, -1)[:, some, None]
    doubtful, laws = take(ends, some), list(strung.in_doubt)
    for law, creep in table.ends:
        one = replace(pairs[some], law=take_law(law, row[some]), creep=creep and take_law(creep, row[some]))
        settled = settle_pairs(one)
        for end in (settled, unloaded(one, settled, *doubtful)):
            part = _conditioned(one.law, end, initial)
            for c in compression:
                each = part._replace(outer_compression=c)
                H = ruling.tension(end.excess[:, None], one.span[:, None], one.load, one.temperature,
                                   each).horizontal_tension
                band[0][some], band[1][some] = np.maximum(band[0][some], H), np.minimum(band[1][some], H)
                laws.append(put_among(laws[0], some, end.excess, each))
    return replace(strung, tension_band=band.reshape(states), in_doubt=tuple(laws))


def _initial(pairs: Pairs, settled: Settled) -> Law:
    """Law of pairs on the day of stringing; of a wire that was measured as it hangs, the final one."""
    measured = pairs.hangs
    return with_sets(pairs.law, np.where(measured, settled.final_outer, settled.initial_outer),
                     np.where(measured, settled.final_core, settled.initial_core))
