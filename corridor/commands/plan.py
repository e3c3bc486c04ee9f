"""The command `corridor plan`."""

from pathlib import Path

import click

from corridor.commands.shared import DRAWING, Answer, command, run_time
from corridor.errors import InputError

__all__ = ["plan"]


@command("Looking at spans")
@click.option("--option", help="Name of the option, or mix, of the study to remedy; with --rating the only option to "
              "look at.")
@click.option("--rating", metavar="CURRENT", help="Find the option, remedies and outages that carry so much: amperes, "
              "or more than today, such as +20%.")
@click.option("--by", metavar="DATE", help="With --rating: last day of work.")
@click.option("--longest-outage", metavar="TIME", help="With --rating: longest outage, such as 48h.")
@click.option("--folder", "-f", type=click.Path(path_type=Path), default=Path("plan"), show_default=True,
              help="Folder for the planned copy of the study and the plan.")
@click.option("--aim", type=click.Choice(("circuit-hours", "outages")), default="circuit-hours", show_default=True,
              help="What outages have least of.")
@click.option("--remedies", is_flag=True, help="Try every remedy of every violation by itself, too: the layer "
              "remedies of plan.gpkg. Takes far longer than the plan.")
@click.option("--cost-curve", type=click.IntRange(2, 30), metavar="POINTS", help="Instead: least cost against the "
              "rating reached, at so many maximum temperatures of the wire.")
@click.option("--each-line", is_flag=True, help="Instead: plan each line by itself, and rank them by what an ampere "
              "costs: each_line.csv.")
@DRAWING
def plan(study, progress, overwrite, option, rating, by, longest_outage, folder, aim, remedies, cost_curve, each_line,
         drawing):
    """Plan the remedies that make an option of STUDY clear, and their outages.

    Finds the cheapest remedies after which there is no violation and no string
    is newly lifted: structures raised or added, strings changed, sections
    tightened, ground cut, trees trimmed, objects taken away, circuits of
    others put underground, raised or lowered. Writes a copy of the study with that option alone
    and the remedies in place, and checks it in full. Costs, remedies and
    outages that are allowed are in the table [plan]. What the existing wire
    needs today is listed apart from what buys rating.

    What nothing offered can mend is left, no worse than it was, and named,
    and all else is put right; no outages are planned then.

    Ends with status 0 where the planned copy clears, 1 where violations are
    left or no plan was found, and 3 where something could not be assessed, the data are in doubt,
    or the work cannot be scheduled: the item and the limit are named.

    With --rating: every option is planned at the temperature at which it
    carries that current, all along and where the existing wire does not,
    and its work is put into outages by each aim; the cheapest way is written,
    and the table ways.csv has all of them.

    With --cost-curve: plans at lower maximum temperatures, too, as a table and a
    curve of cost against current. Nothing is copied; Status 0 where all have a plan.

    With --each-line: where in a network to spend. Every line is planned alone,
    lines near each other together; nothing is copied. Status 0 where all have a
    plan, 1 where one has none, 3 where something could not be assessed.

    \b
    Example
      corridor plan study.toml --option "new wire" --folder plan
      corridor plan study.toml --rating +20% --by 2027-06-01 --longest-outage 48h
    """
    if rating is None and (by or longest_outage):
        raise InputError(None, "by" if by else "longest-outage", repr(by or longest_outage), "together with --rating")
    if rating is not None:
        if cost_curve or remedies or each_line:
            raise InputError(None, "rating", repr(rating), "by itself, or with --option, --by and --longest-outage")
        return _decided(study, progress, overwrite, option, rating, by, longest_outage, folder, drawing)
    if option is None:
        raise InputError(None, "option", "none", "--option, or --rating for what gives a rating")
    if each_line:
        return _each_line(study, progress, overwrite, option, folder)
    from corridor.commands.trust import remember
    from corridor.outputs.files import Files
    from corridor.planning.outages.files import write_outages
    from corridor.planning.outages.outages import outages_of
    from corridor.planning.remedies.each_alone import short_elsewhere
    from corridor.planning.remedies.plan import plan_today
    from corridor.planning.remedies.taken import plan_lines, plan_parts, today_lines, write_remedies

    if cost_curve:
        from corridor.planning.cost_curve import cost_curve_lines, write_cost_curve

        points = study.plan_cost_curve(option, steps=cost_curve, progress=progress)
        today = plan_today(study, option, progress)
        prices = study.study.plan
        written = write_cost_curve(points, folder, option, kind=drawing, guard=study.guard(overwrite),
                                   currency=None if prices is None else prices.currency)
        return Answer(int(any(point.forbids for point in points)), written,
                      lambda: [*cost_curve_lines(points, option), *today_lines(today)],
                      today=None if today is None else plan_parts(today), points=[vars(point) for point in points])
    with Files(study.guard(overwrite)) as files:
        planned = study.plan(option, folder, overwrite=overwrite, files=files, time=run_time(), progress=progress)
        others = short_elsewhere(study, option) if remedies else {}
        write_remedies(planned, folder, others, progress, files, alone=remedies)
        outages = outages_of(planned, aim, progress)
        _, lines = write_outages(planned, folder, aim=aim, kind=drawing, files=files, outages=outages,
                                 time=run_time())
    remember(folder / "study.toml")
    forbids = [] if outages is None else list(outages.forbids)
    lost = bool(forbids) or (outages is not None and outages.unassessed)
    status = 3 if lost and planned.status == 0 else planned.status
    return Answer(status, files.written, lambda: [*plan_lines(planned), *lines], **plan_parts(planned),
                  outages=[] if outages is None else outages.rows, unscheduled=forbids)


