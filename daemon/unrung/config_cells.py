"""Cells of the config tables to values; what cannot be read is a sentence (UnrungError)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal, InvalidOperation
from zoneinfo import ZoneInfo

from unrung.errors import UnrungError

Cells = Mapping[str, str]
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_DECIMAL_COMMA = re.compile(r"(\d+),(\d+)")
_THOUSANDS = re.compile(r"[1-9]\d{0,2},\d{3}(?!\d)")
"""1,500 may be one and a half, or fifteen hundred."""
_POINTS = re.compile(r"(?P<day>\d{1,2})\.(?P<month>\d{1,2})\.(?P<year>\d{4})")
_SLASHES = re.compile(r"(?P<first>\d{1,2})/(?P<second>\d{1,2})/(?P<year>\d{4})")


def needed(cells: Cells, column: str) -> str:
    """The text of a cell that may not be empty."""
    if not cells.get(column):
        raise UnrungError(f"{column} is empty")
    return cells[column]


def number(cells: Cells, column: str) -> Decimal | None:
    """A number that is not negative; None where the cell is empty or the column absent."""
    text = cells.get(column, "")
    if not text:
        return None
    try:
        value = Decimal(text)
    except InvalidOperation:
        raise UnrungError(f"{column} is {text!r}; write a number such as 16 or 0.5") from None
    if not value.is_finite() or value < 0:
        raise UnrungError(f"{column} is {text!r}; it must not be negative")
    return value


def money(cells: Cells, column: str, digits: int) -> int | None:
    """An amount in whole minor units of a currency with ``digits`` decimals."""
    value = number(cells, column)
    if value is None:
        return None
    minor = value.scaleb(digits)
    if minor != minor.to_integral_value():
        raise UnrungError(f"{column} is {cells[column]!r}; the currency has {digits} decimals")
    return int(minor)


def day(cells: Cells, column: str) -> date | None:
    """A date in ISO 8601, or as a spreadsheet saves it where that can be one day only."""
    text = as_iso(cells.get(column, ""))
    if not text:
        return None
    try:
        if _DATE.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    kept = " (in a spreadsheet with an apostrophe in front, so that it stays so)" if "/" in text else ""
    raise UnrungError(f"{column} is {cells[column]!r}; write a date such as 2026-10-27{kept}")


def moment(cells: Cells, column: str, zone: str) -> tuple[date | None, int | None]:
    """A date, or a local date and time: 2026-10-27 or 2026-10-27T18:05; the latter as UTC ms."""
    text = as_iso(cells.get(column, ""))
    if len(text) <= 10:
        return day(cells, column), None
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        raise UnrungError(f"{column} is {cells[column]!r}; write 2026-10-27 or 2026-10-27T18:05") from None
    if local.tzinfo is None:
        local = local.replace(tzinfo=ZoneInfo(zone))
    return None, round(local.timestamp() * 1000)


def with_point(text: str, *, surely: bool) -> str:
    """A number that a spreadsheet wrote with a decimal comma. ``surely``: its cells are separated by
    semicolons, so that a comma is nothing else; without, 1,500 stays as it is.

    >>> with_point("19,5 l", surely=False), with_point("1,500", surely=False)
    ('19.5 l', '1,500')
    >>> with_point("1,500", surely=True)
    '1.500'
    """
    if "." in text or (not surely and _THOUSANDS.match(text)):
        return text
    return _DECIMAL_COMMA.sub(r"\1.\2", text, count=1)


def as_iso(text: str) -> str:
    """A date as spreadsheets save it, in ISO 8601; other texts as they are, and so 3/4/2026, which is one
    day in London and another in New York. Before points stands the day.

    >>> as_iso("27.10.2026"), as_iso("10/27/2026 9:05"), as_iso("27/10/2026"), as_iso("3/4/2026")
    ('2026-10-27', '2026-10-27T09:05', '2026-10-27', '3/4/2026')
    """
    head, _, clock = text.partition(" ")
    if points := _POINTS.fullmatch(head):
        year, month, number = points["year"], points["month"], points["day"]
    elif slashes := _SLASHES.fullmatch(head):
        year, month, number = slashes["year"], slashes["first"], slashes["second"]
        if int(month) > 12:
            month, number = number, month
        if int(number) <= 12 and month != number:
            return text
    else:
        return text
    iso = f"{year}-{month:0>2}-{number:0>2}"
    return f"{iso}T{clock:0>5}" if clock else iso
