"""The command: parses, calls, prints, and ends with a status. It computes nothing.

Exit status: 0 everything assessed and clear; 1 violations found; 2 the input is wrong; 3 no violation found, but
something could not be assessed; 70 the software failed.
"""

import os
import sys
from datetime import UTC, datetime
from pathlib import Path

import click

from corridor import __version__
from corridor.errors import CorridorError, InputError

__all__ = ["main"]

_EPILOG = """\b
Exit status
  0  everything was assessed and is clear
  1  violations were found
  2  the input is wrong: nothing was written
  3  no violation, but something could not be assessed
  70 the software failed

A screening and study aid: local codes and their adopted edition govern, and a
licensed engineer verifies and signs."""


@click.group(epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="corridor")
def commands():
    """Tell which conductor can hang on the structures that stand there.

    A study file (TOML) names the structures, the ground, what the wires may
    come too near, the conductors in question and the weather to look at them
    in. Every span is compared with the clearance rules, and the findings are
    written as one GeoPackage.

    \b
    Start with the demo:
      corridor check demo_corridor/study.toml
    """


@commands.command(epilog=_EPILOG)
@click.argument("study", type=click.Path(path_type=Path))
@click.option("--output", "-o", type=click.Path(path_type=Path), help="GeoPackage to write; default: what the study says.")
@click.option("--quiet", "-q", is_flag=True, help="No progress and no summary: only errors, and the exit status.")
def check(study, output, quiet):
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

    with progress_bar("Checking spans", quiet) as progress:
        result = check_study(study, output, progress=progress, time=_run_time())
    if not quiet:
        click.echo(summary(result), err=True)
    sys.exit(result.status)


def _run_time():
    """Time of the run: now, or that of the open standard for reproducible builds."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if epoch is None:
        return datetime.now(UTC)
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(None, "SOURCE_DATE_EPOCH", repr(epoch), "seconds since 1970 as an integer") from None


def main(arguments=None):
    """Run the command and end the process with its status."""
    try:
        status = commands.main(arguments, prog_name="corridor", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        status = 2
    except click.Abort:
        click.echo("Stopped. Nothing was written.", err=True)
        status = 130
    except InputError as error:
        click.echo(f"corridor: {error}", err=True)
        status = 2
    except CorridorError as error:
        click.echo(f"corridor: {error}", err=True)
        status = 70
    except Exception:  # the last stop: whatever gets here is a fault of the software, and says so
        import traceback

        traceback.print_exc()
        click.echo("corridor: the software failed (see above). Nothing was written.", err=True)
        status = 70
    sys.exit(status)
