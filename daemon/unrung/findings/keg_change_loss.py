"""``keg_change_loss``: more than the usual volume right after a keg goes on.

Two measures must agree. The flows from a keg's coupling on, one after the other without a pause, hold
more than the venue's allowance; and about the change more of the beer stays without a ring than at
other times. The second one matters because a foam may have taken a ring that stands near by, whose own
glass is then the one without a ring; where the ring is of another size, what the foam holds beyond it
counts as well. Judged per tap, over all its keg changes of the window but those whose flows another
finding explains. What all of them cost is their number times the middle of what they cost one by one:
a queue of glasses at a few of them does not count.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from statistics import fmean
from typing import NamedTuple

from unrung.by_locale import number_text
from unrung.findings.facts import Facts
from unrung.findings.fills import remaining
from unrung.findings.finding import Finding
from unrung.findings.statistics import above_zero, middle
from unrung.findings.wording import sum_volume, times
from unrung.ledger.coverage import covers, union
from unrung.settings import Settings
from unrung.units import UNITS_UL
from unrung.venue_time import moment

OFTEN = 0.5
"""Of the allowance, over it on average: told where several changes show it."""
ONCE = 3.0
"""Of the allowance: a single change over it by this, in flows that are no glass, is told of a tap with
fewer changes; of more, all of them are asked, since one may fall among glasses poured in one go."""
FEWEST = 3
CHANCE = 0.01
"""Of the mean being above nothing by noise; what noise leaves at changes is below the allowance."""
FIRST_MS = 60_000
PAUSE_MS = 12_000
"""A flow that begins later after the one before is a glass, not the change's foam."""
BEFORE_MS, AFTER_MS = 10 * 60_000, 45 * 60_000
"""About a change: a ring may come before its glass, or after."""
GLASS = 0.1
"""A serve this near to a portion of its product may be a glass."""


class Change(NamedTuple):
    """One keg going on."""

    at_ms: int
    run: tuple[int, ...]
    """Serves that its flows are parts of."""
    over_ul: float
    """What its flows hold over the allowance, or ``without_ul``: the lesser."""
    without_ul: float
    """What about it stays without a ring beyond the usual; below 0 where there is less than usual."""
    odd_ul: int
    """What of the flows without a ring was no size on the menu: no glass that waited."""
    near: tuple[int, ...]
    """Serves without a ring about it, its own flows first."""


Place = tuple[str, str]
"""Outlet or pool, and product."""


class _Alone(NamedTuple):
    """What stayed alone at a place."""

    lone: Sequence[int]
    rings: list[tuple[int, int]]
    """(time, portion)."""
    usual: float
    """Share of its beer that stays without a ring at other times."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap."""
    allowance = float(
        Fraction(settings.matching.keg_change_allowance) * UNITS_UL[settings.venue.volume_unit]
    )
    taps = {tap: moments for tap, moments in facts.window.kegs_on.items() if tap in facts.window.by_tap}
    lone: dict[Place, list[int]] = defaultdict(list)
    for key in facts.lone if taps else ():
        lone[facts.serves[key][:2]].append(key)
    found = []
    for tap, moments in taps.items():
        changes = _changes(facts, settings, tap, moments, allowance, lone)
        if not changes:
            continue
        over = [change.over_ul for change in changes]
        often = (
            len(over) >= FEWEST and fmean(over) >= OFTEN * allowance
            and len([one for one in over if one > 0]) >= max(FEWEST, len(over) / 2)
            and above_zero(over, CHANCE)
        )
        once = max(min(change.over_ul, change.odd_ul) for change in changes)
        if often or (len(over) < FEWEST and once >= max(1.0, ONCE * allowance)):
            found.append(_finding(facts, settings, tap, changes, len(moments)))
    return found


def _changes(
    facts: Facts, settings: Settings, tap: str, moments: Sequence[int], allowance: float,
    lone_at: Mapping[Place, Sequence[int]],
) -> list[Change]:
    alone: dict[Place, _Alone] = {}
    changes = []
    for at_ms in moments:
        run, volume = run_after(facts, settings, tap, at_ms)
        if any(key in facts.taken and not facts.serves[key].paired for key in run):
            continue
        place = _place(facts, tap, at_ms)
        if place not in alone:
            alone[place] = _alone(facts, place, moments, lone_at.get(place, []))
        lone, rings, usual = alone[place]
        low, high = at_ms - BEFORE_MS, at_ms + AFTER_MS
        first, end = (bisect_left(lone, at, key=lambda key: facts.serves[key].end_ms) for at in (low, high))
        near = [*lone[first:end]]
        near += [key for key in run if facts.serves[key].paired and facts.serves[key].other_size]
        without = sum(_beyond(facts, key) for key in near) - sum(
            portion for at, portion in rings if low <= at < high
        ) - usual * _poured(facts, place, low, high)
        odd = sum(facts.serves[key].left_ul for key in run if not _is_a_size(facts, key))
        near.sort(key=lambda key: (key not in run, abs(facts.serves[key].end_ms - at_ms), key))
        over = min(volume - allowance, without)
        changes.append(Change(at_ms, run, over, without, odd, tuple(near)))
    return changes


