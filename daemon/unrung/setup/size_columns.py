"""A column of glasses' sizes under a header that setup does not know: where it does, prices go by it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from decimal import Decimal

from unrung.setup.draft import Draft
from unrung.setup.money import form_of
from unrung.setup.numbers import value

_ENOUGH = 20
"""Rows from which it is no accident."""
_ROWS = 4
"""Rows of an item at one size from which they have a price."""


def take_sizes_by_price(draft: Draft) -> None:
    """Map ``size`` to a free column of few words that tells one price of an item from the others."""
    if draft.carries != "rings" or "size" in draft.fields or not {"item", "amount"} <= draft.fields.keys():
        return
    used = {name for names in draft.fields.values() for name in names}
    prices = _prices(draft)
    for facts in draft.facts:
        words = facts.column.name not in used and facts.wordy and 2 <= facts.different <= 40
        if words and _tells_prices(draft.texts("item"), facts.column.texts, prices):
            draft.fields["size"] = (facts.column.name,)
            draft.why["size"] = "prices of an item go by it"
            return


def _tells_prices(items: Sequence[str], words: Sequence[str], prices: Sequence[float | None]) -> bool:
    rows: dict[str, dict[str, Counter[float]]] = defaultdict(lambda: defaultdict(Counter))
    for item, word, price in zip(items, words, prices, strict=True):
        if word.strip() and price:
            rows[item][word.strip()][price] += 1
    told = seen = 0
    for of_item in rows.values():
        often = [counts for counts in of_item.values() if counts.total() >= _ROWS]
        usual = [counts.most_common(1)[0] for counts in often]
        if len(often) < 2:
            continue
        total = sum(counts.total() for counts in often)
        seen += total
        alike = sum(count for _, count in usual) >= 0.6 * total  # others are of several, at a discount
        told += total * (alike and len({price for price, _ in usual}) == len(usual))
    return told >= _ENOUGH and told >= 0.8 * seen


def _prices(draft: Draft) -> list[float | None]:
    """What one cost, row by row; None where the row is not of one that was sold."""
    form = form_of(draft)
    amounts = [value(text, form) for text in draft.texts("amount")]
    counts: list[Decimal | None] = [Decimal(1)] * len(amounts)
    if "units" in draft.fields:
        counts = [value(text, form) for text in draft.texts("units")]
    return [
        round(float(amount), 2) if amount is not None and amount > 0 and count == 1 else None
        for amount, count in zip(amounts, counts, strict=True)
    ]
