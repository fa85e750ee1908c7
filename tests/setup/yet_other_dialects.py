"""Four dialects more: two lines of headings, a line of units, JSON lines, times with dots, gallons."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from unrung.units import UNITS_UL

from .dialects import put
from .more_dialects import Line, lines_of, pours_of
from .quiet_bar import QuietBar


def _text(lines: Sequence[Sequence[str]], between: str, quote: str = "", end: str = "\r\n") -> str:
    return end.join(between.join(f"{quote}{cell}{quote}" for cell in line) for line in lines) + end


def _comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


# --- Netherlands: every cell quoted, headings above headings, glasses by their name, a date for two times


def write_dutch(bar: QuietBar, folder: Path) -> None:
    """Sizes stand before the beer and name no volume; a void is a line that says so."""
    head = [
        ("Bon", "", "", "Artikel", "", "Bedragen", "", ""),
        ("Bonnr", "Tijdstip", "Kassa", "Omschrijving", "Aantal", "Prijs", "Bedrag", "Status"),
    ]
    for day in bar.days:
        lines = list(_dutch_lines(bar, day))
        foot = ("Totaal", "", "", "", str(len(lines)), "", "€ 1.234,50", "")
        content = _text([*head, *lines, foot], ";", '"').encode("cp1252")
        put(folder / "kassa", f"bonnen {day:%d-%m-%Y}.csv", content, day, bar.zone)
        flows = [
            (sale.beer.tap, f"{start:%d-%m-%Y}", f"{start:%H:%M:%S}", f"{end:%H:%M:%S}",
             str(sale.metered_ul // 1000))
            for sale, start, end in pours_of(bar, day)
        ]
        flows.insert(0, ("Kraan", "Datum", "Begin", "Eind", "Hoeveelheid (ml)"))
        put(folder / "tap", f"tap_{day:%Y%m%d}.txt", _text(flows, "|", end="\n").encode(), day, bar.zone)


def _dutch_lines(bar: QuietBar, day: date) -> Iterator[tuple[str, ...]]:
    voided = {sale.check for sale in bar.sales if sale.void}
    for line in lines_of(bar, day):
        if line.count > 0:
            yield (
                str(line.check), f"{line.at:%d-%m-%Y %H:%M:%S}", "Kassa 1",
                f"{line.size} {line.name}".strip(), "1", *2 * [f"€ {_comma(line.minor / 100, 2)}"],
                "Geannuleerd" if line.size and line.check in voided else "Verkocht",
            )


# --- Spain: a till of JSON lines, meters with "sep=;" above their header and times without leading noughts


def write_spanish(bar: QuietBar, folder: Path) -> None:
    for day in bar.days:
        rows = [json.dumps(_spanish_row(line), ensure_ascii=False) for line in lines_of(bar, day)]
        put(folder / "caja", f"ventas-{day.isoformat()}.jsonl", ("\n".join(rows) + "\n").encode(), day,
            bar.zone)
        flows = [
            (f"Grifo {sale.beer.tap}", f"{at.day}/{at.month}/{at.year} {at.hour}:{at:%M:%S}",
             f"{sale.seconds}", _comma(sale.metered_ul / 1e6, 3))
            for sale, at, _ in pours_of(bar, day)
        ]
        lines = [("Grifo", "Inicio", "Duración (s)", "Litros"), *flows]
        content = "sep=;\r\n" + _text(lines, ";")
        put(folder / "grifos", f"servicios_{day:%d%m%Y}.csv", content.encode("latin-1"), day, bar.zone)


def _spanish_row(line: Line) -> dict[str, object]:
    return {
        "ticket": line.check, "fecha": f"{line.at:%d/%m/%Y}", "hora": f"{line.at:%H:%M:%S}",
        "zona": line.outlet, "producto": f"{line.size} {line.name}".strip(), "uds": line.count,
        "importe": _comma(line.minor / 100, 2), "camarero": "C-4",
    }


# --- Oregon: month names, a line of units below the header, gallons, "Grand Total", brackets for minus


def write_oregon(bar: QuietBar, folder: Path) -> None:
    for day in bar.days:
        lines = lines_of(bar, day)
        rows = [
            (f"{line.at:%b} {line.at.day}, {line.at.year}", f"{line.at:%I:%M:%S %p}".lstrip("0"),
             str(line.check), line.outlet, f"{line.name} - {line.size}" if line.size else line.name,
             str(line.count), _brackets(line.minor))
            for line in lines
        ]
        foot = ("Grand Total", "", "", "", "", f"{sum(line.count for line in lines):,}",
                _brackets(sum(line.minor for line in lines)))
        head = ("Business Day", "Clock", "Guest Check", "Rev Ctr", "Desc", "Cnt", "Ext Price")
        put(folder / "pos", f"detail_{day:%Y-%m-%d}.csv", _text([head, *rows, foot], ",", '"').encode(), day,
            bar.zone)
        flows = [
            (sale.beer.tap, f"{start:%Y-%m-%d %H:%M:%S}", f"{end:%Y-%m-%d %H:%M:%S}",
             f"{sale.metered_ul / float(UNITS_UL['us_fl_oz']) / 128:.5f}")
            for sale, start, end in pours_of(bar, day)
        ]
        above = [("Line", "Open", "Close", "Dispensed"), ("#", "local", "local", "gal")]
        put(folder / "flow", f"flow_{day:%Y-%m-%d}.csv", _text([*above, *flows], ",").encode(), day, bar.zone)


def _brackets(minor: int) -> str:
    return f"{minor / 100:,.2f}" if minor >= 0 else f"({-minor / 100:,.2f})"


# --- Italy: tabs, times with dots, lists of glasses with their size, centilitres with a comma ------------


def write_italian(bar: QuietBar, folder: Path) -> None:
    for day in bar.days:
        rows = [
            (str(line.check), f"{line.at:%d/%m/%Y}", f"{line.at:%H.%M.%S}", line.outlet,
             f"{line.name} {line.size}".strip(), str(line.count), _comma(line.minor / 100, 2))
            for line in lines_of(bar, day)
        ]
        head = ("Scontrino", "Data", "Ora", "Sala", "Articolo", "Quantità", "Importo")
        put(folder / "cassa", f"vendite{day:%d%m%y}.txt", _text([head, *rows], "\t").encode("utf-8"), day,
            bar.zone)
        flows = [
            (f"{end:%d/%m/%Y %H.%M.%S}", sale.beer.tap, _comma(sale.metered_ul / 10_000, 1),
             str(sale.seconds))
            for sale, _, end in pours_of(bar, day)
        ]
        lines = [("Fine", "Spina", "Quantità (cl)", "Secondi"), *flows]
        put(folder / "spine", f"spine{day:%d%m%y}.txt", _text(lines, "\t").encode("utf-8"), day, bar.zone)
