"""What a log entry says: how much, of which product."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.inputs import LogLine
from unrung.ledger.menu import Menu
from unrung.ledger.outlets import Outlets
from unrung.settings import Settings


@dataclass(frozen=True, slots=True)
class Names:
    """What people write down, to what the tables call it."""

    menu: Menu
    outlets: Outlets
    products: Mapping[str, str]
    """Product in lower case to its name."""

    def product(self, name: str) -> str:
        """A product as ``products.csv`` writes it; an unknown one stands as it is."""
        return self.products.get(name.casefold(), name)


class Saying(NamedTuple):
    """Some volume of one product; "" for any product of the entry's tap or outlet."""

    product: str
    volume_ul: int


def names_of(menu: Menu, settings: Settings) -> Names:
    """The names of the menu's day."""
    products = {row.product.casefold(): row.product for row in settings.products}
    return Names(menu, Outlets(settings), products)


def sayings(log: LogLine, names: Names) -> list[Saying]:
    """What an entry says, product by product: its volume, or its units of a menu item; 0 where
    neither can be told. Never empty."""
    product = names.product(log.product)
    portions = names.menu.named(log.item) if log.item else None
    whole: Counter[str] = Counter()
    for row in portions or ():
        whole[row.product] += row.portion_ul
    if log.volume_ul is not None:
        only = next(iter(whole)) if len(whole) == 1 else ""
        return [Saying(product or only, log.volume_ul)]
    units = Fraction(log.units_micro, 1_000_000)
    found = [Saying(name, round(volume * units)) for name, volume in whole.items()]
    if product:
        return [Saying(product, sum(volume for _, volume in found))]
    return found or [Saying("", 0)]


def log_order(log: LogLine) -> tuple[object, ...]:
    """Entries in order of time, equal times by content; those without a time last."""
    return (
        log.at_ms is None, log.at_ms or 0, log.end_ms or 0, log.reason, log.outlet, log.tap, log.product,
        log.item, log.units_micro, log.volume_ul or 0, log.origin, log.id,
    )
