"""The truth about a random line, by brute force: what its wires come near, found by looking everywhere.

Of the package it takes where a section hangs at a share of its swing (`_hung`, one call), and what its inputs read of
another line's wires. All else is written again, plainly: the catenary, the places on the grid, the bilinear ground, the
distances, the rules. Every wire is hung at `SWINGS` exact states from full left to full right, and goes between them by
a cubic spline; `places` of it along. The lowest of these samples are looked at again in ever narrower windows. Any
sample is a place where the wire can be: the truth is never above what is found, and findings must not be.
"""

import csv
import itertools
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np
import shapely
from scipy.interpolate import CubicSpline
from scipy.optimize import minimize
from scipy.spatial import cKDTree

from corridor.assessment import make_scene
from corridor.clearance.rule_files import FOLDER, TABLES
from corridor.line.elongation_laws import choose_law, reshape_law, take_law
from corridor.line.hang import case_states, hang
from tests.random_lines import RULES

__all__ = ["Brute", "Least", "brute_force", "requirement"]

#: Exact states from full left to full right; places along a wire in the first look, and in still air.
SWINGS = np.linspace(-1, 1, 81)
SHARES, STILL = np.linspace(0, 1, 401), np.linspace(0, 1, 8001)
#: Samples that are looked at again, how often, and in how many swings and places each time.
WAYS, LOOKS, FEW, NARROW = 16, 12, (9, 17), 0.45
#: What stands farther from the chord of a span than this is not looked at [m].
REACH = 60.0
#: Highest voltage of the line [kV].
VOLTAGE = 123.0
#: Ground beside wires is sampled at this share of a cell, and no finer than a half metre, nor farther than this [m].
GROUND_STEP, GROUND_REACH = 0.25, 40.0


class Least(NamedTuple):
    """The least that was found: `actual` [m], what it is of, the wire, its place, and the elevation of the thing."""

    actual: float
    required: float
    wire: str
    swing: float
    place: tuple
    other: float


# The wires


def _hung(model, wire, option, case, swing):
    """The one call: ends in the frame of the span [m], catenary constant [m] and load [N/m] of wires at shares of
    their swing, row by row."""
    hung = hang(model, case_states(model, wire, option, case, swing))
    return hung.start, hung.end, hung.constant, hung.vectors


def _histories(model):
    """The model with wires after all loads that may have come, and after none where it is not known that they have."""
    strung = model.strung
    if not strung.final_doubtful.any():
        return [model]
    at, shape = np.indices(strung.final_doubtful.shape)[:2], strung.excess.shape
    laws = (take_law(reshape_law(law, shape), tuple(at)) for law in (strung.final, strung.unloaded))
    return [replace(model, strung=replace(strung, part=choose_law(strung.final_doubtful, law, strung.part)))
            for law in laws]


@dataclass(frozen=True)
class Path:
    """A wire in one option and case at any share of its swing; `state` its ends, constant and load there.

    `history` which of those that may be; `origin`, `azimuth` [rad], `factor` (ground over grid length) of the frame of
    its span.
    """

    wire: str
    kind: str
    circuit: str
    history: int
    windy: bool
    state: object
    origin: np.ndarray
    azimuth: float
    factor: float

    def at(self, swing, share):
        """Easting, northing, elevation, and offset from the line to the right, (swing, share, 4) [m]."""
        start, end, C, q = np.split(self.state(np.asarray(swing, float)), [3, 6, 7], axis=-1)
        size = np.linalg.norm(q, axis=-1, keepdims=True)
        up = -q / size
        chord = end - start
        h = (chord * up).sum(axis=-1, keepdims=True)
        along = chord - h * up
        S = np.linalg.norm(along, axis=-1, keepdims=True)
        x0 = S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
        x = np.asarray(share) * S
        y = C * (np.cosh((x - x0) / C) - np.cosh(x0 / C))
        x, y = x[..., None], y[..., None]
        place = start[:, None] + x * (along / S)[:, None] + y * up[:, None]
        a, r = place[..., 0] / self.factor, place[..., 1] / self.factor
        sin, cos = np.sin(self.azimuth), np.cos(self.azimuth)
        return np.stack([self.origin[0] + a * sin + r * cos, self.origin[1] + a * cos - r * sin, place[..., 2],
                         place[..., 1]], axis=-1)

    @property
    def swings(self):
        """Shares of the swing at which it is looked at first."""
        return SWINGS if self.windy else np.zeros(1)


