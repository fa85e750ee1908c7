"""Kegs on the books: deliveries and counts around the changes at the taps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise

from simulator.model import SimKeg
from simulator.rates import RATES
from simulator.serving import Bar
from simulator.taps import Poured
from simulator.venues import BEERS, products_of

SPARE = 2
"""Full kegs of each product kept beyond a week's use; common practice, no source."""


def stock_events(bar: Bar, poured: Iterable[Poured]) -> list[SimKeg]:
    """Every keg event in time order: an opening count, weekly deliveries, changes, a closing
    count. Full kegs foot: opening + delivered - put on = closing, per outlet and product."""
    changes = [event for line in poured for event in line.kegs]
    events = list(changes)
    for outlet, product in sorted(_carried(bar)):
        puts = [e.at_ms for e in changes
                if e.kind == "on" and (e.outlet, e.product) == (outlet, product)]
        events += _books(bar, outlet, product, sorted(puts))
    events.sort(key=lambda event: (event.at_ms, event.outlet, event.product, event.kind))
    return [replace(event, id=number) for number, event in enumerate(events, 1)]


def _books(bar: Bar, outlet: str, product: str, puts: list[int]) -> list[SimKeg]:
    every = int(RATES["kegs"]["delivery_every_days"])
    first, last = bar.days[0], bar.days[-1]
    weeks = bar.days[every::every]
    edges = [first.start_ms, *(day.start_ms + 5 * 3_600_000 for day in weeks), last.end_ms]
    used = [
        sum(lo <= at < hi for at in puts) for lo, hi in pairwise(edges)
    ]
    opening = used[0] + SPARE
    made = [_stock(outlet, product, "count", first.start_ms + 60_000, opening)]
    for at, need in zip(edges[1:-1], used[1:], strict=True):
        if need:
            made.append(_stock(outlet, product, "delivery", at, need))
    closing = opening + sum(used[1:]) - len(puts)
    return [*made, _stock(outlet, product, "count", last.end_ms - 60_000, closing)]


def _stock(outlet: str, product: str, kind: str, at_ms: int, units: int) -> SimKeg:
    beer = BEERS[product]
    cost = beer.keg_cost_minor if kind == "delivery" else None
    return SimKeg(0, at_ms, kind, "", outlet, product, "", beer.keg_ul, units, None, cost, None)


def _carried(bar: Bar) -> set[tuple[str, str]]:
    days = len(bar.days)
    return {
        (line.outlet, products_of(line, day, days))
        for line in bar.venue.lines for day in (0, days - 1)
    }
