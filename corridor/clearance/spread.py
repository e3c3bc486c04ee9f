"""How sure margins are: their standard deviation, how likely they are negative, and which input matters most.

First order: every input one standard deviation up and down through the engine itself, margins taken at the place and
swing where they were found. Draws: all inputs at once, from a Latin hypercube. An error that is common to a line, a
section or a wire is one error for all rows of it, in whatever batch they are worked on.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import scipy  # its parts load when they are first used

from corridor.clearance.checked import GROUND, Checked
from corridor.clearance.margin_band import places_of
from corridor.clearance.right_of_way import RIGHT_OF_WAY
from corridor.line.changed_inputs import OF_WIRES, WireStates, change_inputs
from corridor.line.states import ask
from corridor.line.uncertainty import drawn

__all__ = ["Chances", "LineChances", "height_deviation", "probability_short", "spread"]

#: What is told of margins.
_COLUMNS = ("margin_sd_m", "probability_short", "largest_share")
#: Draws of the linear model, for the probability that a whole line clears.
LINEAR = 4096
#: A margin of more standard deviations than this counts as what it is [-].
_FAR = 6.0
#: Margins of fewer standard deviations than this are in doubt: the shares of inputs are told of these [-].
_DOUBT = 3.0
#: Pairs of error and state, or of draw and row, that are worked on at once.
_AT_ONCE = 200_000


class Chances(NamedTuple):
    """What the rows of a batch come to: `short` (option, draw) whether any of them is in violation; `variance` (option,
    input) sums of shares of the variance of margins in doubt."""

    short: np.ndarray
    variance: np.ndarray


class LineChances:
    """What the batches of a study come to, one after the other, by option: `expected` number of violations, `short`
    (option, draw) whether anything is in violation, `unknown` whether a margin has no deviation."""

    def __init__(self, facts):
        self.names, self.uncertainty = facts.names, facts.uncertainty
        options = len(self.names)
        self.expected, self.unknown = np.zeros(options), np.zeros(options, bool)
        self.variance = np.zeros((options, 0 if facts.uncertainty is None else len(facts.uncertainty.inputs)))
        self.short = False

    def add(self, chances, clearances):
        """Add a batch: its Chances, and its rows of `clearances`."""
        self.short = self.short | chances.short
        self.variance += chances.variance
        probability, unknown = clearances["probability_short"], np.isnan(clearances["probability_short"])
        expected = np.where(unknown, clearances["margin_m"] < 0, probability)
        for o, name in enumerate(self.names):
            own = clearances["option"] == name
            self.expected[o] += expected[own].sum()
            self.unknown[o] |= unknown[own].any()

    def option_columns(self, not_assessed):
        """Return columns of the layer `options`, by the number of rows that are not assessed of each."""
        if self.uncertainty is None or self.short is False:
            return {}
        unknown = self.unknown | (np.array(not_assessed) > 0)
        return {"expected_violations": self.expected,
                "probability_clear": np.where(unknown, np.nan, 1 - self.short.mean(axis=1))}

    def rows(self):
        """Return the rows of the layer `uncertainty`: one per option and input."""
        inputs = {} if self.uncertainty is None else self.uncertainty.inputs
        options, total = len(self.names), self.variance.sum(axis=1, keepdims=True)
        share = self.variance / np.where(total > 0, total, np.nan)
        return {"option": np.repeat(np.array(self.names, object), len(inputs)),
                "input": np.array([*inputs] * options, object),
                **{name: np.array([getattr(each, name) for each in inputs.values()] * options, kind)
                   for name, kind in (("sd", float), ("unit", object), ("common", object), ("source", object))},
                "share": share.ravel()}


def probability_short(margin, sd):
    """Return how likely a margin with a normal error is negative [-]; nan where its `sd` is not known.

    Examples
    --------
    >>> [round(100 * float(probability_short(m, 0.2)), 1) for m in (0.0, 0.2, 0.4)]
    [50.0, 15.9, 2.3]
    >>> float(probability_short(-0.1, 0.0)), float(probability_short(0.0, 0.0))
    (1.0, 0.0)
    """
    margin, sd = np.asarray(margin, float), np.asarray(sd, float)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(sd == 0, np.where(margin < 0, 1.0, 0.0), scipy.special.ndtr(-margin / sd))


def spread(scene, checked, required, shield, uncertainty):
    """Return how sure margins are.

    Parameters
    ----------
    scene : Scene
    checked : Checked
    required : ndarray, shape (row,)
        [m]
    shield : Wiring or None
    uncertainty : Uncertainty

    Returns
    -------
    columns : dict of ndarray
        `margin_sd_m`, `probability_short` and `largest_share`, the input with the largest share of the variance.
    chances : Chances
    """
    options = len(scene.options)
    if not len(required):
        none = np.zeros(0)
        return dict(zip(_COLUMNS, (none, none, none.astype(object)), strict=True)), Chances(
            np.zeros((options, uncertainty.draws or LINEAR), bool), np.zeros((options, len(uncertainty.inputs))))
    rows = _Rows(scene, checked, required, shield, uncertainty)
    margin, variance = checked.actual - required, rows.variance
    sd = np.sqrt(variance.sum(axis=0))
    largest = np.array(rows.names, object)[np.nan_to_num(variance).argmax(axis=0)]
    if uncertainty.draws:
        short, sd, probability = rows.drawn()
    else:
        short, probability = _linear(rows, margin, sd), probability_short(margin, sd)
    doubtful = np.abs(margin) < _DOUBT * sd
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(doubtful, variance / variance.sum(axis=0), 0.0)
    columns = sd, np.where(np.isnan(sd), np.nan, probability), np.where(sd > 0, largest, None)
    of_option = np.array([share[:, checked.option == o].sum(axis=1) for o in range(options)])
    return dict(zip(_COLUMNS, columns, strict=True)), Chances(short, of_option)


def height_deviation(scene, shield, uncertainty, cases, share):
    """Return the standard deviation of how high wires hang above the ground in still air [m].

    Parameters
    ----------
    scene : Scene
    shield : Wiring or None
    uncertainty : Uncertainty
    cases : ndarray of int, shape (case,)
    share : ndarray, shape (place,)
        Places along the span [-].

    Returns
    -------
    ndarray, shape (wire span, option, case, place)
    """
    shape = len(scene.wires), len(scene.options), len(cases), len(share)
    w, o, k, at = (v.ravel() for v in np.indices(shape))
    f, k, count = share[at], cases[k], len(w)
    where = scene.ways.places(scene.way(w, o, k), np.zeros((count, 1)), f[:, None])[:, 0, 0]
    rows = Checked(w, o, k, np.full(count, GROUND), np.full(count, "vertical", object), np.full(count, "above", object),
                   np.ones(count), f, where[:, 2], where[:, 2] - 1, where[:, 1])
    return np.sqrt(_Rows(scene, rows, np.zeros(count), shield, uncertainty).variance.sum(axis=0)).reshape(shape)


def _linear(rows, margin, sd):
    """Whether any margin of an option is in violation, (option, draw), as margins follow from errors in first order."""
    options = rows.checked.option
    short = np.zeros((len(rows.scene.options), LINEAR), bool)
    near = np.flatnonzero((np.abs(margin) < _FAR * sd) & np.isfinite(sd))
    short[np.unique(options[(margin < 0) & ~(np.abs(margin) < _FAR * sd)])] = True
    drawn_of = [(*rows.scores(name, key[near], LINEAR), slope[near]) for name, key, slope in rows.factors if len(near)]
    for some in np.array_split(np.arange(len(near)), len(near) * LINEAR // _AT_ONCE + 1):
        g = np.tile(margin[near[some]], (LINEAR, 1))
        for z, place, slope in drawn_of:
            g += z[:, place[some]] * slope[some]
        for o in np.unique(options[near[some]]):
            short[o] |= (g[:, options[near[some]] == o] < 0).any(axis=1)
    return short


@dataclass(frozen=True)
class _Rows:
    """Compared rows and what moves their margins."""

    scene: object
    checked: object
    required: np.ndarray
    shield: object
    uncertainty: object

    @property
    def names(self):
        """Names of the inputs."""
        return list(self.uncertainty.inputs)

    @cached_property
    def places(self):
        """Where margins were found (Places)."""
        return places_of(self.scene, self.checked)

    @cached_property
    def factors(self):
        """Each error that moves margins: input, key (row,) of the error, and what a standard deviation of it adds to
        the margin (row,) [m]."""
        inputs = self.uncertainty.inputs
        found = [(name, self._keys(inputs[name].common), slope) for name, slope in self._by_wire[1].items()]
        return found + self._direct

    @property
    def variance(self):
        """Variance of margins by each input, (input, row) [m²]."""
        found = np.zeros((len(self.names), len(self.required)))
        for name, _, slope in self.factors:
            found[self.names.index(name)] += slope**2
        return found

    @cached_property
    def _direct(self):
        """The same of errors that do not act through the wire."""
        inputs = self.uncertainty.inputs
        return [(name, key, slope) for name, act in (("ground", self._by_ground), ("attachments", self._by_attachments))
                if name in inputs for key, slope in act(inputs[name])]

    def _by_ground(self, ground):
        """The ground, and what stands on it, rises: by the share of it that goes toward the wire."""
        checked, obstacles = self.checked, self.scene.obstacles
        below = checked.position == "below"
        over = np.where(below, -1.0, 1.0) * (checked.elevation - checked.other)
        with np.errstate(divide="ignore", invalid="ignore"):
            toward = np.clip(over / (np.abs(checked.actual) + self.places.around), 0.0, 1.0)
        # Where it is not known which way the ground is, or a tree stands on it that falls, all of it counts.
        toward = np.where(np.isnan(toward) | (checked.position == "falling"), 1.0, toward)
        toward = np.where(checked.measure == "vertical", 1.0, toward)
        toward = np.where(checked.measure == "horizontal", 0.0, toward)
        absolute = np.r_[obstacles.absolute.astype(bool), False, False][checked.obstacle]
        fixed = (checked.obstacle >= 0) & absolute & (checked.position != "falling")
        toward = np.where(fixed | (checked.obstacle == RIGHT_OF_WAY), 0.0, toward)
        return [(self._keys(ground.common), ground.sd * toward * np.where(below, 1.0, -1.0))]

    def _by_attachments(self, attachments):
        """Ends of wires are elsewhere, in the direction in which a margin is measured."""
        checked, common = self.checked, attachments.common
        one = attachments.sd * np.where(checked.position == "below", -1.0, 1.0)
        if common != "structure":
            return [(self._keys(common), one)]
        spans, span = self.scene.spans, self.scene.wires.span[checked.wire]
        return [(_joined(spans.line[span], self.scene.structures.structure[end[span]]), one * share)
                for end, share in ((spans.tail, 1 - checked.fraction), (spans.head, checked.fraction))]

    @cached_property
    def _units(self):
        """Wires that err alike: the group of each unit, the unit of each row, and a wire span of each unit."""
        wire, inputs = self.checked.wire, self.uncertainty.inputs
        group = self.scene.group[wire]
        alone = any(inputs[name].common == "wire" for name in OF_WIRES if name in inputs)
        key = _joined(group, self.scene.wires.wire[wire]).astype(str) if alone else group
        _, first, unit = np.unique(key, return_index=True, return_inverse=True)
        return group[first], unit, wire[first]

    def _keys(self, common, wire=None):
        """The error of each row, or of wire spans, that is common to so much."""
        scene = self.scene
        wire = self.checked.wire if wire is None else wire
        span = scene.wires.span[wire]
        line, section = scene.spans.line[span], scene.sections.name[scene.spans.section[span]]
        return _joined(*{"line": [line], "section": [line, section], "span": [line, scene.spans.name[span]],
                         "wire": [line, section, scene.wires.wire[wire]]}[common])

    def scores(self, name, key, count):
        """Scores of the errors of an input (draw, error), and which of these each key is."""
        keys, place = np.unique(key.astype(str), return_inverse=True)
        return np.stack([drawn(name, each, count) for each in keys], axis=1), place

    @cached_property
    def _stringing(self):
        """What is asked of wires, and what that comes to without errors."""
        scene = self.scene
        return ask(scene.groups, scene.options, scene.cases, self.shield, scene.sections), scene.strung

    def _points(self, scores):
        """Where wires are (error, row, 3) [m], at the place and swing of their margin, under errors (error, unit)."""
        group, unit, _ = self._units
        changed = change_inputs(*self._stringing, group, self.uncertainty.inputs, scores)
        checked = self.checked
        columns = unit, checked.option, checked.case, self.places.wind, checked.taut
        states, place = np.unique(np.stack(columns).astype(float), axis=1, return_inverse=True)
        whole = states[:3].astype(int)
        H, weight = changed.tension(WireStates(*whole, states[3], states[4] > 0))
        return self.places.point(H[:, place.ravel()], weight[:, place.ravel()])

    @cached_property
    def _rest(self):
        """Where wires are without errors."""
        return self._points({"mass": np.zeros((1, len(self._units[0])))})[0]

    @cached_property
    def _by_wire(self):
        """On which side of swung wires things are taken to be (row,), and half of what margins change by from one
        standard deviation down to one up, by input [m]."""
        names = [name for name in OF_WIRES if name in self.uncertainty.inputs]
        scores = np.zeros((len(names), 2 * len(names), len(self._units[0])))
        for i in range(len(names)):
            scores[i, 2 * i], scores[i, 2 * i + 1] = 1.0, -1.0
        if not names:
            return -np.ones(len(self.required)), {}
        moved = self._points(dict(zip(names, scores, strict=True))) - self._rest
        away, toward = ((g[::2] - g[1::2]) / 2 for g in (self.places.actual(moved, sign) for sign in (1, -1)))
        # It is not looked on which side of a swung wire a thing is: on that on which errors matter more.
        side = np.where((toward**2).sum(axis=0) >= (away**2).sum(axis=0), -1.0, 1.0)
        return side, dict(zip(names, np.where(side < 0, toward, away), strict=True))

    def drawn(self):
        """Whether any margin of an option is in violation, (option, draw), with all errors drawn at once; standard
        deviation [m] and share of margins below zero, (row,)."""
        count, (group, _, first) = self.uncertainty.draws, self._units
        inputs, options = self.uncertainty.inputs, self.checked.option
        scores = {name: self.scores(name, self._keys(inputs[name].common, first), count) for name in OF_WIRES
                  if name in inputs} or {"mass": (np.zeros((count, len(group))), slice(None))}
        direct = [(*self.scores(name, key, count), slope) for name, key, slope in self._direct]
        short, sums = np.zeros((len(self.scene.options), count), bool), np.zeros((3, len(options)))
        step = max(1, _AT_ONCE // max(len(options), len(group) * len(short), 1))
        for k in range(0, count, step):
            some = slice(k, k + step)
            moved = self._points({name: z[some][:, place] for name, (z, place) in scores.items()}) - self._rest
            g = self.places.actual(moved, self._by_wire[0]) - self.required
            for z, place, slope in direct:
                g += z[some][:, place] * slope
            shift = g - (self.checked.actual - self.required)
            sums += shift.sum(axis=0), (shift**2).sum(axis=0), (g < 0).sum(axis=0)
            for o in np.unique(options):
                short[o, some] = (g[:, options == o] < 0).any(axis=1)
        mean, square, below = sums / count
        return short, np.sqrt(np.maximum(square - mean**2, 0.0)), below


def _joined(*names):
    """Names of several columns as one."""
    return np.array(["\n".join(map(str, each)) for each in zip(*names, strict=True)], object)
