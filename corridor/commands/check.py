"""The command `corridor check`."""

import sys
from pathlib import Path

import click

from corridor.commands.shared import EPILOG, JSON, QUIET, STUDY, run_time, tell_machine

__all__ = ["check"]


@click.command(epilog=EPILOG)
@STUDY
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="GeoPackage to write; default: that of the study.")
@JSON
@QUIET
def check(study, output, as_json, quiet):
    """Check every span of STUDY and write the findings.

    Reads the study and all it names, strings every option to its limits, hangs
    it in every case over the ground, and compares it with the rules. What
    falls short is in the layer `violations`; what could not be compared is in
    `not_assessed`, and is never a pass.

    The findings replace those of an earlier run only when they are whole.

    \b
    Examples
      corridor check study.toml
      corridor check study.toml -o /tmp/findings.gpkg && echo all clear
    """
    from corridor.check import check_study
    from corridor.terminal import progress_bar, summary

    with progress_bar("Checking spans", quiet or as_json) as progress:
        result = check_study(study, output, progress=progress, time=run_time())
    if as_json:
        tell_machine(result.status, (result.output,), violations=result.violations, not_assessed=result.gaps,
                     overloads=result.overloads, lifted=result.lifted, output=str(result.output),
                     frame=result.frame.name, warnings=list(result.warnings),
                     options=[dict(row) for row in result.options])
    elif not quiet:
        click.echo(summary(result), err=True)
    sys.exit(result.status)
