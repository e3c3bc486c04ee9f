"""The command `corridor tables`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, Answer, command, run_time

__all__ = ["tables"]


@command("Hanging spans")
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=Path("tables"), show_default=True,
              help="Folder to write to; made where it is new.")
@FINDINGS
@click.option("--workbook/--no-workbook", default=True, show_default=True, help="One XLSX workbook of all tables.")
def tables(study, progress, overwrite, folder, findings, workbook):
    """Write the tables of STUDY as CSV and as a workbook.

    Clearance schedule, sag and tension, stringing chart, structure loads,
    options, ratings, and what was not assessed. Needs the findings of
    `corridor check`.

    \b
    Example
      corridor check study.toml; corridor tables study.toml --folder tables
    """
    from corridor.jobs.tables import write_tables

    made = study.tables(findings, progress=progress).tables
    written = write_tables(made, folder, workbook=workbook, time=run_time(), guard=study.guard(overwrite))
    return Answer(0, written,
                  rows={name: len(next(iter(columns.values()), ())) for name, columns in made.items()})
