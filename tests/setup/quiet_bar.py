"""A bar so quiet that every ring belongs to one pour and no other, with the truth beside it.

Sales of one beer in one outlet lie at least six minutes apart; a few pours are never rung and a few
rings never poured, each far from the other kind. So the right ledger is known exactly.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

FOOD = (("Brotzeit", 890), ("Soup of the day", 750), ("Chips", 450), ("House red", 690), ("Lemonade", 380))

Key = tuple[date, str, str]
"""Business day, outlet, product."""


@dataclass(frozen=True, slots=True)
class Beer:
    """What one outlet sells of one product: its tap, and size name to (microlitres, minor units)."""

    outlet: str
    product: str
    tap: str
    sizes: dict[str, tuple[int, int]]


@dataclass(frozen=True, slots=True)
class Sale:
    """A glass: poured, rung, or both. Times in UTC milliseconds, whole seconds."""

    day: date
    beer: Beer
    size: str
    end_ms: int | None
    metered_ul: int
    ring_ms: int | None
    check: int
    void: bool = False

    @property
    def portion_ul(self) -> int:
        return self.beer.sizes[self.size][0]

    @property
    def price(self) -> int:
        return self.beer.sizes[self.size][1]

    @property
    def seconds(self) -> int:
        return max(3, round(self.metered_ul / 60_000))


@dataclass(frozen=True, slots=True)
class Side:
    """A ring of something that no tap pours."""

    day: date
    outlet: str
    item: str
    price: int
    ring_ms: int
    check: int


@dataclass(frozen=True, slots=True)
class QuietBar:
    """Some days of a quiet bar."""

    zone: str
    days: tuple[date, ...]
    sales: list[Sale]
    sides: list[Side]

    def truth(self) -> dict[Key, Counter[str]]:
        """The ledger's components in microlitres, by business day, outlet and product."""
        rows: dict[Key, Counter[str]] = {}
        for sale in self.sales:
            row = rows.setdefault((sale.day, sale.beer.outlet, sale.beer.product), Counter())
            if sale.void:
                continue
            if sale.end_ms is None:
                row["rung_not_poured"] += sale.portion_ul
            elif sale.ring_ms is None:
                row["poured_not_rung"] += sale.metered_ul
            else:
                row["matched_portion"] += sale.portion_ul
                row["over_portion"] += max(0, sale.metered_ul - sale.portion_ul)
                row["under_portion"] += max(0, sale.portion_ul - sale.metered_ul)
        return {key: +row for key, row in rows.items() if +row}


def quiet_bar(
    seed: int, beers: list[Beer], zone: str, first: date, days: int, *, step_ul: int = 1_000
) -> QuietBar:
    """``days`` days from ``first``, 12:00 to 23:00; ``step_ul``: what the meters round to."""
    rng = random.Random(seed)
    dates = tuple(first + timedelta(n) for n in range(days))
    sales = [sale for day in dates for beer in beers for sale in _day(rng, day, beer, zone, step_ul)]
    outlets = sorted({beer.outlet for beer in beers})
    sides = [side for day in dates for outlet in outlets for side in _sides(rng, day, outlet, zone)]
    return QuietBar(zone, dates, sorted(sales, key=lambda one: one.end_ms or one.ring_ms or 0), sides)


def _day(rng: random.Random, day: date, beer: Beer, zone: str, step_ul: int) -> Iterator[Sale]:
    at = _ms(day, time(12, rng.randrange(30)), zone)
    closes = _ms(day, time(22, 50), zone)
    lone_pour, lone_ring, void = 7, 17, 12
    for number in range(60):
        at += rng.randrange(360, 1500) * 1000
        if at > closes:
            return
        size = rng.choices(list(beer.sizes), [3, 2, 1, 1][: len(beer.sizes)])[0]
        portion = beer.sizes[size][0]
        metered = round(portion * rng.gauss(1.0, 0.012) / step_ul) * step_ul
        ring = at + rng.randrange(20, 95) * 1000
        check = int(day.strftime("%j")) * 1000 + number
        if number == void:
            yield Sale(day, beer, size, None, 0, ring, check, void=True)
        else:
            yield Sale(
                day, beer, size, None if number == lone_ring else at,
                0 if number == lone_ring else metered, None if number == lone_pour else ring, check,
            )


def _sides(rng: random.Random, day: date, outlet: str, zone: str) -> Iterator[Side]:
    at = _ms(day, time(12), zone)
    for number in range(45):
        at += rng.randrange(120, 1400) * 1000
        item, price = rng.choice(FOOD)
        if at < _ms(day, time(22, 50), zone):
            yield Side(day, outlet, item, price, at, int(day.strftime("%j")) * 1000 + 500 + number)


def local(at_ms: int, zone: str) -> datetime:
    """A moment on the clock of the bar."""
    return datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(ZoneInfo(zone))


def _ms(day: date, clock: time, zone: str) -> int:
    return round(datetime.combine(day, clock, ZoneInfo(zone)).timestamp()) * 1000
