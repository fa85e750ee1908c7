"""An ordinary day's trade: checks with beer and food, at the counter and at the tables."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from typing import NamedTuple

from sample_venue.bar import Bar, Pour, Week
from sample_venue.clock import moment
from sample_venue.place import (
    BITTER,
    BY_NAME,
    CIDER,
    FOOD,
    GARDEN,
    GOLD,
    LONG,
    MILD,
    PALE,
    PINT,
    PITCHER,
    RYE,
    SMALL,
    STOUT,
    TAPS,
    WHEAT,
    Item,
    item,
    oz,
    sizes_oz,
    tap_of,
)

HOURS = (.5, 1, .9, .5, .5, .8, 1.6, 2, 2.2, 2.2, 2, 1.6, 1.2, 1.1, 1, .9)
"""How busy each hour is, from 11:00."""
LIKED = {
    LONG: ((BITTER, 24), (GOLD, 22), (PALE, 22), (STOUT, 12), (RYE, 11), (MILD, 9)),
    GARDEN: ((GOLD, 30), (WHEAT, 32), (CIDER, 16), (PALE, 22)),
}
G5 = next(t for t in TAPS if t.name == "G5")


class Quiet(NamedTuple):
    """A beer that nobody else orders for a while, so that a told event stands alone."""

    outlet: str
    product: str
    since: int
    until: int


class Hours(NamedTuple):
    day: date
    closes: str
    orders: float
    """Checks with beer in a busyness of one, per hour."""
    extra_tap: tuple[str, str] = ("", "")
    """When the unmetered tap is in use."""


@dataclass(slots=True)
class Trade:
    """What the ordinary day may not touch, and which taps are being changed."""

    bar: Bar
    quiet: list[Quiet]
    shut: dict[str, int] = field(default_factory=dict)

    def wanted(self, outlet: str, product: str, at: int) -> bool:
        named = (q for q in self.quiet if (q.outlet, q.product) == (outlet, product))
        return self.shut.get(tap_of(outlet, product).name, 0) <= at and not any(
            q.since <= at <= q.until for q in named
        )


def arrivals(bar: Bar, hours: Hours) -> Iterator[int]:
    """When checks with beer are opened."""
    opens, closes = moment(hours.day, "11:00"), moment(hours.day, hours.closes)
    for at in range(opens + 300, closes - 900, 10):
        busy = HOURS[(at - opens) // 3600]
        if bar.dice.share() < busy * hours.orders * 10 / 3600:
            yield at


def order(trade: Trade, hours: Hours, at: int) -> None:
    """One check: poured, then rung at the counter within a minute or at a table within four."""
    bar = trade.bar
    outlet = bar.dice.pick([(LONG, 3), (GARDEN, 2)])
    at_table = bar.dice.share() < (0.3 if outlet == GARDEN else 0.12)
    check, terminal, clock = bar.check(), bar.terminal(outlet), at
    poured: list[tuple[Item, list[Pour]]] = []
    for _ in range(bar.dice.pick([(1, 68), (2, 26), (3, 6)])):
        product = bar.dice.pick(LIKED[outlet])
        chosen, units = _choose(bar, product)
        if not trade.wanted(outlet, product, clock):
            continue
        if _from_extra(bar, hours, outlet, chosen, clock):
            line = bar.ring(clock + 30, outlet, chosen, check=check, terminal=terminal)
            bar.unmetered(G5, line, 16)
        elif pours := _pour(trade, outlet, chosen, units, clock):
            poured.append((chosen, pours))
            clock = pours[-1].end + bar.dice.whole(4, 9)
    lag = bar.dice.whole(60, 215) if at_table else bar.dice.whole(-38, 50)
    for nth, (chosen, pours) in enumerate(poured):
        line = bar.ring(poured[-1][1][-1].end + lag + 2 * nth, outlet, chosen, units=len(pours),
                        check=check, terminal=terminal)
        for pour in pours:
            bar.serve([pour], chosen.portions[0][1], "rung", (line,))
    if bar.dice.share() < 0.45:
        _food(bar, outlet, check, terminal, clock)


def _choose(bar: Bar, product: str) -> tuple[Item, int]:
    if product == MILD:
        return item(MILD), bar.dice.pick([(1, 85), (2, 15)])
    size = bar.dice.pick([(PINT, 74), (SMALL, 22), (PITCHER, 4)])
    if size == PITCHER:
        return (item(product, size if (product, size) in BY_NAME else PINT), 1)
    return item(product, size), bar.dice.pick([(1, 76), (2, 21), (3, 3)])


def _from_extra(bar: Bar, hours: Hours, outlet: str, chosen: Item, at: int) -> bool:
    since, until = hours.extra_tap
    if not since or (outlet, chosen) != (GARDEN, item(GOLD)):
        return False
    return moment(hours.day, since) <= at <= moment(hours.day, until) and bar.dice.share() < 0.5


def _pour(trade: Trade, outlet: str, chosen: Item, units: int, at: int) -> list[Pour]:
    """The glasses of one line, one after the other; fewer when the tap is not free for them."""
    bar, (product, ounces) = trade.bar, chosen.portions[0]
    tap, pours = tap_of(outlet, product), list[Pour]()
    for _ in range(units):
        if bar.left[tap.name] < oz(ounces + 12):
            if ounces > 16:
                break
            gas = bar.dice.share() < 0.6
            trade.shut[tap.name] = bar.change_keg(tap, at, gas=gas)
            break
        wish = max(at, bar.free[tap.name])
        at = clear_of_runs(bar.week, tap.name, product, wish, ounces)
        if at > wish + 30:
            break
        pours.append(bar.fill(tap, at, ounces))
        at = pours[-1].end + bar.dice.whole(6, 10)
    return pours


def clear_of_runs(week: Week, tap: str, product: str, at: int, ounces: float) -> int:
    """``at``, or later where glasses in a row would add up to a bigger measure on the menu."""
    total, start, last = ounces, at, 0
    for pour in reversed(week.pours[-60:]):
        if pour.tap.name != tap:
            continue
        if start - pour.end > 75:
            break
        last, start = last or pour.end, pour.start
        total += pour.ul / oz(1)
        if any(abs(total / size - 1) < 0.09 for size in sizes_oz(product)):
            return last + 80
    return at


def _food(bar: Bar, outlet: str, check: str, terminal: str, at: int) -> None:
    for _ in range(bar.dice.pick([(1, 60), (2, 40)])):
        name, cents = bar.dice.pick([(row, 1) for row in FOOD])
        dish = Item(name, "", (), cents)
        bar.ring(at + bar.dice.whole(5, 90), outlet, dish, check=check, terminal=terminal,
                 units=bar.dice.pick([(1, 80), (2, 20)]))
