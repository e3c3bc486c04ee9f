"""The command `corridor report`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, JSON, QUIET, STUDY, tell_machine

__all__ = ["report"]


@click.command()
@STUDY
@FINDINGS
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="HTML file to write; default: beside the findings.")
@JSON
@QUIET
def report(study, findings, output, as_json, quiet):
    """Write the findings of STUDY as one page for a browser.

    The page needs nothing from outside: map, profiles and tables are in the
    one file. It shows what `corridor check` found; findings of another study,
    or of files that have changed since, are refused. Needs the extra `html`:
    pip install 'corridor[html]'.

    \b
    Example
      corridor check study.toml; corridor report study.toml
    """
    from corridor.jobs.report import report_study
    from corridor.terminal import progress_bar

    with progress_bar("Making the page", quiet or as_json) as progress:
        result = report_study(study, findings, output, progress=progress)
    if as_json:
        tell_machine(0, (result.output,), size=result.size)
    elif not quiet:
        click.echo(f"Written: {result.output} ({result.size / 1e6:.1f} MB)", err=True)