def _place(facts: Facts, tap: str, at_ms: int) -> Place:
    """Where a tap pours, and what, from a moment on."""
    keys, serves = facts.window.by_tap[tap], facts.serves
    at = bisect_left(keys, at_ms, key=lambda key: serves[key].start_ms)
    return serves[keys[min(at, len(keys) - 1)]][:2]


def _beyond(facts: Facts, key: int) -> int:
    """What of a serve no ring answers."""
    return max(0, remaining(facts, key)) if facts.serves[key].paired else facts.serves[key].left_ul


def _alone(facts: Facts, place: Place, moments: Sequence[int], lone: Sequence[int]) -> _Alone:
    rings = [
        (facts.rings[n].at_ms, facts.rings[n].portion_ul) for n in facts.lone_rings
        if facts.rings[n][:2] == place
    ]
    return _Alone(lone, rings, _usual_share(facts, place, lone, rings, moments))


def _usual_share(
    facts: Facts, place: Place, lone: Sequence[int], rings: Sequence[tuple[int, int]],
    moments: Sequence[int],
) -> float:
    """Share of a place's beer that stays without a ring at other times."""
    about = union((at - BEFORE_MS, at + AFTER_MS) for at in moments)
    without = sum(
        facts.serves[key].left_ul for key in lone if not covers(about, facts.serves[key].end_ms)
    ) - sum(portion for at, portion in rings if not covers(about, at))
    poured = facts.window.poured_ul[place] - sum(_poured(facts, place, *span) for span in about)
    return max(0.0, without / poured) if poured > 0 else 0.0


def _poured(facts: Facts, place: Place, low: int, high: int) -> int:
    """Beer of a place's serves that ended in a span."""
    ends, sums = facts.window.poured_by_end[place]
    return sums[bisect_left(ends, high)] - sums[bisect_left(ends, low)]


def run_after(facts: Facts, settings: Settings, tap: str, on_ms: int) -> tuple[tuple[int, ...], int]:
    """Serves that the flows right after a keg went on belong to, and the volume of those flows."""
    runs: dict[tuple[str, int], tuple[tuple[int, ...], int]] = facts.window.once("runs", dict)
    if (tap, on_ms) not in runs:
        runs[tap, on_ms] = _run_after(facts, settings, tap, on_ms)
    return runs[tap, on_ms]


def _run_after(facts: Facts, settings: Settings, tap: str, on_ms: int) -> tuple[tuple[int, ...], int]:
    until = on_ms + round(settings.matching.keg_change_minutes * 60_000)
    ended, volume = on_ms + FIRST_MS - PAUSE_MS, 0
    keys: dict[int, None] = {}
    for start, end, part_ul, key in facts.window.flows(tap, on_ms, until):
        if start > ended + PAUSE_MS:
            break
        ended = end
        if facts.serves[key].start_ms >= on_ms:
            keys[key] = None
            volume += part_ul
    return tuple(keys), volume


def _is_a_size(facts: Facts, key: int) -> bool:
    serve = facts.serves[key]
    portions = facts.window.portions.get(serve.product, ())
    return any(abs(serve.volume_ul - portion) <= GLASS * portion for portion in portions)


def _finding(
    facts: Facts, settings: Settings, tap: str, changes: list[Change], in_all: int
) -> Finding:
    costly = [change for change in changes if change.over_ul > 0]
    claims: dict[int, int] = {}
    for change in costly:
        left = change.over_ul
        for key in change.near:
            volume = _beyond(facts, key)
            if key not in claims and left >= volume / 2:
                claims[key] = volume
                left -= volume
    beyond, number = sum(change.over_ul for change in costly), len(costly)
    if len(changes) >= FEWEST:
        number = in_all
        beyond = max(0.0, number * middle([change.without_ul for change in changes]))
    plain = Decimal(f"{settings.matching.keg_change_allowance.normalize():f}")
    allowed = number_text(plain, settings.venue.locale)
    first = facts.serves[facts.window.by_tap[tap][0]]
    evidence = (
        f"{len(costly)} of {times(len(changes), 'keg change', settings)} at tap {tap} since "
        f"{moment(costly[0].at_ms, settings)} ran off more than the {allowed} allowed: "
        f"{sum_volume(beyond, settings)} beyond it, {sum_volume(beyond / number, settings)} a change."
    )
    return Finding(
        "keg_change_loss", first.outlet, f"Tap {tap} loses at keg changes", evidence,
        "high" if len(costly) >= FEWEST else "medium", costly[0].at_ms, costly[-1].at_ms,
        first.product, tap, claims, total_ul=round(beyond),
    )
