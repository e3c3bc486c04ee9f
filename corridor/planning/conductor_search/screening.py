"""Which conductors a line could carry: every candidate strung on ruling spans, rated, and held to the line's limits.

The line is known by its sections. Each has a ruling span, the span whose ends pull hardest, and the least catenary
constant at which every span of it still clears. A constant is a shape, whatever the wire: hot or under ice, a candidate
whose constant `C = H/|q|` is no less sags no more than what is allowed, `S^2/(8 C)` at mid-span; below another line it
shall be no more than a greatest one, lest the wire hang too high. Under wind p it swings out by about
`p S^2/(8 H) + L p/|q|` at mid-span, L the length of its strings.

The maximum temperature of a candidate is what its materials bear, or less: the temperature at which its sag is all that
is allowed, in whole degrees. So less core leaves room for more aluminium, and loses less; more core lets it be hotter.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.interpolate import RectBivariateSpline

from corridor.conductor.conductor import Conductor
from corridor.conductor.materials import find_material
from corridor.constants import GRAVITY
from corridor.line import history, history_ends
from corridor.line.case_loads import case_loads
from corridor.line.elongation_laws import law_rows, take_law, with_sets
from corridor.line.facts import Wiring
from corridor.mechanics.ruling_span import temperature_for_tension, tension
from corridor.mechanics.stringing import greatest_tension, limit_tensions
from corridor.planning.conductor_search.candidates import CORES, Candidates, Space, builds, candidates_of, prototypes
from corridor.planning.conductor_search.line_limits import Line, swung_out
from corridor.rating.ratings import Ratings
from corridor.thermal.radial import core_excess
from corridor.thermal.rating import Wire, current_at, loss, temperature_at
from corridor.thermal.resistance import core_magnetisation_factor, dc_resistance, skin_effect_factor

__all__ = ["CONSTRAINTS", "Screened", "candidate_resistance", "screen"]

#: What a candidate is held to, in the order in which it is asked. A slack of 0.1 is a tenth of the limit to spare.
CONSTRAINTS = ("wind on the structures", "weight on the structures", "tension", "sag", "height", "swing",
               "required current")
#: Those that are found section by section.
_HUNG = CONSTRAINTS[2:6]
#: What counts as none [-]: a limit that governs is met to this.
_NOTHING = 1e-6
#: By what shares of diameter and core diameter candidates are alike.
_LIKE = 0.02, 0.05
_OUTER = ("outer_stiffness", "outer_compression", "outer_0", "outer_1", "outer_2", "outer_3", "outer_4")
_CORE = ("core_stiffness", "core_0", "core_1", "core_2", "core_3", "core_4")
_AREAS = 300e-6, 50e-6
_MAGNETIC = ("steel", "aluminium-clad steel", "invar")


@dataclass(frozen=True)
class Screened:
    """What all candidates come to; arrays (candidate,).

    `maximum`, `emergency` temperatures [°C]; `rating` at the maximum [A]; `loss` [kW/km], mean of the line's loads;
    `slack` by name of constraint [-], nan where an earlier one was not met already; `front` indices of those that meet
    all and that no other beats in both loss and rating, by rising loss; `refused` what a look span by span left out;
    `cost` of the materials of a kilometre of each, None where a price of what is tried is not known.
    """

    candidates: Candidates
    maximum: np.ndarray
    emergency: np.ndarray
    rating: np.ndarray
    loss: np.ndarray
    slack: dict[str, np.ndarray]
    front: np.ndarray
    refused: np.ndarray | None = None
    cost: np.ndarray | None = None

    @property
    def meets(self) -> np.ndarray:
        """True where every constraint is met, and no look span by span refused it."""
        return _met(self.slack) & ~(np.zeros(len(self.candidates), bool) if self.refused is None else self.refused)

    def without(self, indices: Iterable[int]) -> "Screened":
        """Return these without some candidates and their like: of the same build and shape, and nearly as thick."""
        c = self.candidates
        refused = np.zeros(len(c), bool) if self.refused is None else self.refused.copy()
        for i in indices:
            near = [np.abs(v / v[i] - 1) < width for v, width in ((c.diameter, _LIKE[0]), (c.core_diameter, _LIKE[1]))]
            refused |= near[0] & near[1] & (c.build == c.build[i]) & (c.outer_strands == c.outer_strands[i])
        left = replace(self, refused=refused)
        return replace(left, front=_front(left.meets, self.loss, self.rating))

    @property
    def wide(self) -> np.ndarray:
        """Indices of those that meet all and that no other beats in all of loss, rating, mass and sag, and cost where
        it is known, by rising loss."""
        met = np.flatnonzero(self.meets)
        costs = [self.loss, -self.rating, self.candidates.mass, -self.slack["sag"]]
        costs += [] if self.cost is None else [self.cost]
        best = met[non_dominated(np.stack([cost[met] for cost in costs], axis=1))]
        return best[np.argsort(self.loss[best], kind="stable")]

    def failed(self) -> dict[str, int]:
        """Return how many candidates each constraint is the first to refuse."""
        met = [len(self.candidates), *(_met(self.slack, CONSTRAINTS[:i + 1]).sum() for i in range(len(CONSTRAINTS)))]
        return {name: int(before - after) for name, before, after in zip(CONSTRAINTS, met[:-1], met[1:], strict=True)}


def _met(slack, names=CONSTRAINTS):
    """True for the candidates that meet some constraints, (candidate,)."""
    return np.all([slack[name] >= -_NOTHING for name in names], axis=0)


def screen(space: Space, line: Line, heat: Ratings) -> Screened:
    """Return what the candidates of a space come to on a line; `heat` has a weather."""
    c, made = candidates_of(space), prototypes(space)
    T = [np.minimum([getattr(p, name) for p in made], top)[c.build] if len(c) else np.zeros(0) for name, top in (
        ("maximum_temperature", space.hottest), ("emergency_temperature", space.hottest_emergency))]
    slack = {name: np.full(len(c), np.nan) for name in CONSTRAINTS}
    weight, wind = (load.max(axis=-1) for load in case_loads(c.diameter, c.mass, line.cases))
    slack["wind on the structures"] = 1 - wind / line.wind if line.wind > 0 else np.zeros(len(c))
    slack["weight on the structures"] = 1 - weight / line.weight
    left = np.flatnonzero(_met(slack, CONSTRAINTS[:2]))
    left, hottest = _hang(c, made, line, T, left, slack, fixed_only=True)
    # A wire that sags too far on any day has no use for current.
    cold = hottest[left] < line.everyday
    slack["sag"][left[cold]], left = -np.inf, left[~cold]
    for values in T:
        values[left] = np.minimum(values[left], np.floor(hottest[left]))
    for name in _HUNG:
        slack[name][left] = np.nan
    left, _ = _hang(c, made, line, T, left, slack)
    rating, loss = _ratings(c, space, heat, T[0], line)
    slack["required current"][left] = rating[left] / line.required_current - 1
    return Screened(c, *T, rating, loss, slack, _front(_met(slack), loss, rating))


def _front(meets, loss, rating):
    """Those that no other beats in both, by rising loss."""
    met = np.flatnonzero(meets)
    best = met[non_dominated(np.stack([loss[met], -rating[met]], axis=1))]
    return best[np.argsort(loss[best])]


def non_dominated(costs) -> np.ndarray:
    """Return a mask of the rows that no other row beats.

    A row beats another where none of its costs is greater and one is less. Of equal rows the first stays.

    Parameters
    ----------
    costs : array_like, shape (row, cost)
        Two costs or more, less is better; nan never stays.

    Examples
    --------
    >>> non_dominated([[1, 4], [2, 2], [3, 3], [4, 1], [2, 2]])
    array([ True,  True, False,  True, False])
    """
    costs = np.asarray(costs, float)
    kept = np.zeros(len(costs), bool)
    known = np.flatnonzero(~np.isnan(costs).any(axis=1)) if len(costs) else np.zeros(0, int)
    if not len(known) or costs.shape[1] > 2:
        kept[known[_of_many(costs[known])]] = True
        return kept
    order = known[np.lexsort((known, costs[known, 1], costs[known, 0]))]
    second = np.r_[np.inf, costs[order, 1]]
    kept[order[second[1:] < np.minimum.accumulate(second)[:-1]]] = True
    return kept


def _of_many(costs):
    """The same of more costs than two, known ones, as indices: each in turn strikes out all that it beats."""
    left = np.lexsort(costs.T[::-1])
    found = []
    while len(left):
        # The first is beaten by none that is left: nothing comes before it in all costs.
        found.append(left[0])
        left = left[~np.all(costs[left] >= costs[left[0]], axis=1)]
    return np.array(found, int)


def _hang(c, made, line, temperatures, left, slack, fixed_only=False):
    """Slack of tension, sag, height and swing: section by section, those still left side by side.

    Returns who is left, and the temperature at which each sags all that is allowed (candidate,) [°C].
    """
    hottest = np.full(len(c), np.inf)
    for section in np.lexsort((line.span, -line.constant)):
        if not len(left):
            break
        found, warm = _strung(c[left], made, line, section, [T[left] for T in temperatures], fixed_only)
        hottest[left] = np.minimum(hottest[left], np.where(np.isnan(warm), -np.inf, warm))
        for name, values in found.items():
            slack[name][left] = np.where(np.isnan(values), -np.inf, np.fmin(slack[name][left], values))
        left = left[_met(slack, found)[left]]
    return left, hottest


def _strung(c: Candidates, made: list[Conductor], line: Line, section: int, temperatures, fixed_only):
    """Slack of tension, sag, height and swing of candidates in a section, nan where they cannot be strung, and how hot
    they may be [°C]. `made` is a prototype of each build, `temperatures` maximum and emergency of each candidate
    [°C]; `fixed_only` leaves out the sag in cases whose temperature is the candidate's own."""
    load, T = _states(c, line.cases, temperatures)
    pairs = _pairs(c, made, line, section, load, T)
    settled = history.settle_pairs(pairs)
    initial = np.array([case.condition == "initial" for case in line.cases])
    outer = np.where(initial, settled.initial_outer[:, None], settled.final_outer[:, None])
    core = np.where(initial, settled.initial_core[:, None], settled.final_core[:, None])
    law = with_sets(take_law(pairs.law, np.s_[:, None]), outer, core)
    H = tension(settled.excess[:, None], pairs.span[:, None], pairs.load, T, law).horizontal_tension
    asked = np.array(["vertical" in case.checks and not (fixed_only and isinstance(case.temperature, str))
                      for case in line.cases])
    still = asked & np.array([not case.wind for case in line.cases])
    low = _least_slack(1 - line.constant[section] / (H / pairs.load)[:, still])
    taut = _highest(line, section, pairs, settled, H, initial)
    swung, high = _shape_slack(line, section, H / load[0], taut / load[0], asked)
    found = {"tension": _tension_slack(line, section, H, load), "sag": np.minimum(low, swung), "height": high,
             "swing": _swing_slack(line, section, H, load)}
    warm = temperature_for_tension(line.constant[section] * pairs.bare_weight, settled.excess, pairs.span,
                                   pairs.bare_weight, with_sets(pairs.law, settled.final_outer, settled.final_core))
    return {name: np.where(np.isnan(settled.excess), np.nan, values) for name, values in found.items()}, warm


