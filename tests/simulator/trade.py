"""Who orders what, and when: checks, their rounds, their drinks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, time, timedelta

import numpy as np

from simulator.rates import RATES, between, log_normal, pick, stream
from simulator.venues import (
    BEERS,
    FLIGHT,
    HALF,
    ZONE,
    Item,
    VenuePlan,
    mixed_items,
    products_of,
    single_items,
)
from unrung.business_day import business_day, day_bounds

HOUR_MS = 3_600_000
U_COLUMNS, Z_COLUMNS = 24, 12
"""Uniform and normal draws that every drink and round brings along for later choices."""


@dataclass(slots=True)
class Drink:
    """One menu item ordered. ``poured_at`` is the outlet whose taps pour it."""

    item: Item
    poured_at: str
    u: Sequence[float]
    z: Sequence[float]
    rung_item: Item | None = None
    """What the till is told; None: nothing."""
    cause: str = ""
    voided_after: bool = False
    serves: list[int] = field(default_factory=list)


@dataclass(slots=True)
class Round:
    """What one person orders at once, on a check."""

    day: int
    outlet: str
    check: str
    counter: bool
    at_ms: int
    u: Sequence[float]
    z: Sequence[float]
    drinks: list[Drink] = field(default_factory=list)
    ring_ms: int | None = None
    """When it was rung, where that was before its pours."""
    pour_ms: int = 0
    mode: str = ""
    """before, after, tab, forgotten."""


@dataclass(frozen=True, slots=True)
class Day:
    """A business day of the simulated month."""

    index: int
    date: date
    start_ms: int
    end_ms: int
    opens_ms: int
    closes_ms: int


def make_days(venue: VenuePlan, start: date, days: int) -> list[Day]:
    """The business days, by the same calendar as the project's (04:00 New York)."""
    made = []
    for index in range(days):
        day = start + timedelta(days=index)
        lo, hi = day_bounds(day, ZONE, time(4))
        late = day.weekday() in (4, 5)
        closes = RATES["trade"]["late_closes_after_h" if late else "closes_after_h"]
        opens_ms = lo + round((RATES["trade"]["opens_after_h"] + venue.shift_h) * HOUR_MS)
        made.append(
            Day(index, day, lo, hi, opens_ms, lo + round((closes + venue.shift_h) * HOUR_MS))
        )
    return made


def day_of_ms(at_ms: int) -> date:
    """The business day of a moment."""
    return business_day(at_ms, ZONE, time(4))


def menu_of(venue: VenuePlan, outlet: str, day: int, days: int) -> list[Item]:
    """What an outlet sells on a day: items of its own lines."""
    products = sorted({products_of(line, day, days) for line in venue.lines if line.outlet == outlet})
    singles = [item for product in products for item in single_items(product)]
    return singles + mixed_items(outlet, products)


def rounds_of_day(seed: int, venue: VenuePlan, day: Day, days: int) -> list[Round]:
    """All rounds of a day in time order."""
    rng = stream(seed, "trade", day.index)
    rounds: list[Round] = []
    for outlet in sorted(venue.drinks):
        menus = {name: _Choice(venue, name, day.index, days) for name in _reach(venue, outlet)}
        rounds += _outlet_rounds(rng, venue, outlet, day, menus, len(rounds))
    rounds.sort(key=lambda r: (r.at_ms, r.outlet, r.check))
    return rounds


class _Choice:
    """An outlet's items and their weights on one day."""

    def __init__(self, venue: VenuePlan, outlet: str, day: int, days: int) -> None:
        self.items = menu_of(venue, outlet, day, days)
        sizes = RATES["mix"]["sizes"]
        self.weights = []
        for item in self.items:
            if item.item.startswith(HALF):
                self.weights.append(0.0)
            elif item.item.startswith(FLIGHT):
                self.weights.append(0.0)
            else:
                beer = BEERS[item.item]
                total = sum(sizes[size] for size in beer.sizes)
                self.weights.append(beer.weight * sizes[item.size] / total)
        self.sums = np.cumsum(self.weights)
        self.mixed = {i.item.rsplit(" ", 1)[0]: i for i in self.items if not i.size}

    def take(self, u: float, kind: float) -> Item:
        mix = RATES["mix"]
        if kind < mix["flight"] and FLIGHT in self.mixed:
            return self.mixed[FLIGHT]
        if mix["flight"] <= kind < mix["flight"] + mix["half_and_half"] and HALF in self.mixed:
            return self.mixed[HALF]
        return self.items[int(np.searchsorted(self.sums, u * self.sums[-1], side="right"))]


