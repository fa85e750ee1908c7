"""A small invented bar in a folder: its config, and quick ways to drop exports into it.

Two taps, one till, June 2025 in New York (UTC-4, no clock change near). Local times are written as
``"06-10 20:15:00"`` or ``"20:15:00"`` for the first day.
"""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from unrung.catch_up import CaughtUp, catch_up, take_in_all
from unrung.opening import open_venue
from unrung.settings import Settings
from unrung.store.open import Store, look_at_store

ZONE = "America/New_York"
DAY = "2025-06-10"
NEXT = "2025-06-11"
PINT_ML = 473.176

SHEET_FEED = """
[[feed]]
name = "sheet"
carries = "log"
adapter = "csv"
folder = "exports/sheet"
pattern = "*.csv"
"""
"""How the feed of a waste sheet begins; its fields and formats come behind it."""

HEADER = ("Id", "Time", "Item", "Qty", "Total", "Check")

VENUE = """\
[venue]
name = "The Test Jug"
timezone = "America/New_York"
volume_unit = "us_fl_oz"

[[feed]]
name = "till"
carries = "rings"
adapter = "csv"
folder = "exports/till"
pattern = "*.csv"
export = "{export}"
{till}
[feed.fields]
{ids}at = "Time"
item = "Item"
units = "Qty"
amount = "Total"
check = "Check"
outlet = {{const = "Bar"}}
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
{formats}
[[feed]]
name = "meter"
carries = "pours"
adapter = "json"
folder = "exports/meter"
pattern = "*.json"
export = "{meter_export}"
{meter}
[feed.fields]
id = "/id"
tap = "/tap"
start = "/start"
end = "/end"
volume = "/ml"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "ml"
{more}
"""

PRODUCTS = "product,keg_size,keg_cost\nAmber,50 l,120.00\nStout,30 l,90.00\n"
MENU = (
    "item,product,portion,price\n"
    "Pint of Amber,Amber,16,7.00\nPint of Stout,Stout,16,8.00\nBurger,,,\n"
)
TAPS = "tap,meter,outlet,product,metered\n1,M1,Bar,Amber,yes\n2,M2,Bar,Stout,yes\n"


def local(text: str) -> str:
    """``"20:15:00"`` or ``"06-11 01:10:00"`` with its year: ``"2025-06-10 20:15:00"``."""
    return f"2025-{text}" if "-" in text else f"{DAY} {text}"


def ms(text: str) -> int:
    """A local time as UTC milliseconds.

    >>> ms("06-10 20:00:00")
    1749600000000
    """
    return round(datetime.fromisoformat(local(text)).replace(tzinfo=ZoneInfo(ZONE)).timestamp()) * 1000


Row = dict[str, str]


def ring(at: str, item: str = "Pint of Amber", *, qty: str = "1", total: str = "7.00",
         check: str = "", id: str = "") -> Row:
    """One line of the till."""
    return {"Id": id, "Time": local(at), "Item": item, "Qty": qty, "Total": total, "Check": check}


def pour(id: str, end: str, *, tap: str = "1", ml: object = PINT_ML, seconds: int = 8) -> dict[str, Any]:
    """One pour that ended at ``end``."""
    start = datetime.fromtimestamp(ms(end) / 1000 - seconds, ZoneInfo(ZONE)).strftime("%Y-%m-%d %H:%M:%S")
    return {"id": id, "tap": tap, "start": start, "end": local(end), "ml": ml}


def till_csv(rows: Iterable[Row], header: Sequence[str] = HEADER) -> bytes:
    """Rows as the till exports them."""
    text = io.StringIO()
    out = csv.DictWriter(text, header, extrasaction="ignore")
    out.writeheader()
    out.writerows(rows)
    return text.getvalue().encode()


