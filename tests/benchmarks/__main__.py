"""Check corridors three ways: by corridor, by the plain script, by bare reading and writing.

    python -m tests.benchmarks --spans 3000 --hills 300 3000

Every run is a process of its own, so that its peak memory is its own. The process that starts them
loads no large library, since a child's peak includes what its parent held when it was started.
"""

import argparse
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = "tests.benchmarks"
PHASES = "read", "compute", "write"


def run(module, *arguments):
    """Run a module; return what it printed as JSON, wall time and processor time [s], and peak memory [MB]."""
    begin = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", f"{PACKAGE}.{module}", *map(str, arguments)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
    )
    printed = process.stdout.read()
    # wait4 tells of this child alone, RUSAGE_CHILDREN of the greatest child so far.
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{module} failed with exit status {process.returncode}")
    megabytes = usage.ru_maxrss / (2**20 if sys.platform == "darwin" else 2**10)
    used = {"wall": time.perf_counter() - begin, "cpu": usage.ru_utime + usage.ru_stime}
    return json.loads(printed) | used | {"memory": megabytes}


def measure(study, folder, *, exact):
    """Return the runs by name, and the agreement of corridor with the plain script."""
    findings, plain = folder / "findings.gpkg", folder / "plain.gpkg"
    runs = {"corridor": run("engine", study, findings)}
    if exact:
        runs["corridor, exact"] = run("engine", study.with_name("exact.toml"), folder / "exact.gpkg")
    runs["plain script"] = run("plain_script", study, plain)
    for threads in (1, 2):
        name = f"limit, {threads} thread{'s' * (threads > 1)}"
        runs[name] = run("limit", study, findings, folder / "copy.gpkg", "--threads", threads)
    return runs, run("agreement", findings, plain)


def table(runs):
    """Return the runs as lines of text: seconds by phase, ratios to corridor, memory."""
    heads = (*PHASES, "sum", "wall", "sum/ours", "wall/ours", "MB")
    lines = [f"{'':18}" + "".join(f"{head:>10}" for head in heads)]
    own = runs["corridor"]
    for name, result in runs.items():
        seconds = [result[phase] for phase in PHASES]
        # What the limit does before and between its two phases is no part of the limit.
        wall = math.nan if name.startswith("limit") else result["wall"]
        ratios = sum(seconds) / sum(own[phase] for phase in PHASES), wall / own["wall"]
        cells = *seconds, sum(seconds), wall, *ratios
        words = ["-" if math.isnan(cell) else f"{cell:.2f}" for cell in cells]
        lines.append(
            f"{name:18}" + "".join(f"{word:>10}" for word in words) + f"{result['memory']:10.0f}"
        )
    return lines


def report(runs, agreement):
    """Print what was measured of one corridor."""
    print("seconds (read, compute and write of corridor are those of its threads together)")
    print("\n".join(table(runs)))
    cells = runs["limit, 1 thread"]["cells"] / 1e6
    print(f"raster blocks that the wires touch: {cells:.0f} million cells")
    for layer, entry in agreement["layers"].items():
        print(f"{layer}: " + ", ".join(f"{key} {value:.6g}" for key, value in entry.items()))
    print(
        "corridor and the plain script agree"
        if agreement["agree"]
        else "corridor and the plain script DISAGREE"
    )


def ratios(measured):
    """Return the ratios of all corridors as lines of text, the seconds that they are made of beside them."""
    heads = "check", "cpu", "limit", "script", "check/limit", "check/script", "computing", "MB"
    lines = [f"{'':18}" + "".join(f"{head:>13}" for head in heads)]
    for name, runs in measured.items():
        own, script, limit = runs["corridor"], runs["plain script"], runs["limit, 1 thread"]
        least = limit["read"] + limit["write"]
        cells = (own["wall"], own["cpu"], least, script["wall"], own["wall"] / least, own["wall"] / script["wall"],
                 own["compute"] / script["compute"], own["memory"])
        lines.append(f"{name:18}" + "".join(f"{cell:13.2f}" for cell in cells))
    return lines


def report_solver(solver):
    """Print how fast changes of state are solved."""
    print(
        f"states solved per second: {solver['batch_per_second']:.3g} in batches, "
        f"{solver['loop_per_second']:.3g} one by one, ratio {solver['ratio']:.1f}; "
        f"tensions differ by {solver['greatest_relative_difference']:.1e}"
    )


def main(strip, hills, seed, folder):
    """Make, run, compare; return the exit status: 0 where corridor and the plain script agree on every corridor."""
    measured, agree = {}, True
    for kind, spans in (*(("strip", n) for n in strip), *(("hills", n) for n in hills)):
        name = f"{kind}, {spans} spans"
        print(f"making {name}", file=sys.stderr)
        own = folder / f"{kind}_{spans}"
        run_quietly("make_corridor", own, "--spans", spans, "--seed", seed, "--kind", kind)
        measured[name], agreement = measure(own / "study.toml", own, exact=kind == "strip")
        agree &= agreement["agree"]
        print(f"\n{name}")
        report(measured[name], agreement)
    print("\nseconds and ratios; computing: that of corridor to that of the script")
    print("\n".join(ratios(measured)))
    report_solver(run("solver"))
    return 0 if agree else 1


def run_quietly(module, *arguments):
    """Run a module of this package whose output does not matter."""
    subprocess.run(
        [sys.executable, "-m", f"{PACKAGE}.{module}", *map(str, arguments)],
        cwd=ROOT,
        check=True,
        stdout=subprocess.DEVNULL,
    )


if __name__ == "__main__":
    parser = argparse.ArgumentParser(
        prog=f"python -m {PACKAGE}", description=__doc__.splitlines()[0]
    )
    parser.add_argument("--spans", type=int, nargs="*", default=[3000], help="of corridors whose ground is a strip")
    parser.add_argument("--hills", type=int, nargs="*", default=[300, 3000], help="of corridors over a block of hills")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--folder",
        type=Path,
        help="where to make and keep the corridors; default: a temporary folder",
    )
    chosen = parser.parse_args()
    if chosen.folder:
        sys.exit(main(chosen.spans, chosen.hills, chosen.seed, chosen.folder.resolve()))
    with tempfile.TemporaryDirectory() as temporary:
        sys.exit(main(chosen.spans, chosen.hills, chosen.seed, Path(temporary)))
