"""products.csv, menu.csv, taps.csv and fixes.csv: rows to models, every problem with its line."""

from __future__ import annotations

import csv
import hashlib
import io
from decimal import Decimal
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import ValidationError

from unrung import units
from unrung.config_cells import Cells, day, moment, money, needed, number, with_point
from unrung.config_words import nearest, sentences, stopped
from unrung.errors import UnrungError
from unrung.finding_names import SHOWN
from unrung.settings import Fix, MenuRow, Product, Section, TapRow

TABLES = ("products.csv", "menu.csv", "taps.csv")
OPTIONAL = ("fixes.csv",)
"""Read where it is there."""
COLUMNS = {
    "products.csv": ("product", "keg_size", "keg_cost", "valid_from"),
    "menu.csv": ("item", "size", "price_level", "modifier", "product", "portion", "unit", "price",
                 "sold_by", "from", "to"),
    "taps.csv": ("tap", "meter", "outlet", "product", "metered", "from", "to", "pulses_per_litre",
                 "line_volume", "counter_modulus"),
    "fixes.csv": ("date", "tap", "product", "what", "finding"),
}
MODELS: dict[str, type[Section]] = {
    "products.csv": Product, "menu.csv": MenuRow, "taps.csv": TapRow, "fixes.csv": Fix,
}
NEEDED = {
    "products.csv": ("product",),
    "menu.csv": ("item", "product", "portion"),
    "taps.csv": ("tap", "outlet", "product"),
    "fixes.csv": ("date", "what"),
}
_NUMBERS = ("keg_size", "keg_cost", "portion", "price", "pulses_per_litre", "line_volume",
            "counter_modulus")


class Ground(NamedTuple):
    """What a table's cells need to know of the venue."""

    zone: str
    volume_unit: str
    currency_digits: int


Row = tuple[int, dict[str, str]]
Made = tuple[int, Any]
"""Line in the table, and the model of the row."""


def read_table(path: Path, digest: Any, problems: list[str]) -> list[Row]:
    """The rows of a table as (line, cells); a spreadsheet's BOM, semicolons and blank lines are no
    matter."""
    text = _text(path, digest, problems)
    delimiter = delimiter_of(text.split("\n", 1)[0])
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    found: list[Row] = []
    try:
        header = [cell.strip().lower() for cell in next(reader, [])]
        if len(header) == 1 and "\t" in header[0]:
            problems.append(f"{path.name}, line 1: tabs stand between the cells; save it as 'CSV UTF-8'.")
            return []
        if not text or not _header_is_good(path.name, header, problems):
            return []
        for cells in reader:
            if any(map(str.strip, cells)) and not cells[0].lstrip().startswith("#"):
                _check_width(path.name, reader.line_num, cells, header, delimiter, problems)
                found.append((reader.line_num, _named(header, cells, delimiter)))
    except csv.Error as error:
        problems.append(f"{path.name}, line {reader.line_num}: {error}; is a quote left open?")
    return found


def delimiter_of(first: str) -> str:
    """What stands between the cells of a table, by its first line."""
    return ";" if first.count(";") > first.count(",") else ","


def make_rows(rows: dict[str, list[Row]], ground: Ground, problems: list[str]) -> dict[str, list[Made]]:
    """Table ("products", "menu", "taps", "fixes") to its rows as models, with their lines."""
    makers = {
        "products.csv": _product, "menu.csv": _menu_row, "taps.csv": _tap_row, "fixes.csv": _fix,
    }
    made: dict[str, list[Made]] = {}
    for name, maker in makers.items():
        made[name.removesuffix(".csv")] = out = []
        for line, cells in rows[name]:
            try:
                out.append((line, maker(cells, ground)))
            except ValidationError as error:
                problems += [f"{name}, line {line}: {text}" for text in sentences(error, MODELS[name])]
            except (UnrungError, ValueError) as error:
                problems.append(f"{name}, line {line}: {stopped(str(error))}")
    return made


def _fix(cells: Cells, ground: Ground) -> Fix:
    wrong, fixed = [], None
    try:
        fixed = day(cells, "date")
    except UnrungError as error:
        wrong.append(str(error))
    finding = cells.get("finding", "").lower().replace(" ", "_")
    if not cells.get("date"):
        wrong.append("date is empty; write the day of the fix, such as 2026-10-27.")
    if not cells.get("what"):
        wrong.append("what is empty; say in a few words what was mended.")
    if finding and finding not in SHOWN:
        wrong.append(f"finding {cells['finding']!r} is not known{nearest(finding, SHOWN)}")
    if wrong or fixed is None:
        raise UnrungError(" ".join(map(stopped, wrong)))
    return Fix(
        day=fixed, what=cells["what"], tap=cells.get("tap", ""), product=cells.get("product", ""),
        finding=finding,
    )


