"""Whole numbers divided without losing one: largest remainder first, earlier places win ties."""

from __future__ import annotations

from collections.abc import Sequence


def equal_shares(total: int, places: int) -> list[int]:
    """``total`` over ``places`` as equally as whole numbers allow; the sum is ``total``.

    >>> equal_shares(1_000_000, 3), equal_shares(-5, 2)
    ([333334, 333333, 333333], [-2, -3])
    """
    low, more = divmod(total, places)
    return [low + (1 if place < more else 0) for place in range(places)]


def weighted_shares(total: int, weights: Sequence[int]) -> list[int]:
    """``total`` in proportion to ``weights`` (not all zero); the sum is ``total``.

    >>> weighted_shares(100, [1, 1, 1])
    [34, 33, 33]
    """
    whole = sum(weights)
    floors = [total * weight // whole for weight in weights]
    rests = [total * weight % whole for weight in weights]
    order = sorted(range(len(weights)), key=lambda place: -rests[place])
    for place in order[: total - sum(floors)]:
        floors[place] += 1
    return floors
