"""Three more dialects, none of them like the samples: each takes a void back with a negative line."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime
from pathlib import Path
from typing import NamedTuple

from unrung.units import UNITS_UL

from .dialects import put
from .quiet_bar import QuietBar, Sale, local


class Line(NamedTuple):
    """One line of a till: the drink's name and size, how many, and what was asked for all of them."""

    at: datetime
    check: int
    outlet: str
    name: str
    size: str
    count: int
    minor: int


def lines_of(bar: QuietBar, day: date) -> list[Line]:
    """The till's lines in order. A void is a sale and, 25 s later, the same line below zero."""
    found = [line for sale in bar.sales if sale.day == day for line in _lines(bar, sale)]
    found += [
        Line(local(side.ring_ms, bar.zone), side.check, side.outlet, side.item, "", 1, side.price)
        for side in bar.sides if side.day == day
    ]
    return sorted(found)


def _lines(bar: QuietBar, sale: Sale) -> Iterator[Line]:
    if sale.ring_ms is None:
        return
    said = (sale.check, sale.beer.outlet, sale.beer.product, sale.size)
    yield Line(local(sale.ring_ms, bar.zone), *said, 1, sale.price)
    if sale.void:
        yield Line(local(sale.ring_ms + 25_000, bar.zone), *said, -1, -sale.price)


def pours_of(bar: QuietBar, day: date) -> Iterator[tuple[Sale, datetime, datetime]]:
    """Sale, start and end of each metered pour of the day, in order."""
    for sale in bar.sales:
        if sale.day == day and sale.end_ms is not None:
            yield sale, local(sale.end_ms - sale.seconds * 1000, bar.zone), local(sale.end_ms, bar.zone)


# --- France: semicolons, decimal commas, a byte-order mark, euros behind, centilitres ---------------


def write_french(bar: QuietBar, folder: Path) -> None:
    """Names with their size behind, prices such as "-5,60 €" with a blank that does not break."""
    for day in bar.days:
        rows = [
            (f"T{line.check}", f"{line.at:%d/%m/%Y}", f"{line.at:%H:%M:%S}", line.outlet,
             f"{line.name} {line.size}".strip(), str(line.count), _euros(abs(line.minor)), _euros(line.minor))
            for line in lines_of(bar, day)
        ]
        head = ("N° ticket", "Date", "Heure", "Salle", "Article", "Qté", "P.U. TTC", "Total TTC")
        put(folder / "ventes", f"ventes_{day.isoformat()}.csv", _joined(head, rows, ";").encode("utf-8-sig"),
            day, bar.zone)
        flows = [
            (sale.beer.tap, f"{start:%d/%m/%Y %H:%M:%S}", f"{end:%d/%m/%Y %H:%M:%S}",
             f"{sale.metered_ul / 10_000:.1f}".replace(".", ","))
            for sale, start, end in pours_of(bar, day)
        ]
        put(folder / "debits", f"debits_{day:%Y%m%d}.csv",
            _joined(("Robinet", "Début", "Fin", "Volume (cl)"), flows, ";").encode("utf-8-sig"), day,
            bar.zone)


def _euros(minor: int) -> str:
    return f"{minor / 100:.2f}\u00a0€".replace(".", ",")


# --- Australia: tabs in UTF-16, date and time apart, the day first, a size in a column of its own ---


def write_australian(bar: QuietBar, folder: Path) -> None:
    """The size's name says no volume: only the pours do."""
    for day in bar.days:
        rows = [
            (f"{line.at:%d/%m/%y}", f"{line.at:%H:%M:%S}", str(line.check), line.outlet, line.name, line.size,
             str(line.count), f"{line.minor / 100:.2f}", "VOID" if line.count < 0 else "SALE")
            for line in lines_of(bar, day)
        ]
        head = ("Trans Date", "Trans Time", "Docket", "Area", "Description", "Size", "Quantity", "Extended",
                "Type")
        put(folder / "sales", f"SALES{day:%d%m%y}.TXT", _joined(head, rows, "\t").encode("utf-16"), day,
            bar.zone)
        flows = [
            (f"{end:%d/%m/%y}", f"{end:%H:%M:%S}", sale.beer.tap, str(sale.metered_ul // 1000),
             str(sale.seconds))
            for sale, _, end in pours_of(bar, day)
        ]
        put(folder / "flow", f"FLOW{day:%d%m%y}.TXT",
            _joined(("Date", "Time", "Tap No", "mL", "Secs"), flows, "\t").encode("utf-16"), day, bar.zone)


# --- Texas: month first with AM and PM, "$7.00", quantities such as 1.00, a sum below ---------------


def write_texan(bar: QuietBar, folder: Path) -> None:
    """Clocks without seconds at the till; ounces at the taps."""
    for day in bar.days:
        lines = lines_of(bar, day)
        rows = [
            (f"{line.check}", f"{line.at:%m/%d/%Y} {line.at:%I:%M %p}".replace(" 0", " "),
             f"{line.name} ({line.size})" if line.size else line.name, f"{line.count}.00",
             _dollars(abs(line.minor)), _dollars(line.minor))
            for line in lines
        ]
        rows.append(("Total", "", "", f"{sum(line.count for line in lines)}.00", "",
                     _dollars(sum(line.minor for line in lines))))
        head = ("Check No", "Opened At", "Item Name", "Qty", "Price", "Gross Amount")
        put(folder / "till", f"Item Detail {day:%m-%d-%Y}.csv", _joined(head, rows, ",").encode(), day,
            bar.zone)
        flows = [
            (sale.beer.tap, f"{start:%m/%d/%Y %I:%M:%S %p}",
             f"{sale.metered_ul / float(UNITS_UL['us_fl_oz']):.2f}", str(sale.seconds))
            for sale, start, _ in pours_of(bar, day)
        ]
        put(folder / "meters", f"pours {day:%m-%d-%Y}.csv",
            _joined(("Tap", "Pour Start", "Oz", "Duration (s)"), flows, ",").encode(), day, bar.zone)


def _dollars(minor: int) -> str:
    bare = f"${abs(minor) / 100:,.2f}"
    return f'"{bare}"' if "," in bare and minor >= 0 else f'"-{bare}"' if "," in bare else (
        f"-{bare}" if minor < 0 else bare)


def _joined(header: Sequence[str], rows: Sequence[Sequence[str]], between: str) -> str:
    return "\r\n".join(between.join(row) for row in (header, *rows)) + "\r\n"
