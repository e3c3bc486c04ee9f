"""The command `corridor new`."""

from pathlib import Path

import click

from corridor.commands.shared import Answer, command
from corridor.commands.trust import remember, trusted

__all__ = ["new"]

_FILE = click.Path(path_type=Path)
_EPILOG = """\b
Exit status
  0  the study was written
  2  the input is wrong: nothing was written
  70 the software failed, or the machine: no room on a disk
     or in memory, or a file that another program holds

Nothing that is assumed is right because it runs: a licensed engineer looks into
each row of [[assumptions]], puts it right, and confirms it."""


@command(study=False, epilog=_EPILOG)
@click.argument("folder", type=_FILE)
@click.option("--structures", required=True, type=_FILE, metavar="FILE", help="Points of the structures.")
@click.option("--ground", required=True, multiple=True, type=_FILE, metavar="FILE",
              help="Raster of the bare earth; more than once for more.")
@click.option("--voltage", required=True, help="Nominal voltage, line to line, such as 110kV.")
@click.option("--conductor", required=True, help="The wire, by its designation in the catalogue.")
@click.option("--line", type=_FILE, metavar="FILE", help="The line that the structures stand on, for their order.")
@click.option("--obstacles", multiple=True, type=_FILE, metavar="FILE",
              help="What wires may come too near: all layers of a file; more than once for more.")
@click.option("--right-of-way", metavar="WIDTH|FILE", help="Half of its width, such as '20 m', or polygons.")
@click.option("--country", metavar="CODE", help="Two letters, for the table of rules; default: by where the line is.")
@click.option("--rules", metavar="TABLE", help="A built-in table of rules.")
@click.option("--crs", help="Projected CRS to work in, and that of tables of places; such as EPSG:25832.")
def new(folder, structures, ground, **more):
    """Make a study of files as they are, in a new FOLDER.

    Looks at the files, guesses which column is what, assumes what they do not
    say, and writes a study that runs: study.toml, structures.csv and
    framings.csv. What is assumed errs on the safe side where it can, and is a
    row of [[assumptions]] with its reason: until each is confirmed, findings
    say so and no check ends as clear.

    \b
    Examples
      corridor new valley --structures towers.gpkg --ground dtm.tif \\
        --voltage 110kV --conductor "264-AL1/62-ST1A"
      corridor new valley --structures towers.csv --crs EPSG:25832 \\
        --ground dtm.tif --voltage 110kV --conductor 264-AL1/62-ST1A \\
        --line route.gpkg --obstacles map.gpkg --right-of-way "20 m"
    """
    from corridor.jobs.new.job import make_study
    from corridor.terminal import made

    trusted(folder / "study.toml", False)  # GDAL keeps off networks
    study = make_study(folder, structures, ground, **more)
    remember(study.path)
    notes = [f"Next: corridor inspect {study.path}", f"      corridor check {study.path}"]
    notes += ["Its data lie outside of its folder: commands on it need --trust once it is",
              "changed."] if study.outside else []
    return Answer(0, study.files, lambda: made(study), notes=lambda: notes,
                  study=str(study.path), structures=study.structures, columns=dict(study.columns),
                  assumptions=[dict(zip(("key", "value", "reason"), row, strict=True)) for row in study.assumed])


new.params = [each for each in new.params if each.name != "overwrite"]
