"""What a tap or a meter poured at a given moment."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import date

from unrung.business_day import business_day, day_bounds
from unrung.settings import TapRow, Venue

FOREVER_AGO = -(1 << 62)


class TapList:
    """``taps.csv``, looked up by what the meter export calls the tap."""

    def __init__(self, rows: Iterable[TapRow], venue: Venue) -> None:
        self._zone, self._starts = venue.timezone, venue.day_starts
        self._rows = tuple(rows)
        self._by_name: dict[str, list[TapRow]] = defaultdict(list)
        self._always: dict[str, TapRow] = {}
        for row in self._rows:
            for name in {row.tap.casefold(), row.meter.casefold()} - {""}:
                self._by_name[name].append(row)

    def at(self, name: str, at_ms: int) -> TapRow | None:
        """The row in force for tap or meter ``name``; None where unknown, or where one meter feeds
        faucets of several products and so cannot tell them apart."""
        always = self._always.get(name)
        if always is not None:
            return always
        rows = self._by_name.get(name.strip().casefold(), ())
        if len(rows) == 1 and _undated(rows[0]):
            self._always[name] = rows[0]
        live = self._live(rows, at_ms)
        return live[0] if live and len({(row.product, row.outlet) for row in live}) == 1 else None

    def knows(self, name: str, at_ms: int) -> bool:
        """Whether any row for ``name`` is in force, if only several that differ."""
        return bool(self._live(self._by_name.get(name.strip().casefold(), ()), at_ms))

    def faucets(self, name: str, at_ms: int) -> int:
        """How many taps the meter that goes by ``name``, or that of the tap of that name, feeds."""
        live = self._live(self._by_name.get(name.strip().casefold(), ()), at_ms)
        meters = {row.meter.strip().casefold() for row in live} - {""}
        return max(len(live), *(
            len(self._live(self._by_name.get(meter, ()), at_ms)) for meter in meters), 1)

    def on_day(self, day: date, lo_ms: int, hi_ms: int) -> list[TapRow]:
        """Rows in force at any time of a business day that runs [lo, hi)."""
        found = [
            row for row in self._rows
            if (row.valid_from or day) <= day <= (row.valid_to or day)
            and (row.from_ms or lo_ms) < hi_ms and (row.to_ms or hi_ms) > lo_ms
        ]
        return [row for row in found if row in self._live(found, max(lo_ms, self._start(row)))]

    def _live(self, rows: Iterable[TapRow], at_ms: int) -> list[TapRow]:
        """Rows in force at a moment. A tap's row that starts later takes the place of an earlier one,
        whether or not that was given an end."""
        day = business_day(at_ms, self._zone, self._starts)
        live = [row for row in rows if _in_force(row, at_ms, day)]
        newest: dict[str, int] = {}
        for row in live:
            name = row.tap.casefold()
            newest[name] = max(newest.get(name, FOREVER_AGO), self._start(row))
        return [row for row in live if self._start(row) == newest[row.tap.casefold()]]

    def _start(self, row: TapRow) -> int:
        if row.from_ms is not None:
            return row.from_ms
        if row.valid_from is not None:
            return day_bounds(row.valid_from, self._zone, self._starts)[0]
        return FOREVER_AGO


def _undated(row: TapRow) -> bool:
    return (row.valid_from, row.valid_to, row.from_ms, row.to_ms) == (None, None, None, None)


def _in_force(row: TapRow, at_ms: int, day: date) -> bool:
    return (
        (row.valid_from or day) <= day <= (row.valid_to or day)
        and (row.from_ms is None or row.from_ms <= at_ms)
        and (row.to_ms is None or at_ms < row.to_ms)
    )


