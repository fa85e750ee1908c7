"""Items of the till that ``menu.csv`` does not list: which look like draught, and the row to add."""

from __future__ import annotations

import csv
import io
import os
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from pathlib import Path

from unrung.config_tables import COLUMNS, delimiter_of
from unrung.errors import ConfigError
from unrung.ledger.menu import Menu, resembles
from unrung.settings import MenuRow, Settings
from unrung.setup.portions import Seen, snapped
from unrung.setup.sizes import taken_apart
from unrung.setup.words import plain
from unrung.shell_words import as_word
from unrung.units import UNITS_UL, from_ul, to_ul

Asked = tuple[str, str, str, str]
"""Item, size, price level, modifier, as the till writes them."""


@dataclass(frozen=True, slots=True)
class NewRow:
    """A row for ``menu.csv``; ``portion`` is empty where nothing tells it."""

    item: str
    size: str
    product: str
    portion: str = ""
    unit: str = ""
    price: str = ""
    since: str = ""
    why: str = ""


def lookalikes(settings: Settings, sold: Mapping[Asked, int], day: date) -> dict[tuple[str, str, str], int]:
    """(item, size, product) of unlisted items whose names look like a listed product, and how often
    each was sold. ``day``: the business day as of which the menu counts."""
    menu, products = Menu(settings.menu, day), [row.product for row in settings.products]
    counts: Counter[tuple[str, str, str]] = Counter()
    for asked, count in sorted(sold.items()):
        product = likely_product(asked[0], asked[1], products)
        if product and menu.portions(*asked) is None:
            counts[asked[0], asked[1], product] += count
    return dict(counts)


def likely_product(item: str, size: str, products: Sequence[str]) -> str:
    """The product that an item's name speaks of, or "": by its telling words, or by being the very
    name but for a size."""
    base = plain(taken_apart(item, size).base)
    return resembles(item, products) or next((name for name in products if plain(name) == base), "")


def proposed(
    settings: Settings, item: str, size: str, product: str, seen: Seen | None = None
) -> NewRow:
    """A row for one item of ``product``: its portion by its name, else as other items of that size,
    else as the pours beside its rings (``seen``)."""
    named = taken_apart(item, size)
    if named.volume_ul is not None:
        return _row(settings, item, size, product, named.volume_ul, "by its name")
    alike = _same_word(settings.menu, named.word)
    if alike:
        return _row(settings, item, size, product, _most_usual(alike), f"as other items of {named.word!r}")
    pints = _pints(settings.menu) if named.pints else []
    if pints and named.pints:
        whole = _most_usual(pints)
        return _row(settings, item, size, product, round(whole * named.pints), "by the pint of the menu")
    if seen is not None and seen.pours >= 2:
        us = settings.venue.volume_unit == "us_fl_oz"
        portion = snapped(seen, metric=not us, imperial=False)
        return NewRow(item, size, product, portion.number, portion.unit, why=portion.why)
    return NewRow(item, size, product, why="nothing tells how much one takes")


def _row(settings: Settings, item: str, size: str, product: str, volume_ul: int, why: str) -> NewRow:
    number, unit = _written(volume_ul, settings)
    return NewRow(item, size, product, number, unit, why=why)


def _most_usual(portions: Sequence[int]) -> int:
    counts = Counter(portions)
    return min(counts, key=lambda each: (-counts[each], each))


def add_command(row: NewRow, config: str) -> str:
    """The command that adds ``row``; "" where the item's name holds what a shell might take for more
    than text. A portion that nothing tells stands as N, to be filled in."""
    if not all(re.fullmatch(r"[\w][\w .,/+#()'-]*", text) for text in (row.item, row.size) if text):
        return ""
    size = f' --size "{row.size}"' if row.size else ""
    return f'unrung add-item {as_word(config)} "{row.item}"{size}{"" if row.portion else " --portion N"}'


