"""When to ask again: growing pauses, never the same for two feeds, and what the server wishes."""

from __future__ import annotations

import hashlib
from email.utils import parsedate_to_datetime

FIRST_PAUSE_MS = 30_000
LONGEST_PAUSE_MS = 3_600_000
LONGEST_WISH_MS = 6 * 3_600_000
"""A server that wishes to be left alone for longer is asked after this all the same."""


def pause_ms(feed: str, failures: int, every_ms: int, *, permanent: bool) -> int:
    """The pause after the ``failures``-th failure in a row.

    It doubles from half a minute (or the feed's interval, if that is shorter) up to an hour; what
    trying again cannot mend waits the hour at once. It is spread by a tenth either way, so that
    feeds of one server do not come back together, and equal for equal arguments.
    """
    first = min(FIRST_PAUSE_MS, every_ms)
    pause = LONGEST_PAUSE_MS if permanent else min(LONGEST_PAUSE_MS, first << min(failures - 1, 20))
    digest = hashlib.sha256(f"{feed}\0{failures}".encode()).digest()
    return round(pause * (0.9 + 0.2 * int.from_bytes(digest[:4], "big") / 0xFFFFFFFF))


def wish_ms(retry_after: str, date: str, now_ms: int) -> int | None:
    """Milliseconds that a Retry-After header (RFC 9110, section 10.2.3) asks to wait.

    An HTTP date counts from the server's own ``date`` where it sends one, so that its clock does not
    matter. None where the header is absent or makes no sense.

    >>> wish_ms("120", "", 0), wish_ms("soon", "", 0)
    (120000, None)
    >>> wish_ms("Fri, 30 Oct 2026 20:00:30 GMT", "Fri, 30 Oct 2026 20:00:00 GMT", 0)
    30000
    """
    text = retry_after.strip()
    if text.isascii() and text.isdigit():
        return min(LONGEST_WISH_MS, int(text[:9]) * 1000)
    then, now = http_date_ms(text), http_date_ms(date)
    if then is None:
        return None
    return min(LONGEST_WISH_MS, max(0, then - (now_ms if now is None else now)))


def http_date_ms(text: str) -> int | None:
    """An HTTP date (RFC 9110, section 5.6.7) as UTC milliseconds; None where it makes no sense."""
    try:
        moment = parsedate_to_datetime(text)
        # "-0000" and a missing zone give a time without one; HTTP dates are always GMT.
        return None if moment.tzinfo is None else round(moment.timestamp() * 1000)
    except (TypeError, ValueError, OverflowError):
        return None
