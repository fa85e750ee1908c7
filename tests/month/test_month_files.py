"""variance-M.csv against the daily files that were issued, and the period's package."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest

from month.venue import added, day_rows, level, month_rows, opened
from unrung.issue.month_sums import REASONS, SUMMED
from unrung.reissuing import reissue_month

OCTOBER = (date(2026, 10, 27), date(2026, 10, 31))
NOW = 1_794_000_000_000


def test_the_month_is_issued_with_its_last_day(week: Path) -> None:
    folder = week / "issued" / "monthly"
    assert [path.name for path in sorted(folder.iterdir())] == ["2026-10"]
    assert {row["status"] for row in month_rows(week, "2026-10")} == {"final"}
    assert {row["revision"] for row in month_rows(week, "2026-10")} == {"1"}


@pytest.mark.parametrize("column", SUMMED)
def test_each_figure_is_the_sum_of_the_issued_days(week: Path, column: str) -> None:
    days = day_rows(week, *OCTOBER)
    rows = level(month_rows(week, "2026-10"), "product")
    assert len(rows) == 10
    for row in rows:
        mine = [one for one in days if (one["outlet"], one["product"]) == (row["outlet"], row["product"])]
        assert len(mine) == 5
        assert Decimal(row[column]) == added(mine, column)


def test_totals_foot_and_reasons_sum_to_what_was_logged(week: Path) -> None:
    rows = month_rows(week, "2026-10")
    (venue,) = level(rows, "venue")
    for column in (*SUMMED, "used", "opening", "closing", "used_cost", "closing_cost", "logged_waste"):
        for which in ("product", "outlet"):
            assert added(level(rows, which), column) == Decimal(venue[column]), column
    for row in rows:
        assert sum(Decimal(row[f"logged_{reason}"]) for reason in REASONS) == Decimal(row["logged"])


def test_stock_foots_in_the_printed_digits(week: Path) -> None:
    for row in month_rows(week, "2026-10"):
        cell = {name: Decimal(row[name]) for name in (
            "opening", "delivered", "transferred_in", "transferred_out", "returned", "written_off",
            "closing", "used", "beer_metered", "rung_not_compared", "lost_before_meter")}
        assert cell["used"] == (
            cell["opening"] + cell["delivered"] + cell["transferred_in"] - cell["transferred_out"]
            - cell["returned"] - cell["written_off"] - cell["closing"])
        assert cell["used"] == cell["beer_metered"] + cell["rung_not_compared"] + cell["lost_before_meter"]


def test_the_cellar_sheets_own_counts_open_and_close_the_month(week: Path) -> None:
    """By hand from sample_exports: Weirman Mild, quarter barrels of 992 fl oz (27 CFR 25.156):
    2 full kegs and 408 fl oz on 27 October, 0 and 896 in the last hour of the month, none delivered."""
    (row,) = [row for row in month_rows(week, "2026-10") if row["product"] == "Weirman Mild"]
    assert (row["opening"], row["delivered"], row["closing"]) == ("2392.000", "0.000", "896.000")
    assert row["used"] == "1496.000" and row["used_basis"] == "counted"
    assert row["unit_cost"] == "0.108871" and row["used_cost"] == "162.87"  # 108.00 / 992 x 1496


def test_made_twice_it_is_the_same_to_the_byte(own_week: Path) -> None:
    before = {path.name: path.read_bytes() for path in (own_week / "issued/monthly/2026-10").iterdir()}
    settings, db = opened(own_week)
    assert reissue_month(db, settings, "2026-10", NOW).said == "2026-10: nothing differs from revision 1"
    db.close()
    after = {path.name: path.read_bytes() for path in (own_week / "issued/monthly/2026-10").iterdir()}
    assert before == after


def test_frictionless_validates_the_package(week: Path) -> None:
    import frictionless  # here, since every process that runs some tests finds all of them

    package = week / "issued" / "monthly" / "2026-10" / "datapackage.json"
    report = frictionless.validate(str(package))
    assert report.valid, report.to_summary()
    assert len(report.tasks) >= 3


def test_rows_that_ask_for_attention_by_the_trades_limits(week: Path) -> None:
    """2 % and 5 % of variance, 95 % and 90 % of yield: common practice, no source."""
    asked = {
        (row["level"], row["product"]): row["attention"]
        for row in month_rows(week, "2026-10") if row["attention"]
    }
    assert asked == {
        ("product", "Ferrywife Wheat"): "note: variance",
        ("product", "Withy Basket Cider"): "note: variance; note: yield",
        ("product", "Heronwade Rye"): "note: yield",
        ("product", "Mudlark Stout"): "note: variance; note: yield",
        ("product", "Stepping Stone Pale"): "note: variance; note: yield",
        ("product", "Weirman Mild"): "note: yield",
    }
