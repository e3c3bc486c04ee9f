"""What is pulled at a time, and the way of its wires: from machine to machine over the travellers of structures."""

from dataclasses import dataclass

import numpy as np

from corridor.arrays import Array, Integers
from corridor.assessment import Ground, Plan
from corridor.clearance.scene import Scene
from corridor.line.facts import Structures
from corridor.line.section_wires import WireRuns
from corridor.mechanics.supports import FREE, HELD, Supports
from corridor.study.stringing import Stringing, place_of_pull

__all__ = ["Course", "Pull", "course_of", "pulls_of"]


@dataclass(frozen=True)
class Pull:
    """A length of line over which wire is pulled at a time.

    `name` `<first>-<last>`; `first`, `last` span of the plan; `forward` whether the puller stands beyond the last
    structure, not before the first.
    """

    line: str
    name: str
    first: int
    last: int
    forward: bool


@dataclass(frozen=True)
class Course:
    """The way of the wires of a pull: a machine, the structures from first to last, a machine.

    `wire` (wire,) names; `row` (wire, span) wire spans of the scene; `structure` (node,) without the machines; `node`
    support of the structures, with the machines as first and last, (wire, node + 2); `azimuth` (span,) [rad] and
    `corner` (span + 1, 2) of the centres of structures in ground metres from the first; `distance`, `height` (2,) of
    machines from the structures beside them, and of these travellers over their base [m]; `machine` (2, 3) easting,
    northing, elevation; `level` whether the ground at
    a machine is not known, and taken to be that of the structure; `lost` names of wires that do not run all through.
    """

    wire: tuple[str, ...]
    row: Integers
    structure: Integers
    supports: Supports
    azimuth: Array
    corner: Array
    distance: Array
    height: Array
    machine: Array
    level: bool
    lost: tuple[str, ...]


def pulls_of(structures: Structures, plan: Plan, stringing: Stringing) -> list[Pull]:
    """Return what is pulled at a time all along: the pulls of the study, elsewhere each sag section for itself.

    Parameters
    ----------
    structures : Structures
    plan : Plan
    stringing : Stringing
    """
    spans, name = plan.spans, structures.structure
    starts = (structures.role != "suspension") | np.isin(name.astype(str), list(stringing.pull_ends))
    first = starts[spans.tail] | np.r_[True, spans.line[1:] != spans.line[:-1]]
    backward = np.zeros(len(spans), bool)
    for pull in stringing.pulls:
        a, b = place_of_pull(pull, structures)
        own = (spans.tail >= a) & (spans.head <= b)
        first[own] = spans.tail[own] == a
        backward[own] = pull.puller == "first"
        first[spans.tail == b] = True
    begin = np.flatnonzero(first)
    return [Pull(spans.line[a], f"{name[spans.tail[a]]}-{name[spans.head[b]]}", int(a), int(b), not backward[a])
            for a, b in zip(begin, np.r_[begin[1:], len(spans)] - 1, strict=True)]


def course_of(scene: Scene, pull: Pull, plan: Plan, ground: Ground, stringing: Stringing, heights: float) -> Course:
    """Return the way of the phase wires of a pull.

    Parameters
    ----------
    scene : Scene
        Of whole sections that hold the pull.
    pull : Pull
    plan : Plan
        Of the line.
    ground : Ground
    stringing : Stringing
    heights : float
        Distance of machines in heights of the traveller beside them, where the study says none.
    """
    structure = np.r_[plan.spans.tail[pull.first:pull.last + 1], plan.spans.head[pull.last]]
    first = int(np.flatnonzero(scene.spans.tail == structure[0])[0])
    span = first + np.arange(len(structure) - 1)
    wire, row, lost = _rows(scene, span)
    azimuth = np.radians(scene.spans.azimuth[span])
    forward = np.stack([np.sin(azimuth), np.cos(azimuth)], axis=-1)
    corner = np.r_[np.zeros((1, 2)), np.cumsum(scene.spans.length[span, None] * forward, axis=0)]
    hinge, kind, length, weight, across = _over_structures(scene, row, corner, stringing.traveller_drop or 0.0)
    base = plan.base_elevation[structure[[0, -1]]]
    with np.errstate(all="ignore"):
        height = np.max(hinge[:, [0, -1], 2] - base, axis=0, initial=-np.inf)
    distance = heights * height if stringing.setup_distance is None else np.full(2, stringing.setup_distance)
    places, level = _machines(scene, span, forward, base, distance, ground)
    outside = np.stack([hinge[:, 0], hinge[:, -1]])
    outside[..., :2] += (np.stack([-forward[0], forward[-1]]) * distance[:, None])[:, None]
    outside[..., 2] = places[:, None, 2]
    hinge = np.concatenate([outside[0][:, None], hinge, outside[1][:, None]], axis=1)
    kind, length, weight = (np.pad(v, ((0, 0), (1, 1)), constant_values=fill)
                            for v, fill in ((kind, HELD), (length, 0.0), (weight, 0.0)))
    across = np.pad(across, ((0, 0), (1, 1), (0, 0)))
    return Course(wire, row, structure, Supports(hinge, kind, length, weight, across=across), azimuth, corner, distance,
                  height, places, level, lost)


