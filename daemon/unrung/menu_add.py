"""``unrung add-item``: one row more in ``menu.csv``, proposed as far as anything tells it."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from pathlib import Path
from tempfile import TemporaryDirectory

from unrung.config_folder import load
from unrung.config_tables import OPTIONAL, TABLES
from unrung.config_words import nearest
from unrung.errors import ConfigError, StoreError
from unrung.menu_check import list_unlisted
from unrung.menu_evidence import seen_portions
from unrung.menu_rows import NewRow, add_row, likely_product, proposed
from unrung.settings import Settings
from unrung.store.open import Store, look_at_store
from unrung.units import UNIT_LABELS, UNITS_UL

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the command line says of the item."""

    item: str
    size: str = ""
    product: str = ""
    portion: str = ""
    unit: str = ""
    price: str = ""
    since: str = ""
    not_draught: bool = False


def say_unlisted(config: Path, now_ms: int, say: Say) -> bool:
    """Say which rows ``menu.csv`` lacks; False where none."""
    settings, lines = load(config), list[str]()
    db = _store(settings)
    list_unlisted(db, settings, {}, lines, config, now_ms)
    for line in lines:
        say(line)
    return bool(lines)


def add_item(config: Path, wanted: Wanted, now_ms: int, say: Say) -> None:
    """Add the row, if the config folder then still holds together. Raises ConfigError."""
    settings = load(config)
    row = _row(settings, wanted, now_ms)
    _refuse_twice(settings, row)
    with TemporaryDirectory(prefix="unrung-menu-") as aside:
        for name in ("venue.toml", *TABLES, *OPTIONAL):
            if (config / name).exists():
                shutil.copyfile(config / name, Path(aside) / name)
        add_row(Path(aside), row, settings.venue.volume_unit)
        load(Path(aside))
    line = add_row(config, row, settings.venue.volume_unit)
    say(f"Added to menu.csv: {line}")
    if row.why and row.product:
        say(f"Its portion: {row.portion} {UNIT_LABELS[row.unit or settings.venue.volume_unit]}, {row.why}.")
    say("Days on which it was sold are computed again, and issued again where they differ.")


def _row(settings: Settings, wanted: Wanted, now_ms: int) -> NewRow:
    """The row as wanted, and as proposed where nothing is said."""
    if wanted.not_draught:
        return NewRow(wanted.item, wanted.size, "", price=wanted.price, since=wanted.since)
    products = [row.product for row in settings.products]
    product = wanted.product or likely_product(wanted.item, wanted.size, products)
    if not product:
        raise ConfigError([f"{wanted.item!r} looks like none of the products; name one with --product"])
    if product not in products:
        raise ConfigError([f"product {product!r} is not in products.csv{nearest(product, products)}"])
    if wanted.portion:
        _check_portion(wanted)
        return NewRow(
            wanted.item, wanted.size, product, wanted.portion, wanted.unit, wanted.price, wanted.since
        )
    key = (wanted.item, wanted.size)
    db = _store(settings)
    seen = seen_portions(db, settings, [(*key, product)], now_ms) if db is not None else {}
    row = proposed(settings, *key, product, seen.get(key))
    if not row.portion:
        raise ConfigError([f"nothing tells how much of {product} one {wanted.item!r} takes; add --portion"])
    return NewRow(
        row.item, row.size, product, row.portion, row.unit, wanted.price, wanted.since, row.why
    )


def _refuse_twice(settings: Settings, row: NewRow) -> None:
    """An item may have a row for each of its beers, and none beside "no draught beer"."""
    if row.since:
        return
    for known in settings.menu:
        same = (known.item.casefold(), known.size.casefold()) == (row.item.casefold(), row.size.casefold())
        if same and (known.product == row.product or not known.product or not row.product):
            name = " ".join(filter(None, (row.item, row.size)))
            said = f"as {known.product}" if known.product else "as no draught beer"
            raise ConfigError([f"menu.csv lists {name!r} already, {said}; edit that row, or add --from DATE"])


def _check_portion(wanted: Wanted) -> None:
    try:
        good = Decimal(wanted.portion) > 0
    except InvalidOperation:
        good = False
    if not good:
        raise ConfigError([f"--portion is {wanted.portion!r}; write a number such as 16 or 0.5"])
    if wanted.unit and wanted.unit not in UNITS_UL:
        raise ConfigError([f"--unit {wanted.unit!r} is not known{nearest(wanted.unit, UNITS_UL)}"])


def _store(settings: Settings) -> Store | None:
    try:
        return look_at_store(Path(settings.folder) / settings.files.store)
    except StoreError:
        return None
