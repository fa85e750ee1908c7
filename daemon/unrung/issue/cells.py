"""Figures of the ledger as the digits that are printed. Each function rounds once, half to even."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

VOLUME_PLACES = 3
PERCENT_PLACES = 2


@lru_cache(maxsize=4096)
def volume(thousandths: int) -> Decimal:
    """Thousandths of the venue's unit as a number with 3 decimals.

    >>> volume(-16_500)
    Decimal('-16.500')
    """
    return Decimal(thousandths).scaleb(-VOLUME_PLACES)


def units(micro: int) -> Decimal:
    """Millionths of a unit, exactly and without trailing zeros: nothing is rounded, so sums foot.

    >>> units(12_000_000), units(333_333), units(-500_000)
    (Decimal('12'), Decimal('0.333333'), Decimal('-0.5'))
    """
    exact = Decimal(micro).scaleb(-6)
    return exact.quantize(Decimal(1)) if micro % 1_000_000 == 0 else exact.normalize()


def money(minor: int, digits: int) -> Decimal:
    """Whole minor units in the currency's own digits.

    >>> money(-1_205, 2), money(1_205, 0)
    (Decimal('-12.05'), Decimal('1205'))
    """
    return Decimal(minor).scaleb(-digits)


def worth(volume_ul: int, minor_per_litre: float | None, digits: int) -> Decimal | None:
    """Money for ``volume_ul`` at a price in minor units a litre; None where no price is known.

    >>> worth(2_500_000, 301.0, 2), worth(1, None, 2)
    (Decimal('7.52'), None)
    """
    if minor_per_litre is None or not math.isfinite(minor_per_litre):
        return None
    # repr gives the price as it was written (0.1, not its binary neighbour), so ties stay ties.
    return money(round(volume_ul * Fraction(repr(minor_per_litre)) / 1_000_000), digits)


def percent(part: int, whole: int) -> Decimal | None:
    """``part`` of ``whole`` in percent from exact figures; None where ``whole`` is 0.

    >>> percent(1, 3), percent(-1, 8), percent(1, 0)
    (Decimal('33.33'), Decimal('-12.50'), None)
    """
    if whole == 0:
        return None
    return Decimal(round(Fraction(part * 100 * 10**PERCENT_PLACES, whole))).scaleb(-PERCENT_PLACES)
