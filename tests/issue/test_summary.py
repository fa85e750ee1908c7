"""The summary behind a mail: the figures of the files, in whole units that foot."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given

from issue.ledgers import DAY, days, leaf, read, settings, small_day
from unrung.issue.daily import daily_files
from unrung.issue.summary import day_summary
from unrung.issue.whole import whole_sum
from unrung.ledger.results import DayLedger, LoggedRow, ProductDay, Volumes


@given(days())
def test_products_sum_to_outlets_and_these_to_the_venue_and_shares_and_money_are_the_variance_file_s(
    ledger: DayLedger,
) -> None:
    summary = day_summary(ledger, settings())
    assert whole_sum(row.whole for row in summary.rows) == summary.total.whole
    assert whole_sum(row.whole for row in summary.outlets) == summary.total.whole
    for outlet in summary.outlets:
        own = [row.whole for row in summary.rows if row.outlet == outlet.outlet]
        assert whole_sum(own) == outlet.whole
    rows = read(daily_files(ledger, settings(), 1)[f"variance-{DAY}.csv"])
    for row, shown in zip(rows, summary.rows, strict=True):
        assert row["variance_pct"] == _text(shown.variance_pct)
        assert row["variance_cost"] == _text(shown.variance_cost)
        assert abs(Decimal(row["variance"]) - shown.whole.variance) < Decimal("1.02")


def _text(number: Decimal | None) -> str:
    return "" if number is None else str(number)


def test_the_small_day_reads_as_expected() -> None:
    summary = day_summary(small_day(), settings())
    amber, stout, rest = summary.rows
    assert (amber.whole.poured, amber.whole.poured_not_rung, amber.whole.variance) == (783, 64, 45)
    assert (stout.whole.variance, stout.variance_pct) == (-4, Decimal("-6.29"))
    assert (rest.variance_pct, rest.serves) == (None, 0)
    assert [row.outlet for row in summary.outlets] == ["Bar", "Garden"]
    assert (summary.unit_label, summary.without_cost) == ("fl oz", ("Stout",))
    # 1.346356 L at 3.015 a litre
    assert summary.total.variance_cost == amber.variance_cost == Decimal("4.06")


def test_reasons_foot_to_what_was_logged() -> None:
    third = 29_573 * 10 // 3
    day = small_day(
        leaves=(leaf(4, "Bar", "Amber", Volumes(logged=3 * third)),),
        products=(ProductDay("Bar", "Amber"),),
        logged=tuple(
            LoggedRow("Bar", "Amber", reason, 1, third, third, 0)
            for reason in ("waste", "comp", "sample")
        ),
    )
    summary = day_summary(day, settings())
    assert summary.logged_by_reason == (("comp", 4), ("sample", 3), ("waste", 3))
    assert summary.total.whole.logged == 10


def test_the_share_not_compared_is_of_the_beer_poured() -> None:
    volumes = Volumes(matched_portion=900_000, poured_not_compared=100_000, not_beer=5_000_000)
    day = small_day(leaves=(leaf(4, "Bar", "Amber", volumes),))
    total = day_summary(day, settings("ml")).total
    assert total.not_compared_pct == Decimal("10.00")
    assert (total.whole.compared, total.whole.poured) == (900, 6000)
