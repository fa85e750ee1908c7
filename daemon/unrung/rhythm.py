"""How often a feed usually comes in, and whether it is silent for longer than that."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
LOOK_BACK_MS = 28 * DAY_MS
SHORTEST_MS = HOUR_MS
"""No silence shorter than this is worth a word."""
FEWEST = 4
"""Fewer exports than this have no rhythm yet."""
TOGETHER_MS = 60_000
"""Exports no further apart came together, as where history was copied into the folder, and are one."""
WEEK_MS = 6 * DAY_MS
"""From the first to the last export of a week. Before it is seen, a night or a day without trade may be
the first: no rhythm is taken to be quicker than a day."""
SEASONED_MS = 21 * DAY_MS
OUTAGES = 2
"""Of many gaps in so long a time the longest so many may be outages or holidays of their own; in less they
may be nights, or the weekday without trade."""


class Silence(NamedTuple):
    """Milliseconds since a feed's last export, and how long its pauses are at most, usually."""

    lasts_ms: int
    usually_ms: int

    @property
    def too_long(self) -> bool:
        return self.lasts_ms > 2 * max(self.usually_ms, SHORTEST_MS)

    def __str__(self) -> str:
        return f"silent for {span(self.lasts_ms)}, usually at most {span(self.usually_ms)}"


def silence(arrivals_ms: Sequence[int], now_ms: int) -> Silence | None:
    """From the times at which exports came, in any order; None where there are too few.

    Judged on the four weeks before the last one, so that a long silence does not become the rule.

    >>> days = [0, 1, 2, 3, 4, 6]
    >>> print(silence([day * DAY_MS for day in days], 9 * DAY_MS))
    silent for 3 days, usually at most 2 days
    >>> silence([0, 1, 2, 3, 4], DAY_MS)  # copied at once
    """
    times = sorted(arrivals_ms)
    if not times:
        return None
    times = [at for at in times if at >= times[-1] - LOOK_BACK_MS]
    gaps = sorted(gap for one, next_ in pairwise(times) if (gap := next_ - one) >= TOGETHER_MS)
    if len(gaps) + 1 < FEWEST:
        return None
    seen_ms = times[-1] - times[0]
    usual = gaps[-1 - OUTAGES] if len(gaps) > 6 * OUTAGES and seen_ms >= SEASONED_MS else gaps[-1]
    return Silence(max(0, now_ms - times[-1]), usual if seen_ms >= WEEK_MS else max(usual, DAY_MS))


def span(milliseconds: int) -> str:
    """A duration in its largest fitting unit.

    >>> span(50 * 60_000), span(90 * 60_000), span(47 * HOUR_MS), span(49 * HOUR_MS)
    ('50 minutes', '2 hours', '47 hours', '2 days')
    """
    for name, size, least in (("day", DAY_MS, 2 * DAY_MS), ("hour", HOUR_MS, HOUR_MS)):
        if milliseconds >= least:
            return counted(round(milliseconds / size), name)
    return counted(round(milliseconds / 60_000), "minute")


def counted(count: int, name: str) -> str:
    """Such as "1 day" and "2 days"."""
    return f"{count} {name}" if count == 1 else f"{count:,} {name}s"
