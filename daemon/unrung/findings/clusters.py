"""Hours of the day in which an outlet's serves without a ring are out of proportion to its trade."""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import lru_cache, partial
from typing import NamedTuple
from zoneinfo import ZoneInfo

from unrung.findings.certainty import level
from unrung.findings.facts import Facts
from unrung.findings.of_a_day import columns
from unrung.findings.statistics import poisson_chance, poisson_tail
from unrung.ledger.facts import DayFacts
from unrung.settings import Settings

HOURS = (1, 2, 3, 4)
QUARTER_MS = 15 * 60_000
"""Clocks of all zones are whole quarters of an hour apart: a local hour is four of them."""


class Cluster(NamedTuple):
    """So many hours from one on, and how many serves without a ring fall there."""

    first_hour: int
    hours: int
    serves: int
    expected: float
    chance: float


def cluster_of(facts: Facts, settings: Settings, outlet: str, keys: Sequence[int]) -> Cluster | None:
    """The hours least likely by chance, against the outlet's own trade at those hours, if any are clear
    of it."""
    zone = ZoneInfo(settings.venue.timezone)
    lone: Counter[int] = Counter()
    for quarter, count in Counter([facts.serves[key].end_ms // QUARTER_MS for key in keys]).items():
        lone[_hour(quarter, zone)] += count
    trade: Counter[int] = Counter()
    for day in facts.window.days:
        hours_of = day.once(f"trade {zone.key}", None, partial(_trade, day, zone))
        trade.update({hour: count for (place, hour), count in hours_of.items() if place == outlet})
    total, limit = sum(trade.values()), level(24 * len(HOURS))
    clusters = []
    for first in range(24):
        for hours in HOURS:
            span = [(first + nth) % 24 for nth in range(hours)]
            count = sum(lone[hour] for hour in span)
            expected = len(keys) * sum(trade[hour] for hour in span) / total
            if count > expected and poisson_chance(count, expected) < limit:
                clusters.append(Cluster(first, hours, count, expected, poisson_tail(count, expected)))
    clearest = min(clusters, key=lambda one: (one.chance, one.first_hour, one.hours), default=None)
    return clearest if clearest and clearest.chance < limit else None


def _trade(day: DayFacts, zone: ZoneInfo) -> Counter[tuple[str, int]]:
    """A day's serves by outlet and local hour."""
    found: Counter[tuple[str, int]] = Counter()
    for outlet, quarter, count in day.once("quarters", None, partial(quarters, day)):
        found[outlet, _hour(quarter, zone)] += count
    return found


def quarters(day: DayFacts) -> list[tuple[str, int, int]]:
    """(outlet, quarter of an hour since 1970, its serves that ended in it) of a day."""
    outlets, ends = columns(day).outlet, columns(day).end_ms
    found, low = list[tuple[str, int, int]](), 0
    while low < len(ends):
        quarter = ends[low] // QUARTER_MS
        high = bisect_left(ends, (quarter + 1) * QUARTER_MS, low)
        found += [(outlet, quarter, count) for outlet, count in Counter(outlets[low:high]).items()]
        low = high
    return found


@lru_cache(maxsize=8192)
def _hour(quarter: int, zone: ZoneInfo) -> int:
    """The local hour of a quarter of an hour (since 1970)."""
    return datetime.fromtimestamp(quarter * QUARTER_MS / 1000, UTC).astimezone(zone).hour
