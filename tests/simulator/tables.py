"""``products.csv``, ``menu.csv`` and ``taps.csv`` of a simulated month."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path

from simulator.model import MenuSpan
from simulator.month import SimMonth
from simulator.venues import BEERS
from unrung.units import from_ul

MENU = (
    "item", "size", "price_level", "modifier", "product", "portion", "unit", "price", "sold_by",
    "from", "to",
)
TAPS = (
    "tap", "meter", "outlet", "product", "metered", "from", "to", "pulses_per_litre", "line_volume",
)
PRODUCTS = ("product", "keg_size", "keg_cost", "valid_from")


def write_tables(month: SimMonth, folder: Path, pulses: bool) -> None:
    """The three tables; the taps hold the meters' factor where the meters give counts."""
    _table(folder / "products.csv", PRODUCTS, _products(month))
    _table(folder / "menu.csv", MENU, _menu(month))
    _table(folder / "taps.csv", TAPS, _taps(month, pulses))


def _products(month: SimMonth) -> Iterable[Sequence[str]]:
    for name in sorted({span.product for span in month.taps}):
        beer = BEERS[name]
        yield name, beer.keg, str(Decimal(beer.keg_cost_minor).scaleb(-2)), ""


def _menu(month: SimMonth) -> Iterable[Sequence[str]]:
    """Items that several outlets sell alike stand once; dates only where no outlet has it longer."""
    spans: dict[tuple[object, ...], MenuSpan] = {}
    for span in month.menu:
        key = (span.item.item, span.item.size, span.item.portions)
        held = spans.get(key)
        if held is None or (span.from_day, span.to_day) == (None, None):
            spans[key] = span
    for span in spans.values():
        for product, portion_ul in span.item.portions:
            yield (
                span.item.item, span.item.size, "", "", product,
                f"{from_ul(portion_ul, 'us_fl_oz', 3).normalize():f}", "us_fl_oz",
                str(Decimal(span.item.price_minor).scaleb(-2)), "unit",
                _day(span.from_day), _day(span.to_day),
            )


def _taps(month: SimMonth, pulses: bool) -> Iterable[Sequence[str]]:
    factor = str(month.pulses_per_litre) if pulses else ""
    for span in month.taps:
        yield (
            span.tap, span.meter, span.outlet, span.product, "yes", _day(span.from_day),
            _day(span.to_day), factor, f"{from_ul(span.line_ul, 'us_fl_oz', 1):f}",
        )


def _table(path: Path, header: Sequence[str], rows: Iterable[Sequence[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)


def _day(day: date | None) -> str:
    return day.isoformat() if day else ""
