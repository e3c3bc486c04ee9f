"""Sections of seeded lines over seeded relief: what a line can physically have, from a 10 m span to a valley crossing.

What tests of clipping in and of equilibrium share; `python -m tests.benchmarks.relief` hangs two thousand such lines.
"""

from typing import NamedTuple

import numpy as np

from corridor.mechanics import ruling_span as ruling
from corridor.mechanics.clipping import clip_in
from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.loads import ice_weight
from corridor.mechanics.supports import FREE, HELD, POST, Supports
from tests.sections_of_wire import string_to_limits

__all__ = ["CASES", "LAW", "STILL", "WEIGHT", "Sections", "clipped", "loaded", "relief_sections"]

#: Outer 403 mm² of 55 GPa, core 65.6 mm² of 190 GPa, 1.628 kg/m, 28.1 mm, 140 kN; with a knee between 80 and 150 °C.
LAW = TwoPart(*(np.float64(v) for v in (22.165e6, 12.465e6, 23e-6, 11.5e-6, 3e-4, 0.0, 4e3)))
VEE = 9  # drawn like a kind, and a FREE string that swings along the line alone
WEIGHT, DIAMETER, RTS = 15.965, 0.0281, 140e3
STILL = np.array([0, 0, -WEIGHT])

#: Temperature [°C], radial ice [m] on all spans or on every other, wind [Pa] to the right.
CASES = {
    "hot": (120.0, 0.0, "all", 0.0), "cold": (-40.0, 0.0, "all", 0.0), "ice": (-5.0, 0.03, "all", 0.0),
    "uneven ice": (-5.0, 0.03, "odd", 0.0), "heavy ice here and there": (-5.0, 0.06, "even", 0.0),
    "swung": (10.0, 0.0, "all", 600.0), "ice and wind to the left": (-5.0, 0.012, "all", -300.0),
}


class Sections(NamedTuple):
    """A batch of sections.

    `line` (batch,) the line that each is of; `supports`, `count` (batch,) spans; `heading` (batch, n) [rad];
    `horizontal_tension` (batch,) [N] at 10 °C, bare, the tautest that two limits allow; nan where they allow none.
    """

    line: np.ndarray
    supports: Supports
    count: np.ndarray
    heading: np.ndarray
    horizontal_tension: np.ndarray


def relief_sections(lines, seed, most=40):
    """Return the sections of lines of 2 to `most` structures.

    Spans of 10 to 1,500 m, alike, alike but for short ones, or all side by side; ground flat to slopes of 60 %, in
    waves of 60 m to 3 km; turns of up to 25 degrees at strings and 60 at strain structures. Strings of 0.2 to 6 m and
    100 to 2,500 N with some posts and V-strings among them; dead ends held, or on strain strings.
    """
    rng = np.random.default_rng(seed)
    parts = [part for line in range(lines) for part in _line(rng, line, most)]
    n = max(len(part[1]) for part in parts)
    count = np.array([len(part[1]) for part in parts])
    hinge, per_node = np.zeros((len(parts), n + 1, 3)), np.zeros((5, len(parts), n + 1))
    heading = np.zeros((len(parts), n))
    for i, (_, turned, *nodes) in enumerate(parts):
        heading[i, : count[i]], hinge[i, : count[i] + 1] = turned, nodes[0]
        for whole, own in zip(per_node, nodes[1:], strict=True):
            whole[i, : count[i] + 1] = own
    kind, length, weight, stiffness, vee = per_node
    supports = Supports(hinge, kind.astype(int), length, weight, np.zeros_like(hinge), stiffness,
                        vee[..., None] * _crossarms(heading, count))
    return Sections(np.array([part[0] for part in parts]), supports, count, heading, _strung(rng, hinge, count))