def _rows(scene: Scene, span: Integers) -> tuple[tuple[str, ...], Integers, tuple[str, ...]]:
    """Names of phase wires that run through all of some spans, their wire spans, and names of those that do not."""
    wires = scene.wires
    place = np.full(len(scene.spans), -1)
    place[span] = np.arange(len(span))
    own = np.flatnonzero((wires.kind == "phase") & (place[wires.span] >= 0))
    names = list(dict.fromkeys(wires.wire[own]))
    row = np.full((len(names), len(span)), -1)
    row[[names.index(name) for name in wires.wire[own]], place[wires.span[own]]] = own
    whole = (row >= 0).all(axis=1)
    return (tuple(np.array(names, object)[whole]), row[whole], tuple(np.array(names, object)[~whole]))


def _over_structures(scene: Scene, row: Integers, corner: Array, drop: float
                     ) -> tuple[Array, Integers, Array, Array, Array]:
    """Hinge of each traveller (wire, node, 3), its kind, the length of its string and the weight of that, and what
    V-strings hold it across.

    Within a section travellers hang on the strings; where a wire will end they hang where its string will hold on.
    """
    runs, model = scene.model.runs, scene.model
    run, place = (v.reshape(row.shape) for v in model.place_of(row.ravel()))
    count, nodes = row.shape[0], row.shape[1] + 1
    ahead, back = np.full((2, count, nodes, 3), np.nan)
    ahead[:, :-1] = _moved(runs, run, place, corner[:-1])
    back[:, 1:] = _moved(runs, run, place + 1, corner[1:])
    inner = np.zeros((count, nodes), bool)
    inner[:, 1:-1] = run[:, 1:] == run[:, :-1]
    with np.errstate(invalid="ignore"):
        hinge = np.where(np.isnan(ahead), back, np.where(np.isnan(back), ahead, (ahead + back) / 2))
    kind, length, weight = np.full((count, nodes), HELD), np.zeros((count, nodes)), np.zeros((count, nodes))
    s, across = runs.supports, np.zeros(hinge.shape)
    at, nodes = (run, place), (len(runs.row), runs.row.shape[1] + 1)
    across[:, :-1] = np.where(inner[:, :-1, None], np.asarray(s.across)[at], 0.0)
    for whole, column in ((kind, s.kind), (length, s.string_length), (weight, s.string_weight)):
        whole[:, :-1] = np.where(inner[:, :-1], np.broadcast_to(column, nodes)[at], whole[:, :-1])
    # A post carries its traveller on top.
    hung = kind == FREE
    kind[~hung] = HELD
    hinge[..., 2] -= np.where(hung, 0.0, drop)
    return hinge, kind, np.where(hung, length + drop, 0.0), np.where(hung, weight, 0.0), across


def _moved(runs: WireRuns, run: Integers, node: Integers, corner: Array) -> Array:
    """Hinges of wire runs at nodes (wire, node), about the centres of structures of the pull."""
    hinge = np.array(np.asarray(runs.supports.hinge)[run, node])
    hinge[..., :2] += corner - runs.corner[run, node]
    return hinge


def _machines(scene: Scene, span: Integers, forward: Array, base: Array, distance: Array, ground: Ground
              ) -> tuple[Array, bool]:
    """Where both machines stand (2, 3), and whether an elevation is taken for that of the structure beside it."""
    spans, x = scene.spans, scene.structures
    ends = np.array([spans.tail[span[0]], spans.head[span[-1]]])
    away = np.stack([-forward[0], forward[-1]]) * (distance / spans.ground_factor[span[[0, -1]]])[:, None]
    place = x.easting[ends] + away[:, 0], x.northing[ends] + away[:, 1]
    found = ground.sample(*place)
    return np.stack([*place, np.where(np.isnan(found), base, found)], axis=-1), bool(np.isnan(found).any())
