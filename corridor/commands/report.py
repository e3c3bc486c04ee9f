"""The command `corridor report`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, Answer, command

__all__ = ["report"]


@command("Making the page")
@FINDINGS
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="HTML file to write; default: beside the findings.")
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False),
              help="Folder to write: an overview of all lines, and a page per line.")
def report(study, progress, overwrite, findings, output, folder):
    """Write the findings of STUDY as one page for a browser.

    The page needs nothing from outside: map, profiles and tables are in the
    one file. It shows what `corridor check` found; findings of another study,
    or of files that have changed since, are refused. Needs the extra `html`:
    pip install 'corridor[html]'.

    Of many lines say --folder: index.html there has a map and a table of all
    lines, each with a link to the page of its own, which is loaded then.

    \b
    Example
      corridor check study.toml; corridor report study.toml
      corridor report study.toml --folder network
    """
    if folder is not None:
        if output is not None:
            raise click.UsageError("--output names one page, --folder many: give one of them")
        pages = study.report_network(folder, findings, overwrite=overwrite, progress=progress)
        told = f"{len(pages.pages)} pages of lines, {pages.size / 1e6:.1f} MB"
        return Answer(0, (pages.output,), notes=lambda: (told,), size=pages.size, pages=list(map(str, pages.pages)))
    result = study.report(findings, output, overwrite=overwrite, progress=progress)
    return Answer(0, (result.output,), notes=lambda: (f"{result.size / 1e6:.1f} MB",), size=result.size)