def _least_slack(slack):
    """The least slack of each candidate, inf where nothing is asked."""
    return np.min(slack, axis=1, initial=np.inf)


def _highest(line, section, pairs, settled, H, initial):
    """Horizontal tension in the cases [N], the greater of that with all loads and that before any has come: below
    another line a wire that nothing has stretched hangs higher."""
    if line.greatest is None or not np.isfinite(line.greatest[section]).any():
        return H
    every = np.ones(len(H), bool)
    law = history_ends.moved_onto(pairs, settled, history.unloaded(pairs, settled, ~every, every), every)
    new = tension(settled.excess[:, None], pairs.span[:, None], pairs.load, pairs.temperature,
                  take_law(law, np.s_[:, None])).horizontal_tension
    return np.where(initial, H, np.fmax(H, new))


def _shape_slack(line, section, C, taut, asked):
    """Slack of the constants `H/w` of the cases (candidate, case): of the least, and of the greatest, at the `taut` end
    of the history."""
    if line.least is None:
        return np.full((2, len(C)), np.inf)
    least, greatest = line.least[section], line.greatest[section]
    low, high = asked & (least != 0), asked & (greatest != np.inf)
    return _least_slack(1 - least[low] / C[:, low]), _least_slack(1 - taut[:, high] / greatest[high])


