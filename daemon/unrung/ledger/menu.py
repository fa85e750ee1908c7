"""What a menu item is made of on a given business day."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable
from datetime import date
from math import inf

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
        self._near: dict[tuple[str, int], tuple[float, float]] = {}
        live = [row for row in rows if (row.valid_from or day) <= day <= (row.valid_to or day)]
        for row in _newest(live):
            self._by_item[_key(row.item)].append(row)

    def portions(
        self, item: str, size: str, price_level: str, modifier: str
    ) -> tuple[MenuRow, ...] | None:
        """The portions of one unit, in the menu's order; None for an item that is not listed, empty
        for one listed as not draught. A blank cell in the menu fits anything; the rows that agree in
        most cells win, and among as many the size counts before price level and modifier."""
        asked = (item, size, price_level, modifier)
        if asked not in self._found:
            self._found[asked] = self._look_up(*map(_key, asked))
        return self._found[asked]

    def named(self, text: str) -> tuple[MenuRow, ...] | None:
        """The portions of what somebody wrote down by hand: "Amber", "Amber Pint" or "Pint Amber"."""
        found = self.portions(text, "", "", "")
        if found is not None:
            return found
        asked = _key(text)
        for item, rows in self._by_item.items():
            for size in {_key(row.size) for row in rows} - {""}:
                if asked in (f"{item} {size}", f"{size} {item}", f"{size} of {item}"):
                    return self.portions(item, size, "", "")
        return None

    def sizes_of(self, product: str) -> list[int]:
        """The portion sizes of one product, in microlitres."""
        if self._sizes is None:
            self._sizes = self.sizes()
        return self._sizes.get(product, [])

    def nearest(self, product: str, portion_ul: int) -> tuple[float, float]:
        """Twice the least and the most that no other size of a product is nearer to than a portion of it."""
        asked = (product, portion_ul)
        found = self._near.get(asked)
        if found is None:
            sizes = self.sizes_of(product)
            below = max((size for size in sizes if size < portion_ul), default=-inf)
            above = min((size for size in sizes if size > portion_ul), default=inf)
            found = self._near[asked] = (below + portion_ul, above + portion_ul)
        return found

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
                alone = len([other for other in rows if _cells(other) == _cells(row)]) == 1
                if row.product == product and row.price_minor and row.portion_ul and alone:
                    return row.price_minor * 1_000_000 / row.portion_ul
        return None

    def _look_up(self, item: str, size: str, price_level: str, modifier: str) -> tuple[MenuRow, ...] | None:
        rows = self._by_item.get(item, ())
        scores = [_score(row, size, price_level, modifier) for row in rows]
        best = max((score for score in scores if score is not None), default=None)
        if best is None:
            return None
        return tuple(row for row, score in zip(rows, scores, strict=True) if score == best and row.product)


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


def _score(row: MenuRow, size: str, price_level: str, modifier: str) -> tuple[int, ...] | None:
    """How many cells agree, and which; None where one is set and differs. Rows with equal scores
    have equal cells, so that no unit is ever made of the portions of two."""
    agree = []
    for mine, asked in zip(_cells(row), (size, price_level, modifier), strict=True):
        if mine and mine != asked:
            return None
        agree.append(int(bool(mine)))
    return (sum(agree), *agree)


def _cells(row: MenuRow) -> tuple[str, str, str]:
    return _key(row.size), _key(row.price_level), _key(row.modifier)


def _newest(rows: Iterable[MenuRow]) -> list[MenuRow]:
    """Of a product's rows in one item, those with the latest start: a row that starts later takes
    the place of the earlier one, whether or not that was given an end."""
    groups: dict[tuple[str, ...], list[MenuRow]] = defaultdict(list)
    for row in rows:
        groups[_key(row.item), *_cells(row), row.product].append(row)
    return [
        row for group in groups.values() for row in group
        if row.valid_from == max((one.valid_from for one in group if one.valid_from), default=None)
    ]
