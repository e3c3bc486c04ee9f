"""Degenerate and ordinary inputs by name, and the small builders that several tests share.

All places and things are invented. Lengths in [m], forces in [N], as inside the package.
"""

import csv
from typing import NamedTuple

import numpy as np
import pytest
import shapely

from corridor.assessment import Facts, Ground, Plan, assess_spans
from corridor.clearance.crossings import index_obstacles
from corridor.clearance.rule_files import load_rules
from corridor.cli import main
from corridor.conductor.conductor import conductor_from
from corridor.geometry.catenary import plane_of, points
from corridor.geometry.distance import Rows
from corridor.geometry.surface import SIDE, blocks_about
from corridor.inputs.terrain import Cells
from corridor.line.build import attach, lay_out
from corridor.line.facts import Case, Framings, Limit, Obstacles, Option, RightOfWay, Structures, Wiring
from corridor.line.section_wires import wire_runs
from corridor.line.swing import hung_ends, span_frame, string_swing
from corridor.mechanics import curves
from corridor.mechanics.elongation import TwoPart, strain
from corridor.session import open_study
from corridor.thermal.resistance import core_magnetisation_factor, dc_resistance, skin_effect_factor

#: Span, rise, catenary constant [m].
SHAPES = {
    "level": (300.0, 0.0, 1500.0),
    "gentle": (300.0, 30.0, 1500.0),
    "falling": (400.0, -60.0, 1200.0),
    "steep": (50.0, 80.0, 400.0),
    "long and steep": (1200.0, 350.0, 900.0),
    "short": (12.0, 0.5, 800.0),
    "long": (1500.0, 10.0, 2200.0),
    "taut": (80.0, 1.0, 20000.0),
    "slack": (200.0, -5.0, 90.0),
}

#: Spans of a section and their rises [m]; nan fills up.
SECTIONS = {
    "one span": ([300.0, np.nan, np.nan], [0.0, np.nan, np.nan]),
    "level": ([300.0, 250.0, 340.0], [0.0, 0.0, 0.0]),
    "over a hill": ([180.0, 420.0, 260.0], [35.0, -5.0, -40.0]),
    "short and long": ([40.0, 500.0, 45.0], [2.0, 20.0, -3.0]),
    "steep": ([150.0, 160.0, 170.0], [90.0, 100.0, 95.0]),
}

#: 403 mm² of aluminium on 65 mm² of steel, some 1.63 kg/m (Drake: moduli and expansions recalled).
STEEL_CORED = TwoPart(*(np.float64(v) for v in (22.165e6, 12.465e6, 23e-6, 11.5e-6, 4e-4, 0, 0)))
#: One part only.
ALL_ALUMINIUM = TwoPart(*(np.float64(v) for v in (28e6, 0, 23e-6, 0, 3e-4, 0, 0)))
#: Weight of the first [N/m].
WEIGHT = 15.965


def part_forces(tension, temperature, part):
    """Forces in the outer part and in the core [N]: linear ones by the springs themselves, from 20 °C on."""
    e = strain(tension, temperature, part)
    if not isinstance(part, TwoPart):
        return curves.part_forces(e, temperature, part)[:2]
    outer, core = (K * (e - a * (temperature - 20) - s) for K, a, s in (
        (part.outer_stiffness, part.outer_expansion, part.outer_set),
        (part.core_stiffness, part.core_expansion, part.core_set)))
    return np.where(part.core_stiffness > 0, np.maximum(outer, -part.outer_compression), outer), core


class Profile(NamedTuple):
    """What the terrain gives below straight lines: knots and middles in turn."""

    first: np.ndarray
    fraction: np.ndarray
    elevation: np.ndarray


def nodes(knots):
    """Knots and, between each two, the middle."""
    knots = np.asarray(knots, float)
    place = np.empty(2 * len(knots) - 1)
    place[::2], place[1::2] = knots, (knots[:-1] + knots[1:]) / 2
    return place


def rows_of(places, surfaces, shapes):
    """`Rows` of lists of node places and surfaces, and of (span, start, rise)."""
    first = np.r_[0, np.cumsum([len(p) for p in places])]
    return Rows(first, np.concatenate(places), np.concatenate(surfaces), *np.array(shapes, float).T)


def quadratic(left, middle, right, s):
    """Parabola through values at 0, 1/2 and 1 (Lagrange's formula), at `s`."""
    return left * (2 * s - 1) * (s - 1) - 4 * middle * s * (s - 1) + right * s * (2 * s - 1)


def wire(x, span, rise, constant):
    """Height of a wire above its left end, by `C cosh` about a low point found from the two ends.

    `y = C (cosh((x - x0)/C) - cosh(x0/C))`, x0 by bisection of `y(S) = h`: no formula of the package.
    """
    low, high = span / 2 - 50 * span - constant * 5, span / 2 + 50 * span + constant * 5
    for _ in range(200):
        x0 = (low + high) / 2
        # y(S) falls as the low point moves to the right.
        too_low = 2 * np.sinh((span - 2 * x0) / (2 * constant)) * constant * np.sinh(span / (2 * constant)) < rise
        low, high = (low, x0) if too_low else (x0, high)
    return 2 * constant * np.sinh(x / (2 * constant)) * np.sinh((x - 2 * x0) / (2 * constant))


