"""What a rule is judged on: a volume, the beer it is compared with, and how sure we are of it.

Compared beer is what was poured less ``not_beer`` and ``poured_not_compared``.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.results import DayLedger, Leaf, Volumes
from unrung.settings import Settings

TWO_HOURS_MS = 2 * 3_600_000


class Measured(NamedTuple):
    """One thing a rule can be judged on; empty ``outlet`` or ``product`` means all of them."""

    outlet: str
    product: str
    start_ms: int | None
    """Start of the two hours; None where the measure is of the whole day."""
    volume_ul: int
    low_ul: int
    """Low end of the plausible range of ``volume_ul``."""
    high_ul: int
    compared_ul: int
    serves: int
    """Full-size serves without a ring."""

    @property
    def share(self) -> Fraction | None:
        """Of compared beer; None where there is none."""
        return Fraction(self.volume_ul, self.compared_ul) if self.compared_ul > 0 else None


class Day:
    """A ledger with its sums, made once and read by every measure."""

    def __init__(self, ledger: DayLedger, settings: Settings) -> None:
        self.ledger = ledger
        self.volumes: dict[tuple[str, str], Volumes] = {}
        for leaf in ledger.leaves:
            self.volumes.setdefault((leaf.outlet, leaf.product), Volumes()).add(leaf.volumes)
        self.ranges = {
            (row.outlet, row.product): (row.poured_not_rung_low, row.poured_not_rung_high)
            for row in ledger.products
        }
        self.serves = _serves(ledger, settings)

    def range_ul(self, key: tuple[str, str]) -> tuple[int, int]:
        """Plausible range of the day's poured-not-rung; without one, nothing is sure."""
        return self.ranges.get(key, (0, self.volumes[key].poured_not_rung))


def compared(volumes: Volumes) -> int:
    """Beer that could be compared, in microlitres."""
    return volumes.poured - volumes.not_beer - volumes.poured_not_compared


def product_days(day: Day) -> Iterator[Measured]:
    """Poured-not-rung of each product of each outlet."""
    for key, volumes in day.volumes.items():
        low, high = day.range_ul(key)
        yield Measured(
            *key, None, volumes.poured_not_rung, low, high, compared(volumes),
            len(day.serves.get(key, ())),
        )


def venue_day(day: Day) -> Iterator[Measured]:
    """Poured-not-rung of the venue. Ranges add up, which is wider than the true one."""
    rows = list(product_days(day))
    yield Measured(
        "", "", None, sum(row.volume_ul for row in rows), sum(row.low_ul for row in rows),
        sum(row.high_ul for row in rows), sum(row.compared_ul for row in rows),
        sum(row.serves for row in rows),
    )


def two_hours(day: Day) -> Iterator[Measured]:
    """Poured-not-rung of each outlet in every two hours made of whole windows.

    Windows longer than two hours make none, so the rule is then never passed. The day's range is
    not split by hour: all of its doubt is charged to the two hours looked at.
    """
    by_outlet: dict[str, list[Leaf]] = {}
    for leaf in day.ledger.leaves:
        by_outlet.setdefault(leaf.outlet, []).append(leaf)
    for outlet, leaves in by_outlet.items():
        for start in sorted({leaf.window_start_ms for leaf in leaves}):
            span = [leaf for leaf in leaves if _within(leaf, start)]
            if span:
                yield _two_hours_from(day, outlet, start, span)


def logged_share(day: Day) -> Iterator[Measured]:
    """What the log explains, over the venue; the entries themselves are certain."""
    logged = sum(volumes.logged for volumes in day.volumes.values())
    whole = sum(compared(volumes) for volumes in day.volumes.values())
    yield Measured("", "", None, logged, logged, logged, whole, 0)


def _two_hours_from(day: Day, outlet: str, start: int, span: list[Leaf]) -> Measured:
    by_product: dict[str, Volumes] = {}
    for leaf in span:
        by_product.setdefault(leaf.product, Volumes()).add(leaf.volumes)
    volume = low = high = serves = 0
    for product, volumes in by_product.items():
        key = (outlet, product)
        of_day = day.volumes[key].poured_not_rung
        day_low, day_high = day.range_ul(key)
        volume += volumes.poured_not_rung
        low += max(0, volumes.poured_not_rung - max(0, of_day - day_low))
        high += volumes.poured_not_rung + max(0, day_high - of_day)
        times = day.serves.get(key, [])
        serves += bisect_left(times, start + TWO_HOURS_MS) - bisect_left(times, start)
    whole = sum(compared(volumes) for volumes in by_product.values())
    return Measured(outlet, "", start, volume, low, high, whole, serves)


def _within(leaf: Leaf, start_ms: int) -> bool:
    end_ms = leaf.window_start_ms + leaf.window_minutes * 60_000
    return start_ms <= leaf.window_start_ms and end_ms <= start_ms + TWO_HOURS_MS


def _serves(ledger: DayLedger, settings: Settings) -> dict[tuple[str, str], list[int]]:
    """Times of full-size pours without a ring, per outlet and product, sorted.

    Full-size: at least half of the product's smallest portion on the menu (our own choice), so
    that drips and tasters do not count as serves.
    """
    smallest: dict[str, int] = {}
    for row in settings.menu:
        smallest[row.product] = min(row.portion_ul, smallest.get(row.product, row.portion_ul))
    found: dict[tuple[str, str], list[int]] = {}
    for lone in sorted(ledger.lone, key=lambda row: row.at_ms):
        if lone.kind == "pour" and 2 * lone.volume_ul >= smallest.get(lone.product, 0):
            found.setdefault((lone.outlet, lone.product), []).append(lone.at_ms)
    return found
