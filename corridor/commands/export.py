"""The command `corridor export`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, Answer, command

__all__ = ["export"]


@command()
@click.option("--kind", type=click.Choice(("geojson", "kml", "qgs")), default="geojson", show_default=True,
              help="Format of the file.")
@FINDINGS
@click.option("--output", "-o", type=click.Path(path_type=Path), help="File to write; default: beside the findings.")
@click.option("--option", help="Only this option of the study.")
def export(study, overwrite, kind, findings, output, option):
    """Write the violations of STUDY for field crews, or a project for a GIS.

    One place per object below a span, in longitude and latitude (WGS 84), with
    the violation in words. What was not assessed is there, too: it is not a
    pass. Needs the findings of `corridor check`. With --kind qgs a project of
    QGIS over the findings: a group for each option, ground that is not known
    hatched where it is, and the plan and the ground limits that lie beside them.

    \b
    Example
      corridor check study.toml; corridor export study.toml --kind kml
    """
    found = study.export(kind, findings, output, option=option, overwrite=overwrite)
    counts = found.rows["outcome"].value_counts()
    short, gaps = int(counts.get("violation", 0)), int(counts.get("not assessed", 0))
    return Answer(0, (found.output,), notes=lambda: (f"{short} violation{'s' * (short != 1)}, {gaps} not assessed",),
                  falls_short=short, not_assessed=gaps)
