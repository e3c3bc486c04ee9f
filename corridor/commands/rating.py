"""The command `corridor rating`."""

import click

from corridor.commands.shared import DRAWING, FOLDER, JSON, QUIET, STUDY, table_rows, tell, tell_machine

__all__ = ["rating"]


@click.command()
@STUDY
@FOLDER
@DRAWING
@JSON
@QUIET
def rating(study, folder, drawing, as_json, quiet):
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

    with progress_bar("Looking at spans", quiet or as_json) as progress:
        result = rate_study(study, progress=progress)
    written = write_ratings(result, folder, drawing) if folder else ()
    if as_json:
        tell_machine(0, written, comparison=table_rows(result.comparison), ratings=table_rows(result.table),
                     series={name: table_rows(columns) for name, columns in result.series.items()})
        return
    lines = [*tables.weather_text(result.ratings), "", *tables.comparison_text(result.comparison), "",
             *tables.rating_text(result.table, result.ratings.method)]
    if result.series:
        lines += ["The hours of the series", "", *tables.series_text(result.series["series"]), ""]
    tell(lines, written, quiet=quiet)
