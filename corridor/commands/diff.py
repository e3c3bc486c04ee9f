"""The command `corridor diff`."""

from pathlib import Path

import click

from corridor.commands.shared import Answer, command, table_rows

__all__ = ["diff"]


@command(study=False)
@click.argument("before", type=click.Path(path_type=Path))
@click.argument("after", type=click.Path(path_type=Path))
@click.option("--option", help="Name of the only option that counts; default: all.")
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="Table (.csv) or layer (.gpkg) of all changes to write.")
def diff(overwrite, before, after, option, output):
    """Compare the violations of two findings, BEFORE and AFTER.

    Rows are matched by line, span, option, case, what is protected, obstacle
    and measure. A violation that the later findings did not compare counts
    as not compared, not as cleared.

    Ends with status 0 where nothing is new, worse or no longer compared, 1
    where something is, 2 where a file is no findings.

    \b
    Example
      corridor diff before.gpkg after.gpkg -o changes.csv
    """
    from corridor.jobs.diff import compare_findings, write_difference
    from corridor.outputs.guard import Guard

    guard = Guard((before, after), overwrite)
    result = compare_findings(before, after, option=option)
    return Answer(result.status, [write_difference(result, output, guard)] if output else (), result.lines,
                  counts=result.counts, left_open=list(result.left_open), changes=table_rows(result.rows))
