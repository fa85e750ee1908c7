"""The journal balances to the cent in every outlet, ties to the month's file, and stops alone."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from issue.ledgers import read
from month.months import DAYS, PERIOD, bounds, month_inputs, venue
from month.venue import added, level, month_rows, opened
from unrung.book_settings import Accounts
from unrung.issue.month_sums import SUMMED
from unrung.issue.monthly import monthly_files
from unrung.ledger.month import MonthInputs, make_month
from unrung.ledger.results import DayLedger, ProductDay
from unrung.reissuing import reissue_month

JOURNAL, VARIANCE = "journal-2026-10.csv", "variance-2026-10.csv"
NOW = 1_794_000_000_000


def balance(rows: list[dict[str, str]], **where: str) -> Decimal:
    mine = [row for row in rows if all(row[key] == value for key, value in where.items())]
    return added(mine, "debit") - added(mine, "credit")


@given(month_inputs(), st.sampled_from(["weighted_average", "fifo"]), st.integers(1, 3))
@hypothesis_settings(max_examples=40)
def test_any_month_foots_balances_and_ties_to_its_file(
    inputs: MonthInputs, method: str, revision: int
) -> None:
    month = make_month(inputs, venue(method))
    files = monthly_files(month, venue(method), revision).files
    rows, variance = read(files[JOURNAL]), read(files[VARIANCE])
    products = level(variance, "product")
    assert all((row["debit"] == "") != (row["credit"] == "") for row in rows)
    for outlet in {row["outlet"] for row in rows}:
        for reference in {row["reference"] for row in rows}:
            assert balance(rows, outlet=outlet, reference=reference) == 0
        own = [row for row in products if row["outlet"] == outlet]
        entry = {"outlet": outlet, "reference": f"2026-10-r{revision}", "account": "1310"}
        moved = -balance(rows, account="1390", outlet=outlet, reference=f"2026-10-r{revision}")
        assert balance(rows, **entry) - moved == -added(own, "used_cost") - added(own, "written_off_cost")
    assert balance(rows, account="1390") == 0  # what one outlet gave, another got
    corrections = [row for row in rows if row["reverses"] == "2026-09-r4"]
    assert {row["reference"] for row in corrections} <= {f"2026-10-r{revision} for 2026-09"}
    assert balance(corrections, account="5190") == added(products, "adjustments_cost")
    it_foots(variance)


def it_foots(rows: list[dict[str, str]]) -> None:
    (whole,) = level(rows, "venue")
    for column in (*SUMMED, "used", "adjustments", "variance_adjusted", "adjustments_cost"):
        for which in ("product", "outlet"):
            if whole[column]:
                assert added(level(rows, which), column) == Decimal(whole[column]), column
    for row in rows:
        cell = {name: Decimal(row[name] or 0) for name in (*SUMMED, "adjustments", "variance_adjusted")}
        assert cell["variance_adjusted"] == cell["variance"] + cell["adjustments"]
        assert cell["variance"] == (
            cell["portion_difference"] + cell["poured_not_rung"] - cell["rung_not_poured"])


@pytest.mark.parametrize(("accounts", "said"), [
    (Accounts(variance="1", stock="2"), ("lacks usage.",)),
    (Accounts(stock="2"), ("lacks variance and usage.",)),
    (Accounts(), ())])
def test_a_missing_code_stops_the_journal_and_nothing_else(accounts: Accounts, said: tuple[str, ...]) -> None:
    settings = venue(accounts=accounts)
    day = DayLedger(DAYS[0], (), (ProductDay("Bar", "Amber"),), (), (), ())
    month = make_month(MonthInputs(PERIOD, bounds(*DAYS), [day]), settings)
    made = monthly_files(month, settings, 1)
    whole = monthly_files(month, venue(), 1).files
    assert set(whole) - set(made.files) == {JOURNAL}
    assert made.files[VARIANCE] == whole[VARIANCE]
    assert [note.partition("toml ")[2] for note in made.notes] == list(said)


def test_by_hand_from_the_demos_october(week: Path) -> None:
    """Long Bar: used 1,635.53 at cost, of it 24.10 poured and not rung: figures of variance-2026-10.csv."""
    rows = month_rows(week, "2026-10", "journal")
    (bar,) = [row for row in level(month_rows(week, "2026-10"), "outlet") if row["outlet"] == "Long Bar"]
    assert (bar["used_cost"], bar["variance_cost"]) == ("1635.53", "24.10")
    mine = {row["account"]: row for row in rows if row["outlet"] == "Long Bar"}
    assert mine["1310"]["credit"] == "1635.53" and mine["5190"]["debit"] == "24.10"
    assert mine["5110"]["debit"] == "1611.43"
    assert {(row["journal_date"], row["period"], row["currency"]) for row in rows} == {
        ("2026-10-31", "2026-10", "USD")}


def test_a_revision_names_the_one_whose_place_it_takes(own_week: Path) -> None:
    assert {row["reverses"] for row in month_rows(own_week, "2026-10", "journal")} == {""}
    text = (own_week / "venue.toml").read_text("utf-8").replace('usage = "5110"', 'usage = "5111"')
    (own_week / "venue.toml").write_text(text, "utf-8")
    settings, db = opened(own_week)
    assert reissue_month(db, settings, "2026-10", NOW).said.endswith("issued revision 2")
    db.close()
    rows = month_rows(own_week, "2026-10", "journal")
    assert {(row["reference"], row["reverses"]) for row in rows} == {("2026-10-r2", "2026-10-r1")}


def test_a_month_that_is_not_over_has_no_journal_yet(own_week: Path) -> None:
    settings, db = opened(own_week)
    assert reissue_month(db, settings, "2026-11", NOW).said.endswith("issued revision 1")
    db.close()
    names = {path.name for path in (own_week / "issued/monthly/2026-11").iterdir()}
    assert "variance-2026-11.csv" in names and "journal-2026-11.csv" not in names
