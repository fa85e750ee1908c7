"""What a careful person would try first: three ways to tell poured from rung without a matcher.

Each gives, per product, the microlitres that it calls poured without a ring. ``pours`` and ``units``
are one day's of one outlet or pool (``MeteredPour``, ``RingUnit``).
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence

import pandas as pd

from unrung.matching.types import MeteredPour, RingUnit

TOLERANCE_MS = 10 * 60_000
"""How far a ring may be from its pour for the two joins by time."""


def daily_subtraction(pours: Sequence[MeteredPour], units: Sequence[RingUnit]) -> Counter[str]:
    """Poured less rung."""
    left: Counter[str] = Counter()
    for pour in pours:
        left[pour.product] += pour.volume_ul
    for unit in units:
        if unit.voided_ms is None:
            left[unit.product] -= unit.portion_ul
    return Counter({product: max(0, ul) for product, ul in left.items()})


def nearest_join(pours: Sequence[MeteredPour], units: Sequence[RingUnit]) -> Counter[str]:
    """Pours with no ring of their product within the tolerance, by ``pandas.merge_asof``: the
    nearest ring, however many other pours have it too."""
    left = pd.DataFrame({"product": [p.product for p in pours], "at": [p.end_ms for p in pours],
                         "ul": [p.volume_ul for p in pours]})
    rung = [u for u in units if u.voided_ms is None]
    right = pd.DataFrame({"product": [u.product for u in rung], "at": [u.at_ms for u in rung],
                          "ring": [u.key for u in rung]})
    if left.empty or right.empty:
        return Counter(left.groupby("product")["ul"].sum().to_dict())
    joined = pd.merge_asof(
        left.sort_values("at"), right.sort_values("at"), on="at", by="product", direction="nearest",
        tolerance=TOLERANCE_MS,
    )
    return Counter(joined[joined["ring"].isna()].groupby("product")["ul"].sum().to_dict())


def greedy_nearest(pours: Sequence[MeteredPour], units: Sequence[RingUnit]) -> Counter[str]:
    """Each pour in turn takes the nearest ring of its product that is still free."""
    free: dict[str, list[int]] = {}
    for unit in sorted(units, key=lambda u: u.at_ms):
        if unit.voided_ms is None:
            free.setdefault(unit.product, []).append(unit.at_ms)
    left: Counter[str] = Counter()
    for pour in sorted(pours, key=lambda p: p.end_ms):
        times = free.get(pour.product, [])
        at = bisect_left(times, pour.end_ms)
        near = [k for k in (at - 1, at) if 0 <= k < len(times)]
        best = min(near, key=lambda k: abs(times[k] - pour.end_ms), default=-1)
        if best >= 0 and abs(times[best] - pour.end_ms) <= TOLERANCE_MS:
            del times[best]
        else:
            left[pour.product] += pour.volume_ul
    return left


BASELINES = {
    "daily subtraction": daily_subtraction,
    "nearest-time join": nearest_join,
    "greedy nearest": greedy_nearest,
}
