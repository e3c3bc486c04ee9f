"""Where every wire hangs, in every option, case and blow of the wind: its tension and its two ends.

Two methods give the same thing. `equilibrium`, the default, solves each section exactly: every span keeps the wire
that it was clipped in with, and every string hangs where forces balance. `ruling_span` gives all spans of a section
the tension of one level span and swings strings by the handbook's formula; it stays beside the other as a diagnostic,
and stands in where the base of a structure is unknown.
"""

from dataclasses import dataclass, replace

import numpy as np

from corridor.constants import GRAVITY
from corridor.geometry.distance import Ends
from corridor.line.laws import take_law
from corridor.line.swing import hung_ends, string_swing
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, HELD, POST, Supports

__all__ = ["METHODS", "SIDES", "Chains", "Hung", "Model", "chain_wires", "hang_by_ruling_span", "hang_exactly"]

#: Sides to which the wind blows, in the order of the axis `side`: right of the line, left of it.
SIDES = np.array([1.0, -1.0])

#: How wires may be hung, by the word of the study.
METHODS = ("equilibrium", "ruling_span")


@dataclass(frozen=True)
class Hung:
    """Wires where they hang. Axes (wire span, option, case, side); in still air both sides are the same.

    `horizontal_tension` [N] across the load, nan where there is no answer; `start`, `end` (..., 3) of the wire in the
    frame of its span [m]; `residual`, of force [N], or of strain by the ruling span; `exact` (wire span,) tells which
    method it is. `weight`, `wind` (wire span, option, case) load per length [N/m].
    """

    horizontal_tension: np.ndarray
    start: np.ndarray
    end: np.ndarray
    residual: np.ndarray
    exact: np.ndarray
    weight: np.ndarray
    wind: np.ndarray

    @property
    def load(self):
        """Size of the load |q| [N/m], shape (wire span, option, case)."""
        return np.hypot(self.weight, self.wind)

    @property
    def constant(self):
        """Catenary constant H/|q| [m]."""
        return self.horizontal_tension / self.load[..., None]

    def vectors(self):
        """Load vectors in the frame of the span [N/m], shape (wire span, option, case, side, 3)."""
        p = self.wind[..., None] * SIDES
        w = np.broadcast_to(self.weight[..., None], p.shape)
        return np.stack([np.zeros_like(p), p, -w], axis=-1)

    def moved(self, frame):
        """Return where strings have moved the wires' ends in the chord of the frame.

        Returns
        -------
        Ends
            Of shape (wire span, option, case, side).
        aside : ndarray, shape (wire span, option, case, side, 2)
            How far the start and the end lie to the right of the chord [m].
        """
        chord = (frame.end - frame.start)[:, :2]
        along = chord / np.linalg.norm(chord, axis=-1, keepdims=True)
        across = np.stack([-along[:, 1], along[:, 0]], axis=-1)
        along, across, origin = (v[:, None, None, None] for v in (along, across, frame.start[:, :2]))
        first, last = self.start[..., :2] - origin, self.end[..., :2] - origin
        shift = (first * along).sum(-1)
        ends = Ends((last * along).sum(-1) - shift, self.start[..., 2], self.end[..., 2] - self.start[..., 2], shift)
        return ends, np.stack([(first * across).sum(-1), (last * across).sum(-1)], axis=-1)


@dataclass(frozen=True)
class Chains:
    """Wires that run through whole sections, one row each; padded to the longest.

    `row` (chain, span) wire span, -1 beyond the end; `count` (chain,); `corner` (chain, span + 1, 2) structure
    centres in ground metres from the first; `azimuth` (chain, span) [rad]; `supports` of (chain, span + 1), with
    `string_force` that of a pressure of 1 Pa blowing to the right [m2].
    """

    row: np.ndarray
    count: np.ndarray
    corner: np.ndarray
    azimuth: np.ndarray
    supports: Supports


def chain_wires(frame, wires, spans):
    """Return the chains of all wires, from one held end to the next.

    Parameters
    ----------
    frame : SpanFrame
    wires : WireSpans
    spans : Spans
    """
    section = spans.section[wires.span]
    order = np.lexsort((wires.span, wires.wire.astype(str), section))
    s, name, at = section[order], wires.wire[order], wires.span[order]
    new = np.r_[True, (s[1:] != s[:-1]) | (name[1:] != name[:-1]) | (at[1:] != at[:-1] + 1)]
    chain = np.cumsum(new) - 1
    count = np.bincount(chain)
    place = np.arange(len(order)) - np.repeat(np.cumsum(count) - count, count)
    row = np.full((len(count), count.max()), -1)
    row[chain, place] = order
    return _supported(frame, wires, spans, row, count)


