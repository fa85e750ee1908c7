"""The demo's week, and how its monthly files are read."""

from __future__ import annotations

import csv
import io
import json
import shutil
from datetime import date
from decimal import Decimal
from pathlib import Path

from unrung import demo
from unrung.config_folder import load
from unrung.settings import Settings
from unrung.store.open import Store, open_store

ROOT = Path(__file__).resolve().parents[2]
Row = dict[str, str]


def live_week(folder: Path) -> Path:
    """The sample week in ``folder``, morning by morning, as the demo lives through it."""
    demo._lay_out(ROOT, folder)
    settings, db = opened(folder)
    truth = json.loads((ROOT / "sample_exports" / "truth.json").read_text("utf-8"))
    demo._live_through(db, settings, demo.days_of_truth(truth), lambda _: None)
    db.close()
    return folder


def copy_of(folder: Path, into: Path) -> Path:
    shutil.copytree(folder, into, dirs_exist_ok=True)
    return into


def opened(folder: Path) -> tuple[Settings, Store]:
    settings = load(folder)
    return settings, open_store(folder / settings.files.store)


def read(path: Path) -> list[Row]:
    """A CSV file as the standard library reads it."""
    return list(csv.DictReader(io.StringIO(path.read_text("utf-8-sig"), newline=""), strict=True))


def month_rows(folder: Path, name: str, table: str = "variance") -> list[Row]:
    return read(folder / "issued" / "monthly" / name / f"{table}-{name}.csv")


def level(rows: list[Row], which: str) -> list[Row]:
    return [row for row in rows if row["level"] == which]


def day_rows(folder: Path, first: date, last: date) -> list[Row]:
    """All rows of the daily variance files of some days."""
    found = []
    for path in sorted((folder / "issued" / "daily").iterdir()):
        if first.isoformat() <= path.name <= last.isoformat():
            found += read(path / f"variance-{path.name}.csv")
    return found


def added(rows: list[Row], column: str) -> Decimal:
    return sum((Decimal(row[column]) for row in rows if row[column]), Decimal(0))
