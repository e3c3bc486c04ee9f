"""What hanging wires needs to know of a line: its wire runs, how they were strung, the wire each span keeps."""

from dataclasses import dataclass, replace

import numpy as np

from corridor.arrays import Array, ArrayLike, Booleans, Integers, Texts
from corridor.line.build import Spans, WireSpans
from corridor.line.elongation_laws import choose_law, reshape_law, take_law
from corridor.line.facts import Case, Option, Wiring
from corridor.line.section_wires import WireGroups, WireRuns, right_of, turned, wire_runs
from corridor.line.states import Strung
from corridor.line.swing import SpanFrame
from corridor.line.uneven import SpanLoads
from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.clipping import Clipped, clip_in
from corridor.mechanics.elongation import Law
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import HELD, Supports

__all__ = ["Law", "Model", "Seen", "clip_wires", "clipping_state", "model_of", "rest_frame"]


@dataclass(frozen=True)
class Seen:
    """The state in which wires were seen to hang: `temperature` (group, option) [°C], nan where they were not;
    `tension` H (run, span) [N], nan where it is that of the group; `slant` of the load
    (run, span), wind over weight [-], positive to the right."""

    temperature: Array
    tension: Array
    slant: Array


@dataclass(frozen=True)
class Model:
    """All that hanging wires needs, ready to be asked in any state; with changed facts by `dataclasses.replace`.

    `plumb` wires with their strings plumb; `runs` wires through whole sections; `group` (wire span,) of wires that
    share a ruling span; `strung` how these are strung; `ruling_span` (group,) [m]; `line_angle` (structure,) turn of
    the line [deg]. `loads` of every wire span, option and case [N/m]; `cases` (case,); `subconductors` (group, option)
    that share a string: each is hung alone, with its share of the string. `unstressed` (run, option, span)
    length of each span's wire without force [m], nan where a hinge or the stringing is unknown; `clipped` (run,
    option, ...) how wires hung when they were clipped in, `clipped_at` (group, option) at what temperature [°C]; None
    of the three where all are hung by the ruling span. Final wires of which it is not known what loads have come hang
    at that end of their history at which they are lower; or, where the model is `taut`, higher.
    """

    wires: WireSpans
    spans: Spans
    plumb: SpanFrame
    runs: WireRuns
    groups: WireGroups
    strung: Strung
    line_angle: Array
    loads: SpanLoads
    cases: tuple[Case, ...]
    subconductors: Integers
    unstressed: Array | None = None
    clipped: Clipped | None = None
    clipped_at: Array | None = None
    taut: bool = False
    seen: Seen | None = None

    @property
    def group(self) -> Integers:
        """Group of each wire run."""
        return self.groups.of_wire_span[self.runs.row[:, 0]]

    @property
    def exact(self) -> Booleans:
        """Whether each wire run is solved exactly: all of its hinges are known, and no ruling span is asked for."""
        node = np.arange(self.runs.row.shape[1] + 1) <= self.runs.count[:, None]
        unknown = np.isnan(np.where(node, np.asarray(self.runs.supports.hinge)[..., 2], 0.0)).sum(axis=1)
        return (unknown == 0) & (self.unstressed is not None)

    def place_of(self, wires: Integers) -> tuple[Integers, Integers]:
        """Return the wire run of wire spans, and the place of each in it."""
        row = self.runs.row
        run, place = np.nonzero(row >= 0)
        found = np.zeros((2, row.max() + 1), int)
        found[:, row[run, place]] = run, place
        return found[0, wires], found[1, wires]

    def right(self, run: Integers) -> Array:
        """Return unit vectors to the right of the line at the nodes of wire runs, (run, node, 3)."""
        return right_of(self.runs.azimuth[run])

    def structure_at(self, run: int, node: int) -> int:
        """Return the structure (index) at a node of a wire run."""
        row, last = self.runs.row[run], self.runs.count[run] - 1
        span = self.wires.span[row[min(node, last)]]
        return int((self.spans.head if node > last else self.spans.tail)[span])

    def plumb_height(self, run: int, node: int) -> float:
        """Return the elevation at which a plumb string of a wire run holds its wire [m]."""
        hinge, _, length, *_ = (np.asarray(field) for field in self.runs.supports)
        return float(hinge[run, node, 2] - length[run, node])

    def supports(self, run: Integers, option: Integers, pressure: ArrayLike = 0.0,
                 held: ArrayLike = False) -> Supports:
        """Return what holds wire runs in options, with a wind on strings [Pa], positive to the right; some strings held
        plumb."""
        share = 1 / self.subconductors[self.group[run], option][:, None]
        hinge, kind, length, weight, force, stiffness, across = (np.asarray(field)[run] for field in self.runs.supports)
        hinge[..., 2] -= np.where(held, length, 0.0)
        return Supports(hinge, np.where(held, HELD, kind), length, weight * share,
                        force * np.reshape(pressure, (-1, 1, 1)) * share[..., None], stiffness * share, across)


