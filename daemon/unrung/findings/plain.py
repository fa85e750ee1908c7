"""The plain glasses of a cell: those that lie near the ones just before and after them."""

from __future__ import annotations

from bisect import bisect_left, insort
from collections.abc import Iterable
from typing import NamedTuple

from unrung.findings.glasses import Cell, Glasses
from unrung.findings.statistics import exact_sums
from unrung.ledger.facts import DayFacts

FAR = 0.17
"""A serve that differs by more than this share of its portion teaches nothing about portions."""
AROUND = 8
"""Glasses before and after that a glass is held against."""
SHIFTED = 0.06
"""Glasses whose middle differs by more than this share do so by habit or setting, not one by one."""


class Kept(NamedTuple):
    """The plain serves of a cell on one day, in order of time."""

    numbers: list[int]
    """Within the day."""
    ratios: list[float]
    """Metered over set less 1 of each."""
    sums: list[float]
    """Few numbers that add up to just what the ratios do."""


class Stretch(NamedTuple):
    """A day's glasses of a cell within the window, those that were topped up left out."""

    day: DayFacts
    number: int
    """Of the day within the window."""
    first: int
    """Key of the day's first serve."""
    glasses: Glasses


def near_their_like(stretches: list[Stretch], cell: Cell, left: list[list[float]]) -> list[Kept]:
    """The glasses of a cell that lie near the middle of those just before and after them, day by day.
    ``left``: their ratios less what is explained.

    What of a day is kept follows from its glasses and the few around it, so it is kept with the day.
    """
    found = list[Kept]()
    for place, (lists, stretch) in enumerate(zip(_with_next(left), stretches, strict=True)):
        known = stretch.glasses.known
        which = lists[1] is stretch.glasses.ratios
        one: _Known | None = known.get(which)
        if one is None or not one.holds_for(lists):
            given = _around(left, place)
            kept = one.kept if one is not None and one.given == given else _near(stretch.glasses, *given)
            one = known[which] = _Known(lists, given, kept)
        found.append(one.kept)
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


def _around(left: list[list[float]], place: int) -> _Three:
    """A day's ratios between those of the few glasses that any of them is held against: as many before and
    after it, but at an end of the window, where there are none, more of the other side."""
    own = left[place]
    before, after = list[float](), list[float]()
    at = place
    while at and len(before) < 2 * AROUND:
        at -= 1
        before = left[at][-2 * AROUND :] + before
    at = place + 1
    while at < len(left) and len(after) < 2 * AROUND:
        after += left[at][: 2 * AROUND]
        at += 1
    # Places are counted from the first of ``before``; beyond it, and beyond ``after``, all is far enough.
    last = len(before) + len(own) + len(after) - 2 * AROUND - 1
    low = max(0, min(len(before) - AROUND, last))
    high = max(0, min(len(before) + len(own) - 1 - AROUND, last)) + 2 * AROUND + 1
    return before[low:], own, after[: high - len(before) - len(own)]


def _with_next(left: list[list[float]]) -> Iterable[_Three]:
    return zip([[], *left], left, [*left[1:], []], strict=False)


def _near(glasses: Glasses, before: list[float], own: list[float], after: list[float]) -> Kept:
    if not glasses.other_size:
        ends = (glasses.least, glasses.most) if own is glasses.ratios else own
        every = [*before, *ends, *after]
        if max(every) - min(every) <= FAR:
            return Kept(glasses.numbers, own, exact_sums(own))
    ratios, low = [*before, *own, *after], 0
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
