"""Edits of the tables do not change the past, unless they are dated into it."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from unrung.config_history import KnownRow, effective, settle, touched_days
from unrung.ledger.menu import Menu
from unrung.ledger.taps import TapList
from unrung.settings import Feed, MenuRow, Product, Settings, TapRow, Venue

VENUE = Venue(name="x", timezone="America/New_York")
START = date(2025, 6, 1)
NOON_MS = 1_748_793_600_000  # 1 June 2025, 12:00 in New York


def settings_of(
    menu: tuple[MenuRow, ...] = (), taps: tuple[TapRow, ...] = (), products: tuple[Product, ...] = ()
) -> Settings:
    feed = Feed(name="f", carries="rings", adapter="csv", fields={})
    return Settings(venue=VENUE, feed=(feed,), menu=menu, taps=taps, products=products)


def day(number: int) -> date:
    """1 June is day 0."""
    return START + timedelta(days=number)


def pint(
    ml: int, first: int | None = None, last: int | None = None, item: str = "Pint", size: str = ""
) -> MenuRow:
    return MenuRow(
        item=item, product="Amber", portion_ul=ml * 1000, size=size,
        valid_from=None if first is None else day(first), valid_to=None if last is None else day(last),
    )


class Book:
    """A table as it is edited on one business day after the other."""

    def __init__(self) -> None:
        self.known: list[KnownRow] = []
        self.settings = settings_of()
        self.touched: set[int] = set()

    def edit(self, today: int, *menu: MenuRow, taps: tuple[TapRow, ...] = ()) -> Book:
        settled = settle(self.known, settings_of(menu, taps), day(today))
        self.known = settled.rows
        self.settings = effective(settled.rows, settings_of(menu, taps))
        days = touched_days(settled, day(0), day(today), lambda table, names: {day(1), day(3)})
        self.touched = {(one - START).days for one in days}
        return self

    def ml(self, number: int, item: str = "Pint", size: str = "") -> int | None:
        """The portion of one unit on a day; None where the item is not listed then."""
        rows = Menu(self.settings.menu, day(number)).portions(item, size, "", "")
        return sum(row.portion_ul for row in rows) // 1000 if rows else None

    def product(self, number: int, name: str, hours: float = 0) -> str | None:
        at_ms = NOON_MS + number * 86_400_000 + round(hours * 3_600_000)
        row = TapList(self.settings.taps, VENUE).at(name, at_ms)
        return row.product if row else None

    def days_ml(self, count: int = 12) -> list[int | None]:
        return [self.ml(number) for number in range(count)]


def test_an_undated_edit_applies_from_the_next_business_day() -> None:
    book = Book().edit(0, pint(500)).edit(5, pint(400))
    assert book.days_ml() == [500] * 6 + [400] * 6 and book.touched == set()


def test_a_row_that_is_taken_out_goes_on_applying_up_to_the_edit() -> None:
    book = Book().edit(0, pint(500)).edit(5)
    assert book.days_ml() == [500] * 6 + [None] * 6 and book.touched == set()


def test_a_dated_edit_applies_to_its_dates_and_dirties_exactly_those() -> None:
    book = Book().edit(0, pint(500)).edit(8, pint(500, None, 3), pint(400, 4, 6), pint(500, 7))
    assert book.days_ml() == [500] * 4 + [400] * 3 + [500] * 5
    assert book.touched == {3, 4, 5, 6, 7, 8}
    assert Book().edit(0).edit(8, pint(400, 4, 6)).touched == {4, 5, 6}


@pytest.mark.parametrize(("first", "expected"), [
    (4, [500] * 4 + [400] * 8), (None, [500] * 9 + [400] * 3), (8, [500] * 8 + [400] * 4),
    (10, [500] * 9 + [None] + [400] * 2),
])
def test_a_row_that_is_overwritten_by_a_dated_one_makes_way_for_its_dates(
    first: int | None, expected: list[int | None]
) -> None:
    """Never both at once: the portions of one item's rows add up."""
    assert Book().edit(0, pint(500)).edit(8, pint(400, first)).days_ml() == expected


