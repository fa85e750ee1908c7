"""Metered rows to beer: taps on a date, pulses, gas, and lines being cleaned."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from ledger.bar import PINT, Bar, counted, lone, ms, oz, told, total
from unrung.ledger.results import LoggedRow
from unrung.ledger.taps import TapList
from unrung.settings import TapRow, Venue

VENUE = Venue(name="", timezone="America/New_York")


def tap(**cells: Any) -> TapRow:
    return TapRow(**{"tap": "1", "outlet": "Bar", "product": "Amber"} | cells)


def at(rows: list[TapRow], name: str, moment: str) -> str | None:
    row = TapList(rows, VENUE).at(name, ms(moment))
    return row.product if row else None


@pytest.mark.parametrize(
    ("moment", "product"),
    [("06-10 03:59:59", "Amber"), ("06-10 04:00:00", "Stout"), ("06-11 03:59:59", "Stout"),
     ("06-11 04:00:00", None), ("06-12 18:04:59", None), ("06-12 18:05:00", "Amber")],
)
def test_a_row_holds_for_its_business_days_or_from_its_minute_on(moment: str, product: str | None) -> None:
    rows = [
        tap(valid_to=date(2025, 6, 9)),
        tap(product="Stout", valid_from=date(2025, 6, 10), valid_to=date(2025, 6, 10)),
        tap(from_ms=ms("06-12 18:05:00")),
    ]
    assert at(rows, "1", moment) == product


@pytest.mark.parametrize(
    ("moment", "product"),
    [("06-09 20:00:00", "Amber"), ("06-10 18:04:59", "Stout"), ("06-10 18:05:00", "Rye")],
)
def test_a_later_row_takes_the_tap_over_without_an_end_to_the_earlier(moment: str, product: str) -> None:
    rows = [
        tap(), tap(product="Rye", from_ms=ms("06-10 18:05:00")),
        tap(product="Stout", valid_from=date(2025, 6, 10)),
    ]
    assert at(rows, "1", moment) == product


@pytest.mark.parametrize(("second", "product"), [("Amber", "Amber"), ("Stout", None)])
def test_one_meter_may_feed_several_faucets_of_one_beer(second: str, product: str | None) -> None:
    rows = [tap(meter="M1"), tap(tap="2", meter="M1", product=second)]
    assert at(rows, " m1 ", "20:00:00") == product
    assert at(rows, "2", "20:00:00") == second


def test_a_meter_that_cannot_tell_its_taps_apart_is_told_and_not_compared() -> None:
    bar = Bar(taps=[tap(meter="M1"), tap(tap="2", meter="M1", product="Stout")])
    bar.evening(24, tap="M1")
    ledger = bar.ledger()
    assert told(total(ledger)) == {"rung_not_compared": 24 * PINT}
    assert [text for text in ledger.notices if "Meter 'M1'" in text]


def test_an_unknown_tap_is_told_and_in_no_figure() -> None:
    bar = Bar()
    bar.evening(24)
    bar.pour("22:00:00", tap="7")
    assert told(total(bar.ledger())) == {"matched_portion": 24 * PINT}
    assert [text for text in bar.ledger().notices if "'7'" in text]


def test_pulses_take_the_factor_of_their_own_date() -> None:
    """2,650 pulses are 473,214 µL at 5,600 a litre, and 473,214.29 rounds down; 530,000 at 5,000."""
    taps = [
        tap(pulses_per_litre=Decimal(5600), to_ms=ms("20:00:00")),
        tap(pulses_per_litre=Decimal(5000), from_ms=ms("20:00:00")),
    ]
    bar = Bar(taps=taps)
    bar.pour("19:59:59", pulses=2650)
    bar.pour("20:00:00", pulses=2650)
    assert total(bar.ledger()).poured_not_rung == 473_214 + 530_000


def test_pulses_without_a_factor_wait_and_are_told() -> None:
    bar = Bar()
    bar.pour("20:00:00", pulses=2650)
    assert told(total(bar.ledger())) == {}
    assert [text for text in bar.ledger().notices if "pulses_per_litre" in text and "1 pours wait" in text]


@pytest.mark.parametrize(
    ("ounces", "seconds", "gas"),
    [
        (16, 8, False), (16, 3.001, True), (12, 2.999, True), (11.9, 2.999, False),
        # Whole seconds: 3 s may have been nearly 4, which 16 oz of beer could just fill.
        (15.9, 3, False), (16.1, 3, True),
        (5, 0.999, False), (40, 0.5, False),
    ],
)
def test_what_flows_faster_than_beer_can_is_gas(ounces: float, seconds: float, gas: bool) -> None:
    bar = Bar()
    bar.evening(24)
    bar.pour("22:00:00", ounces, seconds=seconds)
    volumes = total(bar.ledger())
    assert (volumes.not_beer, volumes.poured_not_rung) == ((oz(ounces), 0) if gas else (0, oz(ounces)))


@pytest.mark.parametrize(("ounces", "keg", "gas"), [
    (40, None, False), (40, "22:01:00", True), (40, "22:30:00", False), (73, None, True)])
def test_two_faucets_of_one_meter_pour_twice_as_fast_unless_the_keg_is_changed_after_it(
    ounces: float, keg: str | None, gas: bool
) -> None:
    """Eight seconds, or nearly nine: beer from two faucets is at most 72 oz."""
    bar = Bar(taps=[tap(meter="M1"), tap(tap="2", meter="M1")])
    bar.evening(24, tap="M1")
    bar.pour("22:00:00", ounces, seconds=8, tap="M1")
    if keg:
        bar.keg_on(keg, "2", kind="off")
    volumes = total(bar.ledger())
    assert (volumes.not_beer, volumes.poured_not_rung) == ((oz(ounces), 0) if gas else (0, oz(ounces)))


@pytest.mark.parametrize(("glasses", "kegs", "told"), [(24, 4, False), (24, 5, True), (110, 5, False)])
def test_a_tap_whose_gas_comes_more_often_than_kegs_are_emptied_is_told(
    glasses: int, kegs: int, told: bool
) -> None:
    """Whatever flows within ten minutes is of one keg."""
    bar = Bar()
    bar.evening(glasses)
    for number in range(kegs):
        bar.pour(f"22:{11 * number:02d}:00", 48, seconds=8)
        bar.pour(f"22:{11 * number:02d}:30", 48, seconds=8)
    notices = [text for text in bar.ledger().notices if "max_flow_per_second" in text]
    assert [text[:14] for text in notices] == ([f"{kegs} times tap '1"] if told else [])


def test_gas_is_no_serve_and_nothing_to_list() -> None:
    bar = Bar()
    bar.evening(24)
    bar.pour("22:00:00", 30, seconds=3)
    ledger = bar.ledger()
    assert counted(ledger)["serves"] == 24
    assert lone(ledger, "pour") == []
    assert total(ledger).variance == 0


def cleaned(*, content: bool = True, **log: Any) -> Bar:
    """An evening of sales after a line was cleaned in the morning: 11, 11 and 60 oz, of which the
    line's own 20 oz are beer."""
    bar = Bar()
    bar.evening(24)
    for end, ounces in (("10:05:00", 11), ("10:10:00", 11), ("10:20:00", 60)):
        bar.pour(end, ounces, seconds=ounces)
    if content:
        bar.log("10:00:00", "cleaning", **{"ounces": None, "end": "10:35:00"} | log)
    return bar


