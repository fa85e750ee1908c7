"""Keg by keg: what it held, what the meter saw of it, what was rung, and what is left.

A keg runs from the event that couples it to the one that takes it off, or that couples the next one
on its line. What it held and the meter did not see was lost before the meter (or was never in it);
what the meter saw and nothing explains was lost after it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.cellar import CellarEvent
from unrung.ledger.counts import keg_tolerance_ul, together
from unrung.ledger.tap_spans import TapSpan, line_of
from unrung.settings import Settings

SERIES_MS = 10 * 60_000
"""Kegs of different numbers that are coupled to one line within this time feed it together."""
MISSED_SHARE = 10
"""Metered beyond the contents by more than one part in this many: a keg change was not written
down. Less may be the meter."""

NOTES = {
    "running": "is on the line",
    "not_metered": "ran through no meter",
    "start_unknown": "was on the line before its records begin",
    "part_used": "went on part-used",
    "put_back": "went on again",
    "moved": "went on again, on another line",
    "in_series": "kegs that feed the line together",
    "change_missed": "gave more than it holds: a keg change was not written down",
    "gave_more": "gave more than it holds, within a tenth: look at the meter",
    "gave_less": "gave less than it holds, beyond keg and meter tolerance: filled short, or lost "
    "before the meter",
}
"""What a row's notes mean."""


class KegRow(NamedTuple):
    """One keg (or kegs in series) on one line. Times in UTC milliseconds, volumes whole microlitres."""

    line: str
    outlet: str
    product: str
    keg: str
    on_ms: int | None
    off_ms: int | None
    kegs: int
    size_ul: int
    """Nominal contents of one keg; 0 where nothing says."""
    contents_ul: int | None
    """What it held when it went on; None where that is not known."""
    metered_ul: int
    """Beer; without water and gas."""
    rung_ul: int
    logged_ul: int
    not_beer_ul: int
    left_ul: int
    """What was still in it when it came off."""
    within_ul: int
    """Bound, by the keg's and the meter's tolerance, of what was used and not metered."""
    notes: tuple[str, ...]

    @property
    def used_ul(self) -> int | None:
        """Contents used; None while it runs, or where that cannot be told."""
        if self.contents_ul is None or {"running", "change_missed", "not_metered"} & set(self.notes):
            return None
        return self.contents_ul - self.left_ul


class Meters:
    """What ran through each line between two moments that are keg events or edges of days."""

    def __init__(self, spans: Iterable[TapSpan]) -> None:
        self._by_line: dict[str, list[TapSpan]] = defaultdict(list)
        for span in spans:
            self._by_line[span.line].append(span)

    def sums(self, line: str, lo_ms: int, hi_ms: int) -> tuple[int, int, int, int]:
        """Beer, rung, logged, not beer within [lo, hi)."""
        mine = [s for s in self._by_line.get(line, ()) if lo_ms <= s.from_ms < hi_ms]
        return (
            sum(s.beer_ul for s in mine), sum(s.rung_ul for s in mine),
            sum(s.logged_ul for s in mine), sum(s.not_beer_ul for s in mine),
        )


@dataclass(slots=True)
class _Coupling:
    """A keg on a line while the events are read."""

    event: CellarEvent
    on_ms: int | None
    contents_ul: int | None
    numbers: list[str]
    notes: list[str] = field(default_factory=list)
    kegs: int = 1
    end_ms: int | None = None
    left_ul: int = 0


