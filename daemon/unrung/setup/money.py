"""Whether an amount is the line's or one unit's, and the currency that its marks speak of."""

from __future__ import annotations

from collections import defaultdict
from math import inf
from statistics import median

from babel.numbers import get_currency_symbol

from unrung.setup.columns import by_name
from unrung.setup.doubt import Doubt, Found, Notes
from unrung.setup.draft import Draft
from unrung.setup.facts import Facts
from unrung.setup.numbers import NumberForm, number_form, value
from unrung.setup.venue import Country
from unrung.setup.words import plain

_MINOR_WORDS = frozenset(
    "cents cent ct minor pence pennies ore oere orer centimes centavos centimos groszy haleru halere".split()
)
_DEAR = dict.fromkeys(("USD", "EUR", "GBP", "CHF", "AUD", "CAD", "NZD", "SGD"), 150.0) | dict.fromkeys(
    ("PLN", "BRL", "RON", "ILS"), 500.0) | dict.fromkeys(("CZK", "NOK", "SEK", "DKK", "MXN", "ZAR"), 3000.0)
"""Above so many of a currency, what a line of a bar usually comes to is in its hundredths."""
_CURRENCIES = {"$": "USD", "€": "EUR", "£": "GBP", "¥": "JPY"}


def form_of(draft: Draft) -> NumberForm:
    """The number marks of a draft."""
    return NumberForm(
        draft.formats.get("decimal", "."), draft.formats.get("thousands", ""),
        tuple(draft.formats.get("currency_marks", ())),
    )


def take_marked_amount(draft: Draft) -> None:
    """Map ``amount`` to a column that nearly every value of bears a sign of money, under whatever header; of
    several to that of the largest amounts, which is neither a tax nor the price of one."""
    if draft.carries != "rings" or "amount" in draft.fields:
        return
    used = {name for names in draft.fields.values() for name in names}
    marked = [one for one in draft.facts if one.column.name not in used and one.numbers and _is_marked(one)]
    if marked:
        best = max(marked, key=lambda one: sum(map(abs, one.numbers)))
        draft.fields["amount"] = (best.column.name,)


def _is_marked(facts: Facts) -> bool:
    values = facts.column.values
    form, _ = number_form(values)
    return bool(form.marks) and sum(any(mark in text for mark in form.marks) for text in values) >= (
        0.9 * len(values))


def settle_amounts(draft: Draft, notes: Notes) -> None:
    """``amounts = "each"`` where lines of two cost what lines of one do."""
    if draft.carries != "rings" or "amount" not in draft.fields or "units" not in draft.fields:
        return
    ratios = _ratios(draft)
    each = sum(abs(ratio - 1) < 0.05 for ratio, _ in ratios)
    line = sum(abs(ratio / units - 1) < 0.05 for ratio, units in ratios)
    if each > line:
        draft.formats["amounts"] = "each"
        draft.why["amounts"] = f"{each} lines of several cost as much as lines of one"
    elif line:
        draft.why["amount"] = "what the line came to: two cost twice as much"


def settle_money_unit(drafts: list[Draft], currency: str, digits: int, notes: Notes) -> None:
    """``money_unit = "minor"`` of each feed where the amounts are whole cents: their header says so, or no
    bar of the currency takes so many whole ones for the usual line."""
    for draft in drafts if digits else ():
        field = {"rings": "amount", "kegs": "cost"}.get(draft.carries, "")
        if field in draft.fields:
            _settle_money_unit(draft, field, currency, digits, notes)


def _settle_money_unit(draft: Draft, field: str, currency: str, digits: int, notes: Notes) -> None:
    facts = by_name(draft.facts, draft.fields[field][0])
    if not facts.numbers or facts.whole < 1.0 or draft.formats.get("currency_marks"):
        return
    middle = median(map(abs, facts.numbers))
    if set(plain(facts.column.title).split()) & _MINOR_WORDS:
        draft.formats["money_unit"] = "minor"
        draft.why["money_unit"] = f"its header {facts.column.title!r} says so"
    elif draft.carries == "rings" and middle > _DEAR.get(currency, inf):
        why = f"the usual line would be of {middle:,.0f} {currency}"
        choices = (("minor", f"{middle:.0f} is {middle / 10**digits:.{digits}f} {currency}"),
                   ("major", f"{middle:.0f} is {middle:.0f} {currency}"))
        doubt = Doubt("money_unit", f"What does an amount of {middle:.0f} mean?", choices, "minor", why)
        draft.formats["money_unit"] = notes.settle(f"{draft.name}: money_unit", Found("minor", why, doubt))


def currency_of(drafts: list[Draft], country: Country | None = None) -> str:
    """The currency that the amounts are marked with, or "". A sign that the bar's country shares is of its
    money: dollars are pesos in Mexico."""
    own = get_currency_symbol(country.currency, country.locale) if country and country.currency else ""
    for draft in drafts:
        for mark in draft.formats.get("currency_marks", ()):
            if country and mark in _CURRENCIES and own.endswith(mark):
                return country.currency
            if mark in _CURRENCIES or (len(mark) == 3 and mark.isalpha() and mark.isupper()):
                return str(_CURRENCIES.get(mark, mark))
    return ""


def unknown_currency(drafts: list[Draft]) -> Found:
    """Where neither a sign nor the zone names it: the decimal mark is the only hint."""
    comma = any(draft.formats.get("decimal") == "," for draft in drafts)
    best = "EUR" if comma else "USD"
    why = f"amounts are written with a decimal {'comma' if comma else 'point'}, and nothing else tells"
    doubt = Doubt("currency", "In which currency are the amounts (an ISO 4217 code)?", (), best, why)
    return Found(best, why, doubt)


def _ratios(draft: Draft) -> list[tuple[float, float]]:
    """(amount over the usual amount of one, units) of every line of several units."""
    form = form_of(draft)
    what = list(zip(*[draft.texts(name) for name in ("item", "size") if name in draft.fields], strict=True))
    ones: dict[tuple[str, ...], list[float]] = defaultdict(list)
    more: list[tuple[tuple[str, ...], float, float]] = []
    for key, units_text, amount_text in zip(what, draft.texts("units"), draft.texts("amount"), strict=True):
        units, amount = value(units_text, form), value(amount_text, form)
        if units is None or not amount or units <= 0:
            continue
        if units == 1:
            ones[key].append(float(amount))
        else:
            more.append((key, float(units), float(amount)))
    return [(amount / median(ones[key]), units) for key, units, amount in more if key in ones]
