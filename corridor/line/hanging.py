"""Where every wire hangs, in every option, case and blow of the wind: its tension and its two ends.

Two methods give the same thing. `equilibrium`, the default, solves each section exactly: every span keeps the wire
that it was clipped in with, and every string hangs where forces balance. `ruling_span` gives all spans of a section
the tension of one level span and swings strings by the handbook's formula; it stays beside the other as a diagnostic,
and stands in where the base of a structure is unknown.
"""

from dataclasses import dataclass, replace

import numpy as np

from corridor.geometry.distance import Ends
from corridor.line.chains import right_of, turned
from corridor.line.laws import choose_law, reshape_law, take_law
from corridor.line.swing import hung_ends, string_swing
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import HELD, Supports

__all__ = ["METHODS", "SIDES", "Hung", "Model", "clipping_state", "hang_by_ruling_span", "hang_exactly"]

#: Sides to which the wind blows, in the order of the axis `side`: right of the line, left of it.
SIDES = np.array([1.0, -1.0])

#: How wires may be hung, by the word of the study.
METHODS = ("equilibrium", "ruling_span")


@dataclass(frozen=True)
class Hung:
    """Wires where they hang. Axes (wire span, option, case, side); in still air both sides are the same.

    `horizontal_tension` [N] across the load, nan where there is no answer; `start`, `end` (..., 3) of the wire in the
    frame of its span [m]; `residual`, of force [N], or of strain by the ruling span; `exact` (wire span,) tells which
    method it is. `weight`, `wind` (wire span, option, case) load per length [N/m]. `lifted` (..., 2) True where wires
    have lifted the string at the start, at the end; `held` the wires of those chains as if their lifted strings were
    held plumb, nan elsewhere. Both None where none is lifted.
    """

    horizontal_tension: np.ndarray
    start: np.ndarray
    end: np.ndarray
    residual: np.ndarray
    exact: np.ndarray
    weight: np.ndarray
    wind: np.ndarray
    lifted: np.ndarray | None = None
    held: "Hung | None" = None

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


class Model:
    """Chains with the wire that each span keeps in every option, ready to be hung in any state.

    Parameters
    ----------
    chains : Chains
    strung : Strung
    group : ndarray of int, shape (wire span,)
        Group of wires whose ruling span strung each wire.
    ruling_spans : ndarray, shape (group,)
        [m]
    temperature : ndarray, shape (group, option)
        At which wires were clipped in, bare, with strings plumb [degC].
    law : law of arrays (group, option)
        What they obeyed then.

    Attributes
    ----------
    unstressed : ndarray, shape (chain, option, span)
        Length of each span's wire without force [m]; nan where a hinge or the stringing is unknown.
    clipped_end : ndarray, shape (chain, option, node, 3)
        Where wires were when they were clipped in [m].
    clipped_at : ndarray, shape (group, option)
        [degC]
    """

    def __init__(self, chains, strung, group, ruling_spans, temperature, law):
        self.chains, self.strung = chains, strung
        self.group = group[chains.row[:, 0]]
        self.clipped_at = temperature
        g, options = self.group, strung.excess.shape[1]
        H = ruling.tension(strung.excess, ruling_spans[:, None], strung.bare_weight, temperature, law)
        c, o = (v.ravel() for v in np.indices((len(g), options)))
        part = take_law(reshape_law(law, strung.excess.shape), (g[c], o))
        load = _down(strung.bare_weight[g[c], o])
        clipped = clip_in(self.supports(c), H.horizontal_tension[g[c], o], load, temperature[g[c], o], part,
                          count=chains.count[c])
        self.unstressed = clipped.unstressed.reshape(len(g), options, -1)
        self.clipped_end = clipped.end.reshape(len(g), options, -1, 3)

    def rest(self, frame, option):
        """Return the frame with wires where they hung when an option (index) was clipped in."""
        chains = self.chains
        start, end = frame.start.copy(), frame.end.copy()
        for whole, nodes in ((start, self.clipped_end[:, option, :-1]), (end, self.clipped_end[:, option, 1:])):
            place = turned(nodes, chains.azimuth, chains.corner[:, :-1], -1)
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
        return right_of(self.chains.azimuth[chain])

    def supports(self, chain, pressure=0.0, held=False):
        """Return what holds chains, with a wind on strings [Pa], positive to the right; some strings held plumb."""
        s = self.chains.supports
        blown = s.string_force[chain] * np.reshape(pressure, (-1, 1, 1))
        length, hinge = s.string_length[chain], s.hinge[chain].copy()
        hinge[..., 2] -= np.where(held, length, 0.0)
        return Supports(hinge, np.where(held, HELD, s.kind[chain]), length, s.string_weight[chain], blown,
                        s.stiffness[chain])

    def solve(self, chain, option, weight, wind, temperature, part, *, pressure=0.0, held=False):
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
        held : array_like of bool, shape (problem, node)
            Strings that are held plumb.

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
        found = solve(self.supports(chain, pressure, held), self.unstressed[chain, option], load, temperature, part,
                      count=self.chains.count[chain])
        corner = self.chains.corner[chain, :-1]
        start = turned(found.end[:, :-1], azimuth, corner, -1)
        end = turned(found.end[:, 1:], azimuth, corner, -1)
        return found.horizontal_tension, start, end, found.residual_force, found