def _each_line(study, progress, overwrite, option, folder):
    """Answer what each line costs."""
    from corridor.jobs.folder import write_csvs
    from corridor.planning.each_line import columns_of_plans, each_line_text

    plans, prices = study.plan_each_line(option, progress=progress), study.study.plan
    columns = columns_of_plans(plans)
    written = write_csvs(folder, {"each_line": columns}, study.guard(overwrite))
    status = 1 if any(each.refused for each in plans) else 3 * any(each.gaps for each in plans)
    status = status or 3 * bool(study.study.unconfirmed)
    return Answer(status, written, lambda: each_line_text(plans, option, None if prices is None else prices.currency),
                  each_line=[dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)])


def _decided(study, progress, overwrite, option, rating, by, longest, folder, drawing):
    """Answer which way gives a rating."""
    from corridor.commands.trust import remember
    from corridor.outputs.files import Files
    from corridor.outputs.tables import write_csv
    from corridor.planning.decision import decide, decision_lines, read_limits, write_decision
    from corridor.planning.outages.files import write_outages
    from corridor.planning.remedies.plan import require_option
    from corridor.planning.remedies.taken import plan_lines, plan_parts, write_remedies

    if option is not None:
        require_option(study, option)
    day, hours = read_limits(by, longest)
    with Files(study.guard(overwrite)) as files:
        decision = decide(study, rating, by=day, longest=hours, options=() if option is None else (option,),
                          progress=progress)
        decision = write_decision(study, decision, folder, files, overwrite=overwrite, time=run_time(),
                                  progress=progress)
        rows, best = [way.row for way in decision.ways], decision.best
        write_csv(files.staged(folder) / "ways.csv", {name: [row[name] for row in rows] for name in rows[0]})
        lines = []
        if best is not None:
            write_remedies(best.planned, folder, {}, progress, files, alone=False)
            _, lines = write_outages(best.planned, folder, aim=best.aim or "circuit-hours", kind=drawing, files=files,
                                     outages=best.outages, time=run_time())
            lines = ["", *plan_lines(best.planned), *lines]
    if best is not None:
        remember(folder / "study.toml")
    lost = best is None or bool(best.unknown) or best.outages is not None and best.outages.unassessed
    missed = 3 if any(way.unschedulable for way in decision.ways) else 1
    status = missed if best is None else best.planned.status or 3 * lost
    return Answer(status, files.written, lambda: [*decision_lines(decision), *lines], ways=rows,
                  asked=vars(decision.asked) | {"by": by}, binds=list(decision.binds),
                  least_over_life=list(decision.least_over_life),
                  chosen=None if best is None else {"option": best.option, "aim": best.aim, **plan_parts(best.planned)})
