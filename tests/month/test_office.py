"""Every file of a day and a month, opened by LibreOffice under an English and a German locale.

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


class Opened(NamedTuple):
    """Files as the office has read them: name of the file to its rows of cells."""

    csv: dict[str, list[tuple[Any, ...]]]
    xlsx: openpyxl.Workbook


def convert(locale: str, sources: list[Path], into: Path, reading: str = "") -> Path:
    """Open ``sources`` with an office set to ``locale`` and save them as workbooks into ``into``."""
    profile = into / "profile"
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


def folders(week: Path) -> list[Path]:
    return [week / "issued/daily/2026-10-30", week / "issued/monthly/2026-10"]


def columns(week: Path) -> Iterator[Column]:
    for folder in folders(week):
        package = json.loads((folder / "datapackage.json").read_text("utf-8"))
        for resource in package["resources"]:
            for field in resource.get("schema", {}).get("fields", ()):
                yield Column(resource["path"], field["name"], field["type"])


@pytest.fixture(scope="module", params=["en-US", "de-DE"])
def opened(request: pytest.FixtureRequest, week: Path, tmp_path_factory: pytest.TempPathFactory) -> Opened:
    files = sorted(path for folder in folders(week) for path in folder.glob("*.csv"))
    book = next(folders(week)[1].glob("*.xlsx"))
    into = tmp_path_factory.mktemp("office")
    out = convert(request.param, files, into / "csv", AS_TOLD)
    rows = {f"{path.stem}.csv": list(openpyxl.load_workbook(path).active.values) for path in out.iterdir()}
    return Opened(rows, openpyxl.load_workbook(convert(request.param, [book], into / "xlsx") / book.name))


def written(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_every_cell_of_every_csv_comes_in_as_what_it_is(opened: Opened, week: Path) -> None:
    wrong, seen = [], {"number": 0, "integer": 0, "date": 0, "string": 0, "datetime": 0}
    texts = {path.name: written(path) for folder in folders(week) for path in folder.glob("*.csv")}
    for column in columns(week):
        header, *rows = opened.csv[column.file]
        at = header.index(column.name)
        assert len(rows) == len(texts[column.file]) or not texts[column.file]
        for row, text in zip(rows, texts[column.file], strict=False):
            if text[column.name]:
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


def test_every_number_of_the_workbook_stays_one(opened: Opened, week: Path) -> None:
    """Cell by cell against the workbook as issued."""
    issued = openpyxl.load_workbook(next(folders(week)[1].glob("*.xlsx")), data_only=True)
    assert opened.xlsx.sheetnames == issued.sheetnames
    compared = 0
    for sheet in issued.worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                if isinstance(cell.value, int | float | datetime) and not str(cell.value).startswith("="):
                    mine = opened.xlsx[sheet.title][cell.coordinate].value
                    same_number = isinstance(mine, int | float) and abs(mine - cell.value) < 1e-9 if (
                        isinstance(cell.value, int | float)) else mine == cell.value
                    assert same_number, (sheet.title, cell.coordinate, cell.value, mine)
                    compared += 1
    assert compared > 500
    _, *journal = [row for row in opened.xlsx["Journal"].values if row[3] is not None]
    assert journal and all(isinstance(row[3], str) for row in journal)


def test_a_csv_read_with_a_decimal_comma_goes_wrong_as_the_accountants_page_warns(
    week: Path, tmp_path: Path
) -> None:
    """The reason for the warning: 550.141 is read as more than half a million."""
    name = "variance-2026-10-30.csv"
    source = folders(week)[0] / name
    out = convert("de-DE", [source], tmp_path, AS_GERMAN)
    header, *rows = openpyxl.load_workbook(next(out.iterdir())).active.values
    poured = [row[header.index("poured")] for row in rows]
    true = [float(row["poured"]) for row in written(source)]
    assert [cell for cell, figure in zip(poured, true, strict=True) if cell == figure] == []
    assert poured[0] == true[0] * 1000
    page = (Path(__file__).parents[2] / "daemon/unrung/docs/for_the_accountant.md").read_text("utf-8")
    said = re.sub(r"\s+", " ", page)
    assert "UTF-8, comma, English (United States)" in said and "550.141" in said
