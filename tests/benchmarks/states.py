"""States by measured curves: corridor's batch beside a root search in a loop, on the same states.

    python -m tests.benchmarks.states

prints both rates, their ratio, the worst strain residual and how well the tensions agree as JSON. The loop is
SciPy's `brentq` on one residual a state that needs no inner search; nesting one for the strain would slow it further.
"""

import json
import math
import time

import numpy as np
from scipy.optimize import brentq

from corridor.conductor import catalogue
from corridor.line.elongation_laws import law_rows, take_law, with_sets
from corridor.line.facts import Wiring
from corridor.mechanics.ruling_span import tension, unstressed_excess

CONDUCTOR = catalogue.find("Drake")
WEIGHT = CONDUCTOR.mass * 9.80665
#: States that are solved at once: so many that they stay in the processor's cache.
BLOCK = 8192


def random_states(count, rng):
    """Spans, tensions at 10 °C, temperatures, loads, and initial or final sets that are met in practice."""
    final = rng.random(count) < 0.5
    return (rng.uniform(100, 500, count), WEIGHT * rng.uniform(800, 2000, count), rng.uniform(-20, 180, count),
            WEIGHT * rng.uniform(1.0, 2.5, count), np.where(final, 1.05e-3, 0.0), np.where(final, 6e-5, 0.0))


def virgin():
    """Return the law of the conductor without sets."""
    return take_law(law_rows([Wiring(CONDUCTOR, 100.0, None, ())])[0], 0)


def batch(S, H, T, w, outer_set, core_set):
    """Solve all states; return tensions [N], residuals [-] and seconds."""
    begin = time.perf_counter()
    parts = []
    for i in range(0, len(S), BLOCK):
        at = slice(i, i + BLOCK)
        law = with_sets(virgin(), outer_set[at], core_set[at])
        parts.append(tension(unstressed_excess(S[at], H[at], WEIGHT, 10.0, law), S[at], w[at], T[at], law))
    solved, residual = (np.concatenate(column) for column in zip(*parts, strict=True))
    return solved, residual, time.perf_counter() - begin


def _force(e, T, p, outer_set, core_set):
    """Force of the conductor at a strain [N], by its curves and lines, written out for one state."""
    def one(m, K, s, curve, end):
        x = min(max(m, 0.0), end)
        c0, c1, c2, c3, c4 = curve
        slope = c1 + x * (2 * c2 + x * (3 * c3 + x * 4 * c4))
        return min(K * (m - s), c0 + x * (c1 + x * (c2 + x * (c3 + x * c4))) + slope * (m - x))

    outer = one(e - p["outer_expansion"] * (T - 20), p["outer_stiffness"], outer_set, p["outer"], p["outer_end"])
    core = one(e - p["core_expansion"] * (T - 20), p["core_stiffness"], core_set, p["core"], p["core_end"])
    return max(outer, -p["outer_compression"]) + core


def _level(S, H, w):
    """Slack over span, and mean tension [N]."""
    u = S * w / (2 * H)
    return math.sinh(u) / u - 1, H * (u / (2 * math.sinh(u)) + math.cosh(u) / 2)


def _one_state(S, H, T, w, outer_set, core_set, p):
    """Tension of one state [N]."""
    slack, F = _level(S, H, WEIGHT)
    e = brentq(lambda e: _force(e, 10.0, p, outer_set, core_set) - F, -0.01, 0.05, xtol=1e-14)
    excess = (slack - e) / (1 + e)

    def gap(H):
        slack, F = _level(S, H, w)
        return F - _force((slack - excess) / (1 + excess), T, p, outer_set, core_set)

    return brentq(gap, w * S / 6, w * S * 1000, xtol=1e-6, rtol=1e-13)


def loop(*states):
    """Solve the same states one by one; return tensions [N] and seconds."""
    p = {name: float(value) for name, value in virgin()._asdict().items()}
    p["outer"], p["core"] = ([p[f"{part}_{k}"] for k in range(5)] for part in ("outer", "core"))
    rows = list(zip(*(column.tolist() for column in states), strict=True))
    begin = time.perf_counter()
    solved = [_one_state(*row, p) for row in rows]
    return np.array(solved), time.perf_counter() - begin


def main(many=1_000_000, few=5_000, seed=1):
    """Return rates [1/s], their ratio, the worst residual and the greatest relative difference of the tensions."""
    states = random_states(many, np.random.default_rng(seed))
    ours, residual, seconds = batch(*states)
    plain, plain_seconds = loop(*(column[:few] for column in states))
    return {
        "batch_per_second": many / seconds,
        "loop_per_second": few / plain_seconds,
        "ratio": many / seconds * plain_seconds / few,
        "unsolved": int(np.isnan(ours).sum()),
        "worst_strain_residual": float(np.abs(residual).max()),
        "greatest_relative_difference": float(np.abs(ours[:few] / plain - 1).max()),
    }


if __name__ == "__main__":
    print(json.dumps(main()))
