"""Reads the shipped files again, with Python's own readers and the zone database.

It shares nothing with the script that wrote them but the folder, nor with the program under test.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import datetime, timedelta
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

ROOT = Path(__file__).resolve().parents[2]
SAMPLES, CONFIG = ROOT / "sample_exports", ROOT / "config"
NEW_YORK = ZoneInfo("America/New_York")
US_TIME = "%m/%d/%Y %I:%M:%S %p"


class Till(NamedTuple):
    at: float
    """As the till's clock has it."""
    check: str
    bar: str
    item: tuple[str, str]
    units: Fraction
    status: str
    takes_back: str


class Metered(NamedTuple):
    tap: str
    start: float
    end: float
    ul: int


@cache
def truth() -> dict[str, Any]:
    whole: dict[str, Any] = json.loads((SAMPLES / "truth.json").read_text("utf-8"))
    return whole


def rows_of(path: Path) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(path.read_bytes().decode("utf-8-sig"), newline="")))


def table(name: str) -> list[dict[str, str]]:
    """A table of the config folder without its remarks."""
    rows = rows_of(CONFIG / name)
    return [row for row in rows if not next(iter(row.values())).startswith("#")]


@cache
def till() -> dict[str, Till]:
    """Every readable line by its id. Within a file a step back marks the second pass."""
    found = {}
    for path in sorted((SAMPLES / "till").glob("*.csv")):
        last, fold = datetime.min.replace(tzinfo=NEW_YORK), 0
        for row in rows_of(path):
            try:
                local = datetime.strptime(row["Rung At"], US_TIME).replace(tzinfo=NEW_YORK)
                units = Fraction(row["Quantity"])
            except (TypeError, ValueError):
                continue
            fold, last = fold or int(local < last), local
            found[row["Line ID"]] = Till(
                local.replace(fold=fold).timestamp(), row["Check"], row["Bar"],
                (row["Item"], row["Size"]), units, row["Status"], row["Takes Back"],
            )
    return found


@cache
def metered() -> dict[str, Metered]:
    """Every pour by its id; files that overlap must agree."""
    found: dict[str, Metered] = {}
    for path in sorted((SAMPLES / "meters").glob("*.json")):
        for tap in json.loads(path.read_bytes())["taps"]:
            for pour in tap["pours"]:
                start, end = (datetime.fromisoformat(pour[k]).timestamp() for k in ("start", "end"))
                new = Metered(tap["tap"], start, end, round(Fraction(str(pour["ml"])) * 1000))
                assert found.setdefault(pour["id"], new) == new, pour
    return found


def business_day(at: float) -> str:
    """The local date four hours earlier; the week's change of clocks lies before four."""
    local = datetime.fromtimestamp(at, NEW_YORK)
    day = local.date() - timedelta(days=local.hour < 4)
    return day.isoformat()


