"""How an alert is put into words: numbers by the venue's locale, causes before conclusions."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from unrung.alerts.measures import TWO_HOURS_MS, Measured
from unrung.by_locale import number_text, percent_text
from unrung.settings import Settings
from unrung.units import SHOWN_PLACES, UNIT_LABELS, from_ul
from unrung.venue_time import clock

CHECK_ORDER = (
    "Check the equipment first, then the settings, then how things are done; "
    "then talk with the team."
)
_NO_BREAK = "\N{NO-BREAK SPACE}"
_CONTROLS = re.compile(r"[\s\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u2069\ufeff]+")


def shown_number(value: Decimal | int, settings: Settings) -> str:
    """A number as the locale writes it, with the decimals that it has."""
    return number_text(value, settings.venue.locale)


def shown_steps(steps: int, settings: Settings) -> str:
    """A figure of a table, counted in the last decimal shown: 123 is 12.3 where litres are shown."""
    return shown_number(_of_steps(steps, settings), settings)


def steps_with_unit(steps: int, settings: Settings) -> str:
    """Such a figure with the unit's label."""
    return with_unit(_of_steps(steps, settings), settings)


def _of_steps(steps: int, settings: Settings) -> Decimal:
    return Decimal(steps).scaleb(-SHOWN_PLACES[settings.venue.volume_unit])


def with_unit(value: Decimal | int, settings: Settings) -> str:
    """A volume in the venue's unit with the unit's label, kept on one line."""
    label = UNIT_LABELS[settings.venue.volume_unit].replace(" ", _NO_BREAK)
    return shown_number(value, settings) + _NO_BREAK + label


def shown_volume(volume_ul: int, settings: Settings) -> str:
    """``volume_ul`` in the venue's unit, whole fluid ounces or millilitres, tenths of a litre."""
    unit = settings.venue.volume_unit
    return with_unit(from_ul(volume_ul, unit, SHOWN_PLACES[unit]), settings)


def shown_serve(volume_ul: int, settings: Settings) -> str:
    """A single serve: one decimal more than sums have, but for millilitres."""
    unit = settings.venue.volume_unit
    return with_unit(from_ul(volume_ul, unit, 0 if unit == "ml" else SHOWN_PLACES[unit] + 1), settings)


def shown_range(low_ul: int, high_ul: int, settings: Settings) -> str:
    """Such as "between 50 and 110 fl oz", or "about 95 fl oz" where both ends are shown alike."""
    unit = settings.venue.volume_unit
    if from_ul(low_ul, unit, SHOWN_PLACES[unit]) == from_ul(high_ul, unit, SHOWN_PLACES[unit]):
        return f"about {shown_volume(high_ul, settings)}"
    low = shown_number(from_ul(low_ul, unit, SHOWN_PLACES[unit]), settings)
    return f"between {low} and {shown_volume(high_ul, settings)}"


def shown_share(share: Fraction | float, settings: Settings) -> str:
    """A share as a percentage with one decimal, half to even, as the locale writes it."""
    return percent_text(share, settings.venue.locale)


def shown_name(text: str, limit: int = 60) -> str:
    """A name from an export on one line: no line breaks, control or direction characters.

    >>> shown_name("Stout\\r\\nBcc: all@example.org")
    'Stout Bcc: all@example.org'
    """
    line = _CONTROLS.sub(" ", text).strip()
    return line if len(line) <= limit else line[: limit - 1].rstrip() + "…"


def sentence(per: str, measured: Measured, settings: Settings, median: Fraction | None) -> str:
    """One neutral sentence for a passed limit. It names place and hour, never a person."""
    volume = shown_volume(measured.volume_ul, settings)
    share = shown_share(measured.share or Fraction(0), settings)
    outlet = f" at {shown_name(measured.outlet)}" if measured.outlet else ""
    if per == "logged_share":
        return (
            f"{volume} was written down as comps, staff beer, waste and the like: {share} of the "
            "beer compared, above the limit set."
        )
    likely = "likely " + shown_range(measured.low_ul, measured.high_ul, settings)
    if per == "two_hours" and measured.start_ms is not None:
        until = clock(measured.start_ms + TWO_HOURS_MS, settings)
        return (
            f"{volume}{outlet} from {clock(measured.start_ms, settings)} to {until} is "
            f"unexplained volume: {measured.serves} serves without a ring, {share} of the beer "
            f"compared in these two hours."
        )
    if per == "venue_day":
        usual = f" (usually {shown_share(median, settings)})" if median is not None else ""
        return (
            f"{volume} over the whole venue is unexplained volume: {share} of the beer compared"
            f"{usual}, {likely}."
        )
    return (
        f"{volume} of {shown_name(measured.product)}{outlet} is unexplained volume: {share} of the "
        f"beer compared, {likely}."
    )
