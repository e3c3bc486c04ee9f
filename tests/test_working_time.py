"""Outages laid into shifts, weekdays, holidays and seasons, by hand and against days counted one by one."""

from datetime import date, datetime, timedelta

import numpy as np
import pytest

from corridor.errors import InputError
from corridor.planning.outages.working_time import WorkingTime, days_within, lay_together, row_of
from corridor.study import load_study
from corridor.study.plan import Calendar, WorkCrew, WorkSeason
from tests.end_to_end.conftest import TinyStudy

#: A Monday.
MONDAY = date(2027, 3, 1)


def when(**keys):
    return WorkingTime(Calendar(start=MONDAY, shift_start=7, shift_end=17, **keys))


def row(working, hours, longest, earliest):
    """Outages of one crew, one after the other."""
    return row_of([[(working, each)] for each in hours], [longest] * len(hours), earliest)


def test_a_weekend_counts_as_outage_by_hand():
    """25 h from a Thursday at 7:00: 10 on Thursday, 10 on Friday, 5 on Monday to 12:00: 101 h in all."""
    laid = when().lay(date(2027, 3, 4), 25.0)
    assert laid.start == datetime(2027, 3, 4, 7) and laid.end == datetime(2027, 3, 8, 12) and laid.hours == 101


def test_the_end_of_a_shift_is_no_start_of_the_next():
    assert when().lay(MONDAY, 20.0).end == datetime(2027, 3, 2, 17)


def test_room_of_a_longest_outage_by_hand():
    """48 h hold two shifts, 58 h three (from 7:00 to 17:00 two days later), 5 h half of one."""
    assert [when().most_hours(h) for h in (48.0, 58.0, 5.0)] == [20.0, 30.0, 5.0]


def test_outages_avoid_holidays_weekends_and_seasons():
    """Two outages of two shifts each, longest 34 h: not over a weekend, nor over the holiday on Wednesday."""
    laid = row(when(holidays=(date(2027, 3, 3),)), [20.0, 20.0, 10.0], 34.0, [MONDAY] * 3)
    assert [each.start.date() for each in laid] == [MONDAY, date(2027, 3, 4), date(2027, 3, 8)]
    season = (WorkSeason(first_day=90, last_day=120),)
    laid = row(when(seasons=season), [10.0], 34.0, [MONDAY])
    assert laid[0].start.date() == date(2027, 3, 31)
    # A season over the end of the year, and notice that the second needs.
    winter = when(seasons=(WorkSeason(first_day=300, last_day=70),))
    laid = row(winter, [10.0, 10.0], 34.0, [MONDAY, date(2027, 3, 10)])
    assert [each.start.date() for each in laid] == [MONDAY, date(2027, 3, 10)]


def test_what_finds_no_room_is_told():
    assert row(when(), [31.0, 8.0], 58.0, [MONDAY] * 2) == [None, None]


def test_crews_with_shifts_of_their_own_by_hand():
    """30 h by day from 7:00 to 17:00, with 20 h at weekends from 9:00 to 19:00: from Thursday to Sunday evening."""
    weekend = when().of(WorkCrew(name="weekend", shift_start=9, shift_end=19, weekdays=("saturday", "sunday")))
    laid = lay_together(date(2027, 3, 4), [(when(), 20.0), (weekend, 20.0)])
    assert laid.start == datetime(2027, 3, 4, 7) and laid.end == datetime(2027, 3, 7, 19) and laid.hours == 84
    # In 58 h a weekend has room for two of its shifts, a week for three.
    assert weekend.most_hours(58.0) == 20.0 and when().most_hours(58.0) == 30.0
    assert lay_together(MONDAY, [(when(), 5.0), (when(seasons=(WorkSeason(first_day=366, last_day=366),)), 9.0)]) is \
        None, "in the years looked at 31 December of a leap year is a Sunday"


