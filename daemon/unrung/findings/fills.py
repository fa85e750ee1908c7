"""How full the glasses are: metered against set, of serves that a single ring answers.

Left out are glasses that were topped up by a small second go (``top_ups``), and what lies far from the
glasses around it: pairs of another size (``wrong_size``), and pairs as likely wrong as right. Where the
glasses around are far from their portion themselves, a pint that is nearer to another size is still
one of them.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import chain
from statistics import NormalDist, fmean
from typing import NamedTuple

from unrung.findings.facts import Facts, Window
from unrung.findings.glasses import TOP_UP_SHARE, Cell, in_one_go
from unrung.findings.of_a_day import columns
from unrung.findings.plain import Kept, Stretch, near_their_like
from unrung.findings.statistics import spread

FEW = 8
SMALLEST_DAY = 3
LEAST_SPREAD = 0.005
"""Of glasses about their mean: no more is believed of them."""
HABIT = 0.01
"""By which share the hands of one evening may lean one way together (common practice, no source)."""


class Part(NamedTuple):
    """What a fill has of one day."""

    day: int
    """Of the window, from 0."""
    first: int
    """Key of the day's first serve."""
    kept: Kept


@dataclass(frozen=True)
class Fill:
    """The plain serves of a cell, in order of time."""

    cell: Cell
    parts: list[Part]

    @cached_property
    def count(self) -> int:
        return sum([len(part.kept.numbers) for part in self.parts])

    @cached_property
    def keys(self) -> list[int]:
        return [part.first + number for part in self.parts for number in part.kept.numbers]

    def holds(self, key: int) -> bool:
        place = bisect_left(self.keys, key)
        return place < len(self.keys) and self.keys[place] == key

    @cached_property
    def ratios(self) -> list[float]:
        return [*chain.from_iterable([part.kept.ratios for part in self.parts])]

    @cached_property
    def mean(self) -> float:
        return math.fsum(chain.from_iterable([part.kept.sums for part in self.parts])) / self.count

    @cached_property
    def error(self) -> float:
        """Standard error of the mean."""
        return max(spread(self.ratios), LEAST_SPREAD) / math.sqrt(self.count)

    @property
    def least_error(self) -> float:
        """The error is at least this."""
        return LEAST_SPREAD / math.sqrt(self.count)


_Stretches = dict[str, dict[Cell, list[Stretch]]]
"""By tap and cell, in order of time."""


def fills_of(facts: Facts) -> dict[Cell, Fill]:
    """Every cell with its plain serves, sorted."""
    return facts.once("fills", _fills)


def _fills(facts: Facts) -> dict[Cell, Fill]:
    stretches = facts.window.once("glasses", partial(_stretches, facts.window))
    made: dict[Cell, Fill] = {}
    for tap, cells in stretches.items():
        made |= facts.once_at(tap, "fills", partial(_fills_at, facts, cells))
    return dict(sorted(made.items(), key=lambda item: item[0]))


def _stretches(window: Window) -> _Stretches:
    found: _Stretches = defaultdict(lambda: defaultdict(list))
    first = 0
    for number, day in enumerate(window.days):
        for cell, glasses in in_one_go(day).items():
            found[cell.tap][cell].append(Stretch(day, number, first, glasses))
        first += len(day.serves)
    return found


def _fills_at(facts: Facts, cells: dict[Cell, list[Stretch]]) -> dict[Cell, Fill]:
    """The fills of one tap."""
    made, moved = {}, _moved(facts, next(iter(cells)).tap)
    for cell, stretches in cells.items():
        left = [_left(moved, cell, stretch) for stretch in stretches]
        parts = [
            Part(stretch.number, stretch.first, kept)
            for stretch, kept in zip(stretches, near_their_like(stretches, cell, left), strict=True)
            if kept.numbers
        ]
        if parts:
            made[cell] = Fill(cell, parts)
    return made


