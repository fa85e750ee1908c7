"""Business days: from ``day_starts`` local time to the next, so 23, 24 or 25 hours long.

A day is named by the local calendar date on which it starts. All arithmetic is in UTC
milliseconds; zone rules come from the pinned tzdata package through zoneinfo.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo


@lru_cache(maxsize=4096)
def day_bounds(day: date, zone: str, day_starts: time) -> tuple[int, int]:
    """First millisecond of ``day`` and of the next one, UTC.

    >>> lo, hi = day_bounds(date(2026, 10, 31), "America/New_York", time(4))
    >>> (hi - lo) // 3_600_000
    25
    """
    return _start_ms(day, zone, day_starts), _start_ms(day + timedelta(days=1), zone, day_starts)


def business_day(at_ms: int, zone: str, day_starts: time) -> date:
    """The business day that ``at_ms`` (UTC milliseconds) belongs to."""
    local = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(ZoneInfo(zone))
    day = local.date()
    while at_ms < day_bounds(day, zone, day_starts)[0]:
        day -= timedelta(days=1)
    while at_ms >= day_bounds(day, zone, day_starts)[1]:
        day += timedelta(days=1)
    return day


def windows(day: date, zone: str, day_starts: time, minutes: int) -> list[tuple[int, int]]:
    """The day cut into spans of ``minutes`` from its start; the last may be shorter."""
    lo, hi = day_bounds(day, zone, day_starts)
    step = minutes * 60_000
    return [(at, min(at + step, hi)) for at in range(lo, hi, step)]


@lru_cache(maxsize=64)
def local_iso(at_ms: int, zone: str, *, millis: bool = False) -> str:
    """``at_ms`` as local ISO 8601 with its offset.

    >>> local_iso(1793514600000, "America/New_York")
    '2026-11-01T01:30:00-05:00'
    """
    moment = datetime.fromtimestamp(at_ms // 1000, UTC).replace(microsecond=at_ms % 1000 * 1000)
    return moment.astimezone(ZoneInfo(zone)).isoformat(
        timespec="milliseconds" if millis else "seconds"
    )


def utc_iso(at_ms: int) -> str:
    """``at_ms`` as ISO 8601 in UTC with milliseconds and a Z."""
    moment = datetime.fromtimestamp(at_ms // 1000, UTC).replace(microsecond=at_ms % 1000 * 1000)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")


def _start_ms(day: date, zone: str, day_starts: time) -> int:
    # A start inside the spring gap moves forward by the gap (fold=0 of PEP 495 does that).
    local = datetime.combine(day, day_starts, ZoneInfo(zone))
    return round(local.timestamp()) * 1000
