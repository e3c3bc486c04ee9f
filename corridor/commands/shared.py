"""What the commands share: options, the exit statuses, and how they tell what they found."""

import os
from datetime import UTC, datetime
from pathlib import Path

import click

from corridor.errors import InputError

__all__ = ["DRAWING", "EPILOG", "FOLDER", "QUIET", "STUDY", "run_time", "tell"]

EPILOG = """\b
Exit status
  0  everything was assessed and is clear
  1  violations were found
  2  the input is wrong: nothing was written
  3  no violation, but something could not be assessed
  70 the software failed

A screening and study aid: local codes and their adopted edition govern, and a
licensed engineer verifies and signs."""

STUDY = click.argument("study", type=click.Path(path_type=Path))
FOLDER = click.option("--folder", "-f", type=click.Path(path_type=Path),
                      help="Folder for tables (CSV) and drawings; made where it is new.")
DRAWING = click.option("--drawing", type=click.Choice(("svg", "png", "pdf")), default="svg", show_default=True,
                       help="Kind of drawing.")
QUIET = click.option("--quiet", "-q", is_flag=True, help="No progress, no summary: only errors and the exit status.")


def tell(lines, written=()):
    """Print lines for the person or the next program, and say what was written."""
    click.echo("\n".join(lines).rstrip())
    for path in written:
        click.echo(f"Written: {path}", err=True)


def run_time():
    """Time of the run: now, or that of the open standard for reproducible builds."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if epoch is None:
        return datetime.now(UTC)
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(None, "SOURCE_DATE_EPOCH", repr(epoch), "seconds since 1970 as an integer") from None
