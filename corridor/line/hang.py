"""Where wires hang: `hang` is the one way to a hanging wire, in any option, case, temperature and blow of the wind.

Two methods give the same thing. `equilibrium`, the default, solves each section exactly: every span keeps the wire
that it was clipped in with, and every string hangs where forces balance. `ruling_span` gives all spans of a section
the tension of one level span and swings strings by the handbook's formula; it stays beside the other as a diagnostic,
and stands in where the base of a structure is unknown.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Index, Integers
from corridor.geometry.distance import Ends
from corridor.line.elongation_laws import choose_law, reshape_law, take_law
from corridor.line.history_ends import law_at_end
from corridor.line.model import Law, Model
from corridor.line.section_wires import turned
from corridor.line.swing import SpanFrame, hung_ends, string_swing
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.elongation import Curved, TwoPart
from corridor.mechanics.equilibrium import solve

__all__ = ["METHODS", "SIDES", "Hung", "States", "case_states", "hang", "on_both_sides",
           "pressure_share", "still_states"]

#: Sides to which the wind blows, in the order of the axis `side`: right of the line, left of it.
SIDES = np.array([1.0, -1.0])


def on_both_sides(*columns: Integers) -> tuple[Integers, ...]:
    """Return columns with each row twice, and the number of its side in `SIDES` as one column more."""
    return (*(np.repeat(column, 2) for column in columns), np.tile([0, 1], len(columns[0])))


#: How wires may be hung, by the word of the study.
METHODS = ("equilibrium", "ruling_span")

#: Tilt of a wire's plane in the full wind for which shares of the swing are even steps of the angle [rad].
_TILT = np.radians(35)


def pressure_share(swing: ArrayLike) -> Array:
    """Return the share of the wind's pressure at a share of the full swing [-].

    `s = tan(f phi)/tan phi`, since `tan phi = p/w` whatever the tension; phi is 35 degrees for every wire, so that all
    of them are blown by the same wind.

    Parameters
    ----------
    swing : array_like
        f, -1 to 1; below 0 the wind blows to the other side.

    Examples
    --------
    >>> pressure_share([-1.0, 0.0, 0.5]).round(3).tolist()
    [-1.0, 0.0, 0.45]
    """
    return np.tan(np.multiply(swing, _TILT)) / np.tan(_TILT)


@dataclass(frozen=True)
class Hung:
    """Wires where they hang; leading axes (row,), or (wire span, option, case, side) once they are reshaped.

    `horizontal_tension` [N] across the load, nan where there is no answer; `start`, `end` (..., 3) of the wire in the
    frame of its span [m]; `residual`, of force at its strings [N], or of strain by the ruling span; `exact` whether it
    is in equilibrium; `weight`, `wind` load per length [N/m], the wind signed, positive to the right. `lifted` (..., 2)
    True where wires have lifted the string at the start, at the end; `held` the wires as if their lifted strings were
    held plumb, nan where none of their section is lifted, None where that was not asked for.
    """

    horizontal_tension: Array
    start: Array
    end: Array
    residual: Array
    exact: Booleans
    weight: Array
    wind: Array
    lifted: Booleans
    held: "Hung | None" = None

    @property
    def load(self) -> Array:
        """Size of the load |q| [N/m]."""
        return np.hypot(self.weight, self.wind)

    @property
    def constant(self) -> Array:
        """Catenary constant H/|q| [m]."""
        return self.horizontal_tension / self.load

    @property
    def vectors(self) -> Array:
        """Load vectors in the frame of the span [N/m], shape (..., 3)."""
        return np.stack([np.zeros_like(self.wind), self.wind, -self.weight], axis=-1)

    def __getitem__(self, index: Index) -> "Hung":
        held = None if self.held is None else self.held[index]
        return Hung(held=held, **{name: getattr(self, name)[index] for name in _FIELDS})

    def with_rows(self, index: Index, rows: "Hung") -> "Hung":
        """Return the wires with other rows at an index; how held wires hang where both know it."""
        columns = {name: np.array(getattr(self, name)) for name in _FIELDS}
        for name, column in columns.items():
            column[index] = getattr(rows, name)
        held = None if self.held is None or rows.held is None else self.held.with_rows(index, rows.held)
        return Hung(held=held, **columns)

    def reshaped(self, *shape: int) -> "Hung":
        """Return the rows with other leading axes."""
        held = None if self.held is None else self.held.reshaped(*shape)
        columns = {name: getattr(self, name) for name in _FIELDS}
        return Hung(held=held, **{name: v.reshape(*shape, *v.shape[1:]) for name, v in columns.items()})

    def raised(self, by: Array) -> "Hung":
        """Return the wires raised by so much [m], of the leading axes."""
        up = by[..., None] * np.array([0.0, 0.0, 1.0])
        return replace(self, start=self.start + up, end=self.end + up)

    def moved(self, frame: SpanFrame) -> tuple[Ends, Array]:
        """Return where strings have moved the wires' ends in the chord of the frame, whose rows go with the first axis.

        Returns
        -------
        Ends
            Of the leading axes.
        aside : ndarray, shape (..., 2)
            How far the start and the end lie to the right of the chord [m].
        """
        chord = (frame.end - frame.start)[:, :2]
        along = chord / np.linalg.norm(chord, axis=-1, keepdims=True)
        across = np.stack([-along[:, 1], along[:, 0]], axis=-1)
        shape = (-1, *(1,) * (self.start.ndim - 2), 2)
        along, across, origin = (v.reshape(shape) for v in (along, across, frame.start[:, :2]))
        first, last = self.start[..., :2] - origin, self.end[..., :2] - origin
        shift = (first * along).sum(-1)
        ends = Ends((last * along).sum(-1) - shift, self.start[..., 2], self.end[..., 2] - self.start[..., 2], shift)
        return ends, np.stack([(first * across).sum(-1), (last * across).sum(-1)], axis=-1)


_FIELDS = ("horizontal_tension", "start", "end", "residual", "exact", "weight", "wind", "lifted")


class States(NamedTuple):
    """Wires that are asked for, each with the state of its whole section; equal states are there once.

    Columns of shape (problem,): `run`, `option`; `weight`, `wind` (problem, span) [N/m], signed; `broken` (problem,
    span) where the wire is; `pressure` on strings [Pa], signed; `temperature` [°C]; `law`; `even`, whether a ruling
    span has an answer. Of each wire asked
    for (row,): its `problem` and the `place` in the wire run.
    """

    run: Integers
    option: Integers
    weight: Array
    wind: Array
    broken: Booleans
    pressure: Array
    temperature: Array
    law: Law
    even: Booleans
    problem: Integers
    place: Integers


def case_states(model: Model, wire: Integers, option: Integers, case: Integers, swing: ArrayLike = 1.0,
                temperature: ArrayLike | None = None, looked_at: Integers | None = None) -> States:
    """Return the states of wires in cases of the study.

    Parameters
    ----------
    model : Model
    wire, option, case : ndarray of int, shape (row,)
    swing : array_like, shape (row,)
        Signed share of the swing in the case's wind, positive to the right.
    temperature : array_like, shape (row,), optional
        Of the conductor [°C]; default: that of the case.
    looked_at : ndarray of int, shape (row,), optional
        Place in its wire run of the span that is looked at, in cases in which that makes the state; -1: none is.
        Default: that of the wire.
    """
    wire, option, case, swing = np.broadcast_arrays(wire, option, case, np.asarray(swing, float))
    own = model.strung.temperature[model.groups.of_wire_span[wire], option, case]
    T = own if temperature is None else np.broadcast_to(np.asarray(temperature, float), wire.shape)
    run, place = model.place_of(wire)
    options, cases = model.loads.weight.shape[1:]
    by_span = np.array([each.by_span for each in model.cases])
    look = np.where(by_span[case], place if looked_at is None else looked_at, -1)
    pressure = np.array([each.wind for each in model.cases])
    # In still air both sides are one state.
    swing = np.where(pressure[case] == 0, 1.0, swing)
    key = ((run * options + option) * cases + case) * (model.runs.row.shape[1] + 1) + look
    first, problem = _distinct(key, swing, T)
    c, o, k, look = run[first], option[first], case[first], look[first]
    share, g, strung = pressure_share(swing[first]), model.group[c], model.strung
    law = take_law(strung.taut if model.taut else strung.part, (g, o, k))
    if temperature is not None and strung.doubtful.any():
        # At another temperature than the case has, or in less wind, ends of the history may change places.
        load = np.hypot(strung.weight[g, o, k], strung.wind[g, o, k] * share)
        now = law_at_end(strung, g, o, model.groups.span[g], load, T[first], taut=model.taut)
        law = choose_law(strung.final_doubtful[g, o, k], now, law)
    weight, wind = _span_loads(model, c, o, k, np.where(by_span[k], look, -2))
    return States(c, o, weight, wind * share[:, None], _broken(model, c, k, look), pressure[k] * share, T[first], law,
                  _even(model, g, o, k), problem, place)


def _span_loads(model: Model, c: Integers, o: Integers, k: Integers, look: Integers) -> tuple[Array, Array]:
    """Weight and wind of the spans of problems [N/m], as they are looked at: -1 none of them, -2 any."""
    loads, row = model.loads, model.runs.row[c]
    at = row, o[:, None], k[:, None]
    if (look == -2).all():
        return loads.weight[at], loads.wind[at]
    beside = (np.arange(row.shape[1]) != look[:, None]) & (look[:, None] != -2)
    return (np.where(beside, loads.weight_beside[at], loads.weight[at]),
            np.where(beside, loads.wind_beside[at], loads.wind[at]))


def _broken(model: Model, c: Integers, k: Integers, look: Integers) -> Booleans:
    """Where the wires of problems are broken, (problem, span): beside the span that is looked at, within its run."""
    step = np.array([each.break_step for each in model.cases])[k]
    place = np.where((step != 0) & (look >= 0), look + step, -1)[:, None]
    spans = np.arange(model.runs.row.shape[1])
    return (spans == place) & (spans < model.runs.count[c][:, None])


def _even(model: Model, g: Integers, o: Integers, k: Integers) -> Booleans:
    """Whether all wires of groups are whole and carry the load they are strung with; not asked where no ruling span
    hangs any."""
    if model.exact.all():
        return np.ones(len(g), bool)
    own = model.groups.of_wire_span
    odd = np.zeros(model.strung.weight.shape, bool)
    uneven, by_span = (np.array([getattr(case, name) for case in model.cases]) for name in ("uneven", "by_span"))
    np.logical_or.at(odd, own, (model.loads.weight != model.strung.weight[own]) & uneven | by_span)
    return ~odd[g, o, k]


def still_states(model: Model, wire: Integers, option: Integers, temperature: ArrayLike,
                 law: Law | None = None) -> States:
    """Return the states of bare wires in still air.

    Parameters
    ----------
    model : Model
    wire, option : ndarray of int, shape (row,)
    temperature : array_like, shape (row,)
        Of the conductor [°C], of each wire with the whole section around it.
    law : law of arrays (group, option), optional
        Default: the final condition, at the model's end of the history.
    """
    wire, option, T = np.broadcast_arrays(wire, option, np.asarray(temperature, float))
    run, place = model.place_of(wire)
    first, problem = _distinct(run * model.loads.weight.shape[1] + option, np.zeros(len(T)), T)
    c, o = run[first], option[first]
    g = model.group[c]
    if law is None:
        law = law_at_end(model.strung, g, o, model.groups.span[g], model.strung.bare_weight[g, o], T[first],
                         taut=model.taut)
    else:
        law = take_law(reshape_law(law, model.strung.excess.shape), (g, o))
    weight = np.repeat(model.strung.bare_weight[g, o][:, None], model.runs.row.shape[1], axis=1)
    return States(c, o, weight, np.zeros_like(weight), np.zeros(weight.shape, bool), np.zeros(len(c)), T[first], law,
                  np.ones(len(c), bool), problem, place)


def _distinct(key: Integers, *values: Array) -> tuple[Integers, Integers]:
    """First row of each distinct combination, and the combination of each row; nan is like nan."""
    columns = [*(np.nan_to_num(v, nan=np.inf) for v in values), key]
    order = np.lexsort(columns)
    new = np.zeros(len(order), bool)
    new[:1] = True
    for column in columns:
        new[1:] |= column[order][1:] != column[order][:-1]
    problem = np.empty(len(order), int)
    problem[order] = np.cumsum(new) - 1
    return order[new], problem


def hang(model: Model, states: States, *, held: bool = False) -> Hung:
    """Return the wires of states where they hang, one row for each wire that is asked for.

    Parameters
    ----------
    model : Model
    states : States
    held : bool
        Whether to tell, too, how wires hung if the strings that they lift were held plumb.

    Returns
    -------
    Hung
        Of a wire run that is not solved exactly, by its ruling span: in still air strings are plumb, also where the
        line turns; in wind they swing by the handbook's formula. Where spans of it are not all in one state there is
        no answer.
    """
    exact = model.exact[states.run]
    known = np.isfinite(states.temperature + model.strung.excess[model.group[states.run], states.option])
    count, spans = states.weight.shape
    lifted = np.zeros((count, spans, 2), bool)
    columns = [np.full((count, spans), np.nan), *np.full((2, count, spans, 3), np.nan), np.full((count, spans), np.nan)]
    for chosen, method in ((exact & known, _in_equilibrium), (~exact & known, _by_ruling_span)):
        some = np.flatnonzero(chosen)
        if len(some):
            *found, lifts = method(model, _take(states, some))
            for whole, part in zip(columns, found, strict=True):
                whole[some] = part
            lifted[some] = lifts
    at = states.problem, states.place

    def rows(columns: list[Array]) -> Hung:
        tension, start, end, residual = (column[at] for column in columns)
        return Hung(tension, start, end, residual, exact[at[0]], states.weight[at], states.wind[at], lifted[at])

    return replace(rows(columns), held=rows(_held(model, states, lifted))) if held else rows(columns)


#: Tension, start, end and residual of spans, (problem, span), and whether the strings at both ends are lifted.
_Found = tuple[Array, Array, Array, Array, Booleans]


def _take(states: States, some: Integers) -> States:
    """Some problems alone."""
    columns = (take_law(v, some) if isinstance(v, TwoPart | Curved) else v[some] for v in states[:-2])
    return States._make([*columns, *states[-2:]])


def _in_equilibrium(model: Model, states: States, held: ArrayLike = False) -> _Found:
    """Tension, ends and residual of every span of every problem, and which strings are lifted."""
    if model.unstressed is None:
        raise ValueError("wires were not clipped in")
    azimuth, corner = model.runs.azimuth[states.run], model.runs.corner[states.run, :-1]
    p = states.wind
    load = np.stack([p * np.cos(azimuth), -p * np.sin(azimuth), -states.weight], axis=-1)
    supports = model.supports(states.run, states.option, states.pressure, held)
    found = solve(supports, model.unstressed[states.run, states.option], load, states.temperature, states.law,
                  count=model.runs.count[states.run], broken=states.broken)
    start, end = (turned(nodes, azimuth, corner, -1) for nodes in (found.end[:, :-1], found.end[:, 1:]))
    residual = np.fmax(found.left[:, :-1], found.left[:, 1:])
    lifts = np.stack([found.lifted[:, :-1], found.lifted[:, 1:]], axis=-1)
    return found.horizontal_tension, start, end, residual, lifts


def _held(model: Model, states: States, lifted: Booleans) -> list[Array]:
    """Tension, ends and residual of problems in which strings are lifted, these held plumb; nan elsewhere."""
    rows = np.flatnonzero(lifted.any(axis=(1, 2)))
    columns = [np.full(lifted.shape[:2], np.nan), *np.full((2, *lifted.shape[:2], 3), np.nan),
               np.full(lifted.shape[:2], np.nan)]
    if len(rows):
        at = np.concatenate([lifted[rows, :, 0], lifted[rows, -1:, 1]], axis=1)
        at[:, 1:] |= lifted[rows, :, 1]
        for whole, part in zip(columns, _in_equilibrium(model, _take(states, rows), at)[:4], strict=True):
            whole[rows] = part
    return columns


def _by_ruling_span(model: Model, states: States) -> _Found:
    """The same by the ruling span."""
    c, o = states.run, states.option
    g, row = model.group[c], model.runs.row[c]
    load = np.hypot(states.weight[:, 0], states.wind[:, 0])
    found = ruling.tension(model.strung.excess[g, o], model.groups.span[g], load, states.temperature, states.law)
    H = np.where(states.even[:, None] & (row >= 0), found.horizontal_tension[:, None], np.nan)
    angles = string_swing(H, states.weight, states.wind, model.wires, model.spans, row, model.line_angle)
    ends = hung_ends(model.plumb, model.wires, row, *(np.where(states.wind == 0, 0.0, angle) for angle in angles))
    return H, *ends, np.broadcast_to(found.residual[:, None], H.shape), np.zeros((*H.shape, 2), bool)
