"""Field texts to the whole numbers that records hold: microlitres, minor units, millionths, ms.

Each function here makes a reader for one field: texts repeat, so each distinct one is read once.
A reader raises ``BadValue`` with the field, the reason and the fix.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from unrung.mapping import Formats
from unrung.units import UNITS_UL
from unrung_adapters.bad_value import BadValue, Unreadable
from unrung_adapters.numerals import MAX_LENGTH, ReadNumber, Scaled, SourceNumber, number_reader

ReadInt = Callable[[str], int]

_CACHED = 8192
_BOUND = 10**15
"""No total in a bar comes near it (a thousand million litres), and it fits any 64-bit column."""
_MOST_UNITS = 10_000
"""Of one line; each unit is looked for among the pours."""
_TENS: list[int] = [10**power for power in range(2 * MAX_LENGTH)]
_DURATION_MS = {"ms": 1, "s": 1000, "min": 60_000}
_UNIT_FIX = "Check the number at the source, and formats.volume_unit."


def volume_ul(field: str, formats: Formats) -> ReadInt:
    """Volume ≥ 0 in ``formats.volume_unit`` as whole microlitres, rounded half to even."""
    unit = formats.volume_unit
    if unit is None:
        return _refusing(field, "has no unit", "Set formats.volume_unit of the feed.")
    return _volumes(field, unit, formats.decimal, formats.thousands)


@lru_cache(maxsize=8)  # glasses are about as large in the next export
def _volumes(field: str, unit: str, decimal: str, thousands: str) -> ReadInt:
    size = UNITS_UL[unit]
    formats = Formats.model_validate({"decimal": decimal, "thousands": thousands})
    return _reader(
        field, number_reader(formats),
        lambda scaled: _not_negative(scaled, _ratio(scaled, size.numerator, size.denominator)),
    )


def units_micro(field: str, formats: Formats, *, negative: bool) -> ReadInt:
    """Quantity in millionths of one; digits beyond the sixth are rounded half to even."""

    def convert(scaled: Scaled) -> int:
        micro = _ratio(scaled, 1_000_000, 1)
        if abs(micro) > _MOST_UNITS * 1_000_000:
            raise Unreadable(
                f"is more than the {_MOST_UNITS:,} that a line may be of",
                "See whether a number or a bar code was entered as the quantity, and correct it there.",
            )
        return micro if negative else _not_negative(scaled, micro)

    return _reader(field, number_reader(formats), convert)


def count(field: str, formats: Formats) -> ReadInt:
    """A whole number ≥ 0 (pulses); "12.0" is whole, "12.5" is refused."""

    def convert(scaled: Scaled) -> int:
        return _not_negative(scaled, _whole(scaled, 0, "is not a whole number", _UNIT_FIX))

    return _reader(field, number_reader(formats), convert)


def grams(field: str, formats: Formats) -> ReadInt:
    """Weight ≥ 0 in kilograms as whole grams, rounded half to even."""
    return _reader(
        field, number_reader(formats),
        lambda scaled: _not_negative(scaled, _ratio(scaled, 1000, 1)),
    )


def duration_ms(field: str, formats: Formats) -> ReadInt:
    """Duration ≥ 0 in ``formats.duration_unit`` as whole milliseconds, rounded half to even."""
    unit_ms = _DURATION_MS[formats.duration_unit]
    return _reader(
        field, number_reader(formats),
        lambda scaled: _not_negative(scaled, _ratio(scaled, unit_ms, 1)),
    )


def money_minor(field: str, formats: Formats, digits: int) -> ReadInt:
    """Amount of money in whole minor units; ``digits`` of them make one major unit's decimals. With
    ``formats.money_unit`` "minor" the source writes those.

    Signs of ``formats.currency_marks`` are taken off. "(1.50)" and "1.50-" are minus 1.50, as
    bookkeepers write it. More decimals than the currency has are refused unless they are zeros:
    rounding somebody's money is not ours to do.
    """
    number, strip = number_reader(formats), _mark_stripper(formats.currency_marks)
    if formats.money_unit == "minor":
        digits = 0

    def read(text: str) -> Scaled:
        if type(text) is SourceNumber:
            return number(text)
        bare, sign = _accounting_sign(strip(text.strip()))
        mantissa, places = number(strip(bare) if sign < 0 else bare)
        return sign * mantissa, places

    reason = f"has more than {digits} decimals, more than the currency has"
    fix = "Check formats.decimal, formats.thousands, formats.money_unit and the venue's currency."
    return _reader(field, read, lambda scaled: _whole(scaled, digits, reason, fix))


def or_none(read: ReadInt) -> Callable[[str], int | None]:
    """``read`` for a field that may be empty."""
    return lambda text: read(text) if text else None


def half_even(numerator: int, denominator: int) -> int:
    """numerator / denominator rounded half to even; the denominator is positive.

    >>> half_even(5, 2), half_even(7, 2), half_even(-5, 2)
    (2, 4, -2)
    """
    quotient, rest = divmod(numerator, denominator)
    twice = 2 * rest
    return quotient + (twice > denominator or (twice == denominator and quotient & 1))


def _reader(field: str, number: ReadNumber, convert: Callable[[Scaled], int]) -> ReadInt:
    # typed: "1.500" from a CSV and the JSON number 1.500 are equal texts with different meanings.
    @lru_cache(maxsize=_CACHED, typed=True)
    def read(text: str) -> int:
        try:
            value = convert(number(text))
        except Unreadable as error:
            raise BadValue(field, text, error.reason, error.fix) from None
        if not -_BOUND < value < _BOUND:
            raise BadValue(field, text, "is larger than anything in a bar", _UNIT_FIX)
        return value

    return read


def _refusing(field: str, reason: str, fix: str) -> ReadInt:
    def read(text: str) -> int:
        raise BadValue(field, text, reason, fix)

    return read


def _ratio(scaled: Scaled, numerator: int, denominator: int) -> int:
    mantissa, places = scaled
    return half_even(mantissa * numerator, denominator * _TENS[places])


def _whole(scaled: Scaled, digits: int, reason: str, fix: str) -> int:
    mantissa, places = scaled
    if places <= digits:
        return mantissa * _TENS[digits - places]
    value, rest = divmod(mantissa, _TENS[places - digits])
    if rest:
        raise Unreadable(reason, fix)
    return value


def _not_negative(scaled: Scaled, value: int) -> int:
    if scaled[0] < 0:
        raise Unreadable("is negative", "Check the number at the source.")
    return value


def _accounting_sign(text: str) -> tuple[str, int]:
    if len(text) > 2 and text[0] == "(" and text[-1] == ")" and text[1] not in "-+":
        return text[1:-1], -1
    if len(text) > 1 and text[-1] in "-\u2212" and text[0] not in "-+(\u2212":
        return text[:-1], -1
    return text, 1


def _mark_stripper(marks: tuple[str, ...]) -> Callable[[str], str]:
    """Takes one currency mark off either end, also from behind a leading sign: -$5, $-5, 5 €."""

    def strip(text: str) -> str:
        sign = text[0] if text[:1] in ("-", "+", "\u2212") else ""
        body = text[len(sign):].strip()
        for mark in marks:
            if body.startswith(mark):
                return sign + body[len(mark):].strip()
            if body.endswith(mark):
                return sign + body[: -len(mark)].strip()
        return text

    return strip
