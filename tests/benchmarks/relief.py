"""Every section of seeded lines over seeded relief, clipped in and hung in every case: what was not found, and how far.

    python -m tests.benchmarks.relief --lines 2000 --seed 1

prints as JSON how many sections were clipped in and hung in how many states, how many of those were not found, the
worst force left and the most iterations. Sections that the limits leave no tension for are counted apart: no wire of
that strength hangs there. `--searched 50` holds as many sections of one case against a general search of SciPy, and
prints how many had to be tried until that found so many, and the maximum distance of wire ends.
"""

import argparse
import json
import time

import numpy as np

from corridor.mechanics.equilibrium import solve
from tests.general_search import compare
from tests.relief_sections import CASES, LAW, clipped, loaded, relief_sections

__all__ = ["measure"]


def measure(lines, seed, law=LAW):
    """Return what hanging the sections of some lines comes to."""
    sections = relief_sections(lines, seed)
    begin = time.process_time()
    clip = clipped(sections, law)
    strung, kept = np.isfinite(sections.horizontal_tension), np.isfinite(clip.unstressed[:, 0])
    found = {"lines": lines, "sections": len(sections.count), "no_tension_within_limits": int((~strung).sum()),
             "not_clipped_in": int((strung & ~kept).sum()),
             "lifted_when_clipped_in": int(clip.lifted.any(axis=1).sum()),
             "most_iterations_clipping": int(clip.iterations.max()), "states": 0, "not_found": 0, "lifted": 0,
             "worst_force_N": 0.0, "worst_length": 0.0, "most_iterations": 0}
    for case in CASES:
        supports, load, T = loaded(sections, case)
        state = solve(supports, clip.unstressed, load, T, law, count=sections.count)
        found["states"] += int(kept.sum())
        found["not_found"] += int((kept & ~state.converged).sum())
        found["lifted"] += int(state.lifted.any(axis=1).sum())
        for key, values in (("worst_force_N", state.residual_force), ("worst_length", state.residual_length),
                            ("most_iterations", state.iterations)):
            found[key] = max(found[key], values[state.converged].max().item())
    return found | {"cpu_s": round(time.process_time() - begin, 2)}


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--lines", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--searched", type=int, default=0)
    given = parser.parse_args()
    found = measure(given.lines, given.seed)
    if given.searched:
        tried, worst = compare(relief_sections(given.lines, given.seed, most=9), "uneven ice", given.searched)
        found |= {"searched": given.searched, "tried": tried, "greatest_distance_m": worst}
    print(json.dumps(found, indent=2))
