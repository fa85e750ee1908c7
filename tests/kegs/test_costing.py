"""Weighted average and oldest first, worked by hand; and what must hold of any books."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kegs.cellar import LITRE, START, events, line, settings
from unrung.ledger.books import make_books
from unrung.ledger.costing import Flows, Lot, value
from unrung.ledger.stock import StockRow

OPENING, PURCHASES = [Lot(100, 1_000)], [Lot(100, 1_200), Lot(50, 700)]
"""Worked by hand: 100 at 10, then 100 at 12 and 50 at 14: 250 for 2,900. 180 go out, 70 stay."""


@pytest.mark.parametrize(("method", "used", "closing"), [
    ("weighted_average", 2_088, 812),  # 2,900 / 250 = 11.60; 180 x 11.60, 70 x 11.60
    ("fifo", 1_960, 940),  # out 100 x 10 + 80 x 12; left 20 x 12 + 50 x 14
])
def test_two_methods_by_hand(method: str, used: int, closing: int) -> None:
    books = value(OPENING, PURCHASES, Flows(180, 0, 0, 70), method)  # type: ignore[arg-type]
    assert (books.used_minor, books.closing_minor) == (used, closing)
    assert books.closing_lots == (
        (Lot(70, 812),) if method == "weighted_average" else (Lot(20, 240), Lot(50, 700)))


def test_what_is_returned_and_written_off_leaves_at_cost_too() -> None:
    books = value(OPENING, PURCHASES, Flows(100, 50, 30, 70), "weighted_average")
    assert (books.returned_minor, books.written_off_minor, books.used_minor) == (580, 348, 1_160)


def test_more_than_there_ever_was_is_valued_like_the_newest() -> None:
    books = value([Lot(10, 100)], [], Flows(-5, 0, 0, 15), "fifo")
    assert (books.closing_minor, books.used_minor) == (150, -50)


lots = st.lists(st.builds(Lot, st.integers(1, 10**8), st.integers(0, 10**6)), max_size=5)


@given(lots, lots, st.integers(0, 10**8), st.integers(0, 10**7), st.integers(0, 10**7),
       st.sampled_from(["weighted_average", "fifo"]))
def test_the_books_foot_to_the_cent(
    opening: list[Lot], purchases: list[Lot], closing: int, returned: int, written: int, method: str
) -> None:
    whole = sum(lot.volume_ul for lot in (*opening, *purchases))
    if not whole:
        return
    flows = Flows(whole - closing - returned - written, returned, written, closing)
    books = value(opening, purchases, flows, method)  # type: ignore[arg-type]
    assert books.opening_minor + books.purchases_minor == (
        books.used_minor + books.returned_minor + books.written_off_minor + books.closing_minor)
    assert sum(lot.cost_minor for lot in books.closing_lots) == books.closing_minor
    assert sum(lot.volume_ul for lot in books.closing_lots) == closing


def books_of(row: StockRow, *lines: object, previous: dict | None = None, method: str = "weighted_average"):
    made = make_books(
        [row], events(*lines), (START, START + 10**9),  # type: ignore[arg-type]
        date(2026, 10, 31), settings(cost={"method": method}), previous or {})
    return made


def test_each_delivery_has_its_own_cost_and_the_listed_one_fills_in() -> None:
    """50 L kegs: one for 160.00, one at the listed 150.00; opening 50 L at the listed cost."""
    row = StockRow("Bar", "Amber", 50 * LITRE, 100 * LITRE, closing_ul=50 * LITRE)
    books = books_of(
        row, line(1, "delivery", product="Amber", cost_minor=16_000), line(2, "delivery", product="Amber"))
    valued = books.products["Amber"]
    assert valued is not None
    assert (valued.opening_minor, valued.purchases_minor) == (15_000, 31_000)
    assert (valued.used_minor, valued.closing_minor) == (30_667, 15_333)  # 460.00 / 150 L x 100 and x 50


def test_the_period_before_hands_over_what_its_stock_was_made_of() -> None:
    row = StockRow("Bar", "Amber", 60 * LITRE, closing_ul=10 * LITRE)
    previous = {"Amber": [Lot(30 * LITRE, 6_000), Lot(40 * LITRE, 12_000)]}
    valued = books_of(row, previous=previous, method="fifo").products["Amber"]
    assert valued is not None  # the newest 60 L: 20 of the first lot, 40 of the second
    assert (valued.opening_minor, valued.used_minor, valued.closing_minor) == (16_000, 13_000, 3_000)


def test_a_product_without_any_cost_is_named_and_left_out() -> None:
    row = StockRow("Bar", "Odd", 60 * LITRE, closing_ul=10 * LITRE)
    books = books_of(row)
    assert books.products == {"Odd": None} and "Odd" in books.notices[0] and "keg_cost" in books.notices[0]


def test_beer_that_the_books_never_held_is_valued_as_listed() -> None:
    """Counted empty at the start, nothing delivered, 20 L poured: 3.00 a litre."""
    row = StockRow("Bar", "Amber", 0, drawn_ul=20 * LITRE)
    valued = books_of(row).products["Amber"]
    assert valued is not None and (valued.used_minor, valued.closing_minor) == (6_000, -6_000)
