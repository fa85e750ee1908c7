"""Mapped texts to log entries: volumes that somebody wrote down."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, time
from functools import lru_cache
from typing import get_args

from unrung.records import LogEntry, LogReason
from unrung_adapters.bad_value import BadValue, Unreadable
from unrung_adapters.batches import empty
from unrung_adapters.plan import Plan, kind_reader
from unrung_adapters.quantities import units_micro, volume_ul
from unrung_adapters.time_text import aware_ms, date_reader

ORDER = (
    "at", "end", "day", "reason", "tap", "product", "outlet", "item", "units", "volume", "id",
    "version",
)
_ONE = 1_000_000
LONGEST_MS = 24 * 3_600_000
"""All that flows in a cleaning's span is water and cleaner: an end with a wrong date would hide beer."""

When = tuple[int | None, int | None, str, str]
"""``at_ms``, ``end_ms``, ``day``, ``at_text``."""


def log_builder(plan: Plan) -> Callable[[tuple[str, ...]], LogEntry]:
    """A function from the texts of one entry, in ``ORDER``, to the entry."""
    formats = plan.mapping.formats
    when, reason_of = _when_reader(plan), kind_reader("reason", plan.mapping, get_args(LogReason))
    units_of = units_micro("units", formats, negative=False)
    volume_of = volume_ul("volume", formats)

    def build(texts: tuple[str, ...]) -> LogEntry:
        at, end, day, reason_text, tap, product, outlet, item, units, volume, ref, version = texts
        at_ms, end_ms, day, at_text = when(at, end, day)
        reason, item = reason_of(reason_text), item.strip()
        ul = volume_of(volume) if volume.strip() else None
        # A cleaning may be logged as a span alone: what flowed meanwhile is water and cleaner.
        if ul is None and not item and reason != "cleaning":
            raise BadValue(
                "volume", volume, "has neither a volume nor an item",
                "Write down how much it was, or which item and how many.",
            )
        return LogEntry.model_validate({
            "line": 0, "ref": ref.strip(), "version": version.strip(),
            "at_ms": at_ms, "end_ms": end_ms, "day": day, "at_text": at_text, "reason": reason,
            "tap": tap.strip(), "product": product.strip(), "outlet": outlet.strip(), "item": item,
            "units_micro": units_of(units) if units.strip() else _ONE, "volume_ul": ul,
        })

    return build


def _when_reader(plan: Plan) -> Callable[[str, str, str], When]:
    """The entry's time, or its day where no time was written."""
    moments, day_of = plan.moments, _day_reader(plan)
    by_day = "day" in plan.mapped

    def read(at: str, end: str, day: str) -> When:
        if by_day and not at.strip():
            if not day.strip():
                raise empty("day", day)
            return None, None, day_of(day.strip()), day
        at_ms = moments.in_order("at", at)
        if not end.strip():
            return at_ms, None, "", at
        end_ms = moments.not_before("end", end, at_ms)
        if end_ms < at_ms:
            raise BadValue(
                "end", end, f"is before the start ({at})", "Check which column is at and which end."
            )
        if end_ms - at_ms > LONGEST_MS:
            raise BadValue(
                "end", end, f"is more than a day after the start ({at})",
                "Check the date of the end; write what goes on for longer as an entry for each day.",
            )
        return at_ms, end_ms, "", at

    return read


def _day_reader(plan: Plan) -> Callable[[str], str]:
    parse = date_reader(plan.mapping.formats.date)

    @lru_cache(maxsize=1024)
    def read(text: str) -> str:
        try:
            day = parse(text)
        except Unreadable as error:
            raise BadValue("day", text, error.reason, error.fix) from None
        plan.moments.within("day", text, aware_ms(datetime.combine(day, time(), UTC)))
        return day.isoformat()

    return read