@pytest.mark.parametrize(
    "named",
    [{}, {"tap": "1"}, {"tap": "M1", "product": ""}, {"product": "amber"}, {"product": ""},
     {"product": "", "outlet": ""}],
)
def test_a_cleaning_entry_may_name_tap_product_outlet_or_nothing(named: dict[str, Any]) -> None:
    """The line's content comes out first: 11 + 9 oz of beer, then 2 + 60 oz of water and cleaner."""
    ledger = cleaned(**named).ledger()
    assert told(total(ledger)) == {"matched_portion": 24 * PINT, "logged": oz(20),
                                   "not_beer": 2 * oz(11) + oz(60) - oz(20)}
    assert counted(ledger)["serves"] == 24
    assert ledger.logged == (LoggedRow("Bar", "Amber", "cleaning", 1, oz(20), oz(20), 0),)


@pytest.mark.parametrize("named", [{"tap": "2"}, {"product": "Stout"}, {"outlet": "Garden"}])
def test_a_cleaning_entry_for_another_line_finds_no_flow_and_is_listed(named: dict[str, Any]) -> None:
    ledger = cleaned(**named).ledger()
    assert total(ledger).poured_not_rung == 2 * oz(11) + oz(60)
    assert [(one.kind, one.at_ms) for one in lone(ledger, "log")] == [("log", ms("10:00:00"))]
    assert [row.without_pour_ul for row in ledger.logged] == [0]
    assert [row.entries for row in ledger.logged] == [1]