def _reach(venue: VenuePlan, outlet: str) -> list[str]:
    """The outlet, then those that pour for it."""
    pool = next((outlets for outlets in venue.pools.values() if outlet in outlets), (outlet,))
    return [outlet, *(name for name in pool if name != outlet)]


def _outlet_rounds(
    rng: np.random.Generator, venue: VenuePlan, outlet: str, day: Day,
    menus: dict[str, _Choice], seen: int,
) -> list[Round]:
    trade = RATES["trade"]
    weight = 1.0 if venue.flat_week else trade["weekday"][day.date.weekday()]
    mean = venue.drinks[outlet] * weight * log_normal(1.0, trade["day_noise"], rng.normal())
    per_check = _mean(trade["round_sizes"]) * _mean(trade["rounds_per_check"])
    counter = RATES["till"]["counter"] if venue.counter is None else venue.counter
    rounds: list[Round] = []
    for number in range(int(rng.poisson(mean / per_check))):
        at_ms = _arrival(rng, venue, day)
        check = f"{outlet[:2].upper()}{day.date:%m%d}-{number + 1:03d}"
        at_counter = rng.random() < counter
        rounds += _check_rounds(rng, outlet, day, menus, check, at_counter, at_ms)
    return rounds


def _check_rounds(
    rng: np.random.Generator, outlet: str, day: Day, menus: dict[str, _Choice],
    check: str, counter: bool, at_ms: int,
) -> list[Round]:
    trade = RATES["trade"]
    rounds: list[Round] = []
    earlier: list[tuple[Item, str]] = []
    for _ in range(1 + pick(trade["rounds_per_check"], rng.random())):
        if at_ms > day.closes_ms:
            break
        made = Round(
            day.index, outlet, check, counter, at_ms,
            rng.random(U_COLUMNS).tolist(), rng.normal(size=Z_COLUMNS).tolist(),
        )
        for _ in range(1 + pick(trade["round_sizes"], rng.random())):
            made.drinks.append(_drink(rng, outlet, menus, earlier, made.drinks))
        earlier = [(drink.item, drink.poured_at) for drink in made.drinks]
        rounds.append(made)
        at_ms += round(
            log_normal(trade["round_pause_min"], trade["round_pause_sigma"], rng.normal()) * 60_000
        )
    return rounds


def _drink(
    rng: np.random.Generator, outlet: str, menus: dict[str, _Choice],
    earlier: list[tuple[Item, str]], mates: list[Drink],
) -> Drink:
    trade = RATES["trade"]
    u = rng.random(U_COLUMNS).tolist()
    z = rng.normal(size=Z_COLUMNS).tolist()
    if mates and u[0] < trade["round_mates_alike"]:
        return Drink(mates[-1].item, mates[-1].poured_at, u, z)
    if earlier and u[1] < trade["same_again"]:
        item, poured_at = earlier[int(u[2] * len(earlier))]
        return Drink(item, poured_at, u, z)
    where = outlet
    if len(menus) > 1 and u[3] < trade["borrowed"]:
        where = sorted(name for name in menus if name != outlet)[int(u[4] * (len(menus) - 1))]
    return Drink(menus[where].take(u[5], u[6]), where, u, z)


def _arrival(rng: np.random.Generator, venue: VenuePlan, day: Day) -> int:
    weights = venue.burst_hours or RATES["trade"]["hours"]
    open_hours = (day.closes_ms - day.opens_ms) / HOUR_MS
    weights = [w for hour, w in enumerate(weights) if hour < open_hours]
    hour = pick(weights, rng.random())
    at_ms = day.opens_ms + round((hour + rng.random()) * HOUR_MS)
    return min(at_ms, day.closes_ms)


def _mean(weights: Sequence[float]) -> float:
    return sum((i + 1) * w for i, w in enumerate(weights)) / sum(weights)


def trade_moment(venue: VenuePlan, day: Day, u: float, v: float) -> int:
    """A moment of the day, as likely as trade is then."""
    weights = venue.burst_hours or RATES["trade"]["hours"]
    open_hours = (day.closes_ms - day.opens_ms) / HOUR_MS
    weights = [w for hour, w in enumerate(weights) if hour < open_hours]
    return min(
        day.closes_ms, day.opens_ms + round(between((0, HOUR_MS), v)) + pick(weights, u) * HOUR_MS
    )