def _text(path: Path, digest: Any, problems: list[str]) -> str:
    try:
        content = path.read_bytes()
        digest.update(content)
        return content.decode("utf-8-sig")
    except FileNotFoundError:
        problems.append(f"{path} is not there.")
    except OSError as error:
        problems.append(f"{path} cannot be read: {error.strerror}.")
    except UnicodeDecodeError as error:
        line = 1 + content[: error.start].count(b"\n")
        problems.append(
            f"{path.name}, line {line}: byte {error.start} is not UTF-8; save it as 'CSV UTF-8'.")
    return ""


def _header_is_good(name: str, header: list[str], problems: list[str]) -> bool:
    known = COLUMNS[name]
    found = [
        f"{name}, line 1: column {cell!r} is not known{nearest(cell, known)}"
        for cell in header if cell and cell not in known
    ]
    found += [f"{name}, line 1: column {cell!r} is missing." for cell in NEEDED[name] if cell not in header]
    found += [f"{name}, line 1: there are two columns {cell!r}." for cell in known if header.count(cell) > 1]
    problems += found
    return all(cell in header for cell in NEEDED[name])


def _check_width(
    name: str, line: int, cells: list[str], header: list[str], delimiter: str, problems: list[str]
) -> None:
    if any(map(str.strip, cells[len(header):])):
        problems.append(
            f"{name}, line {line}: {len(cells)} cells where the header has {len(header)}; put a cell "
            f"with a {delimiter!r} in it into double quotes."
        )


def repeated_rows(folder: Path) -> list[str]:
    """Rows of the tables that say word for word what an earlier one says, as sentences; they count once."""
    found = []
    for name in TABLES:
        first: dict[tuple[tuple[str, str], ...], int] = {}
        for line, cells in read_table(folder / name, hashlib.sha256(), []):
            known = first.setdefault(tuple(cells.items()), line)
            if known != line:
                said = f"{name}, line {line} says the same as line {known}"
                found.append(f"{said}; it counts once. Take one out.")
    return found


def _named(header: list[str], cells: list[str], delimiter: str) -> dict[str, str]:
    named = dict(zip(header, map(str.strip, cells), strict=False))
    surely = delimiter == ";"
    named.update({name: with_point(text, surely=surely) for name, text in named.items() if name in _NUMBERS})
    return named


def _product(cells: Cells, ground: Ground) -> Product:
    size = cells.get("keg_size", "")
    return Product(
        product=needed(cells, "product"),
        keg_size_ul=units.keg_size_ul(size) if size else None,
        keg_cost_minor=money(cells, "keg_cost", ground.currency_digits),
        valid_from=day(cells, "valid_from"),
    )


def _menu_row(cells: Cells, ground: Ground) -> MenuRow:
    product = cells.get("product", "")
    unit = cells.get("unit", "").lower() or ground.volume_unit
    if unit not in units.UNITS_UL:
        raise UnrungError(f"unit {unit!r} is not known{nearest(unit, units.UNITS_UL)}")
    portion = number(cells, "portion") if product else Decimal(0)
    if product and not portion:
        raise UnrungError("portion is missing: how much beer does one of these take?")
    first, last = day(cells, "from"), day(cells, "to")
    if first and last and first > last:
        raise UnrungError(f"from {first} is after to {last}")
    return MenuRow(
        item=needed(cells, "item"), product=product, portion_ul=units.to_ul(portion or Decimal(0), unit),
        size=cells.get("size", ""), price_level=cells.get("price_level", ""),
        modifier=cells.get("modifier", ""), price_minor=money(cells, "price", ground.currency_digits),
        sold_by=cells.get("sold_by", "") or "unit",
        valid_from=first, valid_to=last,
    )


def _modulus(cells: Cells) -> Decimal | None:
    """The number at which a counter starts again, such as 100000 for one of five digits."""
    modulus = number(cells, "counter_modulus")
    if modulus is not None and modulus <= 0:
        raise UnrungError(f"counter_modulus is {modulus}; write the number at which the counter starts again")
    return modulus


def _tap_row(cells: Cells, ground: Ground) -> TapRow:
    metered = cells.get("metered", "").lower() or "yes"
    if metered not in ("yes", "no", "true", "false", "1", "0"):
        raise UnrungError(f"metered is {metered!r}; write yes or no")
    line_volume, pulses = number(cells, "line_volume"), number(cells, "pulses_per_litre")
    if pulses == 0:
        raise UnrungError("pulses_per_litre is 0; leave it empty where the meter counts no pulses")
    from_day, from_ms = moment(cells, "from", ground.zone)
    to_day, to_ms = moment(cells, "to", ground.zone)
    if (from_day and to_day and from_day > to_day) or (from_ms and to_ms and from_ms >= to_ms):
        raise UnrungError(f"from {cells['from']} is not before to {cells['to']}")
    return TapRow(
        tap=needed(cells, "tap"), outlet=needed(cells, "outlet"), product=needed(cells, "product"),
        meter=cells.get("meter", ""), metered=metered in ("yes", "true", "1"),
        valid_from=from_day, valid_to=to_day, from_ms=from_ms, to_ms=to_ms, pulses_per_litre=pulses,
        line_volume_ul=units.to_ul(line_volume, ground.volume_unit) if line_volume else 0,
        counter_modulus=_modulus(cells),
    )
