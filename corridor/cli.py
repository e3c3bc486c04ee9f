"""The command: parses, calls, prints, and ends with a status. It computes nothing.

Exit status: 0 everything assessed and clear; 1 violations found; 2 the input is wrong; 3 no violation found, but
something could not be assessed; 70 the software or the machine failed. Each subcommand is a module of
`corridor.commands`, which loads what it needs when it runs.
"""

import os
import sys
import traceback
from importlib import import_module
from pathlib import Path

import click

from corridor import __version__
from corridor.commands.log import write_log
from corridor.commands.shared import EPILOG, data_out, say
from corridor.constants import NO_ROOM
from corridor.errors import CorridorError, InputError

__all__ = ["COMMANDS", "main"]

#: Subcommands, each a module of `corridor.commands` with a command of its name, in the order of a study's life.
COMMANDS = (
    "new",
    "inspect",
    "survey",
    "check",
    "rating",
    "limits",
    "sag",
    "curves",
    "compare",
    "design",
    "stringing",
    "plan",
    "diff",
    "report",
    "draw",
    "tables",
    "export",
    "ground-limit",
)


class _InOrder(click.Group):
    """A group whose help lists its commands in the order they were added."""

    def list_commands(self, context):
        """Return the names of the commands."""
        return list(self.commands)


@click.group(cls=_InOrder, epilog=EPILOG,
             context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
@click.version_option(__version__, prog_name="corridor")
def commands():
    """Find which conductors fit the existing structures of an overhead line.

    A study file (TOML) names the structures, the ground, what the wires may
    come too near, the conductors in question and the weather to look at them
    in. Every span is compared with the clearance rules, and the findings are
    written as one GeoPackage.

    \b
    Start with the demo:
      corridor check demo_corridor/study.toml
    """


for _name in (name.replace("-", "_") for name in COMMANDS):
    commands.add_command(getattr(import_module(f"corridor.commands.{_name}"), _name))


def main(arguments=None):
    """Run the command and end the process with its status."""
    # Matrices have a few rows here: threads for them would wait for one another, on a busy machine for minutes.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _need_streams()
    told, before = {}, len(_placed())
    try:
        status = commands.main(arguments, prog_name="corridor", standalone_mode=False, obj=told)
        with data_out():
            sys.stdout.flush()
    except click.ClickException as error:
        say(*_shown(error))
        status = 2
    except click.Abort:
        status = _failed(130, f"Stopped; the next run {told.get('next', 'starts anew')}.", before, told)
    except InputError as error:
        say(f"corridor: {error}")
        status = 2
    except CorridorError as error:
        status = _failed(70, f"corridor: {error}.", before, told)
    except MemoryError:
        status = _failed(70, "corridor: there is not enough memory for this.", before, told)
    except Exception as error:  # the last stop: whatever gets here is a fault of the software or of the machine
        if getattr(error, "errno", None) not in NO_ROOM:
            told["trace"] = traceback.format_exc()
        status = _failed(70, _words(error), before, told)
    write_log(told, status, sys.argv[1:] if arguments is None else arguments)
    sys.exit(status)


def _need_streams():
    """Have something behind the three standard streams: else the next file that is opened would get what is printed."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115, as long as the process


def _shown(error):
    """What click says of a wrong command line."""
    usage = [error.ctx.get_usage()] if getattr(error, "ctx", None) is not None else []
    return [*usage, f"Error: {error.format_message()}"]


def _words(error):
    """One line on what nothing else was prepared for."""
    if isinstance(error, OSError):
        file = f"{Path(str(error.filename)).name}: " if error.filename else ""
        return f"corridor: {file}{(error.strerror or str(error)).rstrip('.')}."
    text = " ".join(str(error).split())[:200]
    return f"corridor: the software failed ({type(error).__name__}{': ' if text else ''}{text})."


def _placed():
    """The files that got their names in this process, as far as any were written."""
    return getattr(sys.modules.get("corridor.outputs.files"), "PLACED", ())


def _failed(status, words, before, told):
    """Say what went wrong and what was written none the less; return the status."""
    names = ", ".join(path.name for path in _placed()[before:])
    nothing = "Nothing was written but the log." if told.get("log") else "Nothing was written."
    say(f"{words} " + (f"Written before: {names}." if names else nothing))
    return status