def _paths(facts, plan):
    """All wires, hung: {(span, option, case): [Path]}, without those of which one hangs nowhere in part of the wind."""
    scene, _ = make_scene(facts, plan, 0, len(plan.spans) - 1)
    wires, spans = scene.wires, scene.spans
    found, lost = {}, set()
    for k, case in enumerate(facts.cases):
        swings = SWINGS if case.wind > 0 else np.zeros(1)
        w, o, s = (v.ravel() for v in np.meshgrid(np.arange(len(wires)), np.arange(len(facts.options)), swings,
                                                  indexing="ij"))
        parts = (_hung(model, w, o.astype(int), np.full(len(w), k), s) for model in _histories(scene.model))
        states = np.stack([np.concatenate([start, end, C[:, None], q], axis=-1).reshape(
            len(wires), len(facts.options), len(swings), -1) for start, end, C, q in parts], axis=2)
        for i, j, h in np.ndindex(states.shape[:3]):
            row, span = states[i, j, h], wires.span[i]
            a, b = (np.array([facts.structures.easting[v[span]], facts.structures.northing[v[span]]])
                    for v in (spans.tail, spans.head))
            key = spans.name[span], facts.options[j].name, case.name
            if not np.isfinite(row).all():
                lost.add(key)
                continue
            curve = CubicSpline(swings, row) if len(swings) > 1 else (lambda s, row=row: np.repeat(row, len(s), axis=0))
            found.setdefault(key, []).append(Path(wires.wire[i], wires.kind[i], wires.circuit[i], h, case.wind > 0,
                                                  curve, a, np.arctan2(*(b - a)), spans.ground_factor[span]))
    return {key: paths for key, paths in found.items() if key not in lost}


# The ground


@dataclass(frozen=True)
class Ground:
    """Elevations of cells, bilinear between their centres."""

    elevation: np.ndarray
    corner: tuple
    cell: float

    def __call__(self, e, n):
        """Elevation [m], nan where one of the four cells has none."""
        column, row = (e - self.corner[0]) / self.cell - 0.5, (self.corner[1] - n) / self.cell - 0.5
        i, j = np.floor(row).astype(int), np.floor(column).astype(int)
        u, v = row - i, column - j
        Z = self.elevation
        return ((Z[i, j] * (1 - v) + Z[i, j + 1] * v) * (1 - u)
                + (Z[i + 1, j] * (1 - v) + Z[i + 1, j + 1] * v) * u)


# Looking everywhere


def _least(paths, value, *, rough=False):
    """The least of a value over all places of wires at all swings: (value, path, swing, share), None where it has none.

    `value(places)` takes (swing, share, 4) and gives (swing, share), inf where it does not apply; of a `rough` one more
    samples are looked at again, that lie closer.
    """
    first = []
    for path in paths:
        v = value(path, path.at(path.swings, SHARES if path.windy else STILL))
        first.append(np.where(np.isnan(v), np.inf, v))
    lowest = min(v.min() for v in first)
    if not np.isfinite(lowest):
        return None
    best = (np.inf,)
    for path, v in zip(paths, first, strict=True):
        step, shares = (1.0, SHARES) if path.windy else (0.3, STILL)
        for s, p in _separate(v, lowest + step, 0.02 * len(shares), rough and path.windy):
            best = min(best, _narrowed(path, value, path.swings[s], shares[p]), key=lambda each: each[0])
    return best


def _separate(v, most, along=8, rough=False):
    """Lowest samples up to a value, apart from each other by some steps, so many along the wire."""
    across, along, ways = (1, along / 4, 8 * WAYS) if rough else (4, along, WAYS)
    order = np.argsort(v, axis=None)[:20_000]
    chosen = []
    for s, p in zip(*np.unravel_index(order, v.shape), strict=True):
        if v[s, p] > most or len(chosen) == ways:
            break
        if all(abs(s - a) > across or abs(p - b) > along for a, b in chosen):
            chosen.append((s, p))
    return chosen


def _narrowed(path, value, swing, share):
    """The least about one sample, in ever narrower windows."""
    wide = np.array([2 * (SWINGS[1] - SWINGS[0]), 2 * SHARES[1]])
    best = (np.inf, path, swing, share)
    for _ in range(LOOKS):
        s = np.clip(best[2] + wide[0] * np.linspace(-1, 1, FEW[0]), -1, 1) if path.windy else np.zeros(1)
        p = np.clip(best[3] + wide[1] * np.linspace(-1, 1, FEW[1]), 0, 1)
        v = value(path, path.at(s, p))
        v = np.where(np.isnan(v), np.inf, v)
        i, j = np.unravel_index(v.argmin(), v.shape)
        if v[i, j] <= best[0]:
            best = (v[i, j], path, s[i], p[j])
        wide = wide * NARROW
    return best


