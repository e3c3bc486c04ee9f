"""The command `corridor sag`."""

import click

from corridor.commands.shared import FOLDER, Answer, command, table_rows
from corridor.errors import InputError, nearest

__all__ = ["sag"]

#: No chart has more steps: a slip of the hand in `--step` would ask for a million.
_STEPS = 200
#: Lines of charts that are printed where nobody asks for more.
_SCREEN = 60


@command("Hanging spans")
@FOLDER
@click.option("--stringing", is_flag=True, help="The stringing chart of every span instead.")
@click.option("--from", "coldest", type=float, default=-10.0, show_default=True, help="Lowest wire temperature [°C].")
@click.option("--to", "hottest", type=float, default=40.0, show_default=True, help="Highest wire temperature [°C].")
@click.option("--step", type=click.FloatRange(min=0, min_open=True), default=5.0, show_default=True, help="Step [K].")
@click.option("--returns", type=click.IntRange(min=1), default=3, show_default=True,
              help="Returns of a jerk that the watch counts.")
@click.option("--option", help="Print charts of this option alone.")
@click.option("--section", help="Print charts of this section alone.")
@click.option("--all", "whole", is_flag=True, help="Print all charts, not the first alone where they are many.")
def sag(study, progress, overwrite, folder, stringing, coldest, hottest, step, returns, option, section, whole):
    """Compute sag and tension of every section of STUDY.

    Each option in each case, initial and final. With --stringing the stringing
    chart: for every span and temperature sag, tension, and the time of the
    third return wave. New wires are initial there, the existing one is final,
    as stretched by all loads that may have come. Of many charts the first are
    printed.

    Ends with status 0, or 3 where a wire has no answer.

    \b
    Examples
      corridor sag study.toml --folder sags
      corridor sag study.toml --stringing --from 0 --to 30 --step 2.5
    """
    from corridor.jobs.sag import write_chart, write_sags
    from corridor.outputs.tables_sag import chart_text, first_charts, sag_text

    guard = study.guard(overwrite)
    steps = _temperatures(coldest, hottest, step)
    if stringing:
        chart = study.stringing_chart(steps, returns=returns, progress=progress)
        rows = _chosen(chart.rows, option=option, section=section)

        def shown():
            lines = chart_text(rows)
            return (lines, 0) if whole else first_charts(lines, _SCREEN)

        def left():
            more = shown()[1]
            return (f"{more} more charts: --section and --option choose, --all prints all, --folder writes all.",
                    ) if more else ()

        return Answer(chart.status, write_chart(chart, folder, guard) if folder else (), lambda: shown()[0],
                      notes=left, chart=table_rows(chart.rows))
    result = study.sag(progress=progress)
    return Answer(result.status, write_sags(result, folder, guard) if folder else (), lambda: sag_text(result.sections),
                  sections=table_rows(result.sections), spans=table_rows(result.spans))


def _chosen(columns, **wanted):
    """Rows with given values of some columns, None: any."""
    for name, value in wanted.items():
        if value is None:
            continue
        known = list(dict.fromkeys(columns[name]))
        if value not in known:
            raise InputError(None, name, repr(value), ", ".join(map(repr, known)), nearest(value, known))
        keep = columns[name] == value
        columns = {key: column[keep] for key, column in columns.items()}
    return columns


def _temperatures(coldest, hottest, step):
    """The steps of a chart, both ends included."""
    if hottest < coldest:
        raise click.UsageError(f"--to {hottest:g} is below --from {coldest:g}")
    count = int((hottest - coldest) / step + 1e-9) + 1
    if count > _STEPS:
        raise click.UsageError(f"--step {step:g} makes {count} steps; at most {_STEPS}")
    return [coldest + step * index for index in range(count)]
