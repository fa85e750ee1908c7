"""Where a feed's silence means that nothing happened, and where it means that it was not there.

Spans are lists of (from, to) in UTC milliseconds, half open, sorted and disjoint.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import pairwise
from math import log1p

Span = tuple[int, int]

SILENCE_LEAST_MS = 30 * 60_000
NEAR_MS = 5 * 60_000
"""Rows of the two sides that belong together stand this close, so rows of the other side so near to a
silence's ends tell nothing (common practice, no source)."""
CERTAIN = 20.0
"""A silence is the feed's own when chance would leave it once in exp(20), about 500 million."""
PRIOR_ROWS = 10
"""Rows' worth of belief that one row of a side goes with one of the other, before the day speaks."""


def union(spans: Iterable[Span]) -> list[Span]:
    """The spans joined where they touch or overlap.

    >>> union([(5, 9), (0, 3), (3, 4), (8, 12)])
    [(0, 4), (5, 12)]
    """
    joined: list[Span] = []
    for lo, hi in sorted(spans):
        if joined and lo <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(hi, joined[-1][1]))
        elif lo < hi:
            joined.append((lo, hi))
    return joined


def intersect(one: Sequence[Span], other: Sequence[Span]) -> list[Span]:
    """What both cover.

    >>> intersect([(0, 4), (6, 9)], [(2, 7)])
    [(2, 4), (6, 7)]
    """
    both = (
        (max(a, c), min(b, d)) for a, b in one for c, d in other if max(a, c) < min(b, d)
    )
    return union(both)


def subtract(spans: Sequence[Span], holes: Sequence[Span]) -> list[Span]:
    """``spans`` without ``holes``.

    >>> subtract([(0, 10)], [(2, 3), (8, 12)])
    [(0, 2), (3, 8)]
    """
    left: list[Span] = []
    for lo, hi in spans:
        for a, b in holes:
            if b <= lo or a >= hi:
                continue
            if a > lo:
                left.append((lo, a))
            lo = max(lo, b)
        if lo < hi:
            left.append((lo, hi))
    return left


def covers(spans: Sequence[Span], at_ms: int) -> bool:
    """Whether a moment lies in one of the (sorted, disjoint) spans."""
    place = bisect_right(spans, (at_ms, 1 << 62)) - 1
    return place >= 0 and spans[place][0] <= at_ms < spans[place][1]


def length_ms(spans: Sequence[Span], within: Span) -> int:
    """How much of ``within`` is covered."""
    return sum(hi - lo for lo, hi in intersect(spans, [within]))


def silences(
    own: Sequence[int], other: Sequence[int], within: Span, certain: float = CERTAIN,
    early_ms: int = 0,
) -> list[Span]:
    """Spans in which one side is silent far beyond its rhythm while the other side is busy.

    ``own`` and ``other`` are sorted times of the two sides' rows. Were the n own rows spread over the
    other side's rows by chance, none of them would fall among the b rows in a gap, m standing outside,
    with the probability (m / (m + b)) ** n; see PRIOR_ROWS for what is added to n and m. ``certain``: the
    negative log of that probability from which a gap is told; ``early_ms``: how long before its pour a
    ring may come, where that is longer than any silence has to be: then a silence is longer still, and rows
    that belong together stand so far apart.
    """
    low, high = within
    usual = early_ms <= SILENCE_LEAST_MS
    least_ms, near_ms = (SILENCE_LEAST_MS, NEAR_MS) if usual else (early_ms, early_ms)
    own = own[bisect_left(own, low) : bisect_left(own, high)]
    other = other[bisect_left(other, low) : bisect_left(other, high)]
    gaps = []
    long = [(lo, hi) for lo, hi in pairwise([low, *own, high]) if hi - lo >= least_ms]
    for lo, hi in long:
        busy = bisect_left(other, hi - near_ms) - bisect_right(other, lo + near_ms)
        outside = len(other) - busy + PRIOR_ROWS
        if busy > 0 and (len(own) + PRIOR_ROWS) * log1p(busy / outside) >= certain:
            gaps.append((lo + 1, hi))
    return union(gaps)