# The things


@dataclass(frozen=True)
class Thing:
    """One obstacle: `shape` in plan; its top is `height` above the ground below the wire (`draped`), or at `top`, or
    along the line of `vertices`. `foot` the elevation of the ground there."""

    name: str
    category: str
    shape: object
    radius: float = 0.0
    draped: bool = False
    height: float = np.nan
    top: float = np.nan
    foot: float = np.nan
    falls: bool = False
    voltage: float = VOLTAGE
    vertices: object = None
    state: object = None

    def beside(self, places, factor):
        """Distance in plan from its edge [m of ground], 0 or less within it."""
        d = shapely.distance(self.shape, shapely.points(places[..., :2]))
        return d * factor - self.radius

    def near(self, places, reach):
        """Whether places may be within a reach of it."""
        box = np.array(self.shape.bounds)
        reach = reach + self.radius + 1
        e, n = places[..., 0], places[..., 1]
        return (e > box[0] - reach) & (e < box[2] + reach) & (n > box[1] - reach) & (n < box[3] + reach)


def things_of(line, facts, ground):
    """Return all obstacles of a line as the generator made them; wires of other lines that hang as the inputs read
    them."""
    found = []
    for layer, (category, _, features) in line.layers.items():
        for i, row in enumerate(features.to_dict("records")):
            name, shape = f"{layer}:{i + 1}", row["geometry"]
            if layer == "neighbour":
                continue
            if layer == "crossing lines":
                xyz = shapely.get_coordinates(shape, include_z=True)
                found.append(Thing(name, category, shapely.force_2d(shape), top=xyz[:, 2].max(),
                                   voltage=row["voltage"] / 1e3, vertices=xyz))
            elif layer == "roads":
                found.append(Thing(name, category, shape, radius=row["half"], draped=True, height=0.0))
            else:
                found.append(_standing(name, layer, category, shape, row, ground))
    others = facts.index.obstacles
    for i in np.flatnonzero(others.layer == "neighbour"):
        xyz = shapely.get_coordinates(others.geometry[i], include_z=True)
        found.append(Thing(others.obstacle[i], "line", shapely.force_2d(others.geometry[i]), top=xyz[:, 2].max(),
                           voltage=220.0, vertices=xyz, state=others.states[i]))
    return found


def _standing(name, layer, category, shape, row, ground):
    """Buildings, tanks and trees; roofs are flat, as high above the highest ground at their corners as they are."""
    corners = shapely.get_coordinates(shape)
    foot = np.nanmax(ground(*corners.T)) if np.isfinite(ground(*corners.T)).any() else np.nan
    height = row.get("height", np.nan) + (0.5 if layer == "trees" else 0.0)
    top = row["top"] if "top" in row else foot + height
    return Thing(name, category, shape, radius=row.get("radius", 0.0), draped=category == "tree", height=height,
                 top=top, foot=foot, falls=layer == "danger trees")


# The rules, once more


def rules_of(line):
    """Return the rows of the rules of a line: those of the built-in table that its own do not replace, and its own."""
    table, own = RULES[line.rules]
    own = list(csv.DictReader(own.splitlines()))
    replaced = {(row["against"], row["measure"]) for row in own}
    if table is None:
        return own
    with (FOLDER / TABLES[table]).open(encoding="utf-8", newline="") as stream:
        return [row for row in csv.DictReader(stream) if (row["against"], row["measure"]) not in replaced] + own


def _number(row, name, default=0.0):
    return float(row.get(name) or default)


def electrical_distance(kv, kind):
    """D_el or D_pp of the table of the package [m]: the row of the next voltage that is no lower."""
    with (FOLDER / "electrical_distance.csv").open(encoding="utf-8", newline="") as stream:
        rows = sorted((float(row["highest_voltage"]), float(row[kind])) for row in csv.DictReader(stream))
    return next(d for u, d in rows if kv <= u)


