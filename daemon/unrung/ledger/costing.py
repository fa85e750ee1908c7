"""What beer cost: every delivery at its own price, used beer by weighted average or oldest first.

Costs are net of recoverable tax and of deposits; both stay out of the cellar's ``cost`` and of
``keg_cost``. A product is valued over the whole venue, so that moves between outlets change nothing.
Money is whole minor units at each rounding, and

    opening + purchases = used + returned + written off + closing,  to the unit.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, NamedTuple

Method = Literal["weighted_average", "fifo"]


class Lot(NamedTuple):
    """Beer of one cost: whole microlitres, whole minor units for all of it."""

    volume_ul: int
    cost_minor: int


@dataclass(frozen=True, slots=True)
class Flows:
    """One product over one period, all outlets together, whole microlitres."""

    used_ul: int
    returned_ul: int
    written_off_ul: int
    closing_ul: int

    @property
    def out_ul(self) -> int:
        return self.used_ul + self.returned_ul + self.written_off_ul


@dataclass(frozen=True, slots=True)
class Valued:
    """A product's books of one period, in whole minor units."""

    opening_minor: int
    purchases_minor: int
    used_minor: int
    returned_minor: int
    written_off_minor: int
    closing_minor: int
    closing_lots: tuple[Lot, ...]
    """What the closing stock is made of, oldest first; the next period opens with it."""
    minor_per_ul: Fraction
    """Unit cost of what went out."""


def value(opening: Sequence[Lot], purchases: Sequence[Lot], flows: Flows, method: Method) -> Valued:
    """The books of one product.

    ``opening`` and ``purchases`` are in order of time and hold some beer, all together.

    >>> books = value([Lot(10, 100)], [Lot(10, 140)], Flows(15, 0, 0, 5), "fifo")
    >>> books.used_minor, books.closing_minor
    (170, 70)
    >>> books = value([Lot(10, 100)], [Lot(10, 140)], Flows(15, 0, 0, 5), "weighted_average")
    >>> books.used_minor, books.closing_minor
    (180, 60)
    """
    lots = [lot for lot in (*opening, *purchases) if lot.volume_ul > 0]
    whole = Lot(sum(lot.volume_ul for lot in lots), sum(lot.cost_minor for lot in lots))
    average = Fraction(whole.cost_minor, whole.volume_ul)
    left = newest(lots, flows.closing_ul) if method == "fifo" else _at(average, flows.closing_ul)
    closing = sum(lot.cost_minor for lot in left)
    out_cost = whole.cost_minor - closing
    unit = Fraction(out_cost, flows.out_ul) if method == "fifo" and flows.out_ul else average
    returned, written = round(flows.returned_ul * unit), round(flows.written_off_ul * unit)
    return Valued(
        sum(lot.cost_minor for lot in opening), sum(lot.cost_minor for lot in purchases),
        out_cost - returned - written, returned, written, closing, tuple(left), unit,
    )


def value_at(unit: Fraction, flows: Flows) -> Valued:
    """The books of a product that went out though the books hold none of it, at one unit cost: the
    closing stock is what is owed."""
    used, returned, written = (
        round(volume * unit) for volume in (flows.used_ul, flows.returned_ul, flows.written_off_ul)
    )
    return Valued(0, 0, used, returned, written, -(used + returned + written), (), unit)


def _at(unit: Fraction, volume_ul: int) -> list[Lot]:
    return [Lot(volume_ul, round(unit * volume_ul))] if volume_ul else []


def newest(lots: Iterable[Lot], volume_ul: int) -> list[Lot]:
    """The newest of the lots that make up ``volume_ul``, oldest first. More than there ever was is
    valued like the newest; less than nothing, like the oldest."""
    left: list[Lot] = []
    ordered = list(lots)
    for lot in reversed(ordered):
        taken = min(lot.volume_ul, volume_ul - sum(one.volume_ul for one in left))
        if taken > 0:
            left.insert(0, Lot(taken, round(Fraction(lot.cost_minor * taken, lot.volume_ul))))
    short = volume_ul - sum(one.volume_ul for one in left)
    if short:
        like = ordered[-1] if short > 0 else ordered[0]
        left.append(Lot(short, round(Fraction(like.cost_minor * short, like.volume_ul))))
    return left