def add_row(config: Path, row: NewRow, venue_unit: str) -> str:
    """Append ``row`` to ``menu.csv`` in that file's own form, and return the line.

    The file is written aside and renamed. Raises ConfigError where it cannot be read, or lacks a
    column that the row needs.
    """
    path = config / "menu.csv"
    try:
        content = path.read_bytes()
        text = content.decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise ConfigError([f"{path} cannot be read: {error}"]) from error
    line = line_for(text, row, venue_unit)
    end = "\r\n" if "\r\n" in text else "\n"
    whole = content + (b"" if text.endswith(("\n", "\r")) or not text else end.encode())
    aside = path.with_name(f".{path.name}.new")
    aside.write_bytes(whole + (line + end).encode())
    os.replace(aside, path)
    return line


def line_for(text: str, row: NewRow, venue_unit: str) -> str:
    """The row as a line of a menu whose text is ``text``: its columns, its delimiter. Where that has
    no column for it, the unit is the venue's. Raises ConfigError where another column is lacking."""
    header, delimiter = columns_of(text.splitlines()[0] if text else ",".join(COLUMNS["menu.csv"]))
    cells = {
        "item": row.item, "size": row.size, "product": row.product, "portion": row.portion,
        "unit": row.unit, "price": row.price, "from": row.since,
    }
    if row.unit and "unit" not in header:
        cells["portion"] = _in_unit(row, venue_unit)
        cells["unit"] = ""
    lacking = [name for name, cell in cells.items() if cell and name not in header]
    if lacking:
        raise ConfigError([
            f"menu.csv has no column {name!r}; add it to the first line (cells below may stay empty)"
            for name in lacking
        ])
    numbers = ("portion", "price")
    if delimiter == ";":
        cells.update({name: cells[name].replace(".", ",") for name in numbers})
    return written(cells, header, delimiter)


def columns_of(first: str) -> tuple[list[str], str]:
    """The columns that a table's first line names, and what stands between its cells."""
    delimiter = delimiter_of(first)
    return [cell.strip().lower() for cell in next(csv.reader([first], delimiter=delimiter))], delimiter


def written(cells: Mapping[str, str], header: Sequence[str], delimiter: str) -> str:
    """A line of a table with such columns; cells that ``cells`` lacks are empty."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator="").writerow([cells.get(name, "") for name in header])
    return out.getvalue()


def _in_unit(row: NewRow, unit: str) -> str:
    """A row's portion in another unit, to the thousandth."""
    if row.unit == unit:
        return row.portion
    return f"{from_ul(to_ul(Decimal(row.portion), row.unit), unit, 3).normalize():f}"


def _same_word(menu: Sequence[MenuRow], word: str) -> list[int]:
    """Portions of items of one beer whose size is called the same."""
    return [
        row.portion_ul for row in _single(menu)
        if word and plain(taken_apart(row.item, row.size).word) == plain(word)
    ]


def _pints(menu: Sequence[MenuRow]) -> list[int]:
    """What a pint takes, by the menu's items that are sold by it."""
    found = []
    for row in _single(menu):
        pints = taken_apart(row.item, row.size).pints
        if pints:
            found.append(round(row.portion_ul / pints))
    return found


def _single(menu: Sequence[MenuRow]) -> list[MenuRow]:
    beers = Counter((row.item, row.size) for row in menu)
    return [row for row in menu if row.product and beers[row.item, row.size] == 1]


def _written(volume_ul: int, settings: Settings) -> tuple[str, str]:
    """A volume in the venue's unit where that is short, else in millilitres."""
    for unit in (settings.venue.volume_unit, "imp_pt", "ml"):
        number = from_ul(volume_ul, unit, 3)
        if abs(number * 2 - round(number * 2)) < (UNITS_UL["ml"] / UNITS_UL[unit]) / 500:
            return f"{round(number * 2) / 2:g}", unit
    return f"{from_ul(volume_ul, 'ml', 3).normalize():f}", "ml"
