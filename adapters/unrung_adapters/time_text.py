"""Time texts to moments: ISO 8601, Unix epochs, and declared strptime patterns.

What a source means is declared, never guessed: 03/04 is the third of April or the fourth of March
by the feed's pattern alone.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

from unrung_adapters.bad_value import Unreadable
from unrung_adapters.time_words import to_english

ReadTime = Callable[[str], int | datetime]
"""Text to UTC milliseconds where the text settles them, else to a local time without a zone."""

_NUMBER = re.compile(r"(-?)([0-9]{1,14})(?:\.([0-9]{1,9}))?")
_SHEET_NUMBER = re.compile(r"[0-9]{1,5}(\.[0-9]{1,17})?")
_ZONE_SUFFIX = re.compile(r"\[!?[^\[\]]*\](?:\[[^\[\]]*\])*$")
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_ONE_MS = timedelta(milliseconds=1)
_SHEET_DAY_0 = datetime(1899, 12, 30)  # noqa: DTZ001


def time_reader(form: str) -> ReadTime:
    """A reader for ``formats.time``: "iso", "epoch_s", "epoch_ms", "sheet_days" or a strptime pattern, which
    reads names of months and days, and "a. m.", in other languages than English too.

    It raises ``Unreadable`` with the reason and the fix.
    """
    parse, said = _parser(form)

    def read(text: str) -> int | datetime:
        try:
            found = parse(text.strip())
        except ValueError:
            raise _unreadable(text, said) from None
        return found if isinstance(found, int) or found.tzinfo is None else aware_ms(found)

    return read


def date_reader(pattern: str) -> Callable[[str], date]:
    """A reader for ``formats.date``, a strptime pattern of a date."""

    def read(text: str) -> date:
        if not text.strip():
            raise Unreadable("is empty", "Fill in the date at the source.")
        try:
            return datetime.strptime(text.strip(), pattern).date()  # noqa: DTZ007
        except ValueError:
            raise Unreadable(
                f"is not a date of the form {pattern!r}",
                "Correct the row, or set formats.date to how all are written.",
            ) from None

    return read


def _unreadable(text: str, said: str) -> Unreadable:
    if not text.strip():
        return Unreadable(
            "is empty", "Fill in the time at the source; a sum or a heading goes under formats.skip_rows.")
    return Unreadable(
        f"is not a time {said}", "Correct the row, or set formats.time to how all are written."
    )


def aware_ms(moment: datetime) -> int:
    """A moment with an offset as UTC milliseconds, further digits cut off."""
    return (moment - _EPOCH) // _ONE_MS


def iso(text: str) -> datetime:
    """ISO 8601 date and time of day; a zone in brackets after an offset (RFC 9557) is passed over.

    >>> iso("2026-11-01T01:30:00-05:00[America/New_York]").isoformat()
    '2026-11-01T01:30:00-05:00'
    """
    bare = _ZONE_SUFFIX.sub("", text) if text[-1:] == "]" else text
    at = 10 if bare[10:11] in ("T", " ", "t") else 8
    if at == 8 and bare[8:9] not in ("T", "t"):
        raise ValueError("no time of day")
    if bare[at + 1 : at + 3] == "24":
        raise ValueError("hours run from 00 to 23")  # Python releases differ on 24:00.
    moment = datetime.fromisoformat(bare)
    if bare is not text and moment.tzinfo is None:
        raise ValueError("a zone in brackets needs an offset before it")
    return moment


def pattern(form: str) -> Callable[[str], datetime]:
    """What ``datetime.strptime(text, form)`` does, several times as fast for the usual patterns."""
    found = _compiled(form)
    if found is None:
        return lambda text: datetime.strptime(text, form)  # noqa: DTZ007
    match, groups = found.match, ("Y", "m", "d", "H", "M", "S", "f", "p")

    def read(text: str) -> datetime:
        parts = match(text)
        if parts is None or parts.end() != len(text):
            raise ValueError(f"{text!r} does not match {form!r}")
        year, month, day, hour, minute, second, fraction, half = parts.group(*groups)
        hours = int(hour)
        if half is not None:
            hours = hours % 12 + (12 if half in ("PM", "pm", "Pm", "pM") else 0)
        return datetime(  # noqa: DTZ001
            int(year), int(month), int(day), hours, int(minute), int(second or 0),
            int(fraction.ljust(6, "0")) if fraction else 0,
        )

    return read


def _parser(form: str) -> tuple[Callable[[str], int | datetime], str]:
    if form == "iso":
        return iso, "in ISO 8601, with a time of day"
    if form == "epoch_s":
        return lambda text: _epoch_ms(text, 3), "in seconds since 1970"
    if form == "epoch_ms":
        return lambda text: _epoch_ms(text, 0), "in milliseconds since 1970"
    if form == "sheet_days":
        return _sheet_moment, "in days since 1899-12-30, as spreadsheets count them"
    return _in_any_language(form), f"of the form {form!r}"


def _in_any_language(form: str) -> Callable[[str], datetime]:
    read, english = pattern(form), to_english(form)
    if english is None:
        return read

    def found(text: str) -> datetime:
        try:
            return read(text)
        except ValueError:
            return read(english(text))

    return found


def _sheet_moment(text: str) -> datetime:
    """A spreadsheet's number for a day and time, to the second; or one for the day and one for the time."""
    parts = text.replace(",", ".").split()
    if not 1 <= len(parts) <= 2 or not all(map(_SHEET_NUMBER.fullmatch, parts)):
        raise ValueError("not the number of a day")
    seconds = sum(Decimal(part) * 86_400 for part in parts)
    return _SHEET_DAY_0 + timedelta(seconds=round(seconds))


def _epoch_ms(text: str, shift: int) -> int:
    found = _NUMBER.fullmatch(text)
    if found is None:
        raise ValueError("not a plain number")
    sign, whole, fraction = found.groups("")
    value = int(whole + fraction[:shift].ljust(shift, "0"))
    return -value if sign else value


_DIRECTIVES = {
    "Y": "(?P<Y>[0-9]{4})",
    "m": "(?P<m>1[0-2]|0[1-9]|[1-9])",
    "d": "(?P<d>3[01]|[12][0-9]|0[1-9]|[1-9])",
    "H": "(?P<H>2[0-3]|[01][0-9]|[0-9])",
    "I": "(?P<H>1[0-2]|0[1-9]|[1-9])",
    "M": "(?P<M>[0-5][0-9]|[0-9])",
    "S": "(?P<S>[0-5][0-9]|[0-9])",
    "f": "(?P<f>[0-9]{1,6})",
    "p": "(?P<p>[AaPp][Mm])",
    "%": "%",
}


def _compiled(form: str) -> re.Pattern[str] | None:
    """The pattern as a regular expression, or None where it must be left to ``strptime``."""
    pieces = re.split(r"%(.)", form)
    codes = pieces[1::2]
    hours = "I" if "I" in codes else "H"
    if not {"Y", "m", "d", hours, "M"} <= set(codes) <= set(_DIRECTIVES):
        return None
    if len(set(codes)) != len(codes) or ("p" in codes) != (hours == "I") or {"H", "I"} <= set(codes):
        return None
    out = [re.escape(pieces[0])]
    for code, literal in zip(codes, pieces[2::2], strict=True):
        out += [_DIRECTIVES[code], re.escape(literal)]
    regex = re.sub(r"(?:\\\s)+", r"\\s+", "".join(out))
    missing = "".join(f"(?P<{code}>(?!))?" for code in "Sfp" if code not in codes)
    return re.compile(regex + missing, re.IGNORECASE)
