"""The command `corridor limits`."""

from corridor.commands.shared import DRAWING, FOLDER, Answer, command, table_rows

__all__ = ["limits"]


@command("Looking at spans")
@FOLDER
@DRAWING
def limits(study, progress, overwrite, folder, drawing):
    """Find the current that each span of STUDY limits the line to.

    Finds for each span and option the temperature at which it just clears, and
    the current that heats the wire to it. The ladder is the current of the line
    with none, one, two and more of its worst spans remedied. Spans that were
    not assessed come first: until they are, that current is not known.

    Ends with status 0, or 3 where a span could not be assessed.

    \b
    Example
      corridor limits study.toml --folder limits --drawing png
    """
    from corridor.jobs.rating import write_limits
    from corridor.outputs.tables import ladder_text

    result = study.limits(progress=progress)
    written = write_limits(result, folder, drawing, study.guard(overwrite)) if folder else ()
    return Answer(result.status, written, lambda: ladder_text(result.ladder), limits=table_rows(result.limits),
                  ladder=table_rows(result.ladder))
