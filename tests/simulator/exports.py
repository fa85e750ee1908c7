"""A month as files: a config folder with the exports of its feeds beside the tables."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Callable, Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Literal, TypeVar
from zoneinfo import ZoneInfo

from simulator.model import RingLine, SimKeg, SimLog, SimPour
from simulator.month import SimMonth
from simulator.tables import write_tables
from simulator.trade import day_of_ms
from simulator.venue_toml import venue_toml
from simulator.venues import SIZE_OZ, ZONE
from unrung.units import UNITS_UL, from_ul

MeterShape = Literal["csv", "json"]
Row = TypeVar("Row")
TILL = ("Line", "Rung", "Check", "Terminal", "Bar", "Item", "Size", "Qty", "Total", "State", "Voided")
METERS = ("Id", "Tap", "From", "To", "mL", "Pulses")
KEGS = ("Id", "When", "What", "Tap", "Beer", "Bar", "Keg", "Litres", "Kegs", "Left", "Cost")
LOG = ("Id", "When", "Until", "Day", "Why", "Tap", "Beer", "Bar", "Ounces")
STATES = {"sale": "", "void": "Void", "refund": "Refund", "comp": "Comp", "training": "Practice"}
WRITTEN_AFTER = timedelta(minutes=40)
"""A day's files are written so long after the day's end; common practice, no source."""


def write_exports(
    month: SimMonth, folder: Path, *, meters: MeterShape = "csv", pulses: bool = False
) -> Path:
    """Write the month into ``folder``: ``venue.toml``, the three tables, and ``exports/`` with one
    file per feed and business day (also for a day without rows, which then says so).

    ``pulses``: the meters give counts, and ``taps.csv`` the factor, in place of volumes. Till times
    are local and without an offset, in time order, as tills write them; others are ISO 8601 in UTC.
    Files carry the time at which they would have been written. Returns ``folder``.
    """
    (folder / "venue.toml").parent.mkdir(parents=True, exist_ok=True)
    (folder / "venue.toml").write_text(venue_toml(month, meters, pulses), encoding="utf-8")
    write_tables(month, folder, pulses)
    days = _by_day(month, month.rings, lambda ring: ring.at_ms)
    for day, rings in days.items():
        _put(folder, day, "till", ".csv", _csv(TILL, map(_ring, rings)))
    for day, pours in _by_day(month, month.pours, lambda pour: pour.end_ms).items():
        content = _csv(METERS, (_pour(pour, pulses) for pour in pours))
        if meters == "json":
            content = _json([dict(zip(METERS, _pour(p, pulses), strict=True)) for p in pours])
        _put(folder, day, "meters", f".{meters}", content)
    for day, kegs in _by_day(month, month.kegs, lambda keg: keg.at_ms).items():
        _put(folder, day, "kegs", ".csv", _csv(KEGS, map(_keg, kegs)))
    for day, entries in _by_day(month, month.log, _log_ms(month)).items():
        _put(folder, day, "log", ".csv", _csv(LOG, map(_entry, entries)))
    return folder


def _by_day(
    month: SimMonth, rows: Iterable[Row], at_ms: Callable[[Row], int]
) -> dict[date, list[Row]]:
    days: dict[date, list[Row]] = {day.date: [] for day in month.days}
    for row in sorted(rows, key=at_ms):
        days.setdefault(day_of_ms(at_ms(row)), []).append(row)
    return days


def _log_ms(month: SimMonth) -> Callable[[SimLog], int]:
    """An entry without a time stands at the end of its day's sheet."""
    ends = {day.date: day.end_ms - 1 for day in month.days}
    after = month.days[-1].end_ms
    return lambda entry: entry.at_ms if entry.at_ms is not None else ends.get(entry.day or month.start, after)


def _put(folder: Path, day: date, feed: str, ending: str, content: str) -> None:
    path = folder / "exports" / feed / f"{feed}_{day.isoformat()}{ending}"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(content.encode("utf-8"))
    closes = datetime.combine(day + timedelta(days=1), datetime.min.time(), ZoneInfo(ZONE))
    written = (closes.replace(hour=4) + WRITTEN_AFTER).timestamp()
    os.utime(path, (written, written))


def _csv(header: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(header)
    writer.writerows(rows)
    return text.getvalue()


def _json(rows: list[dict[str, str]]) -> str:
    numbers = [
        {k: (json_number(v) if k in ("mL", "Pulses") else v) for k, v in row.items() if v}
        for row in rows
    ]
    return json.dumps({"pours": numbers}, indent=0)


def json_number(text: str) -> float | int:
    """A number as JSON has it; three decimals of a millilitre survive a float."""
    return int(text) if text.isdigit() else float(text)


def _ring(ring: RingLine) -> Sequence[str]:
    quantity = Decimal(ring.units_micro).scaleb(-6).normalize()
    voided = "" if ring.voided_ms is None else _local(ring.voided_ms)
    return (
        str(ring.id), _local(ring.at_ms), ring.check, ring.terminal, ring.outlet, ring.item,
        ring.size, f"{quantity:f}", str(Decimal(ring.amount_minor).scaleb(-2)),
        STATES[ring.kind], voided,
    )


def _pour(pour: SimPour, pulses: bool) -> Sequence[str]:
    amount = ("", str(pour.pulses)) if pulses else (str(Decimal(pour.volume_ul).scaleb(-3)), "")
    return (str(pour.id), pour.tap, _utc(pour.start_ms), _utc(pour.end_ms), *amount)


def _keg(keg: SimKeg) -> Sequence[str]:
    return (
        str(keg.id), _utc(keg.at_ms), keg.kind, keg.tap, keg.product, keg.outlet, keg.keg,
        _litres(keg.size_ul), str(keg.units), _litres(keg.part_ul),
        "" if keg.cost_minor is None else str(Decimal(keg.cost_minor).scaleb(-2)),
    )


def _entry(entry: SimLog) -> Sequence[str]:
    ul = entry.volume_ul
    if ul is None and entry.size:
        ul = round(SIZE_OZ[entry.size] * entry.units * UNITS_UL["us_fl_oz"])
    return (
        str(entry.id), "" if entry.at_ms is None else _utc(entry.at_ms),
        "" if entry.end_ms is None else _utc(entry.end_ms),
        "" if entry.day is None else entry.day.isoformat(), entry.reason, entry.tap,
        entry.product, entry.outlet, "" if ul is None else f"{from_ul(ul, 'us_fl_oz', 3):f}",
    )


def _litres(ul: int | None) -> str:
    return "" if ul is None else str(Decimal(ul).scaleb(-6))


def _local(at_ms: int) -> str:
    moment = datetime.fromtimestamp(at_ms // 1000, UTC).astimezone(ZoneInfo(ZONE))
    return f"{moment:%Y-%m-%d %H:%M:%S}"


def _utc(at_ms: int) -> str:
    moment = datetime.fromtimestamp(at_ms / 1000, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
