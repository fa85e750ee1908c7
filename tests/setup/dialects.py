"""Exports in dialects that the project has never seen, written into a folder for setup to look at."""

from __future__ import annotations

import csv
import io
import json
import os
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from simulator.model import RingLine, SimPour
from simulator.month import SimMonth
from simulator.trade import day_of_ms
from simulator.venues import ZONE as NEW_YORK
from unrung.units import UNITS_UL

from .quiet_bar import QuietBar, local


def put(folder: Path, name: str, content: bytes, day: date, zone: str) -> None:
    """A file last written in the small hours after ``day``."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / name
    path.write_bytes(content)
    stamp = datetime(day.year, day.month, day.day, 4, 40, tzinfo=ZoneInfo(zone)) + timedelta(days=1)
    os.utime(path, (stamp.timestamp(), stamp.timestamp()))


# --- United States: names with the size in front, clocks with AM and PM, dollars, ounces -----------

US_TILL = (
    "Order #", "Sale Date", "Sale Time", "Register", "Menu Item", "Qty", "Net Sales", "Void", "Comp",
    "Server",
)  # fmt: skip
US_METERS = ("Faucet", "Started", "Seconds", "Ounces")


def write_us(month: SimMonth, folder: Path) -> None:
    """The month's rings and pours, a file a day. The till's clock shows seconds, voids are flagged."""
    for day in (one.date for one in month.days):
        rings = [
            _us_ring(ring) for ring in month.rings
            if day_of_ms(ring.at_ms) == day and ring.kind != "training"
        ]
        pours = [_us_pour(pour) for pour in month.pours if day_of_ms(pour.end_ms) == day]
        put(folder / "till", f"sales-{day:%m%d%Y}.csv", _csv(US_TILL, rings), day, NEW_YORK)
        put(folder / "meters", f"flow-{day:%m%d%Y}.csv", _csv(US_METERS, pours), day, NEW_YORK)


def us_name(item: str, size: str) -> str:
    """How this till names an item: "16 oz Pindle Pale Ale", "Pindle Pale Ale Pitcher"."""
    return f"{item} {size}".strip() if not size[:1].isdigit() else f"{size} {item}"


def _us_ring(ring: RingLine) -> Sequence[str]:
    at = local(ring.at_ms, NEW_YORK)
    bare = f"${abs(ring.amount_minor) / 100:,.2f}"
    money = bare if ring.amount_minor >= 0 else f"({bare})"
    return (
        ring.check, f"{at:%m/%d/%Y}", f"{at:%I:%M:%S %p}", ring.terminal, us_name(ring.item, ring.size),
        f"{ring.units_micro / 1e6:.6g}", money, "Y" if ring.kind == "void" else "N",
        "Y" if ring.kind == "comp" else "N", f"{ring.id % 7:02d}",
    )


def _us_pour(pour: SimPour) -> Sequence[str]:
    start = local(pour.start_ms, NEW_YORK)
    ounces = pour.volume_ul / float(UNITS_UL["us_fl_oz"])
    seconds = (pour.end_ms - pour.start_ms) / 1000
    return pour.tap, f"{start:%m/%d/%Y %I:%M:%S %p}", f"{seconds:.1f}", f"{ounces:.2f}"


# --- Germany: semicolons, decimal commas, windows-1252, minutes only, a title and a sum -------------


def write_german(bar: QuietBar, folder: Path) -> None:
    """A till with two lines above its header and a sum below; meters nested by tap."""
    for day in bar.days:
        lines = sorted(_german_lines(bar, day))
        total = sum(int(line[1][6].replace(",", "")) for line in lines)
        rows = [";".join(line[1]) for line in lines]
        text = "\r\n".join([
            "Kassenjournal;;;;;;;;", "",
            "Datum;Uhrzeit;Bon-Nr.;Bereich;Artikel;Menge;Betrag;Vorgang;Bediener",
            *rows, f"Summe;;;;;;{total / 100:.2f};;".replace(".", ","), "",
        ])
        put(folder / "kasse", f"Journal_{day:%Y%m%d}.csv", text.encode("cp1252"), day, bar.zone)
        put(folder / "zapf", f"zapf_{day:%d-%m-%Y}.json", _german_meters(bar, day), day, bar.zone)


def german_name(product: str, size: str) -> str:
    return f"{product} {size}"


def _german_lines(bar: QuietBar, day: date) -> Iterable[tuple[int, list[str]]]:
    for sale in bar.sales:
        if sale.day == day and sale.ring_ms is not None:
            name = german_name(sale.beer.product, sale.size)
            kind = "Storno" if sale.void else "Verkauf"
            said = (sale.beer.outlet, name, sale.price, kind)
            yield sale.ring_ms, _german_row(bar, sale.ring_ms, sale.check, *said)
    for side in bar.sides:
        if side.day == day:
            said = (side.outlet, side.item, side.price, "Verkauf")
            yield side.ring_ms, _german_row(bar, side.ring_ms, side.check, *said)


def _german_row(
    bar: QuietBar, at_ms: int, check: int, outlet: str, name: str, price: int, kind: str
) -> list[str]:
    at = local(at_ms, bar.zone)
    amount = f"{price / 100:.2f}".replace(".", ",")
    return [f"{at:%d.%m.%Y}", f"{at:%H:%M}", str(check), outlet, name, "1", amount, kind, "7"]


def _german_meters(bar: QuietBar, day: date) -> bytes:
    taps: dict[str, list[dict[str, object]]] = defaultdict(list)
    for number, sale in enumerate(bar.sales):
        if sale.day == day and sale.end_ms is not None:
            start = local(sale.end_ms - sale.seconds * 1000, bar.zone)
            end = local(sale.end_ms, bar.zone)
            taps[sale.beer.tap].append({
                "nr": number, "beginn": f"{start:%d.%m.%Y %H:%M:%S}", "ende": f"{end:%d.%m.%Y %H:%M:%S}",
                "menge_ml": sale.metered_ul // 1000,
            })
    hahns = [{"hahn": tap, "zapfungen": rows} for tap, rows in taps.items()]
    document = {"anlage": "Schankanlage", "hähne": hahns}
    return json.dumps(document, ensure_ascii=False).encode("utf-8")


# --- United Kingdom: pints, ISO times with offsets, checks nested, litres ---------------------------


def write_british(bar: QuietBar, folder: Path) -> None:
    """A till of checks with lines and a meter that writes the end and litres, in UTC."""
    for day in bar.days:
        checks: dict[int, list[dict[str, object]]] = defaultdict(list)
        for _, check, line in sorted(_british_lines(bar, day), key=lambda one: one[0]):
            checks[check].append(line)
        document = {"premises": "The Heron and Sluice", "tickets": [
            {"ticket": number, "till": f"P{number % 3}", "lines": lines} for number, lines in checks.items()
        ]}
        content = json.dumps(document, indent=1).encode()
        put(folder / "till", f"{day.isoformat()}.json", content, day, bar.zone)
        put(folder / "meters", f"pours {day:%d%m%y}.csv", _british_meters(bar, day), day, bar.zone)


def _british_lines(bar: QuietBar, day: date) -> Iterable[tuple[int, int, dict[str, object]]]:
    for number, sale in enumerate(bar.sales):
        if sale.day == day and sale.ring_ms is not None:
            line = _british_line(bar, f"b{number}", sale.ring_ms, sale.beer.product, sale.size, sale.price)
            yield sale.ring_ms, sale.check, line | {"voided": sale.void}
    for number, side in enumerate(bar.sides):
        if side.day == day:
            line = _british_line(bar, f"s{number}", side.ring_ms, side.item, None, side.price)
            yield side.ring_ms, side.check, line | {"voided": False}


def _british_line(
    bar: QuietBar, uid: str, at_ms: int, name: str, measure: str | None, price: int
) -> dict[str, object]:
    return {
        "uid": uid, "rung": local(at_ms, bar.zone).isoformat(), "sold": {"name": name, "measure": measure},
        "qty": 1, "value": price / 100,
    }


def _british_meters(bar: QuietBar, day: date) -> bytes:
    rows = [
        (f"{datetime.fromtimestamp(sale.end_ms // 1000, UTC):%Y-%m-%dT%H:%M:%SZ}", sale.beer.tap,
         f"{sale.metered_ul / 1e6:.3f}", str(sale.seconds))
        for sale in bar.sales if sale.day == day and sale.end_ms is not None
    ]
    return _csv(("finished", "line", "litres", "secs"), sorted(rows))


def _csv(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    out = csv.writer(text)
    out.writerow(header)
    out.writerows(rows)
    return text.getvalue().encode()
