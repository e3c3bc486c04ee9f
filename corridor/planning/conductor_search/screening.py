"""Which conductors a line could carry: every candidate strung on ruling spans, rated, and held to the line's limits.

The line is known by its sections. Each has a ruling span, the span whose ends pull hardest, and the least catenary
constant at which every span of it still clears. A constant is a shape, whatever the wire: hot or under ice, a candidate
whose constant `C = H/|q|` is no less sags no more than what is allowed, `S^2/(8 C)` at mid-span; below another line it
shall be no more than a greatest one, lest the wire hang too high. Under wind p it swings out by about
`p S^2/(8 H) + L p/|q|` at mid-span, L the length of its strings.

The maximum temperature of a candidate is what its materials bear, or less: the temperature at which its sag is all that
is allowed, in whole degrees. So less core leaves room for more aluminium, and loses less; more core lets it be hotter.
"""

from dataclasses import dataclass

import numpy as np

from corridor.constants import GRAVITY
from corridor.line import history
from corridor.line.facts import Wiring
from corridor.line.laws import law_rows, take_law, with_sets
from corridor.mechanics.loads import ice_weight, wind_force
from corridor.mechanics.ruling_span import temperature_for_tension, tension
from corridor.mechanics.stringing import greatest_tension, limit_tensions
from corridor.planning.conductor_search.candidate_ratings import candidate_ratings
from corridor.planning.conductor_search.candidates import Candidates, candidates_of, prototypes
from corridor.planning.conductor_search.pareto import non_dominated

__all__ = ["CONSTRAINTS", "Line", "Screened", "screen", "strung", "swung_out", "worst_loads"]

#: What a candidate is held to, in the order in which it is asked. A slack of 0.1 is a tenth of the limit to spare.
CONSTRAINTS = ("wind on the structures", "weight on the structures", "tension", "sag", "height", "swing",
               "required current")
#: Those that are found section by section.
_HUNG = CONSTRAINTS[2:6]
#: What counts as none [-]: a limit that governs is met to this.
_NOTHING = 1e-6
_OUTER = ("outer_stiffness", "outer_compression", "outer_0", "outer_1", "outer_2", "outer_3", "outer_4")
_AREAS = 300e-6, 50e-6


@dataclass(frozen=True)
class Line:
    """What the line asks of any wire; columns (section,) or (section, limit).

    `span` ruling span, `hard_span`, `hard_rise` of the span whose ends pull hardest [m]; `constant` least catenary
    constant [m]; `bound` tension [N] that the wire of today sets as a limit, nan where the limit is another.
    `limits` tuple of Limit, `cases` tuple of Case. `wind`, `weight` most that the existing wire, times the load ratio,
    brings to the structures [N/m]. `swung` indices of cases in which wires swing, and for each of them `swing`
    (section, span, 3): length of the span, mean length of its strings, and how far a wire may swing out [m], nan where
    nothing is beside. `everyday` [degC], `age` [years]; `required_current` [A] of a phase. `least`, `greatest` of the
    vertical constant `H/w` (section, case) [m] that what is below blown wires, and other lines above, allow.
    """

    span: np.ndarray
    hard_span: np.ndarray
    hard_rise: np.ndarray
    constant: np.ndarray
    bound: np.ndarray
    limits: tuple
    cases: tuple
    wind: float
    weight: float
    swung: tuple
    swing: tuple
    everyday: float
    age: float
    required_current: float
    least: np.ndarray | None = None
    greatest: np.ndarray | None = None


@dataclass(frozen=True)
class Screened:
    """What all candidates come to; arrays (candidate,).

    `maximum`, `emergency` temperatures [degC]; `rating`, `emergency_rating` [A]; `loss` at the required current
    [kW/km]; `slack` by name of constraint [-], nan where an earlier one was not met already; `front` indices of those
    that meet all and that no other beats in both loss and rating, by rising loss.
    """

    candidates: Candidates
    maximum: np.ndarray
    emergency: np.ndarray
    rating: np.ndarray
    emergency_rating: np.ndarray
    loss: np.ndarray
    slack: dict
    front: np.ndarray

    @property
    def meets(self):
        """True where every constraint is met."""
        return np.all([self.slack[name] >= -_NOTHING for name in CONSTRAINTS], axis=0)

    def failed(self):
        """Return how many candidates each constraint is the first to refuse, a dict."""
        left, count = np.ones(len(self.candidates), bool), {}
        for name in CONSTRAINTS:
            met = self.slack[name] >= -_NOTHING
            count[name] = int(np.sum(left & ~met))
            left &= met
        return count


