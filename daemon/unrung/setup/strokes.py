"""Times that are the strokes of a clock: of a till that tells how many of an item were sold in each hour."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from itertools import pairwise

STROKE_MS = 5 * 60_000
"""What they are multiples of."""
LEAST_SPAN_MS = 15 * 60_000
"""Shorter spans are no longer than a ring may be late."""
LEAST_TIMES = 12


def span_ms(times_ms: Iterable[int]) -> int:
    """How long a row counts over: from one stroke to the next; 0 where the times are those of single sales.

    >>> span_ms(number * 3_600_000 for number in range(20)) // 60_000, span_ms(range(0, 900_000_000, 70_000))
    (60, 0)
    """
    times = sorted(set(times_ms))
    if len(times) < LEAST_TIMES or any(at_ms % STROKE_MS for at_ms in times):
        return 0
    length = Counter(later - earlier for earlier, later in pairwise(times)).most_common(1)[0][0]
    return length if length >= LEAST_SPAN_MS else 0