def requirement(rules, against, measure, case, windy, elevation, other_kv=VOLTAGE):
    """Return what the rules require [m], None where they hold nothing.

    As docs/rules.md has it: `base + adder + altitude adder`, raised to the minimum, and the buffer on top.
    """
    def fits(row):
        names = [name.strip() for name in (row.get("cases") or "").split(";") if name.strip()]
        bound = max(VOLTAGE, other_kv) if row.get("bounds_of") == "higher" else VOLTAGE
        return (row["measure"] == measure and (not names or case in names)
                and (row.get("swung") or "") in ("", "yes" if windy else "no")
                and _number(row, "min_kv") < bound <= _number(row, "max_kv", np.inf))

    own = [row for row in rules if row["against"] == against and row["measure"] == measure]
    if not own and against not in ("ground", "right_of_way") and not against.startswith("own_"):
        own = [row for row in rules if row["against"] == "other" and row["measure"] == measure]
    rows = [row for row in own if fits(row)]
    if not rows:
        return None
    row = max(rows, key=lambda row: (bool((row.get("cases") or "").strip()), float(row["base"])))
    k = 1 / np.sqrt(3) if row.get("voltage_basis") == "line to ground" else 1.0
    kind = row.get("electrical_distance")
    a = electrical_distance(max(VOLTAGE, other_kv), kind) if kind else 0.0
    a += _number(row, "per_kv") * max(k * VOLTAGE - _number(row, "above_kv"), 0)
    a += _number(row, "other_per_kv") * max(k * other_kv - _number(row, "other_above_kv"), 0)
    z = a * _number(row, "altitude_share") * max(elevation - _number(row, "altitude_above"), 0) / _number(
        row, "altitude_step", 300.0)
    return max(float(row["base"]) + a + z, _number(row, "minimum")) + _number(row, "buffer")


# The findings, once more


