"""Dialects from further away: Czech in windows-1250, Spanish of Mexico, a spreadsheet's days."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

from unrung.units import UNITS_UL

from .dialects import put
from .more_dialects import lines_of, pours_of
from .quiet_bar import QuietBar


def _text(rows: Sequence[Sequence[str]], between: str) -> str:
    return "".join(between.join(row) + "\r\n" for row in rows)


def _comma(value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


# --- Czechia: windows-1250, "59,00 Kč", quantities such as 1,000, days without zeros, a sum; UTF-16 tabs


def write_czech(bar: QuietBar, folder: Path) -> None:
    for day in bar.days:
        rows = [("Účtenka č.", "Datum", "Čas", "Středisko", "Položka", "Množství", "Cena celkem", "Stav")]
        lines = lines_of(bar, day)
        rows += [
            (str(line.check), f"{line.at.day}.{line.at.month}.{line.at.year}",
             f"{line.at.hour}:{line.at:%M:%S}", line.outlet, f"{line.name} {line.size}".strip(),
             _comma(line.count, 3), f"{_comma(line.minor / 100, 2)} Kč",
             "Storno" if line.count < 0 else "Prodej")
            for line in lines
        ]
        total = sum(line.minor for line in lines)
        rows.append(("Celkem", "", "", "", "", "", f"{_comma(total / 100, 2)} Kč", ""))
        put(folder / "till", f"prodej_{day:%Y%m%d}.csv", _text(rows, ";").encode("cp1250"), day, bar.zone)
        flows = [("Kohout", "Začátek", "Konec", "Objem (l)", "Teplota (°C)")]
        flows += [
            (sale.beer.tap, f"{start:%d.%m.%Y %H:%M:%S}", f"{end:%d.%m.%Y %H:%M:%S}",
             _comma(sale.metered_ul / 1e6, 3), "5,6")
            for sale, start, end in pours_of(bar, day)
        ]
        put(folder / "meters", f"vycep_{day:%Y%m%d}.txt", _text(flows, "\t").encode("utf-16"), day, bar.zone)


# --- Mexico: "08:15:33 p. m.", months by name, a size's word under a header of its own -------------


def write_mexican(bar: QuietBar, folder: Path) -> None:
    months = ("ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic")
    for day in bar.days:
        rows = [("Folio", "Fecha y hora", "Área", "Platillo", "Tipo de vaso", "Cant.", "Importe")]
        rows += [
            (str(line.check), f"{line.at:%d/%m/%Y %I:%M:%S} {'a' if line.at.hour < 12 else 'p'}. m.",
             line.outlet, line.name, line.size, str(line.count),
             f"{'-' if line.minor < 0 else ''}${abs(line.minor) / 100:.2f}")
            for line in lines_of(bar, day)
        ]
        put(folder / "till", f"ventas_{day:%Y%m%d}.csv", _text(rows, ",").encode("latin-1"), day, bar.zone)
        flows = [("Llave", "Hora inicio", "Hora fin", "Mililitros")]
        flows += [
            (sale.beer.tap,
             *(f"{at.day}-{months[at.month - 1]}-{at.year} {at:%H:%M:%S}" for at in (start, end)),
             str(sale.metered_ul // 1000))
            for sale, start, end in pours_of(bar, day)
        ]
        put(folder / "meters", f"flujo_{day:%Y%m%d}.csv", _text(flows, ",").encode("latin-1"), day, bar.zone)


# --- Texas: a spreadsheet's days, a title, and a closing line with a count of its own; gallons ------


def write_spreadsheet(bar: QuietBar, folder: Path) -> None:
    for day in bar.days:
        rows = [
            (str(line.check), _sheet_day(line.at), f"{line.name} {line.size}".strip(), str(line.count),
             f"{line.minor / 100:.2f}")
            for line in lines_of(bar, day)
        ]
        above = [("Item detail", "", "", "", ""), ("Chk", "Rung", "Item", "Qty", "Amount")]
        foot = (f"*** {len(rows)} lines ***", "", "", "", "")
        put(folder / "till", f"s{day:%y%m%d}.txt", _text([*above, *rows, foot], "|").encode(), day, bar.zone)
        flows = [("Tap", "Start", "End", "Gal")]
        flows += [
            (sale.beer.tap, _sheet_day(start), _sheet_day(end),
             f"{sale.metered_ul / float(UNITS_UL['us_gal']):.5f}")
            for sale, start, end in pours_of(bar, day)
        ]
        put(folder / "meters", f"f{day:%y%m%d}.csv", _text(flows, ",").encode(), day, bar.zone)


def _sheet_day(at: datetime) -> str:
    return f"{(at.replace(tzinfo=None) - datetime(1899, 12, 30)).total_seconds() / 86_400:.6f}"  # noqa: DTZ001
