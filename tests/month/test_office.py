"""Every kind of file that is written, opened by LibreOffice under an English and a German locale: those
of a day, of a month and of one with adjustments, reasons of rows kept aside, and the config's tables.

Numbers must come in as numbers, dates as dates, text as text: a figure that is silently read as another
one is worse than a file that does not open.
"""

from __future__ import annotations

import csv
import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

import openpyxl
import pytest

from month.test_closing import CLOSED_AT, LATE, drop, ring, run
from month.venue import copy_of
from month.venue import opened as opened_venue
from unrung.closing import close
from unrung.issue.month_xlsx import FULL, HEAD_ROW

OFFICE = shutil.which("soffice") or shutil.which("libreoffice")
SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
<item oor:path="/org.openoffice.Setup/L10N"><prop oor:name="ooSetupSystemLocale" oor:op="fuse">
<value>{locale}</value></prop></item></oor:items>
"""
ENGLISH, GERMAN = 1033, 1031
"""Language codes of the office's import filter (OASIS OpenDocument tools; MS-LCID)."""
AS_TOLD = f"CSV:44,34,76,1,,{ENGLISH},false,true"
"""Comma, quote, UTF-8, from line 1, English numbers, dates recognised: what the accountant's page says."""
AS_GERMAN = f"CSV:44,34,76,1,,{GERMAN},false,true"

pytestmark = [
    pytest.mark.skipif(
        OFFICE is None, reason="no LibreOffice here: nobody but openpyxl has opened the issued files"
    ),
    pytest.mark.timeout(300),  # an office starts slowly on a busy machine
]


class Column(NamedTuple):
    """A column of a file as its data package describes it."""

    file: str
    name: str
    type: str


class Shelf(NamedTuple):
    """The files to open, each under a name of its own, and what their columns are."""

    csv: list[Path]
    books: list[Path]
    columns: list[Column]


class Opened(NamedTuple):
    """Files as the office has read them: name of the file to its rows of cells."""

    csv: dict[str, list[tuple[Any, ...]]]
    xlsx: dict[str, openpyxl.Workbook]


def convert(locale: str, sources: list[Path], into: Path, reading: str = "") -> Path:
    """Open ``sources`` with an office set to ``locale`` and save them as workbooks into ``into``. Its profile
    lies beside ``into``: one that is there already spares the office a first start."""
    profile = into.parent / "profile"
    if not profile.exists():
        (profile / "user").mkdir(parents=True)
        (profile / "user" / "registrymodifications.xcu").write_text(SETTINGS.format(locale=locale), "utf-8")
    command = [
        str(OFFICE), "--headless", f"-env:UserInstallation={profile.as_uri()}",
        *([f"--infilter={reading}"] if reading else []), "--convert-to", "xlsx", "--outdir",
        str(into / "out"), *map(str, sources),
    ]
    done = subprocess.run(command, capture_output=True, text=True, timeout=110)
    assert done.returncode == 0 and len(list((into / "out").iterdir())) == len(sources), done.stderr[-500:]
    return into / "out"


TABLES = ("products.csv", "menu.csv", "taps.csv", "fixes.csv")
FIXES = 'date,tap,product,what,finding\n2026-10-30,L3,,"portion set to 16,5",portion_setting\n'
NOT_TEXT = {
    **dict.fromkeys(("keg_cost", "portion", "price", "line_volume"), "number"), "line": "integer",
    **dict.fromkeys(("date", "from", "to", "valid_from"), "date"),
}
"""Columns of files that no data package describes."""


