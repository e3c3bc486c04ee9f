"""The command `corridor check`."""

import os
from pathlib import Path

import click

from corridor.commands.shared import EPILOG, Answer, command, run_time, say
from corridor.commands.trust import own_secret, told_of_networks

__all__ = ["check"]


@command("Checking spans", epilog=EPILOG)
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="GeoPackage, or folder (.parquet), to write; default: that of the study.")
@click.option("--draws", type=click.IntRange(100, 100_000), metavar="N",
              help="Tell how sure margins are by N draws of all inputs, not by the first order.")
@click.option("--workers", metavar="none|local|ADDRESS",
              help="Processes that do the work. local: of Dask, as many as this machine has cores; tcp://host:8786: "
              "of a scheduler of Dask, which is trusted; with both a check that was ended goes on where it was. "
              "none: this one alone. Default: of this machine, where that is faster.")
def check(study, progress, overwrite, output, draws, workers):
    """Check every span of STUDY and write the findings.

    Reads the study and all it names, strings every option to its limits, hangs
    it in every case over the ground, and compares it with the rules. The layer
    `violations` has what violates a rule, the layer `not_assessed` what could
    not be compared: not assessed is never a pass.

    The findings replace those of an earlier run only when they are whole; a run
    that was stopped starts anew, but with --workers local or those of a scheduler.

    \b
    Examples
      corridor check study.toml
      corridor check study.toml -o /tmp/findings.gpkg && echo all clear
      corridor check study.toml --draws 1000
      corridor check study.toml -o findings.parquet --workers local
    """
    from corridor.cluster import ClusterWorkers, Processes, processes_for
    from corridor.terminal import summary

    if workers is None:
        own = hasattr(os, "sched_getaffinity")
        count = processes_for(study, len(os.sched_getaffinity(0)) if own else os.cpu_count() or 1)
        workers = Processes(count, told_of_networks()) if count > 1 else None
    elif workers == "none":
        workers = None
    else:
        (click.get_current_context().find_root().obj or {})["next"] = "with --workers goes on"
        workers = ClusterWorkers(workers, secret=own_secret(), environment=told_of_networks(), say=say)
    result = study.check(output or study.output, progress=progress, time=run_time(), overwrite=overwrite,
                         draws=draws or 0, workers=workers)
    return Answer(result.status, (result.output,), notes=lambda: summary(result).splitlines(), listed=False,
                  violations=result.violations, not_assessed=result.gaps,
                  assumptions=list(result.inspection.assumptions),
                  doubts=len(result.inspection.doubts), doubts_open=result.inspection.open,
                  causes=[cause._asdict() for cause in result.causes], overloads=result.overloads, lifted=result.lifted,
                  over_capacity=result.over_capacity, at_structures=result.at_structures, induced=result.induced,
                  output=str(result.output), frame=result.frame.name, warnings=list(result.warnings),
                  options=list(result.options))
