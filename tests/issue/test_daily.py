"""The daily files: their columns, their digits, and that they foot."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from decimal import ROUND_HALF_EVEN, Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from issue.ledgers import DAY, WINDOWS, days, figures, leaf, lone, read, settings, small_day
from unrung.issue.daily import daily_files
from unrung.ledger.results import COMPONENTS, DayLedger, LoggedRow, ProductDay, TillRow, Volumes
from unrung.settings import VenueUnit

VOLUMES = (
    "poured", "rung", "matched_portion", "over_portion", "under_portion", "size_difference",
    "portion_difference", "logged", "poured_not_rung", "voided_after_pour", "rung_not_poured",
    "poured_not_compared", "rung_not_compared", "not_beer", "variance", "comp_volume",
)
ADDED = (*VOLUMES, "serves", "units_rung", "comp_units", "net_sales")
COLUMNS = {
    "variance": "business_day outlet product unit poured rung matched_portion over_portion "
    "under_portion size_difference portion_difference logged poured_not_rung poured_not_rung_low "
    "poured_not_rung_high voided_after_pour rung_not_poured poured_not_compared rung_not_compared "
    "not_beer variance variance_pct serves units_rung comp_units comp_volume net_sales "
    "variance_cost variance_retail status revision",
    "windows": "business_day outlet product window_start window_minutes unit poured rung "
    "matched_portion over_portion under_portion size_difference portion_difference logged "
    "poured_not_rung voided_after_pour rung_not_poured poured_not_compared rung_not_compared "
    "not_beer variance serves units_rung comp_units comp_volume net_sales revision",
    "unmatched": "business_day kind outlet product tap at_local at_utc volume unit uncertain "
    "source_feed source_file source_line source_id finding",
    "logged": "business_day outlet product reason unit entries said explained without_pour",
    "till": "business_day outlet till_units voids comps training carried_in carried_out "
    "not_draught unknown_item units_rung",
    "findings": "finding outlet product tap volume unit confidence evidence check_first",
}
UNIT_NAMES: list[VenueUnit] = ["us_fl_oz", "us_gal", "imp_fl_oz", "imp_pt", "ml", "l"]


def rows_of(ledger: DayLedger, name: str, unit: VenueUnit = "us_fl_oz") -> list[dict[str, str]]:
    return read(daily_files(ledger, settings(unit), 1)[f"{name}-{DAY}.csv"])


@pytest.mark.parametrize("name", COLUMNS)
def test_a_file_has_its_columns_in_their_order_even_on_an_empty_day(name: str) -> None:
    nothing = DayLedger(DAY, (), (), (), (), ())
    header = daily_files(nothing, settings(csv_bom=False), 1)[f"{name}-{DAY}.csv"]
    assert header == COLUMNS[name].replace(" ", ",").encode() + b"\r\n"


def test_the_data_package_is_the_last_of_the_seven_files() -> None:
    names = [*(f"{name}-2026-10-31.csv" for name in COLUMNS), "datapackage.json"]
    assert list(daily_files(small_day(), settings(), 1)) == names


@given(days(), st.sampled_from(UNIT_NAMES))
def test_rows_foot_to_the_last_printed_digit_and_windows_sum_to_their_day(
    ledger: DayLedger, unit: VenueUnit
) -> None:
    files = daily_files(ledger, settings(unit), 1)
    of_day, of_windows = (read(files[f"{name}-{DAY}.csv"]) for name in ("variance", "windows"))
    for row in map(figures, of_day + of_windows):
        the_identity_holds(row)
    for row in map(figures, of_day):
        low, high = row["poured_not_rung_low"], row["poured_not_rung_high"]
        assert 0 <= low <= row["poured_not_rung"] <= high
    sums: dict[tuple[str, str, str], Decimal] = defaultdict(Decimal)
    for cells in of_windows:
        for name in ADDED:
            sums[cells["outlet"], cells["product"], name] += Decimal(cells[name])
    for cells in of_day:
        for name in ADDED:
            assert Decimal(cells[name]) == sums.pop((cells["outlet"], cells["product"], name), 0)
    assert not sums


def the_identity_holds(row: dict[str, Decimal]) -> None:
    difference = row["over_portion"] - row["under_portion"] + row["size_difference"]
    assert row["portion_difference"] == difference
    assert row["poured"] == (
        row["matched_portion"] + difference + row["logged"] + row["poured_not_rung"]
        + row["poured_not_compared"] + row["not_beer"]
    )
    matched_or_not = row["rung_not_poured"] + row["rung_not_compared"]
    assert row["rung"] == row["matched_portion"] + matched_or_not
    assert row["variance"] == difference + row["poured_not_rung"] - row["rung_not_poured"]


ML = {"us_fl_oz": "29.5735295625", "us_gal": "3785.411784", "imp_fl_oz": "28.4130625", "imp_pt": "568.26125",
      "ml": "1", "l": "1000"}
"""Millilitres, exactly: US gallon of 231 in^3 (NIST Handbook 44, Appendix C) / 128; imperial
gallon of 4.54609 L (SI 1995/1804) / 160."""


@given(st.integers(0, 60_000_000), st.sampled_from(UNIT_NAMES))
def test_a_leaf_is_rounded_once_at_three_decimals_half_to_even(ul: int, unit: VenueUnit) -> None:
    ledger = small_day(leaves=(leaf(3, "Bar", "Amber", Volumes(logged=ul)),))
    exact = Decimal(ul) / 1000 / Decimal(ML[unit])
    expected = exact.quantize(Decimal("0.001"), ROUND_HALF_EVEN)
    assert rows_of(ledger, "windows", unit)[0]["logged"] == str(expected)


def test_a_percentage_is_of_the_beer_compared_and_from_exact_figures() -> None:
    volumes = Volumes(
        matched_portion=3_000_000, poured_not_rung=1, poured_not_compared=7_000_000, not_beer=9
    )
    pct = {ul: _pct(replace(volumes, poured_not_rung=ul)) for ul in (1, 150, 1_000_000)}
    assert pct == {1: "0.00", 150: "0.00", 1_000_000: "25.00"}
    assert _pct(replace(volumes, poured_not_rung=0, rung_not_poured=1_000_000)) == "-33.33"


def _pct(volumes: Volumes) -> str:
    return rows_of(small_day(leaves=(leaf(3, "Bar", "Amber", volumes),)), "variance")[0][
        "variance_pct"
    ]


def test_a_product_at_rest_has_a_row_of_zeros_and_no_percentage() -> None:
    row = rows_of(small_day(), "variance")[2]
    assert (row["outlet"], row["poured"], row["variance"]) == ("Garden", "0.000", "0.000")
    assert (row["variance_pct"], row["variance_cost"], row["serves"]) == ("", "0.00", "0")


@pytest.mark.parametrize(
    ("per_litre", "digits", "cost"),
    [
        (301.5, 2, "3.02"),  # 301.5 minor units: the half goes to the even 302
        (302.5, 2, "3.02"),  # and this half down to it
        (302.5, 0, "302"),
        (None, 2, ""),
        (float("nan"), 2, ""),
    ],
)
def test_money_is_rounded_once_for_the_day_row(
    per_litre: float | None, digits: int, cost: str
) -> None:
    half = Volumes(poured_not_rung=500_000)
    ledger = small_day(
        leaves=(leaf(1, "Bar", "Amber", half), leaf(2, "Bar", "Amber", half)),
        products=(ProductDay("Bar", "Amber", cost_minor_per_litre=per_litre),),
    )
    venue = settings().model_copy(update={"currency_digits": digits})
    assert read(daily_files(ledger, venue, 1)[f"variance-{DAY}.csv"])[0]["variance_cost"] == cost


def test_units_in_thirds_are_printed_exactly_and_foot() -> None:
    assert [row["units_rung"] for row in rows_of(small_day(), "windows")] == [
        "20.333333", "4.666667", "21",
    ]
    assert [row["units_rung"] for row in rows_of(small_day(), "variance")] == [
        "41.333333", "4.666667", "0",
    ]


def test_the_till_row_foots_to_the_units_rung() -> None:
    till = figures(rows_of(small_day(), "till")[0])
    assert till["units_rung"] == (
        till["till_units"] - till["voids"] - till["training"] - till["not_draught"]
        - till["unknown_item"] + till["carried_in"] - till["carried_out"]
    )
    assert till["units_rung"] == sum(Decimal(row["units_rung"]) for row in rows_of(
        small_day(), "variance"
    ))


@given(st.lists(st.integers(1, 5_000_000), min_size=1, max_size=12), st.data())
def test_reasons_sum_to_what_the_variance_file_calls_logged(
    per_window: list[int], data: st.DataObject
) -> None:
    total = sum(per_window)
    cut = data.draw(st.integers(0, total))
    ledger = small_day(
        leaves=tuple(
            leaf(hour, "Bar", "Amber", Volumes(logged=ul)) for hour, ul in enumerate(per_window)
        ),
        logged=tuple(
            LoggedRow("Bar", "Amber", reason, 1, ul, ul, 0)
            for reason, ul in (("comp", cut), ("sample", 0), ("waste", total - cut))
        ),
    )
    rows = {row["reason"]: Decimal(row["explained"]) for row in rows_of(ledger, "logged")}
    assert sum(rows.values()) == Decimal(rows_of(ledger, "variance")[0]["logged"])
    assert rows["sample"] == 0
    assert abs(rows["comp"] - cut / Decimal("29573.5295625")) < Decimal("0.014")


def test_a_reason_that_is_not_the_whole_of_the_day_is_rounded_by_itself() -> None:
    assert [(row["reason"], row["explained"]) for row in rows_of(small_day(), "logged")] == [
        ("cleaning", "20.288"), ("comp", "11.712"),
    ]
    other = small_day(logged=(LoggedRow("Bar", "Amber", "comp", 1, 59_147, 59_147, 0),))
    assert rows_of(other, "logged")[0]["explained"] == "2.000"


def test_the_repeated_hour_of_autumn_keeps_its_two_offsets() -> None:
    leaves = tuple(leaf(hour, "Bar", "Amber", Volumes(logged=1)) for hour in (21, 22))
    starts = [row["window_start"] for row in rows_of(small_day(leaves=leaves), "windows")]
    assert starts == ["2026-11-01T01:00:00-04:00", "2026-11-01T01:00:00-05:00"]


def test_a_row_without_a_partner_walks_back_to_its_source_line() -> None:
    pour, ring = rows_of(small_day(), "unmatched")
    assert (pour["source_file"], pour["source_line"], pour["source_id"]) == (
        "pours.csv", "7", "0042",
    )
    assert (pour["at_local"], pour["at_utc"]) == (
        "2026-11-01T00:01:01-04:00", "2026-11-01T04:01:01.250Z",
    )
    assert (ring["kind"], ring["uncertain"], ring["finding"]) == ("ring", "true", "mis_ring")


def test_bytes_do_not_depend_on_the_order_or_the_time_of_rendering() -> None:
    outlets = tuple(TillRow(name) for name in ("Roof", "Bar", "Garden"))
    day = small_day(lone=(lone(), lone("Stout"), lone(at_ms=WINDOWS[3][0])), till=outlets)
    turned = replace(
        day, leaves=day.leaves[::-1], products=day.products[::-1], lone=day.lone[::-1],
        logged=day.logged[::-1], till=day.till[::-1],
    )
    assert daily_files(day, settings(), 2) == daily_files(turned, settings(), 2)


def test_every_component_of_the_ledger_is_in_both_files() -> None:
    for name in ("variance", "windows"):
        assert set(COMPONENTS) < set(COLUMNS[name].split())
