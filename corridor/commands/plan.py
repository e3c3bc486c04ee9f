"""The command `corridor plan`."""

from pathlib import Path

import click

from corridor.commands.shared import DRAWING, Answer, command, run_time

__all__ = ["plan"]


@command("Looking at spans")
@click.option("--option", required=True, help="Name of the option of the study to put right.")
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=Path("plan"), show_default=True,
              help="Folder for the planned copy of the study and the plan.")
@click.option("--aim", type=click.Choice(("circuit-hours", "outages")), default="circuit-hours", show_default=True,
              help="What the grouping of work into outages has few of.")
@click.option("--remedies", is_flag=True, help="Try every remedy of every violation by itself, too: the layer "
              "remedies of plan.gpkg. Takes far longer than the plan.")
@click.option("--ladder", type=click.IntRange(2, 30), metavar="RUNGS", help="Instead: least cost against the rating "
              "reached, at so many greatest temperatures of the wire.")
@DRAWING
def plan(study, progress, overwrite, option, folder, aim, remedies, ladder, drawing):
    """Plan what puts an option of STUDY right, and the outages for it.

    Finds the cheapest remedies after which nothing falls short and no string
    is newly lifted: structures raised or added, strings changed, sections
    tightened, ground cut, objects taken away. Writes a copy of the study with
    that option alone and the remedies in place, and checks it in full. Costs,
    what is allowed and what outages may be had are in the table [plan]. What
    the wire of today needs by itself is told apart from what buys rating.

    Ends with status 0 where the planned copy clears, 1 where no plan was
    found, and 3 where something could not be assessed, the data are in doubt,
    or the work cannot be scheduled: the item and the limit are named.

    With --ladder: plans at lower greatest temperatures, too, as a table and a
    curve of cost against current. Nothing is copied; 0 where all have a plan.

    \b
    Example
      corridor plan study.toml --option "new wire" --folder plan
    """
    from corridor.commands.trust import remember
    from corridor.outputs.files import Files
    from corridor.planning.outages.files import outages_of, write_outages
    from corridor.planning.remedies.each_alone import short_elsewhere
    from corridor.planning.remedies.plan import plan_today
    from corridor.planning.remedies.taken import plan_lines, plan_parts, today_lines, write_remedies

    if ladder:
        from corridor.planning.remedies.cost_ladder import ladder_lines, write_ladder

        rungs, today = study.plan_ladder(option, steps=ladder, progress=progress), plan_today(study, option, progress)
        written = write_ladder(rungs, folder, option, kind=drawing, guard=study.guard(overwrite))
        return Answer(int(any(rung.forbids for rung in rungs)), written,
                      lambda: [*ladder_lines(rungs, option), *today_lines(today)],
                      today=None if today is None else plan_parts(today), rungs=[vars(rung) for rung in rungs])
    with Files(study.guard(overwrite)) as files:
        planned = study.plan(option, folder, overwrite=overwrite, files=files, time=run_time(), progress=progress)
        others = short_elsewhere(study, option) if remedies else {}
        write_remedies(planned, folder, others, progress, files, alone=remedies)
        outages = outages_of(planned, aim)
        _, lines = write_outages(planned, folder, aim=aim, kind=drawing, files=files, outages=outages)
    remember(folder / "study.toml")
    forbids = [] if outages is None else list(outages.forbids)
    status = 3 if forbids and planned.status == 0 else planned.status
    return Answer(status, files.written, lambda: [*plan_lines(planned), *lines], **plan_parts(planned),
                  outages=[] if outages is None else outages.rows, unscheduled=forbids)
