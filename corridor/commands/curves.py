"""The command `corridor curves`."""

from pathlib import Path

import click

from corridor.commands.shared import DRAWING, Answer, command, table_rows

__all__ = ["curves"]


@command("Hanging sections")
@click.option("--line", help="Name of a line, where several have such a section or span.")
@click.option("--section", help="Name of a section: the worst of its spans is drawn.")
@click.option("--span", help="Name of a span.")
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=".", show_default=True,
              help="Folder for the drawing and its tables (CSV); made where it is new.")
@DRAWING
def curves(study, progress, overwrite, line, section, span, folder, drawing):
    """Draw sag against temperature of every option in one span of STUDY.

    The knee of each option is marked, the band of compression shaded, and the
    sag that clearance allows is drawn. The existing wire is the
    reference. Without --span the worst span of the study is drawn.

    Writes curves.svg (or .png, .pdf), curves.csv and knees.csv. Ends with
    status 0, or 3 where a span that was asked for could not be assessed.

    \b
    Examples
      corridor curves study.toml
      corridor curves study.toml --span N03-N04 --folder curves --drawing pdf
    """
    from corridor.jobs.curves import knee_columns, write_curves
    from corridor.outputs.tables_sag import curves_text

    found = study.curves(line=line, section=section, span=span, progress=progress)
    written = write_curves(found, folder, drawing, study.guard(overwrite))
    return Answer(found.status, written, lambda: curves_text(found), line=found.line,
                  section=found.section, span=found.span, wire=found.wire, not_assessed=list(found.unknown),
                  options=table_rows(knee_columns(found)))
