"""The command `corridor limits`."""

import sys

import click

from corridor.commands.shared import DRAWING, FOLDER, JSON, QUIET, STUDY, table_rows, tell, tell_machine

__all__ = ["limits"]


@click.command()
@STUDY
@FOLDER
@DRAWING
@JSON
@QUIET
def limits(study, folder, drawing, as_json, quiet):
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
    from corridor.jobs.rating import limit_study, write_limits
    from corridor.outputs import tables
    from corridor.terminal import progress_bar

    with progress_bar("Looking at spans", quiet or as_json) as progress:
        result = limit_study(study, progress=progress)
    written = write_limits(result, folder, drawing) if folder else ()
    if as_json:
        tell_machine(result.status, written, limits=table_rows(result.limits), ladder=table_rows(result.ladder))
    else:
        tell(tables.ladder_text(result.ladder), written, quiet=quiet)
    sys.exit(result.status)
