"""Days and times in the sentences that people read: in the venue's zone, as its locale writes them.

Every sentence of mail, page, evidence, notices and status takes them from here. Columns of files hold ISO
dates.
"""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from unrung.by_locale import day_text, moment_text, time_text
from unrung.settings import Settings


def day_name(day: date, settings: Settings, *, year: bool = False) -> str:
    """A day: "Tue, Oct 27", "Tue 27 Oct", "Di., 27. Okt."."""
    return day_text(day, settings.venue.locale, year=year)


def without_day(sentence: str, day: date, settings: Settings) -> str:
    """What is said of a day, where the day stands beside it: "no sales from 'till'"."""
    return sentence.replace(f" for {day_name(day, settings)}", "", 1)


def clock(at_ms: int, settings: Settings) -> str:
    """The wall clock at ``at_ms`` (UTC milliseconds): "1:05 PM", "13:05"."""
    return time_text(local_time(at_ms, settings), settings.venue.locale)


def moment(at_ms: int, settings: Settings, *, year: bool = False) -> str:
    """Day and wall clock at ``at_ms`` (UTC milliseconds): "Tue, Oct 27, 1:05 PM", "Di., 27. Okt., 13:05"."""
    return moment_text(local_time(at_ms, settings), settings.venue.locale, year=year)


def local_time(at_ms: float, settings: Settings) -> datetime:
    """``at_ms`` (UTC milliseconds) in the venue's zone."""
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(ZoneInfo(settings.venue.timezone))
