"""Rounding a list so that it foots: the largest-remainder method."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction


def foot(
    values: Sequence[Fraction], places: int, total: Decimal | None = None
) -> list[Decimal]:
    """``values`` at ``places`` decimals, so that they sum to ``total``.

    Without ``total`` it is their exact sum rounded half to even, and every value becomes its own
    floor or ceiling: each starts at its floor, and those with the largest remainders go up
    (Hamilton's method of apportionment; ties go to the earlier one). With a ``total`` further
    away than that, all values but the zeros share the rest. Raises ValueError when there is
    nothing to share it.

    >>> foot([Fraction(1, 3)] * 3, 2)
    [Decimal('0.34'), Decimal('0.33'), Decimal('0.33')]
    """
    scaled = [value * 10**places for value in values]
    floors = [value.numerator // value.denominator for value in scaled]
    target = round(sum(scaled, Fraction())) if total is None else int(total.scaleb(places))
    rest = target - sum(floors)
    takers = sorted(
        (at for at, value in enumerate(scaled) if value),
        key=lambda at: (floors[at] - scaled[at], at),
    )
    if rest and not takers:
        raise ValueError(f"nothing to bring to a total of {total}: every value is 0")
    for place, at in enumerate(takers):
        floors[at] += rest // len(takers) + (place < rest % len(takers))
    return [Decimal(whole).scaleb(-places) for whole in floors]