def _supported(frame, wires, spans, row, count):
    """Chains with their hinges in ground metres, in directions of the grid."""
    span = wires.span[row]
    azimuth = np.radians(spans.azimuth[span])
    step = np.where(row >= 0, spans.length[span], 0.0)
    forward = np.stack([np.sin(azimuth), np.cos(azimuth)], axis=-1)
    corner = np.zeros((len(row), row.shape[1] + 1, 2))
    corner[:, 1:] = np.cumsum(step[..., None] * forward, axis=1)
    hinge = np.full((len(row), row.shape[1] + 1, 3), np.nan)
    string, strain, mass, stiff, area = _at_nodes(wires, row, count)
    start, end = _without_strain_strings(frame, wires)
    hinge[:, 1:] = _turned(end[row], azimuth, corner[:, :-1], 1)
    hinge[:, :-1] = np.where((row >= 0)[..., None], _turned(start[row], azimuth, corner[:, :-1], 1),
                             hinge[:, :-1])
    hinge[..., 2] += string
    string = string + strain
    kind = np.where(string > 0, FREE, np.where(stiff > 0, POST, HELD))
    blown = area[..., None] * _right_of(azimuth)
    return Chains(row, count, corner, azimuth, Supports(hinge, kind, string, mass * GRAVITY, blown, stiff))


def _without_strain_strings(frame, wires):
    """Both ends of wires in the frame of their span [m], or where their strain strings hold on."""
    chord = frame.end - frame.start
    ahead = chord / np.linalg.norm(chord, axis=1, keepdims=True)
    first, last = wires.strain_start[:, None], wires.strain_end[:, None]
    return (np.where(first > 0, frame.start - first * ahead, frame.start),
            np.where(last > 0, frame.end + last * ahead, frame.end))


def _at_nodes(wires, row, count):
    """What holds each node, (chain, node), else 0: length of a suspension and of a strain string, mass, stiffness
    (0: held) and area in the wind."""
    node = np.arange(row.shape[1] + 1)
    inner = (node > 0) & (node < count[:, None])
    dead = (node == 0) | (node == count[:, None])

    def spread(start, end, where):
        ahead, behind = np.pad(start[row], ((0, 0), (0, 1))), np.pad(end[row], ((0, 0), (1, 0)))
        return np.where(where, np.where(node == 0, ahead, behind), 0.0)

    string = spread(wires.string_start, wires.string_end, inner)
    strain = spread(wires.strain_start, wires.strain_end, dead)
    stiff = (np.where(np.isfinite(k), k, 0.0) for k in (wires.stiffness_start, wires.stiffness_end))
    hangs = inner | (strain > 0)
    return (string, strain, spread(wires.mass_start, wires.mass_end, hangs), spread(*stiff, inner),
            spread(wires.area_start, wires.area_end, hangs))


def _right_of(azimuth):
    """Unit vectors to the right of chains at their nodes, halving the turn, (chain, node, 3)."""
    both = np.stack([np.cos(azimuth), -np.sin(azimuth), np.zeros_like(azimuth)], axis=-1)
    right = np.concatenate([both[:, :1], both[:, :-1] + both[:, 1:], both[:, -1:]], axis=1)
    return right / np.linalg.norm(right, axis=-1, keepdims=True)


def _turned(point, azimuth, corner, sense):
    """Span-frame points as points about the chain's first structure (sense 1), or back again (-1)."""
    sin, cos = np.sin(azimuth), np.cos(azimuth)
    if sense == 1:
        along, right = point[..., 0], point[..., 1]
        east, north = along * sin + right * cos, along * cos - right * sin
        return np.stack([corner[..., 0] + east, corner[..., 1] + north, point[..., 2]], axis=-1)
    east, north = point[..., 0] - corner[..., 0], point[..., 1] - corner[..., 1]
    return np.stack([east * sin + north * cos, east * cos - north * sin, point[..., 2]], axis=-1)


