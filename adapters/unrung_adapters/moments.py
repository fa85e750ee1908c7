"""The times of one export, in file order: where the order of rows says which pass a time is of."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import time, timedelta
from functools import lru_cache, partial
from operator import gt, lt

from unrung.mapping import Mapping
from unrung_adapters.bad_value import BadValue, Unreadable
from unrung_adapters.batches import Bad, each
from unrung_adapters.local_time import ByHour, Local, Skipped, Twice, by_hour, local_reader
from unrung_adapters.notes import ReadNotes
from unrung_adapters.time_text import time_reader

EARLIEST_MS = 946_684_800_000
"""2000-01-01T00:00Z: an earlier time comes from a clock that lost its battery, or a wrong pattern."""
AHEAD_MS = 36 * 3_600_000
"""Clocks may be ahead of us by a zone and a bit; more is a wrong date order."""
JITTER_MS = 60_000
"""Tills and meters write a row a little late: a smaller step back is no second pass."""
FAR_MS = 3_600_000
"""A step back by more begins another list: the next tap, the next day's page."""


class Moments:
    """Reads time texts in the order of their rows, and counts the doubtful ones in ``notes``."""

    def __init__(self, mapping: Mapping, received_ms: int, notes: ReadNotes) -> None:
        self._notes = notes
        self._latest_ms = received_ms + AHEAD_MS
        self._ordered = mapping.formats.order == "time"
        self._previous_ms: int | None = None
        self._trend = 0
        # Not a method: a cache that holds its owner would outlive the export.
        self._find, self._column = _finder(mapping)

    def in_order(self, field: str, text: str) -> int:
        """The time that the rows are ordered by (either way), as UTC milliseconds."""
        found = self._read(field, text)
        at_ms = found if isinstance(found, int) else self._counted(found, self._second_pass(found))
        if self._previous_ms is not None and at_ms != self._previous_ms:
            self._trend += 1 if at_ms > self._previous_ms else -1
        self._previous_ms = at_ms
        return at_ms

    def column(self, field: str, texts: Sequence[str], bad: Bad) -> list[int]:
        """``in_order`` for row after row; 0 where a time cannot be read, which is noted as ``bad``."""
        plain = self.plain(texts)
        if plain is None:
            return [at_ms or 0 for at_ms in each(partial(self.in_order, field), texts, bad)]
        self.follow(plain)
        return plain

    def plain(self, texts: Sequence[str]) -> list[int] | None:
        """The times of a column in one go, as is usual: where each can be read, was shown once and can be
        meant. None where one has to be looked at by itself."""
        times = self._column(texts) or self._one_by_one(texts)
        if not times:
            return None
        return times if EARLIEST_MS <= min(times) and max(times) <= self._latest_ms else None

    def _one_by_one(self, texts: Sequence[str]) -> list[int] | None:
        try:
            found = list(map(self._find, texts))
        except Unreadable:
            return None
        times = [at_ms for at_ms in found if isinstance(at_ms, int)]
        return times if len(times) == len(found) else None

    def follow(self, times_ms: Sequence[int]) -> None:
        """What ``in_order`` remembers of rows with these times, one after the other."""
        before = times_ms[0] if self._previous_ms is None else self._previous_ms
        path = [before, *times_ms]
        self._trend += sum(map(lt, path, times_ms)) - sum(map(gt, path, times_ms))
        self._previous_ms = times_ms[-1]

    def not_before(self, field: str, text: str, floor_ms: int) -> int:
        """A second time of a row: the first pass that is not before ``floor_ms``."""
        found = self._read(field, text)
        if isinstance(found, int):
            return found
        return self._counted(found, found[0] < floor_ms)

    def not_after(self, field: str, text: str, ceiling_ms: int) -> int:
        """A second time of a row: the last pass that is not after ``ceiling_ms``."""
        found = self._read(field, text)
        if isinstance(found, int):
            return found
        return self._counted(found, found[-1] <= ceiling_ms)

    def within(self, field: str, text: str, at_ms: int) -> int:
        """``at_ms``, if a time can be that at all: since 2000 and not in the future."""
        if at_ms < EARLIEST_MS:
            raise BadValue(
                field, text, "is before the year 2000: is the clock right, and the time's form?",
                "Set the source's clock, or formats.time.",
            )
        if at_ms > self._latest_ms:
            raise BadValue(
                field, text, "is in the future: is the date order right?",
                "Set formats.time and formats.zone to how the source writes times.",
            )
        return at_ms

    def _read(self, field: str, text: str) -> Local:
        try:
            found = self._find(text)
        except Unreadable as error:
            raise BadValue(field, text, error.reason, error.fix) from None
        at_ms = found if isinstance(found, int) else found[0]
        if not EARLIEST_MS <= at_ms <= self._latest_ms:
            self.within(field, text, at_ms)
        return found

    def _second_pass(self, found: Local) -> bool:
        """Rising rows: the second pass once the first would be a step back. Falling: mirrored."""
        previous_ms = self._previous_ms
        if not self._ordered or previous_ms is None or not isinstance(found, Twice):
            return False
        first_ms, second_ms = found
        if self._trend < 0:
            return second_ms <= previous_ms + JITTER_MS
        return first_ms < previous_ms - JITTER_MS and previous_ms < second_ms + FAR_MS

    def _counted(self, found: Local, second: bool) -> int:
        if isinstance(found, Skipped):
            self._notes.missing += 1
            return found.at_ms
        assert isinstance(found, Twice)
        self._notes.ambiguous += 1
        return found.second_ms if second else found.first_ms


def _finder(mapping: Mapping) -> ByHour:
    parse = time_reader(mapping.formats.time)
    local = local_reader(mapping.formats.zone or mapping.zone)
    morning = mapping.day_starts if mapping.formats.dates == "business_day" else time.min

    @lru_cache(maxsize=8192)
    def found(text: str) -> Local:
        moment = parse(text)
        if isinstance(moment, int):
            return moment
        return local(moment + timedelta(days=moment.time() < morning))

    return by_hour(found) if mapping.formats.time == "iso" else ByHour(found, lambda texts: None)
