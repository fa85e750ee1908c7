"""Flows while a line was being cleaned: first the line's own beer, then water and cleaner.

They are kept out of matching. Only a ring that found no serve anywhere else may still have been
filled from one; that is told before anything else, since a cleaner may have reached a glass.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

from unrung.ledger.inputs import LogLine
from unrung.ledger.pours import Flow
from unrung.ledger.rings import Unit
from unrung.settings import Matching

GLASS_SHARE = 4
"""A flow is a glass of a portion when it differs by no more than one part in this many."""


class Cleaned(NamedTuple):
    """What a cleaning entry covers of one flow: line content (logged), then water (not beer)."""

    flow: Flow
    entry: LogLine
    logged_ul: int
    not_beer_ul: int


def clean(flows: Iterable[Flow], served: Mapping[int, Flow]) -> list[Cleaned]:
    """All flows in cleaning spans but the ``served`` ones. Each entry empties each line once."""
    taken = {flow.key for flow in served.values()}
    left: dict[tuple[int, str], int] = {}
    done = []
    for flow in sorted(flows, key=_in_time):
        if flow.cleaning is None or flow.key in taken:
            continue
        place = (flow.cleaning.id, flow.tap)
        beer = min(left.get(place, flow.line_volume_ul), flow.volume_ul)
        left[place] = left.get(place, flow.line_volume_ul) - beer
        done.append(Cleaned(flow, flow.cleaning, beer, flow.volume_ul - beer))
    return done


def served_meanwhile(
    units: Sequence[tuple[Unit, int]], flows: Iterable[Flow], matching: Matching
) -> dict[int, Flow]:
    """Ring units without a serve, with their corrected times, to the glass-sized flow in a cleaning
    span of their product that is nearest in time; by unit key."""
    by_place: dict[tuple[str, str], list[Flow]] = defaultdict(list)
    for flow in flows:
        if not flow.line.span:  # a count over a span is no glass
            by_place[flow.outlet, flow.product].append(flow)
    before, after = (
        round(minutes * 60_000)
        for minutes in (matching.window_before_minutes, matching.window_after_minutes)
    )
    near = sorted(
        (abs(at_ms - flow.end_ms), at_ms, _in_time(flow), unit.key, flow)
        for unit, at_ms in units for flow in by_place[unit.outlet, unit.product]
        if -before <= at_ms - flow.end_ms <= after
        and abs(flow.volume_ul - unit.portion_ul) * GLASS_SHARE <= unit.portion_ul
    )
    served: dict[int, Flow] = {}
    taken: set[int] = set()
    for _, _, _, key, flow in near:
        if key not in served and flow.key not in taken:
            served[key] = flow
            taken.add(flow.key)
    return served


def _in_time(flow: Flow) -> tuple[int, int, str, int, int]:
    return (flow.end_ms, flow.start_ms, flow.tap, flow.volume_ul, flow.key)
