"""What the commands share: options, the exit statuses, and how they tell what they found."""

import json
import os
from datetime import UTC, datetime
from pathlib import Path

import click

from corridor.errors import InputError

__all__ = ["DRAWING", "EPILOG", "FINDINGS", "FOLDER", "JSON", "QUIET", "STUDY", "run_time", "table_rows", "tell",
           "tell_machine"]

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
FINDINGS = click.option("--findings", "-i", type=click.Path(path_type=Path),
                        help="GeoPackage of the check; default: that of the study.")
FOLDER = click.option("--folder", "-f", type=click.Path(path_type=Path),
                      help="Folder for tables (CSV) and drawings; made where it is new.")
DRAWING = click.option("--drawing", type=click.Choice(("svg", "png", "pdf")), default="svg", show_default=True,
                       help="Kind of drawing.")
QUIET = click.option("--quiet", "-q", is_flag=True, help="No progress, no summary: only errors and the exit status.")


JSON = click.option("--json", "as_json", is_flag=True,
                    help="One JSON object of the result on standard output, for machines.")


def tell(lines, written=(), *, quiet=False):
    """Print lines for the person, and say what was written; nothing where it is quiet."""
    if quiet:
        return
    click.echo("\n".join(lines).rstrip())
    for path in written:
        click.echo(f"Written: {path}", err=True)


def tell_machine(status, written=(), **parts):
    """Print the result as one line of JSON: exit status, files written, and parts; what is not known is null.

    Parameters
    ----------
    status : int
    written : sequence of path
    **parts
        Values, lists and dicts of them, of Python or numpy.
    """
    answer = {"status": status, "files": [str(path) for path in written], **_plain(parts)}
    click.echo(json.dumps(answer, allow_nan=False, ensure_ascii=False))


def table_rows(columns):
    """Return columns as a list of rows, without their places."""
    names = [name for name in columns if name != "geometry"]
    return [dict(zip(names, row, strict=True)) for row in zip(*(columns[name] for name in names), strict=True)]


def _plain(value):
    """A value as JSON has it; None for nan, for what is infinite, and for no time."""
    if isinstance(value, dict):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(inner) for inner in value]
    value = value.item() if hasattr(value, "item") else value
    if value is None or value != value or value in (float("inf"), float("-inf")):
        return None
    return value if isinstance(value, str | bool | int | float) else str(value)


def run_time():
    """Time of the run: now, or that of the open standard for reproducible builds."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if epoch is None:
        return datetime.now(UTC)
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(None, "SOURCE_DATE_EPOCH", repr(epoch), "seconds since 1970 as an integer") from None
