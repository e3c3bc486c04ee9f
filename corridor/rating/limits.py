"""How hot each span may get before its worst margin is gone, by a bracketed root on the comparison of the findings.

What a wire carries sets its temperature in the cases that are told by `maximum` or `emergency`, and in no others. There
every measure counts that the findings have: over ground and objects, beside and near them, in still air and swung, and
wires against wires. At the maximum temperature a span either clears, and then that governs, or it does not, and the
temperature at which its minimum margin is zero is found: it is guessed from the states known, and the section is hung
and compared anew at each guess. Maximum and emergency are sought together.
"""

from dataclasses import dataclass

import numpy as np

from corridor.clearance.checked import least_rows
from corridor.clearance.findings import span_chords
from corridor.clearance.scene import Scene
from corridor.rating.least_margin import (
    Least,
    least_margins,
    no_rule,
    not_known,
    passed_below,
    slack_arms,
    with_case,
)

__all__ = ["CLEARANCE", "COLDEST", "ICE", "MAXIMUM", "NO_TEMPERATURE", "UNKNOWN", "Limits", "find_limits", "limit_rows"]

#: Temperature from which a limit is sought [°C].
COLDEST = -60.0
_ITERATIONS = 60
#: Margin that is sought and how far beside it counts as found [m], so that none is below nought; one that does after
#: some trials, how many, and the width of a bracket that ends [K].
_SOUGHT, _BESIDE, _ENOUGH, _TRIALS, _WIDTH = 5e-7, 4e-7, 5e-4, 12, 1e-9
#: What is farther than so much beyond what is required in space is not what a limit is sought by [m].
_BEYOND = 1.5
#: Guesses that are made by false position where no parabola fits, before brackets are halved.
_BY_SECANTS = 3

#: What sets a limit, in the column `governs`.
CLEARANCE, MAXIMUM = "clearance", "maximum temperature"
NO_TEMPERATURE, UNKNOWN = "no temperature clears", "not assessed"
#: The same where the span is in violation under ice besides.
ICE = {CLEARANCE: "clearance and ice", MAXIMUM: "ice"}


@dataclass(frozen=True)
class Limits:
    """Limits of spans in every option; arrays (word, span, option).

    `temperature` [°C] at which the minimum margin is zero, nan where it is not below the greatest; `governs` what sets
    the limit; `least` the minimum margin at the limit, or at the maximum temperature.
    """

    temperature: np.ndarray
    governs: np.ndarray
    least: Least


def limit_rows(around, columns, gaps, current_at):
    """Return the rows of `limits`: one per span and option.

    Parameters
    ----------
    around : Around
    columns : dict of ndarray or None
        Of `clearances`; None: they were made at other temperatures than those of the options, and are not looked at.
    gaps : sequence of Gap
        What was not assessed.
    current_at : callable
        `(option index, temperature [°C], bearing of the span [deg]) -> current per phase [A]`.

    Returns
    -------
    dict of ndarray
        `left_out` tells what no rule is for, and which lines wires pass below; everything else that was not assessed
        leaves no limit.
    """
    scene = around.scene
    top = np.array([option.wiring.maximum_temperature for option in scene.options], float)
    hurried = np.array([np.nan if option.wiring.emergency_temperature is None else
                        option.wiring.emergency_temperature for option in scene.options])
    found = find_limits(around, columns, gaps, ("maximum", "emergency"), np.stack([top, hurried]))
    s, o = (v.ravel() for v in np.indices((len(scene.spans), len(scene.options))))
    (limit, current, state), columns_of_need = (
        _in_words(scene, found.temperature[word], found.governs[word], most, current_at)
        for word, most in enumerate((top, hurried)))
    short = np.zeros(len(s), bool) if columns is None else _short_under_ice(scene, columns)[s, o]
    row = Least(*(v[0, s, o] for v in found.least))
    return _keys(scene, s, o) | {
        "limit_temperature_c": limit, "limit_current_a": current, "clearing_temperature_c": found.temperature[0, s, o],
        "maximum_temperature_c": top[o], "governs": _with_ice(state, short), "governing_against": row.against,
        "governing_obstacle": row.obstacle, "governing_measure": row.measure, "governing_wire": row.wire,
        "governing_case": row.case, "station_m": row.station, "emergency_limit_temperature_c": columns_of_need[0],
        "emergency_limit_current_a": columns_of_need[1], "emergency_governs": columns_of_need[2],
        "left_out": _left_out(scene, columns, gaps)[s, o],
    }


