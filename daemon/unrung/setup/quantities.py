"""A till's quantities where no known word stands above them: the amounts tell them."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from statistics import median

from unrung.setup.doubt import Doubt, Found, Notes
from unrung.setup.draft import Draft
from unrung.setup.facts import Facts
from unrung.setup.money import form_of
from unrung.setup.numbers import NumberForm, value

_NO_COLUMN = "none"
_ENOUGH = 3
"""Lines of several, or of fewer than none, from which it is no chance."""


def settle_quantities(draft: Draft, notes: Notes) -> None:
    """Map ``units`` to a free column of small whole numbers whose lines of two cost twice as much, or which
    falls below zero (with the amounts, where there are any). A column of guests does neither; one that may
    be either is asked about."""
    if draft.carries != "rings" or "units" in draft.fields:
        return
    used = {name for names in draft.fields.values() for name in names}
    free = [one for one in draft.facts if one.column.name not in used and _may_count(one)]
    for facts in free:
        why = _telling(draft, facts)
        if why:
            draft.fields["units"], draft.why["units"] = (facts.column.name,), why
            return
    likely = [one for one in free if one.different > 1 and one.numbers.count(1) > 0.4 * len(one.numbers)]
    answer = notes.settle(f"{draft.name}: units", _asked(likely)) if likely else _NO_COLUMN
    if answer in (one.column.name for one in likely):
        draft.fields["units"] = (answer,)


def _telling(draft: Draft, facts: Facts) -> str:
    """What shows that the column counts what was sold; "" where nothing does."""
    if "amount" not in draft.fields:
        below = sum(number < 0 for number in facts.numbers)
        ones = sum(abs(number) == 1 for number in facts.numbers)
        return "it falls below zero" if below >= _ENOUGH and ones > 0.4 * len(facts.numbers) else ""
    form = form_of(draft)
    items = list(zip(*[draft.texts(name) for name in ("item", "size") if name in draft.fields], strict=True))
    units, amounts = _numbers(facts.column.texts, form), _numbers(draft.texts("amount"), form)
    return "lines of several cost so many times as much" if _goes_with(units, amounts, items) else ""


def _asked(likely: Sequence[Facts]) -> Found:
    why = "nothing shows that a column does, and each row is then one"
    shown = [(one.column.name, ", ".join(one.column.values[:4])) for one in likely]
    choices = ((_NO_COLUMN, "each row is one unit"), *shown)
    doubt = Doubt("units", "Which column says how many were sold?", choices, _NO_COLUMN, why)
    return Found(_NO_COLUMN, why, doubt)


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
