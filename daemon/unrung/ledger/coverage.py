"""Where a feed's silence means that nothing happened, and where it means that it was not there.

Spans are lists of (from, to) in UTC milliseconds, half open, sorted and disjoint.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
from itertools import pairwise

Span = tuple[int, int]

SILENCE_LEAST_MS = 30 * 60_000
EXPECTED_EVENTS = 20.0
"""A silence is the feed's own when this many rows were to be expected in it: under a Poisson flow
an empty span of 20 expected events has a chance of exp(-20), about 2 in a thousand million."""


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


def silences(own: Sequence[int], other: Sequence[int], within: Span) -> list[Span]:
    """Spans in which one side is silent far beyond its rhythm while the other side is busy.

    ``own`` and ``other`` are sorted times of the two sides' rows. The rhythm is the day's: own rows
    per row of the other side. A gap counts where at least EXPECTED_EVENTS own rows were to be
    expected from the other side's rows in it.
    """
    if not own or not other:
        return []
    rate = len(own) / len(other)
    edges = [within[0], *own, within[1]]
    gaps = []
    for lo, hi in pairwise(edges):
        busy = bisect_left(other, hi) - bisect_right(other, lo)
        if hi - lo >= SILENCE_LEAST_MS and busy * rate >= EXPECTED_EVENTS:
            gaps.append((lo + 1, hi))
    return union(gaps)
