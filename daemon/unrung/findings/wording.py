"""Volumes, shares and moments as evidence quotes them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

from unrung.settings import Settings, VenueUnit
from unrung.units import UNIT_LABELS, from_ul

FINE: dict[VenueUnit, int] = {"us_fl_oz": 1, "imp_fl_oz": 1, "ml": 0, "l": 2}
"""Decimals of a single serve; sums have one less, at least none."""


def serve_volume(volume_ul: float, settings: Settings) -> str:
    """A single serve: "17.0 fl oz"."""
    return _volume(volume_ul, settings, FINE[settings.venue.volume_unit])


def sum_volume(volume_ul: float, settings: Settings) -> str:
    """A sum of serves: "208 fl oz"."""
    return _volume(volume_ul, settings, max(0, FINE[settings.venue.volume_unit] - 1))


def share(part: float) -> str:
    """A share as a percentage with one decimal.

    >>> share(0.0512), share(-0.02)
    ('5.1 %', '-2.0 %')
    """
    return f"{100 * part:.1f} %"


def moment(at_ms: int, settings: Settings) -> str:
    """Weekday, day and local time: "Tue 27 Oct 13:05"."""
    local = _local(at_ms, settings)
    return f"{local:%a} {local.day} {local:%b %H:%M}"


def day_name(day: date) -> str:
    """A business day: "Tue 27 Oct"."""
    return f"{day:%a} {day.day} {day:%b}"


def clock(at_ms: int, settings: Settings) -> str:
    """Local time: "13:05"."""
    return f"{_local(at_ms, settings):%H:%M}"


def times(count: int, one: str, many: str = "") -> str:
    """A count with its noun.

    >>> times(1, "serve"), times(3, "keg change")
    ('1 serve', '3 keg changes')
    """
    return f"{count:,} {one if count == 1 else many or one + 's'}"


def drink(item: str, size: str) -> str:
    """A menu item as people call it."""
    return f"{item} {size}".strip()


def _local(at_ms: int, settings: Settings) -> datetime:
    return datetime.fromtimestamp(at_ms / 1000, UTC).astimezone(ZoneInfo(settings.venue.timezone))


def _volume(volume_ul: float, settings: Settings, places: int) -> str:
    unit = settings.venue.volume_unit
    return f"{_plain(from_ul(round(volume_ul), unit, places))} {UNIT_LABELS[unit]}"


def _plain(value: Decimal) -> str:
    return f"{value:,}"
