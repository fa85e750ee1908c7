"""Random months for property tests: leaves, stock, deliveries and adjustments of two outlets."""

from __future__ import annotations

from datetime import date

from hypothesis import strategies as st

from issue.ledgers import ZONE, volumes
from unrung.book_settings import Accounts, Cost
from unrung.business_day import day_bounds
from unrung.ledger.adjust import Adjustment
from unrung.ledger.inputs import KegLine, Origin
from unrung.ledger.month import MonthInputs
from unrung.ledger.results import Counts, DayLedger, Leaf, ProductDay, Volumes
from unrung.periods import period_named
from unrung.settings import Product, Settings, TapRow, Venue

PERIOD = period_named("2026-10")
DAYS = [date(2026, 10, 30), date(2026, 10, 31)]
PLACES = [("Bar", "Amber"), ("Bar", "Stout"), ("Garden", "Amber")]
ACCOUNTS = Accounts(variance="5190", stock="1310", usage="5110", transfers="1390")


def venue(method: str = "weighted_average", accounts: Accounts = ACCOUNTS) -> Settings:
    taps = tuple(TapRow(tap=str(n), outlet=place[0], product=place[1]) for n, place in enumerate(PLACES))
    products = (
        Product(product="Amber", keg_size_ul=50_000_000, keg_cost_minor=14_999),
        Product(product="Stout", keg_size_ul=30_000_000, keg_cost_minor=9_101),
    )
    return Settings(
        venue=Venue(name="The Lantern", timezone=ZONE), feed=(), taps=taps, products=products,
        cost=Cost.model_validate({"method": method}), accounts=accounts)


def bounds(first: date, last: date) -> tuple[int, int]:
    starts = Venue(name="", timezone=ZONE).day_starts
    return day_bounds(first, ZONE, starts)[0], day_bounds(last, ZONE, starts)[1]


@st.composite
def day_ledgers(draw: st.DrawFn, day: date) -> DayLedger:
    start = bounds(day, day)[0]
    leaves, products = [], []
    for outlet, product in PLACES:
        made: Volumes = draw(volumes())
        leaves.append(Leaf(start + 12 * 3_600_000, 60, outlet, product, made, Counts()))
        cost = draw(st.none() | st.floats(50, 600, allow_nan=False))
        products.append(ProductDay(outlet, product, 0, made.poured_not_rung, cost, None))
    return DayLedger(day, tuple(leaves), tuple(products), (), (), ())


@st.composite
def keg_lines(draw: st.DrawFn) -> list[KegLine]:
    """Counts at both ends (now and then one is forgotten), deliveries and moves."""
    lo, hi = bounds(*DAYS)
    lines: list[KegLine] = []

    def add(at: int, kind: str, place: tuple[str, str], units: int, **more: object) -> None:
        lines.append(KegLine(
            len(lines), Origin("cellar", 1, len(lines), ""), at, kind, place[0], "", place[1],
            units * 1_000_000, more))

    for place in PLACES:
        if draw(st.booleans()):
            add(lo, "count", place, draw(st.integers(0, 9)), part_ul=draw(st.integers(0, 10**8)))
        if draw(st.integers(0, 3)):
            add(hi - 1, "count", place, draw(st.integers(0, 9)), part_ul=draw(st.integers(0, 10**8)))
        for _ in range(draw(st.integers(0, 3))):
            add(lo + 10, "delivery", place, draw(st.integers(0, 5)), cost_minor=draw(
                st.none() | st.integers(0, 30_000)))
        add(lo + 20, "write_off", place, 0, part_ul=draw(st.integers(0, 10**7)))
    add(lo + 30, "transfer", PLACES[0], draw(st.integers(0, 2)), to_outlet="Garden")
    return lines


@st.composite
def adjustments(draw: st.DrawFn) -> Adjustment:
    place = draw(st.sampled_from(PLACES))
    figure, unit = draw(st.sampled_from([
        ("variance", "us_fl_oz"), ("variance_cost", "USD"), ("used_cost", "USD"), ("net_sales", "USD")]))
    amounts = st.decimals(-500, 500, places=3 if unit != "USD" else 2)
    return Adjustment(
        PERIOD.name, "2026-09", "2026-09-12", *place, figure, unit, str(draw(amounts)), str(draw(amounts)),
        "late_rows", "late.csv")


@st.composite
def month_inputs(draw: st.DrawFn) -> MonthInputs:
    days = [draw(day_ledgers(day)) for day in DAYS]
    span = bounds(*DAYS)
    return MonthInputs(
        PERIOD, span, days, dict.fromkeys(DAYS, 1), leaves=[leaf for day in days for leaf in day.leaves],
        known=span, kegs=draw(keg_lines()), adjustments=draw(st.lists(adjustments(), max_size=3)),
        closed_revisions={"2026-09": 4})
