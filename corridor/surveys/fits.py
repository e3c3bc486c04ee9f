"""Wires fitted to the points of a survey, span by span: what each comes to, and why one does not count."""

from dataclasses import dataclass

import numpy as np
import shapely

from corridor.arrays import take
from corridor.clearance.bundles import known_places
from corridor.errors import InputError
from corridor.geometry.catenary import greatest_sag, plane_of
from corridor.geometry.wire_fit import Fit, fit_wires
from corridor.line.hang import hang, still_states
from corridor.line.swing import from_grid
from corridor.surveys.apart import Chords, best_guess, nearest_wire

__all__ = ["FittedWires", "points_by_span", "fit_spans"]

#: Points of a cloud so near a structure may be of its strings, arms and jumpers [m].
_CUT = 2.0
#: A point farther than this from where its wire is thought is of something else [m].
_NEAR = 1.5
#: Beyond these a fit does not count: spread of points [m], standard deviation of the constant over it [-], share of the
#: points near the wire that lie on it [-], part of the span that they cover [-], swing [deg], ends from where framings
#: say [m], tension over rated strength [-].
_RMS, _SURE, _SHARE, _COVER, _SWING, _ENDS, _TENSION = 0.2, 0.05, 0.5, 0.5, 30.0, 3.0, (0.02, 0.75)
#: Beside the other wires of the span that count: minimum share of their points [-], most difference of swing [deg] and
#: of how high an end is above where its framing says [m]. Points that are on no wire may lie like one here and there.
_FEWER, _TURNED, _RAISED = 0.3, 5.0, 1.0
#: By how much ends are looked for above where framings say, and below, where wires are not found there [m].
_RAISES = np.arange(-3.0, 3.1, 0.75)
#: Points of a wire that are kept for its picture.
_SHOWN = 1500


@dataclass(frozen=True)
class FittedWires:
    """Wires in spans that were fitted, columns of shape (row,).

    `wire` its number among those of the batch; `fit` (`corridor.geometry.wire_fit.Fit`), in the frame of the chord in
    plan; `constant` [m] and `tension` across the load [N] of one wire, `slant` of the load [-]; `start`, `end` (row, 3)
    in the frame of the span [m]; of the model in the same state `model_sag` [m], `model_tension` [N], `model_start`,
    `model_end` (row, 3); `reason` why it does not count, "" where it does; `shown` (row,) points of each
    (point, 3) in the frame of the span.
    """

    wire: np.ndarray
    fit: Fit
    constant: np.ndarray
    tension: np.ndarray
    slant: np.ndarray
    start: np.ndarray
    end: np.ndarray
    model_sag: np.ndarray
    model_tension: np.ndarray
    model_start: np.ndarray
    model_end: np.ndarray
    reason: np.ndarray
    shown: np.ndarray


def points_by_span(place, structures, spans, reach):
    """Return which points are near which span.

    Parameters
    ----------
    place : ndarray, shape (point, 3)
        On the grid.
    structures : Structures
    spans : Spans
    reach : float
        [m]

    Returns
    -------
    first : ndarray of int, shape (span + 1,)
        Offsets into `point`.
    point : ndarray of int
        Numbers of points.
    """
    lines = structures.lines(spans.tail, spans.head)
    point, span = shapely.STRtree(lines).query(shapely.points(place[:, :2]), predicate="dwithin", distance=reach)
    order = np.lexsort((point, span))
    return np.searchsorted(span[order], np.arange(len(spans) + 1)), point[order]


