"""What the samples say of the venue: hours, the day's start, money, measures."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from babel import Locale
from babel.core import UnknownLocaleError, get_global
from babel.numbers import get_territory_currencies

from unrung.closed_days import WEEKDAYS
from unrung.setup.strokes import span_ms

_US_MEASURES = {"US", "PR", "GU", "VI"}
_PINTS = {"GB", "IE", "IM", "JE", "GG"}
_METRIC_PINTS = {"AU", "NZ"}
"""Where a pint of beer is 570 mL (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Hours:
    """Local clock times as "HH:MM"."""

    day_starts: str
    opens: str
    closes: str
    closed: tuple[str, ...] = ()
    """Weekdays without trade."""


@dataclass(frozen=True, slots=True)
class Country:
    """What a zone says by its country (Unicode CLDR, through babel)."""

    territory: str
    currency: str
    locale: str

    @property
    def us_measures(self) -> bool:
        return self.territory in _US_MEASURES

    @property
    def pints(self) -> bool:
        return self.territory in _PINTS

    @property
    def metric_pints(self) -> bool:
        return self.territory in _METRIC_PINTS


def country_of(zone: str) -> Country:
    """The country of an IANA zone, with its money and an English locale of its own habits.

    >>> country_of("Europe/Berlin")
    Country(territory='DE', currency='EUR', locale='en_DE')
    """
    territory = str(get_global("zone_territories").get(zone, ""))
    currencies = get_territory_currencies(territory) if territory else []
    locale = f"en_{territory}"
    try:
        Locale.parse(locale)
    except (UnknownLocaleError, ValueError):
        locale = "en_US" if not territory else "en_GB"
    return Country(territory, str(currencies[0]) if currencies else "", locale)


_SLOT_MS = 30 * 60_000
_MOST_CLOSED = 3
"""Days a week without trade, beyond which the samples are few (common practice, no source)."""


def hours_of(times_ms: Sequence[int], zone: str) -> Hours:
    """The day starts in the middle of the longest quiet stretch of the clock, opening and closing
    stand at its edges, to the half hour. A row that counts over a span stands at its start or its end."""
    info, span = ZoneInfo(zone), span_ms(times_ms)
    until = [at + more for at in times_ms for more in range(-span, span, _SLOT_MS)] or times_ms
    slots = Counter(_slot(at, info) for at in until)
    busy = [slots[slot] > 0.0005 * len(times_ms) for slot in range(48)]
    if not any(busy) or all(busy):
        return Hours("04:00", "", "")
    start, length = _longest_quiet(busy)
    middle = _clock((start + length // 2) % 48)
    opens, closes = (start + length) % 48, start % 48
    usual = any((start + n) % 48 == 8 for n in range(1, length))
    starts = "04:00" if usual else middle
    return Hours(starts, _clock(opens), _clock(closes), closed_weekdays(times_ms, info, starts))


def closed_weekdays(times_ms: Sequence[int], zone: ZoneInfo, starts: str) -> tuple[str, ...]:
    """Weekdays without a row at all, where the samples hold two of each at the least and every other day has
    rows: a sample of single evenings shows no such habit."""
    early = timedelta(hours=int(starts[:2]), minutes=int(starts[3:]))
    days = {(datetime.fromtimestamp(at / 1000, zone).replace(tzinfo=None) - early).date() for at in times_ms}
    first = min(days)
    lacking = [day for n in range((max(days) - first).days + 1) if (day := first + timedelta(n)) not in days]
    seldom = Counter(day.weekday() for day in lacking)
    never = {weekday for weekday, count in seldom.items() if count > 1 and weekday not in {
        day.weekday() for day in days}}
    if len(never) > _MOST_CLOSED or never != set(seldom):
        return ()
    return tuple(WEEKDAYS[weekday] for weekday in sorted(never))


def _slot(at_ms: int, info: ZoneInfo) -> int:
    local = datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(info)
    return local.hour * 2 + local.minute // 30


def _longest_quiet(busy: Sequence[bool]) -> tuple[int, int]:
    best = (0, 0)
    for start in range(48):
        length = 0
        while length < 48 and not busy[(start + length) % 48]:
            length += 1
        if length > best[1]:
            best = (start, length)
    return best


def _clock(slot: int) -> str:
    return (datetime(2000, 1, 1, tzinfo=UTC) + timedelta(minutes=30 * slot)).strftime("%H:%M")
