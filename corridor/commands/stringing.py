"""The command `corridor stringing`."""

from pathlib import Path

import click

from corridor.commands.shared import Answer, command, run_time, table_rows

__all__ = ["stringing"]


@command("Pulling wires")
@click.option("--option", "-o", "options", multiple=True, help="Option to string; repeat it for several. "
              "Default: all but the existing one.")
@click.option("--as-built", type=click.Path(path_type=Path), help="CSV of sags measured once the wire of one option "
              "was strung: span, wire, temperature [°C], sag [m].")
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=".", show_default=True,
              help="Folder for layers, tables and sheets; made where it is new.")
@click.option("--sheets/--no-sheets", default=True, show_default=True, help="Sheets of A3, in stringing.pdf.")
@click.option("--workbook", is_flag=True, help="All tables in stringing.xlsx, too.")
def stringing(study, progress, overwrite, options, as_built, folder, sheets, workbook):
    """Plan how the new wires of STUDY are pulled, sagged and clipped in.

    For each pull and option: where puller and tensioner stand, tension along
    the pull, how low the wire comes while it is pulled, what must be guarded or out,
    travellers and loads of structures, reels and joints; for
    each section spans to watch, settings and times to sag by, marks for
    clamps, and what the tolerance of sags takes from margins. Then a list of
    what must be ready: passed, failed, or not given. The table [stringing] of
    the study has the equipment of the crew. With --as-built, sags that were
    measured on the new wire: the tension of each section, what to take out, and
    the whole check again.

    Writes stringing.gpkg, its layers as CSV, and stringing.pdf. Ends with
    status 0, 1 where a check of readiness failed or a wire as built is in
    violation, or 3 where something that is asked for is not given.

    \b
    Examples
      corridor stringing study.toml --folder stringing
      corridor stringing study.toml -o "annealed on carbon" --workbook
      corridor stringing study.toml -o "annealed on carbon" --as-built sags.csv
    """
    from corridor.jobs.stringing import write_stringing
    from corridor.outputs.tables_stringing import stringing_text
    from corridor.outputs.tables_survey import wrapped

    found = study.stringing(options, as_built=as_built, progress=progress)
    written = write_stringing(found, folder, study.guard(overwrite), sheets=sheets, workbook=workbook, time=run_time())
    tables = {name: table_rows({key: values for key, values in columns.items() if key != "geometry"})
              for name, columns in found.layers.items()}
    return Answer(found.status, written, lambda: stringing_text(found.layers),
                  notes=lambda: wrapped(found.cautions), **tables)
