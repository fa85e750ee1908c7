"""Numbers, percentages, days and times as a locale writes them (Unicode CLDR, through babel)."""

from __future__ import annotations

import re
from datetime import date, datetime, time
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton, format_time
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
    """The clock of ``local``, an aware local time.

    >>> noon = datetime(2026, 10, 27, 13, 5)
    >>> time_text(noon, "en_US"), time_text(noon, "en_GB"), time_text(noon, "de_DE")
    ('1:05 PM', '13:05', '13:05')
    """
    # Of the seconds it shows at most whether there are any: some locales have a word for noon itself.
    return _clock_text(time(local.hour, local.minute, min(local.second, 1)), locale)


@lru_cache(maxsize=4096)
def _clock_text(at: time, locale: str) -> str:
    """A day's page names the same minutes over and over."""
    return _plain(format_time(at, "short", locale=locale_of(locale)))


def day_text(day: date, locale: str, *, year: bool = False) -> str:
    """A day with its weekday, and its year where asked.

    >>> day = date(2026, 10, 27)
    >>> day_text(day, "en_US"), day_text(day, "en_GB"), day_text(day, "de_DE")
    ('Tue, Oct 27', 'Tue 27 Oct', 'Di., 27. Okt.')
    >>> day_text(day, "en_US", year=True), day_text(day, "de_DE", year=True)
    ('Tue, Oct 27, 2026', 'Di., 27. Okt. 2026')
    """
    return _plain(format_skeleton("yMMMEd" if year else "MMMEd", day, locale=locale_of(locale)))


def long_day_text(day: date, locale: str) -> str:
    """A day in full, as a heading.

    >>> long_day_text(date(2026, 10, 27), "en_US"), long_day_text(date(2026, 10, 27), "de_DE")
    ('Tuesday, October 27, 2026', 'Dienstag, 27. Oktober 2026')
    """
    return _plain(format_date(day, "full", locale_of(locale)))


def weekday_word(day: date) -> str:
    """Such as "Tuesday": a word of a sentence, and so in the sentences' language."""
    return str(format_date(day, "EEEE", "en"))


def moment_text(local: datetime, locale: str, *, year: bool = False) -> str:
    """The day and the clock of ``local``, an aware local time.

    >>> noon = datetime(2026, 10, 27, 13, 5)
    >>> moment_text(noon, "en_US"), moment_text(noon, "de_DE", year=True)
    ('Tue, Oct 27, 1:05 PM', 'Di., 27. Okt. 2026, 13:05')
    """
    pattern = str(locale_of(locale).datetime_formats["medium"])
    day, clock = day_text(local.date(), locale, year=year), time_text(local, locale)
    return pattern.replace("{1}", day).replace("{0}", clock)


def full_stop(text: str) -> str:
    """``text`` as the end of a sentence; "27. Okt." and "1:05 p.m." end one as they are.

    >>> full_stop("until 13:05"), full_stop("for Di., 27. Okt.")
    ('until 13:05.', 'for Di., 27. Okt.')
    """
    return text if text.endswith(".") else text + "."


def _plain(text: str) -> str:
    """With plain blanks: such texts stand in files too, where others are a nuisance to search for."""
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