def fit_spans(scene, survey, first, point, temperature):
    """Return the wires of a scene as they are fitted to points.

    Parameters
    ----------
    scene : Scene
        With the existing wire as its only option.
    survey : SurveyPoints
    first, point : ndarray of int
        Points of the spans of the scene, as of `points_by_span`.
    temperature : ndarray, shape (wire span,)
        [°C]

    Returns
    -------
    FittedWires
        Of all wires of spans in which points of a cloud lie, and of those that were shot.
    """
    wires = np.arange(len(scene.wires))
    rest = hang(scene.model, still_states(scene.model, wires, np.zeros_like(wires), temperature))
    here, spans = _Here(scene, rest, survey, temperature), np.flatnonzero(np.diff(first))
    if not len(spans):
        return None
    place, named, of = (np.concatenate(column) for column in zip(
        *(here.places(span, point[first[span]:first[span + 1]]) for span in spans), strict=True))
    rows = np.flatnonzero(np.isin(scene.wires.span, of) & here.known)
    edges = np.searchsorted(of, np.arange(len(scene.spans) + 1))
    wire = named.copy()
    for span in spans:
        here.tell_apart(span, place, wire, slice(*edges[span:span + 2]))
    if survey.kind != "cloud":
        # Who shoots chooses wires; what flies past sees them all.
        rows = rows[np.isin(rows, wire)]
    if not len(rows):
        return None
    fit = here.fit(rows, place, wire)
    reason = here.reasons(rows, fit)
    lost = (reason != "") | here.thin(rows, fit)
    if lost.any():
        for span in np.unique(scene.wires.span[rows[lost]]):
            here.tell_again(span, rows, fit, lost, place, wire, named, slice(*edges[span:span + 2]))
        fit, reason = here.better(rows, fit, reason, lost, place, wire)
    here.doubt(rows, fit, reason, wire[named >= 0])
    return here.told(rows, fit, reason, place, wire)


