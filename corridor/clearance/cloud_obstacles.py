"""Surveyed points and cells of a surface as obstacles: of each span the clusters that are too near a wire, and the
nearest of all others.

From here on they go the way of every other obstacle. A cluster is one obstacle, whatever the number of its points.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import shapely

from corridor.clearance import rules as rule_tables
from corridor.clearance.cloud_curves import Curves, near_curves, span_curves
from corridor.clearance.cloud_screen import MEASURES, Needs, beside_path, likely, screen, slack_of
from corridor.clearance.clouds import HOLE, NO_CLASS
from corridor.clearance.crossings import ObstacleIndex, index_obstacles, with_rows
from corridor.clearance.not_assessed import Gap
from corridor.clearance.own_points import along_own_wires, on_own_wires
from corridor.clearance.study_lines import Partners
from corridor.line.swing import from_grid

__all__ = ["Met", "count_points", "meet_clouds"]

#: The measures that rules are for.
RULED = ("radial", "vertical", "horizontal")
#: Turns between the swings to both sides at which points are looked at, and once more where many are as near.
_TURNS, _FINE = 33, 257
#: A radius beyond which nothing is [m].
_EVERYWHERE = 1e6
#: What curves may be off by where it is asked whether a wire is above a point [m].
_SIDE = 0.02


class _Thing(NamedTuple):
    """One obstacle made of points: its span, name, category, places (point, 3) on the grid [m], radius [m], voltage
    [V], how many are too near by option, case and measure (None: none is), and the places of all its points."""

    span: int
    name: str
    category: str
    place: np.ndarray
    radius: float
    voltage: float
    count: np.ndarray | None
    whole: np.ndarray


@dataclass(frozen=True)
class Met:
    """What the clouds come to in some spans.

    `index` holds the obstacles of before and those of the clouds after them, and `partners` whom they are for; `things`
    they are made of, `gaps`, and `rows` of the layer `point_clouds`.
    """

    index: ObstacleIndex
    partners: Partners
    things: tuple
    gaps: tuple
    rows: tuple

    @property
    def columns(self):
        """Rows of the layer `point_clouds`, as columns."""
        names = self.rows[0] if self.rows else {}
        return {name: np.array([row[name] for row in self.rows], None if isinstance(value, int) else object)
                for name, value in names.items()}


class _Sorted(NamedTuple):
    """Points of one span and cloud by what they are taken for: indices by group, of the unknown and our own, and
    counts."""

    groups: dict
    unknown: np.ndarray
    own: np.ndarray
    counts: dict


def meet_clouds(scene, index, partners, clouds, reference):
    """Return the obstacles that point clouds come to for the spans of a scene.

    Parameters
    ----------
    scene : Scene
    index : ObstacleIndex
        Of all other obstacles.
    partners : Partners
        Whom those are for.
    clouds : sequence of Cloud
    reference : int
        Index of the option that hangs today.

    Returns
    -------
    Met
    """
    if not clouds:
        return Met(index, partners, (), (), ())
    things, gaps, rows = [], [], []
    for span in range(len(scene.spans)):
        for cloud in clouds:
            found = _meet(scene, span, cloud, reference)
            things += found[0]
            gaps += found[1]
            rows.append(found[2])
    if things:
        index = index_obstacles(with_rows(index.obstacles, _rows(things)))
        home = np.array([thing.span for thing in things])
        partners = replace(partners, home=np.r_[partners.home, home], known_to=_known_to(scene, home))
    return Met(index, partners, tuple(things), tuple(gaps), tuple(rows))


def _known_to(scene, home):
    """The temperature of the hottest case of every span and option, inf where no points are (span, option) [°C]."""
    hottest = np.full((len(scene.spans), len(scene.options)), -np.inf)
    hangs = np.isfinite(scene.hung.horizontal_tension).all(axis=-1) & (scene.wires.kind == "phase")[:, None, None]
    np.maximum.at(hottest, scene.wires.span, np.where(hangs, scene.temperature, -np.inf).max(axis=2))
    return np.where(np.isin(np.arange(len(hottest)), home)[:, None], hottest, np.inf)


def _meet(scene, span, cloud, reference):
    """Obstacles, gaps and the row of counts of one span and cloud."""
    spans, structures = scene.spans, scene.structures
    ends = np.array([[structures.easting[s], structures.northing[s]] for s in (spans.tail[span], spans.head[span])])
    place, class_ = cloud.within([shapely.linestrings(ends)], cloud.reach)
    hole, place, class_ = place[class_ == HOLE], place[class_ != HOLE], class_[class_ != HOLE]
    looked = len(place) or len(hole)
    curves = {k: span_curves(scene, span, k, _TURNS) for k in range(len(scene.cases))} if looked else {}
    curves = {k: c for k, c in curves.items() if np.isfinite(c.first).any()}
    name = {"line": spans.line[span], "span": spans.name[span], "cloud": cloud.name, "points": len(place)}
    if not curves:
        return [], [], name | dict.fromkeys(("compared", "own_points", "own_near", "passed", "unknown", "too_near"), 0)
    passed = np.isin(class_, cloud.passed)
    place, class_ = place[~passed], class_[~passed]
    spot, hole = (from_grid(each, scene.structures, scene.spans, np.full(len(each), span)) for each in (place, hole))
    found = _sorted(scene, cloud, span, curves, reference, spot, class_)

    def finer(case):
        return span_curves(scene, span, case, _FINE)

    things, gaps = [], _beyond(scene, cloud, span, curves)
    for group in cloud.groups:
        mine = found.groups[group.name]
        things += _things(scene, cloud, group, span, curves, finer, reference, spot[mine], place[mine])
    gaps += _unknown(scene, cloud, span, curves, spot[found.unknown], class_[found.unknown])
    gaps += _holes(scene, cloud, span, curves, hole)
    own = _within_strictest(scene, cloud, curves, spot[found.own])[1].any(axis=0).sum()
    near = sum(int(t.count.max(axis=(0, 1, 2), initial=0)) for t in things if t.count is not None)
    return things, gaps, name | found.counts | {"own_near": int(own), "passed": int(passed.sum()), "too_near": near}


def _sorted(scene, cloud, span, curves, reference, spot, class_):
    wire = np.isin(class_, cloud.wire_classes) | cloud.cells
    support = np.isin(class_, cloud.structure_classes) | cloud.cells
    length = scene.spans.length[span]
    by_end = np.minimum(np.hypot(spot[:, 0], spot[:, 1]), np.hypot(spot[:, 0] - length, spot[:, 1]))
    own = (wire | support) & (by_end <= cloud.structure_distance)
    at = np.flatnonzero(wire & ~own)
    if cloud.cells:
        own[at] = along_own_wires(curves, reference, spot[at], cloud.wire_distance, cloud.groups[0].radius, length)
    else:
        own[at] = on_own_wires(curves, reference, spot[at], cloud.wire_distance)
        # Wires of ours beyond the ends of the span are those of its neighbours.
        own |= wire & ((spot[:, 0] < 0) | (spot[:, 0] > length))
    groups = {g.name: np.flatnonzero(np.isin(class_, g.classes) & ~own) for g in cloud.groups}
    known = own.copy()
    for rows in groups.values():
        known[rows] = True
    counts = {"compared": sum(len(rows) for rows in groups.values()), "own_points": int(own.sum()),
              "unknown": int((~known).sum())}
    return _Sorted(groups, np.flatnonzero(~known), np.flatnonzero(own), counts)


def _needs(scene, category, top, other_voltage):
    """What the rules require against a category in every case, at the altitude of its highest point."""
    found = {measure: np.full(len(scene.cases), np.nan) for measure in MEASURES}
    room, corner = 0.0, np.zeros(len(scene.cases), bool)
    for k, case in enumerate(scene.cases):
        for measure in RULED:
            rule, required = _required(scene, category, measure, case, top, other_voltage)
            asked = measure in case.checks or measure == "radial" and {"vertical", "horizontal"} & {*case.checks}
            known = rule >= 0 or rule == rule_tables.ELECTRICAL and measure == "radial"
            # A rule without an answer, as above its altitude, has points compared all the same, and told of.
            found[measure][k] = (0.0 if np.isnan(required) else required) if asked and known else np.nan
            room = np.fmax(room, required) if measure == "vertical" else room
            corner[k] |= measure == "horizontal" and rule >= 0 and scene.rules.shape[rule] == "corner"
    found["round"] = np.where(corner, np.maximum(found["horizontal"], room), np.nan)
    # Curves are those of the middles of bundles; at a corner these reach down and aside at once.
    wide = float(scene.reach.around.max(initial=0.0))
    found = {measure: need + (2 * wide if measure == "round" else wide) for measure, need in found.items()}
    return Needs(**found, room=float(room) + wide)


def _required(scene, category, measure, case, top, other_voltage):
    """The row of the rule for a category in a case, and what it requires [m]."""
    rule, terms = rule_tables.required(scene.rules, category, measure, case.name, scene.voltage / 1e3, top,
                                       swung=case.wind > 0, other_kv=other_voltage / 1e3)
    return int(rule), float(terms.required)


def _things(scene, cloud, group, span, curves, finer, reference, spot, place):
    """Obstacles of one group in one span."""
    if not len(spot):
        return []
    is_line = group.category == "line"
    other = (np.nan if cloud.wire_voltage is None else cloud.wire_voltage) if is_line else scene.voltage
    needs = _needs(scene, group.category, float(spot[:, 2].max()), other)
    keep = likely(curves, spot, group.radius, needs, is_line)
    spot, place = spot[keep], place[keep]
    side = None
    if is_line:
        side, moved = _sides(curves, reference, spot, group.radius, cloud.wire_movement)
        spot, place = (np.column_stack([xyz[:, :2], xyz[:, 2] + moved]) for xyz in (spot, place))
    found = screen(curves, finer, spot, group.radius, needs, cloud.cluster_distance, side)
    voltage = other if is_line else np.nan
    things = []
    for label in range(-1, len(found.count)):
        rows = np.flatnonzero((found.cluster == label) & found.chosen)
        if len(rows):
            mine = "" if label < 0 else f" {scene.spans.name[span]} {_corner(place[found.cluster == label], cloud)}"
            things.append(_Thing(span, f"{cloud.name}:{group.name}{mine}", group.category, place[rows], group.radius,
                                 voltage, None if label < 0 else found.count[label], place[found.cluster == label]))
    return things


def _corner(place, cloud):
    """Where a cluster begins, easting and northing of the westernmost of its points, the southernmost of several: a
    name that stays when others come or go, to as many digits as keep clusters apart."""
    digits = 0 if cloud.cluster_distance > np.sqrt(2) else 2
    scale = 10.0**digits
    e, n = np.floor(place[np.lexsort((place[:, 1], place[:, 0]))[0], :2] * scale) / scale
    return f"{e:.{digits}f} {n:.{digits}f}"


def _sides(curves, reference, spot, radius, movement):
    """-1 where even the highest of our wires of today in still air is below a point, shape (wire, 1, 1, point), and by
    how much to move wires of others (point,) [m]: never so far that they change sides, which would be a pass."""
    highest = np.full((len(next(iter(curves.values())).first), len(spot)), -np.inf)
    for c in (c for c in curves.values() if c.first.shape[2] == 1):
        for wire, row in enumerate(highest):
            one = Curves(*(f[wire:wire + 1, reference:reference + 1] for f in c))
            above = near_curves(one, spot, _EVERYWHERE, np.inf).vertical[0]
            np.maximum(row, np.where(np.isfinite(above), above, -np.inf), out=row)
    # Over the disc of a point a wire may rise or fall by so much.
    slack = _SIDE + radius / 2
    up = highest >= 0
    room = np.where(up, highest, np.inf).min(axis=0), -highest.max(axis=0)
    lift, drop = (np.clip(each - slack, 0, movement) for each in room)
    side = np.where(up | ~np.isfinite(highest), 1.0, -1.0)
    return side[:, None, None], np.where(up.any(axis=0), lift, -drop)


def _strictest(scene, cloud, curves, top):
    """The most that a rule for any group asks for up to an altitude, by case [m]."""
    needs = [_needs(scene, group.category, top, np.nan if group.category == "line" else scene.voltage)
             for group in cloud.groups]
    return {k: max((n._replace(**{m: getattr(n, m)[k:k + 1] for m in MEASURES}).most for n in needs), default=0.0)
            for k in curves}


def _within_strictest(scene, cloud, curves, spot):
    """Indices of points that may be nearer to a wire than the strictest rule of any group allows, whether they are by
    option (option, some), and how near they are at least (option, some) [m]."""
    if not len(spot):
        return np.zeros(0, int), *np.zeros((2, len(scene.options), 0), bool)
    most = _strictest(scene, cloud, curves, float(spot[:, 2].max()))
    radius = max((group.radius for group in cloud.groups), default=0.0)
    strictest = np.full(len(scene.cases), max(most.values(), default=0.0))
    keep = likely(curves, spot, radius, Needs(strictest, *np.full((3, len(strictest)), np.nan), 0.0), False)
    near = {k: near_curves(c, spot[keep], radius, 0.0).radial for k, c in curves.items()}
    short = np.logical_or.reduce([near[k] - slack_of(c, radius) < most[k] for k, c in curves.items()])
    return keep, short, np.minimum.reduce([near[k] - c.step for k, c in curves.items()])


def _unknown(scene, cloud, span, curves, spot, class_):
    """Gaps for points of no known class that are nearer to a wire than the strictest rule of any group allows."""
    if not len(spot) or not cloud.strict:
        return []
    keep, short, least = _within_strictest(scene, cloud, curves, spot)
    gaps = []
    for o in np.flatnonzero(short.any(axis=1)):
        classes = ", ".join("none" if c == NO_CLASS else str(c) for c in np.unique(class_[keep][short[o]]))
        gaps.append(Gap(span, None, scene.options[o].name, None, "unknown", f"{cloud.name}:unknown", (
            f"{short[o].sum()} {cloud.noun} of class {classes}, which the study does not know, are nearer to a "
            f"wire than the strictest rule of any group allows, the nearest within {max(least[o].min(), 0.0):.1f} m")))
    return gaps


def _holes(scene, cloud, span, curves, hole):
    """A gap where a surface is not known so near to the path of a wire that what may be there counts."""
    if not len(hole):
        return []
    top = float(max(np.nanmax(c.up) for c in curves.values()))
    most = max(_strictest(scene, cloud, curves, top).values(), default=0.0)
    beside, off = beside_path(curves, hole, cloud.groups[0].radius)
    count = int((np.hypot(beside, off) <= most).sum())
    return [Gap(span, None, None, None, cloud.name, cloud.name, (
        f"the surface has no values in {count} cells below wires or within {most:.1f} m beside their path: what may "
        "stand there is not known"))] if count else []


def _beyond(scene, cloud, span, curves):
    """A gap where wires are blown so far that points which matter may not have been kept."""
    far = max(float(np.nanmax(np.abs(c.right), initial=0.0)) for c in curves.values())
    room = max((_needs(scene, g.category, 0.0, scene.voltage).most for g in cloud.groups), default=0.0)
    if far + room <= cloud.reach:
        return []
    key = "terrain.surface_reach" if cloud.cells else "point_clouds.reach"
    return [Gap(span, None, None, None, "unknown", cloud.name, f"wires are blown out by {far:.0f} m, and {cloud.noun} "
                f"farther than {cloud.reach:g} m from the line were not read: give a greater {key}")]


def _rows(things):
    """Obstacles as dicts of their columns."""
    return [{"layer": t.name.partition(":")[0], "obstacle": t.name, "category": t.category,
             "geometry": shapely.multipoints(t.place), "absolute": True, "voltage": t.voltage, "radius": t.radius}
            for t in things]


def count_points(met, checked):
    """Return how many surveyed points are nearer than required, for rows that were compared; 0 for all else."""
    count = np.zeros(len(checked.wire), int)
    before = len(met.partners.home) - len(met.things)
    for row in np.flatnonzero(checked.obstacle >= before):
        counted = met.things[checked.obstacle[row] - before].count
        if counted is not None:
            corner = checked.position[row] == "corner"
            measure = MEASURES.index("round" if corner else checked.measure[row])
            count[row] = counted[checked.option[row], checked.case[row], measure]
    return count
