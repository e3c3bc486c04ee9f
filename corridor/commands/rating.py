"""The command `corridor rating`."""

from pathlib import Path

import click

from corridor.commands.shared import DRAWING, FOLDER, Answer, command, table_rows

__all__ = ["rating"]


@command("Looking at spans")
@FOLDER
@DRAWING
@click.option("--table", is_flag=True, help="Ratings adjusted to the air, by season, day and night, and duration.")
@click.option("--step", default="5 degF", show_default=True, help="Step of the air in that table, such as '2 degC'.")
@click.option("--air", nargs=2, type=float, metavar="LOW HIGH", help="Its range [°C]; default: the record and "
              "10 °F beyond.")
@click.option("--weather", type=click.Path(path_type=Path), help="File whose last row is the hour of now: time left "
              "until the first violation.")
@click.option("--before", type=float, help="Current per phase before now [A]; default: that of the row above.")
def rating(study, progress, overwrite, folder, drawing, table, step, air, weather, before):
    """Compute the ratings and losses of each option of STUDY.

    By IEEE Std 738 and by CIGRE TB 601: normal, emergency and short-time
    current, temperature and loss at the required current and at the rating,
    the differences to the existing option; tables over air and wind. With a
    [series] in the study also the hours above the limits, the energy lost, and
    the hours in which each span would have been in violation, and the
    minimum margin of every hour; the status is 3 where a span was not assessed.

    With --table: current over the air, by day and by night, continuous and for
    each duration of [[ratings]], and the wire or the span that limits it. The
    status is 3 where clearance was not assessed: such a cell has no current.

    With --weather: how long the current of the last row may flow from now on,
    after that of the row above, in its weather. The status is 1 where a span is
    in violation now, 3 where one is not known to clear.

    \b
    Examples
      corridor rating study.toml --folder ratings
      corridor rating study.toml --table --folder ratings --step "2 degC"
      corridor rating study.toml --weather now.csv --before 400
    """
    if table:
        return _table(study, progress, overwrite, folder, step, air)
    if weather:
        return _now(study, progress, overwrite, folder, weather, before)
    from corridor.jobs.rating import write_ratings
    from corridor.outputs.tables import ratings_text
    from corridor.outputs.tables_hours import creep_text, fault_text, holding_text, margin_text, strength_text

    result = study.ratings(progress=progress)
    # Hours of a year by the options are for files, not for a line of JSON.
    hours = {name: table_rows(columns) for name, columns in result.tables.items()
             if name.startswith("series") and name != "series_hours"}
    written = write_ratings(result, folder, drawing, study.guard(overwrite)) if folder else ()
    def lines():
        told = {"fault": fault_text, "series": strength_text, "series_creep": creep_text, "series_spans": holding_text,
                "series_hours": lambda columns: margin_text(columns, result.step)}
        return [*ratings_text(result.ratings, result.tables), *(line for name, text in told.items()
                if name in result.tables for line in text(result.tables[name]))]

    lost = [f"{option}: not assessed, hours and margins not known: {', '.join(spans)}"
            for option, spans in result.not_assessed.items()]
    return Answer(result.status, written, lines,
                  comparison=table_rows(result.tables["options"]), ratings=table_rows(result.tables["ratings"]),
                  notes=lambda: (f"Note: {note}" for note in (*result.notes, *lost)), series=hours,
                  series_notes=result.notes,
                  not_assessed=result.not_assessed, fault=table_rows(result.tables.get("fault", {})))


def _table(study, progress, overwrite, folder, step, air):
    from corridor.commands.shared import run_time
    from corridor.jobs.adjusted import write_adjusted
    from corridor.outputs.tables_hours import adjusted_text

    result = study.rating_table(step=step, air=air or None, progress=progress)
    written = write_adjusted(result, folder, study.guard(overwrite), run_time()) if folder else ()
    return Answer(result.status, written, lambda: adjusted_text(result.table),
                  notes=lambda: (f"Note: {note}" for note in result.notes), adjusted=table_rows(result.table),
                  adjusted_notes=result.notes)


def _now(study, progress, overwrite, folder, weather, before):
    from corridor.jobs.now import write_now
    from corridor.outputs.tables_hours import now_text

    result = study.time_left(weather, before=before, progress=progress)
    written = write_now(result, folder, study.guard(overwrite)) if folder else ()
    return Answer(result.status, written, lambda: now_text(result), notes=lambda: (f"Note: {n}" for n in result.notes),
                  time_left=table_rows(result.spans), before_a=result.before, current_a=result.current,
                  time_left_notes=result.notes)