def _in_words(scene, temperature, governs, top, current_at):
    """Limit temperature [°C], current [A] and what governs, span by span and option by option."""
    s, o = (v.ravel() for v in np.indices(governs.shape))
    state = governs[s, o]
    limit = np.where(state == MAXIMUM, top[o], temperature[s, o])
    current = np.full(len(s), np.nan)
    for option in range(len(top)):
        current[o == option] = current_at(option, limit[o == option], scene.spans.azimuth[s[o == option]])
    return limit, np.where(state == NO_TEMPERATURE, 0.0, current), state


def find_limits(around, columns, gaps, words, top):
    """Return the limits of all spans.

    Parameters
    ----------
    around : Around
    columns : dict of ndarray or None
        As in `limit_rows`.
    gaps : sequence of Gap
        What was not assessed in the cases of the study.
    words : sequence of str
        "maximum", "emergency": the cases that are looked at. Without a bare one in still air for the maximum, the
        hottest that there is, or one for which no rule has a name.
    top : ndarray, shape (word, option)
        Maximum temperatures [°C]; nan: none is looked for.

    Returns
    -------
    Limits
    """
    sets = []
    for word in words:
        around, cases = with_case(around, word)
        sets.append(cases)
    scene = around.scene
    some = np.array([len(cases) > 0 for cases in sets])
    T = np.repeat(np.where(some[:, None], top, np.nan)[:, None], len(scene.spans), axis=1)
    unknown = np.stack([not_known(scene, gaps, cases) for cases in sets]) | np.isnan(T)
    hot = _hot(around, columns, sets, words, np.where(unknown, np.nan, T))
    unknown |= np.isnan(hot.margin)
    governs = np.where(unknown, UNKNOWN, np.where(hot.margin < 0, CLEARANCE, MAXIMUM)).astype(object)
    governs[np.isnan(T)] = None
    limits = Limits(np.full(T.shape, np.nan), governs, hot)
    if not (governs == CLEARANCE).any():
        return limits
    limits = _root(around, sets, limits, T)
    slack = slack_arms(scene, sets, limits.temperature)
    return Limits(np.where(slack, np.nan, limits.temperature), np.where(slack, UNKNOWN, limits.governs), limits.least)


def _hot(around, columns, sets, words, temperature):
    """The minimum margins at the maximum temperature: as the findings have them, where they have been looked for there
    and it is no shield wire that is nearest."""
    scene = around.scene
    told, again = {}, np.isfinite(temperature)
    for number, (cases, word) in enumerate(zip(sets, words, strict=True)):
        if columns is None or any(scene.cases[k].temperature != word for k in cases):
            continue
        chosen = np.isin(columns["case"], [scene.cases[k].name for k in cases])
        chosen = np.flatnonzero(chosen & ~passed_below(columns["position"], columns["against"]))
        s, o = _places(scene, columns, chosen)
        again[number] = False
        again[number, s, o] = np.isin(columns["wire"][chosen], scene.wires.wire[scene.wires.kind == "shield"])
        told[number] = chosen, s, o
    found = least_margins(around, sets, np.where(again, temperature, np.nan))
    names = ("margin_m", "wire", "against", "obstacle", "measure", "case", "station_m")
    for number, (chosen, s, o) in told.items():
        first = least_rows(s * len(scene.options) + o, columns["margin_m"][chosen])
        first = first[~again[number, s[first], o[first]] & np.isfinite(temperature[number, s[first], o[first]])]
        for whole, name in zip(found, names, strict=True):
            whole[number, s[first], o[first]] = columns[name][chosen[first]]
    return found


def _places(scene, columns, rows):
    """Index of span and of option of some rows of `clearances`."""
    options = {option.name: index for index, option in enumerate(scene.options)}
    spans = {pair: index for index, pair in enumerate(zip(scene.spans.line, scene.spans.name, strict=True))}
    pairs = zip(columns["line"][rows], columns["span"][rows], strict=True)
    return (np.array([spans[pair] for pair in pairs], int),
            np.array([options[name] for name in columns["option"][rows]], int))


