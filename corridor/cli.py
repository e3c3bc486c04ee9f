"""The command: parses, calls, prints, and ends with a status. It computes nothing.

Exit status: 0 everything assessed and clear; 1 violations found; 2 the input is wrong; 3 no violation found, but
something could not be assessed; 70 the software failed. Each subcommand is a module of `corridor.commands`, which
loads what it needs when it runs.
"""

import sys
from importlib import import_module

import click

from corridor import __version__
from corridor.commands.shared import EPILOG
from corridor.errors import CorridorError, InputError

__all__ = ["COMMANDS", "main"]

#: Subcommands, each a module of `corridor.commands` with a command of its name, in the order of a study's life.
COMMANDS = (
    "check",
    "rating",
    "limits",
    "sag",
    "curves",
    "compare",
    "design",
    "plan",
    "diff",
    "report",
    "draw",
    "tables",
    "export",
    "headroom",
)


@click.group(epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 80})
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


for _name in COMMANDS:
    commands.add_command(getattr(import_module(f"corridor.commands.{_name}"), _name))


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
