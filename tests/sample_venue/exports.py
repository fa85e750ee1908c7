"""The week as files: what the till, the meters, the cellar and the sheet would have written."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from sample_venue.bar import UNIT, Line, LogRow, Pour, Week
from sample_venue.clock import DAYS, iso, moment, us
from sample_venue.place import MENU, PRODUCTS, SITE, TAPS, UNKNOWN_TAP

TILL_LEAD = 37
"""Seconds that the till's clock is ahead of the meters'."""
TILL_COLUMNS = (
    "Line ID", "Check", "Rung At", "Terminal", "Bar", "Item", "Size", "Quantity", "Line Total",
    "Status", "Voided At", "Takes Back", "Served By",
)
BROKEN = {
    # Day: (row it follows, its cells, what is wrong). The dishes are not draught, so nothing of
    # the truth hangs on them.
    DAYS[1]: (60, ("799001", "1901", "10/28/2026 25:14:09 PM", "Till 1", "Long Bar", "Brownie",
                   "", "1", "7.00", "", "", "", "04"), "at"),
    DAYS[3]: (95, ("799002", "1902", "10/30/2026 05:31:12 PM", "Till 3", "Garden Bar",
                   "Skillet Fries", "", "two", "13.00", "", "", "", "09"), "units"),
    DAYS[5]: (70, ("799003", "1903", "11/01/2026 03:02:44 PM", "Till 2"), None),
}
METER_CUTS = ("16:00", "19:30", "22:00", "28:00")
OVERLAP = 3600


def table(header: Sequence[str], rows: Iterable[Sequence[object]], end: str = "\n") -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator=end)
    writer.writerow(header)
    writer.writerows(rows)
    return out.getvalue()


def number(week: Week) -> None:
    """Put pours and lines in time order and give them the ids that their sources gave."""
    week.pours.sort(key=lambda p: (p.end, p.tap.name))
    for nth, pour in enumerate(week.pours):
        pour.id = f"p{nth + 1:04}"
    week.lines.sort(key=lambda line: (line.at, line.check))
    for nth, line in enumerate(week.lines):
        line.id = str(700001 + nth)
    week.kegs.sort(key=lambda k: k.at)
    for nth, keg in enumerate(week.kegs):
        keg.id = f"K{nth + 1:03}"
    week.log.sort(key=lambda row: row.written)


def bounds(day: date) -> tuple[int, int]:
    return moment(day, "4:00"), moment(day + timedelta(days=1), "4:00")


def dollars(cents: int) -> str:
    return f"{'-' if cents < 0 else ''}{abs(cents) // 100}.{abs(cents) % 100:02}"


def quantity(micro: int) -> str:
    return f"{micro / UNIT:g}"


# --- till ------------------------------------------------------------------------------------

def till_row(line: Line) -> tuple[str, ...]:
    voided = us(line.void_at + TILL_LEAD) if line.void_at else ""
    return (
        line.id, line.check, us(line.at + TILL_LEAD), line.terminal, line.outlet, line.item.name,
        line.item.size, quantity(line.micro), dollars(line.cents), line.status, voided,
        line.takes_back.id if line.takes_back else "", line.served_by,
    )


def till_file(week: Week, day: date) -> bytes:
    since, until = bounds(day)
    rows: list[Sequence[str]] = [till_row(x) for x in week.lines if since <= x.at < until]
    if day in BROKEN:
        after, cells, _ = BROKEN[day]
        rows.insert(after, cells)
    return table(TILL_COLUMNS, rows, "\r\n").encode("utf-8-sig")


def rejects() -> list[dict[str, object]]:
    """Physical lines: the header is the first. ``field`` is None where the row is cut short."""
    return [
        {"feed": "till", "file": f"till_{day}.csv", "line": after + 2, "field": field}
        for day, (after, _, field) in BROKEN.items()
    ]


# --- meters ----------------------------------------------------------------------------------

def meter_file(pours: Sequence[Pour], since: int, until: int) -> bytes:
    """The pours that ended in the span, by tap, one to a line."""
    taps = [t.name for t in TAPS if t.metered]
    if any(p.tap.name == UNKNOWN_TAP for p in pours):
        taps.append(UNKNOWN_TAP)
    blocks = []
    for tap in taps:
        rows = [_pour_json(p) for p in pours if p.tap.name == tap]
        inside = "\n" + ",\n".join(rows) + "\n" if rows else ""
        blocks.append(f'{{"tap":"{tap}","pours":[{inside}]}}')
    head = f'{{"site":{json.dumps(SITE)},"from":"{iso(since)}","to":"{iso(until)}","taps":[\n'
    return (head + ",\n".join(blocks) + "\n]}\n").encode()


def _pour_json(pour: Pour) -> str:
    ml = f"{pour.ul // 1000}.{pour.ul % 1000 // 100}"
    return f'{{"id":"{pour.id}","start":"{iso(pour.start)}","end":"{iso(pour.end)}","ml":{ml}}}'


def meter_files(week: Week, day: date) -> dict[str, bytes]:
    """Several a day; each begins an hour before the last one ended."""
    since, end = bounds(day)
    files, written = {}, [p for p in week.pours if p.tap.metered]
    for cut in METER_CUTS:
        until = min(moment(day, cut), end) if cut != METER_CUTS[-1] else end
        span = [p for p in written if since <= p.end < until]
        files[f"meters/meters_{day:%Y%m%d}_{cut[:2]}{cut[3:]}.json"] = meter_file(
            span, since, until
        )
        since = until - OVERLAP
    return files


# --- cellar and sheet ------------------------------------------------------------------------

KEG_COLUMNS = (
    "Id", "When", "What", "Bar", "Tap", "Beer", "Kegs", "Part oz", "Cost each", "To bar",
)
SHEET_COLUMNS = (
    "When", "Until", "Day only", "What for", "Bar", "Tap", "Beer", "Menu item", "Count", "Ounces",
)


def keg_file(week: Week, day: date) -> bytes:
    since, until = bounds(day)
    return table(KEG_COLUMNS, (
        (k.id, iso(k.at // 60 * 60)[:16] + iso(k.at)[19:], k.kind, k.outlet, k.tap, k.product,
         k.kegs, "" if k.part_oz is None else k.part_oz,
         "" if k.cents is None else dollars(k.cents), k.to_outlet)
        for k in week.kegs if since <= k.at < until
    )).encode()


def sheet_row(row: LogRow) -> tuple[object, ...]:
    when = "" if row.at is None else us(row.at, seconds=False)
    until = "" if row.until is None else us(row.until, seconds=False)
    day = us(row.written, seconds=False)[:10] if row.at is None else ""
    return (
        when, until, day, row.reason, row.outlet, row.tap, row.product, row.item,
        row.count if row.item else "", row.ounces,
    )


def sheet_file(week: Week, day: date) -> bytes:
    """The whole week so far, as saved at the end of ``day``."""
    until = bounds(day)[1]
    rows = (sheet_row(row) for row in week.log if row.written < until)
    return table(SHEET_COLUMNS, rows).encode()


# --- the tables of the config folder ---------------------------------------------------------

def config_tables() -> dict[str, bytes]:
    menu = [
        (m.name, m.size, product, ounces, "us_fl_oz", dollars(m.cents))
        for m in MENU for product, ounces in m.portions or (("", ""),)
    ]
    taps = [
        (t.name, t.outlet, t.product, "yes" if t.metered else "no", t.line_oz or "")
        for t in TAPS
    ]
    return {
        "products.csv": _remarked(
            ("product", "keg_size", "keg_cost"),
            [(p.name, p.keg, dollars(p.cents)) for p in PRODUCTS],
            "Each beer, as the other tables call it; us_bbl is the US beer barrel of 31 gallons.",
        ),
        "menu.csv": _remarked(
            ("item", "size", "product", "portion", "unit", "price"), menu,
            "item and size exactly as the till writes them; portion is what runs through the "
            "meter for one, head and usual pour-off included.",
            "An item of several beers has a row for each; one without a product is no draught "
            "beer, whatever its name.",
        ),
        "taps.csv": _remarked(
            ("tap", "outlet", "product", "metered", "line_volume"), taps,
            "tap as the meters write it; line_volume is the beer that stands in its line.",
            "G5 has no meter: the till alone sees what it pours.",
        ),
    }


def _remarked(header: Sequence[str], rows: Iterable[Sequence[object]], *remarks: str) -> bytes:
    """A table whose first rows are remarks, which readers of the folder pass over."""
    return table(header, [*([f"# {text}"] for text in remarks), *rows]).encode()


def exports(week: Week) -> dict[str, bytes]:
    """Every export by its path below ``sample_exports``."""
    files: dict[str, bytes] = {}
    for day in DAYS:
        files[f"till/till_{day}.csv"] = till_file(week, day)
        files |= meter_files(week, day)
        files[f"cellar/cellar_{day}.csv"] = keg_file(week, day)
        files[f"sheet/sheet_{day}.csv"] = sheet_file(week, day)
    twice = f"till/till_{DAYS[2]}.csv"
    files[twice.replace(".csv", " (copy).csv")] = files[twice]
    return files