def screen(space, line, heat):
    """Return what the candidates of a space come to on a line.

    Parameters
    ----------
    space : Space
    line : Line
    heat : Ratings
        With a weather.

    Returns
    -------
    Screened
    """
    c, made = candidates_of(space), prototypes(space)
    bearable = [np.minimum([getattr(p, name) for p in made], top)[c.build] if len(c) else np.zeros(0)
                for name, top in (("maximum_temperature", space.hottest),
                                  ("emergency_temperature", space.hottest_emergency))]
    slack = {name: np.full(len(c), np.nan) for name in CONSTRAINTS}
    _loads(c, line, slack)
    left = np.flatnonzero(np.all([slack[name] >= -_NOTHING for name in CONSTRAINTS[:2]], axis=0))
    left, hottest = _hang(c, made, line, bearable, left, slack, fixed_only=True)
    # A wire that sags too far on any day has no use for current.
    cold = hottest[left] < line.everyday
    slack["sag"][left[cold]], left = -np.inf, left[~cold]
    T = [values.copy() for values in bearable]
    for values in T:
        values[left] = np.minimum(values[left], np.floor(hottest[left]))
    for name in _HUNG:
        slack[name][left] = np.nan
    left, _ = _hang(c, made, line, T, left, slack)
    rating, emergency_rating, loss = candidate_ratings(c, space, heat, *T, line.required_current)
    slack["required current"][left] = rating[left] / line.required_current - 1
    met = np.flatnonzero(np.all([slack[name] >= -_NOTHING for name in CONSTRAINTS], axis=0))
    best = met[non_dominated(np.stack([loss[met], -rating[met]], axis=1))]
    return Screened(c, *T, rating, emergency_rating, loss, slack, best[np.argsort(loss[best])])


def _loads(c, line, slack):
    """Slack of what a metre of wire brings to the structures, in its own worst case."""
    weight, wind = worst_loads(c.diameter, c.mass, line.cases)
    slack["wind on the structures"] = 1 - wind / line.wind if line.wind > 0 else np.zeros(len(c))
    slack["weight on the structures"] = 1 - weight / line.weight


def worst_loads(diameter, mass, cases):
    """Return the greatest weight and the greatest wind of a metre of wire over the cases [N/m]."""
    D, m = (np.asarray(v, float)[..., None] for v in (diameter, mass))
    t, density, pressure = (np.array([getattr(case, key) for case in cases]) for key in ("ice", "ice_density", "wind"))
    return (m * GRAVITY + ice_weight(D, t, density)).max(axis=-1), wind_force(D, t, pressure).max(axis=-1)


def _hang(c, made, line, temperatures, left, slack, fixed_only=False):
    """Slack of tension, sag, height and swing: section by section, those still left side by side.

    Returns who is left, and the temperature at which each sags all that is allowed (candidate,) [degC].
    """
    hottest = np.full(len(c), np.inf)
    for section in np.lexsort((line.span, -line.constant)):
        if not len(left):
            break
        found, warm = strung(c[left], made, line, section, [T[left] for T in temperatures], fixed_only)
        hottest[left] = np.fmin(hottest[left], warm)
        for name, values in found.items():
            slack[name][left] = np.fmin(slack[name][left], values)
            slack[name][left[np.isnan(values)]] = -np.inf
        left = left[np.all([slack[name][left] >= -_NOTHING for name in found], axis=0)]
    return left, hottest


def strung(c, made, line, section, temperatures, fixed_only=False):
    """Return the slack of tension, sag, height and swing of candidates in a section, and how hot they may be [degC].

    Slack is nan where they cannot be strung.

    Parameters
    ----------
    c : Candidates
    made : list of Conductor
        A prototype of each build.
    line : Line
    section : int
    temperatures : pair of ndarray, shape (candidate,)
        Maximum and emergency [degC].
    fixed_only : bool
        Leave out the sag in cases whose temperature is the candidate's own.
    """
    load, T = _states(c, line.cases, temperatures)
    pairs, limit = _pairs(c, made, line, section, load, T)
    settled = history.settle_pairs(pairs)
    initial = np.array([case.condition == "initial" for case in line.cases])
    outer = np.where(initial, settled.initial_outer[:, None], settled.final_outer[:, None])
    core = np.where(initial, settled.initial_core[:, None], settled.final_core[:, None])
    law = with_sets(take_law(pairs.law, np.s_[:, None]), outer, core)
    H = tension(settled.excess[:, None], pairs.span[:, None], pairs.load, T, law).horizontal_tension
    taut = _tension_slack(line, section, H, load)
    vertical = [k for k, case in enumerate(line.cases) if "vertical" in case.checks and not case.wind
                and not (fixed_only and isinstance(case.temperature, str))]
    C = (H / pairs.load)[:, vertical]
    low = np.min(1 - line.constant[section] / C, axis=1, initial=np.inf) if vertical else np.full(len(c), np.inf)
    blown, high = _shape_slack(line, section, H / load[0], fixed_only)
    found = {"tension": taut, "sag": np.minimum(low, blown), "height": high,
             "swing": _swing_slack(line, section, H, load)}
    warm = temperature_for_tension(line.constant[section] * pairs.bare, settled.excess, pairs.span, pairs.bare,
                                   with_sets(pairs.law, settled.final_outer, settled.final_core))
    return {name: np.where(np.isnan(settled.excess), np.nan, values) for name, values in found.items()}, warm