def _line(rng, line, most):
    """Sections of one line: line, headings, hinges, kinds, lengths, weights, stiffnesses and whether it is a V."""
    n = int(np.clip(1 + rng.geometric(0.09), 1, most - 1))
    S = _spans(rng, n)
    strain = np.r_[True, rng.random(n - 1) < rng.choice([0.0, 0.15, 0.4]), True]
    bend = rng.choice([0.0, 0.2, 1.0]) * rng.uniform(-1, 1, n) ** 3 * np.where(strain[:-1], 60, 25)
    heading = rng.uniform(0, 2 * np.pi) + np.radians(np.cumsum(bend))
    place = np.r_[[[0, 0]], np.cumsum(S[:, None] * np.stack([np.sin(heading), np.cos(heading)], axis=-1), axis=0)]
    z = _relief(rng, np.r_[0, np.cumsum(S)]) + rng.uniform(15, 40) + rng.uniform(-6, 6, n + 1) * rng.choice([0, 1])
    string = np.exp(rng.uniform(np.log(0.2), np.log(6)))
    length = np.where(rng.random(n + 1) < rng.choice([0, 0.5]), rng.uniform(0.2, 6, n + 1), string)
    inner = rng.choice([FREE, VEE, POST], n + 1, p=[0.9, 0.06, 0.04])
    vee = ~strain & (inner == VEE)
    kind = np.where(strain, FREE if rng.random() < 0.3 else HELD, np.where(vee, FREE, inner))
    beside = np.minimum(np.r_[S[:1], S], np.r_[S, S[-1:]])
    length = np.where(strain, np.minimum(length, 0.3 * beside), length)
    weight = np.full(n + 1, np.exp(rng.uniform(np.log(100), np.log(2500))))
    stiffness = np.exp(rng.uniform(np.log(5e3), np.log(5e5), n + 1))
    hinge = np.concatenate([place, z[:, None]], axis=1)
    ends = np.flatnonzero(strain)
    for a, b in zip(ends[:-1], ends[1:], strict=True):
        own = slice(a, b + 1)
        yield line, heading[a:b], hinge[own], kind[own], length[own], weight[own], stiffness[own], vee[own]


def _crossarms(heading, count):
    """Unit vectors to the right, halving each turn, (batch, n + 1, 3)."""
    there = (np.arange(heading.shape[1]) < count[:, None])[..., None]
    right = np.stack([np.cos(heading), -np.sin(heading), 0 * heading], axis=-1) * there
    both = np.pad(right, ((0, 0), (0, 1), (0, 0))) + np.pad(right, ((0, 0), (1, 0), (0, 0)))
    size = np.linalg.norm(both, axis=-1, keepdims=True)
    return np.divide(both, size, out=np.zeros_like(both), where=size > 0)


def _spans(rng, n):
    """Lengths [m]."""
    alike = rng.uniform(120, 500) * rng.uniform(0.6, 1.5, n)
    return (alike, np.where(rng.random(n) < 0.15, rng.uniform(10, 40, n), alike),
            np.exp(rng.uniform(np.log(10), np.log(1500), n)))[rng.integers(3)]


def _relief(rng, at):
    """Elevation of the ground along a line [m]: waves whose slopes add up to 60 % at most."""
    wave = np.exp(rng.uniform(np.log(60), np.log(3000), 6))
    slope = rng.choice([0.0, 0.03, 0.15, 0.6]) * rng.dirichlet(np.ones(6))
    return (slope * wave / (2 * np.pi) * np.sin(2 * np.pi * at[:, None] / wave + rng.uniform(0, 7, 6))).sum(axis=1)


def _strung(rng, hinge, count):
    """H at 10 °C [N], where everyday tension and that under 12 mm of ice are within shares of the strength."""
    many, n = hinge.shape[0], hinge.shape[1] - 1
    there = np.arange(n) < count[:, None]
    step = np.diff(hinge, axis=1)
    S, h = np.where(there, np.hypot(step[..., 0], step[..., 1]), np.nan), np.where(there, step[..., 2], np.nan)
    bounds = np.stack([rng.uniform(0.12, 0.28, many), np.full(many, 0.6)], axis=-1) * RTS
    span = ruling.ruling_span(S)
    weight, T = WEIGHT + np.array([0.0, ice_weight(DIAMETER, 0.012, 913.0)]), np.array([10.0, -5.0])
    excess, _ = string_to_limits(bounds, np.zeros(bounds.shape, bool), S[:, None], h[:, None], span[:, None], weight,
                                 0.0, T, LAW)
    return ruling.tension(excess, span, WEIGHT, np.full(many, 10.0), LAW).horizontal_tension


def clipped(sections, law=LAW):
    """Return the wires of sections that are clipped in bare at 10 °C."""
    return clip_in(sections.supports, sections.horizontal_tension, [[STILL]], np.full(len(sections.count), 10.0), law,
                   count=sections.count)


def loaded(sections, case):
    """Return supports with the wind of a case on their strings, load (batch, n, 3) [N/m] and temperature [°C]."""
    T, ice, spans, pressure = CASES[case]
    place = np.arange(sections.heading.shape[1])
    ice = ice * {"all": place >= 0, "odd": place % 2 == 0, "even": place % 2 == 1}[spans]
    right = np.stack([np.cos(sections.heading), -np.sin(sections.heading), 0 * sections.heading], axis=-1)
    wind = pressure * (DIAMETER + 2 * ice)[:, None] * right
    load = wind - (WEIGHT + ice_weight(DIAMETER, ice, 913.0))[:, None] * np.array([0, 0, 1.0])
    force = np.zeros(sections.supports.hinge.shape)
    force[:, :-1] = pressure * 0.4 * right
    return sections.supports._replace(string_force=force), load, np.full(len(sections.count), T)
