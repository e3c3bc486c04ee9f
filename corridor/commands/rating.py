"""The command `corridor rating`."""

import click

from corridor.commands.shared import DRAWING, FOLDER, STUDY, tell

__all__ = ["rating"]


@click.command()
@STUDY
@FOLDER
@DRAWING
def rating(study, folder, drawing):
    """Tell what current each option of STUDY carries, and what it loses.

    By IEEE Std 738 and by CIGRE TB 601: normal, emergency and short-time
    current, temperature and loss at the required current and at the rating,
    the differences to the existing option; tables over air and wind. With a
    [series] in the study also the hours above the limits, the energy lost, and
    the hours in which each span would have been short of its rule.

    \b
    Example
      corridor rating study.toml --folder ratings
    """
    from corridor.jobs.rating import rate_study, write_ratings
    from corridor.outputs import tables
    from corridor.terminal import progress_bar

    with progress_bar("Looking at spans") as progress:
        result = rate_study(study, progress=progress)
    lines = [*tables.weather_text(result.ratings), "", *tables.comparison_text(result.comparison), "",
             *tables.rating_text(result.table, result.ratings.method)]
    if result.series:
        lines += ["The hours of the series", "", *tables.series_text(result.series["series"]), ""]
    tell(lines, write_ratings(result, folder, drawing) if folder else ())
