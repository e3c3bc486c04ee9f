"""The command `corridor draw`."""

from pathlib import Path

import click

from corridor.commands.shared import QUIET, STUDY, run_time

__all__ = ["draw"]


@click.command()
@STUDY
@click.option("--findings", "-i", type=click.Path(path_type=Path),
              help="GeoPackage of the check; default: that of the study.")
@click.option("--output", "-o", type=click.Path(path_type=Path), help="PDF to write; default: beside the findings.")
@click.option("--option", "options", multiple=True, help="Option to draw, more than once for more; default: the worst.")
@click.option("--case", "cases", multiple=True, help="Case to draw; default: the first three compared vertically.")
@click.option("--scale", type=click.FloatRange(min=100), default=5000, show_default=True,
              help="Scale along the line, 1 to this; smaller where a span would not fit.")
@QUIET
def draw(study, findings, output, options, cases, scale, quiet):
    """Draw plan and profile of STUDY as sheets, one PDF on A3.

    Plan with what stands about the line, its right-of-way and where it falls
    short; profile with ground, wires, required clearance, crossings, and what
    was not assessed. Needs the findings of `corridor check`.

    \b
    Example
      corridor check study.toml; corridor draw study.toml -o sheets.pdf
    """
    from corridor.jobs.draw import draw_study
    from corridor.terminal import progress_bar

    with progress_bar("Drawing sheets", quiet) as progress:
        result = draw_study(study, findings, output, options=options, cases=cases, scale=scale, time=run_time(),
                            progress=progress)
    if not quiet:
        click.echo(f"Written: {result.output} ({result.sheets} sheets; cases {', '.join(result.cases)})", err=True)
