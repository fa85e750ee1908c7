"""Whole numbers divided without losing one: largest remainder first, earlier places win ties."""

from __future__ import annotations


def equal_shares(total: int, places: int) -> list[int]:
    """``total`` over ``places`` as equally as whole numbers allow; the sum is ``total``.

    >>> equal_shares(1_000_000, 3), equal_shares(-5, 2)
    ([333334, 333333, 333333], [-2, -3])
    """
    if places == 1:
        return [total]
    low, more = divmod(total, places)
    return [low + (1 if place < more else 0) for place in range(places)]