def _shape_slack(line, section, C, fixed_only):
    """Slack of the constants `H/w` of the cases (candidate, case): of the least, and of the greatest."""
    if line.least is None:
        return np.full((2, len(C)), np.inf)
    asked = np.array(["vertical" in case.checks and not (fixed_only and isinstance(case.temperature, str))
                      for case in line.cases])
    least, greatest = line.least[section], line.greatest[section]
    low, high = asked & (least > 0), asked & np.isfinite(greatest)
    return (np.min(1 - least[low] / C[:, low], axis=1, initial=np.inf),
            np.min(1 - C[:, high] / greatest[high], axis=1, initial=np.inf))


def _swing_slack(line, section, H, load):
    """Slack of how far the wire swings out in the cases with wind."""
    slack = np.full(len(H), np.inf)
    for k, spans in zip(line.swung, line.swing, strict=True):
        S, L, room = spans[section].T[:, np.isfinite(spans[section][:, 2])]
        w, p, h = (values[:, k, None] for values in (*load, H))
        out = swung_out(S, L, h, w, p)
        slack = np.minimum(slack, np.min(1 - out / room, axis=1, initial=np.inf))
    return slack


def swung_out(span, string, horizontal_tension, weight, wind):
    """Return how far wind blows the middle of a span aside [m], strings included."""
    return wind * span**2 / (8 * horizontal_tension) + string * wind / np.hypot(weight, wind)


def _tension_slack(line, section, H, load):
    """Slack of the tension in the cases for which the wire of today sets a limit."""
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
    """Weight and wind [N/m] of candidates in the cases, (candidate, case), and their temperatures [degC]."""
    t, density, pressure = (np.array([getattr(case, key) for case in cases]) for key in ("ice", "ice_density", "wind"))
    D = c.diameter[:, None]
    load = (c.mass * GRAVITY)[:, None] + ice_weight(D, t, density), wind_force(D, t, pressure)
    named = dict(zip(("maximum", "emergency"), temperatures, strict=True))
    T = np.stack([np.broadcast_to(named.get(case.temperature, case.temperature), len(c)) for case in cases], axis=1)
    return load, T.astype(float)


def _pairs(c, made, line, section, load, T):
    """Candidates in one section, as the history of wires takes them; and the tension of each limit."""
    n, names = len(c), [case.name for case in line.cases]
    law, creep, method = law_rows([Wiring(p, p.maximum_temperature, None, (), age=line.age) for p in made])
    bare = c.mass * GRAVITY
    where = [names.index(limit.case) if limit.case is not None else None for limit in line.limits]
    w, p = (np.stack([whole if k is None else part[:, k] for k in where], axis=1)
            for whole, part in ((bare, load[0]), (0 * bare, load[1])))
    at = np.stack([np.full(n, limit.temperature) if k is None else T[:, k]
                   for limit, k in zip(line.limits, where, strict=True)], axis=1)
    constant = np.broadcast_to([limit.kind == "constant" for limit in line.limits], w.shape)
    H = limit_tensions(_bounds(c, line, section), constant, line.hard_span[section][None, None, None],
                       line.hard_rise[section][None, None, None], w, p)
    one = np.ones(n)
    known = np.ones(w.shape, bool)
    return history.Pairs(
        law_of(law, c), None if creep is None else take_law(creep, c.build), method[c.build],
        np.array([p.permanent_set for p in made])[c.build], line.span[section] * one, bare, c.rts, line.everyday * one,
        line.everyday * one, line.age * one, 0 * one, np.nan * one, np.nan * one, np.hypot(*load), T, H,
        np.hypot(w, p), at, known, known & [limit.condition == "initial" for limit in line.limits]), H


def _bounds(c, line, section):
    """Bounds of the limits, (candidate, limit): tensions [N] or constants [m]."""
    own = {"share": lambda j: line.limits[j].value * c.rts, "existing": lambda j: line.bound[section, j] + 0 * c.rts}
    return np.stack([own.get(limit.kind, lambda j: line.limits[j].value + 0 * c.rts)(j)
                     for j, limit in enumerate(line.limits)], axis=1)


def law_of(law, c):
    """Return the law of candidates from that of their prototypes, which goes with the areas of the parts."""
    outer, core = c.outer_area / _AREAS[0], c.core_area / _AREAS[1]
    rows = take_law(law, c.build)
    scaled = {name: getattr(rows, name) * outer for name in _OUTER if name in rows._fields}
    return rows._replace(core_stiffness=rows.core_stiffness * core, **scaled)
