"""variance-M.xlsx, read back by programs that did not write it."""

from __future__ import annotations

import io
import zipfile
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest

from issue.ledgers import HOSTILE, leaf, settings, small_day
from month.venue import month_rows
from unrung.issue.month_xlsx import FULL, HEAD_ROW, as_anywhere
from unrung.issue.monthly import monthly_files
from unrung.ledger.books import Books
from unrung.ledger.month import MonthLedger
from unrung.ledger.results import Volumes
from unrung.ledger.stock import StockRow
from unrung.periods import period_named

NAME = "variance-2026-10.xlsx"


@pytest.fixture(scope="module")
def book(week: Path) -> openpyxl.Workbook:
    return openpyxl.load_workbook(week / "issued/monthly/2026-10" / NAME)


def cells(sheet: openpyxl.worksheet.worksheet.Worksheet) -> list[dict[str, object]]:
    head, *rows = list(sheet.iter_rows(min_row=HEAD_ROW + 1, values_only=True))
    return [dict(zip(head, row, strict=True)) for row in rows if any(cell is not None for cell in row)]


def test_the_sheets_and_their_set_up(book: openpyxl.Workbook) -> None:
    assert book.sheetnames == [
        "Products", FULL, "Days", "Kegs", "Adjustments", "Journal", "Terms"]
    for sheet in book.worksheets[:-1]:
        assert sheet.freeze_panes and sheet.page_setup.orientation == "landscape"
        assert sheet.print_title_rows == f"${HEAD_ROW + 1}:${HEAD_ROW + 1}"
    assert len(book["Products"]._charts) == 1


def test_a_workbook_made_on_windows_is_the_same_to_the_byte(week: Path) -> None:
    """There each file of the archive is said to be of system 0 (APPNOTE 4.4.2), six bytes into its entry."""
    made = (week / "issued/monthly/2026-10" / NAME).read_bytes()
    entry = b"PK\x01\x02"
    there = b"".join(
        part if number == 0 else entry + part[:1] + b"\0" + part[2:]
        for number, part in enumerate(made.split(entry)))
    systems = {one.create_system for one in zipfile.ZipFile(io.BytesIO(there)).infolist()}
    assert there != made and systems == {0}
    assert as_anywhere(there) == made == as_anywhere(made)


def test_every_figure_is_a_real_number_equal_to_the_csv(book: openpyxl.Workbook, week: Path) -> None:
    rows = cells(book[FULL])
    written = month_rows(week, "2026-10")
    assert len(rows) == len(written) == 13
    for mine, theirs in zip(rows, written, strict=True):
        for name, text in theirs.items():
            value = mine[name]
            if isinstance(value, int | float):
                assert abs(Decimal(str(value)) - Decimal(text)) < Decimal("1e-9"), name
            elif isinstance(value, datetime):
                assert value.date() == date.fromisoformat(text)
            else:
                assert (value or "") == text, name
        assert all(not isinstance(mine[name], str) for name in ("poured", "used", "yield_pct", "first_day"))


def test_days_and_kegs_hold_dates_and_times(book: openpyxl.Workbook) -> None:
    days, kegs = cells(book["Days"]), cells(book["Kegs"])
    assert {row["business day"] for row in days} == {
        datetime.fromisoformat(f"2026-10-{day}") for day in range(27, 32)}
    assert len(days) == 50 and len(kegs) == 27
    assert kegs[1]["on local"] == datetime.fromisoformat("2026-10-29 22:09")


def hostile_month() -> MonthLedger:
    """Products called what a spreadsheet would run, and none that divides."""
    rows = tuple(
        leaf(13, "=cmd", name, Volumes(poured_not_rung=1_000_000 + n)) for n, name in enumerate(HOSTILE))
    day = small_day(leaves=rows, products=(), logged=())
    stock = tuple(StockRow("=cmd", name) for name in sorted(set(HOSTILE)))
    return MonthLedger(
        period_named("2026-10"), (day,), {day.day: 1}, "final", stock, Books(), (), (), {}, ("=note",))


def test_no_text_becomes_a_formula_and_two_runs_give_the_same_bytes() -> None:
    once, twice = (monthly_files(hostile_month(), settings(), 1).files for _ in range(2))
    assert once == twice
    with zipfile.ZipFile(io.BytesIO(once[NAME])) as packed:
        for name in packed.namelist():
            assert b"<f>" not in packed.read(name), name
    sheet = openpyxl.load_workbook(io.BytesIO(once[NAME]))[FULL]
    found = {row["product"] for row in cells(sheet)} - {None}
    assert {"=1+1", "@home", "+49 30", "-3.5 ale"} <= found
    text = once["variance-2026-10.csv"].decode("utf-8-sig")
    assert ",'=1+1," in text and "\n'=cmd" not in text.replace(",'=cmd", "")
