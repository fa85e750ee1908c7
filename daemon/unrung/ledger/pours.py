"""Metered rows to beer: which product, how much, and what of it was gas or flowed in a cleaning."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.inputs import KegLine, LogLine, PourLine
from unrung.ledger.outlets import Outlets
from unrung.ledger.taps import TapList
from unrung.ledger.tuples import made
from unrung.settings import Matching, TapRow
from unrung.units import UNITS_UL, pulses_to_ul

GAS_LEAST_MS = 1_000
"""Shorter flows are timed too coarsely to tell beer from gas."""
BLOWN_MS = 5 * 60_000
"""Within this time after gas ran through a meter the keg is changed, or taken off at the least."""
WHOLE_SECOND_MS = 1_000
"""A flow between two times written in whole seconds may have lasted this much longer."""
WHOLE_MINUTE_MS = 60_000
"""A span that is written to the minute runs to the end of its last minute."""


class Flow(NamedTuple):
    """One metered flow with its product."""

    key: int
    line: PourLine
    outlet: str
    """Outlet or pool."""
    tap: str
    product: str
    start_ms: int
    end_ms: int
    volume_ul: int
    line_volume_ul: int = 0
    """Beer that stands in the tap's line."""
    cleaning: LogLine | None = None
    """The cleaning entry in whose span it began; of one without a time, in whose span some of it can lie."""


@dataclass(slots=True)
class DayPours:
    """One business day of the meters."""

    beer: list[Flow] = field(default_factory=list)
    gas: list[Flow] = field(default_factory=list)
    cleaning: list[Flow] = field(default_factory=list)
    untimed: list[Flow] = field(default_factory=list)
    """Volume without a time: it flowed at some time between start and end. ``cleaning`` is set where
    a cleaning span overlaps it, so that some of it may be water; what lies within one is ``cleaning``."""
    unknown: Counter[str] = field(default_factory=Counter)
    """Tap names that ``taps.csv`` does not know at that time, to the number of pours."""
    shared: Counter[str] = field(default_factory=Counter)
    """Meters whose taps pour several products (or stand in several outlets), likewise."""
    no_factor: Counter[str] = field(default_factory=Counter)
    """Taps whose pulses cannot be turned into volume, likewise."""


def day_pours(
    lines: Iterable[PourLine], logs: Iterable[LogLine], kegs: Iterable[KegLine], taps: TapList,
    outlets: Outlets, matching: Matching,
) -> DayPours:
    """All pours of one day, sorted into beer, gas and cleaning."""
    day = DayPours()
    changes = _keg_changes(kegs, taps)
    spans = _cleaning_spans(logs)
    limit = Fraction(matching.max_flow_per_second) * UNITS_UL["us_fl_oz"] / 1000
    most_ul, in_ms = limit.as_integer_ratio()
    beer: list[tuple[object, ...]] = []
    for line in lines:
        key, _, name, start_ms, end_ms, volume, _, span = line
        tap = taps.at(name, end_ms)
        if tap is None or volume is None:
            volume = _volume(line, tap, taps, day)
        if tap is None or volume is None:
            continue
        row = (key, line, outlets.of(tap.outlet), tap.tap, tap.product, start_ms, end_ms, volume,
               tap.line_volume_ul, None)
        if not spans and not span and volume * in_ms <= most_ul * (end_ms - start_ms):  # as is usual
            beer.append(row)
            continue
        flow = Flow._make(row)
        entry = _cleaning_of(flow, tap, spans) if spans else None
        if span and (entry is None or not _wholly_within(flow, entry)):
            day.untimed.append(flow._replace(cleaning=entry))
        elif entry is not None:
            day.cleaning.append(flow._replace(cleaning=entry))
        elif is_gas(flow, most_ul, in_ms) and not _two_at_once(flow, limit, name, taps, changes):
            day.gas.append(flow)
        else:
            beer.append(flow)
    day.beer = list(made(Flow, beer))
    return day


def is_gas(flow: Flow, most_ul: int, in_ms: int) -> bool:
    """Faster than beer can flow, which is ``most_ul`` ``in_ms``: the keg has blown."""
    lasted = flow.end_ms - flow.start_ms
    if flow.volume_ul * in_ms <= most_ul * lasted or lasted < GAS_LEAST_MS:
        return False
    return flow.volume_ul * in_ms > most_ul * lasted_ms(flow.start_ms, flow.end_ms)