@dataclass(frozen=True)
class Brute:
    """A line with its things, ground, rules, and wires that hang: asked for a span, option and case at a time."""

    line: object
    facts: object
    plan: object
    ground: Ground
    rules: list
    things: list
    paths: dict
    twins: dict
    rest: dict = field(default_factory=dict)

    def case(self, name):
        return next(case for case in self.facts.cases if case.name == name)

    def findings(self, span, option, case_name):
        """Return {(against, obstacle, measure, position): Least}; `position` only where a rule of its own is for it:
        below, falling, corner."""
        case, paths = self.case(case_name), self.paths[span, option, case_name]
        windy, found = case.wind > 0, {}
        self._near_ground(found, paths, case)
        if {"vertical", "horizontal"} & set(case.checks):
            near = [t for t in self.things if self._within(t, paths)]
            for thing in near:
                if "vertical" in case.checks:
                    self._over(found, paths, case, thing, span)
                if "vertical" in case.checks or windy:
                    self._around(found, paths, case, thing)
                if "horizontal" in case.checks:
                    self._beside(found, paths, case, thing)
        if "horizontal" in case.checks:
            self._edge(found, paths, case)
        if "vertical" in case.checks and not windy and self.line.rules < 2:
            self._own(found, span, option, case)
        return found

    def _within(self, thing, paths):
        reach = REACH + 40
        return any(thing.near(path.at(path.swings[::20], SHARES[::20]), reach).any() for path in paths)

    def _note(self, found, key, best, case, other, thing=None):
        """Keep the least of a key, with its requirement; nothing where no rule is for it."""
        against, _, measure, position = key
        if best is None:
            return
        actual, path, swing, share = best
        place = path.at(np.array([swing]), np.array([share]))[0, 0]
        other = other(place) if callable(other) else other
        altitude = place[2] if np.isnan(other) else other
        other_kv = thing.voltage if thing is not None and thing.category == "line" else VOLTAGE
        told = position == "falling" and any(row["against"] == "falling_tree" for row in self.rules)
        required = requirement(self.rules, "falling_tree" if told else against, measure, case.name, case.wind > 0,
                               altitude, other_kv)
        if required is not None and (key not in found or actual < found[key].actual):
            found[key] = Least(float(actual), float(required), path.wire, float(swing), tuple(place[:3]), float(other))

    def _has(self, against, measure):
        return any(row["measure"] == measure and row["against"] in (against, "other") for row in self.rules)

    def _near_ground(self, found, paths, case):
        if "vertical" not in case.checks:
            return
        ground = self.ground
        best = _least(paths, lambda path, p: p[..., 2] - ground(p[..., 0], p[..., 1]), rough=True)
        self._note(found, ("ground", None, "vertical", ""), best, case, lambda p: ground(p[0], p[1]))
        if any(row["against"] == "ground" and row["measure"] == "radial" for row in self.rules):
            best, at = nearest_ground(paths, ground)
            self._note(found, ("ground", None, "radial", ""), best, case, at)

    def _over(self, found, paths, case, thing, span):
        """Over things, and below wires of other lines."""
        if not self._has(thing.category, "vertical"):
            return
        key = thing.category, thing.name, "vertical"
        if thing.vertices is not None:
            # One row tells of the worse of both sides.
            best = _least_crossing(paths, thing, case, self.facts.cases, lambda wire, shares, side: self._passes(
                wire, span, thing, shares, side, case.wind > 0))
            if best is not None:
                self._note(found, (*key, "" if best[5] > 0 else "below"), best[:4], case, best[4], thing)
            return

        def over(path, p):
            v = np.full(p.shape[:2], np.inf)
            near = thing.near(p, 0)
            q = p[near]
            if len(q):
                top = self.ground(q[:, 0], q[:, 1]) + thing.height if thing.draped else thing.top
                v[near] = np.where(thing.beside(q, path.factor) <= 0, q[:, 2] - top, np.inf)
            return v

        top = (lambda p: self.ground(p[0], p[1]) + thing.height) if thing.draped else thing.top
        self._note(found, (*key, ""), _least(paths, over), case, top, thing)

    def _passes(self, wire, span, thing, shares, side, windy):
        """Whether a wire shall pass another line's on a side, 1 above, -1 below, at shares of its span.

        At rest each crossing is for itself: below where the existing wire is below theirs even where it is highest in
        still air. Along the swing it is on any side that the wire has at rest. What it does not cross there is passed
        below where other wires of the span do: a wire that is nowhere below is then in violation, which is the
        cautious answer.
        """
        share, own = self._at_rest(wire, span, thing)
        if not len(share):
            return np.full(len(shares), self._passed_below(span, thing) == (side < 0))
        if windy:
            return np.full(len(shares), (own == side).any())
        return own[np.abs(shares[:, None] - share).argmin(axis=1)] == side

    def _passed_below(self, span, thing):
        """Whether any wire of a span passes below another line's at rest."""
        wires = {path.wire for path in self.paths[span, *self._first_rest()]}
        return any((self._at_rest(wire, span, thing)[1] < 0).any() for wire in wires)

    def _first_rest(self):
        return (next(option.name for option in self.facts.options if option.existing),
                next(case.name for case in self.facts.cases if case.wind == 0))

    def _at_rest(self, wire, span, thing):
        """Where the existing wire crosses another line's in still air, and its side of it there: two arrays."""
        key = wire, span, thing.name
        if key not in self.rest:
            today, _ = self._first_rest()
            share, highest = None, None
            for k, case in enumerate(self.facts.cases):
                path = next((p for p in self.paths.get((span, today, case.name), ()) if p.wire == wire), None)
                if case.wind > 0 or path is None:
                    continue
                value, _, at = _crossings(path, np.zeros(1), thing, 1, k)
                if share is None:
                    share, highest = at, value
                elif len(share) and len(at):
                    np.maximum.at(highest, np.abs(at[:, None] - share).argmin(axis=1), value)
            self.rest[key] = (np.zeros(0), np.zeros(0)) if share is None else (share, np.where(highest < 0, -1, 1))
        return self.rest[key]

    def _around(self, found, paths, case, thing):
        """Radially from uprights, and what falls."""
        if shapely.get_type_id(thing.shape) != 0:
            return

        def upright(path, p):
            d = np.hypot(p[..., 0] - thing.shape.x, p[..., 1] - thing.shape.y) * path.factor
            return np.hypot(np.maximum(d - thing.radius, 0), np.maximum(p[..., 2] - thing.top, 0))

        def falling(path, p):
            d = np.hypot(p[..., 0] - thing.shape.x, p[..., 1] - thing.shape.y) * path.factor
            return np.hypot(d, p[..., 2] - thing.foot) - thing.height

        key = thing.category, thing.name, "radial"
        if self._has(thing.category, "radial") and "vertical" in case.checks:
            best = _least(paths, upright)
            self._note(found, (*key, ""), best, case, lambda p: min(thing.top, p[2]), thing)
        told = any(row["against"] == "falling_tree" for row in self.rules)
        if thing.falls and (told or self._has(thing.category, "radial")):
            best = _least(paths, falling)
            self._note(found, (thing.category, thing.name, "radial", "falling"), best, case, thing.foot, thing)

    def _beside(self, found, paths, case, thing):
        """Beside things, where a wire is no higher than the maximum clearance above their top; square corners only.

        Wires of other lines hang in the air; `tests/end_to_end/test_beside_a_line.py` is for them.
        """
        shape = {row.get("shape") for row in self.rules if row["against"] == thing.category
                 and row["measure"] == "horizontal"}
        if not shape or thing.category == "line":
            return
        if shape == {"corner"}:
            self._room(found, paths, case, thing)
            return
        room = [requirement(self.rules, thing.category, "vertical", each.name, windy, thing.top)
                for each in self.facts.cases for windy in (False, True)]
        level = thing.top + max([0.0, *(r for r in room if r is not None)])

        def beside(path, p):
            v = np.full(p.shape[:2], np.inf)
            near = thing.near(p, REACH + 40) & (p[..., 2] < level)
            v[near] = np.maximum(thing.beside(p[near], path.factor), 0)
            return v

        self._note(found, (thing.category, thing.name, "horizontal", ""), _least(paths, beside), case, np.nan, thing)

    def _room(self, found, paths, case, thing):
        """Outside of the room about things of rounded corner: `actual` is the minimum margin, of `measure` room."""
        H, V = (requirement(self.rules, thing.category, measure, case.name, case.wind > 0, thing.top)
                for measure in ("horizontal", "vertical"))

        def outside(path, p):
            out = np.full(p.shape[:2], np.inf)
            near = thing.near(p, REACH)
            d, v = np.maximum(thing.beside(p[near], path.factor), 0), p[near][:, 2] - thing.top
            r = np.hypot(d, np.maximum(v, 0)) + np.minimum(np.maximum(d, v), 0)
            out[near] = np.maximum(np.maximum(v - V, d - H), r - max(H, V))
            return out

        best = _least(paths, outside)
        if best is not None:
            found[thing.category, thing.name, "room", ""] = Least(float(best[0]), 0.0, best[1].wire, float(best[2]),
                                                                  (np.nan,) * 3, thing.top)

    def _edge(self, found, paths, case):
        """To the edge of the right-of-way."""
        way = self.line.way
        if isinstance(way, float):
            best = _least(paths, lambda path, p: way - np.abs(p[..., 3]))
        else:
            edge = way.boundary

            def room(path, p):
                points = shapely.points(p[..., :2])
                inside = shapely.contains_xy(way, p[..., 0], p[..., 1])
                return np.where(inside, 1, -1) * shapely.distance(edge, points) * path.factor

            best = _least(paths, room)
        required = requirement(self.rules, "right_of_way", "horizontal", case.name, case.wind > 0, 0.0)
        actual, path, swing, share = best
        found["right_of_way", None, "horizontal", ""] = Least(float(actual), required or 0.0, path.wire, swing,
                                                              (np.nan,) * 3, np.nan)

    def _own(self, found, span, option, case):
        """Between the wires of the same structures, in the same state and, with ice, with either of them bare; phases
        after one history, a shield wire after its own."""
        mine, bare = self.paths[span, option, case.name], self.twins.get((span, option, case.name))
        for i, a in enumerate(mine):
            for j in range(i + 1, len(mine)):
                b, shields = mine[j], (a.kind == "shield") + (mine[j].kind == "shield")
                if shields == 2 or a.wire == b.wire or (not shields and a.history != b.history):
                    continue
                kind = "own_shield_wire" if shields else "own_phase" if a.circuit == b.circuit else "own_circuit"
                pairs = [(a, b)] + ([(a, bare[j]), (bare[i], b)] if bare else [])
                actual = min(_between(*pair) for pair in pairs)
                required = requirement(self.rules, kind, "radial", case.name, False, 0.0)
                if required is not None:
                    name, nowhere = f"{a.wire}-{b.wire}", (np.nan,) * 3
                    key = kind, name, "radial", ""
                    least = min(actual, found[key].actual) if key in found else actual
                    found[key] = Least(least, required, a.wire, 0.0, nowhere, np.nan)


