"""How long a plan takes on a long invented corridor.

    python -m tests.benchmarks.plan FOLDER --spans 3000 --stricter 1.5

makes the corridor, asks for so much more clearance [m], plans the hottest option and prints violations, seconds and
rounds. Nothing is timed in tests. On a machine that does other work, too, look at the seconds of the processor.
"""

import argparse
import csv
from pathlib import Path
from time import perf_counter, process_time

import corridor

from .make_corridor import make_corridor


def ask_more(path, metres):
    """Add to the basic clearance of every rule of a file [m]."""
    with path.open(encoding="utf-8", newline="") as stream:
        heading, *rows = list(csv.reader(stream))
    at = heading.index("base")
    for row in rows:
        row[at] = repr(float(row[at]) + metres)
    with path.open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream, lineterminator="\n").writerows([heading, *rows])


def main():
    """Make, plan, print."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--spans", type=int, default=1000)
    parser.add_argument("--stricter", type=float, default=0.0, help="more clearance of every rule [m]")
    parser.add_argument("--option", default=None, help="default: the hottest")
    options = parser.parse_args()
    options.folder.mkdir(exist_ok=True)
    make_corridor(options.folder, options.spans)
    ask_more(options.folder / "rules.csv", options.stricter)
    from corridor.study import load_study

    path = options.folder / "study.toml"
    study = load_study(path)
    name = options.option or max(study.options, key=lambda option: option.maximum_temperature).name
    begin, used = perf_counter(), process_time()
    with corridor.open_study(path) as opened:
        planned = opened.plan(name, options.folder / "plan")
    seconds, used = perf_counter() - begin, process_time() - used
    print(f"{name}: {planned.before.short} violations, {planned.after.short} after {planned.rounds} rounds, "
          f"{seconds:.1f} s, {used:.1f} s of the processor (a planned copy is checked where there is a plan), "
          f"status {planned.status}")
    if planned.rounds:
        print(f"cost {planned.cost:g}, gap {planned.gap:.2%}; {len(planned.forbids)} demands not met")
    print("\n".join(planned.forbids[:10]))


if __name__ == "__main__":
    main()
