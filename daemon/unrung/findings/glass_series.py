"""A tap's glasses in order of time, whatever their item, each about the mean of its item."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import accumulate, chain
from math import fsum
from typing import NamedTuple

from unrung.findings.facts import Window
from unrung.findings.fills import Fill
from unrung.findings.glasses import Cell
from unrung.findings.plain import Kept


class _Merged(NamedTuple):
    """The plain serves of a tap on one day."""

    numbers: Sequence[int]
    """Within the day, in order of time."""
    ratios: Sequence[float]
    items: Sequence[int]
    """Which of the day's cells each is of."""


class Outline(NamedTuple):
    """A tap's glasses of one day in a few numbers. A list has a number for each of the day's cells."""

    counts: list[int]
    sums: list[float]
    """Of metered over set less 1."""
    within: float
    """Sum of squares about the means of the day's own cells."""
    usual: list[float]
    """What ``reach`` is counted about."""
    reach: float
    """How far the sum of the day's first glasses, less what is usual, ever is from 0."""


class _Day(NamedTuple):
    number: int
    """Of the window, from 0."""
    first: int
    """Key of the day's first serve."""
    cells: list[Cell]
    means: list[float]
    """Of the cells, over the window."""
    merged: _Merged
    outline: Outline

    @property
    def values(self) -> list[float]:
        """Metered over set, less the mean of the item's."""
        of, means = self.merged, self.means
        return [ratio - means[item] for ratio, item in zip(of.ratios, of.items, strict=True)]


@dataclass(frozen=True)
class Series:
    """Places in it are counted from 0."""

    days: list[_Day]
    starts: list[int]
    """Place of each day's first glass."""
    count: int

    @cached_property
    def values(self) -> list[float]:
        """Metered over set, less the mean of the item's."""
        return [*chain.from_iterable([day.values for day in self.days])]

    def _at(self, place: int) -> tuple[_Day, int]:
        nth = bisect_right(self.starts, place) - 1
        return self.days[nth], place - self.starts[nth]

    def key(self, place: int) -> int:
        """The serve there."""
        day, own = self._at(place)
        return day.first + day.merged.numbers[own]

    def day(self, place: int) -> int:
        """The day of the window there, from 0."""
        return self._at(place)[0].number

    def items(self, low: int, high: int) -> list[Cell]:
        """Of every glass from ``low`` to before ``high``."""
        every = [day.cells[item] for day in self.days for item in day.merged.items]
        return every[low:high]

    def by_day(self, low: int, high: int) -> Iterator[tuple[int, list[float]]]:
        """Days of the window with glasses from ``low`` to before ``high``, and their values there."""
        for day, start in zip(self.days, self.starts, strict=True):
            end = start + len(day.merged.numbers)
            if start < high and end > low:
                yield day.number, self.values[max(low, start) : min(high, end)]


def series_of(window: Window, fills: Sequence[Fill]) -> Series:
    """``fills``: all of one tap."""
    days = list(_days(window, fills))
    *starts, count = accumulate([len(day.merged.numbers) for day in days], initial=0)
    return Series(days, starts, count)


def _days(window: Window, fills: Sequence[Fill]) -> Iterator[_Day]:
    by_day: dict[int, tuple[int, list[Cell], list[float], list[Kept]]] = {}
    for fill in fills:
        cell, mean = fill.cell, fill.mean
        for number, first, own in fill.parts:
            if number not in by_day:
                by_day[number] = (first, [], [], [])
            _, cells, means, kept = by_day[number]
            cells.append(cell)
            means.append(mean)
            kept.append(own)
    tap, made = fills[0].cell.tap, window.once("merged", partial(_made_of_days, window))
    for number, (first, cells, means, kept) in sorted(by_day.items()):
        one = made[number].get(tap)
        if one is None or one.kept != kept:
            merged = _merged(kept)
            one = made[number][tap] = _Known(kept, merged, _outline(kept, merged, means))
        yield _Day(number, first, cells, means, one.merged, one.outline)


def _made_of_days(window: Window) -> list[dict[str, _Known]]:
    """By tap, what is kept with each day of the window."""
    return [day.once("merged", None, dict) for day in window.days]


class _Known(NamedTuple):
    """What was made of the plain glasses of a tap's cells on one day."""

    kept: list[Kept]
    merged: _Merged
    outline: Outline


def _merged(kept: Sequence[Kept]) -> _Merged:
    if len(kept) == 1:
        return _Merged(kept[0].numbers, kept[0].ratios, [0] * len(kept[0].numbers))
    numbers = [*chain.from_iterable([own.numbers for own in kept])]
    ratios = [*chain.from_iterable([own.ratios for own in kept])]
    items = [*chain.from_iterable([[item] * len(own.numbers) for item, own in enumerate(kept)])]
    order = sorted(range(len(numbers)), key=numbers.__getitem__)
    return _Merged(sorted(numbers), [*map(ratios.__getitem__, order)], [*map(items.__getitem__, order)])


def _outline(kept: Sequence[Kept], merged: _Merged, usual: list[float]) -> Outline:
    counts, sums = [len(own.ratios) for own in kept], [fsum(own.sums) for own in kept]
    within = sum(
        sum([(apart := ratio - mean) * apart for ratio in own.ratios])
        for own, mean in zip(kept, map(float.__truediv__, sums, map(float, counts)), strict=True)
    )
    so_far = [*accumulate([
        ratio - usual[item] for ratio, item in zip(merged.ratios, merged.items, strict=True)])]
    return Outline(counts, sums, within, usual, max(0.0, max(so_far), -min(so_far)))
