"""From running totals to flows: what a meter counted between two readings, and when.

Readings are looked at in order of time, whatever order and however many times they came in, so any
cut of their file gives the same volume: every total was rounded once, and differences telescope.

- Readings that rise one after the other at short distance make one pour, from the reading before the
  first rise to the last rise.
- A rise over a longer distance is volume without a time: a flow with a span, compared by totals.
- A total that went back is a roll-over where the tap says at which number its counter starts again
  (``counter_modulus``), else a reset: what flowed from the reading before is not known, and never
  negative. Where it came a moment ago, and no more is on the counter than can have flowed since, the
  counter was clearly set to 0, and what is on it counts.
- A rise that no line could pour is a new meter, and not known either.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import NamedTuple

from unrung.ledger.coverage import Span
from unrung.ledger.inputs import Blind, PourLine, ReadingLine
from unrung.ledger.taps import TapList
from unrung.settings import Feed, Matching
from unrung.units import UNITS_UL, from_ul, pulses_to_ul, to_ul

SHORT_MS = 3 * 60_000
"""A rise over at most this long is a pour with a time (common practice, no source)."""
MOST_UL = 60_000_000
"""More than a keg in a short time is not beer."""


class _Rise(NamedTuple):
    """What a meter counted between two readings. ``volume_ul`` None: not known, for ``why``, or
    waiting for the tap's factor where there are ``pulses``."""

    volume_ul: int | None
    pulses: int | None = None
    why: str = ""

    @property
    def known(self) -> bool:
        return self.volume_ul is not None or self.pulses is not None

    @property
    def flowed(self) -> bool:
        return bool(self.volume_ul or self.pulses)


class _Step(NamedTuple):
    """Two readings of one meter, one after the other."""

    a: ReadingLine
    b: ReadingLine
    rise: _Rise


class Counters:
    """What the config says of the meters' counters."""

    def __init__(self, taps: TapList, feeds: Iterable[Feed], matching: Matching) -> None:
        self._taps = taps
        self._units = {feed.name: feed.formats.volume_unit for feed in feeds}
        self.spans = {feed.name for feed in feeds if feed.resolution == "interval"}
        """Feeds whose every rise is a count over a span."""
        self._limit = Fraction(matching.max_flow_per_second) * UNITS_UL["us_fl_oz"] / 1000

    def rise(self, a: ReadingLine, b: ReadingLine) -> _Rise:
        """From reading ``a`` to the next one, ``b``."""
        lasted_ms = b.at_ms - a.at_ms
        if a.total_ul is not None and b.total_ul is not None:
            if 0 <= b.total_ul - a.total_ul <= MOST_UL:
                return _Rise(b.total_ul - a.total_ul)
            return self._rise(a.total_ul, b.total_ul, self._modulus_ul(b), lasted_ms, int)
        if a.pulses is None or b.pulses is None:
            return _Rise(None, why="counts in another unit than before")
        tap = self._taps.at(b.meter, b.at_ms)
        per_litre = tap.pulses_per_litre if tap is not None else None
        if tap is None or per_litre is None:
            return _Rise(None, max(0, b.pulses - a.pulses))
        modulus = None if tap.counter_modulus is None else int(tap.counter_modulus)
        volume_of = partial(pulses_to_ul, pulses_per_litre=per_litre)
        return self._rise(a.pulses, b.pulses, modulus, lasted_ms, volume_of)

    def _rise(
        self, before: int, now: int, modulus: int | None, lasted_ms: int, volume_of: Callable[[int], int]
    ) -> _Rise:
        """``volume_of`` a count in microlitres: totals are rounded, never differences."""
        can_flow = self._limit * lasted_ms
        rolled = modulus is not None and now < before
        volume = volume_of(now + (modulus or 0) if rolled else now) - volume_of(before)
        if 0 <= volume <= max(Fraction(MOST_UL), can_flow):
            return _Rise(volume)
        how = "went back" if now < before else "jumped"
        said = f"{how} from {_litres(volume_of(before))} to {_litres(volume_of(now))}"
        reset = now < before and lasted_ms <= SHORT_MS and volume_of(now) <= can_flow
        return _Rise(volume_of(now) if reset else None, why=said)

    def _modulus_ul(self, line: ReadingLine) -> int | None:
        tap = self._taps.at(line.meter, line.at_ms)
        unit = self._units.get(line.origin.feed)
        if tap is None or tap.counter_modulus is None or unit is None:
            return None
        return to_ul(tap.counter_modulus, unit)