def _left_out(scene, columns, gaps):
    """What no rule is for, and lines that wires pass below, in words, (span, option); None where there is nothing."""
    found = {}
    for gap in gaps:
        if gap.span >= 0 and no_rule(gap):
            name = f"{gap.obstacle} ({gap.against})" if gap.obstacle else gap.against
            for option in range(len(scene.options)):
                found.setdefault((gap.span, option), {}).setdefault("no rule", {}).setdefault(name)
    if columns is not None:
        rows = np.flatnonzero(passed_below(columns["position"], columns["against"]))
        for key, name in zip(zip(*_places(scene, columns, rows), strict=True), columns["obstacle"][rows], strict=True):
            found.setdefault(key, {}).setdefault("passed below", {}).setdefault(name or "line")
    words = np.full((len(scene.spans), len(scene.options)), None, object)
    for key, things in found.items():
        words[key] = "; ".join(f"{why}: {', '.join(names)}" for why, names in things.items())
    return words


def _root(around, sets, limits, top):
    """Limits with the temperatures at which spans with violations just clear.

    The margin that is left is a hair above nought: put back, a limit is no violation. Where the margin jumps, the
    cooler side is taken, and what is near on the hotter one is told.

    Where no distance in space is the least at the top, heights and distances sideways are sought alone, in all spans;
    what is found is then asked once more with all: where that is less, the search goes on with all from its beginning.
    """
    short = limits.governs == CLEARANCE
    cold = _look(around, sets, np.where(short, COLDEST, np.nan), lost=False)
    bracket = _Bracket(np.where(short, top, np.nan), cold.margin - _SOUGHT, limits.least.margin - _SOUGHT)
    best, beyond = (Least(*(v.copy() for v in least)) for least in (cold, limits.least))
    todo, limit = short & (cold.margin > _SOUGHT), np.full(top.shape, np.nan)
    settled = todo & (limits.least.measure != "radial")
    T, tried = _without_space(around, sets, bracket, settled)
    for trial in range(_ITERATIONS):
        if not todo.any():
            break
        T, tried = np.where(todo & ~settled, bracket.guess(), T), np.where(settled, tried, trial)
        now = _look(around, sets, np.where(todo, T, np.nan))
        off = now.margin - _SOUGHT
        near = todo & _near(off, tried)
        # Below the temperature found all has not been asked for.
        again = settled & ~near
        bracket.restart(again)
        bracket.narrow(todo, T, off)
        limit[near] = T[near]
        _put(now, best, near | todo & (off >= 0))
        _put(now, beyond, todo & ~(off >= 0) & ~near)
        todo &= ~near & bracket.wide & ~np.isnan(off)
        settled &= False
    limit = np.where(np.isnan(limit), bracket.low, limit)
    found = short & (cold.margin > _SOUGHT) & bracket.closed
    governs = np.where(found, CLEARANCE, np.where(short & (cold.margin <= _SOUGHT), NO_TEMPERATURE, UNKNOWN))
    known = short & ~(found & (best.margin > _ENOUGH))
    least = Least(*(np.where(known, new, old) for new, old in zip(best, beyond, strict=True)))
    return Limits(np.where(found, limit, np.nan), np.where(short, governs, limits.governs).astype(object), least)


def _look(around, sets, temperature, *, lost=True):
    """The minimum margins at temperatures [°C] among what is near; where nothing is, among all."""
    now = least_margins(around, sets, temperature, lost=lost, beyond=_BEYOND)
    alone = np.isfinite(temperature) & np.isnan(now.margin)
    if alone.any():
        _put(least_margins(around, sets, np.where(alone, temperature, np.nan), lost=lost), now, alone)
    return now


def _without_space(around, sets, bracket, chosen):
    """Temperatures at which margins of the chosen are what is sought, without distances in space, or where that is not
    found as near as it gets; and in how many trials."""
    T, tried, todo = np.full(chosen.shape, np.nan), np.zeros(chosen.shape, int), chosen.copy()
    for trial in range(_TRIALS + 1):
        if not todo.any():
            break
        T, tried = np.where(todo, bracket.guess(), T), np.where(todo, trial, tried)
        off = least_margins(around, sets, np.where(todo, T, np.nan), beyond=None).margin - _SOUGHT
        todo &= ~(_near(off, trial) | ~bracket.wide | np.isnan(off) | (trial >= _TRIALS))
        bracket.narrow(todo, T, off)
    return T, tried


