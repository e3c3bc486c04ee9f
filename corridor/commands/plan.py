"""The command `corridor plan`."""

import sys
from pathlib import Path

import click

from corridor.commands.shared import DRAWING, JSON, QUIET, STUDY, tell, tell_machine

__all__ = ["plan"]


@click.command()
@STUDY
@click.option("--option", required=True, help="Name of the option of the study to put right.")
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=Path("plan"), show_default=True,
              help="Folder for the planned copy of the study and the plan.")
@click.option("--aim", type=click.Choice(("circuit-hours", "outages")), default="circuit-hours", show_default=True,
              help="What the grouping of work into outages has few of.")
@click.option("--ladder", type=click.IntRange(2, 30), metavar="RUNGS", help="Instead: least cost against the rating "
              "reached, at so many greatest temperatures of the wire.")
@DRAWING
@JSON
@QUIET
def plan(study, option, folder, aim, ladder, drawing, as_json, quiet):
    """Plan what puts an option of STUDY right, and the outages for it.

    Finds the cheapest remedies after which nothing falls short and no string
    is newly lifted: structures raised or added, strings changed, sections
    tightened, ground cut, objects taken away. Writes a copy of the study with
    that option alone and the remedies in place, and checks it in full. Costs,
    what is allowed and what outages may be had are in the table [plan].

    Ends with status 0 where the planned copy clears, 1 where no plan was
    found, and 3 where something could not be assessed.

    With --ladder: plans at lower greatest temperatures, too, as a table and a
    curve of cost against current. Nothing is copied; 0 where all have a plan.

    \b
    Example
      corridor plan study.toml --option "new wire" --folder plan
    """
    from corridor.planning.outages.files import write_outages
    from corridor.planning.remedies.each_alone import short_elsewhere
    from corridor.planning.remedies.plan import plan_study
    from corridor.planning.remedies.taken import plan_lines, write_remedies
    from corridor.terminal import progress_bar

    if ladder:
        from corridor.planning.remedies.cost_ladder import ladder_lines, plan_ladder, write_ladder

        rungs = plan_ladder(study, option, steps=ladder)
        written, status = write_ladder(rungs, folder, option, kind=drawing), int(any(rung.forbids for rung in rungs))
        if as_json:
            tell_machine(status, written, rungs=[vars(rung) for rung in rungs])
        else:
            tell(ladder_lines(rungs, option), written, quiet=quiet)
        sys.exit(status)
    planned = plan_study(study, option, folder)
    others = short_elsewhere(study, option)
    with progress_bar("Trying remedies", quiet or as_json) as progress:
        written = write_remedies(planned, folder, others, progress)
    more, lines = write_outages(planned, folder, aim=aim, kind=drawing)
    written += [path for path in more if path not in written]
    if as_json:
        tell_machine(planned.status, written, cleared=planned.cleared, rounds=planned.rounds,
                     forbids=list(planned.forbids))
    else:
        tell([*plan_lines(planned), *lines], written, quiet=quiet)
    sys.exit(planned.status)
