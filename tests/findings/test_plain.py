"""The glasses that a day's own are held against are the same as where the whole window stands in one list."""

from __future__ import annotations

import random
from datetime import date
from itertools import accumulate, chain

from unrung.findings.glasses import Cell, Glasses
from unrung.findings.plain import AROUND, FAR, Stretch, near_their_like
from unrung.ledger.facts import DayFacts


def held_against(ratios: list[float], place: int) -> list[float]:
    """As many before as after it, a glass among them; at an end of the window the last so many there."""
    low = max(0, min(place - AROUND, len(ratios) - 2 * AROUND - 1))
    return sorted(ratios[low : low + 2 * AROUND + 1])


def test_each_glass_is_held_against_those_around_it_whatever_day_they_are_of() -> None:
    day, far = DayFacts(date(2026, 3, 1), (0, 1)), 0
    cell = Cell("Bar", "Ale", "T1", "Pint", "", 500_000)
    for seed in range(60):
        chance = random.Random(seed)
        days = [
            [chance.gauss(0.0, 0.12) for _ in range(chance.choice((1, 2, 7, 8, 9, 20)))]
            for _ in range(chance.choice((1, 2, 3, 12)))
        ]
        stretches = [
            Stretch(day, number, 0, Glasses(
                list(range(len(own))), own, min(own), max(own), frozenset(), {}))
            for number, own in enumerate(days)
        ]
        whole = [*chain.from_iterable(days)]
        found = near_their_like(stretches, cell, days)
        for first, own, kept in zip(accumulate(map(len, days), initial=0), days, found, strict=False):
            middles = [(around := held_against(whole, first + n))[len(around) // 2] for n in range(len(own))]
            near = [n for n, middle in enumerate(middles) if abs(own[n] - middle) <= FAR]
            assert kept.numbers == near
            far += len(own) - len(near)
    assert far > 100
