"""The span an export covers: where the feed's silence means that nothing happened."""

from __future__ import annotations

from unrung.business_day import business_day, day_bounds
from unrung.settings import Feed, Venue


def cover_span(
    feed: Feed, venue: Venue, first_ms: int, last_ms: int, written_ms: int
) -> tuple[int, int]:
    """[from, to) in UTC milliseconds for an export whose rows run from ``first`` to ``last``.

    With ``covers = "business_day"`` it is the whole business days of its rows, but never past the
    moment the file was written: an export made at three in the afternoon says nothing of the night.
    """
    if feed.covers == "rows":
        return first_ms, last_ms + 1
    start, _ = day_bounds(business_day(first_ms, venue.timezone, venue.day_starts),
                          venue.timezone, venue.day_starts)
    _, end = day_bounds(business_day(last_ms, venue.timezone, venue.day_starts),
                        venue.timezone, venue.day_starts)
    return start, max(last_ms + 1, min(end, written_ms))
