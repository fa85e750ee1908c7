"""Days without trade, as ``closed`` of ``venue.toml`` names them: weekdays, days of each year, one day."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import Annotated, Any

from pydantic import BeforeValidator

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
LEAP_YEAR = 2000


def closed_day(value: Any) -> Any:
    """``value`` as it is kept, where it names days. Raises ValueError.

    >>> closed_day("mon"), closed_day("12-25"), closed_day(date(2026, 11, 26))
    ('mon', '12-25', '2026-11-26')
    """
    text = value.isoformat() if type(value) is date else value
    if text in WEEKDAYS:
        return text
    try:
        whole = f"{LEAP_YEAR}-{text}" if len(text) == len("12-25") else text
        if date.fromisoformat(whole).isoformat() == whole:
            return text
    except (TypeError, ValueError):
        pass
    raise ValueError('write weekdays such as "mon", days such as "2026-11-26", or days of each year such as '
                     '"12-25"')


ClosedDay = Annotated[str, BeforeValidator(closed_day)]


def is_closed(closed: Iterable[str], day: date) -> bool:
    """Whether a business day is among those without trade.

    >>> is_closed(["mon", "12-25"], date(2026, 12, 25)), is_closed(["mon"], date(2026, 12, 25))
    (True, False)
    """
    names = {WEEKDAYS[day.weekday()], day.isoformat(), day.isoformat()[len("2026-"):]}
    return not names.isdisjoint(closed)
