"""The command `corridor compare`."""

from pathlib import Path

import click

from corridor.commands.shared import Answer, command

__all__ = ["compare"]


@command("Comparing")
@click.option("--csv", "csv_path", type=click.Path(path_type=Path, dir_okay=False), help="CSV file to write.")
@click.option("--markdown", "markdown_path", type=click.Path(path_type=Path, dir_okay=False),
              help="Markdown file to write.")
def compare(study, progress, overwrite, csv_path, markdown_path):
    """Compare the options of STUDY in one table.

    Area, diameter, mass and strength; ratings and losses; sags, tensions and
    knees; violations, new and inherited; the current of the line as it is and with
    its worst spans remedied. Below the table: how each option is sagged.

    Ends with status 0 whatever it finds: the verdict is that of `corridor check`.

    \b
    Example
      corridor compare study.toml --csv options.csv --markdown options.md
    """
    from corridor.jobs.compare import write_comparison
    from corridor.outputs.files import Files
    from corridor.outputs.tables_compare import compare_table, compare_text

    files = Files(study.guard(overwrite))
    files.reserve(csv_path, markdown_path)
    table = compare_table(study.compare(progress=progress))
    with files:
        write_comparison(table, csv_path, markdown_path, files=files)
    return Answer(0, files.written, lambda: compare_text(table),
                  options=list(table.names),
                  rows=[{"what": what, "unit": unit, "values": list(values)} for what, unit, values, _ in table.rows])
