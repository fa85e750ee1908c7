"""What was written down explains what no ring explains, and no more than it says."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pytest

from ledger.bar import DAY, HALF, PINT, Bar, lone, ms, oz, told, total
from unrung.ledger.results import LoggedRow


def quiet_pour(ounces: float = 16, at: str = "22:00:00", **bar: Any) -> Bar:
    """An evening of sales, and one pour without a ring after it."""
    made = Bar(**bar)
    made.evening(24, first="17:00:00")
    made.pour(at, ounces)
    return made


@pytest.mark.parametrize(
    ("at", "explains"),
    [("21:49:59", False), ("21:50:00", True), ("22:00:00", True), ("22:30:00", True), ("22:30:01", False)],
)
def test_an_entry_explains_pours_up_to_half_an_hour_before_and_ten_minutes_after_it(
    at: str, explains: bool
) -> None:
    bar = quiet_pour()
    bar.log(at)
    volumes = total(bar.ledger())
    assert (volumes.logged, volumes.poured_not_rung) == ((PINT, 0) if explains else (0, PINT))


@pytest.mark.parametrize(
    "named",
    [{}, {"product": "AMBER"}, {"product": "", "tap": "1"}, {"product": "", "tap": "m1"}, {"product": ""},
     {"product": "", "outlet": ""}, {"product": "", "ounces": None, "item": "Amber pint"},
     {"outlet": "bar"}],
)
def test_an_entry_may_name_product_tap_meter_item_or_only_the_outlet(named: dict[str, Any]) -> None:
    bar = quiet_pour()
    bar.log("22:05:00", **named)
    assert total(bar.ledger()).logged == PINT


@pytest.mark.parametrize(
    "named", [{"product": "Stout"}, {"product": "", "tap": "2"}, {"outlet": "Garden"},
              {"product": "", "ounces": None, "item": "Amber"}],
)
def test_an_entry_about_something_else_explains_nothing_and_is_listed(named: dict[str, Any]) -> None:
    bar = quiet_pour()
    bar.log("22:05:00", **named)
    ledger = bar.ledger()
    assert told(total(ledger, "Amber"))["poured_not_rung"] == PINT
    assert total(ledger).logged == 0
    assert [one.at_ms for one in lone(ledger, "log")] == [ms("22:05:00")]


def test_an_entry_explains_no_more_than_it_says_within_the_meter_s_tolerance() -> None:
    """20 oz were poured, 16 written down: 2 % more are the meter's, the rest is unexplained."""
    bar = quiet_pour(20)
    bar.log("22:05:00", ounces=16)
    ledger = bar.ledger()
    most = PINT + 9_463  # 473,176 * 0.02 = 9,463.52
    assert (total(ledger).logged, total(ledger).poured_not_rung) == (most, oz(20) - most)
    assert ledger.logged == (LoggedRow("Bar", "Amber", "waste", 1, PINT, most, 0),)
    assert [one.volume_ul for one in lone(ledger, "pour")] == [oz(20) - most]


def test_what_finds_no_pour_is_shown_as_without_pour() -> None:
    bar = quiet_pour(8)
    bar.log("22:05:00", ounces=16)
    assert bar.ledger().logged == (LoggedRow("Bar", "Amber", "waste", 1, PINT, HALF, HALF),)
    assert lone(bar.ledger(), "log") == []


def test_the_pours_nearest_to_the_entry_are_explained_first() -> None:
    bar = quiet_pour(at="21:50:00")
    bar.pour("22:04:00", 16)
    bar.log("22:05:00", ounces=16)
    assert [one.at_ms for one in lone(bar.ledger(), "pour")] == [ms("21:50:00")]


def test_an_entry_tells_of_the_serve_that_is_as_large_as_it_says() -> None:
    bar = quiet_pour(ounces=16, at="21:55:00")
    bar.pour("22:00:00", 5)
    bar.log("22:01:00", ounces=16)
    assert [one.volume_ul for one in lone(bar.ledger(), "pour")] == [oz(5)]


def test_rings_choose_before_log_entries_do() -> None:
    bar = quiet_pour(at="21:50:00")
    bar.sale("22:04:00")
    bar.log("22:04:00", ounces=16)
    ledger = bar.ledger()
    assert (total(ledger).logged, total(ledger).matched_portion) == (PINT, 25 * PINT)


def test_an_untimed_entry_explains_what_is_left_of_its_day_and_is_marked() -> None:
    bar = quiet_pour(at="15:00:00")
    bar.pour("23:00:00", 16)
    bar.log(None, "staff", None, day=DAY.isoformat(), product="", item="Amber Pint", units=1)
    bar.log("23:05:00", "waste", 16)
    bar.log(None, "staff", 16, day="2025-06-11")
    ledger = bar.ledger()
    assert total(ledger).logged == 2 * PINT
    assert Counter(row.reason for row in ledger.logged) == Counter({"waste": 1, "staff, untimed": 1})


