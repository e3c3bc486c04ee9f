"""The command `corridor report`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, Answer, command

__all__ = ["report"]


@command("Making the page")
@FINDINGS
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="HTML file to write; default: beside the findings.")
def report(study, progress, overwrite, findings, output):
    """Write the findings of STUDY as one page for a browser.

    The page needs nothing from outside: map, profiles and tables are in the
    one file. It shows what `corridor check` found; findings of another study,
    or of files that have changed since, are refused. Needs the extra `html`:
    pip install 'corridor[html]'.

    \b
    Example
      corridor check study.toml; corridor report study.toml
    """
    result = study.report(findings, output, overwrite=overwrite, progress=progress)
    return Answer(0, (result.output,), notes=lambda: (f"{result.size / 1e6:.1f} MB",), size=result.size)
