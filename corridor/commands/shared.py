"""What the commands share: options, the opened study, the exit statuses, and how they tell what they found."""

import json
import os
import re
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from datetime import UTC, datetime
from functools import wraps
from pathlib import Path
from typing import Any

import click

from corridor.errors import CorridorWarning, InputError, MachineError

__all__ = ["DRAWING", "EPILOG", "FINDINGS", "FOLDER", "Answer", "command", "data_out", "run_time", "say", "table_rows"]

EPILOG = """\b
Exit status
  0  everything was assessed and is clear
  1  violations were found; or a wire is loaded above its
     strength, lifts its string, swings too near to its
     structure or loads it above its capacity; or a vehicle
     takes more current than the rules allow
  2  the input is wrong: nothing was written
  3  no violation, but something could not be assessed,
     or the data are in doubt, or assumptions are not confirmed
  70 the software failed, or the machine: no room on a disk
     or in memory, or a file that another program holds

A screening and study aid: local codes and their adopted edition govern, and a
licensed engineer verifies and signs."""

_PATH = click.Path(path_type=Path)
FINDINGS = click.option("--findings", "-i", type=_PATH, help="Findings of the check; default: those of the study.")
FOLDER = click.option("--folder", "-f", type=_PATH, help="Folder for tables (CSV) and drawings; made where it is new.")
DRAWING = click.option("--drawing", type=click.Choice(("svg", "png", "pdf")), default="svg", show_default=True,
                       help="Kind of drawing.")


#: Characters that control a terminal, but the end of a line and a tab.
_OBEYED = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


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
        from corridor.outputs.tables import WIDTH

        WIDTH.set(_columns())
        text = _seen("\n".join(self.lines())).rstrip()
        if text:
            click.echo(text)
        say(*(f"Written: {path}" for path in self.files if self.listed), *self.notes())

    def tell_machine(self) -> None:
        """Print one line of JSON on standard output: status, files, and parts; what is not known is null."""
        answer = {"status": self.status, "files": [str(path) for path in self.files], **_plain(self.parts)}
        click.echo(json.dumps(answer, allow_nan=False, ensure_ascii=False))


#: Columns that text has on any terminal, and no more than on any: longer lines are hard to read.
_LEAST, _MOST = 79, 160


def _columns():
    """Columns for text: of a wide terminal what it has, else what every one has."""
    try:
        return min(max(os.get_terminal_size(sys.stdout.fileno()).columns - 1, _LEAST), _MOST)
    except (OSError, ValueError, AttributeError):
        return _LEAST


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
        def run(quiet, as_json, log, trust=False, **options):
            told = click.get_current_context().find_root().obj
            told = {} if told is None else told
            time = run_time()  # which drawings ask for, too, and would fail at
            if log is not None:
                from corridor.commands.log import check_log

                check_log(log)
                told["log"] = log
            with ExitStack() as stack:
                if "SOURCE_DATE_EPOCH" in os.environ:
                    from corridor.outputs.geopackage import clock

                    stack.enter_context(clock(time))
                if study:
                    from corridor.commands.trust import trusted

                    trust = trusted(options["study"], trust)
                if working:
                    from corridor.terminal import progress_bar

                    options["progress"] = stack.enter_context(progress_bar(working, quiet or as_json))
                if study:
                    from corridor.session import open_study

                    options["study"] = stack.enter_context(open_study(options["study"], trust=trust))
                with warnings.catch_warnings(record=True) as caught:
                    warnings.simplefilter("always", CorridorWarning)
                    answer = function(**options)
            told["lines"] = _tell_warnings(caught, options["study"].study.cautions if study and not quiet else ())
            with data_out():
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
            click.Option(["--log"], type=_PATH, help="Log to write, for whoever is asked for help."),
            click.Option(["--overwrite"], is_flag=True, help="Replace files, too, that corridor did not write; never "
                         "one that is read.")]
        if study:
            made.params.append(click.Option(["--trust"], is_flag=True, help="Read files outside the study's folder, "
                                            "and what files refer to; for studies of your own."))
        return made

    return make


def _tell_warnings(caught, cautions):
    """Print what the person should know and return it; the rest goes its way."""
    lines = [f"Warning: {words}" for words in (*cautions, *(
        each.message for each in caught if issubclass(each.category, CorridorWarning)))]
    say(*lines)
    for each in caught:
        if not issubclass(each.category, CorridorWarning):
            warnings.warn_explicit(each.message, each.category, each.filename, each.lineno)
    return lines


def say(*lines: str) -> None:
    """Print lines for the person; where nobody can hear them, that changes nothing."""
    with suppress(OSError, ValueError):
        for line in lines:
            click.echo(_seen(line), err=True)


def _seen(text):
    """A text with signs in place of what a terminal would obey."""
    return _OBEYED.sub("\ufffd", text)


@contextmanager
def data_out() -> Iterator[None]:
    """Return a context in which data are printed; a reader that wants no more of them is no failure.

    Raises
    ------
    MachineError
        They could not be written.
    """
    try:
        yield
    except BrokenPipeError:
        _forget_stdout()
    except OSError as error:
        _forget_stdout()
        raise MachineError(f"standard output could not be written: {error.strerror}") from error


def _forget_stdout():
    """Let all that is still to be printed as data go nowhere."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


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
        seconds = int(epoch)
        if seconds < 0:
            raise ValueError
        return datetime.fromtimestamp(seconds, UTC)
    except (ValueError, OverflowError, OSError):
        raise InputError(None, "SOURCE_DATE_EPOCH", repr(epoch[:40]), "seconds since 1970 as a whole number, up to the "
                         "year 9999") from None
