"""Whether a person's answer to a question of setup can be used, so that it is asked again where not."""

from __future__ import annotations

import codecs
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from typing import get_args
from zoneinfo import available_timezones

from babel.numbers import list_currencies

from unrung.mapping import VolumeUnit
from unrung.setup.doubt import Doubt


def fault(doubt: Doubt, answer: str) -> str:
    """What is wrong with ``answer``, as a sentence; "" for one that can be used."""
    values = [value for value, _ in doubt.choices]
    if answer in values or answer == doubt.proposed:
        return ""
    about = doubt.about.rpartition(": ")[2]
    if about in _OPEN:
        return _OPEN[about](answer)
    if values:
        return f"{answer!r} is none of these. Give a number from 1 to {len(values)}, a value, or Enter alone."
    return ""


def zone_fault(zone: str) -> str:
    """What is wrong with the name of a time zone.

    >>> zone_fault("Europe/Zurich"), zone_fault("Zurich")
    ('', "'Zurich' is no IANA time zone. Did you mean 'Europe/Zurich'?")
    """
    known = available_timezones()
    if zone in known:
        return ""
    near = [name for name in sorted(known) if name.rpartition("/")[2].casefold() == zone.strip().casefold()]
    near += get_close_matches(zone, sorted(known), 1)
    return f"{zone!r} is no IANA time zone. " + (
        f"Did you mean {near[0]!r}?" if near else "Write for example 'America/New_York'.")


def factor_fault(text: str) -> str:
    """What is wrong with a count of pulses to a litre."""
    try:
        good = 0 < Decimal(text) < 1_000_000
    except InvalidOperation:
        good = False
    return "" if good else f"{text!r} is no count of pulses to a litre. Write a number such as 1000 or 5.6."


def _encoding_fault(name: str) -> str:
    try:
        codecs.lookup(name)
    except (LookupError, ValueError):
        return f"{name!r} is no encoding that is known. Give a number, or a name such as 'windows-1252'."
    return ""


def _currency_fault(code: str) -> str:
    known = code in list_currencies()
    return "" if known else f"{code!r} is no ISO 4217 code. Write for example 'EUR' or 'USD'."


def _unit_fault(unit: str) -> str:
    units = get_args(VolumeUnit)
    return "" if unit in units else f"{unit!r} is no unit that is known. Give one of {', '.join(units)}."


_OPEN = {
    "timezone": zone_fault, "encoding": _encoding_fault, "currency": _currency_fault, "pulses": factor_fault,
    "volume_unit": _unit_fault,
}
"""Questions that other answers than the choices fit."""