def clipping_state(strung, kind, options, shield):
    """Return the state in which wires were clipped in with plumb strings, bare and in still air.

    Parameters
    ----------
    strung : Strung
    kind : ndarray of str, shape (group,)
        "phase" or "shield".
    options : sequence of Option
    shield : Wiring or None

    Returns
    -------
    temperature : ndarray, shape (group, option)
        [degC]
    law : law of arrays (group, option)
        A line that stands, and its shield wires: everyday, final. A new wire: the day it is strung, initial; one that
        was measured is final whatever the day.
    """
    stands = (np.array([option.existing for option in options]) | (kind == "shield")[:, None])
    nothing = np.full(stands.shape, np.nan)
    everyday, stringing = nothing, nothing.copy()
    for g, o in np.ndindex(*stands.shape):
        wiring = shield if kind[g] == "shield" else options[o].wiring
        if wiring is not None:
            everyday[g, o], stringing[g, o] = wiring.everyday_temperature, wiring.stringing_temperature
    laws = (reshape_law(law, stands.shape) for law in (strung.final, strung.initial))
    return np.where(stands, everyday, stringing), choose_law(stands, *laws)


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
    load = c, o, hung.weight[at], wind, strung.temperature[g, o, k], part
    *wires, found = model.solve(*load, pressure=blows)
    whole = _filled(hung, chains, known, (c, o, k, side), *wires)
    rows = np.flatnonzero(found.lifted.any(axis=1))
    if not len(rows):
        return whole
    some = *(column[rows] for column in load[:-1]), take_law(part, rows)
    *wires, _ = model.solve(*some, pressure=blows[rows], held=found.lifted[rows])
    at = tuple(index[rows] for index in (c, o, k, side))
    nothing = replace(whole, horizontal_tension=np.full_like(whole.horizontal_tension, np.nan))
    return replace(whole, held=_filled(nothing, chains, known, at, *wires),
                   lifted=_lifted(hung, chains, at, found.lifted[rows]))


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
    rows = chains.row[known]
    rows = rows[rows >= 0]
    tension = hung.horizontal_tension.copy()
    tension[rows] = np.nan
    columns = [tension, *(v.copy() for v in (hung.start, hung.end, hung.residual))]
    for whole, some in zip(columns, (H, start, end, np.broadcast_to(residual[:, None], H.shape)), strict=True):
        _put_back(whole, some, hung, chains, at)
    exact = hung.exact.copy()
    exact[rows] = True
    return Hung(*columns, exact, hung.weight, hung.wind)


def _put_back(whole, some, hung, chains, at):
    """Write (problem, span, ...) to the places of its wire spans, in still air on both sides."""
    c, o, k, side = at
    problem, place = np.nonzero(chains.row[c] >= 0)
    w = chains.row[c][problem, place]
    index = w, o[problem], k[problem], side[problem]
    values = some[problem, place]
    whole[index] = values
    still = hung.wind[index[:3]] == 0
    whole[(*(v[still] for v in index[:3]), 1)] = values[still]


def _lifted(hung, chains, at, lifted):
    """True for the strings at both ends of wires that are lifted, from those at the nodes of chains."""
    result = np.zeros((*hung.horizontal_tension.shape, 2), bool)
    _put_back(result, np.stack([lifted[:, :-1], lifted[:, 1:]], axis=-1), hung, chains, at)
    return result