def _swing_slack(line, section, H, load):
    """Slack of how far the wire swings out in the cases with wind."""
    slack = np.full(len(H), np.inf)
    for k, spans in zip(line.swung, line.swing, strict=True):
        S, L, room = spans[section].T[:, np.isfinite(spans[section][:, 2])]
        w, p, h = (values[:, k, None] for values in (*load, H))
        slack = np.minimum(slack, _least_slack(1 - swung_out(S, L, h, w, p) / room))
    return slack


def _tension_slack(line, section, H, load):
    """Slack of the tension in the cases for which the existing wire sets a limit."""
    slack = np.full(len(H), np.inf)
    names = [case.name for case in line.cases]
    for j, limit in enumerate(line.limits):
        if limit.kind == "existing" and limit.case is not None and \
                line.cases[names.index(limit.case)].condition == limit.condition:
            k = names.index(limit.case)
            w, p = load[0][:, k], load[1][:, k]
            pull = greatest_tension(H[:, k], line.hard_span[section], line.hard_rise[section], w, p)
            slack = np.minimum(slack, 1 - pull / line.bound[section, j])
    return slack


def _states(c, cases, temperatures):
    """Weight and wind of candidates where tension is asked for [N/m], (candidate, case), and their temperatures [°C]
    in the cases."""
    named = dict(zip(("maximum", "emergency"), temperatures, strict=True))
    T = np.stack([np.broadcast_to(named.get(case.temperature, case.temperature), len(c)) for case in cases], axis=1)
    return case_loads(c.diameter, c.mass, cases, tension=True), T.astype(float)


