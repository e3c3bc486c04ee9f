"""The command `corridor design`."""

from pathlib import Path

import click

from corridor.commands.shared import DRAWING, FOLDER, JSON, QUIET, STUDY, tell, tell_machine

__all__ = ["design"]


@click.command()
@STUDY
@FOLDER
@DRAWING
@click.option("--add", type=click.Path(path_type=Path, dir_okay=False),
              help="Copy of the study to write, in its folder, with the finalists as options.")
@JSON
@QUIET
def design(study, folder, drawing, add, as_json, quiet):
    """Search for the conductors that the line of STUDY could carry.

    Counts out tens of thousands of geometries, strings each on the ruling
    spans, holds it to what the existing wire does to the structures and to the
    sag that the spans allow, and keeps those that no other beats in both loss
    and rating. The best are checked span by span. The table [design] of the
    study says what is tried; all of it has defaults.

    A finalist is a geometry to ask makers about, not a product.

    \b
    Example
      corridor design study.toml --folder design --add with_designs.toml
    """
    from corridor.outputs.tables_design import design_text
    from corridor.planning.conductor_search.search import add_to_study, design_study, write_design
    from corridor.terminal import progress_bar

    with progress_bar("Looking at spans", quiet or as_json) as progress:
        result = design_study(study, progress=progress)
    written = list(write_design(result, folder, drawing)) if folder else []
    if add:
        written.append(add_to_study(result, add))
    if as_json:
        tell_machine(0, written, candidates=len(result.screened.candidates), finalists=[
            {"name": each.option.name, "chosen": each.chosen} for each in result.finalists])
    else:
        tell(design_text(result), written, quiet=quiet)
