"""Metered rows to beer: which product, how much, and what of it was water, cleaner or gas."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import NamedTuple

from unrung.ledger.inputs import LogLine, PourLine
from unrung.ledger.taps import TapList
from unrung.settings import Matching, TapRow
from unrung.units import UNITS_UL, pulses_to_ul

GAS_LEAST_MS = 1_000
"""Shorter flows are timed too coarsely to tell beer from gas."""


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


class Cleaned(NamedTuple):
    """What a cleaning entry covers of one flow: line content (logged), then water (not beer)."""

    flow: Flow
    entry: LogLine
    logged_ul: int
    not_beer_ul: int


@dataclass(slots=True)
class DayPours:
    """One business day of the meters."""

    beer: list[Flow] = field(default_factory=list)
    gas: list[Flow] = field(default_factory=list)
    cleaned: list[Cleaned] = field(default_factory=list)
    unknown: Counter[str] = field(default_factory=Counter)
    """Tap names that ``taps.csv`` does not know at that time, to microlitres."""
    no_factor: Counter[str] = field(default_factory=Counter)
    """Taps whose pulses cannot be turned into volume, to the number of pours."""


def day_pours(
    lines: Sequence[PourLine], logs: Sequence[LogLine], taps: TapList, groups: dict[str, str],
    matching: Matching,
) -> DayPours:
    """All pours of one day, sorted into beer, gas and cleaning."""
    day = DayPours()
    spans = [log for log in logs if log.reason == "cleaning" and log.at_ms is not None
             and log.end_ms is not None]
    cleaning: dict[tuple[int, str], list[tuple[Flow, TapRow]]] = defaultdict(list)
    entries = {span.id: span for span in spans}
    limit = Fraction(matching.max_flow_per_second) * UNITS_UL["us_fl_oz"] / 1000
    for line in lines:
        tap = taps.at(line.tap, line.end_ms)
        volume = _volume(line, tap, day)
        if tap is None or volume is None:
            continue
        flow = Flow(line.id, line, groups.get(tap.outlet, tap.outlet), tap.tap, tap.product,
                    line.start_ms, line.end_ms, volume)
        entry = next((span for span in spans if _within(flow, tap, span)), None)
        if entry is not None:
            cleaning[entry.id, tap.tap].append((flow, tap))
        elif is_gas(flow, limit):
            day.gas.append(flow)
        else:
            day.beer.append(flow)
    for (entry_id, _), flows in cleaning.items():
        day.cleaned += _clean(flows, entries[entry_id])
    return day


def is_gas(flow: Flow, limit_ul_per_ms: Fraction) -> bool:
    """Faster than beer can flow: the keg has blown."""
    lasted = flow.end_ms - flow.start_ms
    return lasted >= GAS_LEAST_MS and flow.volume_ul > limit_ul_per_ms * lasted


def _volume(line: PourLine, tap: TapRow | None, day: DayPours) -> int | None:
    if tap is None:
        day.unknown[line.tap] += line.volume_ul or 0
        return None
    if line.volume_ul is not None:
        return line.volume_ul
    if tap.pulses_per_litre:
        return pulses_to_ul(line.pulses or 0, tap.pulses_per_litre)
    day.no_factor[tap.tap] += 1
    return None


def _within(flow: Flow, tap: TapRow, span: LogLine) -> bool:
    """Whether a flow lies in a cleaning span that names its tap, its product, or only its outlet."""
    assert span.at_ms is not None and span.end_ms is not None
    return (
        span.at_ms <= flow.start_ms and flow.end_ms <= span.end_ms
        and (not span.tap or span.tap.casefold() in (tap.tap.casefold(), tap.meter.casefold()))
        and (not span.product or span.product.casefold() == tap.product.casefold())
        and (not span.outlet or span.outlet.casefold() == tap.outlet.casefold())
    )


def _clean(flows: Sequence[tuple[Flow, TapRow]], entry: LogLine) -> list[Cleaned]:
    """The line's own content comes out first and is beer; what follows is water and cleaner."""
    left = flows[0][1].line_volume_ul
    done = []
    for flow, _ in sorted(flows, key=lambda pair: (pair[0].end_ms, pair[0].key)):
        beer = min(left, flow.volume_ul)
        left -= beer
        done.append(Cleaned(flow, entry, beer, flow.volume_ul - beer))
    return done
