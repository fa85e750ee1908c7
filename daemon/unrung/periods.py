"""Accounting periods: the calendar's months, twelve of 4-4-5 weeks, or thirteen of 4 weeks.

A year of weeks begins on the weekday of its start date, on the day nearest to the anniversary of
that date, so it has 52 or 53 weeks (the kind of year that 26 CFR 1.441-2 describes, from memory).
With a start on Monday, 1 January, these are the week-years of ISO 8601. A 53rd week belongs to the
last period of its year.
"""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, timedelta
from typing import Literal, NamedTuple

from unrung.errors import ConfigError

PeriodKind = Literal["calendar", "4-4-5", "13x4"]
WEEKS: dict[str, tuple[int, ...]] = {"4-4-5": (4, 4, 5) * 4, "13x4": (4,) * 13}
_WEEK = timedelta(days=7)


class Period(NamedTuple):
    """One accounting period; ``first`` and ``last`` are business days, both in it."""

    name: str
    """2026-11, or 2026-P03."""
    first: date
    last: date

    def days(self) -> list[date]:
        """Every business day of the period, in order."""
        return [self.first + timedelta(days=n) for n in range((self.last - self.first).days + 1)]


def period_of(day: date, kind: PeriodKind = "calendar", start: date | None = None) -> Period:
    """The period that ``day`` lies in. ``start``: first day of any one year of weeks.

    >>> period_of(date(2026, 2, 9))
    Period(name='2026-02', first=datetime.date(2026, 2, 1), last=datetime.date(2026, 2, 28))
    >>> period_of(date(2026, 11, 9), "4-4-5", date(2026, 9, 28)).name
    '2026-P02'
    """
    if kind == "calendar" or start is None:
        return _month(day.year, day.month)
    year = _year_of(day, start)
    periods = _periods(year, kind, start)
    return next(one for one in periods if one.first <= day <= one.last)


def period_named(name: str, kind: PeriodKind = "calendar", start: date | None = None) -> Period:
    """The period called ``name``. Raises ConfigError where there is none of that name.

    >>> period_named("2028-02").last
    datetime.date(2028, 2, 29)
    """
    if kind == "calendar" or start is None:
        found = re.fullmatch(r"(\d{4})-(\d{2})", name)
        if not found or not (1 <= int(found[2]) <= 12 and int(found[1])):
            raise ConfigError([f"{name!r} is not a month; write for example 2026-11."])
        return _month(int(found[1]), int(found[2]))
    found = re.fullmatch(r"(\d{4})-P(\d{2})", name)
    count = len(WEEKS[kind])
    if not found or not (1 <= int(found[2]) <= count and 1 < int(found[1]) < 9999):
        raise ConfigError([f"{name!r} is not a period; write 2026-P01 to 2026-P{count}."])
    return _periods(int(found[1]), kind, start)[int(found[2]) - 1]


def after(period: Period, kind: PeriodKind = "calendar", start: date | None = None) -> Period:
    """The next period.

    >>> after(period_named("2026-12")).name
    '2027-01'
    """
    return period_of(period.last + timedelta(days=1), kind, start)


def before(period: Period, kind: PeriodKind = "calendar", start: date | None = None) -> Period:
    """The period before.

    >>> before(period_named("2026-01")).name
    '2025-12'
    """
    return period_of(period.first - timedelta(days=1), kind, start)


def _month(year: int, month: int) -> Period:
    last = monthrange(year, month)[1]
    return Period(f"{year:04d}-{month:02d}", date(year, month, 1), date(year, month, last))


def _year_of(day: date, start: date) -> int:
    """The year of weeks that ``day`` lies in, named by the calendar year it begins near."""
    year = day.year + 1
    while _year_start(year, start) > day:
        year -= 1
    return year


def _year_start(year: int, start: date) -> date:
    """The day nearest to the anniversary of ``start`` that falls on its weekday."""
    leap_day = (start.month, start.day) == (2, 29)
    anniversary = date(year, start.month, 28 if leap_day else start.day)
    ahead = (start.weekday() - anniversary.weekday()) % 7
    return anniversary + timedelta(days=ahead if ahead <= 3 else ahead - 7)


def _periods(year: int, kind: PeriodKind, start: date) -> list[Period]:
    first, end = _year_start(year, start), _year_start(year + 1, start)
    made: list[Period] = []
    for number, weeks in enumerate(WEEKS[kind], 1):
        last = first + weeks * _WEEK - timedelta(days=1)
        made.append(Period(f"{year:04d}-P{number:02d}", first, last))
        first = last + timedelta(days=1)
    made[-1] = made[-1]._replace(last=end - timedelta(days=1))
    return made
