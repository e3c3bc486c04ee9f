"""Rows of pulls: tension, crossings, travellers and reels, for every option."""

from dataclasses import dataclass

import numpy as np
import shapely

from corridor.clearance.findings import against_of, obstacle_name, span_chords
from corridor.clearance.ground import unknown_share
from corridor.installation.pulling import beneath
from corridor.installation.reels import joints_of
from corridor.mechanics.supports import FREE

__all__ = ["PullRows", "pull_rows"]

#: Categories that need no guard: the wire must be clear of them, or they are in the way. All others are guarded.
_STANDING = ("tree", "building", "vegetation")
LINE = "line"


@dataclass(frozen=True)
class PullRows:
    """Rows of the layers `pulls`, `pulled_spans`, `pull_crossings`, `travellers` and `reels`, as dicts by layer."""

    pulls: list
    pulled_spans: list
    pull_crossings: list
    travellers: list
    reels: list


def pull_rows(around, wires, pulled, plan, rules, stringing, faulty=()):
    """Return the rows of a pull in every option of its scene.

    Parameters
    ----------
    around : Around
    wires : PulledWires
    pulled : Pull
    plan : Plan
    rules : WireRules
    stringing : Stringing
    faulty : sequence of Gap
        Obstacles near spans of the plan that cannot be assessed at all: each is told as if it were crossed.

    Returns
    -------
    PullRows
    """
    told = _Told(around, wires, pulled, plan, rules, stringing, faulty)
    spans, crossings = told.spans(), told.crossings()
    travellers, reels = told.travellers(), told.reels()
    return PullRows(told.pulls(spans, crossings, reels), spans, crossings, travellers, reels)