def _pairs(c, made, line, section, load, T):
    """Candidates in one section, as the history of wires takes them."""
    n, names = len(c), [case.name for case in line.cases]
    law, creep, method = law_rows([Wiring(p, p.maximum_temperature, None, (), age=line.age) for p in made])
    bare_weight = c.mass * GRAVITY
    where = [names.index(limit.case) if limit.case is not None else None for limit in line.limits]
    w, p = (np.stack([whole if k is None else part[:, k] for k in where], axis=1)
            for whole, part in ((bare_weight, load[0]), (0 * bare_weight, load[1])))
    at = np.stack([np.full(n, limit.temperature) if k is None else T[:, k]
                   for limit, k in zip(line.limits, where, strict=True)], axis=1)
    constant = np.broadcast_to([limit.kind == "constant" for limit in line.limits], w.shape)
    H = limit_tensions(_bounds(c, line, section), constant, line.hard_span[section][None, None, None],
                       line.hard_rise[section][None, None, None], w, p)
    one, known = np.ones(n), np.ones(w.shape, bool)
    return history.Pairs(
        law=law_of(law, c), creep=None if creep is None else law_of(creep, c), method=method[c.build],
        given_set=np.array([p.permanent_set for p in made])[c.build], span=line.span[section] * one,
        bare_weight=bare_weight, rts=c.rts, everyday=line.everyday * one, stringing=line.everyday * one,
        age=line.age * one, pretension=0 * one,
        measured=np.nan * one, measured_at=np.nan * one, measured_load=np.nan * one, as_strung=np.zeros(n, bool),
        load=np.hypot(*load), temperature=T, limit_tension=H,
        limit_load=np.hypot(w, p), limit_temperature=at, limit_given=known,
        limit_initial=known & [limit.condition == "initial" for limit in line.limits], seen=np.ones(T.shape, bool),
        creep_share=one, let_out=0 * one)


