"""What a page tells of hours and seasons: ratings over the air, and the year of a series, by limits that were found."""

from corridor.jobs.adjusted import adjusted_study
from corridor.jobs.rating import year_tables
from corridor.outputs.page.hours import hours_part
from corridor.outputs.page.write import html_table

__all__ = ["report_hours"]


def report_hours(opened, facts, limits):
    """Return the part of a page of hours and seasons, "" where the study has neither seasons nor a series.

    Parameters
    ----------
    opened : Opened
    facts : Facts
    limits : dict of ndarray
        Columns of the layer `limits` of the findings.
    """
    study = opened.study
    if study.rating is None or not (study.ratings or study.series):
        return ""
    adjusted, tables, notes, stations = adjusted_study(opened, limits=limits), {}, (), None
    if study.series is not None:
        tables, _, notes, stations = year_tables(opened, facts.heat, limits)
    step = 1.0 if study.series is None else study.series.step / 3600
    return hours_part(adjusted.table, tables, stations, step, facts.options[facts.reference].name,
                      (*notes, *adjusted.notes), html_table)
