"""Counts of the cellar: how much beer was there, and how well that is known.

A bound is the greatest error, not a standard deviation; independent bounds add as squares.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from math import isqrt
from typing import NamedTuple

from unrung.ledger.cellar import CellarEvent

ONE_COUNT_MS = 60 * 60_000
"""Rows of one product and outlet within this time of each other are one count (common practice)."""
WEIGHT_BOUND_UL = 200_000
"""Of a weighed keg: the scale, the shell's own weight, the density (common practice, no source)."""
TENTHS_BOUND = 20
"""A part in tenths is known to one part in this many of the keg: half a tenth."""
VOLUME_BOUND = 50
"""A part written as a volume is known to one part in this many of the keg (common practice)."""


class Count(NamedTuple):
    """One count of one product at one outlet (or pool)."""

    at_ms: int
    full_ul: int
    part_ul: int
    has_part: bool
    """Whether anybody said what the part-used kegs hold; a count of full kegs alone does not."""
    within_ul: int
    """Bound of the whole."""

    @property
    def volume_ul(self) -> int:
        return self.full_ul + self.part_ul


def keg_tolerance_ul(size_ul: int) -> int:
    """How far a metal keg's contents may be from its nominal capacity: 0.5 %, not less than 0.10 L
    (OIML R 138:2007, 5.1.3, class A).

    >>> [keg_tolerance_ul(litres * 1_000_000) for litres in (10, 20, 30, 50)]
    [100000, 100000, 150000, 250000]
    """
    return max(100_000, size_ul // 200)


def together(bounds: Iterable[int]) -> int:
    """The bound of a sum of parts with independent ``bounds``.

    >>> together([3, 4])
    5
    """
    return isqrt(sum(bound * bound for bound in bounds))


def counts_of(events: Sequence[CellarEvent]) -> dict[tuple[str, str], list[Count]]:
    """Every count by (outlet, product), in order of time."""
    rows: dict[tuple[str, str], list[list[CellarEvent]]] = defaultdict(list)
    for event in sorted(events, key=lambda one: (one.at_ms, one.id)):
        if event.kind == "count":
            sessions = rows[event.outlet, event.product]
            if not sessions or event.at_ms - sessions[-1][-1].at_ms > ONE_COUNT_MS:
                sessions.append([])
            sessions[-1].append(event)
    return {key: [_count(session) for session in found] for key, found in rows.items()}


def _count(session: Sequence[CellarEvent]) -> Count:
    """Rows add up; of a keg that was counted twice by its number the later row stands."""
    by_number = {event.keg: event for event in session if event.keg}
    rows = [event for event in session if not event.keg or by_number[event.keg] is event]
    bounds = [bound for event in rows for bound in _bounds(event)]
    return Count(
        session[-1].at_ms, sum(event.full_ul for event in rows),
        sum(event.part_ul or 0 for event in rows),
        any(event.part_ul is not None for event in rows), together(bounds),
    )


def _bounds(event: CellarEvent) -> list[int]:
    size = event.size_ul or 0
    bounds = [keg_tolerance_ul(size)] * event.full_kegs
    match event.part_by:
        case "tenths":
            bounds.append(size // TENTHS_BOUND)
        case "volume":
            bounds.append((size or event.part_ul or 0) // VOLUME_BOUND)
        case "weight":
            bounds.append(WEIGHT_BOUND_UL)
    return bounds
