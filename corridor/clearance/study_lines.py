"""Wires of the other lines of a study: to a line they are what the wires of any other line are, in all their states."""

from dataclasses import dataclass, replace

import numpy as np
import shapely

from corridor.clearance.crossings import ObstacleIndex, index_obstacles, with_rows
from corridor.clearance.not_assessed import Gap
from corridor.geometry.distance import heights
from corridor.line.facts import Case, OtherState
from corridor.line.swing import to_grid

__all__ = ["Beside", "Partners", "beside_lines", "near_spans"]

#: Spans of different lines this far from each other, and as far again as their crossarms reach, are compared [m].
REACH = 60.0
#: Structures of two lines no farther from each other than this are one [m].
_ONE_PLACE = 1.0
#: Places of a wire at which its elevation is kept.
_PLACES = 17
#: The state without load that every wire of another line is looked at in, beside the cases; no case has this name.
_BARE = "\0unloaded"


@dataclass(frozen=True)
class Partners:
    """What each span is compared with.

    `home` (obstacle,) the span that an obstacle made of surveyed points belongs to, -1 for all others; obstacles from
    number `first` on are wires of other lines of the study: `spans` (span, wire) and `options` (wire, option) tell for
    which spans and options of ours they are. To hotter wires than `known_to`
    (span, option) [°C] other surveyed points may be nearer than those that were kept; inf, None: there are none.
    """

    home: np.ndarray
    first: int
    spans: np.ndarray
    options: np.ndarray
    known_to: np.ndarray | None = None

    def meet(self, span, obstacle, option=None):
        """True for rows that are compared; `span`, `obstacle` and `option` are their numbers, of one shape."""
        obstacle = np.asarray(obstacle)
        own = np.r_[self.home, -1][np.where(obstacle >= 0, obstacle, len(self.home))]
        met = (own < 0) | (own == span)
        count = self.spans.shape[1]
        if not count:
            return met
        wire = obstacle - self.first
        among, wire = (wire >= 0) & (wire < count), np.clip(wire, 0, count - 1)
        met &= ~among | self.spans[span, wire]
        return met if option is None else met & (~among | self.options[wire, option])


@dataclass(frozen=True)
class Beside:
    """The obstacles of some spans with the wires of other lines of the study after them, and for whom these are;
    `gaps` for what of them is not known."""

    index: ObstacleIndex
    partners: Partners
    gaps: tuple[Gap, ...]


def near_spans(structures, spans, framings, first, last):
    """Return pairs of spans of different lines that are near each other.

    Parameters
    ----------
    structures : Structures
    spans : Spans
        Of all lines.
    framings : Framings
    first, last : int
        Spans of which the partners are looked for, `last` included.

    Returns
    -------
    ndarray of int, shape (pair, 2)
        One of those spans, and one of another line.
    """
    if not len(spans) or (spans.line == spans.line[0]).all():
        return np.zeros((0, 2), int)
    reach = REACH + 2 * np.abs(framings.offset).max(initial=0.0)
    place, mine = np.stack([structures.easting, structures.northing], axis=-1), slice(first, last + 1)
    low, high = (side(place[spans.tail], place[spans.head]) for side in (np.minimum, np.maximum))
    about = ((low <= high[mine].max(axis=0) + reach) & (high >= low[mine].min(axis=0) - reach)).all(axis=1)
    about[mine] |= True
    about = np.flatnonzero(about)
    own, other = shapely.STRtree(structures.lines(spans.tail[about], spans.head[about])).query(
        structures.lines(spans.tail[mine], spans.head[mine]), "dwithin", reach)
    pairs = np.stack([own + first, about[other]], axis=1)
    pairs = pairs[spans.line[pairs[:, 0]] != spans.line[pairs[:, 1]]]
    return pairs[np.lexsort(pairs.T[::-1])]


def beside_lines(facts, plan, index, first, last, make_scene):
    """Return the wires of other lines of the study near some spans, as obstacles.

    Each wire stands there as every option would hang it: an option of ours is compared with the other line in the same
    option, and in that of today. Of all cases in still air with whole wires, and without load at the everyday
    temperature, and at both ends of its history, theirs counts at its highest where ours pass above, and at its lowest
    where ours pass below.

    Parameters
    ----------
    facts : Facts
    plan : Plan
    index : ObstacleIndex
    first, last : int
        Spans of the plan, `last` included.
    make_scene : callable
        `make_scene(facts, first, last)` gives the Scene of other spans, which are whole sections, None without wires.
    """
    spans, home = plan.spans, np.full(len(index.obstacles), -1)
    count, options = last + 1 - first, len(facts.options)
    nothing = Partners(home, len(home), np.zeros((count, 0), bool), np.zeros((0, options), bool))
    pairs = near_spans(facts.structures, spans, facts.framings, first, last)
    if not len(pairs):
        return Beside(index, nothing, ())
    apart = ~_joined(facts.structures, spans, pairs)
    gaps = [_joined_gap(facts.structures, spans, pair, first) for pair in pairs[~apart]]
    pairs = pairs[apart]
    if not len(pairs):
        return Beside(index, nothing, tuple(gaps))
    rows, unknown = [], {}
    for low, high in _runs(plan.sections, np.unique(spans.section[pairs[:, 1]])):
        scene = make_scene(replace(facts, cases=_cases(facts)), low, high)
        if scene is None:
            continue
        wanted = np.isin(np.arange(low, high + 1), pairs[:, 1])
        for row in _wires(facts, scene, wanted, len(facts.cases)):
            where = row.pop("span") + low
            if row["states"] is None:
                unknown.setdefault(where, row["obstacle"])
            else:
                rows.append((where, row))
    gaps += [_unknown_gap(own - first, unknown[other]) for own, other in pairs if other in unknown]
    if not rows:
        return Beside(index, nothing, tuple(gaps))
    met = np.zeros((count, len(spans)), bool)
    met[pairs[:, 0] - first, pairs[:, 1]] = True
    hung = np.array([row.pop("options") for _, row in rows])
    partners = Partners(np.full(len(home) + len(rows), -1), len(home), met[:, [where for where, _ in rows]], hung)
    return Beside(index_obstacles(with_rows(index.obstacles, [row for _, row in rows])), partners, tuple(gaps))


