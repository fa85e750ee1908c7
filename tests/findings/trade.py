"""A small invented bar, four weeks of it as facts, with nothing wrong: what findings must be silent on.

Three taps with one meter each; every glass has its ring. Tests take this and spoil one thing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from random import Random

from unrung.ledger.facts import ClockFact, DayFacts, KegFact, RingFact, ServeFact, TillFact
from unrung.settings import MenuRow, Product, Settings, TapRow, Venue

OZ = 29_573.5295625
FIRST = date(2026, 6, 1)
HOUR = 3_600_000
BEERS = {"T1": "Amber", "T2": "Stout", "T3": "Wheat"}
SIZES = {"10 oz": 10, "16 oz": 16}
PER_DAY = 24
"""Serves a day at each tap."""


def settings() -> Settings:
    """Open 11:00 to 01:00 UTC, days from 04:00."""
    venue = Venue(name="The Weigh House", timezone="UTC", opens=time(11), closes=time(1))
    menu = [
        MenuRow(item=beer, size=size, product=beer, portion_ul=round(ounces * OZ))
        for beer in BEERS.values() for size, ounces in SIZES.items()
    ]
    taps = [
        TapRow(tap=tap, meter=f"M{tap[1:]}", outlet="Bar", product=beer, line_volume_ul=round(12 * OZ))
        for tap, beer in BEERS.items()
    ]
    products = [
        Product(product=beer, keg_size_ul=30_000_000, keg_cost_minor=9_000) for beer in BEERS.values()
    ]
    return Settings(
        venue=venue, feed=(), menu=tuple(menu), taps=tuple(taps), products=tuple(products)
    )


def at(day: int, hour: float) -> int:
    """A moment: ``hour`` counts from midnight of the day's date and may pass 24."""
    midnight = datetime.combine(FIRST + timedelta(days=day), time(), UTC)
    return round(midnight.timestamp() * 1000 + hour * HOUR)


def ordinary(days: int = 28, seed: int = 1) -> list[DayFacts]:
    """``days`` of trade in which every glass has its ring about 20 s later; nothing was drawn from them."""
    return [replace(day) for day in _days(days, seed)]


@cache
def _days(days: int, seed: int) -> list[DayFacts]:
    rng = Random(seed)
    return [_day(number, rng) for number in range(days)]


def _day(number: int, rng: Random) -> DayFacts:
    serves = sorted(
        (glass(tap, at(number, rng.uniform(11.2, 24.8)), rng.choice([*SIZES, "16 oz"]), rng.gauss(0, 0.03),
               rng.gauss(20, 12))
         for tap in BEERS for _ in range(PER_DAY)),
        key=lambda serve: serve.end_ms,
    )
    rung = tuple(sorted((serve.ring_ms - at(number, 4)) // 1000 for serve in serves))
    return DayFacts(
        FIRST + timedelta(days=number), (at(number, 4), at(number + 1, 4)), tuple(serves),
        clocks=(ClockFact("Bar", 15_000 + round(rng.gauss(0, 4_000)), 60, 0, 0),),
        till=(TillFact("Bar", "B1", rung),),
    )


def glass(tap: str, start: int, size: str, over: float = 0.0, lag_s: float = 20.0) -> ServeFact:
    """A rung glass, ``over`` its portion by that share."""
    portion = round(SIZES[size] * OZ)
    volume = round(portion * (1 + over))
    end = start + round(volume / OZ * 500)
    return ServeFact(
        "Bar", BEERS[tap], tap, start, end, volume, ((start, end, volume),), portion, BEERS[tap], size,
        end + round(lag_s * 1000),
    )


def alone(tap: str, start: int, ounces: float) -> ServeFact:
    """Beer that nobody rang."""
    volume = round(ounces * OZ)
    end = start + round(ounces * 500)
    return ServeFact("Bar", BEERS[tap], tap, start, end, volume, ((start, end, volume),), left_ul=volume)


def ring(tap: str, moment: int, size: str = "16 oz") -> RingFact:
    """A ring that no serve answers."""
    portion = round(SIZES[size] * OZ)
    return RingFact("Bar", BEERS[tap], BEERS[tap], size, portion, moment, "Bar", moment, 7, True)


def with_serves(days: list[DayFacts], more: Iterable[ServeFact]) -> list[DayFacts]:
    """The days with further serves where they belong."""
    extra = list(more)
    return [
        replace(day, serves=tuple(sorted(
            (*day.serves, *(s for s in extra if day.bounds[0] <= s.end_ms < day.bounds[1])),
            key=lambda serve: serve.end_ms)))
        for day in days
    ]


def with_rings(days: list[DayFacts], more: Iterable[RingFact]) -> list[DayFacts]:
    extra = list(more)
    return [
        replace(day, rings=tuple(sorted(
            (*day.rings, *(r for r in extra if day.bounds[0] <= r.at_ms < day.bounds[1])))))
        for day in days
    ]


def changed(
    days: list[DayFacts], change: Callable[[int, ServeFact], ServeFact], first: int = 0
) -> list[DayFacts]:
    """Every serve from day ``first`` on as ``change(number of the day, serve)`` makes it."""
    return [
        replace(day, serves=tuple(sorted(
            (change(number, serve) for serve in day.serves), key=lambda serve: serve.end_ms)))
        if number >= first else day
        for number, day in enumerate(days)
    ]


def fuller(serve: ServeFact, ul: int) -> ServeFact:
    """The serve with more in the glass."""
    start, end, volume = serve.parts[-1]
    parts = (*serve.parts[:-1], (start, end, volume + ul))
    return serve._replace(volume_ul=serve.volume_ul + ul, parts=parts)


def with_kegs(days: list[DayFacts], tap: str, gave: Callable[[int], float]) -> list[DayFacts]:
    """The days with kegs at one tap, each emptied after two days of trade. Keg ``n`` held what the
    meter saw of it over ``1 + gave(n)``."""
    made = list(days)
    for number, first in enumerate(range(0, len(days) - 2, 2)):
        seen = sum(
            serve.volume_ul for day in days[first : first + 2] for serve in day.serves
            if serve.tap == tap and serve.end_ms >= at(first, 6)
        ) + sum(s.volume_ul for s in days[first + 2].serves if s.tap == tap and s.end_ms < at(first + 2, 6))
        on = KegFact(at(first, 6), "on", tap, BEERS[tap], f"K{number}", round(seen / (1 + gave(number))), 0)
        off = KegFact(at(first + 2, 6) - 60_000, "off", tap, BEERS[tap], f"K{number}", 0, 0)
        made[first] = replace(made[first], kegs=tuple(sorted((*made[first].kegs, on))))
        made[first + 2] = replace(made[first + 2], kegs=tuple(sorted((*made[first + 2].kegs, off))))
    return made