def draped(sample, e0, n0, e1, n1, *, pieces=60):
    """Profile of an analytic ground below straight lines, as the terrain would give it."""
    t = nodes(np.linspace(0, 1, pieces + 1))
    e, n = (np.asarray(a)[:, None] + t * (np.asarray(b) - a)[:, None] for a, b in ((e0, e1), (n0, n1)))
    count = len(e)
    return Profile(np.arange(count + 1) * len(t), np.tile(t, count), sample(e.ravel(), n.ravel()))


def ground_of(sample, *, pieces=60):
    """An analytic ground, as the terrain would give it on cells of a metre."""
    def cells(e0, n0, e1, n1, reach):
        segment, column, row = blocks_about(np.stack([e0, n0]), np.stack([e1, n1]), reach)
        e, n = np.broadcast_arrays(column[:, None, None] + np.arange(SIDE + 1.0),
                                   row[:, None, None] + np.arange(SIDE + 1.0)[:, None])
        return Cells(segment, e, n, sample(e, n))

    return Ground(sample, lambda *ends: draped(sample, *ends, pieces=pieces), cells)


def structures(easting, northing, *, line=None, role=None, base=0.0, crossarm_azimuth=np.nan, framing="F"):
    """Structures of given places; terminal at the ends of each line, else suspension."""
    count = len(easting)
    line = np.array(["L"] * count if line is None else line, object)
    if role is None:
        ends = np.r_[True, line[1:] != line[:-1]] | np.r_[line[1:] != line[:-1], True]
        role = np.where(ends, "terminal", "suspension")
    names = np.array([f"T{i + 1}" for i in range(count)], object)
    framings = np.array([framing] * count if isinstance(framing, str) else framing, object)
    return Structures(line, names, np.arange(count, dtype=float), np.array(role, object), framings,
                      np.array(easting, float), np.array(northing, float),
                      np.broadcast_to(np.asarray(base, float), count).copy(),
                      np.broadcast_to(np.asarray(crossarm_azimuth, float), count).copy())


def framings(rows):
    """Framings of rows (framing, wire, kind, offset, height, string, string length, string mass)."""
    framing, wire_name, kind, *numbers = zip(*rows, strict=True)
    offset, height, string, length, mass = numbers
    texts = (np.array(v, object) for v in (framing, wire_name, kind, ["1"] * len(framing)))
    return Framings(*texts, np.array(offset, float), np.array(height, float), np.array(string, object),
                    np.array(length, float), np.array(mass, float))


def obstacles(rows):
    """Obstacles of rows (category, geometry, absolute, height, radius)."""
    category, geometry, absolute, height, radius = zip(*rows, strict=True)
    count = len(rows)
    shapes = np.empty(count, object)
    shapes[:] = geometry
    assert not shapely.is_empty(shapes).any()
    names = np.array([f"{c}:{i}" for i, c in enumerate(category)], object)
    return Obstacles(np.array(["things"] * count, object), names, np.array(category, object), shapes,
                     np.array(absolute, bool), np.array(height, float), np.full(count, np.nan),
                     np.array(radius, float), np.array([""] * count, object))


def unit_factor(e0, n0, e1, n1, elevation):
    """Ground lengths that equal those of the grid."""
    return np.ones(np.shape(e0))


#: An invented conductor with a steel core; numbers of the order of the common ones.
CONDUCTOR = {"name": "invented", "outer_area": 400e-6, "core_area": 65e-6, "diameter": 0.028, "mass": 1.6,
             "rts": 140e3, "resistance_20": 0.072e-3, "temperature_coefficient": 0.00403, "outer_modulus": 55e9,
             "core_modulus": 190e9, "outer_expansion": 23e-6, "core_expansion": 11.5e-6, "permanent_set": 4e-4,
             "compression": 0.0, "elongation": "linear"}


def option(name="today", *, existing=True, maximum=80.0, limits=None, **changes):
    """An option of the invented conductor, strung to a share of its strength at 10 °C unless told otherwise."""
    limits = limits or (Limit("18 % RTS", "share", 0.18, 10.0, None, "final"),)
    return Option(name, Wiring(conductor_from(CONDUCTOR | changes), maximum, None, limits), existing)


def rules_of(folder, rows):
    """Rules of rows (against, measure, base)."""
    file = folder / "rules.csv"
    lines = [f"{against} {measure},{against},{measure},{base}" for against, measure, base in rows]
    file.write_text("\n".join(["rule,against,measure,base", *lines]), encoding="utf-8")
    return load_rules(file)


class NoHeat:
    """Ratings that no test here asks for: every current is nan."""

    frequency = 50.0

    @staticmethod
    def current_at(option, temperature, *_):
        return np.full(np.shape(temperature), np.nan)


HOT = Case("hot", "maximum", checks=("vertical",))
NO_OBSTACLES = Obstacles(*(np.zeros(0, object) for _ in range(4)), np.zeros(0, bool), np.zeros(0), np.zeros(0),
                         np.zeros(0), np.zeros(0, object))


