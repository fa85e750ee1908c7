"""How an export writes numbers: decimal mark, thousands mark, currency marks."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from unrung.setup.doubt import Doubt, Found

MONEY_SIGNS = (
    "US$", "A$", "C$", "NZ$", "R$", "$", "€", "£", "¥", "USD", "EUR", "GBP", "AUD", "CAD", "NZD", "CHF",
    "SEK", "NOK", "DKK", "ISK", "PLN", "CZK", "HUF", "JPY", "kr.", "kr", "Fr.", "zł", "Kč", "Ft",
)
"""Signs and ISO 4217 codes that stand beside amounts; others are not taken for one."""
_MARK = "|".join(map(re.escape, MONEY_SIGNS))
_NUMBER = re.compile(
    rf"(?P<open>\()?\s*(?P<sign>[-+\u2212])?\s*(?P<mark>{_MARK})?\s*(?P<inner>[-\u2212])?"
    r"(?P<body>\d[\d., '\u2019\u00a0\u202f]*|[.,]\d+)"
    rf"\s*(?P<after>{_MARK})?\s*(?P<minus>[-\u2212])?(?P<close>\))?"
)
_GROUPED = re.compile(r"\d{1,3}(?:(?P<mark>[., '\u2019\u00a0\u202f])\d{3})+")


@dataclass(frozen=True, slots=True)
class NumberForm:
    """The marks of ``[feed.formats]``."""

    decimal: str = "."
    thousands: str = ""
    marks: tuple[str, ...] = ()


def looks_numeric(text: str) -> bool:
    """Whether ``text`` is a number under some marks.

    >>> [looks_numeric(text) for text in ("1.234,50 €", "(3.00)", "$-5", "Pint", "10/27/2026")]
    [True, True, True, False, False]
    """
    return len(text) <= 40 and _NUMBER.fullmatch(text.strip()) is not None


def number_form(texts: Iterable[str]) -> tuple[NumberForm, Found]:
    """The marks that ``texts`` (of all number columns) are written with.

    The second value is the decimal mark with what it rests on: in doubt where every mark could be
    either, as in "1.234".
    """
    bodies, marks = Counter[str](), Counter[str]()
    for text in texts:
        found = _NUMBER.fullmatch(text.strip())
        if found:
            bodies[found["body"].strip()] += 1
            marks.update(mark for mark in (found["mark"], found["after"]) if mark)
    decimal, thousands = _marks(bodies)
    form = NumberForm(decimal.value, thousands, tuple(marks))
    return form, decimal


def value(text: str, form: NumberForm) -> Decimal | None:
    """The number that ``text`` is under ``form``; None where it is none.

    >>> value("1.234,50 €", NumberForm(",", ".", ("€",)))
    Decimal('1234.50')
    >>> value("0.00", NumberForm(",")) is None
    True
    """
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        return None
    body = found["body"].strip()
    if form.thousands:
        body = re.sub("[ \u00a0\u202f]" if form.thousands == " " else re.escape(form.thousands), "", body)
    if form.decimal != "." and "." in body:
        return None  # as the reader has it
    body = body.replace(form.decimal, ".")
    if not re.fullmatch(r"\d*(?:\.\d+)?", body) or not body:
        return None
    negative = bool(found["open"]) or any(found[part] for part in ("inner", "minus")) or (
        found["sign"] in ("-", "\u2212"))
    return -Decimal(body) if negative else Decimal(body)


def _marks(bodies: Counter[str]) -> tuple[Found, str]:
    points, commas, either = 0, 0, 0
    thousands = Counter[str]()
    for body, count in bodies.items():
        seen = [letter for letter in body if not letter.isdigit()]
        kinds = list(dict.fromkeys(seen))
        if len(kinds) > 1:
            points += count * (kinds[-1] == ".")
            commas += count * (kinds[-1] == ",")
            thousands[kinds[0]] += count
        elif len(seen) > 1:
            thousands[kinds[0]] += count
        elif kinds and kinds[0] in ".,":
            grouped = re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", body)
            either += count * bool(grouped)
            points += count * (not grouped and kinds[0] == ".")
            commas += count * (not grouped and kinds[0] == ",")
        elif kinds and _GROUPED.fullmatch(body):
            thousands[kinds[0]] += count
    mark = _likeliest(thousands)
    if points or commas:
        decimal = "," if commas > points else "."
        other = thousands["." if decimal == "," else ","]
        return Found(decimal, "the digits behind it are not groups of three"), mark if mark != decimal else (
            {",": ".", ".": ","}[decimal] if other else "")
    if either and not mark:
        return _open(bodies), ""
    return Found("," if mark == "." else ".", "no number has decimals"), mark


def _likeliest(thousands: Counter[str]) -> str:
    if not thousands:
        return ""
    mark = thousands.most_common(1)[0][0]
    return {"\u00a0": " ", "\u202f": " ", "\u2019": "'"}.get(mark, mark)


def _open(bodies: Counter[str]) -> Found:
    """Three digits behind every mark: 1.234 is one and a bit, or over a thousand."""
    sample = next(body for body in bodies if re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", body))
    mark = "." if "." in sample else ","
    other = {".": ",", ",": "."}[mark]
    whole = sample.replace(mark, "")
    proposed = mark
    choices = (
        (mark, f"{sample} is a little over {sample.partition(mark)[0]}"), (other, f"{sample} is {whole}"),
    )
    why = "three digits behind a mark are decimals more often than thousands in such columns"
    return Found(proposed, why, Doubt("decimal", f"What does {sample} mean?", choices, proposed, why))