def brute_force(line, facts, plan):
    """Return the Brute of a line.

    Parameters
    ----------
    line : Line
        As the generator made it, in its own grid.
    facts : Facts
    plan : Plan
        With the bases of all structures.
    """
    ground = Ground(line.ground, line.corner, line.cell)
    iced = [case for case in facts.cases if case.ice > 0 and case.wind == 0 and not case.uneven]
    bare = tuple(replace(case, name=f"{case.name} bare", ice=0.0) for case in iced)
    paths = _paths(replace(facts, cases=(*facts.cases, *bare)), plan)
    twins = {(*key, name[:-5]): wires for (*key, name), wires in paths.items() if name.endswith(" bare")}
    return Brute(line, facts, plan, ground, rules_of(line), things_of(line, facts, ground), paths, twins)


def _between(a, b):
    """Minimum distance of two wires in still air [m]: of places of the one from 800 short chords of the other, which
    leave it by hundredths of a millimetre."""
    scale, still = np.array([a.factor, a.factor, 1.0]), np.zeros(1)
    other = b.at(still, np.linspace(0, 1, 801))[0, :, :3] * scale
    begin, chord = other[:-1], np.diff(other, axis=0)

    def apart(share):
        p = a.at(still, share)[0, :, :3] * scale
        away = p[:, None] - begin
        u = np.clip((away * chord).sum(axis=-1) / (chord**2).sum(axis=-1), 0, 1)
        return np.linalg.norm(away - u[..., None] * chord, axis=-1).min(axis=1)

    first, best = np.linspace(0, 1, 401), np.inf
    d = np.pad(apart(first), 1, constant_values=np.inf)
    lows = np.flatnonzero((d[1:-1] <= d[:-2]) & (d[1:-1] <= d[2:]) & (d[1:-1] < d.min() + 0.1))
    for low in lows:
        share, wide = first[low], 1 / 400
        for _ in range(6):
            near = np.clip(share + wide * np.linspace(-1, 1, 17), 0, 1)
            found = apart(near)
            share, best, wide = near[found.argmin()], min(best, found.min()), wide * 0.2
    return float(best)


