"""Which days of a backlog the process that computes ahead shares out with who started it, and when.

One begins at the front of a stretch, the other at its end. What is made at its end waits until the days
before it are issued, and then takes time to be issued; the process goes on with the next stretch meanwhile.
So each is a part of what is left, and the last one is short: after it the process has nothing to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

PART = 4
"""A stretch leaves out one in so many of the days that are left."""
FEWEST = 48
"""Fewer days are one stretch: at its ends some days are made ready twice."""


def stretches_of(days: Sequence[date]) -> list[list[date]]:
    """``days`` in stretches, in order.

    >>> [len(one) for one in stretches_of([date.fromordinal(n) for n in range(1, 365)])]
    [273, 69, 22]
    """
    found, left = list[list[date]](), list(days)
    while len(left) >= FEWEST:
        cut = len(left) - len(left) // PART
        found.append(left[:cut])
        left = left[cut:]
    return [*found, left] if left else found
