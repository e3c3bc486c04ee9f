"""The command `corridor survey`."""

from pathlib import Path

import click

from corridor.commands.shared import Answer, command, table_rows

__all__ = ["survey"]


@command("Fitting wires")
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=".", show_default=True,
              help="Folder for layers, tables and pictures; made where it is new.")
@click.option("--pictures/--no-pictures", default=True, show_default=True, help="A page a span, in fits.pdf.")
def survey(study, progress, overwrite, folder, pictures):
    """Fit the wires of STUDY to the points of its surveys.

    Points are sorted by span and wire, and a catenary is fitted to each wire:
    its tension, sag and swing, its ends, and how they differ from the line as
    the study describes it. What does not fit is left out and listed. `corridor
    check` does the same and starts from it.

    Writes surveyed.gpkg (layers surveyed_wires and surveyed_spans), both as
    CSV, and fits.pdf. Ends with status 0, or 3 where a wire is not used.

    \b
    Examples
      corridor survey study.toml
      corridor survey study.toml --folder survey --no-pictures
    """
    from corridor.jobs.survey import write_survey
    from corridor.outputs.tables_survey import survey_text, wrapped

    found = study.survey()
    written = write_survey(found, folder, study.guard(overwrite), pictures=pictures)
    spans = {key: values for key, values in found.layers["surveyed_spans"].items() if key != "geometry"}
    return Answer(found.status, written, lambda: survey_text(found.layers), notes=lambda: wrapped(found.words),
                  spans=table_rows(spans))
