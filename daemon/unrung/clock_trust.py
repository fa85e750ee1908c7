"""Whether this machine's clock can be believed: one whose battery is flat starts in 1970 or 2001.

By such a clock nothing is taken in (today's rows would be refused as rows of the future), issued, judged,
mailed or let go, and no edit of the tables is taken up. Everything waits where it is.

A clock that is ahead looks like that of a machine that was off for long. So it is held for wrong only where
it is years ahead of everything known, until a person says that it is right; and within that time nothing
that waits for a day to pass goes on for long without any row (``in_sight_ms``).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time

from unrung.business_day import local_iso
from unrung.by_locale import full_stop
from unrung.settings import Settings
from unrung.store.clock_evidence import has_rows, has_rows_after, has_rows_between, newest_receipt_ms
from unrung.store.movements import first_and_last_ms
from unrung.store.open import Store
from unrung.venue_time import moment

EARLIEST_MS = round(datetime(2025, 1, 1, tzinfo=UTC).timestamp() * 1000)
"""This program was begun later: no clock that runs it is right and shows an earlier time."""
FAR_MS = 36 * 3_600_000
"""More than clocks differ by a wrong zone; rows further ahead are refused by the adapters too."""

DAY_MS = 86_400_000
AHEAD_MS = 300 * DAY_MS
"""Longer than a bar is shut or its PC is off, and less than a year set wrong by one."""
STANDSTILL_MS = 14 * DAY_MS
"""So long the days go on without a row; a bar that is shut for longer has nothing to be told of."""


def clock_trouble(db: Store, settings: Settings, now_ms: int) -> str:
    """What is wrong with the clock that shows ``now_ms`` (UTC milliseconds), as a sentence; or empty.

    It is far behind where every feed of rings and pours has rows far ahead of it: one till alone with
    a wrong date proves nothing. Or where the last export came in far ahead of it and no row lies near
    it; rows near it say that the clock was wrong then and is right now. It is far ahead where neither a
    row nor an export came in for ``AHEAD_MS``, nor has a person said that it was right since.
    """
    if now_ms < EARLIEST_MS:
        return _told(settings, now_ms, "that was before this program was written")
    feeds = [feed.name for feed in settings.feed if feed.carries in ("rings", "pours")
             and has_rows(db, feed.name)]
    if feeds and all(has_rows_after(db, feed, now_ms + FAR_MS) for feed in feeds):
        return _told(settings, now_ms, "the till and the meters have later rows")
    last = newest_receipt_ms(db)
    if last is None or has_rows_between(db, now_ms - FAR_MS, now_ms + FAR_MS):
        return ""
    if last > now_ms + FAR_MS:
        return _told(settings, now_ms, f"an export came in on {moment(last, settings, year=True)}")
    return _ahead(db, settings, now_ms, last)


def in_sight_ms(db: Store, now_ms: int) -> int:
    """Up to when time is believed to have passed: ``now_ms``, but no further beyond the newest row than
    ``STANDSTILL_MS``. What is issued or deleted because time passed goes by this."""
    span = first_and_last_ms(db)
    return now_ms if span is None else min(now_ms, span[1] + STANDSTILL_MS)


def standstill(db: Store, settings: Settings, now_ms: int) -> str:
    """A sentence where no row came for so long that no more days are issued; or empty."""
    seen = in_sight_ms(db, now_ms)
    if seen == now_ms:
        return ""
    return (f"nothing was rung, poured or written down after {_day(seen - STANDSTILL_MS, settings)}: no day "
            f"after {_day(seen, settings)} is issued, and no export deleted for its age, until exports with "
            "later rows come in. Is the bar shut, do exports come, is this machine's clock right?")


def _ahead(db: Store, settings: Settings, now_ms: int, received_ms: int) -> str:
    if now_ms <= received_ms + AHEAD_MS:  # as nearly always, and no row need be looked at
        return ""
    span, confirmed = first_and_last_ms(db), settings.venue.clock_right_on
    last = max(received_ms, span[1] if span else 0)
    if now_ms <= last + AHEAD_MS or (confirmed and abs(now_ms - _noon_ms(confirmed)) <= AHEAD_MS):
        return ""
    return (_told(settings, now_ms, f"nothing came in after {_day(last, settings)}") + ". If the clock is "
            f'right, write clock_right_on = "{_day(now_ms, settings)}" under [venue] in venue.toml and start '
            "the service again")


def _noon_ms(day: date) -> int:
    return round(datetime.combine(day, time(12), UTC).timestamp() * 1000)


def _day(at_ms: int, settings: Settings) -> str:
    return local_iso(at_ms, settings.venue.timezone)[:10]


def _told(settings: Settings, now_ms: int, against: str) -> str:
    shown = moment(now_ms, settings, year=True)
    return (f"this machine's clock says {shown}, and {full_stop(against)} Set the clock (a flat battery on "
            "the main board?); nothing is taken in, issued, mailed or deleted until then")
