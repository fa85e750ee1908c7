"""Numbers, percentages and times as a locale writes them (Unicode CLDR, through babel)."""

from __future__ import annotations

import re
from datetime import datetime
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from babel import Locale, UnknownLocaleError
from babel.dates import format_time
from babel.numbers import format_decimal, format_percent


@lru_cache(maxsize=8)
def locale_of(name: str) -> Locale:
    """The venue's locale; an unknown one reads as US English, so that the mail still goes out."""
    try:
        return Locale.parse(name.replace("-", "_"))
    except (UnknownLocaleError, ValueError):
        return Locale("en", "US")


def number_text(value: Decimal | int, locale: str) -> str:
    """A number with the decimals that it has.

    >>> number_text(Decimal("1234.50"), "en_US"), number_text(Decimal("1234.50"), "de_DE")
    ('1,234.50', '1.234,50')
    """
    return _written(str(value), locale)


@lru_cache(maxsize=4096)
def _written(number: str, locale: str) -> str:
    value = Decimal(number)
    places = -int(value.as_tuple().exponent)
    pattern = "#,##0" + ("." + "0" * places if places else "")
    return str(format_decimal(value, pattern, locale_of(locale)))


def percent_text(share: Fraction | float, locale: str) -> str:
    """A share as a percentage with one decimal, half to even.

    >>> percent_text(0.0512, "en_US"), percent_text(0.0512, "de_DE").replace(chr(160), " ")
    ('5.1%', '5,1 %')
    """
    spoken = locale_of(locale)
    pattern = re.sub(r"0(?!.*[0#])", "0.0", spoken.percent_formats[None].pattern)
    exact = Decimal(round(Fraction(share) * 1000)).scaleb(-3)
    return str(format_percent(exact, pattern, spoken))


def time_text(local: datetime, locale: str) -> str:
    """The clock of ``local``, an aware local time: 9:00 PM or 21:00."""
    return str(format_time(local, "short", tzinfo=local.tzinfo, locale=locale_of(locale)))