def _joined(structures, spans, pairs):
    """True for pairs of spans that end at one structure."""
    e, n = structures.easting, structures.northing
    joined = np.zeros(len(pairs), bool)
    for a in (spans.tail, spans.head):
        for b in (spans.tail, spans.head):
            i, j = a[pairs[:, 0]], b[pairs[:, 1]]
            joined |= np.hypot(e[i] - e[j], n[i] - n[j]) <= _ONE_PLACE
    return joined


def _joined_gap(structures, spans, pair, first):
    own, other = pair
    return Gap(int(own - first), None, None, None, "line", f"{spans.line[other]} {spans.name[other]}",
               f"both spans end at one structure: what wires of lines {spans.line[own]} and {spans.line[other]} clear "
               "of each other there depends on how they are joined, which the study does not tell")


def _unknown_gap(span, name):
    return Gap(int(span), None, None, None, "line", name, "the other line's wires hang nowhere in any of their cases")


def _runs(sections, wanted):
    """First and last span of runs of neighbouring sections of one line."""
    ends = np.flatnonzero((np.diff(wanted) > 1) | (sections.line[wanted[1:]] != sections.line[wanted[:-1]])) + 1
    return [(int(sections.first[run[0]]), int(sections.last[run[-1]])) for run in np.split(wanted, ends)]


def _cases(facts):
    everyday = facts.options[facts.reference].wiring.everyday_temperature
    return (*facts.cases, Case(_BARE, everyday))


def _wires(facts, scene, wanted, cases):
    """Columns of wires of some spans of a scene, one for each option, as dicts; `states` None where one hangs nowhere.
    """
    # What a broken wire of theirs comes to is asked where they are looked at.
    still = np.array([k for k, case in enumerate(scene.cases) if case.wind == 0 and case.broken is None])
    wires, spans = scene.wires, scene.spans
    own = np.flatnonzero(wanted[wires.span])
    start, end = (np.concatenate([to_grid(point[own][:, :, still, 0], scene.structures, spans, wires.span[own])
                                  for point in points], axis=2)
                  for points in zip(*((each.hung.start, each.hung.end) for each in scene.both_ends), strict=True))
    C = np.concatenate([each.constant[own][:, :, still] for each in scene.both_ends], axis=2)
    several = len(scene.options) > 1
    for i, w in enumerate(own):
        s = wires.span[w]
        for o, option in enumerate(scene.options):
            known = np.isfinite(C[i, o])
            name = f"{spans.line[s]} {spans.name[s]} {wires.wire[w]}" + (f" ({option.name})" if several else "")
            row = {"span": s, "obstacle": name, "category": "line", "absolute": True, "voltage": facts.voltage}
            if not known.any():
                if wires.kind[w] != "shield" or facts.shield is not None:
                    yield row | {"states": None}
                continue
            state = _state(start[i, o][known], end[i, o][known], C[i, o][known], spans.ground_factor[s], cases,
                           f"{option.name}, " if several else "", float(scene.reach.around[w, o, still].max()))
            mates = np.array([own_option is option or option.existing for own_option in scene.options])
            yield row | {"states": state, "geometry": _highest(state), "options": mates}


def _state(start, end, constant, factor, cases, words, around):
    length = np.hypot(*(end - start)[:, :2].T) * factor
    every = (np.arange(len(constant)),) * cases
    wide = f", {around:g} m about the middle of its bundle" if around else ""
    low, high = (f"{words}{which} of its own cases in still air{wide}" for which in ("lowest", "highest"))
    return OtherState(start, end, length, constant, every, every, (high,) * cases, (low,) * cases, around)


def _highest(state):
    """A wire as a line, at its highest."""
    share = np.linspace(0, 1, _PLACES)
    z = heights(share, state.length[:, None], state.start[:, 2:], (state.end - state.start)[:, 2:],
                state.constant[:, None]).max(axis=0) + state.movement
    start, end = state.start.mean(axis=0), state.end.mean(axis=0)
    return shapely.linestrings(np.column_stack([start[:2] + share[:, None] * (end - start)[:2], z]))
