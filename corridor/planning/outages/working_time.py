"""When crews work: dates, shifts, weekdays, holidays and seasons; and outages of working hours laid into them.

An outage begins with the first shift of its crews and lasts until the last crew is done: nights, and days that nobody
works on in between, count as outage.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from functools import cached_property

import numpy as np

from corridor.study.plan import Calendar, WorkCrew, WorkSeason

__all__ = ["DAYS", "Laid", "WorkingTime", "days_within", "lay_together", "row_of"]

#: Days of a year, 29 February among them.
DAYS = 366

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
    reached: tuple[bool, ...] | None = None

    def of(self, crew: WorkCrew, reached: np.ndarray | None = None) -> "WorkingTime":
        """Return when a crew works; with `reached` (day,) on those days of the year alone."""
        own = {key: getattr(crew, key) for key in ("shift_start", "shift_end") if getattr(crew, key) is not None}
        own |= {"weekdays": crew.weekdays} if crew.weekdays else {}
        return WorkingTime(self.calendar.model_copy(update=own), None if reached is None else tuple(reached.tolist()))

    @cached_property
    def _open(self) -> np.ndarray:
        """Whether the seasons, and the days on which places may be reached, have a day of the year, (day,)."""
        return days_within(self.calendar.seasons) & (True if self.reached is None else np.array(self.reached))

    def works(self, day: date) -> bool:
        """Whether anybody works on a day."""
        c = self.calendar
        return bool(self._open[day.timetuple().tm_yday - 1] and day not in c.holidays
                    and c.weekday_names[day.weekday()] in c.weekdays)

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


def days_within(seasons: Sequence[WorkSeason]) -> np.ndarray:
    """Return whether any of some seasons has a day of the year, (day,); without seasons all days."""
    number, inside = np.arange(1, DAYS + 1), np.full(DAYS, not seasons)
    for each in seasons:
        after, before = number >= each.first_day, number <= each.last_day
        inside |= after & before if each.first_day <= each.last_day else after | before
    return inside


def lay_together(day: date, parts: Sequence[tuple[WorkingTime, float]]) -> Laid | None:
    """Return an outage in which crews work so many hours [h], each from its first shift from a day on; None where one
    finds no time for years."""
    laid = [when.lay(day, hours) for when, hours in parts]
    found = [each for each in laid if each is not None]
    if not found or len(found) < len(laid):
        return None
    return Laid(min(each.start for each in found), max(each.end for each in found))


def row_of(outages: Sequence[Sequence[tuple[WorkingTime, float]]], longest: Sequence[float], earliest: Sequence[date]
           ) -> list[Laid | None]:
    """Return outages one after the other, each of the working time and hours [h] of its crews; none takes longer than
    its `longest` [h] or begins before its `earliest` day. None for what finds no room, and all after it. Each begins
    on a day after the last has ended."""
    laid: list[Laid | None] = []
    day = date.min
    for parts, most, not_before in zip(outages, longest, earliest, strict=True):
        day = max(day, not_before)
        found = None if None in laid else _first(day, parts, most)
        laid.append(found)
        day = found.end.date() + _DAY if found else day
    return laid


def _first(day, parts, most):
    """The first outage from a day on that takes no longer than `most` [h]."""
    for ahead in range(_AHEAD):
        first = day + ahead * _DAY
        if any(when.works(first) for when, _ in parts):
            laid = lay_together(first, parts)
            if laid is None or laid.hours <= most + 1e-9:
                return laid
    return None