class _Here:
    """The spans of a scene, their wires at rest and at their temperature, a survey of them, and near which constants
    [m] and swings [rad] wires are thought to be, `guess` (2, wire span), with ends `raised` (wire span,) [m]."""

    def __init__(self, scene, rest, survey, temperature):
        self.scene, self.rest, self.survey, self.temperature = scene, rest, survey, temperature
        self.cut = _CUT if survey.kind == "cloud" else -np.inf
        self.known = np.isfinite(rest.horizontal_tension)
        self.weight = scene.strung.bare_weight[scene.group, 0]
        self.bounds = np.multiply.outer(_TENSION, scene.strung.rts[scene.group, 0] / self.weight)
        self.chords = Chords(rest.start, rest.end)
        ahead = (rest.end - rest.start)[:, :2]
        self.span = np.hypot(*ahead.T)
        self.ahead = ahead / self.span[:, None]
        self.guess = np.stack([rest.constant, np.zeros(len(self.span))])
        self.raised = np.zeros(len(self.span))

    def _rows(self, span):
        """Wires of a span that the model hangs."""
        return np.flatnonzero((self.scene.wires.span == span) & self.known)

    def places(self, span, point):
        """Points of a span in its frame, the wire of each where it was named, else -1, and the span."""
        scene, survey, rows = self.scene, self.survey, self._rows(span)
        place = from_grid(survey.place[point][None], scene.structures, scene.spans, np.array([span]))[0]
        keep = (place[:, 0] > self.cut) & (place[:, 0] < scene.spans.length[span] - self.cut)
        wire = np.full(len(place), -1)
        if survey.named is not None:
            line, of, names = survey.named[:, point]
            keep &= (names == "") | (of == scene.spans.name[span])
            keep &= (line == "") | (line == scene.spans.line[span])
            known = {"": -1} | dict(zip(scene.wires.wire[rows], rows, strict=True))
            for name in dict.fromkeys(names[keep].tolist()):
                if name not in known:
                    raise InputError(survey.section.files[0], "wire", f"{name!r} in span {scene.spans.name[span]}",
                                     "a wire that hangs there: " + ", ".join([*known][1:]))
            wire = np.array([known.get(name, -1) for name in names], int)
        return place[keep], wire[keep], np.full(int(keep.sum()), span)

    def tell_apart(self, span, place, wire, here):
        """Tell the wires of points of a span, in `wire`, where nobody named them: all wires of a kind by one guess."""
        rows, loose = self._rows(span), np.flatnonzero(wire[here] < 0) + here.start
        if not len(loose) or not len(rows):
            return
        for kind in dict.fromkeys(self.scene.wires.kind[rows]):
            self._guess(rows[self.scene.wires.kind[rows] == kind], place[loose])
        self._assign(rows, loose, place, wire)

    def _guess(self, rows, place, raises=(0.0,)):
        low, high = self.bounds[:, rows[0]]
        found = best_guess(take(self.chords, rows), place, low, high, raises)
        if found.share > 0:
            self.guess[:, rows] = np.reshape([found.constant, found.swing], (2, 1))
            self.raised[rows] = found.raised

    def _assign(self, rows, loose, place, wire):
        near = nearest_wire(take(self.chords, rows), place[loose], *self.guess[:, rows], self.raised[rows], _NEAR)
        wire[loose] = np.where(near >= 0, rows[near], -1)

    def thin(self, rows, fit):
        """Whether wires have less than half of the points of the fullest wire of their span: of one that hangs unlike
        the others only points near its ends are near the common guess."""
        span = self.scene.wires.span[rows]
        most = np.zeros(len(self.scene.spans))
        np.maximum.at(most, span, fit.points)
        return fit.points < most[span] / 2

    def tell_again(self, span, rows, fit, lost, place, wire, named, here):
        """Tell the wires of points of a span again that are on none that was found: where all of a kind are lost, with
        ends higher or lower; else each wire that is lost by itself."""
        own = np.flatnonzero(self.scene.wires.span[rows] == span)
        good, lost = own[~lost[own]], own[lost[own]]
        constant, swing = fit.constant[good], fit.swing[good]
        found = Chords(*self._ends(rows[good], take(fit, good)))
        loose = np.flatnonzero(named[here] < 0) + here.start
        taken = nearest_wire(found, place[loose], constant, swing, 0 * swing, _NEAR / 3) >= 0 if len(good) else (
            np.zeros(len(loose), bool))
        loose = loose[~taken]
        if not len(loose):
            return
        kind = self.scene.wires.kind[rows]
        for each in dict.fromkeys(kind[lost]):
            some = lost[kind[lost] == each]
            groups = [rows[some]] if not np.isin(kind[good], each).any() else [rows[[one]] for one in some]
            for group in groups:
                self._guess(group, place[loose], _RAISES)
        self._assign(rows[lost], loose, place, wire)

    def _ends(self, rows, fit):
        """Ends of fitted wires in the frames of their spans, twice (row, 3)."""
        right = np.stack([-self.ahead[rows, 1], self.ahead[rows, 0]], axis=-1)
        return [np.column_stack([at[rows, :2] + right * end[:, :1], end[:, 1]])
                for at, end in ((self.rest.start, fit.start), (self.rest.end, fit.end))]

    def _above(self, rows, fit):
        """How far both ends of fitted wires are above where framings say, (2, row) [m]."""
        return np.stack([end[:, 1] - at[rows, 2] for at, end in ((self.rest.start, fit.start),
                                                                 (self.rest.end, fit.end))])

    def fit(self, rows, place, wire):
        """Wires fitted to their points."""
        number = np.full(len(self.span), -1)
        number[rows] = np.arange(len(rows))
        used = np.flatnonzero((wire >= 0) & (number[wire] >= 0))
        used = used[np.argsort(number[wire[used]], kind="stable")]
        of = wire[used]
        start, ahead = self.rest.start[of], self.ahead[of]
        off = place[used] - start
        along = (off[:, :2] * ahead).sum(axis=1)
        right = off[:, 1] * ahead[:, 0] - off[:, 0] * ahead[:, 1]
        first = np.searchsorted(number[of], np.arange(len(rows) + 1))
        ends = [np.column_stack([np.zeros(len(rows)), v[rows, 2] + self.raised[rows]])
                for v in (self.rest.start, self.rest.end)]
        return fit_wires(first, np.column_stack([along, right, place[used, 2]]), self.span[rows], *ends,
                         *self.guess[:, rows], accuracy=self.survey.section.accuracy, apart=self._bundles(rows))

    def _bundles(self, rows):
        """Where subconductors are about the middles of wires, None where all are single."""
        wiring = self.scene.options[0].wiring
        places = known_places(wiring) if wiring.bundle > 1 else None
        if places is None:
            return None
        return tuple(places if kind == "phase" else np.zeros((1, 2)) for kind in self.scene.wires.kind[rows])

    def reasons(self, rows, fit):
        """Why fitted wires do not count, "" where they do."""
        tension = fit.constant * self.weight[rows] / self.scene.strung.rts[self.scene.group[rows], 0]
        away = np.fmax(*np.abs(self._above(rows, fit)))
        swing = np.degrees(fit.swing)
        tests = (
            (fit.points < 2, "{} points on it", fit.points),
            (fit.cover < _COVER * (self.cut > 0), "points on {:.0f} % of the span alone", 100 * fit.cover),
            (fit.points < _SHARE * fit.within, "of {} points near it too few lie on it", fit.within),
            (fit.rms > _RMS, "points spread by {:.2f} m about it", fit.rms),
            ((tension < _TENSION[0]) | (tension > _TENSION[1]), "no tension of this wire: {:.0f} % RTS", 100 * tension),
            (fit.constant_sd > _SURE * fit.constant, "its catenary constant is known to {:.0f} m",
             fit.constant_sd),
            (np.abs(swing) > _SWING, "a swing of {:.0f} degrees", swing),
            (away > _ENDS, "an end {:.1f} m from where its framing says", away))
        reason = np.full(len(rows), "", object)
        for fails, words, value in reversed(tests):
            for i in np.flatnonzero(fails | np.isnan(np.asarray(value, float))):
                reason[i] = "no points on it" if fit.points[i] == 0 else words.format(value[i])
        return reason

    def doubt(self, rows, fit, reason, named):
        """Tell, in `reason`, of wires whose points nobody named, and which are unlike the others of their span: what is
        on no wire may lie like one."""
        raised = self._above(rows, fit)
        swing, kind = np.degrees(fit.swing), self.scene.wires.kind[rows]
        good = (reason == "") & ~np.isin(rows, named)
        for span in np.unique(self.scene.wires.span[rows[good]]):
            some = np.flatnonzero(good & (self.scene.wires.span[rows] == span))
            most = fit.points[some].max()
            for i in some:
                # The fullest wires tell how the others should be: of a kind if there is one, else of any.
                full = some[(some != i) & (fit.points[some] > most / 2)]
                alike = full[kind[full] == kind[i]] if (kind[full] == kind[i]).any() else full
                if fit.points[i] < _FEWER * most:
                    reason[i] = f"{fit.points[i]} points on it, and {most} on another wire of the span"
                elif len(alike):
                    turned = abs(swing[i] - np.median(swing[alike]))
                    room = _TURNED + abs(np.median(swing[alike])) * (kind[i] != kind[alike[0]])
                    lifted = max(abs(end[i] - np.median(end[alike])) for end in raised)
                    if turned > room:
                        reason[i] = f"a swing {turned:.0f} degrees off that of other wires of the span"
                    elif lifted > _RAISED:
                        reason[i] = f"an end {lifted:.1f} m off, beside other wires of the span, where its framing says"

    def better(self, rows, fit, reason, lost, place, wire):
        """The fits and reasons with lost wires fitted again, where that is better."""
        again = np.flatnonzero(lost)
        other = self.fit(rows[again], place, wire)
        found = self.reasons(rows[again], other)
        take_it = (reason[again] != "") | (found == "") & (other.points > fit.points[again])
        whole, reason = [column.copy() for column in fit], reason.copy()
        for column, some in zip((*whole, reason), (*other, found), strict=True):
            column[again[take_it]] = some[take_it]
        return Fit(*whole), reason

    def told(self, rows, fit, reason, place, wire):
        """What fits come to, beside the model in the same state."""
        slant = np.tan(fit.swing)
        states = still_states(self.scene.model, rows, np.zeros_like(rows), self.temperature[rows])
        # A run hangs in one wind: that of its wires that count.
        good = (reason == "").astype(float)
        blown = np.bincount(states.problem, good * np.nan_to_num(slant)) / np.maximum(
            np.bincount(states.problem, good), 1)
        wind = states.weight * blown[:, None]
        model = hang(self.scene.model, states._replace(wind=wind))
        plane = plane_of(model.start, model.end, model.vectors)
        start, end = (np.where((fit.points > 0)[:, None], at, np.nan) for at in self._ends(rows, fit))
        order = np.argsort(wire, kind="stable")
        at = [order[np.searchsorted(wire[order], w):np.searchsorted(wire[order], w, "right")] for w in rows]
        shown = np.empty(len(rows), object)
        shown[:] = [place[some[::max(1, len(some) // _SHOWN)]] for some in at]
        return FittedWires(
            rows, fit, fit.constant, fit.constant * self.weight[rows] * np.hypot(1.0, slant), slant, start, end,
            greatest_sag(plane.span, plane.rise, model.constant), model.horizontal_tension, model.start, model.end,
            reason, shown)