def test_timed_entries_come_before_untimed_ones_whatever_their_order() -> None:
    bar = quiet_pour()
    bar.log(None, "staff", 16, day=DAY.isoformat())
    bar.log("22:05:00", "waste", 16)
    assert {row.reason: row.explained_ul for row in bar.ledger().logged} == {
        "waste": PINT, "staff, untimed": 0}


def test_an_item_of_two_beers_explains_each_with_its_own_portion() -> None:
    bar = quiet_pour(16)
    bar.pour("22:01:00", 8, tap="2")
    bar.log("22:05:00", "comp", None, product="", item="Black and Amber", units=1)
    ledger = bar.ledger()
    assert told(total(ledger, "Stout")) == {"logged": HALF}
    assert total(ledger, "Amber").logged == HALF + int(HALF * 0.02)
    rows = {row.product: (row.entries, row.said_ul) for row in ledger.logged}
    assert rows == {"Stout": (1, HALF), "Amber": (0, HALF)}


def test_a_product_s_reasons_sum_to_its_logged_even_where_an_entry_names_none() -> None:
    bar = quiet_pour(16)
    bar.pour("22:01:00", 16, tap="2")
    bar.log("22:05:00", "waste", 32, product="")
    ledger = bar.ledger()
    rows = {row.product: row.explained_ul for row in ledger.logged}
    assert rows == {product: total(ledger, product).logged for product in ("Amber", "Stout")}
    assert sum(row.entries for row in ledger.logged) == 1
    assert sum(row.said_ul for row in ledger.logged) == oz(32)


def test_names_that_nothing_knows_are_told() -> None:
    bar = quiet_pour()
    bar.log("22:05:00", "comp", None, product="", item="Pint of plain")
    bar.log("22:05:00", product="Ambre")
    found = [text for text in bar.ledger().notices if "The log names" in text]
    assert ["'Pint of plain'" in found[0], "'Ambre'" in found[1]] == [True, True]


KEG_CASES = [
    ("22:00:00", 12, {}, 12),
    ("22:00:00", 20, {}, 16),
    ("22:09:59", 12, {}, 12),
    ("22:10:01", 12, {}, 0),
    ("21:59:59", 12, {}, 0),
    ("22:05:00", 12, {"tap": "M1"}, 12),
    ("22:05:00", 12, {"tap": "2"}, 0),
    ("22:05:00", 12, {"kind": "off"}, 0),
    ("22:05:00", 12, {"part_ul": 20_000_000}, 0),
]


@pytest.mark.parametrize(("end", "ounces", "keg", "explained"), KEG_CASES)
def test_a_keg_going_on_explains_up_to_the_allowance(
    end: str, ounces: float, keg: dict[str, Any], explained: float
) -> None:
    bar = quiet_pour(ounces, at=end)
    bar.keg_on("22:00:00", **keg)
    ledger = bar.ledger()
    assert total(ledger).logged == oz(explained)
    assert total(ledger).poured_not_rung == oz(ounces) - oz(explained)
    assert lone(ledger, "log") == []


def test_the_allowance_is_the_venue_s_own_and_says_what_it_explains() -> None:
    bar = quiet_pour(20, matching={"keg_change_allowance": "18.5"})
    bar.keg_on("21:59:00", keg="K1")
    assert bar.ledger().logged == (LoggedRow("Bar", "Amber", "keg_change", 1, oz(18.5), oz(18.5), 0),)


@pytest.mark.parametrize("number", ["K1", ""])
def test_the_same_keg_put_back_earns_no_new_allowance(number: str) -> None:
    """Without a number nobody can tell it from another keg."""
    bar = quiet_pour(12)
    bar.pour("23:00:00", 12)
    bar.keg_on("21:59:00", keg=number)
    bar.keg_on("22:59:00", keg=number)
    assert total(bar.ledger()).logged == (oz(12) if number else 2 * oz(12))


def test_nor_on_the_day_after() -> None:
    bar = quiet_pour(12)
    bar.keg_on("06-09 23:00:00", keg="K1")
    bar.keg_on("21:59:00", keg="K1")
    assert total(bar.ledger()).logged == 0


def test_a_log_entry_comes_before_the_keg_change() -> None:
    bar = quiet_pour(12)
    bar.keg_on("21:59:30", keg="K1")
    bar.log("22:00:00", ounces=12)
    assert [(row.reason, row.explained_ul) for row in bar.ledger().logged] == [("waste", oz(12))]


def test_a_long_entry_covers_its_whole_span() -> None:
    bar = Bar()
    bar.evening(24, first="12:00:00")
    for at in ("19:00:00", "20:00:00", "21:00:00"):
        bar.pour(at, 16)
    bar.log("19:00:00", "function", 48, end="21:00:00")
    assert total(bar.ledger()).logged == 3 * PINT
