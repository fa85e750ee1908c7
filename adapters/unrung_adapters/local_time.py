"""Local times to UTC, with the two hours a year in which a clock on the wall does not say enough."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from functools import lru_cache
from typing import NamedTuple
from zoneinfo import ZoneInfo

from unrung_adapters.bad_value import Unreadable

_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001
_MINUTES = {f":{n:02}:": 60_000 * n for n in range(60)}
_SECONDS = {f"{n:02}": 1000 * n for n in range(60)}
"""Texts to milliseconds."""
_OFFSETS = ("", "+", "-", "Z", "z")
_LAST_OF_HOUR = timedelta(minutes=59, seconds=59, microseconds=999_999)


class Twice(NamedTuple):
    """A local time that the clocks showed twice; UTC milliseconds of either pass."""

    first_ms: int
    second_ms: int


class Skipped(NamedTuple):
    """A local time that the clocks never showed, moved forward by the gap; UTC milliseconds."""

    at_ms: int


Local = int | Twice | Skipped


def local_reader(zone: str) -> Callable[[datetime], Local]:
    """A function from a time without offset in ``zone`` to UTC milliseconds.

    The offset of an hour without a transition is looked up once. Semantics of the rest: PEP 495.

    >>> local_reader("America/New_York")(datetime(2026, 11, 1, 1, 30))
    Twice(first_ms=1793511000000, second_ms=1793514600000)
    """
    info = ZoneInfo(zone)
    offsets_ms: dict[int, int | None] = {}

    def read(wall: datetime) -> Local:
        since = wall - _EPOCH
        wall_ms = since.days * 86_400_000 + since.seconds * 1000 + since.microseconds // 1000
        hour = wall_ms // 3_600_000
        if hour not in offsets_ms:
            offsets_ms[hour] = _steady_offset_ms(wall, info)
        offset_ms = offsets_ms[hour]
        return _settle(wall, wall_ms, info) if offset_ms is None else wall_ms - offset_ms

    return read


class ByHour(NamedTuple):
    """Readers of ISO texts."""

    one: Callable[[str], Local]
    column: Callable[[Sequence[str]], list[int] | None]
    """None where a text has to be looked at by itself."""


def by_hour(read: Callable[[str], Local]) -> ByHour:
    """``read`` for ISO texts of whole seconds: of an hour and offset only the two ends are read, and what
    lies between is counted from there, unless the clocks were changed in it."""

    @lru_cache(maxsize=1024)
    def starts(head: str, tail: str) -> int | None:
        try:
            first, last = read(f"{head}00:00{tail}"), read(f"{head}59:59{tail}")
        except Unreadable:
            return None
        if not isinstance(first, int) or not isinstance(last, int) or last - first != 3_599_000:
            return None
        return first

    def found(text: str) -> Local:
        # As in "2026-11-01T01:30:05-05:00"; other forms of ISO 8601 are read one by one.
        minute, second = _MINUTES.get(text[13:17]), _SECONDS.get(text[17:19])
        if minute is None or second is None or text[19:20] not in _OFFSETS:
            return read(text)
        start_ms = starts(text[:14], text[19:])
        return read(text) if start_ms is None else start_ms + minute + second

    def column(texts: Sequence[str]) -> list[int] | None:
        tails = {text[19:] for text in texts}
        if len(tails) != 1 or (tail := tails.pop())[:1] not in _OFFSETS:
            return None
        hours = {head: starts(head, tail) for head in {text[:14] for text in texts}}
        try:
            return [
                hours[text[:14]] + _MINUTES[text[13:17]] + _SECONDS[text[17:19]]  # type: ignore[operator]
                for text in texts
            ]
        except (KeyError, TypeError):  # another form, or an hour in which the clocks were changed
            return None

    return ByHour(found, column)


def _settle(wall: datetime, wall_ms: int, info: ZoneInfo) -> Local:
    early, late = (_offset_ms(wall.replace(fold=fold), info) for fold in (0, 1))
    if early > late:
        return Twice(wall_ms - early, wall_ms - late)
    # In a gap, fold 0 has the offset from before: the result lies past the gap by as much.
    return Skipped(wall_ms - early) if early < late else wall_ms - early


def _steady_offset_ms(wall: datetime, info: ZoneInfo) -> int | None:
    """The one offset of the whole local hour around ``wall``; None where there is more than one."""
    start = wall.replace(minute=0, second=0, microsecond=0)
    found = {
        _offset_ms(at.replace(fold=fold), info)
        for at in (start, start + _LAST_OF_HOUR) for fold in (0, 1)
    }
    return found.pop() if len(found) == 1 else None


def _offset_ms(wall: datetime, info: ZoneInfo) -> int:
    offset = info.utcoffset(wall.replace(tzinfo=info))
    assert offset is not None
    return round(offset.total_seconds() * 1000)
