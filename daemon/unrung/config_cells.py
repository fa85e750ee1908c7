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
    """An ISO date."""
    text = cells.get(column, "")
    if not text:
        return None
    try:
        if _DATE.fullmatch(text):
            return date.fromisoformat(text)
    except ValueError:
        pass
    raise UnrungError(f"{column} is {text!r}; write a date such as 2026-10-27")


def moment(cells: Cells, column: str, zone: str) -> tuple[date | None, int | None]:
    """A date, or a local date and time: 2026-10-27 or 2026-10-27T18:05; the latter as UTC ms."""
    text = cells.get(column, "")
    if len(text) <= 10:
        return day(cells, column), None
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        raise UnrungError(f"{column} is {text!r}; write 2026-10-27 or 2026-10-27T18:05") from None
    if local.tzinfo is None:
        local = local.replace(tzinfo=ZoneInfo(zone))
    return None, round(local.timestamp() * 1000)


def with_point(text: str) -> str:
    """A number as spreadsheets write it that separate cells by semicolons: with a decimal comma.

    >>> with_point("19,5 l"), with_point("1.5")
    ('19.5 l', '1.5')
    """
    return _DECIMAL_COMMA.sub(r"\1.\2", text, count=1) if "." not in text else text