def clip_wires(model: Model, temperature: Array, law: Law) -> Model:
    """Return the model with the wire that every span keeps, clipped in bare and in still air with its strings plumb;
    or with which it balances as it was seen.

    Parameters
    ----------
    model : Model
    temperature : ndarray, shape (group, option)
        At which wires are clipped in [°C].
    law : law of arrays (group, option)
        What they obey then.
    """
    strung, g = model.strung, model.group
    options = strung.excess.shape[1]
    c, o = (v.ravel() for v in np.indices((len(g), options)))
    part = take_law(reshape_law(law, strung.excess.shape), (g[c], o))
    T, tension, slant = _clipping(model, temperature, law, c, o)
    load = _load(model, c, o, slant)
    clipped = clip_in(model.supports(c, o), tension, load, T, part, count=model.runs.count[c])
    if model.seen is not None:
        # Where they were seen wind may have blown; what lies below is looked up where they rest.
        seen = np.flatnonzero(np.isfinite(model.seen.temperature[g[c], o]))
        rest = solve(model.supports(c[seen], o[seen]), clipped.unstressed[seen],
                     _load(model, c, o, 0 * slant)[seen], temperature[g[c], o][seen], take_law(part, seen),
                     count=model.runs.count[c[seen]])
        for whole, some in ((clipped.end, rest.end), (clipped.lifted, rest.lifted), (clipped.left, rest.left)):
            whole[seen] = some
    clipped = Clipped._make(field.reshape(len(g), options, *field.shape[1:]) for field in clipped)
    return replace(model, unstressed=clipped.unstressed, clipped=clipped, clipped_at=temperature)


def _clipping(model: Model, temperature: Array, law: Law, c: Integers, o: Integers) -> tuple[Array, Array, Array]:
    """Temperature [°C], horizontal tension [N] and slant of the load of the spans of wire runs in options, in the
    state that tells how long their wires are: (pair,), and twice (pair, span)."""
    strung, g, seen = model.strung, model.group[c], model.seen
    if seen is not None:
        temperature = np.where(np.isnan(seen.temperature), temperature, seen.temperature)
    found = ruling.tension(strung.excess, model.groups.span[:, None], strung.bare_weight, temperature, law)
    H, slant = found.horizontal_tension[g, o][:, None], np.zeros(model.runs.row.shape)[c]
    if seen is not None:
        stood = np.isfinite(seen.temperature[g, o])[:, None]
        H = np.where(stood & np.isfinite(seen.tension[c]), seen.tension[c], H)
        slant = np.where(stood, seen.slant[c], 0.0)
    return temperature[g, o], np.broadcast_to(H, slant.shape), slant


def _load(model: Model, c: Integers, o: Integers, slant: Array) -> Array:
    """Load of the bare wires of runs in options [N/m], (pair, span, 3)."""
    w, azimuth = model.strung.bare_weight[model.group[c], o][:, None], model.runs.azimuth[c]
    return np.stack([w * slant * np.cos(azimuth), -w * slant * np.sin(azimuth), -w + 0 * slant], axis=-1)


def rest_frame(model: Model, option: int) -> SpanFrame:
    """Return the frame with wires where they hung when an option (index) was clipped in."""
    runs, frame = model.runs, model.plumb
    if model.clipped is None:
        return frame
    start, end = frame.start.copy(), frame.end.copy()
    for whole, nodes in ((start, model.clipped.end[:, option, :-1]), (end, model.clipped.end[:, option, 1:])):
        place = turned(nodes, runs.azimuth, runs.corner[:, :-1], -1)
        known = (runs.row >= 0) & np.isfinite(place).all(axis=-1)
        whole[runs.row[known]] = place[known]
    return replace(frame, start=start, end=end)


def clipping_state(strung: Strung, kind: Texts, options: tuple[Option, ...],
                   shield: Wiring | None) -> tuple[Array, Law]:
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
        [°C]
    law : law of arrays (group, option)
        A line that stands, and its shield wires: everyday, final. A new wire: the day it is strung, initial; one that
        was measured is final whatever the day.
    """
    stands = (np.array([option.existing for option in options]) | (kind == "shield")[:, None])
    everyday, stringing = np.full(stands.shape, np.nan), np.full(stands.shape, np.nan)
    for g, o in np.ndindex(*stands.shape):
        wiring = shield if kind[g] == "shield" else options[o].wiring
        if wiring is not None:
            everyday[g, o], stringing[g, o] = wiring.everyday_temperature, wiring.stringing_temperature
    laws = (reshape_law(law, stands.shape) for law in (strung.final, strung.initial))
    return np.where(stands, everyday, stringing), choose_law(stands, *laws)


def model_of(wires: WireSpans, spans: Spans, plumb: SpanFrame, groups: WireGroups, strung: Strung, line_angle: Array,
             loads: SpanLoads, cases: tuple[Case, ...], options: tuple[Option, ...]) -> Model:
    """Return the model of wires that are hung by their ruling span; `clip_wires` makes it exact.

    Parameters
    ----------
    wires : WireSpans
    spans : Spans
    plumb : SpanFrame
    groups : WireGroups
    strung : Strung
    line_angle : ndarray, shape (structure,)
        Turn of the line [deg], positive to the right.
    loads : SpanLoads
    cases : sequence of Case
    options : sequence of Option
    """
    several = np.array([option.wiring.bundle for option in options])
    return Model(wires, spans, plumb, wire_runs(plumb, wires, spans), groups, strung, line_angle, loads, cases,
                 np.where(groups.kind[:, None] == "phase", several, 1))