def test_an_entry_for_the_whole_bar_empties_every_line_once_and_counts_once() -> None:
    bar = cleaned(product="", outlet="")
    bar.pour("10:12:00", 30, tap="2")
    ledger = bar.ledger()
    assert (total(ledger, "Stout").logged, total(ledger, "Stout").not_beer) == (oz(20), oz(30) - oz(20))
    assert total(ledger, "Amber").logged == oz(20)
    assert sum(row.entries for row in ledger.logged) == 1
    assert {row.product: row.explained_ul for row in ledger.logged} == {"Amber": oz(20), "Stout": oz(20)}


def test_the_entry_that_names_most_covers_the_flow() -> None:
    bar = cleaned(product="", outlet="")
    bar.log("10:00:00", "cleaning", 100, end="10:35:00", tap="1")
    assert {row.product: (row.entries, row.said_ul, row.explained_ul) for row in bar.ledger().logged} == {
        "Amber": (1, oz(100), oz(20)), "": (1, 0, 0)}


@pytest.mark.parametrize(
    ("begins", "inside"),
    [("09:59:59", False), ("10:00:00", True), ("10:35:00", True), ("10:35:59", True), ("10:36:00", False)],
)
def test_a_span_written_to_the_minute_runs_to_the_end_of_that_minute(begins: str, inside: bool) -> None:
    bar = Bar()
    bar.log("10:00:00", "cleaning", None, end="10:35:00")
    bar.pour(ms(begins) + 50_000, 60, seconds=50)
    assert bool(total(bar.ledger()).not_beer) == inside


def test_a_flow_in_a_cleaning_span_is_never_taken_for_gas() -> None:
    bar = Bar()
    bar.log("10:00:00", "cleaning", None, end="10:35:00")
    bar.pour("10:10:00", 60, seconds=5)
    assert told(total(bar.ledger())) == {"logged": oz(20), "not_beer": oz(60) - oz(20)}


def test_a_cleaning_that_runs_over_the_day_s_edge_covers_both_days() -> None:
    bar = Bar()
    bar.log("06-11 03:50:00", "cleaning", None, end="06-11 04:20:00")
    bar.pour("06-11 03:58:00", 40, seconds=40)
    bar.pour("06-11 04:10:00", 60, seconds=60)
    assert told(total(bar.ledger())) == {"logged": oz(20), "not_beer": oz(40) - oz(20)}
    tomorrow = bar.ledger(date(2025, 6, 11))
    assert total(tomorrow).poured_not_rung == 0
    assert total(tomorrow).logged + total(tomorrow).not_beer == oz(60)
    assert sum(row.entries for row in tomorrow.logged) == 0
    assert lone(tomorrow, "log") == []


def test_a_ring_that_fits_a_line_being_cleaned_is_a_pair_and_told_first() -> None:
    bar = cleaned()
    bar.pour("10:15:00", 16.5)
    bar.ring("10:15:40")
    bar.ring("20:00:00", "Towpath Amber special", "")
    ledger = bar.ledger()
    assert total(ledger).matched_portion == 25 * PINT
    assert total(ledger).over_portion == oz(16.5) - PINT
    assert total(ledger).rung_not_poured == 0
    assert counted(ledger)["serves"] == 25
    first = ledger.notices[0]
    assert "Amber at Bar" in first and "10:15" in first
    assert "Do not serve from a line being cleaned" in first


def test_a_ring_that_found_its_serve_elsewhere_is_no_alarm() -> None:
    bar = cleaned()
    bar.pour("10:15:00", 16.5)
    bar.sale("09:58:00")
    assert total(bar.ledger()).matched_portion == 25 * PINT
    assert not [text for text in bar.ledger().notices if "cleaned" in text]


@pytest.mark.parametrize(("ounces", "told_of"), [(11.9, False), (12, True), (19.9, True), (20.1, False)])
def test_only_a_glass_sized_flow_can_have_filled_the_glass(ounces: float, told_of: bool) -> None:
    bar = Bar()
    bar.evening(24)
    bar.log("10:00:00", "cleaning", None, end="10:35:00")
    bar.pour("10:15:00", ounces)
    bar.ring("10:15:40")
    assert bool([text for text in bar.ledger().notices if "cleaned" in text]) == told_of


def test_one_flow_fills_one_glass() -> None:
    bar = cleaned(product="")
    bar.pour("10:15:00", 16)
    bar.ring("10:15:40")
    bar.ring("10:16:00")
    assert total(bar.ledger()).matched_portion == 25 * PINT
    assert total(bar.ledger()).rung_not_poured == PINT
