"""Volumes and shares as evidence quotes them."""

from __future__ import annotations

from decimal import Decimal

from unrung.by_locale import number_text, percent_text
from unrung.settings import Settings, VenueUnit
from unrung.units import UNIT_LABELS, from_ul

FINE: dict[VenueUnit, int] = {"us_fl_oz": 1, "us_gal": 3, "imp_fl_oz": 1, "imp_pt": 2, "ml": 0, "l": 2}
"""Decimals of a single serve; sums have one less, at least none."""


def serve_volume(volume_ul: float, settings: Settings) -> str:
    """A single serve: "17.0 fl oz"."""
    return _volume(volume_ul, settings, FINE[settings.venue.volume_unit])


def sum_volume(volume_ul: float, settings: Settings) -> str:
    """A sum of serves: "208 fl oz"."""
    return _volume(volume_ul, settings, max(0, FINE[settings.venue.volume_unit] - 1))


def share(part: float, settings: Settings) -> str:
    """A share as a percentage with one decimal: "5.1%", "5,1 %"."""
    return _plain(percent_text(part, settings.venue.locale))


def figure(value: float, places: int, settings: Settings) -> str:
    """A plain number: "4.1", "4,1"."""
    return number_text(Decimal(round(value * 10**places)).scaleb(-places), settings.venue.locale)


def times(count: int, one: str, settings: Settings) -> str:
    """A count with its noun: "1 serve", "1,101 serves", "1.101 serves"."""
    return f"{_plain(number_text(count, settings.venue.locale))} {one if count == 1 else one + 's'}"


def drink(item: str, size: str) -> str:
    """A menu item as people call it."""
    return f"{item} {size}".strip()


def _volume(volume_ul: float, settings: Settings, places: int) -> str:
    unit = settings.venue.volume_unit
    text = number_text(from_ul(round(volume_ul), unit, places), settings.venue.locale)
    return f"{text} {UNIT_LABELS[unit]}"


def _plain(text: str) -> str:
    """With plain blanks: evidence stands in files too, where others are a nuisance to search for."""
    return text.replace("\N{NO-BREAK SPACE}", " ").replace("\N{NARROW NO-BREAK SPACE}", " ")