# Wires that cross


def _elevation(thing, place, side, k):
    """Elevation of another line's wire at places (n, 2): as surveyed, or as a catenary in a case."""
    xyz = thing.vertices
    if thing.state is None:
        at = np.array([shapely.line_locate_point(thing.shape, shapely.Point(p)) for p in place])
        length = np.r_[0, np.cumsum(np.hypot(*np.diff(xyz[:, :2], axis=0).T))]
        return np.interp(at, length, xyz[:, 2])
    state, found = thing.state, []
    for row in (state.below if side > 0 else state.above)[k]:
        C, a, b, S = state.constant[row], state.start[row], state.end[row], state.length[row]
        h = b[2] - a[2]
        share = np.clip(((place - a[:2]) @ (b - a)[:2]) / ((b - a)[:2] @ (b - a)[:2]), 0, 1)
        x0 = S / 2 - C * np.arcsinh(h / (2 * C * np.sinh(S / (2 * C))))
        found.append(a[2] + C * (np.cosh((share * S - x0) / C) - np.cosh(x0 / C)))
    return np.max(found, axis=0) if side > 0 else np.min(found, axis=0)


def _crossings(path, swing, thing, side, k):
    """How far wires are above (side 1) or below (-1) another line's wire where they cross in plan, with swing and
    share: three arrays (crossing,)."""
    share = np.linspace(0, 1, 161)
    p = path.at(swing, share)
    found = [[], [], []]
    for a, b in zip(thing.vertices[:-1, :2], thing.vertices[1:, :2], strict=True):
        along = b - a
        off = (p[..., 0] - a[0]) * along[1] - (p[..., 1] - a[1]) * along[0]
        s, i = np.nonzero(np.sign(off[:, 1:]) != np.sign(off[:, :-1]))
        t = share[i] + (share[i + 1] - share[i]) * off[s, i] / (off[s, i] - off[s, i + 1])
        for n, at in zip(s, t, strict=True):
            place = path.at(swing[n:n + 1], np.array([at]))[0, 0]
            u = ((place[:2] - a) @ along) / (along @ along)
            if -1e-9 <= u <= 1 + 1e-9:
                found[0].append(side * (place[2] - _elevation(thing, place[None, :2], side, k)[0]))
                found[1].append(swing[n])
                found[2].append(at)
    return tuple(np.array(v) for v in found)


def _least_crossing(paths, thing, case, cases, passes):
    """The minimum vertical distance to another line's wire; where ours swing, theirs is at its worst of the windy
    cases. (value, path, swing, share, elevation of theirs, side), None where they do not cross;
    `passes(wire, shares, side)` tells whether ours shall pass on that side."""
    if case.wind > 0:
        states = [k for k, each in enumerate(cases) if each.wind > 0 and "vertical" in each.checks]
    else:
        states = [cases.index(case)]
    best = (np.inf,)
    for path in paths:
        for k, side in itertools.product(states if thing.state is not None else states[:1], (1, -1)):
            swing = path.swings
            for _ in range(6):
                value, s, t = _crossings(path, swing, thing, side, k)
                value = np.where(passes(path.wire, t, side), value, np.inf)
                if not np.isfinite(value).any():
                    break
                i = value.argmin()
                if value[i] < best[0]:
                    z = path.at(s[i:i + 1], t[i:i + 1])[0, 0, 2]
                    best = value[i], path, s[i], t[i], z - side * value[i], side
                if not path.windy:
                    break
                wide = (swing[-1] - swing[0]) / (len(swing) - 1) * 1.5
                swing = np.clip(s[i] + wide * np.linspace(-1, 1, 13), -1, 1)
    return best if np.isfinite(best[0]) else None


# The ground beside


