"""A tap's glasses in order of time, whatever their item, each about the mean of its item."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import chain
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


class _Day(NamedTuple):
    number: int
    """Of the window, from 0."""
    first: int
    """Key of the day's first serve."""
    cells: list[Cell]
    merged: _Merged


class Series(NamedTuple):
    """Places in it are counted from 0."""

    values: list[float]
    """Metered over set, less the mean of the item's."""
    days: list[_Day]
    starts: list[int]
    """Place of each day's first glass."""

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
    found = Series([], [], [])
    means = {fill.cell: fill.mean for fill in fills}
    for day in _days(window, fills):
        own = [means[cell] for cell in day.cells]
        found.days.append(day)
        found.starts.append(len(found.values))
        found.values.extend(
            [ratio - own[item] for ratio, item in zip(day.merged.ratios, day.merged.items, strict=True)])
    return found


def _days(window: Window, fills: Sequence[Fill]) -> Iterator[_Day]:
    by_day: dict[int, tuple[int, list[Cell], list[Kept]]] = {}
    for fill in fills:
        for part in fill.parts:
            _, cells, kept = by_day.setdefault(part.day, (part.first, [], []))
            cells.append(fill.cell)
            kept.append(part.kept)
    tap = fills[0].cell.tap
    for number, (first, cells, kept) in sorted(by_day.items()):
        known: dict[str, tuple[list[Kept], _Merged]] = window.days[number].once("merged", None, dict)
        if tap not in known or known[tap][0] != kept:
            known[tap] = (kept, _merged(kept))
        yield _Day(number, first, cells, known[tap][1])


def _merged(kept: Sequence[Kept]) -> _Merged:
    rows = chain.from_iterable(
        zip(own.numbers, own.ratios, [item] * len(own.numbers), strict=True) for item, own in enumerate(kept))
    numbers, ratios, items = zip(*sorted(rows), strict=True)
    return _Merged(numbers, ratios, items)
