"""Whether this machine's clock can be believed: one whose battery is flat starts in 1970 or 2001.

By such a clock nothing is taken in (today's rows would be refused as rows of the future), issued, judged,
mailed or let go, and no edit of the tables is taken up. Everything waits where it is. A clock that is ahead
looks like that of a machine that was off for long, and is another matter: ``clock_doubt``.
"""

from __future__ import annotations

from datetime import UTC, datetime, time

from unrung.by_locale import full_stop
from unrung.settings import Settings
from unrung.store.clock_evidence import has_rows, has_rows_after, has_rows_between, known_time
from unrung.store.open import Store
from unrung.venue_time import day_name, local_time

EARLIEST_MS = round(datetime(2025, 1, 1, tzinfo=UTC).timestamp() * 1000)
"""This program was begun later: no clock that runs it is right and shows an earlier time."""
FAR_MS = 36 * 3_600_000
"""More than clocks differ by a wrong zone; rows further ahead are refused by the adapters too."""
DAY_MS = 86_400_000
NEAR_MS = 14 * DAY_MS
"""Rows this little behind the clock bear it out: a bar may be shut for two weeks."""
AWAY_MS = 40 * DAY_MS
"""So long a PC is off while its bar is shut for a month, and nobody need be asked whether it was."""


def clock_trouble(db: Store, settings: Settings, now_ms: int) -> str:
    """What is wrong with the clock that shows ``now_ms`` (UTC milliseconds), as a sentence; or empty.

    It is far behind where every feed of rings and pours has rows far ahead of it: one till alone with
    a wrong date proves nothing. Or where the time was known to be far ahead of it and no row lies near
    it; rows near it say that the clock was wrong then and is right now. So does a person.
    """
    if now_ms < EARLIEST_MS:
        return _told(settings, now_ms, "that was before this program was written")
    if confirmed(settings, now_ms):
        return ""
    feeds = [feed.name for feed in settings.feed if feed.carries in ("rings", "pours")
             and has_rows(db, feed.name)]
    if feeds and all(has_rows_after(db, feed, now_ms + FAR_MS) for feed in feeds):
        return _told(settings, now_ms, "the till and the meters have later rows", or_right=True)
    last = known_time(db)
    if last is None or last.known_ms <= now_ms + FAR_MS or rows_near(db, now_ms):
        return ""
    return _told(settings, now_ms, f"it said {shown_day(last.known_ms, settings)} before", or_right=True)


def rows_near(db: Store, now_ms: int) -> bool:
    """Whether rows bear out the clock that shows ``now_ms``."""
    return has_rows_between(db, now_ms - NEAR_MS, now_ms + FAR_MS)


def confirmed(settings: Settings, now_ms: int) -> bool:
    """Whether a person saw, not long from ``now_ms``, that the clock is right."""
    day = settings.venue.clock_right_on
    if day is None:
        return False
    noon = datetime.combine(day, time(12), UTC).timestamp() * 1000
    return abs(now_ms - noon) <= AWAY_MS


def shown_day(at_ms: int, settings: Settings) -> str:
    """The day of a moment, with its year. Without the time of day: a sentence is told when it changes."""
    return day_name(local_time(at_ms, settings).date(), settings, year=True)


def right_on(now_ms: int, settings: Settings) -> str:
    """What a person writes into ``venue.toml`` who sees that the clock is right."""
    day = local_time(now_ms, settings).date().isoformat()
    return f'clock_right_on = "{day}" under [venue] in venue.toml'


def _told(settings: Settings, now_ms: int, against: str, *, or_right: bool = False) -> str:
    right = f". If it is right, write {right_on(now_ms, settings)} and start the service again"
    return (f"this machine's clock says {shown_day(now_ms, settings)}, and {full_stop(against)} Set the "
            "clock (a flat battery on the main board?); nothing is taken in, issued, mailed or deleted until "
            f"then{right if or_right else ''}")
