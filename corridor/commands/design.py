"""The command `corridor design`."""

from pathlib import Path

import click

from corridor.commands.shared import DRAWING, FOLDER, Answer, command

__all__ = ["design"]


@command("Looking at spans")
@FOLDER
@DRAWING
@click.option("--add", type=click.Path(path_type=Path, dir_okay=False),
              help="Copy of the study to write, in its folder, with the finalists as options.")
def design(study, progress, overwrite, folder, drawing, add):
    """Search for the conductors that the line of STUDY could carry.

    Makes tens of thousands of geometries, strings each on the ruling spans, and
    keeps those that load the structures no more than the existing wire does, sag
    no more than the spans allow, and are beaten by no other in both loss and
    rating. The best are checked span by span. The table [design] of the study
    says what is tried; every key has a default.

    A finalist is a geometry to ask makers about, not a product.

    \b
    Example
      corridor design study.toml --folder design --add with_designs.toml
    """
    from corridor.outputs.files import Files
    from corridor.outputs.tables_design import design_text
    from corridor.planning.conductor_search.search import add_to_study, check_copy, write_design

    files = Files(study.guard(overwrite))
    files.reserve(add)
    if add:
        check_copy(study.study, add)
    result = study.design(progress=progress)
    with files:
        if folder:
            write_design(result, folder, drawing, files=files)
        if add:
            add_to_study(result, add, files=files)
    return Answer(0, files.written, lambda: design_text(result), candidates=len(result.screened.candidates),
                  finalists=[{"name": each.option.name, "chosen": each.chosen} for each in result.finalists])
