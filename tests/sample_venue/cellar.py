"""The cellar: what stood there, what came, what moved, and the count of every night."""

from __future__ import annotations

from sample_venue.bar import Bar, KegRow
from sample_venue.clock import moment
from sample_venue.place import (
    BITTER,
    CIDER,
    GARDEN,
    GOLD,
    KEG_UL,
    LONG,
    OUNCE,
    PALE,
    PRODUCTS,
    RYE,
    STOUT,
    TAPS,
    WHEAT,
)
from sample_venue.trade import Hours

STOCKED = sorted({(t.outlet, t.product) for t in TAPS})
OPENING = 2
"""Full kegs of each beer in each bar on Tuesday morning."""
DELIVERED = {
    0: ((LONG, GOLD, 2), (GARDEN, GOLD, 1), (GARDEN, WHEAT, 1)),
    3: ((LONG, BITTER, 2), (LONG, PALE, 2), (GARDEN, WHEAT, 1), (GARDEN, PALE, 1),
        (LONG, RYE, 1), (LONG, STOUT, 1), (GARDEN, CIDER, 1)),
}
COST = {p.name: p.cents for p in PRODUCTS}


def open_cellar(bar: Bar) -> None:
    bar.full = {key: OPENING for key in STOCKED}


def morning(bar: Bar, nth: int, hours: Hours) -> None:
    """Deliveries and moves before opening; the first morning starts with a count."""
    at = moment(hours.day, "09:05")
    if nth == 0:
        count(bar, at - 1500)
    for outlet, product, kegs in DELIVERED.get(nth, ()):
        bar.full[outlet, product] += kegs
        bar.week.kegs.append(
            KegRow(at, "Delivered", outlet, product, kegs=kegs, cents=COST[product])
        )
        at += 120
    if nth == 2:
        bar.full[LONG, GOLD] -= 1
        bar.full[GARDEN, GOLD] += 1
        bar.week.kegs.append(KegRow(at, "Moved", LONG, GOLD, to_outlet=GARDEN))
    if nth == 3:
        tap_extra(bar, moment(hours.day, "17:20"))


def tap_extra(bar: Bar, at: int) -> None:
    """The keg of the tap without a meter, for the two busy nights."""
    bar.full[GARDEN, GOLD] -= 1
    bar.left["G5"] = KEG_UL[GOLD]
    bar.week.kegs.append(KegRow(at, "Tapped", GARDEN, GOLD, "G5"))


def night(bar: Bar, hours: Hours) -> None:
    count(bar, moment(hours.day, hours.closes) + 25 * 60)


def count(bar: Bar, at: int) -> None:
    """Full kegs, and the one that runs weighed to the nearest 8 ounces."""
    for nth, (outlet, product) in enumerate(STOCKED):
        left = sum(bar.left[t.name] for t in TAPS if (t.outlet, t.product) == (outlet, product))
        part = 8 * round(left / (8 * OUNCE))
        bar.week.kegs.append(KegRow(
            at + 40 * nth, "Counted", outlet, product, kegs=bar.full[outlet, product],
            part_oz=part,
        ))
