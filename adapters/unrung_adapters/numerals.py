"""Numbers as sources write them, read exactly and strictly.

A number becomes ``(mantissa, places)``, which stands for mantissa / 10**places: no float, no
rounding, and cheaper than Decimal where a year's rows go through.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from decimal import Decimal

from unrung.mapping import Formats
from unrung_adapters.bad_value import Unreadable

Scaled = tuple[int, int]
ReadNumber = Callable[[str], Scaled]

MAX_LENGTH = 40
"""Longer numbers are refused before anything is computed with them."""
_MAX_EXPONENT = 20
_MARKS = {" ": " \u00a0\u202f", "'": "'\u2019"}
"""How people and Unicode CLDR write a thousands mark that a feed declares."""
_MINUS = {"-": -1, "\u2212": -1}


class SourceNumber(str):
    """A number of a JSON document, as written: its decimal mark is a point whatever the feed says."""

    __slots__ = ()


def number_reader(formats: Formats) -> ReadNumber:
    """A function from text to number under the feed's decimal and thousands marks.

    It raises ``Unreadable`` for everything else: other marks, groups that are not of three digits,
    exponents, underscores, parentheses, words.

    >>> number_reader(Formats(decimal=",", thousands="."))("1.234,50")
    (123450, 2)
    """
    match = _grammar(formats).fullmatch
    decimal, marks = formats.decimal, _marks(formats.thousands)
    fix = "Correct the row, or set formats.decimal and formats.thousands to how all are written."

    def read(text: str) -> Scaled:
        if type(text) is SourceNumber:
            return json_number(text)
        plain, _, decimals = text.partition(decimal)
        if text.isascii() and plain.isdigit() and decimals.isdigit() and len(text) <= MAX_LENGTH:
            return int(plain + decimals), len(decimals)  # as most numbers are
        found = match(text.strip()) if len(text) <= MAX_LENGTH else None
        if found is None:
            if not text.strip():
                raise Unreadable("is empty", "Fill it in at the source.")
            raise Unreadable(f"is not a number with decimal mark {decimal!r}", fix)
        sign, whole, fraction, bare = found.groups("")
        for mark in marks:
            whole = whole.replace(mark, "")
        fraction = fraction or bare
        return _MINUS.get(sign, 1) * int(whole + fraction), len(fraction)

    return read


def json_number(text: str) -> Scaled:
    """A number in JSON's own grammar (RFC 8259, section 6), exponent included.

    >>> json_number("1.5e2"), json_number("-0.25")
    ((150, 0), (-25, 2))
    """
    if len(text) > MAX_LENGTH:
        raise Unreadable("has too many digits", "Export it with fewer digits.")
    sign, digits, exponent = Decimal(text).as_tuple()
    if not isinstance(exponent, int) or abs(exponent) > _MAX_EXPONENT:
        raise Unreadable("is too large or too small", "Look at this row in the source.")
    mantissa = int("".join(map(str, digits))) * (-1 if sign else 1)
    return (mantissa * 10**exponent, 0) if exponent > 0 else (mantissa, -exponent)


def _marks(thousands: str) -> str:
    return _MARKS.get(thousands, thousands)


def _grammar(formats: Formats) -> re.Pattern[str]:
    whole, decimal = "[0-9]+", re.escape(formats.decimal)
    if formats.thousands:
        mark = f"[{re.escape(_marks(formats.thousands))}]"
        whole = f"[0-9]{{1,3}}(?:{mark}[0-9]{{3}})+|[0-9]+"
    return re.compile(f"([-+\u2212]?)(?:({whole})(?:{decimal}([0-9]+))?|{decimal}([0-9]+))")