def keg_rows(
    events: Sequence[CellarEvent], meters: Meters, until_ms: int, settings: Settings
) -> list[KegRow]:
    """Every keg that the events tell of, in order of line and time; running ones up to ``until_ms``."""
    unmetered = {line_of(row) for row in settings.taps if not row.metered}
    running: dict[str, _Coupling] = {}
    done: list[_Coupling] = []
    rest_of: dict[str, tuple[str, int | None]] = {}
    for event in sorted(events, key=lambda one: (one.at_ms, one.kind != "off", one.id)):
        if not event.line or event.kind not in ("on", "off") or event.at_ms >= until_ms:
            continue
        now = running.get(event.line)
        if event.kind == "on" and now is not None and _joins(now, event):
            _join(now, event)
            continue
        if event.kind == "off" and now is None:
            now = _Coupling(event, None, None, [event.keg], ["start_unknown"])
        if now is not None:
            done.append(_ended(now, event, meters, rest_of))
            running.pop(event.line, None)
        if event.kind == "on":
            running[event.line] = _coupled(event, rest_of)
    done += running.values()
    for one in done:
        one.notes += ["not_metered"] if one.event.line in unmetered else []
    rows = [_row(one, meters, until_ms, settings) for one in done]
    return sorted(rows, key=lambda row: (row.outlet, row.line, row.on_ms or 0, row.off_ms or until_ms))


def _joins(now: _Coupling, event: CellarEvent) -> bool:
    """Whether an event couples a further keg to the same line, or is the same one written twice."""
    return now.on_ms is not None and event.at_ms - now.on_ms <= SERIES_MS and (
        event.product == now.event.product
    )


def _join(now: _Coupling, event: CellarEvent) -> None:
    if not event.keg or event.keg in now.numbers:
        return  # written twice
    now.numbers.append(event.keg)
    now.kegs += 1
    held = _holds(event)
    now.contents_ul = None if None in (now.contents_ul, held) else (now.contents_ul or 0) + (held or 0)
    now.notes = [*dict.fromkeys([*now.notes, "in_series"])]


def _holds(event: CellarEvent) -> int | None:
    return event.part_ul if event.part_ul is not None else event.size_ul


def _coupled(event: CellarEvent, rest_of: dict[str, tuple[str, int | None]]) -> _Coupling:
    made = _Coupling(event, event.at_ms, _holds(event), [event.keg])
    if event.keg in rest_of:
        line, rest = rest_of[event.keg]
        made.notes.append("put_back" if line == event.line else "moved")
        made.contents_ul = event.part_ul if event.part_ul is not None else rest
    elif event.part_ul is not None:
        made.notes.append("part_used")
    return made


def _ended(
    now: _Coupling, event: CellarEvent, meters: Meters, rest_of: dict[str, tuple[str, int | None]]
) -> _Coupling:
    """The coupling with its end; what is left is what was written down, else nothing."""
    now.end_ms = event.at_ms
    written = event.part_ul if event.kind == "off" else None
    now.left_ul = written or 0
    rest = written
    if rest is None and now.on_ms is not None and now.contents_ul is not None:
        rest = max(0, now.contents_ul - meters.sums(event.line, now.on_ms, event.at_ms)[0])
    rest_of.update({number: (event.line, rest) for number in now.numbers if number})
    return now


def _row(one: _Coupling, meters: Meters, until_ms: int, settings: Settings) -> KegRow:
    event, end = one.event, one.end_ms if one.end_ms is not None else until_ms
    beer, rung, logged, not_beer = meters.sums(event.line, one.on_ms or 0, end)
    meter = int(Fraction(settings.stock.meter_tolerance) * beer)
    kegs = [keg_tolerance_ul(event.size_ul or 0)] * one.kegs
    within = together([meter, *kegs])
    notes = one.notes + (["running"] if one.end_ms is None else [])
    notes += _judged(one, beer, within)
    return KegRow(
        event.line, event.outlet, event.product, " + ".join(filter(None, one.numbers)), one.on_ms,
        one.end_ms, one.kegs, event.size_ul or 0, one.contents_ul, beer, rung, logged, not_beer,
        one.left_ul, within, tuple(notes),
    )


def _judged(one: _Coupling, beer_ul: int, within_ul: int) -> list[str]:
    if one.contents_ul is None or "not_metered" in one.notes:
        return []
    beyond = beer_ul + one.left_ul - one.contents_ul
    if beyond > within_ul:
        return ["change_missed" if beyond * MISSED_SHARE > one.contents_ul else "gave_more"]
    if one.end_ms is not None and -beyond > within_ul:
        return ["gave_less"]
    return []
