"""What an item is made of on a date."""

from __future__ import annotations

from datetime import date

import pytest

from ledger.bar import DAY, HALF, MENU, PINT, menu, oz
from unrung.ledger.menu import Menu

PRICED = (
    *menu(("Amber", "Amber", 16)),
    *menu(("Amber", "Amber", 20), size="Large"),
    *menu(("Amber", "Amber", 14), price_level="Happy"),
    *menu(("Amber", "Amber", 18), size="Large", modifier="to go"),
    *menu(("Amber", "Amber", 15), modifier="to go"),
)


@pytest.mark.parametrize(
    ("size", "level", "modifier", "ounces"),
    [
        ("", "", "", 16),
        ("Large", "", "", 20),
        ("LARGE ", "", "", 20),
        ("", "happy", "", 14),
        ("", "", "to go", 15),
        ("Large", "", "to go", 18),
        ("Large", "Happy", "", 20),  # as many cells agree: the size counts first
        ("", "Happy", "to go", 14),
        ("Thimble", "Happy", "", 14),
        ("Thimble", "", "", 16),
    ],
)
def test_the_row_whose_cells_agree_most_is_the_portion(
    size: str, level: str, modifier: str, ounces: float
) -> None:
    found = Menu(PRICED, DAY).portions("amber", size, level, modifier)
    assert [row.portion_ul for row in found or ()] == [oz(ounces)]


def test_an_item_is_unlisted_or_no_draught_or_neither() -> None:
    menu_of_day = Menu(MENU, DAY)
    assert menu_of_day.portions("Amber Snifter", "", "", "") is None
    assert menu_of_day.portions("Amber", "Thimble", "", "") is None
    assert menu_of_day.portions("Burger", "", "", "") == ()
    mixed = menu_of_day.portions("Black  and amber", "", "", "") or ()
    assert [(row.product, row.portion_ul) for row in mixed] == [("Stout", HALF), ("Amber", HALF)]


@pytest.mark.parametrize(
    ("day", "ounces"), [("2025-06-09", 16), ("2025-06-10", 17), ("2025-06-19", 17), ("2025-06-20", 18)]
)
def test_a_row_that_starts_later_takes_the_place_of_the_earlier_one(day: str, ounces: float) -> None:
    """Whether or not the earlier one was given an end: a pint is never made of both."""
    rows = (
        *menu(("Amber", "Amber", 16)),
        *menu(("Amber", "Amber", 17), valid_from=date(2025, 6, 10)),
        *menu(("Amber", "Amber", 18), valid_from=date(2025, 6, 20)),
    )
    found = Menu(rows, date.fromisoformat(day)).portions("Amber", "", "", "") or ()
    assert [row.portion_ul for row in found] == [oz(ounces)]


def test_both_days_of_a_dated_row_belong_to_it() -> None:
    rows = menu(("Winter", "Stout", 8), valid_from=date(2025, 6, 10), valid_to=date(2025, 6, 11))
    listed = [day for day in range(8, 14) if Menu(rows, date(2025, 6, day)).portions("Winter", "", "", "")]
    assert listed == [10, 11]


def test_an_item_may_hold_two_portions_of_one_beer() -> None:
    rows = menu(("Twins", "Amber", 8), ("Twins", "Amber", 8))
    assert len(Menu(rows, DAY).portions("Twins", "", "", "") or ()) == 2


@pytest.mark.parametrize("text", ["Amber Pint", "pint amber", "Pint of Amber", "AMBER  PINT"])
def test_what_somebody_wrote_by_hand_is_found_with_its_size(text: str) -> None:
    found = Menu(MENU, DAY).named(text) or ()
    assert [row.portion_ul for row in found] == [PINT]


def test_a_name_without_its_size_is_not_guessed() -> None:
    assert Menu(MENU, DAY).named("Amber") is None
    assert Menu(MENU, DAY).named("Burger") == ()


def test_sizes_are_those_sold_by_the_unit() -> None:
    rows = (*MENU, *menu(("Self serve", "Amber", 1), sold_by="volume"))
    assert Menu(rows, DAY).sizes() == {"Amber": [HALF, PINT], "Stout": [HALF, PINT]}
    assert Menu(rows, DAY).sizes_of("Unknown") == []


def test_the_menu_price_of_a_litre_comes_from_a_row_of_that_beer_alone() -> None:
    rows = (
        *menu(("Mixed", "Stout", 8), ("Mixed", "Amber", 8), price_minor=900),
        *menu(("Stout", "Stout", 16), price_minor=800),
    )
    assert Menu(rows, DAY).price_per_litre("Stout") == 800 * 1_000_000 / PINT
    assert Menu(rows, DAY).price_per_litre("Amber") is None
