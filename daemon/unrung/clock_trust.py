"""Whether this machine's clock can be believed: one whose battery is flat starts in 1970 or 2001.

By such a clock nothing is taken in (today's rows would be refused as rows of the future), issued, judged,
mailed or let go, and no edit of the tables is taken up. Everything waits where it is. Only a clock that is
behind can be told from a right one: a machine that was off for months looks as if its clock were ahead.
"""

from __future__ import annotations

from datetime import UTC, datetime

from unrung.by_locale import full_stop
from unrung.settings import Settings
from unrung.store.clock_evidence import has_rows, has_rows_after, has_rows_between, newest_receipt_ms
from unrung.store.open import Store
from unrung.venue_time import moment

EARLIEST_MS = round(datetime(2025, 1, 1, tzinfo=UTC).timestamp() * 1000)
"""This program was begun later: no clock that runs it is right and shows an earlier time."""
FAR_MS = 36 * 3_600_000
"""More than clocks differ by a wrong zone; rows further ahead are refused by the adapters too."""


def clock_trouble(db: Store, settings: Settings, now_ms: int) -> str:
    """What is wrong with the clock that shows ``now_ms`` (UTC milliseconds), as a sentence; or empty.

    It is far behind where every feed of rings and pours has rows far ahead of it: one till alone with
    a wrong date proves nothing. Or where the last export came in far ahead of it and no row lies near
    it; rows near it say that the clock was wrong then and is right now.
    """
    if now_ms < EARLIEST_MS:
        return _told(settings, now_ms, "that was before this program was written")
    feeds = [feed.name for feed in settings.feed if feed.carries in ("rings", "pours")
             and has_rows(db, feed.name)]
    if feeds and all(has_rows_after(db, feed, now_ms + FAR_MS) for feed in feeds):
        return _told(settings, now_ms, "the till and the meters have later rows")
    last = newest_receipt_ms(db)
    if last is None or last <= now_ms + FAR_MS or has_rows_between(db, now_ms - FAR_MS, now_ms + FAR_MS):
        return ""
    return _told(settings, now_ms, f"an export came in on {moment(last, settings, year=True)}")


def _told(settings: Settings, now_ms: int, against: str) -> str:
    shown = moment(now_ms, settings, year=True)
    return (f"this machine's clock says {shown}, and {full_stop(against)} Set the clock (a flat battery on "
            "the main board?); nothing is taken in, issued, mailed or deleted until then")
