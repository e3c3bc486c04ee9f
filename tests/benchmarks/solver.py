"""States solved per second: corridor's batch beside a root search in a loop, on the same states.

    python -m tests.benchmarks.solver

prints both rates and how well the tensions agree as JSON.
"""

import json
import time

import numpy as np

from corridor.mechanics.elongation import TwoPart
from corridor.mechanics.ruling_span import tension, unstressed_excess

from .plain_wire import horizontal_tension, unstressed_length

#: A conductor of two parts, as the corridor of the benchmark has; SI units.
CONDUCTOR = {
    "outer_area": 264e-6,
    "core_area": 62e-6,
    "outer_modulus": 55e9,
    "core_modulus": 190e9,
    "outer_expansion": 23e-6,
    "core_expansion": 11.5e-6,
    "permanent_set": 8.2e-4,
    "compression": 10e6,
}
WEIGHT = 11.9


def random_states(count, rng):
    """Spans, tensions at 10 °C, temperatures and loads that are met in practice."""
    return (
        rng.uniform(100, 500, count),
        WEIGHT * rng.uniform(800, 2000, count),
        rng.uniform(-20, 180, count),
        WEIGHT * rng.uniform(1.0, 2.5, count),
    )


def batch(S, H, T, w):
    """Solve all states at once; return tensions [N] and seconds."""
    c = CONDUCTOR
    part = TwoPart(
        c["outer_area"] * c["outer_modulus"],
        c["core_area"] * c["core_modulus"],
        c["outer_expansion"],
        c["core_expansion"],
        c["permanent_set"],
        0.0,
        c["compression"] * c["outer_area"],
    )
    begin = time.perf_counter()
    solved = tension(unstressed_excess(S, H, WEIGHT, 10.0, part), S, w, T, part).horizontal_tension
    return solved, time.perf_counter() - begin


def loop(S, H, T, w):
    """Solve the same states one by one; return tensions [N] and seconds."""
    begin = time.perf_counter()
    solved = [
        horizontal_tension(
            unstressed_length(s, h, WEIGHT, 10.0, CONDUCTOR), s, load, t, CONDUCTOR, True
        )
        for s, h, t, load in zip(S.tolist(), H.tolist(), T.tolist(), w.tolist(), strict=True)
    ]
    return np.array(solved), time.perf_counter() - begin


def main(many=200_000, few=5_000, seed=1):
    """Return rates [1/s], their ratio, and the greatest relative difference of the tensions."""
    states = random_states(many, np.random.default_rng(seed))
    ours, seconds = batch(*states)
    plain, plain_seconds = loop(*(column[:few] for column in states))
    return {
        "batch_per_second": many / seconds,
        "loop_per_second": few / plain_seconds,
        "ratio": many / seconds * plain_seconds / few,
        "unsolved": int(np.isnan(ours).sum()),
        "greatest_relative_difference": float(np.abs(ours[:few] / plain - 1).max()),
    }


if __name__ == "__main__":
    print(json.dumps(main()))
