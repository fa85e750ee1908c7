"""Serves and rings that meet: the nearest first, each at most once."""

from __future__ import annotations

from collections.abc import Iterable


def nearest_first(near: Iterable[tuple[int, int, int]]) -> dict[int, int]:
    """Serve to ring, of all that are near each other: (milliseconds apart, serve, ring).

    >>> nearest_first([(900, 1, 7), (200, 2, 7), (500, 1, 8)])
    {2: 7, 1: 8}
    """
    met: dict[int, int] = {}
    used: set[int] = set()
    for _, serve, ring in sorted(near):
        if serve not in met and ring not in used:
            met[serve] = ring
            used.add(ring)
    return met