def test_days_on_which_places_may_be_reached():
    """From 1 October to 31 March, over the end of the year, or in June; by hand."""
    days = days_within([WorkSeason(first_day=274, last_day=90), WorkSeason(first_day=152, last_day=181)])
    assert days.sum() == 90 + 30 + 93 and days[[0, 89, 151, 180, 273, 365]].all()
    assert not days[[90, 150, 181, 272]].any()
    open_late = WorkingTime(when().calendar).of(WorkCrew(name="any"), days_within([WorkSeason(first_day=152,
                                                                                             last_day=181)]))
    assert open_late.lay(MONDAY, 20.0).start == datetime(2027, 6, 1, 7)


@pytest.mark.parametrize("seed", range(10))
def test_end_is_that_of_counting_minutes(seed):
    """Against every minute of every day walked through."""
    random = np.random.default_rng(seed)
    free = tuple(MONDAY + timedelta(days=int(d)) for d in random.integers(0, 12, 3))
    calendar = when(holidays=free)
    hours = float(random.integers(1, 400)) / 10
    moment, left = datetime.combine(MONDAY, datetime.min.time()), round(hours * 60)
    while left:
        day = moment.date()
        works = day.weekday() < 5 and day not in free and 7 <= moment.hour < 17
        moment, left = moment + timedelta(minutes=1), left - works
    assert calendar.lay(MONDAY, hours).end == moment


@pytest.mark.parametrize(("text", "where"), [
    ("start = 2027-03-01\nby = 2027-02-01", "plan.calendar.by"),
    ("start = 2027-03-01\nshift_start = \"18:00\"", "plan.calendar.shift_end"),
    ("start = \"soon\"", "plan.calendar.start"), ("start = 2027-03-01\nshift_start = \"25:00\"", "shift_start"),
    ("start = 2027-03-01\nweekdays = [\"mon\"]", "weekdays"),
    ("start = 2027-03-01\n[[plan.crews]]\nname = 'a'\nshift_start = '18:00'", "plan.crews.a.shift_end"),
    ("start = 2027-03-01\n[[plan.crews]]\nname = 'a'\n[[plan.crews]]\nname = 'a'", "plan.crews.1.name"),
    ("start = 2027-03-01\n[[plan.crews]]\nname = 'a'\nkinds = ['dig']", "kinds"),
    ("start = 2027-03-01\n[[plan.access]]\nfirst_day = 1\nlast_day = 9", "plan.access.0"),
    ("by = 2027-02-01", "plan.calendar.start")])
def test_a_calendar_that_cannot_be_is_refused(tmp_path, text, where):
    study = TinyStudy(tmp_path)
    study.text += f"\n[plan.calendar]\n{text}\n"
    with pytest.raises(InputError) as fault:
        load_study(study.write())
    assert where in fault.value.where


@pytest.mark.parametrize(("text", "where"), [
    ("crews = 0", "plan.crews"), ("crews = []", "plan.crews"), ("crews = 1.5", "plan.crews"),
    ("[[plan.crews]]\nname = 'a'\nweekdays = ['monday']", "plan.crews.a.weekdays"),
    ("[[plan.access]]\nstructures = ['2']\nfirst_day = 1\nlast_day = 9", "plan.access"),
    ("pull_setup_duration = '17 h'", "plan.pull_setup_duration"),
    ("[[plan.outage_needs]]\nkind = 'raise'\nout = 'own'", "plan.outage_needs.0.out"),
    ("[[plan.outage_needs]]\nkind = 'pull'\nout = 'none'", "plan.outage_needs.0.out"),
    ("[[plan.outage_needs]]\nkind = 'pull'\nout = 'own'\n[[plan.outage_needs]]\nkind = 'pull'\nout = 'all'",
     "plan.outage_needs.1")])
def test_crews_and_needs_that_cannot_be_are_refused(tmp_path, text, where):
    study = TinyStudy(tmp_path)
    study.text += f"\n[plan]\n{text}\n"
    with pytest.raises(InputError) as fault:
        load_study(study.write())
    assert where in fault.value.where
