"""Outages laid into shifts, weekdays, holidays and seasons, by hand and against days counted one by one."""

from datetime import date, datetime, timedelta

import numpy as np
import pytest

from corridor.errors import InputError
from corridor.planning.outages.working_time import WorkingTime
from corridor.study import load_study
from corridor.study.plan import Calendar, WorkSeason
from tests.end_to_end.conftest import TinyStudy

#: A Monday.
MONDAY = date(2027, 3, 1)


def when(**keys):
    return WorkingTime(Calendar(start=MONDAY, shift_start=7, shift_end=17, **keys))


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
    laid = when(holidays=(date(2027, 3, 3),)).row([20.0, 20.0, 10.0], 34.0, [MONDAY] * 3)
    assert [each.start.date() for each in laid] == [MONDAY, date(2027, 3, 4), date(2027, 3, 8)]
    season = (WorkSeason(first_day=90, last_day=120),)
    laid = when(seasons=season).row([10.0], 34.0, [MONDAY])
    assert laid[0].start.date() == date(2027, 3, 31)
    # A season over the end of the year, and notice that the second needs.
    laid = when(seasons=(WorkSeason(first_day=300, last_day=70),)).row([10.0, 10.0], 34.0, [MONDAY, date(2027, 3, 10)])
    assert [each.start.date() for each in laid] == [MONDAY, date(2027, 3, 10)]


def test_what_finds_no_room_is_told():
    assert when().row([31.0, 8.0], 58.0, [MONDAY] * 2) == [None, None]


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
    ("start = 2027-03-01\nweekdays = [\"mon\"]", "weekdays"), ("by = 2027-02-01", "plan.calendar.start")])
def test_a_calendar_that_cannot_be_is_refused(tmp_path, text, where):
    study = TinyStudy(tmp_path)
    study.text += f"\n[plan.calendar]\n{text}\n"
    with pytest.raises(InputError) as fault:
        load_study(study.write())
    assert where in fault.value.where