@dataclass
class VenueFolder:
    """The config folder of the bar, and what one does with it."""

    path: Path
    said: list[str] = field(default_factory=list)

    @property
    def till(self) -> Path:
        return self.path / "exports" / "till"

    @property
    def meter(self) -> Path:
        return self.path / "exports" / "meter"

    def rings(self, name: str, rows: Iterable[Row], written: str = "23:59:00") -> Path:
        return self.drop(self.till / name, till_csv(rows), written)

    def pours(self, name: str, rows: Sequence[dict[str, Any]], written: str = "23:59:00") -> Path:
        return self.drop(self.meter / name, json.dumps(rows).encode(), written)

    def drop(self, path: Path, content: bytes, written: str = "23:59:00") -> Path:
        """A file that was last written at ``written``, local time."""
        path.write_bytes(content)
        stamp = ms(written) / 1000
        os.utime(path, (stamp, stamp))
        return path

    @contextmanager
    def open(self, now: str = "06-12 12:00:00") -> Iterator[tuple[Settings, Store]]:
        with self.open_at(ms(now)) as opened:
            yield opened

    @contextmanager
    def open_at(self, now_ms: int) -> Iterator[tuple[Settings, Store]]:
        """The same at any moment, UTC milliseconds."""
        settings, db = open_venue(self.path, now_ms)
        try:
            yield settings, db
        finally:
            assert not db.conn.in_transaction, "a transaction was left open"
            db.close()

    def catch_up(self, now: str = "06-12 12:00:00", environ: dict[str, str] | None = None) -> CaughtUp:
        """One ``unrung catch-up`` at ``now``, local time."""
        with self.open(now) as (settings, db):
            return catch_up(db, settings, ms(now), self.said.append, environ or {})

    def intake(self, now: str = "06-12 12:00:00") -> CaughtUp:
        """Only its first step: everything that waits is taken in."""
        with self.open(now) as (settings, db):
            return take_in_all(db, settings, ms(now), self.said.append)

    def query(self, sql: str, *values: object) -> list[dict[str, Any]]:
        """What the store answers as it stands, looked up from beside it."""
        store = self.path / "unrung.sqlite"
        if not store.exists():  # it lies elsewhere, or is still to be made
            with self.open() as (_, db):
                return list(db.query(sql, list(values)))
        with closing(look_at_store(store)) as db:
            return list(db.query(sql, list(values)))

    def query_at(self, now_ms: int, sql: str) -> list[dict[str, Any]]:
        """What it answers once the venue was opened by another clock, UTC milliseconds."""
        with self.open_at(now_ms) as (_, db):
            return list(db.query(sql))

    def current(self, kind: str = "ring") -> list[tuple[Any, ...]]:
        """The current rows of a kind: their text of time, item or tap, and amount."""
        rows = self.query(
            "SELECT at_text, item || tap AS what, coalesce(units_micro, volume_ul) AS amount "
            "FROM movements WHERE superseded_by IS NULL AND kind = ? ORDER BY at_ms, what, amount", kind)
        return [tuple(row.values()) for row in rows]

    def sources(self, *columns: str, feed: str = "till") -> list[tuple[Any, ...]]:
        """``columns`` of every export that came in, in order."""
        rows = self.query(f"SELECT {', '.join(columns)} FROM sources WHERE feed = ? ORDER BY id", feed)
        return [tuple(row.values()) for row in rows]

    def waiting_rows(self) -> list[tuple[Any, ...]]:
        """Line, field and value of every bad row that waits."""
        rows = self.query(
            "SELECT line, field, value FROM rejects WHERE state = 'waiting' ORDER BY source, id")
        return [tuple(row.values()) for row in rows]

    def edit(self, name: str, old: str, new: str) -> None:
        """Replace ``old``, which must be there once, in a config file."""
        path = self.path / name
        text = path.read_text("utf-8")
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}"
        path.write_text(text.replace(old, new), "utf-8")

    def files(self, folder: str = "issued") -> dict[str, bytes]:
        """Every file below a folder of the venue, by relative name."""
        root, found = os.fspath(self.path / folder), dict[str, bytes]()
        for place, _, names in os.walk(root):
            for path in (Path(place, name) for name in names):
                if path.is_file():
                    found[str(path)[len(root) + 1 :].replace(os.sep, "/")] = path.read_bytes()
        return dict(sorted(found.items(), key=lambda one: one[0].split("/")))


def make_venue(
    path: Path, *, export: str = "append", ids: bool = False, till: str = "", formats: str = "",
    meter: str = "", meter_export: str = "append", more: str = "",
) -> VenueFolder:
    """Write the bar's config folder. ``till``, ``formats``, ``meter``: more lines of those tables;
    ``more``: more tables."""
    venue = VenueFolder(path)
    venue.till.mkdir(parents=True)
    venue.meter.mkdir(parents=True)
    text = VENUE.format(
        export=export, ids='id = "Id"\n' if ids else "", till=till, formats=formats, meter=meter,
        meter_export=meter_export, more=more,
    )
    files = {"venue.toml": text, "products.csv": PRODUCTS, "menu.csv": MENU, "taps.csv": TAPS}
    for name, content in files.items():
        (path / name).write_text(content, "utf-8")
    return venue
