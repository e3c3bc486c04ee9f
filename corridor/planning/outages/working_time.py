"""When crews work: dates, shifts, weekdays, holidays and seasons; and outages of working hours laid into them.

An outage begins with a shift and lasts until its longest crew is done: nights, and days that nobody works on in
between, count as outage.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np

from corridor.study.plan import Calendar

__all__ = ["Laid", "WorkingTime"]

#: How far ahead a place for an outage is looked for [days].
_AHEAD = 1100
_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Laid:
    """An outage in time: its first and last moment."""

    start: datetime
    end: datetime

    @property
    def hours(self) -> float:
        """From the first moment to the last [h]."""
        return (self.end - self.start).total_seconds() / 3600


@dataclass(frozen=True)
class WorkingTime:
    """When crews work, by the table [plan.calendar].

    >>> from corridor.study.plan import Calendar
    >>> when = WorkingTime(Calendar(start=date(2027, 3, 4), shift_start=7, shift_end=17))  # a Thursday
    >>> when.lay(date(2027, 3, 5), 12.0).end.isoformat()
    '2027-03-08T09:00:00'
    >>> when.most_hours(48.0)
    20.0
    """

    calendar: Calendar

    def works(self, day: date) -> bool:
        """Whether anybody works on a day."""
        c, number = self.calendar, day.timetuple().tm_yday
        inside = not c.seasons or any(
            each.first_day <= number <= each.last_day if each.first_day <= each.last_day else
            number >= each.first_day or number <= each.last_day for each in c.seasons)
        return inside and day not in c.holidays and c.weekday_names[day.weekday()] in c.weekdays

    def shifts(self, day: date) -> Iterator[date]:
        """Return the days from a day on on which anybody works."""
        for ahead in range(_AHEAD):
            each = day + ahead * _DAY
            if self.works(each):
                yield each

    def moment(self, day: date, hours: float) -> datetime:
        """Return the moment at which so many working hours [h] are done that begin with the shift of a day, the end of
        a shift rather than the start of the next."""
        left, shift = hours, self.calendar.shift_end - self.calendar.shift_start
        for each in self.shifts(day):
            if left <= shift + 1e-9:
                # To the minute, none too few.
                minutes = np.ceil(60 * (self.calendar.shift_start + left) - 1e-6)
                return datetime.combine(each, time()) + timedelta(minutes=float(minutes))
            left -= shift
        return datetime.max

    def lay(self, day: date, hours: float) -> Laid | None:
        """Return an outage of so many working hours [h] that begins with the first shift from a day on; None where
        nobody works for years."""
        first = next(self.shifts(day), None)
        if first is None:
            return None
        laid = Laid(self.moment(first, 0.0), self.moment(first, hours))
        return None if laid.end == datetime.max else laid

    def most_hours(self, longest: float) -> float:
        """Return how many working hours an outage has room for that may take so long, nights and free days included
        [h], in the best week of a year."""
        best, shift = 0.0, self.calendar.shift_end - self.calendar.shift_start
        for ahead in range(400):
            day = self.calendar.start + ahead * _DAY
            if not self.works(day):
                continue
            end = datetime.combine(day, time()) + timedelta(hours=self.calendar.shift_start + longest)
            hours = 0.0
            for each in self.shifts(day):
                begin = datetime.combine(each, time()) + timedelta(hours=self.calendar.shift_start)
                if begin >= end:
                    break
                hours += min(shift, (end - begin).total_seconds() / 3600)
            best = max(best, hours)
            if best >= longest or ahead > 60 and best:
                break
        return best

    def row(self, hours: list[float], longest: float, earliest: list[date]) -> list[Laid | None]:
        """Return outages of so many working hours [h] one after the other, none of which takes longer than `longest`
        [h] or begins before its `earliest` day; None for what finds no room, and all after it. Each begins on a day
        after the last has ended."""
        laid, day = [], self.calendar.start
        for each, not_before in zip(hours, earliest, strict=True):
            found = None
            for first in self.shifts(max(day, not_before)) if None not in laid else ():
                tried = self.lay(first, each)
                if tried is not None and tried.hours <= longest + 1e-9:
                    found = tried
                    break
            laid.append(found)
            day = found.end.date() + _DAY if found else day
        return laid
