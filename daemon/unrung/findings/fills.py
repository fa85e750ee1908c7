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
from dataclasses import dataclass
from functools import cached_property, partial
from statistics import fmean
from typing import NamedTuple

from unrung.findings.facts import Facts
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


def plain_serves(facts: Facts) -> frozenset[int]:
    """Serves that teach how full their glass usually is."""
    return frozenset(key for fill in fills_of(facts).values() for key in fill.keys)


def fills_of(facts: Facts) -> dict[Cell, Fill]:
    """Every cell with its plain serves, sorted."""
    return facts.once("fills", _fills)


def _fills(facts: Facts) -> dict[Cell, Fill]:
    cells: dict[Cell, list[tuple[int, float]]] = defaultdict(list)
    first = 0
    for day in facts.window.days:
        for cell, glasses in day.once("glasses", None, partial(_glasses_of, day)).items():
            cells[cell] += [
                (first + number, (difference_ul - facts.taken.get(first + number, 0)) / cell.portion_ul)
                for number, difference_ul in glasses
            ]
        first += len(day.serves)
    made = {}
    for cell in sorted(cells):
        kept = _near_their_like(facts, cells[cell])
        if kept:
            made[cell] = Fill(cell, [key for key, _ in kept], [ratio for _, ratio in kept])
    return made


def _glasses_of(day: DayFacts) -> dict[Cell, list[tuple[int, int]]]:
    """A day's glasses by cell, those that were topped up left out: number within the day, and metered
    less set."""
    found: dict[Cell, list[tuple[int, int]]] = defaultdict(list)
    for number, serve in enumerate(day.serves):
        if serve.paired and not topped_up(serve):
            cell = Cell(serve.outlet, serve.product, serve.tap, serve.item, serve.size, serve.portion_ul)
            found[cell].append((number, serve.difference_ul))
    return dict(found)


def _near_their_like(facts: Facts, glasses: list[tuple[int, float]]) -> list[tuple[int, float]]:
    """The glasses of a cell that lie near the middle of those just before and after them."""
    ratios = [ratio for _, ratio in glasses]
    near, low = sorted(ratios[: 2 * AROUND + 1]), 0
    kept = []
    for at, (key, ratio) in enumerate(glasses):
        if low < min(at - AROUND, len(ratios) - 2 * AROUND - 1):
            del near[bisect_left(near, ratios[low])]
            insort(near, ratios[low + 2 * AROUND + 1])
            low += 1
        middle = near[len(near) // 2]
        if abs(ratio - middle) <= FAR and (abs(middle) > SHIFTED or not facts.serves[key].other_size):
            kept.append((key, ratio))
    return kept


def remaining(facts: Facts, key: int) -> int:
    """What of a paired serve's difference nothing has explained yet."""
    return facts.serves[key].difference_ul - facts.taken.get(key, 0)