def findings(line, framing, rules, *, ground, things=NO_OBSTACLES, options=None, cases=(HOT,), way=None,
             voltage=123e3, pieces=60, method="ruling_span", heat=None, pull_ends=()):
    """Findings of a whole line over an analytic ground `ground(easting, northing)`, and its facts and plan."""
    base = np.where(np.isnan(line.base_elevation), ground(line.easting, line.northing), line.base_elevation)
    facts = Facts(line, framing, index_obstacles(things), way or RightOfWay(), rules, options or (option(),), cases,
                  None, voltage, heat or NoHeat(), method, pull_ends=pull_ends)
    plan = Plan(*lay_out(line, base, unit_factor), base)
    return assess_spans(facts, plan, ground_of(ground, pieces=pieces), 0, len(plan.spans) - 1), facts, plan


def rows_where(columns, **wanted):
    """Indices of the rows of a layer in which columns have given values."""
    keep = np.ones(len(next(iter(columns.values()))), bool)
    for name, value in wanted.items():
        keep &= columns[name] == value
    return np.flatnonzero(keep)


def hung(line, framing):
    """Route, spans, wires and their ends in the frame of their span, of a line whose bases are known."""
    route, spans, _ = lay_out(line, line.base_elevation, unit_factor)
    wires, _ = attach(line, line.base_elevation, route, spans, framing)
    return route, spans, wires, span_frame(line, route, spans, wires)


class SwungByFormula(NamedTuple):
    """Wires in wind; axes (wire span, option, case, side), the wind to the right and to the left: `points` (..., place,
    3) [m], `share` (place,), tilt of the `plane` and of strings [deg]."""

    points: np.ndarray
    share: np.ndarray
    plane: np.ndarray
    string_start: np.ndarray
    string_end: np.ndarray


def swing(frame, wires, spans, line_angle, horizontal_tension, weight, wind, *, places=33):
    """Wires of given tensions and loads (wire span, option, case), swung by the handbook's formula."""
    shape = (*wind.shape, 2)
    H, w = (np.broadcast_to(v[..., None], shape) for v in (horizontal_tension, weight))
    p = wind[..., None] * np.array([1.0, -1.0])
    row = wire_runs(frame, wires, spans).row
    start, end, first, last = np.zeros((*shape, 3)), np.zeros((*shape, 3)), np.zeros(shape), np.zeros(shape)
    for at in np.ndindex(*shape[1:]):
        columns = [v[(slice(None), *at)][row] for v in (H, w, p)]
        angles = string_swing(*columns, wires, spans, row, line_angle)
        for wire_run, place in zip(*np.nonzero(row >= 0), strict=True):
            one = row[wire_run, place], *at
            first[one], last[one] = angles[0][wire_run, place], angles[1][wire_run, place]
        some = (slice(None), *at)
        start[some], end[some] = hung_ends(frame, wires, np.arange(len(wires)), first[some], last[some])
    load = np.stack([np.zeros_like(p), p, -w], axis=-1)
    plane, share = plane_of(start, end, load), np.linspace(0, 1, places)
    return SwungByFormula(points(start, plane, H / plane.load, share), share, np.degrees(np.arctan2(p, w)), first, last)


def one_wire(start, end):
    """A wire held at two places: line, route, spans, wires and frame of one span."""
    (e0, n0, z0), (e1, n1, z1) = start, end
    line = structures([e0, e1], [n0, n1], base=[z0, z1])
    return line, *hung(line, framings([("F", "a", "phase", 0.0, 0.0, "post", 0, 0)]))


def straight(resistance_20, coefficient=0.00403):
    """Resistance [ohm/m] by temperature [°C] and current [A]: direct current."""
    return lambda T, current: dc_resistance(resistance_20, T, coefficient)


def exact(resistance_20, coefficient=0.00403, *, frequency=50.0, core_ratio=0.0, layers=0, outer_area=1.0):
    """The same with skin effect, by Bessel functions, and core magnetisation."""
    def resistance(temperature, current):
        R = dc_resistance(resistance_20, temperature, coefficient)
        return (R * skin_effect_factor(R, frequency=frequency, core_ratio=core_ratio)
                * core_magnetisation_factor(current, layers=layers, outer_area=outer_area))

    return resistance


def ask(path, job, *arguments, **keys):
    """Open a study, ask it for one thing, and close it."""
    with open_study(path) as study:
        return getattr(study, job)(*arguments, **keys)


def allowed(study, kinds, plan=""):
    """Let a plan of a study be made of these kinds of remedies; `plan` more of its table. Return the study."""
    names = ", ".join(f'"{kind}"' for kind in kinds)
    study.text += f"\n[plan]\nremedies = [{names}]\n{plan}"
    return study


def planned_of(study, folder):
    """Plan what hangs on a study, and return the plan."""
    return ask(study.write(), "plan", "today", folder)


def run(*arguments):
    """Run a command in this process, and return its exit status."""
    with pytest.raises(SystemExit) as end:
        main([str(argument) for argument in arguments])
    return end.value.code


def read(path):
    """Return the rows of a table as dicts of text."""
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))
