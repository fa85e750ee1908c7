"""Mistakes in ``[formats]``: encodings, marks, zones and the patterns of times."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import datetime
from difflib import get_close_matches
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from unrung.mapping import Formats, Mapping

_FIXED = ("iso", "epoch_s", "epoch_ms", "sheet_days")
_SAMPLE = datetime(2026, 11, 25, 17, 42, 53)  # noqa: DTZ001
_DATE_CODES = ({"Y", "y"}, {"m", "b", "B"}, {"d"})
_WHOLE_DATE = {"j", "c", "x", "D", "F"}


def format_problems(mapping: Mapping) -> Iterator[str]:
    """Sentences about settings that cannot work or would be misread."""
    formats = mapping.formats
    yield from _marks(formats)
    try:
        "a".encode(formats.encoding)
    except (LookupError, ValueError):
        yield f"formats.encoding {formats.encoding!r} is unknown; write for example 'utf-8'."
    if mapping.carries == "log" and "day" in mapping.fields:
        yield from _pattern("formats.date", formats.date, clock=False)
    if formats.time not in _FIXED:
        yield from _pattern("formats.time", formats.time, clock=True)
    zone = formats.zone or mapping.zone
    if not _is_zone(zone):
        near = get_close_matches(zone, sorted(available_timezones()), 1)
        guess = f"did you mean {near[0]!r}?" if near else "write for example 'America/New_York'."
        yield f"the zone {zone!r} is unknown; {guess}"


def _marks(formats: Formats) -> Iterator[str]:
    if formats.delimiter == formats.quote:
        yield "formats.delimiter and formats.quote are the same; set them to what the file has."
    for name in ("delimiter", "quote"):
        if getattr(formats, name) in "\r\n\0":
            yield f"formats.{name} cannot be a line end; set it to what the file has."
    if formats.decimal == formats.thousands:
        yield "formats.decimal and formats.thousands are the same; a number could mean two things."
    if not all(mark.strip() for mark in formats.currency_marks):
        yield "formats.currency_marks holds an empty mark; take it out."


def _pattern(setting: str, pattern: str, *, clock: bool) -> Iterator[str]:
    codes = set(re.findall("%(.)", pattern))
    choices = " ('iso', 'epoch_s', 'epoch_ms' and 'sheet_days' are the other choices)" if clock else ""
    try:
        if not codes:
            raise ValueError("nothing to read a time from")
        datetime.strptime(_SAMPLE.strftime(pattern), pattern)  # noqa: DTZ007
    except (ValueError, re.error):
        yield f"{setting} {pattern!r} is not a strptime pattern{choices}; see the table of codes."
        return
    if not codes & _WHOLE_DATE and not all(codes & choice for choice in _DATE_CODES):
        yield f"{setting} {pattern!r} names no whole date{choices}; add year, month and day."
    if not clock:
        return
    if not codes & {"H", "I", "X", "c", "T", "R"}:
        yield f"{setting} {pattern!r} names no time of day; add it, or join its column to the date's."
    if "I" in codes and "p" not in codes:
        yield f"{setting} {pattern!r} cannot tell morning from evening; add %p, or use %H."


def _is_zone(name: str) -> bool:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True
