"""Small made-up days, and hypothesis strategies for random ones. All names are invented."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from datetime import date
from decimal import Decimal
from random import Random
from typing import Any

from hypothesis import strategies as st

from unrung.business_day import windows
from unrung.ledger.results import (
    COMPONENTS,
    Counts,
    DayLedger,
    Leaf,
    LoggedRow,
    Lone,
    ProductDay,
    TillRow,
    Volumes,
)
from unrung.settings import Files, Settings, Venue, VenueUnit

DAY = date(2026, 10, 31)
"""25 hours long in New York: clocks go back at 02:00 on 1 November (IANA tzdb)."""
ZONE = "America/New_York"
WINDOWS = windows(DAY, ZONE, Venue(name="", timezone=ZONE).day_starts, 60)

HOSTILE = [
    "=1+1", "+49 30", "-3.5 ale", "@home", "\tTab", "\rReturn", "\nLine", "\0Nul", "  =A1",
    'Say "stout"', "Pale, dry", "Two\r\nlines", "Semi;colon", "Kölsch", "'quoted", "＝1",
]


def settings(unit: VenueUnit = "us_fl_oz", **files: Any) -> Settings:
    venue = Venue(name="The Lantern", timezone=ZONE, volume_unit=unit)
    return Settings(venue=venue, feed=(), files=Files(**files))


def leaf(hour: int, outlet: str, product: str, volumes: Volumes, **counts: int) -> Leaf:
    return Leaf(WINDOWS[hour][0], 60, outlet, product, volumes, Counts(**counts))


def lone(product: str = "Amber", **changes: Any) -> Lone:
    values: dict[str, Any] = {
        "kind": "pour", "outlet": "Bar", "product": product, "tap": "T1",
        "at_ms": WINDOWS[20][0] + 61_250, "volume_ul": 473_176, "uncertain": False,
        "source_feed": "meter", "source_file": "pours.csv", "source_line": 7, "source_id": "0042",
    }
    return Lone(**(values | changes))


def small_day(**changes: Any) -> DayLedger:
    """Two products at a bar, one at a stand at rest; thirds of units and every kind of row."""
    amber = Volumes(
        matched_portion=9_463_529, over_portion=300_001, under_portion=100_000,
        logged=473_176, poured_not_rung=946_353, voided_after_pour=473_176,
        rung_not_poured=473_176, not_beer=500_000, comp_volume=473_176,
    )
    stout = Volumes(matched_portion=2_000_000, size_difference=-118_294, rung_not_compared=568_261)
    values: dict[str, Any] = {
        "day": DAY,
        "leaves": (
            leaf(13, "Bar", "Amber", amber, serves=23, units_rung_micro=20_333_333,
                 comp_units_micro=1_000_000, net_sales_minor=14_205),
            leaf(13, "Bar", "Stout", stout, serves=5, units_rung_micro=4_666_667),
            leaf(21, "Bar", "Amber", amber, serves=22, units_rung_micro=21_000_000),
        ),
        "products": (
            ProductDay("Bar", "Amber", 1_200_000, 2_400_000, 301.5, 1_420.0),
            ProductDay("Bar", "Stout"),
            ProductDay("Garden", "Amber", cost_minor_per_litre=301.5),
        ),
        "lone": (lone(), lone("Stout", kind="ring", tap="", uncertain=True, finding="mis_ring")),
        "logged": (
            LoggedRow("Bar", "Amber", "cleaning", 1, 700_000, 600_000, 0),
            LoggedRow("Bar", "Amber", "comp", 2, 400_000, 346_352, 53_648),
        ),
        "till": (
            TillRow("Bar", 60_000_000, 2_000_000, 1_000_000, 1_000_000, 500_000, 1_500_000,
                    9_000_000, 1_000_000, 46_000_000),
        ),
    }
    return DayLedger(**(values | changes))


def read(content: bytes, delimiter: str = ",") -> list[dict[str, str]]:
    """A CSV file as another program's reader sees it: the standard library's."""
    text = io.StringIO(content.decode("utf-8-sig"), newline="")
    return list(csv.DictReader(text, delimiter=delimiter, strict=True))


def figures(row: dict[str, str]) -> dict[str, Decimal]:
    """The numeric cells of a row, by name; empty ones left out."""
    return dict(_numbers(row))


def _numbers(row: dict[str, str]) -> Iterator[tuple[str, Decimal]]:
    for name, cell in row.items():
        try:
            yield name, Decimal(cell)
        except ArithmeticError:
            continue


MOST_UL = 60_000_000


def amount(chance: Random) -> int:
    """A half of them: any volume; a third: one of up to 30 mL; now and then none or the most."""
    return chance.choice((
        chance.randrange(MOST_UL + 1), chance.randrange(MOST_UL + 1), chance.randrange(MOST_UL + 1),
        chance.randrange(30_001), chance.randrange(30_001), chance.choice((0, 0, 1, MOST_UL)),
    ))


chances = st.integers(0, 2**32).map(Random)
"""What numbers are drawn from: a day has hundreds, and hypothesis, which draws each of them by itself, mostly
repeats those of an earlier day."""


def volumes_by(chance: Random) -> Volumes:
    parts = {name: amount(chance) for name in COMPONENTS}
    parts["size_difference"] = chance.choice((0, chance.randint(-20_000_000, 20_000_000)))
    parts["voided_after_pour"] = chance.choice((
        0, parts["poured_not_rung"], chance.randint(0, parts["poured_not_rung"])))
    return Volumes(**parts)


def volumes() -> st.SearchStrategy[Volumes]:
    return chances.map(volumes_by)


def costs(chance: Random) -> float:
    """Minor units a litre."""
    return chance.choice((0.0, 1e-6, 301.5, 1e4, chance.uniform(0, 1e4), chance.uniform(0, 10)))


@st.composite
def days(draw: st.DrawFn) -> DayLedger:
    """Up to 12 leaves of random volumes and counts, with hostile names among the products."""
    names = st.tuples(st.sampled_from(["Bar", "Garden", ""]), st.sampled_from(["Amber", *HOSTILE]))
    keys = draw(st.lists(st.tuples(st.integers(0, 24), names), max_size=12, unique=True))
    chance = draw(chances)
    leaves = tuple(
        leaf(hour, outlet, product, volumes_by(chance), serves=chance.choice((0, chance.randrange(100))),
             units_rung_micro=chance.choice((0, chance.randrange(10**8 + 1))),
             net_sales_minor=chance.choice((0, chance.randint(-(10**6), 10**6))))
        for hour, (outlet, product) in sorted(keys)
    )
    products = tuple(
        ProductDay(outlet, product, amount(chance), amount(chance), costs(chance), None)
        for outlet, product in sorted({(it.outlet, it.product) for it in leaves})
    )
    return small_day(leaves=leaves, products=products, logged=())
