"""Sections solved per second: corridor's batch beside a general root search, one by one, on the same equations.

    python -m tests.benchmarks.equilibrium

prints as JSON the time for 20,000 section-cases of 12 spans, iterations, the worst force left, and the ratio to
`scipy.optimize.root` on a sample of the same cases; of several rounds the least processor time of each, since a
machine is seldom idle. Both keep the same equations to the same tolerance: no string has more than 0.01 N across it,
and lengths fit. The search is asked for 1e-8, the loosest power of ten at which all of the sample are so. It has its
own code: longitudinal and transverse angle of each string and the logarithm of each span's tension, residuals scaled
to about one, a start at 25 kN with strings plumb, derivatives by differences.
"""

import json
import time

import numpy as np
from scipy.optimize import root

from corridor.mechanics.clipping import clip_in
from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.equilibrium import solve
from corridor.mechanics.supports import FREE, HELD, Supports

SPANS, STRING, STRING_WEIGHT, WEIGHT = 12, 2.0, 700.0, 15.965
STIFFNESS, EXPANSION = 32.6e6, 18.9e-6
PART = TwoPart(*(np.float64(v) for v in (STIFFNESS, 0, EXPANSION, 0, 0, 0, 0)))


def cases(count, seed=1):
    """Sections of unlike spans over rolling ground, clipped in at 15 °C; hot, cold, windy and iced; all invented."""
    rng = np.random.default_rng(seed)
    S = rng.uniform(180, 420, (count, SPANS))
    heading = np.cumsum(rng.normal(0, 0.02, (count, SPANS)), axis=1)
    along = np.stack([np.sin(heading), np.cos(heading), 0 * S], axis=-1)
    hinge = np.concatenate([np.zeros((count, 1, 3)), np.cumsum(S[..., None] * along, axis=1)], axis=1)
    hinge[..., 2] = rng.uniform(-3, 3, (count, SPANS + 1))
    kind = np.full(SPANS + 1, FREE)
    kind[[0, -1]] = HELD
    supports = Supports(hinge, kind, STRING, STRING_WEIGHT)
    wind = rng.choice([0.0, 0.0, 6.0, 15.0], count)[:, None, None]
    ice = 1 + rng.uniform(0, 1, (count, SPANS, 1)) * rng.choice([0.0, 0.0, 1.5], count)[:, None, None]
    across = np.stack([along[..., 1], -along[..., 0], 0 * S], axis=-1)
    load = wind * across - ice * np.array([0, 0, WEIGHT])
    clipped = clip_in(supports, rng.uniform(22e3, 30e3, count), [[[0, 0, -WEIGHT]]], np.full(count, 15.0), PART)
    return supports, clipped.unstressed, load, rng.uniform(-30, 150, count)


def ends_of(hinge, angles):
    """Wire ends for angles along and across the grid's north, (n - 1, 2)."""
    ahead, aside = angles.T
    offset = np.stack([np.sin(aside) * np.cos(ahead), np.sin(ahead), -np.cos(aside) * np.cos(ahead)], axis=-1)
    ends = hinge.copy()
    ends[1:-1] += STRING * offset
    return ends, offset


def residuals(unknown, hinge, unstressed, load, temperature):
    """Moments on strings and lengths of spans, scaled."""
    t, angles = unknown[:SPANS], unknown[SPANS:].reshape(-1, 2)
    ends, d = ends_of(hinge, angles)
    q = np.linalg.norm(load, axis=-1)
    against = -load / q[:, None]
    chord = np.diff(ends, axis=0)
    h = (chord * against).sum(axis=-1)
    level = chord - h[:, None] * against
    S = np.linalg.norm(level, axis=-1)
    H = np.exp(t)
    C = H / q
    u = S / (2 * C)
    L, k = np.hypot(h, 2 * C * np.sinh(u)), 1 / np.tanh(u)
    F = q / (2 * L) * (C * S + (L**2 + h**2) * k / 2)
    pull, left, right = (H / S)[:, None] * level, q / 2 * (L - h * k), q / 2 * (L + h * k)
    on_left, on_right = pull - left[:, None] * against, -pull - right[:, None] * against
    force = on_left[1:] + on_right[:-1] - [0, 0, STRING_WEIGHT / 2]
    ahead, aside = angles.T
    e_ahead = np.stack([-np.sin(aside) * np.sin(ahead), np.cos(ahead), np.cos(aside) * np.sin(ahead)], axis=-1)
    e_aside = np.stack([np.cos(aside), 0 * ahead, np.sin(aside)], axis=-1)
    lengths = L - unstressed * (1 + F / STIFFNESS + EXPANSION * (temperature - 20))
    moments = np.stack([(force * e).sum(axis=-1) for e in (e_ahead, e_aside)], axis=-1)
    return np.concatenate([lengths * 100, moments.ravel() / 100])


def one_by_one(supports, unstressed, load, temperature, count):
    """Return tensions [N] (nan where the search failed) and seconds."""
    begin, found = time.process_time(), []
    for i in range(count):
        start = np.r_[np.full(SPANS, np.log(25e3)), np.zeros(2 * (SPANS - 1))]
        arguments = supports.hinge[i], unstressed[i], load[i], temperature[i]
        solution = root(residuals, start, arguments, tol=1e-8)
        worst = np.abs(residuals(solution.x, *arguments)).max()
        # Scaled: 0.01 N.
        found.append(np.exp(solution.x[:SPANS]) if worst < 1e-4 else np.full(SPANS, np.nan))
    return np.array(found), time.process_time() - begin


def batched(*arguments):
    """Return the equilibrium of all, and seconds."""
    begin = time.process_time()
    return solve(*arguments, PART), time.process_time() - begin


def main(many=20_000, few=100, rounds=5):
    """Return what was measured."""
    supports, unstressed, load, temperature = cases(many)
    known = np.isfinite(unstressed).all(axis=-1)
    given = supports, unstressed, load, temperature
    timed = [(batched(*given), one_by_one(*given, few)) for _ in range(rounds)]
    (eq, _), (other, _) = timed[0]
    seconds, other_seconds = (min(each[i][1] for each in timed) for i in (0, 1))
    both = np.isfinite(other[:, 0]) & eq.converged[:few]
    return {
        "section_cases": many,
        "clipped_in": int(known.sum()),
        "seconds": seconds,
        "not_converged": int((known & ~eq.converged).sum()),
        "iterations_median": float(np.median(eq.iterations[eq.converged])),
        "iterations_greatest": int(eq.iterations[eq.converged].max()),
        "worst_force_N": float(eq.residual_force[eq.converged].max()),
        "worst_length": float(eq.residual_length[eq.converged].max()),
        "root_per_second": few / other_seconds,
        "root_failed": int(np.isnan(other[:, 0]).sum()),
        "ratio": many / seconds * other_seconds / few,
        "greatest_relative_difference": float(np.abs(eq.horizontal_tension[:few] / other - 1)[both].max()),
    }


if __name__ == "__main__":
    print(json.dumps(main(), indent=2))
