"""A till's quantities where no known word stands above them: the amounts tell them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from statistics import median

from unrung.setup.draft import Draft
from unrung.setup.facts import Facts
from unrung.setup.money import form_of
from unrung.setup.numbers import NumberForm, value

_ENOUGH = 3
"""Lines of several, or of fewer than none, from which it is no chance."""


def settle_quantities(draft: Draft) -> None:
    """Map ``units`` to a free column of small whole numbers whose lines of two cost twice as much, or
    which falls below zero with the amounts. A column of guests does neither."""
    if draft.carries != "rings" or "units" in draft.fields or "amount" not in draft.fields:
        return
    used = {name for names in draft.fields.values() for name in names}
    form = form_of(draft)
    amounts = _numbers(draft.texts("amount"), form)
    items = list(zip(*[draft.texts(name) for name in ("item", "size") if name in draft.fields], strict=True))
    for facts in draft.facts:
        if facts.column.name not in used and _may_count(facts):
            units = _numbers(facts.column.texts, form)
            if _goes_with(units, amounts, items):
                draft.fields["units"] = (facts.column.name,)
                draft.why["units"] = "lines of several cost so many times as much"
                return


def _may_count(facts: Facts) -> bool:
    return bool(facts.numbers) and facts.whole == 1.0 and all(abs(one) < 100 for one in facts.numbers)


def _goes_with(
    units: Sequence[float | None], amounts: Sequence[float | None], items: Sequence[tuple[str, ...]]
) -> bool:
    ones: dict[tuple[str, ...], list[float]] = defaultdict(list)
    others: list[tuple[tuple[str, ...], float, float]] = []
    for count, amount, item in zip(units, amounts, items, strict=True):
        if count == 1 and amount:
            ones[item].append(amount)
        elif count and amount:
            others.append((item, count, amount))
    told = [
        abs(amount / (count * median(ones[item])) - 1) < 0.05
        for item, count, amount in others if item in ones
    ]
    return len(told) >= _ENOUGH and sum(told) >= 0.8 * len(told)


def _numbers(texts: Sequence[str], form: NumberForm) -> list[float | None]:
    found = [value(text, form) for text in texts]
    return [None if one is None else float(one) for one in found]