def test_a_row_with_an_end_leaves_the_rest_to_the_row_it_was_written_over() -> None:
    book = Book().edit(0, pint(500)).edit(8, pint(400, 2, 4))
    assert book.days_ml() == [500] * 2 + [400] * 3 + [500] * 4 + [None] * 3
    assert book.touched == {2, 3, 4}


def test_a_dated_row_put_right_changes_its_own_days() -> None:
    book = Book().edit(0, pint(500, None, 3), pint(400, 4)).edit(8, pint(500, None, 3), pint(450, 4))
    assert book.days_ml() == [500] * 4 + [450] * 8 and book.touched == {4, 5, 6, 7, 8}


def test_a_dated_row_that_is_moved_does_not_hold_twice() -> None:
    book = Book().edit(0, pint(500, None, 3), pint(400, 4)).edit(8, pint(500, None, 5), pint(400, 6))
    assert book.days_ml() == [500] * 6 + [400] * 6
    assert {4, 5, 6, 7, 8} <= book.touched


def test_a_row_given_an_end_changes_only_what_comes_after_it() -> None:
    book = Book().edit(0, pint(500)).edit(8, pint(500, None, 3))
    assert book.days_ml() == [500] * 4 + [None] * 8
    assert book.touched == {3, 4, 5, 6, 7, 8}


def test_a_new_item_applies_to_every_day_on_which_it_occurs() -> None:
    book = Book().edit(0, pint(500)).edit(8, pint(500), pint(300, item="Half"))
    assert [book.ml(number, "half ") for number in (0, 8, 11)] == [300] * 3
    assert book.touched == {1, 3}


def test_a_cell_that_was_blank_is_filled_in_for_all_days_and_another_edit_beside_it_is_not() -> None:
    known = settle([], settings_of(products=(Product(product="Amber", keg_cost_minor=9000),)), day(0)).rows
    filled = Product(product="Amber", keg_size_ul=50_000_000, keg_cost_minor=9900)
    settled = settle(known, settings_of(products=(filled,)), day(5))
    rows = sorted(effective(settled.rows, settings_of(products=(filled,))).products,
                  key=lambda row: row.valid_from or date.min)
    assert [(row.valid_from, row.keg_size_ul, row.keg_cost_minor) for row in rows] == [
        (None, 50_000_000, 9000), (day(6), 50_000_000, 9900)
    ]
    assert touched_days(settled, day(0), day(5), lambda table, names: set()) == {day(n) for n in range(6)}
    again = settle(settled.rows, settings_of(products=(filled,)), day(8))
    assert again.rows == settled.rows and not again.changed


def test_a_factor_given_later_counts_the_pulses_that_wait() -> None:
    tap = TapRow(tap="1", outlet="Bar", product="Amber", meter="M1")
    counted = tap.model_copy(update={"pulses_per_litre": Decimal(5600)})
    book = Book().edit(0, taps=(tap,)).edit(5, taps=(counted,))
    assert [row.pulses_per_litre for row in book.settings.taps] == [5600]
    assert book.touched == set(range(6))


def test_a_meter_that_was_another_taps_is_this_ones_from_tomorrow() -> None:
    one = TapRow(tap="1", outlet="Bar", product="Amber", meter="M1")
    two = TapRow(tap="2", outlet="Bar", product="Stout")
    book = Book().edit(0, taps=(one, two))
    assert book.product(3, "M1") == "Amber" and book.product(3, "M2") is None
    book.edit(5, taps=(one, two.model_copy(update={"meter": "M2"})))
    assert [book.product(number, "M2") for number in (3, 7)] == ["Stout", "Stout"]
    book.edit(8, taps=(one.model_copy(update={"meter": ""}), two.model_copy(update={"meter": "M1"})))
    assert [book.product(number, "M1") for number in (3, 9)] == ["Amber", "Stout"]


