"""How full the glasses are: metered against set, of serves that a single ring answers.

Left out are glasses that were topped up by a small second go (``top_ups``), and what lies far from the
glasses around it: pairs of another size (``wrong_size``), and pairs as likely wrong as right. Where the
glasses around are far from their portion themselves, a pint that is nearer to another size is still
one of them.
"""

from __future__ import annotations

import math
from bisect import bisect_left, insort
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from statistics import NormalDist, fmean
from typing import NamedTuple

from unrung.findings.facts import Facts, Window
from unrung.findings.statistics import spread
from unrung.ledger.facts import DayFacts, ServeFact

FAR = 0.17
"""A serve that differs by more than this share of its portion teaches nothing about portions."""
TOP_UP_SHARE = 0.2
"""A last go of at most this share of the glass is a top-up; a larger one is a glass in two goes."""
AROUND = 8
"""Glasses before and after that a glass is held against."""
SHIFTED = 0.06
"""Glasses whose middle differs by more than this share do so by habit or setting, not one by one."""
FEW = 8
SMALLEST_DAY = 3
HABIT = 0.01
"""By which share the hands of one evening may lean one way together (common practice, no source)."""


class Cell(NamedTuple):
    """One menu item (or portion) of one product at one tap."""

    outlet: str
    product: str
    tap: str
    item: str
    size: str
    portion_ul: int


@dataclass(frozen=True)
class Fill:
    """The plain serves of a cell: keys in order of time, and metered over set less 1 of each."""

    cell: Cell
    keys: list[int]
    ratios: list[float]

    @cached_property
    def mean(self) -> float:
        return fmean(self.ratios)

    @cached_property
    def error(self) -> float:
        """Standard error of the mean."""
        return max(spread(self.ratios), 0.005) / math.sqrt(len(self.ratios))


def topped_up(serve: ServeFact) -> bool:
    """Whether the last of several goes at a glass was a small one."""
    return len(serve.parts) > 1 and serve.parts[-1][2] <= TOP_UP_SHARE * serve.volume_ul


def cell_of(serve: ServeFact) -> Cell:
    """The cell of a paired serve."""
    return Cell(serve.outlet, serve.product, serve.tap, serve.item, serve.size, serve.portion_ul)


def of_other_size(day: DayFacts) -> list[int]:
    """Numbers of the day's serves that are nearer another size than the one rung."""
    return [number for number, serve in enumerate(day.serves) if serve.other_size]


def fills_of(facts: Facts) -> dict[Cell, Fill]:
    """Every cell with its plain serves, sorted."""
    return facts.once("fills", _fills)


class _Glasses(NamedTuple):
    """The glasses of a cell on one day, those that were topped up left out, in order of time."""

    numbers: list[int]
    """Of their serves within the day."""
    differences_ul: list[int]
    """Metered less set."""
    ratios: list[float]
    """The same over the portion."""
    other_size: frozenset[int]
    """Numbers of those that are nearer another size."""


class _Stretch(NamedTuple):
    """A day's glasses of a cell within the window."""

    day: DayFacts
    first: int
    """Key of the day's first serve."""
    glasses: _Glasses


_Stretches = dict[str, dict[Cell, list[_Stretch]]]
"""By tap and cell, in order of time."""


def _fills(facts: Facts) -> dict[Cell, Fill]:
    stretches = facts.window.once("glasses", partial(_stretches, facts.window))
    made: dict[Cell, Fill] = {}
    for tap, cells in stretches.items():
        made |= facts.once_at(tap, "fills", partial(_fills_at, facts, cells))
    return dict(sorted(made.items(), key=lambda item: item[0]))


def _stretches(window: Window) -> _Stretches:
    found: _Stretches = defaultdict(lambda: defaultdict(list))
    first = 0
    for day in window.days:
        for cell, glasses in day.once("glasses", None, partial(_glasses_of, day)).items():
            found[cell.tap][cell].append(_Stretch(day, first, glasses))
        first += len(day.serves)
    return found


def _fills_at(facts: Facts, cells: dict[Cell, list[_Stretch]]) -> dict[Cell, Fill]:
    """The fills of one tap."""
    made = {}
    for cell, stretches in cells.items():
        left = [_left(facts, cell, stretch.first, stretch.glasses) for stretch in stretches]
        fill = Fill(cell, [], [])
        for stretch, (numbers, ratios) in zip(
            stretches, _near_their_like(cell, stretches, left), strict=True
        ):
            fill.keys.extend([stretch.first + number for number in numbers])
            fill.ratios.extend(ratios)
        if fill.keys:
            made[cell] = fill
    return made


def second_goes(facts: Facts) -> dict[int, int]:
    """Paired serve to the lone flow that is the second go at its glass, where that one is no small
    top-up: the glass holds both."""
    serves = facts.serves
    return facts.window.once("second goes", lambda: {
        key: piece for piece, key in facts.window.pieces.items()
        if serves[piece].volume_ul > TOP_UP_SHARE * (serves[piece].volume_ul + serves[key].volume_ul)
    })


