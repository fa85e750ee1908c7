"""Exported venues without their PCs: invented partitions, written by the project's own writer."""

from __future__ import annotations

import random
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from unrung.business_day import day_bounds
from unrung.issue.place import place
from unrung.parquet.columns import MOVEMENTS, Table
from unrung.parquet.export import settings_bytes
from unrung.parquet.files import to_bytes
from unrung.parquet.layout import FILE, SETTINGS, day_folder, settings_folder
from unrung.settings import Feed, MenuRow, Product, Settings, TapRow, Venue

FIRST = date(2026, 10, 10)  # so that 30 days hold the night in which the clocks go back
PINT_UL = 473_176
BEERS = ("Amber", "Stout")
ZONES = ("America/New_York", "Europe/Dublin", "Australia/Lord_Howe", "Asia/Kathmandu", "UTC")
BLANK = {column.of: None if not column.needed else "" if column.kind == "text" else 0 for column in MOVEMENTS}


def small_venue(n: int) -> Settings:
    """Two taps and a till somewhere in the world."""
    feeds = [
        Feed(name=name, carries=carries, adapter="csv", folder=name, fields={})
        for name, carries in (("till", "rings"), ("meters", "pours"))
    ]  # fmt: skip
    return Settings(
        venue=Venue(name=f"Bar {n}/{ZONES[n % 5].split('/')[-1]}.", timezone=ZONES[n % 5]),
        feed=tuple(feeds), products=tuple(Product(product=beer) for beer in BEERS),
        menu=tuple(MenuRow(item=beer, product=beer, portion_ul=PINT_UL) for beer in BEERS),
        taps=tuple(TapRow(tap=beer, outlet="Bar", product=beer, meter=beer) for beer in BEERS),
        currency_digits=2,
    )  # fmt: skip


def write_lake(root: Path, venues: int, days: int, pours: int) -> None:
    """``venues`` exports of ``days`` days with about ``pours`` pours each, the same each time."""
    for n in range(venues):
        settings, chance = small_venue(n), random.Random(n)
        place(settings_folder(root, settings.venue.name), {SETTINGS: settings_bytes(settings)})
        for number in range(days):
            _day(root, settings, FIRST + timedelta(days=number), number * 10_000, pours, chance)


def _day(root: Path, settings: Settings, day: date, first_id: int, pours: int, chance: random.Random) -> None:
    bounds = day_bounds(day, settings.venue.timezone, settings.venue.day_starts)
    rows = list(_rows(bounds, first_id, pours, chance))
    spans = [{"feed": feed.name, "from_ms": bounds[0], "to_ms": bounds[1]} for feed in settings.feed]
    tables: dict[Table, list[dict[str, Any]]] = {"movements": rows, "coverage": spans}
    for table, content in tables.items():
        place(day_folder(root, table, settings.venue.name, day), {FILE: to_bytes(table, content)})


def _rows(
    bounds: tuple[int, int], first_id: int, pours: int, chance: random.Random
) -> Iterator[dict[str, Any]]:
    """Pours up to the day's last seconds, most of them rung; the last one's ring is in the next day."""
    lo, hi = bounds
    for n in range(pours):
        number, source = first_id + 2 * n, first_id // 10_000
        beer = BEERS[0] if n == 0 else chance.choice(BEERS)
        end = hi - 10_000 if n == 0 else chance.randrange(hi - 4 * 3_600_000, hi - 3_600_000)
        rung = lo + 5_000 if n == 0 else end + 5_000
        common = {**BLANK, "source": source, "source_file": f"day-{source}.csv", "line": n + 2}
        yield {**common, "id": number, "kind": "pour", "feed": "meters", "tap": beer,
               "start_ms": end - 8_000, "at_ms": end, "volume_ul": PINT_UL + chance.randrange(-9000, 9000)}
        if n == 0 or chance.random() < 0.9:
            yield {**common, "id": number + 1, "kind": "ring", "feed": "till", "item": beer, "what": "sale",
                   "outlet": "Bar", "units_micro": 1_000_000, "at_ms": rung}