def metered(
    readings: Iterable[ReadingLine], day: Span, counters: Counters
) -> tuple[list[PourLine], list[Blind]]:
    """The flows that belong to a business day, and the spans in which a meter's volume is not known.

    ``readings``: those of the day, of each meter the last one before it (of the day before; without
    it the first rise is not known), and the first one after it. A flow belongs to the day it ends
    in; one with a span that ends as the day starts belongs to the day before.
    """
    series: dict[tuple[str, str], list[ReadingLine]] = defaultdict(list)
    for line in readings:
        series[line.origin.feed, line.meter].append(line)
    lines: list[PourLine] = []
    blind: list[Blind] = []
    for (feed, _), found in sorted(series.items()):
        ordered = _in_order(found)
        rises = [_Step(a, b, counters.rise(a, b)) for a, b in pairwise(ordered)]
        lines += _flows(rises, day, feed in counters.spans)
        blind += _blind(ordered, rises, day)
    return lines, blind


def straddling(lines: Iterable[PourLine], day: Span) -> list[Blind]:
    """Where a meter that counts over spans is blind: a span over the day's edge can belong to either
    day, so neither can be compared there."""
    return [
        Blind(line.tap, max(line.start_ms, day[0]), min(line.end_ms, day[1]))
        for line in lines if line.span and (crosses(line.start_ms, line.end_ms, day[0])
                                            or crosses(line.start_ms, line.end_ms, day[1]))
    ]


def crosses(start_ms: int, end_ms: int, edge_ms: int) -> bool:
    """Whether a span lies on both sides of an edge by more than a moment."""
    return start_ms < edge_ms - SHORT_MS and edge_ms < end_ms


def _in_order(lines: Sequence[ReadingLine]) -> list[ReadingLine]:
    """By time, then total, without repeats: a reading that came twice says nothing new."""
    seen: dict[tuple[int, int, int], ReadingLine] = {}
    for line in sorted(lines, key=lambda one: (one.at_ms, _count(one), one.origin, one.id)):
        seen.setdefault((line.at_ms, _count(line), line.pulses is None), line)
    return list(seen.values())


def _count(line: ReadingLine) -> int:
    return (line.total_ul if line.total_ul is not None else line.pulses) or 0


def _flows(rises: Iterable[_Step], day: Span, spans: bool) -> Iterator[PourLine]:
    pour: PourLine | None = None
    for a, b, rise in rises:
        timed = not spans and b.at_ms - a.at_ms <= SHORT_MS
        mine = day[0] <= b.at_ms < day[1] if timed else day[0] < b.at_ms <= day[1]
        goes_on = pour is not None and timed and rise.flowed and not rise.why
        if pour is not None and not goes_on:
            yield pour
            pour = None
        if not mine or not rise.flowed:
            continue
        line = PourLine(b.id, b.origin, b.meter, a.at_ms, b.at_ms, rise.volume_ul, rise.pulses, not timed)
        if not timed:
            yield line
        else:
            pour = line if pour is None else _joined(pour, line)
    if pour is not None:
        yield pour


def _joined(pour: PourLine, more: PourLine) -> PourLine:
    known = pour.volume_ul is not None and more.volume_ul is not None
    return more._replace(
        start_ms=pour.start_ms,
        volume_ul=(pour.volume_ul or 0) + (more.volume_ul or 0) if known else None,
        pulses=None if known else (pour.pulses or 0) + (more.pulses or 0),
    )


def _blind(lines: Sequence[ReadingLine], rises: Iterable[_Step], day: Span) -> Iterator[Blind]:
    """Spans within the day of which it is not known what flowed, or on which side of an edge."""
    lo, hi = day
    meter = lines[0].meter
    for a, b, rise in rises:
        span = (max(a.at_ms, lo), min(b.at_ms, hi))
        edge = any(crosses(a.at_ms, b.at_ms, edge_ms) for edge_ms in day)
        unsure = not rise.known or bool(rise.why)
        if span[0] < span[1] and (unsure or (edge and rise.flowed)):
            yield Blind(meter, *span, rise.why if lo <= b.at_ms < hi else "")
    if lines[0].at_ms > lo + SHORT_MS:
        yield Blind(meter, lo, min(lines[0].at_ms, hi))
    if lines[-1].at_ms < hi - SHORT_MS:
        yield Blind(meter, max(lines[-1].at_ms, lo), hi)


def _litres(volume_ul: int) -> str:
    return f"{from_ul(volume_ul, 'l', 1)} L"

