"""The command `corridor sag`."""

import sys

import click

from corridor.commands.shared import FOLDER, JSON, QUIET, STUDY, table_rows, tell, tell_machine

__all__ = ["sag"]

#: No chart has more steps: a slip of the hand in `--step` would ask for a million.
_STEPS = 200


@click.command()
@STUDY
@FOLDER
@click.option("--stringing", is_flag=True, help="The stringing chart of every span instead.")
@click.option("--from", "coldest", type=float, default=-10.0, show_default=True, help="Lowest wire temperature [degC].")
@click.option("--to", "hottest", type=float, default=40.0, show_default=True, help="Highest wire temperature [degC].")
@click.option("--step", type=click.FloatRange(min=0, min_open=True), default=5.0, show_default=True, help="Step [K].")
@click.option("--returns", type=click.IntRange(min=1), default=3, show_default=True,
              help="Returns of a jerk that the watch counts.")
@JSON
@QUIET
def sag(study, folder, stringing, coldest, hottest, step, returns, as_json, quiet):
    """Tell sag and tension of every section of STUDY.

    Each option in each case, initial and final. With --stringing the chart a
    crew sags by: for every span and temperature sag, tension, and the time
    after which a jerk along the wire is back for the third time. New wires are
    initial there, the one that hangs today is final.

    Ends with status 0, or 3 where a wire has no answer.

    \b
    Examples
      corridor sag study.toml --folder sags
      corridor sag study.toml --stringing --from 0 --to 30 --step 2.5
    """
    from corridor.jobs.sag import chart_study, sag_study, write_chart, write_sags
    from corridor.outputs.tables_sag import chart_text, sag_text
    from corridor.terminal import progress_bar

    steps = _temperatures(coldest, hottest, step)
    with progress_bar("Hanging spans", quiet or as_json) as progress:
        if stringing:
            chart = chart_study(study, steps, returns=returns, progress=progress)
        else:
            result = sag_study(study, progress=progress)
    if stringing:
        written = write_chart(chart, folder) if folder else ()
        status = 3 if any(chart["sag_m"] != chart["sag_m"]) else 0
        text, parts = chart_text, {"chart": chart}
    else:
        written, status = write_sags(result, folder) if folder else (), result.status
        text, parts = sag_text, {"sections": result.sections, "spans": result.spans}
    if as_json:
        tell_machine(status, written, **{name: table_rows(columns) for name, columns in parts.items()})
    else:
        tell(text(next(iter(parts.values()))), written, quiet=quiet)
    sys.exit(status)


def _temperatures(coldest, hottest, step):
    """The steps of a chart, both ends included."""
    if hottest < coldest:
        raise click.UsageError(f"--to {hottest:g} is below --from {coldest:g}")
    count = int((hottest - coldest) / step + 1e-9) + 1
    if count > _STEPS:
        raise click.UsageError(f"--step {step:g} makes {count} steps; at most {_STEPS}")
    return [coldest + step * index for index in range(count)]
