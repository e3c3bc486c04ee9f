"""The command `corridor draw`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, Answer, command, run_time

__all__ = ["draw"]


@command("Drawing sheets")
@FINDINGS
@click.option("--output", "-o", type=click.Path(path_type=Path), help="File to write; default: beside the findings.")
@click.option("--kind", type=click.Choice(("pdf", "dxf")), default="pdf", show_default=True,
              help="Sheets as one PDF, or plan and profile as two DXF files.")
@click.option("--option", "options", multiple=True, help="Option to draw, more than once for more; default: the worst.")
@click.option("--case", "cases", multiple=True, help="Case to draw; default: the first three compared vertically.")
@click.option("--scale", type=click.FloatRange(min=100), default=5000, show_default=True,
              help="Scale along the line, 1 to this; smaller where a span would not fit.")
@click.option("--sheets", help="Sheets to draw, as 3-5 or 4; default: all.")
@click.option("--short", is_flag=True, help="Only sheets with a violation, or where something was not assessed.")
def draw(study, progress, overwrite, findings, output, options, cases, sheets, **more):
    """Draw plan and profile of STUDY as sheets, one PDF on A3, or as DXF.

    Plan with crossings and obstacles, right-of-way and violations; profile with ground, wires, required clearance,
    crossings, and what was not assessed. Needs the findings of `corridor check`.

    DXF has the plan where it lies in the grid, and the profile ten times
    exaggerated; what is of an option is on layers that name it.

    \b
    Examples
      corridor check study.toml; corridor draw study.toml -o sheets.pdf
      corridor draw study.toml --kind dxf --option "new wire"
    """
    result = study.draw(findings, output, options=options, cases=cases, sheets=_range(sheets), time=run_time(),
                        overwrite=overwrite, progress=progress, **more)
    return Answer(0, result.files, notes=lambda: (f"{result.sheets} sheets; cases {', '.join(result.cases)}",),
                  sheets=result.sheets, cases=result.cases)


def _range(text):
    """First and last sheet of a text as 3-5 or 4."""
    if text is None:
        return None
    first, _, last = text.partition("-")
    try:
        return int(first), int(last or first)
    except ValueError:
        raise click.BadParameter(f"{text!r} is no range of sheets, as 3-5 or 4", param_hint="--sheets") from None
