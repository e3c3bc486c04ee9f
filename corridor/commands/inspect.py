"""The command `corridor inspect`."""

from pathlib import Path

import click

from corridor.commands.shared import Answer, command, table_rows

__all__ = ["inspect"]

_EPILOG = """\b
Exit status
  0  no doubt that could hide a violation, or all of them are accepted,
     and no assumption left to confirm
  2  the input is wrong: nothing was written
  3  a doubt that could hide a violation, or an assumption of the study
     that is not confirmed
  70 the software failed, or the machine: no room on a disk
     or in memory, or a file that another program holds

No doubt is no proof: docs/doubts.md lists errors that no check can see."""


@command(epilog=_EPILOG)
@click.option("--output", "-o", type=click.Path(path_type=Path),
              help="Table of the doubts to write: .csv, or .gpkg with their places.")
def inspect(study, overwrite, output):
    """Check the data of STUDY, and list what is doubtful.

    No wire is computed: heights, places, conductors and rules are compared with
    each other and with what is usual. Each doubt says what was found, what was
    expected and what to do. A doubt that was looked into, and whose data are
    right, can be accepted in the study: `[[accepted]]` with its id,
    features and the reason.

    `corridor check` does the same first.

    \b
    Examples
      corridor inspect study.toml
      corridor inspect study.toml -o doubts.csv
    """
    from corridor.inspection.tables import write_doubts
    from corridor.outputs.tables_survey import wrapped
    from corridor.terminal import inspected

    found = study.inspect()
    written = write_doubts(output, found, study.inputs.crs, study.guard(overwrite)) if output else ()
    notes = [f"Warning: {text}" for text in found.warnings]
    notes += wrapped(f"Not confirmed: {text}" for text in found.assumptions)
    notes.append(f"Doubts: {len(found.doubts)}, of which {found.open} could hide a violation and are not accepted.")
    return Answer(found.status, written, lines=lambda: inspected(found), notes=lambda: notes,
                  doubts=table_rows(found.columns()), open=found.open,
                  assumptions=list(found.assumptions), layers=[list(row) for row in found.layers])