class Model:
    """Chains with the wire that each span keeps in every option, ready to be hung in any state.

    Parameters
    ----------
    chains : Chains
    strung : Strung
    group : ndarray of int, shape (wire span,)
        Group of wires whose ruling span strung each wire.
    ruling : ndarray, shape (group,)
        Ruling spans [m].
    everyday : ndarray, shape (group, option)
        Temperature at which strings are plumb [degC].

    Attributes
    ----------
    unstressed : ndarray, shape (chain, option, span)
        Length of each span's wire without force [m]; nan where a hinge or the stringing is unknown.
    """

    def __init__(self, chains, strung, group, ruling_spans, everyday):
        self.chains, self.strung = chains, strung
        self.group = group[chains.row[:, 0]]
        self.everyday = everyday
        g, options = self.group, strung.excess.shape[1]
        H = ruling.tension(strung.excess, ruling_spans[:, None], strung.bare_weight, everyday, strung.final)
        c, o = (v.ravel() for v in np.indices((len(g), options)))
        part = take_law(_spread(strung.final, strung.excess.shape), (g[c], o))
        load = _down(strung.bare_weight[g[c], o])
        clipped = clip_in(self.supports(c), H.horizontal_tension[g[c], o], load, everyday[g[c], o], part,
                          count=chains.count[c])
        self.unstressed = clipped.unstressed.reshape(len(g), options, -1)
        self._end = clipped.end.reshape(len(g), options, -1, 3)

    def rest(self, frame, option):
        """Return the frame with wires where they hang in the everyday state of an option (index)."""
        chains = self.chains
        start, end = frame.start.copy(), frame.end.copy()
        for whole, nodes in ((start, self._end[:, option, :-1]), (end, self._end[:, option, 1:])):
            place = _turned(nodes, chains.azimuth, chains.corner[:, :-1], -1)
            known = (chains.row >= 0) & np.isfinite(place).all(axis=-1)
            whole[chains.row[known]] = place[known]
        return replace(frame, start=start, end=end)

    def place_of(self, wires):
        """Return the chain of wire spans, and the place of each in it."""
        row = self.chains.row
        chain, place = np.nonzero(row >= 0)
        found = np.zeros((2, row.max() + 1), int)
        found[:, row[chain, place]] = chain, place
        return found[0, wires], found[1, wires]

    def right(self, chain):
        """Return unit vectors to the right of the line at the nodes of chains, (chain, node, 3)."""
        return _right_of(self.chains.azimuth[chain])

    def supports(self, chain, pressure=0.0):
        """Return what holds chains, with a wind on strings [Pa], positive to the right."""
        s = self.chains.supports
        blown = s.string_force[chain] * np.reshape(pressure, (-1, 1, 1))
        return Supports(s.hinge[chain], s.kind[chain], s.string_length[chain], s.string_weight[chain], blown,
                        s.stiffness[chain])

    def solve(self, chain, option, weight, wind, temperature, part, *, pressure=0.0):
        """Return the equilibrium of chains in states, side by side.

        Parameters
        ----------
        chain, option : ndarray of int, shape (problem,)
        weight, wind : ndarray, shape (problem,) or (problem, span)
            Load [N/m]; the wind is signed, positive to the right.
        temperature : ndarray, shape (problem,)
        part : law of arrays (problem,)
        pressure : array_like, shape (problem,)
            Of the wind on strings [Pa], signed likewise.

        Returns
        -------
        horizontal_tension : ndarray, shape (problem, span)
        start, end : ndarray, shape (problem, span, 3)
            In the frames of the spans [m].
        residual : ndarray, shape (problem,)
            Force left across a string [N].
        solution : Equilibrium
        """
        azimuth = self.chains.azimuth[chain]
        p, w = (v[:, None] if v.ndim == 1 else v for v in (wind, weight))
        load = np.stack([p * np.cos(azimuth), -p * np.sin(azimuth), np.broadcast_to(-w, azimuth.shape)], axis=-1)
        found = solve(self.supports(chain, pressure), self.unstressed[chain, option], load, temperature, part,
                      count=self.chains.count[chain])
        corner = self.chains.corner[chain, :-1]
        start = _turned(found.end[:, :-1], azimuth, corner, -1)
        end = _turned(found.end[:, 1:], azimuth, corner, -1)
        return found.horizontal_tension, start, end, found.residual_force, found


def _spread(law, shape):
    return type(law)(*(np.broadcast_to(field, shape) for field in law))


def _down(weight):
    return np.stack([np.zeros_like(weight), np.zeros_like(weight), -weight], axis=-1)[:, None]


