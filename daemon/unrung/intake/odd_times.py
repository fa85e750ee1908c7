"""Exports whose times can be read and cannot be meant: day and month in the other order, or a clock of
twelve hours without its half of the day.

Judged against when the file was written and when the feed's rows usually lie, and only where the other
reading fits as well as this one does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from statistics import median
from zoneinfo import ZoneInfo

from unrung.settings import Feed, Settings
from unrung.store.movements import local_hours
from unrung.store.open import Store
from unrung.store.sources import SourceRow, lags_ms
from unrung.venue_time import day_name, local_time

DAY_MS = 86_400_000
HALF_A_DAY_MS = DAY_MS // 2
FAR_MS, NEAR_MS = 20 * DAY_MS, 2 * DAY_MS
EARLIER = 3
"""Exports before this one, and how far their last rows lay from when they were written, at most."""
USUAL_MS = 3 * DAY_MS
FEWEST_ROWS, HISTORY_ROWS = 20, 200
RARE = 0.01
"""An hour of the day with a smaller share of the feed's rows is not one of its hours."""
OUTSIDE, INSIDE = 0.3, 0.95
LOOK_BACK_MS = 28 * DAY_MS
STILL = "If the times are right, set hold_odd_times = false for this feed."


def odd_times(
    db: Store, settings: Settings, feed: Feed, times_ms: Sequence[int], source: SourceRow
) -> str:
    """Why an export is not taken in as it reads, and what to do; empty where nothing is odd."""
    if not feed.hold_odd_times or not times_ms or source.via != "folder":
        return ""
    zone = ZoneInfo(settings.venue.timezone)
    written_ms = min(source.mtime_ms, source.received_ms)
    swapped = _swapped(db, settings, feed, times_ms, written_ms)
    return swapped or _half_days(db, feed, times_ms, written_ms, zone)


def _swapped(
    db: Store, settings: Settings, feed: Feed, times_ms: Sequence[int], written_ms: int
) -> str:
    """Day and month in the other order: the newest row is far from the day the file was written, and
    would be near with the two exchanged, as those of earlier exports were."""
    last_ms = max(times_ms)
    if abs(written_ms - last_ms) < FAR_MS or local_time(last_ms, settings).day > 12:
        return ""
    usual = lags_ms(db, feed.name)
    if len(usual) < EARLIER or median(usual) > USUAL_MS:
        return ""
    moments = [local_time(at, settings) for at in times_ms]
    if any(at.day > 12 for at in moments):
        return ""
    other = max(at.replace(month=at.day, day=at.month).timestamp() * 1000 for at in moments)
    if abs(written_ms - other) > NEAR_MS:
        return ""
    read, meant = (
        day_name(at.date(), settings, year=True) for at in (max(moments), local_time(other, settings))
    )
    return (
        f"its last row reads as {read}; with day and month exchanged it is {meant}, when the file was "
        f"written. Put %d and %m of formats.time ({feed.formats.time!r}) in the order that the "
        "source writes now; the file is then read again."
    )


def _half_days(
    db: Store, feed: Feed, times_ms: Sequence[int], written_ms: int, zone: ZoneInfo
) -> str:
    """Afternoons written as mornings: many rows lie in hours that the feed never has, all of them would lie
    in its hours twelve hours later, before the file was written (a late night's rows would not), and no row
    lies after noon's hour."""
    if "%H" not in feed.formats.time or "%p" in feed.formats.time:
        return ""
    hours = [datetime.fromtimestamp(at / 1000, UTC).astimezone(zone).hour for at in times_ms]
    if len(hours) < FEWEST_ROWS or not all(1 <= hour <= 12 for hour in hours):
        return ""
    known = local_hours(db, feed.name, max(times_ms) - LOOK_BACK_MS, min(times_ms), zone)
    total = sum(known.values())
    if total < HISTORY_ROWS:
        return ""
    usual = {hour for hour, count in known.items() if count >= RARE * total}
    odd = [hour for hour in hours if hour not in usual]
    last_ms = max((at for at, hour in zip(times_ms, hours, strict=True) if hour not in usual), default=0)
    if written_ms < last_ms + HALF_A_DAY_MS:
        return ""
    if len(odd) < OUTSIDE * len(hours) or sum((hour + 12) % 24 in usual for hour in odd) < INSIDE * len(odd):
        return ""
    return (
        f"{len(odd)} of {len(hours)} rows lie in hours in which this feed never has any, and none after "
        "12:59: the source seems to write a clock of twelve hours. Let it write 24 hours, or AM and PM and "
        "set formats.time to a pattern with %I and %p; the file is then read again."
    )