def _bounds(c, line, section):
    """Bounds of the limits, (candidate, limit): tensions [N] or constants [m]."""
    own = {"share": lambda j: line.limits[j].value * c.rts, "existing": lambda j: line.bound[section, j] + 0 * c.rts}
    return np.stack([own.get(limit.kind, lambda j: line.limits[j].value + 0 * c.rts)(j)
                     for j, limit in enumerate(line.limits)], axis=1)


def law_of(law, c: Candidates):
    """Return the law of candidates from that of their prototypes, which goes with the areas of the parts."""
    outer, core = c.outer_area / _AREAS[0], c.core_area / _AREAS[1]
    rows = take_law(law, c.build)
    scaled = {name: getattr(rows, name) * outer for name in _OUTER if name in rows._fields}
    scaled |= {name: getattr(rows, name) * core for name in _CORE if name in rows._fields}
    return rows._replace(**scaled)


def _ratings(c, space, heat, maximum, line):
    """Rating of a phase [A] and loss [kW/km], mean of the loads, of candidates, as many a phase as hang today.

    Where wind or sun depend on the bearing, those of the bearing on which the existing wire carries least.
    """
    if not len(c):
        return np.zeros(0), np.zeros(0)
    # A surface of shaped wires is smooth: that of round ones next to nothing.
    strand = np.where(np.isnan(c.outer_wire), 1e-9, c.outer_wire)
    wire = Wire(c.diameter, candidate_resistance(c, space, heat.frequency), strand)
    weather = heat.weather_at(_worst_bearing(heat))
    n = line.bundle
    lost = np.zeros(len(c))
    for current, share in line.loads or ((line.required_current, 1.0),):
        T = temperature_at(heat.method, np.full(len(c), current / n), weather, wire)
        with np.errstate(invalid="ignore"):
            lost += share * loss(current / n, T, wire.resistance, 3 * n)
    return n * _current(heat, maximum, weather, wire, c), lost


def _worst_bearing(heat):
    today = next((i for i, option in enumerate(heat.options) if option.existing), 0)
    T = heat.options[today].wiring.maximum_temperature
    return heat.bearings[np.argmin(heat.current_at(today, np.full(heat.bearings.shape, T), heat.bearings))]


def _current(heat, T, weather, wire, c):
    """Current [A] at temperatures of the core, which is hotter than the surface where heat is conducted."""
    surface = T
    for _ in range(1 if heat.radial_conductivity is None else 12):
        current = current_at(heat.method, surface, weather, wire)
        if heat.radial_conductivity is not None:
            P = current**2 * wire.resistance(surface, current)
            surface = T - core_excess(P, c.diameter, c.core_diameter, heat.radial_conductivity)
    return current


def candidate_resistance(c: Candidates, space: Space, frequency: float):
    """Return the resistance of candidates [ohm/m], a function of temperature [°C] and current [A].

    As `corridor.rating.resistances.computed`, with a spline for the skin effect of all of them.
    """
    made = builds(space)
    a = np.array([find_material(outer).temperature_coefficient for _, outer, _ in made])[c.build]
    magnetic = np.array([CORES[core] in _MAGNETIC for *_, core in made])[c.build]
    layers = np.where(magnetic & (c.layers % 2 == 1), c.layers, 0).astype(int)
    skin, ratio = _skin(frequency), c.core_diameter / c.diameter

    def resistance(temperature, current):
        R = dc_resistance(c.resistance_20, temperature, a)
        return R * skin.ev(np.log(R), ratio) * core_magnetisation_factor(current, layers=layers,
                                                                         outer_area=c.outer_area)

    return resistance


@cache
def _skin(frequency):
    """Spline of the skin effect over the logarithm of resistance [ohm/m] and the share of the core's diameter."""
    log_R, ratio = np.linspace(np.log(5e-6), np.log(2e-2), 160), np.linspace(0, 0.9, 46)
    factor = skin_effect_factor(np.exp(log_R)[:, None], frequency=frequency, core_ratio=ratio)
    return RectBivariateSpline(log_R, ratio, factor)
