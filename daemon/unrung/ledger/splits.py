"""Fractions of one drink on split checks become the one unit that was poured."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from fractions import Fraction
from itertools import combinations
from typing import NamedTuple

from unrung.ledger.voids import Part
from unrung.settings import MenuRow

ONE = 1_000_000
SPLIT_SPAN_MS = 5 * 60_000
"""Parts of one drink on several checks are rung within this time (common practice, no source)."""
SLACK = 10_000
"""Tills write a third as 0.33: each part may be this much off, in millionths of a unit."""

LOOK_BACK = 9
"""So many waiting fractions of an item are looked through for those that complete a unit."""


class Rung(NamedTuple):
    """Some quantity of one line, what a unit of it is made of, and the money it brought."""

    part: Part
    outlet: str
    """Outlet or pool."""
    portions: tuple[MenuRow, ...]
    net_minor: int
    joined: bool = False
    """Fractions that make one unit; the first of them stands for all."""

    @property
    def by_volume(self) -> bool:
        """Whether the till's quantity counts volume: a self-serve wall."""
        for row in self.portions:  # asked of every line, so without a generator
            if row.sold_by == "volume":
                return True
        return False


def make_whole(rungs: Iterable[Rung]) -> list[Rung]:
    """Fractions of equal items in one outlet, rung within a few minutes, are joined once they add up
    to one unit. What never adds up stays a fraction; what is over a whole number of units is one.
    ``rungs`` come in order of time."""
    done: list[Rung] = []
    waiting: dict[tuple[str, ...], list[Rung]] = defaultdict(list)
    for rung in rungs:
        if rung.part.micro == ONE or rung.part.voided or rung.by_volume:
            done.append(rung)
            continue
        whole, fraction = _parted(rung)
        done += [whole] if whole else []
        if fraction:
            done += _take_in(fraction, waiting[_key(rung)])
    return done + [rung for fractions in waiting.values() for rung in fractions]


def pieces(rung: Rung) -> list[tuple[int, bool]]:
    """The quantity as (millionths, whether a whole unit was poured) for each vessel."""
    micro = rung.part.micro
    if rung.joined or rung.by_volume:
        return [(micro, rung.joined)]
    count, over = _counted(micro)
    if not over:
        low, more = divmod(micro, max(1, count))
        return [(low + (nth < more), True) for nth in range(count)]
    return [*[(ONE, True)] * count, (over, False)]


def _counted(micro: int) -> tuple[int, int]:
    """Whole units and the millionths over; a hundredth more or less is no fraction.

    >>> _counted(1_500_000), _counted(990_000), _counted(2_000_000), _counted(330_000)
    ((1, 500000), (1, 0), (2, 0), (0, 330000))
    """
    near = 1 if micro == ONE else round(Fraction(micro, ONE))
    if near and abs(micro - near * ONE) <= SLACK:
        return near, 0
    return micro // ONE, micro % ONE


def _parted(rung: Rung) -> tuple[Rung | None, Rung | None]:
    """The whole units and the fraction of a line, its money shared between them."""
    micro, money = rung.part.micro, rung.net_minor
    count, over = _counted(micro)
    if not over:
        return rung, None
    whole_money = round(Fraction(money * count * ONE, micro))
    fraction = rung._replace(part=rung.part._replace(micro=over), net_minor=money - whole_money)
    if not count:
        return None, fraction
    part = rung.part._replace(micro=count * ONE)
    return rung._replace(part=part, net_minor=whole_money), fraction


def _key(rung: Rung) -> tuple[str, ...]:
    line = rung.part.line
    return (rung.outlet, line.item, line.size, line.price_level, line.modifier, line.kind)


def _take_in(rung: Rung, waiting: list[Rung]) -> list[Rung]:
    """Put a fraction to those that wait; the unit that it completes, and what has waited too long,
    come back."""
    at_ms = rung.part.line.at_ms
    done = [old for old in waiting if at_ms - old.part.line.at_ms > SPLIT_SPAN_MS]
    fresh = [old for old in waiting if old not in done]
    others = _others(rung, fresh[-LOOK_BACK:])
    if others is None:
        fresh.append(rung)
    else:
        fresh = [old for old in fresh if old not in others]
        done.append(_joined([*others, rung]))
    waiting[:] = fresh
    return done


def _others(rung: Rung, waiting: Sequence[Rung]) -> tuple[Rung, ...] | None:
    """The fewest waiting fractions that make one unit with ``rung``: a half goes with a half before
    it goes with two quarters."""
    for size in range(1, len(waiting) + 1):
        for others in combinations(waiting, size):
            total = rung.part.micro + sum(old.part.micro for old in others)
            if abs(total - ONE) <= SLACK * (size + 1):
                return others
    return None


def _joined(group: Sequence[Rung]) -> Rung:
    first = group[0]
    return first._replace(
        part=first.part._replace(micro=sum(rung.part.micro for rung in group)), joined=True,
        net_minor=sum(rung.net_minor for rung in group),
    )
