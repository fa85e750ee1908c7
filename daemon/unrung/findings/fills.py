"""How full the glasses are: metered against set, of serves that a single ring answers.

Left out are glasses that were topped up by a small second go (``top_ups``), and what lies far from the
glasses around it: pairs of another size (``wrong_size``), and pairs as likely wrong as right. Where the
glasses around are far from their portion themselves, a pint that is nearer to another size is still
one of them.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right, insort
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from itertools import chain
from statistics import NormalDist, fmean
from typing import NamedTuple

from unrung.findings.facts import Facts, Window
from unrung.findings.glasses import TOP_UP_SHARE, Cell, Glasses, in_one_go
from unrung.findings.statistics import exact_sums, spread
from unrung.ledger.facts import DayFacts

FAR = 0.17
"""A serve that differs by more than this share of its portion teaches nothing about portions."""
AROUND = 8
"""Glasses before and after that a glass is held against."""
SHIFTED = 0.06
"""Glasses whose middle differs by more than this share do so by habit or setting, not one by one."""
FEW = 8
SMALLEST_DAY = 3
LEAST_SPREAD = 0.005
"""Of glasses about their mean: no more is believed of them."""
HABIT = 0.01
"""By which share the hands of one evening may lean one way together (common practice, no source)."""


class Kept(NamedTuple):
    """The plain serves of a cell on one day, in order of time."""

    numbers: list[int]
    """Within the day."""
    ratios: list[float]
    """Metered over set less 1 of each."""
    sums: list[float]
    """Few numbers that add up to just what the ratios do."""


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
        return sum(len(part.kept.numbers) for part in self.parts)

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


class _Stretch(NamedTuple):
    """A day's glasses of a cell within the window, those that were topped up left out."""

    day: DayFacts
    number: int
    """Of the day within the window."""
    first: int
    """Key of the day's first serve."""
    glasses: Glasses


_Stretches = dict[str, dict[Cell, list[_Stretch]]]
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
            found[cell.tap][cell].append(_Stretch(day, number, first, glasses))
        first += len(day.serves)
    return found


def _fills_at(facts: Facts, cells: dict[Cell, list[_Stretch]]) -> dict[Cell, Fill]:
    """The fills of one tap."""
    made, moved = {}, _moved(facts, next(iter(cells)).tap)
    for cell, stretches in cells.items():
        left = [_left(moved, cell, stretch.first, stretch.glasses) for stretch in stretches]
        parts = [
            Part(stretch.number, stretch.first, kept)
            for stretch, kept in zip(stretches, _near_their_like(stretches, cell, left), strict=True)
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


def _left(moved: _Moved, cell: Cell, first: int, glasses: Glasses) -> list[float]:
    """The ratios less what is explained: the very list where nothing is."""
    keys, taken = moved
    if not keys:
        return glasses.ratios
    low = bisect_left(keys, first + glasses.numbers[0])
    high = bisect_right(keys, first + glasses.numbers[-1], low)
    if low == high or taken.keys().isdisjoint([first + number for number in glasses.numbers]):
        return glasses.ratios
    return [
        (difference_ul - taken.get(first + number, 0)) / cell.portion_ul
        for number, difference_ul in zip(glasses.numbers, glasses.differences_ul, strict=True)
    ]


def _near_their_like(stretches: list[_Stretch], cell: Cell, left: list[list[float]]) -> list[Kept]:
    """The glasses of a cell that lie near the middle of those just before and after them, day by day.
    ``left``: their ratios less what is explained.

    What of a day is kept follows from its glasses and the few around it, so it is kept with the day.
    """
    ratios = [*chain.from_iterable(left)]
    last = len(ratios) - 2 * AROUND - 1
    found, start = [], 0
    for lists, stretch in zip(_with_next(left), stretches, strict=True):
        _, own, _ = lists
        end = start + len(own)
        known = stretch.glasses.known
        which = own is stretch.glasses.ratios
        one: _Known | None = known.get(which)
        if one is None or not one.holds_for(lists):
            low = max(0, min(start - AROUND, last))
            high = max(0, min(end - 1 - AROUND, last)) + 2 * AROUND + 1
            given = (ratios[low:start], own, ratios[end:high])
            kept = one.kept if one is not None and one.given == given else _near(stretch.glasses, *given)
            one = known[which] = _Known(lists, given, kept)
        found.append(one.kept)
        start = end
    return found


_Three = tuple[list[float], list[float], list[float]]
"""The ratios of a day with glasses between those of the one before and the next: empty at the window's ends.
"""


class _Known(NamedTuple):
    """What was kept of a day's glasses, and what that followed from."""

    lists: _Three
    given: _Three
    """The same, and no more of the days beside it than the few around."""
    kept: Kept

    def holds_for(self, lists: _Three) -> bool:
        """Whether these very lists are all that is looked at: most days stand between the same two for weeks.
        """
        before, own, after = self.lists
        return (lists[1] is own and lists[0] is before and lists[2] is after
                and len(before) >= AROUND and len(after) >= AROUND)


def _with_next(left: list[list[float]]) -> Iterable[_Three]:
    return zip([[], *left], left, [*left[1:], []], strict=False)


def _near(glasses: Glasses, before: list[float], own: list[float], after: list[float]) -> Kept:
    ratios, low = [*before, *own, *after], 0
    if max(ratios) - min(ratios) <= FAR and not glasses.other_size:
        return Kept(glasses.numbers, own, exact_sums(own))
    around = sorted(ratios[: 2 * AROUND + 1])
    last = len(ratios) - 2 * AROUND - 1
    numbers, plain = list[int](), list[float]()
    for at, (number, ratio) in enumerate(zip(glasses.numbers, own, strict=True), len(before)):
        if low < min(at - AROUND, last):
            del around[bisect_left(around, ratios[low])]
            insort(around, ratios[low + 2 * AROUND + 1])
            low += 1
        middle = around[len(around) // 2]
        if abs(ratio - middle) <= FAR and (abs(middle) > SHIFTED or number not in glasses.other_size):
            numbers.append(number)
            plain.append(ratio)
    return Kept(numbers, plain, exact_sums(plain))


@dataclass(frozen=True)
class Steady:
    """How well a mean over several days is known.

    Glasses of one evening lean one way together (the same hands, the same keg): what is steady shows from
    day to day. Days of few glasses are taken with the next.
    """

    by_day: Sequence[Sequence[float]]
    """Of every day with glasses, in order."""

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
