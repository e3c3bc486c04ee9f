"""The command `corridor rating`."""

from corridor.commands.shared import DRAWING, FOLDER, Answer, command, table_rows

__all__ = ["rating"]


@command("Looking at spans")
@FOLDER
@DRAWING
def rating(study, progress, overwrite, folder, drawing):
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
    from corridor.jobs.rating import write_ratings
    from corridor.outputs.tables import ratings_text

    result = study.ratings(progress=progress)
    hours = {name: table_rows(columns) for name, columns in result.tables.items() if name.startswith("series")}
    written = write_ratings(result, folder, drawing, study.guard(overwrite)) if folder else ()
    return Answer(0, written, lambda: ratings_text(result.ratings, result.tables),
                  comparison=table_rows(result.tables["options"]), ratings=table_rows(result.tables["ratings"]),
                  notes=lambda: (f"Note: {note}" for note in result.notes), series=hours, series_notes=result.notes)
