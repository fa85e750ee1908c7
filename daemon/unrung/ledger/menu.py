"""What a menu item is made of on a given business day."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from datetime import date

from unrung.settings import MenuRow

_COMMON = frozenset(
    "a an and the of half pint pints glass pitcher jug tall small large draught draft beer ale lager "
    "bitter stout porter ipa pale pils pilsner cider wheat amber brown golden house oz ml cl l on tap".split()
)
"""Words too common on a menu to tell one product from another."""


class Menu:
    """``menu.csv`` as of one day, looked up by what the till writes."""

    def __init__(self, rows: Iterable[MenuRow], day: date) -> None:
        self._by_item: dict[str, list[MenuRow]] = defaultdict(list)
        self._found: dict[tuple[str, str, str, str], tuple[MenuRow, ...] | None] = {}
        self._sizes: dict[str, list[int]] | None = None
        for row in rows:
            if (row.valid_from or day) <= day and (row.valid_to is None or day <= row.valid_to):
                self._by_item[_key(row.item)].append(row)

    def portions(
        self, item: str, size: str, price_level: str, modifier: str
    ) -> tuple[MenuRow, ...] | None:
        """The portions of one unit, in the menu's order; None for an item that is not listed, empty
        for one listed as not draught. A blank cell in the menu fits anything; the rows that agree in
        most cells win."""
        asked = (item, size, price_level, modifier)
        if asked not in self._found:
            self._found[asked] = self._look_up(*map(_key, asked))
        return self._found[asked]

    def sizes_of(self, product: str) -> list[int]:
        """The portion sizes of one product, in microlitres."""
        if self._sizes is None:
            self._sizes = self.sizes()
        return self._sizes.get(product, [])

    def sizes(self) -> dict[str, list[int]]:
        """Every portion size on the menu, per product, in microlitres."""
        found: dict[str, set[int]] = defaultdict(set)
        for rows in self._by_item.values():
            for row in rows:
                if row.product and row.sold_by == "unit":
                    found[row.product].add(row.portion_ul)
        return {product: sorted(sizes) for product, sizes in sorted(found.items())}

    def price_per_litre(self, product: str) -> float | None:
        """Menu price of a litre, from the first priced row that is this product alone."""
        for rows in self._by_item.values():
            for row in rows:
                if row.product == product and row.price_minor and len(self._alike(row, rows)) == 1:
                    return row.price_minor * 1_000_000 / row.portion_ul
        return None

    def _look_up(self, item: str, size: str, price_level: str, modifier: str) -> tuple[MenuRow, ...] | None:
        best: list[MenuRow] = []
        best_score = -1
        for row in self._by_item.get(item, ()):
            score = _score(row, size, price_level, modifier)
            if score > best_score:
                best, best_score = [row], score
            elif score == best_score and score >= 0:
                best.append(row)
        if best_score < 0:
            return None
        return tuple(row for row in best if row.product)

    def _alike(self, row: MenuRow, rows: Sequence[MenuRow]) -> list[MenuRow]:
        mine = (row.size, row.price_level, row.modifier)
        return [other for other in rows if (other.size, other.price_level, other.modifier) == mine]


def resembles(item: str, products: Iterable[str]) -> str:
    """The product whose telling words all stand in an unlisted item's name, or "".

    >>> resembles("Sluice Gate Snifter", ["Sluice Gate Bitter", "Towpath Lager"])
    'Sluice Gate Bitter'
    >>> resembles("Towpath Burger & Lager", ["Mill Pond Lager"])
    ''
    """
    words = set(_words(item))
    for product in products:
        telling = {word for word in _words(product) if word not in _COMMON}
        if telling and telling <= words:
            return product
    return ""


def _words(text: str) -> list[str]:
    return re.findall(r"\w+", text.casefold())


def _key(text: str) -> str:
    return " ".join(text.casefold().split())


def _score(row: MenuRow, size: str, price_level: str, modifier: str) -> int:
    """How many cells agree; -1 where one is set and differs."""
    score = 0
    for mine, asked in ((row.size, size), (row.price_level, price_level), (row.modifier, modifier)):
        if mine:
            if _key(mine) != asked:
                return -1
            score += 1
    return score