def hang_by_ruling_span(frame, wires, spans, line_angle, strung, group, loads=None):
    """Return every wire with the tension of its section's ruling span.

    Strings are plumb in still air, also where the line turns; in wind they swing by the handbook's formula.

    Parameters
    ----------
    frame : SpanFrame
    wires : WireSpans
    spans : Spans
    line_angle : ndarray, shape (structure,)
        Turn of the line [deg], positive to the right.
    strung : Strung
    group : ndarray of int, shape (wire span,)
    loads : pair of ndarray, shape (wire span, option, case), optional
        Weight and wind of every wire [N/m], where ice is uneven. One that differs from its group's leaves all wires of
        the group without answer: one tension for all is no answer there.

    Returns
    -------
    Hung
    """
    H, weight, wind = (v[group] for v in (strung.horizontal_tension, strung.weight, strung.wind))
    if loads is not None:
        H = np.where(_uneven(loads[0] != weight, group), np.nan, H)
        weight, wind = loads
    both = (*H.shape, 2)
    tension, w = np.broadcast_to(H[..., None], both), np.broadcast_to(weight[..., None], both)
    p = wind[..., None] * SIDES
    angles = string_swing(tension, w, p, wires, spans, line_angle)
    start, end = hung_ends(frame, wires, *(np.where(p == 0, 0.0, angle) for angle in angles))
    residual = np.broadcast_to(strung.residual[group][..., None], both)
    return Hung(tension, start, end, residual, np.zeros(len(wires), bool), weight, wind)


def _uneven(differs, group):
    """True for the wire spans of groups, options and cases in which any load differs."""
    whole = np.zeros((group.max() + 1, *differs.shape[1:]), bool)
    np.logical_or.at(whole, group, differs)
    return whole[group]


def hang_exactly(model, hung, pressure=0.0):
    """Return the wires with every chain in equilibrium; those with an unknown hinge stay as they are in `hung`.

    Parameters
    ----------
    model : Model
    hung : Hung
        By the ruling span.
    pressure : array_like, shape (case,) or (group, option, case)
        Of the wind on strings [Pa].
    """
    chains, strung = model.chains, model.strung
    known = ~np.isnan(_hinges(chains)).any(axis=1)
    shape = strung.horizontal_tension.shape[1:]
    c, o, k, side = _problems(np.flatnonzero(known), strung, model.group, shape)
    g = model.group[c]
    part = take_law(strung.part, (g, o, k))
    at = chains.row[c], o[:, None], k[:, None]
    blows = np.broadcast_to(pressure, strung.wind.shape)[g, o, k] * SIDES[side]
    wind = hung.wind[at] * SIDES[side][:, None]
    H, start, end, residual, _ = model.solve(c, o, hung.weight[at], wind, strung.temperature[g, o, k], part,
                                             pressure=blows)
    return _filled(hung, chains, known, (c, o, k, side), H, start, end, residual)


def _hinges(chains):
    node = np.arange(chains.row.shape[1] + 1) <= chains.count[:, None]
    return np.where(node, chains.supports.hinge[..., 2], 0.0)


def _problems(chain, strung, group, shape):
    """Chain, option, case and side of every state to be solved: in still air one side is enough."""
    c, o, k, side = (v.ravel() for v in np.indices((len(chain), *shape, 2)))
    c = chain[c]
    g = group[c]
    wanted = (side == 0) | (strung.wind[g, o, k] > 0)
    wanted &= np.isfinite(strung.horizontal_tension[g, o, k])
    return c[wanted], o[wanted], k[wanted], side[wanted]


def _filled(hung, chains, known, at, H, start, end, residual):
    """The wires of the solved chains put in their places; what was not solved there is nan."""
    tension, first, last = (v.copy() for v in (hung.horizontal_tension, hung.start, hung.end))
    left = hung.residual.copy()
    rows = chains.row[known]
    rows = rows[rows >= 0]
    tension[rows] = np.nan
    c, o, k, side = at
    problem, place = np.nonzero(chains.row[c] >= 0)
    w = chains.row[c][problem, place]
    index = w, o[problem], k[problem], side[problem]
    still = hung.wind[w, o[problem], k[problem]] == 0
    mirror = tuple(v[still] for v in index[:3])
    for whole, some in ((tension, H[problem, place]), (first, start[problem, place]), (last, end[problem, place]),
                        (left, residual[problem])):
        whole[index] = some
        whole[(*mirror, 1)] = some[still]
    exact = hung.exact.copy()
    exact[rows] = True
    return Hung(tension, first, last, left, exact, hung.weight, hung.wind)
