"""Sizes and costs of kegs, as the cellar's export has them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from decimal import Decimal

from unrung.records import KegEvent
from unrung.setup.proposal import ProductLine
from unrung.units import keg_size_ul

_NAMES = ("1/2 us_bbl", "1/4 us_bbl", "1/6 us_bbl", "firkin", "kilderkin", "pin")


def fill_kegs(products: Iterable[ProductLine], events: Iterable[KegEvent], digits: int) -> None:
    """The usual keg of each product, and what the last one delivered cost."""
    sizes: dict[str, Counter[int]] = {}
    costs: dict[str, int] = {}
    for event in sorted(events, key=lambda one: one.at_ms):
        name = event.product.casefold()
        if event.size_ul:
            sizes.setdefault(name, Counter())[event.size_ul] += 1
        if event.cost_minor is not None and event.kind == "delivery":
            costs[name] = event.cost_minor
    for product in products:
        name = product.product.casefold()
        if name in sizes:
            product.keg_size = keg_words(sizes[name].most_common(1)[0][0])
        if name in costs:
            product.keg_cost = f"{Decimal(costs[name]).scaleb(-digits):.{digits}f}"


def keg_words(size_ul: int) -> str:
    """A keg's contents as people write them.

    >>> keg_words(58_673_883), keg_words(50_000_000), keg_words(58_670_000)
    ('1/2 us_bbl', '50 l', '1/2 us_bbl')
    """
    for name in _NAMES:
        if abs(size_ul / keg_size_ul(name) - 1) < 0.001:
            return name
    return f"{Decimal(size_ul).scaleb(-6).normalize():f} l"
