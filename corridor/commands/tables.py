"""The command `corridor tables`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, JSON, QUIET, STUDY, run_time, tell_machine

__all__ = ["tables"]


@click.command()
@STUDY
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=Path("tables"), show_default=True,
              help="Folder to write to; made where it is new.")
@FINDINGS
@click.option("--workbook/--no-workbook", default=True, show_default=True, help="One XLSX workbook of all tables.")
@JSON
@QUIET
def tables(study, folder, findings, workbook, as_json, quiet):
    """Write what is looked up in STUDY as CSV and as a workbook.

    Clearance schedule, sag and tension, stringing chart, structure loads,
    options, ratings, and what was not assessed. Needs the findings of
    `corridor check`.

    \b
    Example
      corridor check study.toml; corridor tables study.toml --folder tables
    """
    from corridor.jobs.tables import study_tables, write_tables
    from corridor.terminal import progress_bar

    with progress_bar("Hanging spans", quiet or as_json) as progress:
        made = study_tables(study, findings, progress=progress)
    written = write_tables(made, folder, workbook=workbook, time=run_time())
    if as_json:
        tell_machine(0, written, rows={name: len(next(iter(columns.values()), ())) for name, columns in made.items()})
    elif not quiet:
        for path in written:
            click.echo(f"Written: {path}", err=True)