class _Told:
    """What the rows of one pull are made of."""

    def __init__(self, around, wires, pulled, plan, rules, stringing, faulty):
        self.faulty = [gap for gap in faulty if pulled.first <= gap.span <= pulled.last]
        self.around, self.wires, self.pulled, self.plan = around, wires, pulled, plan
        self.rules, self.stringing, self.scene, self.course = rules, stringing, around.scene, wires.course
        self.below = beneath(around, wires)
        self.names = [option.name for option in self.scene.options]
        self.first = int(np.flatnonzero(self.scene.spans.tail == self.course.structure[0])[0])
        self.chords = span_chords(self.scene.structures, plan.base_elevation, plan.spans)
        #: Maximum tension of any wire at both ends of each span between structures (option, span, 2) [N]. Here and in
        #: all that follows a wire without an answer leaves none: it may be the worst.
        self.tension = wires.moving.tension[:, :, 1:-1].max(axis=0)

    def key(self, option):
        return {"line": self.pulled.line, "pull": self.pulled.name, "option": self.names[option]}

    def spans(self):
        """Rows of `pulled_spans`."""
        rows, ground = [], self.below.ground
        height = np.full((len(self.course.structure) - 1, len(self.names)), np.nan)
        at = self.scene.wires.span[ground.wire] - self.first
        height[at, ground.option] = ground.actual
        holes = self._holes()
        for o in range(len(self.names)):
            for s, name in enumerate(self.plan.spans.name[self.pulled.first:self.pulled.last + 1]):
                low, note = height[s, o], None
                if low < 0:
                    note = "lies on the ground: hold it up"
                elif np.isnan(self.tension[o, s, 0]):
                    low, note = np.nan, "no tension that is allowed carries every wire"
                elif holes[s]:
                    low, note = np.nan, "the ground is not known below part of the span"
                rows.append(self.key(o) | {
                    "span": name, "tension_at_start_n": self.tension[o, s, 0],
                    "tension_at_end_n": self.tension[o, s, 1], "height_m": low, "note": note,
                    "sag_m": self.below.sag[s, o],
                    "geometry": self.chords[self.pulled.first + s]})
        return rows

    def _holes(self):
        """Whether the ground is not known below part of any wire of each span."""
        rows = self.around.below
        return ((unknown_share(rows) > 0) | (np.diff(rows.first) == 0))[self.course.row].any(axis=0)

    def crossings(self):
        """Rows of `pull_crossings`: what is crossed in plan, whether its height is known or not."""
        scene, below, rows = self.scene, self.below, []
        obstacles, wires = self.around.index.obstacles, scene.wires
        found = {(int(wires.span[w]), int(b), int(o)): i for i, (w, b, o) in enumerate(zip(
            below.objects.wire, below.objects.obstacle, below.objects.option, strict=True))}
        lost = self.around.crossed.unknown
        unknown = set(zip(wires.span[self.around.crossed.wire[lost]], self.around.crossed.obstacle[lost], strict=True))
        for s, b in below.crossed:
            against = str(against_of(np.array([b]), obstacles)[0])
            for o in range(len(self.names)):
                i = found.get((s, b, o))
                least = np.nan if i is None else float(below.objects.actual[i])
                if ((s, b) in unknown or np.isnan(self.tension[o, s - self.first, 0])) and not least < 0:
                    least = np.nan
                rows.append(self.key(o) | self._place(i, s, o) | {
                    "span": scene.spans.name[s], "against": against,
                    "obstacle": obstacle_name(np.array([b]), obstacles)[0],
                    "position": None if i is None else below.objects.position[i], "separation_m": least,
                    "state": _state(against, least), "voltage_kv": obstacles.voltage[b] / 1e3,
                    "note": _crossing_note(against, least)})
        for gap in self.faulty:
            for o in range(len(self.names)):
                rows.append(self.key(o) | {
                    "span": self.plan.spans.name[gap.span], "against": gap.against, "obstacle": gap.obstacle,
                    "separation_m": np.nan, "state": _state(gap.against, np.nan),
                    "note": f"not looked at, perhaps crossed: {gap.reason}",
                    **self._place(None, self.first + gap.span - self.pulled.first, o)})
        return rows

    def _place(self, i, s, o):
        """Wire, station and point of a row of objects; the middle of the span where there is none."""
        scene, objects = self.scene, self.below.objects
        plan = self.pulled.first + s - self.first
        station = self.plan.route.station
        if i is None:
            return {"wire": None, "station_m": np.nan,
                    "geometry": shapely.line_interpolate_point(self.chords[plan], 0.5, normalized=True)}
        w, f = objects.wire[i], objects.fraction[i]
        start, end = scene.wires.start[w, :2], scene.wires.end[w, :2]
        place = shapely.Point(*(start + f * (end - start)), objects.elevation[i])
        return {"wire": scene.wires.wire[w], "geometry": place,
                "station_m": station[self.plan.spans.tail[plan]] + f * self.plan.spans.length[plan]}

    def travellers(self):
        """Rows of `travellers`."""
        scene, course, rows = self.scene, self.course, []
        x, base, last = scene.structures, self.plan.base_elevation, len(course.structure) - 1
        turns = np.abs((np.degrees(np.diff(course.azimuth)) + 180) % 360 - 180)
        for o, option in enumerate(scene.options):
            wire = option.wiring.conductor
            least = self.rules.strictest(wire, "traveller diameter")[0]
            bend = self.rules.strictest(wire, "angle of one traveller")[0]
            several = scene.subconductors[course.row[0, 0], o]
            for k, s in enumerate(course.structure):
                node = k + 1
                moving, held = (np.asarray(force)[:, o, node] for force in (self.wires.force_moving,
                                                                           self.wires.force_held))
                turn = self.wires.turn[:, o, node].max()
                # Machines stand in line with the spans at the ends of a pull.
                aside = turns[k - 1] if 0 < k < last else 0.0
                load = np.linalg.norm(np.stack([moving, held]), axis=-1).max()
                down = bool(self.wires.moving.held_down[:, o, node].any())
                sums = [several * each.sum(axis=0) for each in (moving, held)]
                rows.append(self.key(o) | {
                    "structure": x.structure[s], "line_angle_deg": aside, "turn_deg": turn,
                    "traveller": "one" if aside <= bend else "two, or a larger one",
                    "minimum_diameter_m": least, "traveller_load_n": load,
                    **{f"{name}_{way}_n": total[i] for name, total in zip(("pulling", "snubbed"), sums, strict=True)
                       for i, way in ((2, "down"), (1, "right"), (0, "ahead"))},
                    "held_down": down, "note": "hold the traveller down" if down else self._string_note(k),
                    "geometry": shapely.Point(x.easting[s], x.northing[s], base[s])})
        return rows

    def _string_note(self, k):
        """What to know of the traveller's place."""
        kind = np.asarray(self.course.supports.kind)[:, k + 1]
        if self.stringing.traveller_drop is not None or (kind == FREE).all():
            return None
        return "depth of the traveller not given: the wire is taken to run at its hook"

    def reels(self):
        """Rows of `reels`; none where no length is given, or joints find no place."""
        length, rows = self.stringing.reel_length, []
        if length is None:
            return rows
        allowed, usable = self._joint_spans(), length / (1 + (self.stringing.waste or 0.0))
        order = slice(None, None, -1) if self.pulled.forward else slice(None)
        spans = self.plan.spans
        for o in range(len(self.names)):
            whole = self.wires.moving.unstressed[:, o, 1:-1].max(axis=0)
            if np.isnan(whole).any():
                continue
            joints = joints_of(whole[order], allowed[order], usable, distance=self.stringing.joint_distance or 0.0)
            if joints is None:
                continue
            left = whole.sum() - sum(joint.wire for joint in joints)
            for i, (wire, joint) in enumerate(zip([*(j.wire for j in joints), left], [*joints, None], strict=True)):
                span, along = None, np.nan
                if joint is not None:
                    k = len(whole) - 1 - joint.span if self.pulled.forward else joint.span
                    share = joint.along / whole[k]
                    span = spans.name[self.pulled.first + k]
                    along = spans.length[self.pulled.first + k] * (1 - share if self.pulled.forward else share)
                rows.append(self.key(o) | {"reel": i + 1, "reel_wire_m": wire * (1 + (self.stringing.waste or 0.0)),
                                           "joint_span": span, "joint_distance_m": along})
        return rows

    def _joint_spans(self):
        """Whether a joint may hang in each span: none does over what is crossed, or where the study says."""
        crossed = {self.scene.spans.name[s] for s, b in self.below.crossed
                   if not _stands(str(against_of(np.array([b]), self.around.index.obstacles)[0]))}
        taken = crossed | set(self.stringing.joint_free)
        names = self.plan.spans.name[self.pulled.first:self.pulled.last + 1]
        return np.array([name not in taken for name in names], bool)

    def pulls(self, spans, crossings, reels):
        """Rows of `pulls`."""
        course, scene, plan = self.course, self.scene, self.plan
        first, last = scene.structures.structure[course.structure[[0, -1]]]
        puller, tensioner = (last, first) if self.pulled.forward else (first, last)
        far = course.distance if self.pulled.forward else course.distance[::-1]
        chosen = slice(self.pulled.first, self.pulled.last + 1)
        length = float(plan.spans.length[chosen].sum())
        x, at = scene.structures, course.structure
        base = np.stack([x.easting[at], x.northing[at], plan.base_elevation[at]], axis=-1)
        line = shapely.linestrings(np.concatenate([course.machine[:1], base, course.machine[1:]]))
        moving, tensions = self.wires.moving, self.wires.tensions
        rows = []
        for o, option in enumerate(scene.options):
            wire = option.wiring.conductor
            each = moving.tension[:, o]
            T0, T1 = each[:, 0, 0].max(), each[:, -1, 1].max()
            start, end = (T0, T1) if self.pulled.forward else (T1, T0)
            greatest = each.max()
            hung = moving.unstressed[:, o, 1:-1].sum(axis=1)
            several = int(scene.subconductors[course.row[0, 0], o])
            own = [row for row in reels if row["option"] == self.names[o]]
            joints = ", ".join(row["joint_span"] for row in own if row["joint_span"])
            heights = [row["height_m"] for row in spans if row["option"] == self.names[o]]
            over = [row for row in crossings if row["option"] == self.names[o] and not _stands(row["against"])]
            rows.append(self.key(o) | {
                "length_m": length, "puller_at": puller, "tensioner_at": tensioner, "puller_distance_m": far[1],
                "tensioner_distance_m": far[0], "wires": several * len(course.wire),
                "travellers": int(self.wires.sheaves.sum()), "start_tension_n": start, "end_tension_n": end,
                "maximum_tension_n": greatest, "percent_rts": 100 * greatest / wire.rts,
                "allowed_tension_n": tensions.bound[o], "allowed_by": tensions.bound_by[o],
                "sagging_tension_n": tensions.sagging[o], "percent_of_sagging": 100 * greatest / tensions.sagging[o],
                "wire_length_m": hung.max(),
                "wire_needed_m": several * hung.sum() * (1 + (self.stringing.waste or 0.0)),
                "reels": len(own) or None, "joints": joints or None,
                "minimum_height_m": np.nan if np.isnan(heights).any() else min(heights), "crossings": len(over),
                "hours": pull_hours(self.stringing.crew, length, len(course.wire), len(course.structure)),
                "note": self._note(own), "geometry": line})
        return rows

    def _note(self, reels):
        words = [f"wires that do not run all through: {', '.join(self.course.lost)}"] * bool(self.course.lost)
        words += ["ground at a machine not known: taken as high as the structure"] * self.course.level
        if self.stringing.reel_length is not None and not reels:
            words.append("no place for joints: other reels, or another place for the machines")
        return "; ".join(words) or None


def pull_hours(crew, length, phases, structures):
    """Return the hours of a pull [h]: machines set up, every phase pulled, sagged, and clipped in or ended at each
    structure; nan where the study does not say how long that takes.

    Parameters
    ----------
    crew : corridor.study.stringing.Crew or None
    length : float
        [m]
    phases, structures : int
    """
    if crew is None:
        return np.nan
    each = length / crew.pull_speed + crew.sag_duration + structures * crew.clip_duration
    return (crew.setup_duration + phases * each) / 3600


def _stands(against):
    return against.startswith(_STANDING)


def _state(against, separation):
    if against == LINE:
        return "out"
    if _stands(against):
        return "clear" if separation > 0 else "in the way"
    return "guard"


def _crossing_note(against, separation):
    if np.isnan(separation):
        return "how far apart is not known"
    if separation <= 0 and not _stands(against):
        return "the wire comes down to it: hold it off"
    return None
