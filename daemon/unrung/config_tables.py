"""products.csv, menu.csv and taps.csv: rows to models, every problem with its line."""

from __future__ import annotations

import csv
import io
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ValidationError

from unrung import units
from unrung.config_words import nearest, sentences
from unrung.errors import UnrungError
from unrung.settings import MenuRow, Product, Settings, TapRow

TABLES = ("products.csv", "menu.csv", "taps.csv")
COLUMNS = {
    "products.csv": ("product", "keg_size", "keg_cost", "valid_from"),
    "menu.csv": ("item", "size", "price_level", "modifier", "product", "portion", "unit", "price",
                 "sold_by", "from", "to"),
    "taps.csv": ("tap", "meter", "outlet", "product", "metered", "from", "to", "pulses_per_litre",
                 "line_volume"),
}
MODELS: dict[str, type[BaseModel]] = {
    "products.csv": Product, "menu.csv": MenuRow, "taps.csv": TapRow,
}
NEEDED = {
    "products.csv": ("product",),
    "menu.csv": ("item", "product", "portion"),
    "taps.csv": ("tap", "outlet", "product"),
}


Row = tuple[int, dict[str, str]]


def read_table(path: Path, digest: Any, problems: list[str]) -> list[Row]:
    """The rows of a table as (line, cells); a spreadsheet's BOM and blank lines are no matter."""
    try:
        content = path.read_bytes()
        digest.update(content)
        text = content.decode("utf-8-sig")
    except FileNotFoundError:
        problems.append(f"{path} is not there.")
        return []
    except UnicodeDecodeError as error:
        problems.append(f"{path.name}: byte {error.start} is not UTF-8; save as 'CSV UTF-8'.")
        return []
    delimiter = ";" if text.split("\n", 1)[0].count(";") > text.split("\n", 1)[0].count(",") else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        header = [cell.strip().lower() for cell in next(reader, [])]
        _check_header(path.name, header, problems)
        return [
            (reader.line_num, dict(zip(header, (cell.strip() for cell in row), strict=False)))
            for row in reader
            if any(cell.strip() for cell in row) and not row[0].lstrip().startswith("#")
        ]
    except csv.Error as error:
        problems.append(f"{path.name}, line {reader.line_num}: {error}.")
        return []


def _check_header(name: str, header: list[str], problems: list[str]) -> None:
    known = COLUMNS[name]
    problems += [
        f"{name}: column {cell!r} is not known{nearest(cell, known)}."
        for cell in header if cell and cell not in known
    ]
    problems += [f"{name}: column {cell!r} is missing." for cell in NEEDED[name] if cell not in header]


def make_rows(rows: dict[str, list[Row]], settings: Settings, problems: list[str]) -> dict[str, Any]:
    makers = {"products.csv": _product, "menu.csv": _menu_row, "taps.csv": _tap_row}
    made: dict[str, list[Any]] = {}
    for name, maker in makers.items():
        made[name.removesuffix(".csv")] = out = []
        for line, cells in rows[name]:
            try:
                out.append(maker(cells, settings))
            except ValidationError as error:
                problems += [f"{name}, line {line}: {text}" for text in sentences(error, MODELS[name])]
            except (UnrungError, ValueError) as error:
                problems.append(f"{name}, line {line}: {error}")
    return {name: tuple(out) for name, out in made.items()}


def _product(cells: dict[str, str], settings: Settings) -> Product:
    size = cells.get("keg_size", "")
    return Product(
        product=_need(cells, "product"),
        keg_size_ul=units.keg_size_ul(size) if size else None,
        keg_cost_minor=_money(cells, "keg_cost", settings),
        valid_from=_date(cells, "valid_from"),
    )


def _menu_row(cells: dict[str, str], settings: Settings) -> MenuRow:
    product = cells.get("product", "")
    unit = cells.get("unit", "") or settings.venue.volume_unit
    if unit not in units.UNITS_UL:
        raise UnrungError(f"unit {unit!r} is not known{nearest(unit, units.UNITS_UL)}")
    portion = _number(cells, "portion") if product else Decimal(0)
    if product and not portion:
        raise UnrungError("portion is missing: how much beer does one of these take?")
    sold_by = cells.get("sold_by", "") or "unit"
    return MenuRow(
        item=_need(cells, "item"), product=product, portion_ul=units.to_ul(portion or Decimal(0), unit),
        size=cells.get("size", ""), price_level=cells.get("price_level", ""),
        modifier=cells.get("modifier", ""), price_minor=_money(cells, "price", settings),
        sold_by=sold_by,
        valid_from=_date(cells, "from"), valid_to=_date(cells, "to"),
    )


def _tap_row(cells: dict[str, str], settings: Settings) -> TapRow:
    metered = cells.get("metered", "").lower() or "yes"
    if metered not in ("yes", "no", "true", "false", "1", "0"):
        raise UnrungError(f"metered is {metered!r}; write yes or no")
    line_volume = _number(cells, "line_volume")
    from_day, from_ms = _moment(cells, "from", settings)
    to_day, to_ms = _moment(cells, "to", settings)
    return TapRow(
        tap=_need(cells, "tap"), outlet=_need(cells, "outlet"), product=_need(cells, "product"),
        meter=cells.get("meter", ""), metered=metered in ("yes", "true", "1"),
        valid_from=from_day, valid_to=to_day, from_ms=from_ms, to_ms=to_ms,
        pulses_per_litre=_number(cells, "pulses_per_litre"),
        line_volume_ul=units.to_ul(line_volume, settings.venue.volume_unit) if line_volume else 0,
    )


def _need(cells: dict[str, str], column: str) -> str:
    if not cells.get(column):
        raise UnrungError(f"{column} is empty")
    return cells[column]


def _number(cells: dict[str, str], column: str) -> Decimal | None:
    text = cells.get(column, "")
    if not text:
        return None
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise UnrungError(f"{column} is {text!r}; write a number such as 16 or 0.5") from None
    if not value.is_finite() or value < 0:
        raise UnrungError(f"{column} is {text!r}; it must not be negative")
    return value


def _money(cells: dict[str, str], column: str, settings: Settings) -> int | None:
    value = _number(cells, column)
    return None if value is None else round(value.scaleb(settings.currency_digits))


def _date(cells: dict[str, str], column: str) -> date | None:
    text = cells.get(column, "")
    try:
        return date.fromisoformat(text) if text else None
    except ValueError:
        raise UnrungError(f"{column} is {text!r}; write a date such as 2026-10-27") from None


def _moment(cells: dict[str, str], column: str, settings: Settings) -> tuple[date | None, int | None]:
    """A date, or a local date and time: 2026-10-27 or 2026-10-27T18:05."""
    text = cells.get(column, "")
    if len(text) <= 10:
        return _date(cells, column), None
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        raise UnrungError(f"{column} is {text!r}; write 2026-10-27 or 2026-10-27T18:05") from None
    if local.tzinfo is None:
        local = local.replace(tzinfo=ZoneInfo(settings.venue.timezone))
    return None, round(local.timestamp() * 1000)