def second_goes(facts: Facts) -> dict[int, int]:
    """Paired serve to the lone flow that is the second go at its glass, where that one is no small
    top-up: the glass holds both."""
    serves = facts.serves
    return facts.window.once("second goes", lambda: {
        key: piece for piece, key in facts.window.pieces.items()
        if serves[piece].volume_ul > TOP_UP_SHARE * (serves[piece].volume_ul + serves[key].volume_ul)
    })


def _second_goes_at(facts: Facts) -> dict[str, list[tuple[int, int]]]:
    """The same by tap."""
    found: dict[str, list[tuple[int, int]]] = defaultdict(list)
    for key, go in second_goes(facts).items():
        found[facts.serves[key].tap].append((key, go))
    return found


_Moved = tuple[list[int], dict[int, int]]


def _moved(facts: Facts, tap: str) -> _Moved:
    """A tap's paired serves that findings explain some of (sorted), to what is explained of them less what
    their second goes hold."""
    serves, taken = facts.serves, facts.taken
    moved: dict[int, int] = defaultdict(int)
    if taken:
        moved.update(
            (key, taken[key]) for key in facts.window.by_tap[tap] if key in taken and serves[key].portion_ul)
    for key, go in facts.window.once("second goes at taps", partial(_second_goes_at, facts)).get(tap, ()):
        if go not in taken:
            moved[key] -= serves[go].left_ul
    return sorted(moved), moved


def _left(moved: _Moved, cell: Cell, stretch: Stretch) -> list[float]:
    """The ratios less what is explained: the very list where nothing is."""
    (keys, taken), first, glasses = moved, stretch.first, stretch.glasses
    if not keys:
        return glasses.ratios
    low = bisect_left(keys, first + glasses.numbers[0])
    high = bisect_right(keys, first + glasses.numbers[-1], low)
    if low == high or taken.keys().isdisjoint([first + number for number in glasses.numbers]):
        return glasses.ratios
    volumes_ul = columns(stretch.day).volume_ul
    return [
        (volumes_ul[number] - cell.portion_ul - taken.get(first + number, 0)) / cell.portion_ul
        for number in glasses.numbers
    ]


@dataclass(frozen=True)
class Steady:
    """How well a mean over several days is known.

    Glasses of one evening lean one way together (the same hands, the same keg): what is steady shows from
    day to day. Days of few glasses are taken with the next.
    """

    given: Callable[[], Sequence[Sequence[float]]]
    """Gives the values of every day with glasses, in order; asked where they are needed."""

    @cached_property
    def by_day(self) -> Sequence[Sequence[float]]:
        return self.given()

    @cached_property
    def _batches(self) -> list[list[float]]:
        batches: list[list[float]] = [[]]
        for values in self.by_day:
            if len(batches[-1]) >= SMALLEST_DAY:
                batches.append([])
            batches[-1].extend(values)
        if len(batches) > 1 and len(batches[-1]) < SMALLEST_DAY:
            few = batches.pop()
            batches[-1] += few
        return batches

    @property
    def days(self) -> int:
        """Independent parts of the window that it rests on."""
        return len(self._batches)

    @cached_property
    def error(self) -> float:
        """Standard error of the mean."""
        values = [*chain.from_iterable(self.by_day)]
        root = math.sqrt(self.days)
        by_days = spread([fmean(batch) for batch in self._batches]) / root
        by_glass = max(spread(values), LEAST_SPREAD) / math.sqrt(len(values))
        return max(by_days, math.hypot(by_glass, HABIT / root))

    def chance(self, mean: float) -> float:
        """Of a mean this far from nothing, by noise alone."""
        return 2 * NormalDist().cdf(-abs(mean) / self.error)


def remaining(facts: Facts, key: int) -> int:
    """What of a paired serve's difference nothing has explained yet."""
    return facts.serves[key].difference_ul - facts.taken.get(key, 0)
