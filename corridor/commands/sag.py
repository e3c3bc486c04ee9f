"""The command `corridor sag`."""

import click

from corridor.commands.shared import FOLDER, Answer, command, table_rows

__all__ = ["sag"]

#: No chart has more steps: a slip of the hand in `--step` would ask for a million.
_STEPS = 200


@command("Hanging spans")
@FOLDER
@click.option("--stringing", is_flag=True, help="The stringing chart of every span instead.")
@click.option("--from", "coldest", type=float, default=-10.0, show_default=True, help="Lowest wire temperature [degC].")
@click.option("--to", "hottest", type=float, default=40.0, show_default=True, help="Highest wire temperature [degC].")
@click.option("--step", type=click.FloatRange(min=0, min_open=True), default=5.0, show_default=True, help="Step [K].")
@click.option("--returns", type=click.IntRange(min=1), default=3, show_default=True,
              help="Returns of a jerk that the watch counts.")
def sag(study, progress, overwrite, folder, stringing, coldest, hottest, step, returns):
    """Tell sag and tension of every section of STUDY.

    Each option in each case, initial and final. With --stringing the chart a
    crew sags by: for every span and temperature sag, tension, and the time
    after which a jerk along the wire is back for the third time. New wires are
    initial there, the one that hangs today is final, as stretched by all loads
    that may have come.

    Ends with status 0, or 3 where a wire has no answer.

    \b
    Examples
      corridor sag study.toml --folder sags
      corridor sag study.toml --stringing --from 0 --to 30 --step 2.5
    """
    from corridor.jobs.sag import write_chart, write_sags
    from corridor.outputs.tables_sag import chart_text, sag_text

    guard = study.guard(overwrite)
    steps = _temperatures(coldest, hottest, step)
    if stringing:
        chart = study.stringing_chart(steps, returns=returns, progress=progress)
        return Answer(chart.status, write_chart(chart, folder, guard) if folder else (), lambda: chart_text(chart.rows),
                      chart=table_rows(chart.rows))
    result = study.sag(progress=progress)
    return Answer(result.status, write_sags(result, folder, guard) if folder else (), lambda: sag_text(result.sections),
                  sections=table_rows(result.sections), spans=table_rows(result.spans))


def _temperatures(coldest, hottest, step):
    """The steps of a chart, both ends included."""
    if hottest < coldest:
        raise click.UsageError(f"--to {hottest:g} is below --from {coldest:g}")
    count = int((hottest - coldest) / step + 1e-9) + 1
    if count > _STEPS:
        raise click.UsageError(f"--step {step:g} makes {count} steps; at most {_STEPS}")
    return [coldest + step * index for index in range(count)]