def lasted_ms(start_ms: int, end_ms: int) -> int:
    """How long a flow may have lasted: a second more than they say where its times are whole seconds."""
    whole = start_ms % WHOLE_SECOND_MS == end_ms % WHOLE_SECOND_MS == 0
    return end_ms - start_ms + (WHOLE_SECOND_MS if whole else 0)


def _two_at_once(
    flow: Flow, limit_ul_per_ms: Fraction, name: str, taps: TapList, changes: Mapping[str, Sequence[int]]
) -> bool:
    """Whether faucets of one meter that were open together explain a flow. No keg is changed after it."""
    faucets = taps.faucets(name, flow.end_ms)
    if faucets < 2 or is_gas(flow, *(faucets * limit_ul_per_ms).as_integer_ratio()):
        return False
    return not any(
        flow.start_ms <= at_ms <= flow.end_ms + BLOWN_MS for at_ms in changes.get(flow.tap.casefold(), ()))


def _keg_changes(kegs: Iterable[KegLine], taps: TapList) -> dict[str, list[int]]:
    """Times at which kegs went off or on, by the tap that their meter's flows go by."""
    found: dict[str, list[int]] = defaultdict(list)
    for keg in kegs:
        row = taps.at(keg.tap, keg.at_ms) if keg.tap else None
        first = taps.at(row.meter, keg.at_ms) if row is not None and row.meter else row
        if first is not None and keg.kind in ("off", "on"):
            found[first.tap.casefold()].append(keg.at_ms)
    return found


def _volume(line: PourLine, tap: TapRow | None, taps: TapList, day: DayPours) -> int | None:
    """Of a line that comes without one, or of a tap that is not known: then none."""
    if tap is None:
        (day.shared if taps.knows(line.tap, line.end_ms) else day.unknown)[line.tap] += 1
        return None
    if tap.pulses_per_litre:
        return pulses_to_ul(line.pulses or 0, tap.pulses_per_litre)
    day.no_factor[tap.tap] += 1
    return None


def _cleaning_spans(logs: Iterable[LogLine]) -> Sequence[LogLine]:
    """Cleaning entries with a start and an end; those that name most come first."""
    spans = [log for log in logs
             if log.reason == "cleaning" and log.at_ms is not None and log.end_ms is not None]
    return sorted(spans, key=lambda log: (
        -bool(log.tap), -bool(log.product), -bool(log.outlet), log.at_ms, log.end_ms, log.origin, log.id))


def _cleaning_of(flow: Flow, tap: TapRow, spans: Iterable[LogLine]) -> LogLine | None:
    return next((span for span in spans if _names(span, tap) and _within(flow, span)), None)


def _within(flow: Flow, span: LogLine) -> bool:
    """Whether a flow began in a cleaning span; of one without a time, whether some of it can have."""
    began = flow.end_ms if flow.line.span else flow.start_ms
    return _at_ms(span) <= began and flow.start_ms < _end_ms(span)


def _wholly_within(flow: Flow, span: LogLine) -> bool:
    """Whether all of a flow without a time must have flowed in a cleaning span."""
    return _at_ms(span) <= flow.start_ms and flow.end_ms <= _end_ms(span)


def _at_ms(span: LogLine) -> int:
    assert span.at_ms is not None
    return span.at_ms


def _end_ms(span: LogLine) -> int:
    """The first moment after a cleaning span; an end in whole minutes is that of its minute."""
    assert span.end_ms is not None
    return span.end_ms + (WHOLE_MINUTE_MS if span.end_ms % WHOLE_MINUTE_MS == 0 else 1)


def _names(span: LogLine, tap: TapRow) -> bool:
    """Whether a cleaning span names a tap, its product, or only its outlet."""
    return (
        (not span.tap or span.tap.casefold() in (tap.tap.casefold(), tap.meter.casefold()))
        and (not span.product or span.product.casefold() == tap.product.casefold())
        and (not span.outlet or span.outlet.casefold() == tap.outlet.casefold())
    )