def _moved(facts: Facts) -> dict[str, tuple[list[int], dict[int, int]]]:
    """By tap: its paired serves that findings explain some of (sorted), to what is explained of them less
    what their second goes hold."""
    moved: dict[str, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    serves = facts.serves
    for key, volume in facts.taken.items():
        if serves[key].portion_ul:
            moved[serves[key].tap][key] += volume
    for key, go in second_goes(facts).items():
        if go not in facts.taken:
            moved[serves[key].tap][key] -= serves[go].left_ul
    return {tap: (sorted(own), own) for tap, own in moved.items()}


def _left(facts: Facts, cell: Cell, first: int, glasses: _Glasses) -> list[float]:
    keys, taken = facts.once("moved", _moved).get(cell.tap, ([], {}))
    low = bisect_left(keys, first + glasses.numbers[0])
    if low == len(keys) or keys[low] > first + glasses.numbers[-1]:
        return glasses.ratios
    return [
        (difference_ul - taken.get(first + number, 0)) / cell.portion_ul
        for number, difference_ul in zip(glasses.numbers, glasses.differences_ul, strict=True)
    ]


def _glasses_of(day: DayFacts) -> dict[Cell, _Glasses]:
    """A day's glasses by cell."""
    found: dict[Cell, list[tuple[int, int, bool]]] = defaultdict(list)
    for number, serve in enumerate(day.serves):
        if serve.paired and not topped_up(serve):
            found[cell_of(serve)].append((number, serve.difference_ul, serve.other_size))
    return {
        cell: _Glasses(
            [number for number, _, _ in rows], [difference_ul for _, difference_ul, _ in rows],
            [difference_ul / cell.portion_ul for _, difference_ul, _ in rows],
            frozenset(number for number, _, other_size in rows if other_size),
        )
        for cell, rows in found.items()
    }


_Kept = tuple[list[int], list[float]]


def _near_their_like(cell: Cell, stretches: list[_Stretch], left: list[list[float]]) -> list[_Kept]:
    """The glasses of a cell that lie near the middle of those just before and after them, day by day.
    ``left``: their ratios less what is explained.

    What of a day is kept follows from its glasses and the few around it, so it is kept with the day.
    """
    ratios = [ratio for own in left for ratio in own]
    found, start = [], 0
    for stretch, own in zip(stretches, left, strict=True):
        end = start + len(own)
        low, high = _around(start, len(ratios)), _around(end - 1, len(ratios)) + 2 * AROUND + 1
        given = (ratios[low:start], own, ratios[end:high])
        known: dict[Cell, tuple[object, _Kept]] = stretch.day.once("near", None, dict)
        if cell not in known or known[cell][0] != given:
            known[cell] = (given, _near(stretch.glasses, *given))
        found.append(known[cell][1])
        start = end
    return found


def _around(at: int, glasses: int) -> int:
    """The first of those that the glass at ``at`` is held against."""
    return max(0, min(at - AROUND, glasses - 2 * AROUND - 1))


def _near(glasses: _Glasses, before: list[float], own: list[float], after: list[float]) -> _Kept:
    ratios, low = [*before, *own, *after], 0
    near = sorted(ratios[: 2 * AROUND + 1])
    numbers, kept = [], []
    for at, (number, ratio) in enumerate(zip(glasses.numbers, own, strict=True), len(before)):
        if low < _around(at, len(ratios)):
            del near[bisect_left(near, ratios[low])]
            insort(near, ratios[low + 2 * AROUND + 1])
            low += 1
        middle = near[len(near) // 2]
        if abs(ratio - middle) <= FAR and (abs(middle) > SHIFTED or number not in glasses.other_size):
            numbers.append(number)
            kept.append(ratio)
    return numbers, kept


class Steady(NamedTuple):
    """How well a mean over several days is known."""

    error: float
    """Standard error of the mean."""
    days: int
    """Independent parts of the window that it rests on."""

    def chance(self, mean: float) -> float:
        """Of a mean this far from nothing, by noise alone."""
        return 2 * NormalDist().cdf(-abs(mean) / self.error)


def steady(facts: Facts, keys: Sequence[int], values: Sequence[float]) -> Steady:
    """Of glasses in order of time. Those of one evening lean one way together (the same hands, the same
    keg): what is steady shows from day to day. Days of few glasses are taken with the next."""
    batches: list[list[float]] = [[]]
    last = -1
    for key, value in zip(keys, values, strict=True):
        day = facts.window.day_of(key)
        if day != last and len(batches[-1]) >= SMALLEST_DAY:
            batches.append([])
        batches[-1].append(value)
        last = day
    if len(batches) > 1 and len(batches[-1]) < SMALLEST_DAY:
        few = batches.pop()
        batches[-1] += few
    root = math.sqrt(len(batches))
    by_days = spread([fmean(batch) for batch in batches]) / root
    by_glass = max(spread(values), 0.005) / math.sqrt(len(values))
    return Steady(max(by_days, math.hypot(by_glass, HABIT / root)), len(batches))


def remaining(facts: Facts, key: int) -> int:
    """What of a paired serve's difference nothing has explained yet."""
    return facts.serves[key].difference_ul - facts.taken.get(key, 0)
