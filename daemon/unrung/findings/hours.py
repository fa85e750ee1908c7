"""When the venue was open: by its usual hours, and by its own rings.

A till that rang is a venue that was open, whatever the settings say; and a venue whose till rang for
the last time has closed, though its usual hours run on.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from functools import partial
from itertools import pairwise
from zoneinfo import ZoneInfo

from unrung.ledger.coverage import Span, covers, intersect, length_ms, subtract, union
from unrung.ledger.facts import DayFacts
from unrung.settings import Settings

AROUND_MS, ALONE_MS = 5 * 60_000, 45 * 60_000
"""A ring keeps the venue open for so long before and after it: the longer where the venue's usual hours
are not known (common practice, no source)."""


class Hours:
    """Open and closed spans of several days."""

    def __init__(self, opened: Sequence[Span], days: Sequence[Span]) -> None:
        self.open = union(opened)
        self.closed = subtract(union(days), self.open)

    def is_closed(self, at_ms: int) -> bool:
        return covers(self.closed, at_ms)

    def closed_ms(self, within: Span) -> int:
        """How long the venue was closed in a span."""
        return length_ms(self.closed, within)


def hours_of(days: Sequence[DayFacts], settings: Settings) -> Hours:
    """Open hours of ``days``: the usual ones, and around every row of the till."""
    opened: list[Span] = []
    for day in days:
        opened += day.once("opened", settings, partial(_opened, day, settings))
    return Hours(opened, [day.bounds for day in days])


def _opened(day: DayFacts, settings: Settings) -> list[Span]:
    usual = _usual(day, settings)
    around = AROUND_MS if usual else ALONE_MS
    at = sorted({second // 60 for till in day.till for second in till.at_s})
    opened = _served(usual, day, at)
    if at:
        pauses = [(before, after) for before, after in pairwise(at) if (after - before) * 60_000 > 2 * around]
        first, last = [at[0], *(after for _, after in pauses)], [*(before for before, _ in pauses), at[-1]]
        opened += [
            (day.bounds[0] + one * 60_000 - around, day.bounds[0] + other * 60_000 + around)
            for one, other in zip(first, last, strict=True)
        ]
    if at and day.bounds[0] + at[-1] * 60_000 >= day.bounds[1] - ALONE_MS:
        # It trades across the day's end: the next ring belongs to a day that may not be known yet.
        opened.append((day.bounds[1] - ALONE_MS, day.bounds[1]))
    return union(opened)


def _served(usual: Sequence[Span], day: DayFacts, minutes: Sequence[int]) -> list[Span]:
    """The usual hours less what lies before the till's first row or after its last."""
    if not minutes:
        return list(usual)
    first, last = (day.bounds[0] + 60_000 * minutes[end] for end in (0, -1))
    return intersect(usual, [(first - ALONE_MS, last + AROUND_MS)])


def _usual(day: DayFacts, settings: Settings) -> list[Span]:
    """The day's usual hours; none where the venue does not say."""
    venue = settings.venue
    if venue.opens is None or venue.closes is None:
        return []
    zone = ZoneInfo(venue.timezone)

    late = timedelta(days=venue.closes <= venue.opens)
    first = datetime.combine(day.day, venue.opens, zone)
    last = datetime.combine(day.day + late, venue.closes, zone)
    return [(round(first.timestamp() * 1000), round(last.timestamp() * 1000))]