def test_a_size_that_no_row_fitted_applies_to_every_day_and_one_that_did_from_tomorrow() -> None:
    sized = Book().edit(0, pint(500, size="Pint")).edit(8, pint(500, size="Pint"), pint(1000, size="Jug"))
    assert [sized.ml(number, size="Jug") for number in (0, 9)] == [1000, 1000]
    blank = Book().edit(0, pint(500)).edit(8, pint(500), pint(1000, size="Jug"))
    assert [blank.ml(number, size="Jug") for number in (0, 8, 9)] == [500, 500, 1000]


def tap(product: str, name: str = "1", meter: str = "", **dates: object) -> TapRow:
    return TapRow(tap=name, outlet="Bar", product=product, meter=meter, **dates)


def test_a_tap_that_changes_its_beer_in_the_evening_pours_each_at_its_time() -> None:
    at_ms = NOON_MS + 5 * 86_400_000 + 6 * 3_600_000
    book = Book().edit(0, taps=(tap("Amber"),)).edit(8, taps=(tap("Stout", from_ms=at_ms),))
    assert [book.product(5, "1", hours) for hours in (5, 7)] == ["Amber", "Stout"]
    assert [book.product(number, "1") for number in (0, 8, 9)] == ["Amber", "Stout", "Stout"]
    assert {5, 6, 7, 8} <= book.touched


def test_a_new_tap_is_known_by_its_meter_on_every_day() -> None:
    book = Book().edit(0, taps=(tap("Amber"),)).edit(8, taps=(tap("Amber"), tap("Stout", "2", "M2")))
    assert [book.product(number, "m2") for number in (0, 8, 9)] == ["Stout"] * 3
    assert book.touched == {1, 3}


def test_a_tap_that_is_renamed_leaves_what_its_meter_poured_before() -> None:
    book = Book().edit(0, taps=(tap("Amber", "1", "M1"),)).edit(8, taps=(tap("Stout", "A", "M1"),))
    assert [book.product(number, "M1") for number in (0, 8, 9)] == ["Amber", "Amber", "Stout"]


def test_a_revert_on_the_same_day_is_harmless() -> None:
    book = Book().edit(0, pint(500)).edit(5, pint(400)).edit(5, pint(500))
    assert book.days_ml() == [500] * 12 and book.touched == set()


def test_several_edits_on_one_day_end_in_the_last() -> None:
    book = Book().edit(0, pint(500))
    for ml in (400, 300, 450):
        book.edit(5, pint(ml))
    assert book.days_ml() == [500] * 6 + [450] * 6


ROWS = st.builds(
    pint, st.integers(1, 9).map(lambda n: n * 50), item=st.sampled_from(["Pint", "Half"]),
    size=st.sampled_from(["", "Jug"]),
)
TABLES = st.lists(ROWS, max_size=4, unique_by=lambda row: (row.item, row.size))
EDITS = st.lists(st.tuples(st.integers(0, 2), TABLES), min_size=1, max_size=6)


@given(EDITS)
def test_settling_an_unchanged_table_again_never_changes_anything(
    edits: list[tuple[int, list[MenuRow]]]
) -> None:
    book, today = Book(), 0
    for pause, menu in edits:
        today += pause
        book.edit(today, *menu)
        for later in (today, today + 1, today + 30):
            again = settle(book.known, settings_of(tuple(menu)), day(later))
            assert again.rows == book.known and not again.changed


@given(st.lists(st.tuples(st.integers(0, 3), st.sampled_from([None, 300, 400, 500])), min_size=1, max_size=8))
def test_of_any_undated_edits_each_day_keeps_what_stood_when_it_began(
    edits: list[tuple[int, int | None]]
) -> None:
    """The model: the table as it stood at the end of the day before; the first listing from ever."""
    book, today = Book().edit(0, pint(250, item="Other")), 0
    stood: list[tuple[int, int | None]] = []
    for pause, ml in edits:
        today += pause
        book.edit(today, pint(250, item="Other"), *([pint(ml)] if ml else []))
        stood.append((today, ml))
        first = next(((at, one) for at, one in stood if one), None)
        for number in range(today + 3):
            before = [one for at, one in stood if at < number]
            expected = before[-1] if before and first and first[0] < number else (first[1] if first else None)
            assert book.ml(number) == expected