class _Bracket:
    """Temperatures between which margins pass what is sought: arrays (word, span, option).

    What was looked at last, the end on its other side, and what was looked at before: a guess is where the parabola on
    its side through them is nought, where it bends one way there, else, after some by false position, in the middle
    (T. R. Chandrupatla, Advances in Engineering Software 28 (1997) 145, from memory).

    Parameters
    ----------
    top : ndarray
        Where to begin [°C], nan where nothing is sought.
    f_low, f_high : ndarray
        By how much margins are off at the coldest and there [m].
    """

    def __init__(self, top, f_low, f_high):
        self._first = top, np.where(np.isnan(top), np.nan, COLDEST), np.full(top.shape, np.nan), f_high, f_low, np.full(
            top.shape, np.nan), np.zeros(top.shape)
        self._now = self._first

    @property
    def _ends(self):
        """The temperatures below and above, and by how much margins are off there."""
        x, other, _, f, f_other, *_ = self._now
        return *(np.where(f >= 0, (x, other), (other, x))), *(np.where(f >= 0, (f, f_other), (f_other, f)))

    @property
    def low(self):
        """The hottest known at which margins are not less than what is sought [°C]."""
        return self._ends[0]

    @property
    def closed(self):
        """Where it is known by how much margins are off at both ends."""
        return np.isfinite(self._ends[2]) & np.isfinite(self._ends[3])

    @property
    def wide(self):
        """Where there is room for another guess."""
        return self._ends[1] - self._ends[0] > _WIDTH

    def guess(self):
        """Where the margin may be what is sought [°C]."""
        x, other, old, f, f_other, f_old, count = self._now
        with np.errstate(invalid="ignore", divide="ignore"):
            along, off = (x - other) / (old - other), (f - f_other) / (f_old - f_other)
            parabola = f / (f - f_other) * f_old / (f_old - f_other) - (old - x) / (other - x) * f / (
                f_old - f) * f_other / (f_other - f_old)
            share = np.where((off**2 < along) & ((1 - off)**2 < 1 - along), parabola,
                             np.where(count < _BY_SECANTS, f / (f - f_other), 0.5))
            least = np.minimum(_WIDTH / np.abs(other - x), 0.5)
            return x + np.clip(share, least, 1 - least) * (other - x)

    def restart(self, some):
        """Begin anew."""
        self._now = tuple(np.where(some, first, now) for first, now in zip(self._first, self._now, strict=True))

    def narrow(self, some, T, f):
        """Take note of by how much margins are off at temperatures."""
        x, other, old, f_x, f_other, f_old, count = self._now
        same = (f >= 0) == (f_x >= 0)
        new = (T, np.where(same, other, x), np.where(same, x, other), f, np.where(same, f_other, f_x),
               np.where(same, f_x, f_other), count + 1)
        self._now = tuple(np.where(some, after, before) for after, before in zip(new, self._now, strict=True))


def _near(off, trial):
    """Where a margin off what is sought by so much is near enough, after many trials by more than a hair above."""
    return (np.abs(off) <= _BESIDE) | (off >= 0) & (off <= _ENOUGH) & (trial >= _TRIALS)


def _put(now, kept, chosen):
    for whole, some in zip(kept, now, strict=True):
        whole[chosen] = some[chosen]
    return kept


def _with_ice(state, short):
    """What governs, told apart where ice alone brings the span short: no current melts that away."""
    words = np.array([ICE.get(word, word) for word in state], object)
    return np.where(short, words, state)


def _short_under_ice(scene, columns):
    """True where a wire is in violation of anything in a case with ice, shape (span, option)."""
    icy = np.isin(columns["case"], [case.name for case in scene.cases if case.iced])
    short = np.flatnonzero(icy & ~passed_below(columns["position"], columns["against"]) & (columns["margin_m"] < 0))
    known = np.zeros((len(scene.spans), len(scene.options)), bool)
    known[_places(scene, columns, short)] = True
    return known


def _keys(scene: Scene, span, option):
    return {**scene.keys(span, option),
            "geometry": span_chords(scene.structures, scene.base_elevation, scene.spans)[span]}
