"""Small made-up cellars: a bar with two lines, and short ways to say what happened."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from unrung.ledger.cellar import CellarEvent, read_cellar
from unrung.ledger.inputs import KegLine, Origin
from unrung.ledger.kegs import KegRow, Meters, keg_rows
from unrung.ledger.tap_spans import TapSpan
from unrung.settings import Product, Settings, TapRow, Venue
from unrung.units import keg_size_ul

HOUR = 3_600_000
START = 1_793_448_000_000
"""31 October 2026, 08:00 in New York."""
LITRE = 1_000_000


def settings(**more: Any) -> Settings:
    venue = Venue(name="The Cask", timezone="America/New_York", volume_unit="l")
    products = (
        Product(product="Amber", keg_size_ul=50 * LITRE, keg_cost_minor=15_000),
        Product(product="Stout", keg_size_ul=keg_size_ul("1/4 us_bbl"), keg_cost_minor=9_000),
        Product(product="Odd"),
    )
    taps = (
        TapRow(tap="1", meter="M1", outlet="Bar", product="Amber"),
        TapRow(tap="2", meter="M1", outlet="Bar", product="Amber"),
        TapRow(tap="3", outlet="Bar", product="Stout"),
        TapRow(tap="9", outlet="Bar", product="Amber", metered=False),
    )
    return Settings(venue=venue, feed=(), products=products, taps=taps, **more)


def line(hour: float, kind: str, *, id: int = 0, product: str = "", outlet: str = "", tap: str = "",
         units: float = 1, **more: Any) -> KegLine:
    at = START + round(hour * HOUR)
    return KegLine(
        id or at, Origin("cellar", 1, 1, ""), at, kind, outlet, tap, product, round(units * 1_000_000), more)


def events(*lines: KegLine, **more: Any) -> tuple[CellarEvent, ...]:
    return read_cellar(lines, settings(**more)).events


def span(name: str, from_hour: float, to_hour: float, beer: float, *, rung: float = 0, logged: float = 0,
         not_beer: float = 0, product: str = "Amber") -> TapSpan:
    """Litres that ran through a line between two keg events."""
    return TapSpan(
        name, "Bar", product, START + round(from_hour * HOUR), START + round(to_hour * HOUR),
        round(beer * LITRE), round(rung * LITRE), round(logged * LITRE), round(not_beer * LITRE))


def kegs(lines: Sequence[KegLine], spans: Sequence[TapSpan], until: float = 1_000) -> list[KegRow]:
    return keg_rows(events(*lines), Meters(spans), START + round(until * HOUR), settings())


def litres(volume_ul: int | None) -> float | None:
    return None if volume_ul is None else volume_ul / LITRE