@pytest.fixture(scope="module")
def shelf(week: Path, tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    """October closed, and a till's line that came after: November's adjustments have rows."""
    venue = copy_of(week, tmp_path_factory.mktemp("late") / "venue")
    settings, db = opened_venue(venue)
    assert close(db, settings, "2026-10", CLOSED_AT, accept=True).closed
    db.close()
    drop(venue, "till_late.csv", LATE + ring("X1", "10/30/2026 08:15:00 PM"))
    run(venue)
    (venue / "fixes.csv").write_text(FIXES, "utf-8")
    described = [
        venue / "issued" / place for place in ("daily/2026-10-30", "monthly/2026-10", "monthly/2026-11")
    ]
    plain = [*(venue / name for name in TABLES), next(venue.glob("archive/**/*.reasons.csv"))]
    return Shelf(
        sorted(path for folder in described for path in folder.glob("*.csv")) + plain,
        sorted(path for folder in described for path in folder.glob("*.xlsx")),
        [*(column for folder in described for column in described_columns(folder)),
         *(Column(path.name, name, NOT_TEXT.get(name, "string"))
           for path in plain for name in written(path)[0])],
    )


def described_columns(folder: Path) -> Iterator[Column]:
    package = json.loads((folder / "datapackage.json").read_text("utf-8"))
    for resource in package["resources"]:
        for field in resource.get("schema", {}).get("fields", ()):
            yield Column(resource["path"], field["name"], field["type"])


@pytest.fixture(scope="module", params=["en-US", "de-DE"])
def opened(request: pytest.FixtureRequest, shelf: Shelf, tmp_path_factory: pytest.TempPathFactory) -> Opened:
    into = tmp_path_factory.mktemp("office")
    out = convert(request.param, shelf.csv, into / "csv", AS_TOLD)
    rows = {f"{path.stem}.csv": list(openpyxl.load_workbook(path).active.values) for path in out.iterdir()}
    books = convert(request.param, shelf.books, into / "xlsx")
    return Opened(rows, {path.name: openpyxl.load_workbook(path) for path in books.iterdir()})


def written(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_every_kind_of_file_is_on_the_shelf_and_none_of_them_is_empty(shelf: Shelf) -> None:
    kinds = {re.sub(r"-?\d{4}-\d\d(-\d\d)?", "", path.name): path for path in shelf.csv}
    assert sorted(kinds) == [
        "adjustments.csv", "findings.csv", "fixes.csv", "journal.csv", "kegs.csv", "logged.csv", "menu.csv",
        "products.csv", "taps.csv", "till.csv", "till_.csv.reasons.csv", "unmatched.csv", "variance.csv",
        "windows.csv",
    ]
    assert all(map(written, kinds.values())) and len(shelf.books) == 2


def test_every_cell_of_every_csv_comes_in_as_what_it_is(opened: Opened, shelf: Shelf) -> None:
    wrong, seen = [], {"number": 0, "integer": 0, "date": 0, "string": 0, "datetime": 0}
    texts = {path.name: written(path) for path in shelf.csv}
    for column in shelf.columns:
        header, *rows = opened.csv[column.file]
        at = header.index(column.name)
        assert len(rows) == len(texts[column.file]) or not texts[column.file]
        for row, text in zip(rows, texts[column.file], strict=False):
            if text[column.name] and not text[next(iter(text))].startswith("#"):
                seen[column.type] = seen.get(column.type, 0) + 1
                if not same(row[at], text[column.name], column.type):
                    wrong.append((column, text[column.name], row[at]))
    assert wrong == []
    assert min(seen.values()) > 0 and seen["number"] > 1000, seen


def same(cell: Any, text: str, kind: str) -> bool:
    """Whether a cell holds what a CSV's text says, as a value of its type."""
    if kind in ("number", "integer"):
        return isinstance(cell, int | float) and abs(Decimal(str(cell)) - Decimal(text)) < Decimal("1e-9")
    if kind == "date":
        return isinstance(cell, datetime) and cell.date() == date.fromisoformat(text)
    if kind == "boolean":
        return cell is (text == "true") or cell == text
    # Moments with an offset stay text, so that no zone is lost. Digits that are a name (an account) are
    # beyond what a CSV can say: the page says so, and the workbook has them as text.
    return cell == text or (text.isdigit() and not text.startswith("0") and cell == int(text))


def test_every_cell_of_the_workbooks_stays_what_it_was(opened: Opened, shelf: Shelf) -> None:
    """Cell by cell against the workbooks as issued: numbers, dates, texts; and no formula."""
    compared = 0
    for path in shelf.books:
        issued, book = openpyxl.load_workbook(path), opened.xlsx[path.name]
        assert book.sheetnames == issued.sheetnames
        for sheet in issued.worksheets:
            for cell in (cell for row in sheet.iter_rows() for cell in row if cell.value not in (None, "")):
                mine = book[sheet.title][cell.coordinate]
                numbers = isinstance(cell.value, int | float) and isinstance(mine.value, int | float)
                same_value = abs(mine.value - cell.value) < 1e-9 if numbers else mine.value == cell.value
                assert same_value, (sheet.title, cell.coordinate, cell.value, mine.value)
                assert "f" not in (mine.data_type, cell.data_type), (sheet.title, cell.coordinate)
                compared += 1
    assert compared > 1500
    october = opened.xlsx["variance-2026-10.xlsx"]
    _, *journal = [row for row in october["Journal"].values if row[3] is not None]
    assert journal and all(isinstance(row[3], str) for row in journal)


def test_the_workbooks_figures_are_the_csvs(opened: Opened, shelf: Shelf) -> None:
    for path in shelf.books:
        name = f"{path.stem}.csv"
        rows = list(opened.xlsx[path.name][FULL].values)[HEAD_ROW + 1 :]
        header, *texts = opened.csv[name]
        assert len(rows) == len(texts) > 0
        for column in ("poured", "rung", "variance", "opening", "used", "lost_before_meter", "used_cost"):
            at = header.index(column)
            assert [round(row[at] or 0, 3) for row in rows] == [text[at] or 0 for text in texts], column


def test_a_csv_read_with_a_decimal_comma_goes_wrong_as_the_accountants_page_warns(
    week: Path, tmp_path: Path
) -> None:
    """The reason for the warning: 550.141 is read as more than half a million."""
    name = "variance-2026-10-30.csv"
    source = week / "issued/daily/2026-10-30" / name
    out = convert("de-DE", [source], tmp_path / "german", AS_GERMAN)
    header, *rows = openpyxl.load_workbook(next(out.iterdir())).active.values
    poured = [row[header.index("poured")] for row in rows]
    true = [float(row["poured"]) for row in written(source)]
    assert [cell for cell, figure in zip(poured, true, strict=True) if cell == figure] == []
    assert poured[0] == true[0] * 1000
    page = (Path(__file__).parents[2] / "daemon/unrung/docs/for_the_accountant.md").read_text("utf-8")
    said = re.sub(r"\s+", " ", page)
    assert "UTF-8, comma, English (United States)" in said and "550.141" in said
