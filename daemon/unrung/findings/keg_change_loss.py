"""``keg_change_loss``: more than the usual volume right after a keg goes on.

The flows from a keg's coupling on, one after the other without a pause, are the change's: what they
hold beyond the venue's allowance is its loss. Judged per tap, over all its keg changes of the window.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from fractions import Fraction
from statistics import fmean
from typing import NamedTuple

from unrung.findings.certainty import level
from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.statistics import t_limits
from unrung.findings.wording import moment, sum_volume, times
from unrung.settings import Settings
from unrung.units import UNITS_UL

OFTEN = 0.25
"""Of the allowance, over it on average: told where several changes show it."""
ONCE = 3.0
"""Of the allowance: a single change over it by this is told."""
FEWEST = 3
FIRST_MS = 60_000
PAUSE_MS = 12_000
"""A flow that begins later after the one before is a glass, not the change's foam."""
GLASS = 0.1
"""A serve this near to the portion rung for it is a glass."""


class Change(NamedTuple):
    """One keg going on: the serves that its flows are parts of, and what they hold over allowance."""

    at_ms: int
    keys: tuple[int, ...]
    over_ul: float
    odd_ul: int
    """What of it was no size on the menu: beer run off, and no glass that waited."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap."""
    allowance = float(
        Fraction(settings.matching.keg_change_allowance) * UNITS_UL[settings.venue.volume_unit]
    )
    taps = _changes(facts, settings, allowance)
    found = []
    for tap, changes in taps.items():
        over = [max(0.0, change.over_ul) for change in changes]
        often = (
            len(over) >= FEWEST and fmean(over) >= OFTEN * allowance
            and sum(one > 0 for one in over) >= max(FEWEST, len(over) / 2)
            and t_limits(over, level(len(taps))).low > 0
        )
        once = max(min(change.over_ul, change.odd_ul) for change in changes)
        if often or once >= max(1.0, ONCE * allowance):
            found.append(_finding(facts, settings, tap, changes))
    return found


def _changes(facts: Facts, settings: Settings, allowance: float) -> dict[str, list[Change]]:
    found: dict[str, list[Change]] = defaultdict(list)
    for day in facts.window.days:
        for keg in day.kegs:
            tap = facts.window.tap_named.get(keg.tap.casefold(), keg.tap)
            if keg.kind == "on" and tap in facts.window.flows:
                keys, volume = _foam(facts, settings, tap, keg.at_ms)
                odd = sum(facts.serves[key].left_ul for key in keys if not _is_a_size(facts, key))
                found[tap].append(Change(keg.at_ms, keys, volume - allowance, odd))
    return dict(sorted(found.items()))


def _foam(facts: Facts, settings: Settings, tap: str, on_ms: int) -> tuple[tuple[int, ...], int]:
    """Serves that the change's flows belong to, and the volume of those flows."""
    flows = facts.window.flows[tap]
    until = on_ms + settings.matching.keg_change_minutes * 60_000
    ended, volume = on_ms + FIRST_MS - PAUSE_MS, 0
    keys: dict[int, None] = {}
    at = bisect_left(flows, (on_ms,))
    for place, (start, end, part_ul, key) in enumerate(flows[at:], at):
        if start > min(until, ended + PAUSE_MS) or _is_glass(facts, flows, place):
            break
        ended = end
        if facts.serves[key].start_ms >= on_ms and key not in facts.taken:
            keys[key] = None
            volume += part_ul
    return tuple(keys), volume


def _is_a_size(facts: Facts, key: int) -> bool:
    serve = facts.serves[key]
    portions = facts.window.portions.get(serve.product, ())
    return any(abs(serve.volume_ul - portion) <= GLASS * portion for portion in portions)


def _is_glass(facts: Facts, flows: list[tuple[int, int, int, int]], place: int) -> bool:
    """Whether a flow begins a glass that was rung, in goes with no other flow between them."""
    key = flows[place][3]
    serve = facts.serves[key]
    goes = flows[place : place + len(serve.parts)]
    full = serve.paired and abs(serve.difference_ul) <= GLASS * serve.portion_ul
    return full and all(flow[3] == key for flow in goes)


def _finding(facts: Facts, settings: Settings, tap: str, changes: list[Change]) -> Finding:
    costly = [change for change in changes if change.over_ul > 0]
    claims = {
        key: facts.serves[key].left_ul
        for change in costly for key in change.keys if facts.serves[key].left_ul
    }
    volume = sum(change.over_ul for change in costly)
    allowed = f"{settings.matching.keg_change_allowance.normalize():f}"
    first = facts.serves[costly[0].keys[0]]
    evidence = (
        f"{len(costly)} of {times(len(changes), 'keg change')} at tap {tap} since "
        f"{moment(costly[0].at_ms, settings)} ran off more than the {allowed} allowed: "
        f"{sum_volume(volume, settings)} beyond it, {sum_volume(volume / len(costly), settings)} a change."
    )
    return Finding(
        "keg_change_loss", first.outlet, f"Beer run off at keg changes, tap {tap}", evidence,
        "high" if len(costly) >= FEWEST else "medium", costly[0].at_ms, costly[-1].at_ms,
        first.product, tap, claims, total_ul=round(volume),
    )
