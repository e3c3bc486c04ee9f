"""The command `corridor ground-limit`."""

from pathlib import Path

import click

from corridor.commands.shared import FINDINGS, Answer, command, table_rows

__all__ = ["ground_limit"]


@command("Looking at spans")
@FINDINGS
@click.option("--folder", "-f", type=click.Path(path_type=Path),
              help="Folder for the rasters, made where it is new; default: beside the findings.")
@click.option("--cell", type=float, help="Side of the cells in m; default: that of the ground raster.")
@click.option("--beside", type=float, default=0.0, show_default=True,
              help="Take wires as this many m wider to either side.")
@click.option("--against", default="ground", show_default=True,
              help="Whose top it is: the ground, or a category of the rules.")
@click.option("--probability", type=float, metavar="P",
              help="Take wires as much lower as makes the ground clear with this probability (0.5 to below 1).")
def ground_limit(study, progress, overwrite, findings, folder, cell, beside, against, probability):
    """Write how high the ground may be below the wires of STUDY, as rasters.

    One Cloud-Optimized GeoTIFF per option, beside the findings: for each cell
    below wires the highest elevation that the rules allow, over all wires,
    cases and swings; that minus the ground, negative where it is too high; and
    what could not be assessed. Needs the findings of `corridor check`.

    Ends with status 0, or 3 where something could not be assessed.

    \b
    Examples
      corridor check study.toml; corridor ground-limit study.toml
      corridor ground-limit study.toml --against tree
      corridor ground-limit study.toml --probability 0.95
    """
    from corridor.outputs.ground_limit_raster import ground_limit_text

    result = study.ground_limit(findings, folder, cell=cell, beside=beside, against=against, probability=probability,
                            overwrite=overwrite, progress=progress)
    return Answer(result.status, result.paths, lambda: [*ground_limit_text(result.options), *result.left_out],
                  options=table_rows(result.options), left_out=list(result.left_out))
