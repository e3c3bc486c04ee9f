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
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="GeoPackage to write; default: that of the study.")
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


_FOLDER = click.option("--folder", "-f", type=click.Path(path_type=Path),
                       help="Folder for tables (CSV) and drawings; made where it is new.")
_DRAWING = click.option("--drawing", type=click.Choice(("svg", "png", "pdf")), default="svg", show_default=True,
                        help="Kind of drawing.")


@commands.command()
@click.argument("study", type=click.Path(path_type=Path))
@_FOLDER
@_DRAWING
def rating(study, folder, drawing):
    """Tell what current each option of STUDY carries, and what it loses.

    By IEEE Std 738 and by CIGRE TB 601: normal, emergency and short-time
    current, temperature and loss at the required current and at the rating,
    the differences to the existing option; tables over air and wind. With a
    [series] in the study also the hours above the limits, the energy lost, and
    the hours in which each span would have been short of its rule.

    \b
    Example
      corridor rating study.toml --folder ratings
    """
    from corridor.outputs import tables
    from corridor.rating import rate_study, write_ratings
    from corridor.terminal import progress_bar

    with progress_bar("Looking at spans") as progress:
        result = rate_study(study, progress=progress)
    lines = [*tables.weather_text(result.ratings), "", *tables.comparison_text(result.comparison), "",
             *tables.rating_text(result.table, result.ratings.method)]
    if result.series:
        lines += ["The hours of the series", "", *tables.series_text(result.series["series"]), ""]
    _tell(lines, write_ratings(result, folder, drawing) if folder else ())


@commands.command()
@click.argument("study", type=click.Path(path_type=Path))
@_FOLDER
@_DRAWING
def limits(study, folder, drawing):
    """Tell what the worst spans of STUDY cost, in amperes.

    Finds for each span and option the temperature at which it just clears, and
    the current that makes it so hot. The ladder is what a line carries with
    none, one, two and more of its worst spans put right. Spans that were not
    assessed come first: until then the current of the line is not known.

    Ends with status 0, or 3 where a span could not be assessed.

    \b
    Example
      corridor limits study.toml --folder limits --drawing png
    """
    from corridor.outputs import tables
    from corridor.rating import limit_study, write_limits
    from corridor.terminal import progress_bar

    with progress_bar("Looking at spans") as progress:
        result = limit_study(study, progress=progress)
    _tell(tables.ladder_text(result.ladder), write_limits(result, folder, drawing) if folder else ())
    sys.exit(result.status)


def _tell(lines, written):
    click.echo("\n".join(lines).rstrip())
    for path in written:
        click.echo(f"Written: {path}", err=True)


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
