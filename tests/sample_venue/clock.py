"""Local times of the week, worked out by hand.

New York leaves daylight time on 1 November 2026 at 06:00 UTC (IANA time zone database), and that
one step is all that this week needs. Times are whole seconds since the Unix epoch.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

FIRST = date(2026, 10, 27)
DAYS = tuple(FIRST + timedelta(days=n) for n in range(7))
STEP = int(datetime(2026, 11, 1, 6, tzinfo=UTC).timestamp())
DAY_STARTS_HOUR = 4


def offset(at: int) -> int:
    """Seconds of local time ahead of UTC."""
    return -4 * 3600 if at < STEP else -5 * 3600


def moment(day: date, text: str) -> int:
    """Seconds into ``day``'s night: hours run past 24, and through the repeated hour.

    >>> local(moment(date(2026, 10, 31), "26:30")).isoformat()
    '2026-11-01T01:30:00-05:00'
    >>> local(moment(date(2026, 11, 1), "4:00")).isoformat()
    '2026-11-01T04:00:00-05:00'
    """
    begins = int(datetime(day.year, day.month, day.day, DAY_STARTS_HOUR, tzinfo=UTC).timestamp())
    begins -= offset(begins + 5 * 3600)
    hours, minutes = text.split(":")
    return begins + (int(hours) - DAY_STARTS_HOUR) * 3600 + int(minutes) * 60


def local(at: int) -> datetime:
    return datetime.fromtimestamp(at, timezone(timedelta(seconds=offset(at))))


def iso(at: int) -> str:
    """``2026-10-31T20:41:07-04:00``."""
    return local(at).isoformat()


def us(at: int, *, seconds: bool = True) -> str:
    """``10/31/2026 08:41:07 PM``, without an offset."""
    return local(at).strftime("%m/%d/%Y %I:%M:%S %p" if seconds else "%m/%d/%Y %I:%M %p")
