"""Invented days, built from a table of US fluid ounces, for the tests of alerts and mail."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

from unrung.business_day import day_bounds
from unrung.ledger.results import DayLedger, Leaf, Lone, ProductDay, Volumes
from unrung.mapping import Formats
from unrung.settings import Feed, MenuRow, Settings, Venue
from unrung.units import to_ul

DAY = date(2026, 10, 30)
ZONE = "America/New_York"


def oz(amount: float) -> int:
    """US fluid ounces in microlitres."""
    return to_ul(Decimal(str(amount)), "us_fl_oz")


def venue_settings(**parts: Any) -> Settings:
    """A venue with a till, a meter and a log feed; ``venue`` merges into the venue's own table."""
    venue = {"name": "The Corner Tap", "timezone": ZONE, **parts.pop("venue", {})}
    feeds = tuple(
        Feed(name=name, carries=carries, adapter="csv", folder=name, fields={"at": "At"},
             formats=Formats(volume_unit="us_fl_oz"))
        for name, carries in (("till", "rings"), ("meters", "pours"), ("notebook", "log"))
    )
    menu = (MenuRow(item="Pint of stout", product="Stout", portion_ul=oz(16)),)
    return Settings(venue=Venue(**venue), feed=feeds, **{"menu": menu, **parts})


def at(hour: float) -> int:
    """Milliseconds of a local hour of the day; 25 is one in the night."""
    start, _ = day_bounds(DAY, ZONE, Venue(name="x", timezone=ZONE).day_starts)
    return start + round((hour - 4) * 3_600_000)


def leaf_at(hour: float, product: str = "Stout", outlet: str = "Main Bar", **amounts: float) -> Leaf:
    """One hour of one product; ``amounts`` are components of the identity in fl oz."""
    volumes = Volumes(**{name: oz(amount) for name, amount in amounts.items()})
    return Leaf(at(hour), 60, outlet, product, volumes)


def ledger_of(
    *leaves: Leaf, low: float = 1, high: float | None = None, cost: float | None = None,
    **parts: Any,
) -> DayLedger:
    """A day of these leaves; every product's poured-not-rung has the range ``low`` to ``high``."""
    sums: dict[tuple[str, str], int] = {}
    for leaf in leaves:
        key = (leaf.outlet, leaf.product)
        sums[key] = sums.get(key, 0) + leaf.volumes.poured_not_rung
    products = tuple(
        ProductDay(*key, oz(low), volume if high is None else oz(high), cost)
        for key, volume in sorted(sums.items())
    )
    return DayLedger(
        day=DAY, leaves=tuple(leaves), products=products, lone=parts.pop("lone", ()), logged=(),
        till=(), **parts,
    )


def lone_pour(hour: float, amount: float = 16, product: str = "Stout", outlet: str = "Main Bar") -> Lone:
    """A pour without a ring."""
    return Lone("pour", outlet, product, "T1", at(hour), oz(amount), False, "meters", "m.csv", 2, "")
