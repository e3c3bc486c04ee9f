"""What the commands share: options, the opened study, the exit statuses, and how they tell what they found."""

import json
import os
import warnings
from collections.abc import Callable, Iterable, Mapping
from contextlib import ExitStack
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import Any

import click

from corridor.errors import CorridorWarning, InputError

__all__ = ["DRAWING", "EPILOG", "FINDINGS", "FOLDER", "Answer", "command", "run_time", "table_rows"]

EPILOG = """\b
Exit status
  0  everything was assessed and is clear
  1  violations were found
  2  the input is wrong: nothing was written
  3  no violation, but something could not be assessed
  70 the software failed

A screening and study aid: local codes and their adopted edition govern, and a
licensed engineer verifies and signs."""

_PATH = click.Path(path_type=Path)
FINDINGS = click.option("--findings", "-i", type=_PATH, help="GeoPackage of the check; default: that of the study.")
FOLDER = click.option("--folder", "-f", type=_PATH, help="Folder for tables (CSV) and drawings; made where it is new.")
DRAWING = click.option("--drawing", type=click.Choice(("svg", "png", "pdf")), default="svg", show_default=True,
                       help="Kind of drawing.")


class Answer:
    """What a command found: exit `status`, `files` written, and the rest twice: for the person `lines` of data and
    `notes` beside them, each made when it is wanted; for machines `parts`, values, lists and dicts of them, of Python
    or numpy. The files are `listed` for the person unless the notes name them."""

    def __init__(self, status: int, files: Iterable[Path] = (), lines: Callable[[], Iterable[str]] = tuple, *,
                 notes: Callable[[], Iterable[str]] = tuple, listed: bool = True, **parts: Any) -> None:
        self.status, self.files, self.lines, self.notes = status, tuple(files), lines, notes
        self.listed, self.parts = listed, parts

    def tell(self) -> None:
        """Print data on standard output, all else on standard error."""
        text = "\n".join(self.lines()).rstrip()
        if text:
            click.echo(text)
        for line in (*(f"Written: {path}" for path in self.files if self.listed), *self.notes()):
            click.echo(line, err=True)

    def tell_machine(self) -> None:
        """Print one line of JSON on standard output: status, files, and parts; what is not known is null."""
        answer = {"status": self.status, "files": [str(path) for path in self.files], **_plain(self.parts)}
        click.echo(json.dumps(answer, allow_nan=False, ensure_ascii=False))


def command(working: str | None = None, *, study: bool = True, **more: Any) -> Callable[[Callable], click.Command]:
    """Return a decorator that makes a command of a function `(study, progress, overwrite, **options) -> Answer`.

    The command has `--json` and `--quiet` besides, tells the answer and what the person should know, and returns its
    status.

    Parameters
    ----------
    working : str, optional
        What stands beside the bar while it works; None: there is none, and the function takes no `progress`.
    study : bool
        Whether it takes a study, which it gets opened.
    **more
        For `click.command`.
    """
    def make(function):
        @wraps(function)
        def run(quiet, as_json, **options):
            with ExitStack() as stack:
                if study:
                    from corridor.session import open_study

                    options["study"] = stack.enter_context(open_study(options["study"]))
                if working:
                    from corridor.terminal import progress_bar

                    options["progress"] = stack.enter_context(progress_bar(working, quiet or as_json))
                with warnings.catch_warnings(record=True) as caught:
                    warnings.simplefilter("always", CorridorWarning)
                    answer = function(**options)
            _tell_warnings(caught)
            if as_json:
                answer.tell_machine()
            elif not quiet:
                answer.tell()
            return answer.status

        made = click.command(**more)(run)
        made.params = [
            *([click.Argument(["study"], type=_PATH)] if study else []), *made.params,
            click.Option(["--json", "as_json"], is_flag=True,
                         help="One JSON object of the result on standard output, for machines."),
            click.Option(["--quiet", "-q"], is_flag=True,
                         help="No progress, no summary: only errors and the exit status."),
            click.Option(["--overwrite"], is_flag=True, help="Replace files, too, that corridor did not write; never "
                         "one that is read.")]
        return made

    return make


def _tell_warnings(caught):
    """Print what the person should know; the rest goes its way."""
    for each in caught:
        if issubclass(each.category, CorridorWarning):
            click.echo(f"Warning: {each.message}", err=True)
        else:
            warnings.warn_explicit(each.message, each.category, each.filename, each.lineno)


def table_rows(columns: Mapping[str, Iterable]) -> list[dict[str, Any]]:
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


def run_time() -> datetime:
    """Time of the run: now, or that of the open standard for reproducible builds."""
    epoch = os.environ.get("SOURCE_DATE_EPOCH")
    if epoch is None:
        return datetime.now(UTC)
    try:
        return datetime.fromtimestamp(int(epoch), UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(None, "SOURCE_DATE_EPOCH", repr(epoch), "seconds since 1970 as an integer") from None
