"""The command `corridor compare`."""

from pathlib import Path

import click

from corridor.commands.shared import JSON, QUIET, STUDY, tell, tell_machine

__all__ = ["compare"]


@click.command()
@STUDY
@click.option("--csv", "csv_path", type=click.Path(path_type=Path, dir_okay=False), help="CSV file to write.")
@click.option("--markdown", "markdown_path", type=click.Path(path_type=Path, dir_okay=False),
              help="Markdown file to write.")
@JSON
@QUIET
def compare(study, csv_path, markdown_path, as_json, quiet):
    """Compare the options of STUDY in one table.

    Area, diameter, mass and strength; ratings and losses; sags, tensions and
    knees; violations, new and inherited; what the line carries as it is and
    with its worst spans put right. How each option is sagged is said below.

    Ends with status 0, whatever it finds: `corridor check` judges.

    \b
    Example
      corridor compare study.toml --csv options.csv --markdown options.md
    """
    from corridor.jobs.compare import compare_study, write_comparison
    from corridor.outputs.tables_compare import compare_table, compare_text
    from corridor.terminal import progress_bar

    with progress_bar("Comparing", quiet or as_json) as progress:
        table = compare_table(compare_study(study, progress=progress))
    written = write_comparison(table, csv_path, markdown_path)
    if as_json:
        tell_machine(0, written, options=list(table.names), rows=[
            {"what": what, "unit": unit, "values": list(values)} for what, unit, values, _ in table.rows])
    else:
        tell(compare_text(table), written, quiet=quiet)
