"""How long a plan takes on a long invented corridor.

    python -m tests.benchmarks.plan FOLDER --spans 1000 --option NAME

makes the corridor, plans the option and prints violations, seconds and rounds. Nothing is timed in tests.
"""

import argparse
from pathlib import Path
from time import perf_counter

from corridor.jobs.plan import plan_study

from .make_corridor import make_corridor


def main():
    """Make, plan, print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--spans", type=int, default=1000)
    parser.add_argument("--option", default=None, help="default: the hottest")
    options = parser.parse_args()
    options.folder.mkdir(exist_ok=True)
    make_corridor(options.folder, options.spans)
    from corridor.study import load_study

    path = options.folder / "study.toml"
    study = load_study(path)
    name = options.option or max(study.options, key=lambda option: option.maximum_temperature).name
    begin = perf_counter()
    planned = plan_study(path, name, options.folder / "plan")
    seconds = perf_counter() - begin
    print(f"{name}: {planned.before.short} violations, {planned.after.short} after {planned.rounds} rounds, "
          f"{seconds:.1f} s (a planned copy is checked where there is a plan), status {planned.status}")
    if planned.solution is not None:
        print(f"cost {planned.solution.cost:g}, gap {planned.solution.gap:.2%}; {len(planned.forbids)} demands not met")
    print("\n".join(planned.forbids[:10]))


if __name__ == "__main__":
    main()
