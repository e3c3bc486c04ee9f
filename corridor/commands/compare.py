"""The command `corridor compare`."""

from pathlib import Path

import click

from corridor.commands.shared import Answer, command

__all__ = ["compare"]


@command("Comparing")
@click.option("--csv", "csv_path", type=click.Path(path_type=Path, dir_okay=False), help="CSV file to write.")
@click.option("--markdown", "markdown_path", type=click.Path(path_type=Path, dir_okay=False),
              help="Markdown file to write.")
@click.option("--lines", "lines_path", type=click.Path(path_type=Path, dir_okay=False),
              help="CSV file to write, or Markdown where it ends in .md: each line with each option.")
def compare(study, progress, overwrite, csv_path, markdown_path, lines_path):
    """Compare the options of STUDY in one table.

    Area, diameter, mass and strength; ratings and losses; sags, tensions and
    knees; violations, new and inherited; the current of the line as it is and with
    its worst spans remedied. Below the table: how each option is sagged.

    With --lines: of many lines also what each option gains over today line by
    line, what limits it, violations, and what an ampere costs in new wire, the
    cheapest first; what is not known comes last.

    Ends with status 0 whatever it finds: the verdict is that of `corridor check`.

    \b
    Example
      corridor compare study.toml --csv options.csv --markdown options.md
    """
    from corridor.jobs.compare import write_comparison
    from corridor.outputs.files import Files
    from corridor.outputs.tables import write_csv
    from corridor.outputs.tables_compare import compare_table, compare_text
    from corridor.outputs.tables_lines import lines_markdown, lines_text

    files = Files(study.guard(overwrite))
    files.reserve(csv_path, markdown_path, lines_path)
    compared = (study.compare if lines_path is None else study.compare_lines)(progress=progress)
    table, lines, prices = compare_table(compared), compared.lines, study.study.plan
    with files:
        write_comparison(table, csv_path, markdown_path, files=files)
        if lines_path is not None and lines_path.suffix.lower() == ".md":
            files.new(lines_path).write_text(lines_markdown(lines), encoding="utf-8")
        elif lines_path is not None:
            write_csv(files.new(lines_path), lines)
    currency = None if prices is None else prices.currency
    return Answer(0, files.written, lambda: [*compare_text(table), *lines_text(lines, currency)],
                  **({} if lines_path is None else {"each_line": _records(lines)}),
                  options=list(table.names),
                  rows=[{"what": what, "unit": unit, "values": list(values)} for what, unit, values, _ in table.rows])


def _records(columns):
    return [dict(zip(columns, values, strict=True)) for values in zip(*columns.values(), strict=True)]