def nearest_ground(paths, ground):
    """The minimum distance in space from wires to the ground, (value, path, swing, share) and the elevation of the
    ground there; negative where a wire is in the ground."""
    inside = _least(paths, lambda path, p: p[..., 2] - ground(p[..., 0], p[..., 1]))
    if inside is not None and inside[0] < 0:
        place = inside[1].at(np.array([inside[2]]), np.array([inside[3]]))[0, 0]
        return inside, place[2] - inside[0]
    # Cell centres are among the samples: there the ground has its peaks.
    step = ground.cell / max(int(ground.cell / max(ground.cell * GROUND_STEP, 0.5)), 1)
    every = np.concatenate([path.at(path.swings[::10], SHARES[::8])[..., :2].reshape(-1, 2) for path in paths])
    low, high = every.min(axis=0) - GROUND_REACH, every.max(axis=0) + GROUND_REACH
    centre = np.array(ground.corner) + ground.cell * np.array([0.5, -0.5])
    low = centre + np.floor((low - centre) / step) * step
    e, n = np.meshgrid(*(np.arange(a, b, step) for a, b in zip(low, high, strict=True)))
    e, n = e.ravel(), n.ravel()
    near = cKDTree(every).query(np.column_stack([e, n]), distance_upper_bound=min(GROUND_REACH, inside[0] + 3))[0]
    e, n = e[np.isfinite(near)], n[np.isfinite(near)]
    z = ground(e, n)
    known = np.isfinite(z)
    factor = paths[0].factor
    tree = cKDTree(np.column_stack([e[known] * factor, n[known] * factor, z[known]]))
    first = []
    for path in paths:
        swings, shares = path.swings[::5] if path.windy else path.swings, SHARES[::2]
        p = path.at(swings, shares)
        d, i = tree.query((p[..., :3] * [factor, factor, 1]).reshape(-1, 3))
        first.append((path, swings, shares, d.reshape(p.shape[:2]), i.reshape(p.shape[:2])))
    lowest, best, at = min(row[3].min() for row in first), (np.inf,), None
    for path, swings, shares, d, i in first:
        for s, t in _separate(d, lowest + 0.3 + step / 2, rough=not path.windy):
            spot = tree.data[i[s, t], :2] / factor
            found, where, spot = _narrowed_beside(path, ground, swings[s], shares[t], spot, step)
            if found[0] < best[0]:
                best, at, last = found, where, spot
    return _polished(best, at, last, ground, step) if at is not None else (best, at)


def _polished(best, at, spot, ground, step):
    """The same by a simplex from there: windows stop short where the least lies aslant of all four ways."""
    path, found = best[1], []

    def distance(x):
        s, t = np.clip(x[0], -1, 1) * path.windy, np.clip(x[1], 0, 1)
        z, p = ground(*x[2:]), path.at(np.array([s]), np.array([t]))[0, 0]
        d = np.sqrt(((p[:2] - x[2:]) * path.factor) @ ((p[:2] - x[2:]) * path.factor) + (p[2] - z)**2)
        found.append((d if np.isfinite(d) else np.inf, path, s, t, z))
        return found[-1][0]

    start = np.array([best[2], best[3], *spot])
    for size in (0.2, 0.02):
        corners = np.vstack([start, start + np.diag([0.05, SHARES[1], step, step]) * size])
        start = minimize(distance, start, method="Nelder-Mead", options={
            "initial_simplex": corners, "maxfev": 2000, "xatol": 1e-6, "fatol": 1e-6}).x
    least = min(found, key=lambda each: each[0])
    return (least[:4], least[4]) if least[0] < best[0] else (best, at)


def _narrowed_beside(path, ground, swing, share, spot, step):
    """The least about one place of wire and one of ground, in four ways at once."""
    half = np.array([0.06, 3 * SHARES[1], 1.5 * step, 1.5 * step])
    best = (np.inf, path, swing, share)
    for _ in range(26):
        s = np.clip(best[2] + half[0] * np.linspace(-1, 1, 5), -1, 1) if path.windy else np.zeros(1)
        t = np.clip(best[3] + half[1] * np.linspace(-1, 1, 7), 0, 1)
        e, n = np.meshgrid(spot[0] + half[2] * np.linspace(-1, 1, 9), spot[1] + half[3] * np.linspace(-1, 1, 9))
        z = ground(e, n)
        p = path.at(s, t)[..., None, None, :]
        d = np.sqrt(((p[..., 0] - e) * path.factor)**2 + ((p[..., 1] - n) * path.factor)**2 + (p[..., 2] - z)**2)
        d = np.where(np.isnan(d), np.inf, d)
        i, j, k, m = np.unravel_index(d.argmin(), d.shape)
        if d[i, j, k, m] <= best[0]:
            best, spot, at = (d[i, j, k, m], path, s[i], t[j]), np.array([e[k, m], n[k, m]]), z[k, m]
        half = half * 0.7
    return best, at, spot
