"""``feed_gap``: one side silent while the other goes on.

What the ledger already sets aside is told as it is. Beyond that, a single till of several, or a single
meter of several that pour one beer, may fall silent: a pause far beyond its rhythm, while what it
should have answered stays alone.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from functools import partial

from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.mis_ring import meetings
from unrung.findings.pauses import BY_CHANCE, GLASS_UL, Gap, meter_pauses, moments, till_pauses
from unrung.findings.statistics import binomial_tail, none_by_chance
from unrung.findings.wording import sum_volume, times
from unrung.ledger.facts import DayFacts, SilenceFact
from unrung.settings import Settings
from unrung.venue_time import clock, moment

FEWEST = 6
"""Lone serves, or lone rings, in the pause."""
MOMENTS = 3
"""At which the lone rings of a pause were rung, at the least: those of one are tabs that were rung late."""
ALONE = 0.6
"""Share of the other side's rows in the pause that stay alone."""
OWN_MATTER = 0.01
"""Chance of one tap having so many of the serves of a pause."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per pause."""
    found: list[Finding] = []
    start = 0
    for day in facts.window.days:
        found += _set_aside(facts, settings, day, range(start, start + len(day.serves)))
        start += len(day.serves)
    found += _silent_tills(facts, settings)
    found += _silent_meters(facts, settings)
    return found


def _set_aside(facts: Facts, settings: Settings, day: DayFacts, keys: range) -> Iterator[Finding]:
    """What the ledger took out of the comparison: it explains nothing of the variance. ``keys``: the
    day's serves."""
    told: set[tuple[str, int, int]] = set()
    for gap in day.silences:
        if (gap.side, gap.from_ms, gap.to_ms) in told:
            continue
        told.add((gap.side, gap.from_ms, gap.to_ms))
        who = _silent_side(gap)
        lost = _not_compared(day, gap)
        if not lost:
            continue
        if gap.side == "rings" and (_closed(facts, day, gap) or _of_one_tap(facts, keys, gap)):
            continue
        evidence = (
            f"{who} wrote nothing from {moment(gap.from_ms, settings)} to {clock(gap.to_ms, settings)} while "
            f"the other side went on: {sum_volume(lost, settings)} was not compared."
        )
        yield Finding(
            "feed_gap", gap.outlet, f"{who} silent for a while", evidence, "high", gap.from_ms, gap.to_ms,
            gap.product, standing=day is facts.day, total_ul=lost,
        )


def _silent_side(gap: SilenceFact) -> str:
    if gap.side == "rings":
        return f"The till at {gap.outlet}" if gap.outlet else "The till"
    return f"The meter of {gap.product}" if gap.product else "The meters"


def _not_compared(day: DayFacts, gap: SilenceFact) -> int:
    """What the other side's rows in a silence hold."""
    if gap.side == "rings":
        poured = [s for s in day.serves if gap.from_ms <= s.end_ms < gap.to_ms]
        return sum(serve.not_compared_ul for serve in poured)
    rung = [r for r in day.rings if gap.from_ms <= r.at_ms < gap.to_ms and not r.counted]
    return sum(ring.portion_ul for ring in rung if gap.product in ("", ring.product))


def _closed(facts: Facts, day: DayFacts, gap: SilenceFact) -> bool:
    """Whether an outlet of a pool closed early: its till wrote nothing more that day, and the pool's other
    tills wrote too little meanwhile for that to be beyond chance. Lines are cleaned then."""
    pools = facts.window.group_of
    others = {
        outlet for outlet in pools
        if gap.outlet in pools and outlet != gap.outlet and pools[outlet] == pools[gap.outlet]
    }
    own, beside = _checks(day, {gap.outlet}), _checks(day, others)
    if not beside or not own or own[-1] >= gap.to_ms:
        return False
    within = bisect_left(beside, gap.to_ms) - bisect_left(beside, gap.from_ms)
    return none_by_chance(1 + len(own), within, len(beside)) > BY_CHANCE


def _checks(day: DayFacts, outlets: set[str]) -> list[int]:
    """When the tills of some outlets wrote, what is close together as one."""
    rows = sorted(
        day.bounds[0] + 1000 * second for till in day.till if till.outlet in outlets for second in till.at_s)
    return moments(rows)


def _of_one_tap(facts: Facts, keys: range, gap: SilenceFact) -> bool:
    """Whether what a silent till left without a ring is one tap's own matter, as when its line is cleaned
    once the outlet has closed early: one tap has far more of it than of the outlet's glasses, and at the
    outlet's other taps no more is without a ring than ever."""
    glasses = [key for key in keys if facts.serves[key].volume_ul >= GLASS_UL]
    inside = [key for key in glasses if gap.from_ms <= facts.serves[key].end_ms < gap.to_ms]
    lost = [key for key in inside if facts.serves[key].not_compared_ul]
    if not lost:
        return False
    pools = {facts.serves[key].outlet for key in lost}
    usual = Counter({
        tap: len(own) for tap, own in facts.window.by_tap.items() if facts.serves[own[0]].outlet in pools
    })
    if not usual:  # their taps stood in an outlet of another name until now
        return False
    tap, count = Counter(facts.serves[key].tap for key in lost).most_common(1)[0]
    if binomial_tail(count, len(lost), usual[tap] / usual.total()) >= OWN_MATTER:
        return False
    beside = [key for key in inside if facts.serves[key].tap != tap and facts.serves[key].outlet in pools]
    ever = [
        key for one in usual if one != tap for key in facts.window.by_tap[one]
        if facts.serves[key].volume_ul >= GLASS_UL and not facts.serves[key].not_compared_ul
    ]
    without = (1 + sum(not facts.serves[key].paired for key in ever)) / (2 + len(ever))
    return binomial_tail(len(lost) - count, len(beside), without) >= OWN_MATTER


def _silent_tills(facts: Facts, settings: Settings) -> Iterator[Finding]:
    """Outlets of a pool whose tills paused while beer went on at their taps."""
    outlet_of = facts.window.outlet_of_tap
    usual, start = facts.window.served_at, 0
    for day in facts.window.days:
        for outlet, gap, inside in day.once("till pauses", settings, partial(till_pauses, day, outlet_of)):
            alone = [start + number for number in inside if _is_lone(facts, start + number)]
            enough = len(alone) >= max(FEWEST, ALONE * len(inside))
            if enough and not _one_tap(facts, outlet, alone, usual):
                pool = facts.serves[alone[0]].outlet
                beside = [
                    start + number for number, serve in enumerate(day.serves)
                    if serve.outlet == pool and gap[0] <= serve.end_ms < gap[1]
                    and serve.volume_ul >= GLASS_UL and _is_lone(facts, start + number)
                ]
                others = sorted(set(beside) - set(alone))
                yield _till(facts, settings, outlet, gap, alone, others, len(inside))
        start += len(day.serves)


def _is_lone(facts: Facts, key: int) -> bool:
    serve = facts.serves[key]
    return serve.left_ul > 0 and key not in facts.taken and not serve.voided


def _one_tap(facts: Facts, outlet: str, alone: Sequence[int], usual: Counter[str]) -> bool:
    """Whether one tap has so many of the serves that it is the tap's own matter, such as its cleaning or
    another beer in its line: a silent till leaves those of all taps without a ring."""
    tap, count = Counter(facts.serves[key].tap for key in alone).most_common(1)[0]
    served = sum(number for one, number in usual.items() if facts.window.outlet_of_tap.get(one) == outlet)
    return binomial_tail(count, len(alone), usual[tap] / served) < OWN_MATTER


def _silent_meters(facts: Facts, settings: Settings) -> Iterator[Finding]:
    """Taps that paused while their beer was rung on and rings stayed alone."""
    lone_rings = set(facts.lone_rings)
    first_ring = 0
    for day in facts.window.days:
        for pause in day.once("meter pauses", None, partial(meter_pauses, day)):
            inside = [first_ring + n for n in pause.rings if first_ring + n in lone_rings]
            enough = len(inside) >= max(FEWEST, ALONE * pause.expected)
            often = len(moments(sorted([facts.rings[n].at_ms for n in inside]))) >= MOMENTS
            if enough and often and not _poured_elsewhere(facts, pause.gap, inside):
                yield _meter(facts, settings, pause.tap, pause.gap, inside)
        first_ring += len(day.rings)


def _poured_elsewhere(facts: Facts, gap: Gap, inside: list[int]) -> bool:
    """Whether the rings of a pause mostly stand beside serves of another beer that have none: the beer
    came from another tap, and the meter had nothing to write."""
    outlet = facts.rings[inside[0]].outlet
    near = [
        key for key in facts.lone
        if gap[0] <= facts.serves[key].end_ms < gap[1] and facts.serves[key].outlet == outlet
    ]
    return 2 * len(meetings(facts, near, inside, 0)) >= len(inside)


def _till(
    facts: Facts, settings: Settings, outlet: str, gap: Gap, alone: list[int], others: list[int],
    inside: int,
) -> Finding:
    """``others``: serves of its pool without a ring in the pause, whose rings its own have taken."""
    serves = [facts.serves[key] for key in (*alone, *others)]
    volume = sum(serve.left_ul for serve in serves)
    evidence = (
        f"The tills at {outlet} wrote nothing from {moment(gap[0], settings)} to {clock(gap[1], settings)}, "
        f"while {times(inside, 'serve', settings)} flowed there; {len(alone)} of them"
        f"{f', and {len(others)} beside it,' if others else ''} have no ring: "
        f"{sum_volume(volume, settings)}."
    )
    return Finding(
        "feed_gap", serves[0].outlet, f"Tills at {outlet} silent from {clock(gap[0], settings)}", evidence,
        "high", *gap, serves={key: facts.serves[key].left_ul for key in (*alone, *others)},
    )


def _meter(
    facts: Facts, settings: Settings, tap: str, gap: Gap, inside: list[int]
) -> Finding:
    rings = [facts.rings[number] for number in inside]
    volume = sum(ring.portion_ul for ring in rings)
    evidence = (
        f"The meter of tap {tap} wrote nothing from {moment(gap[0], settings)} to {clock(gap[1], settings)}, "
        f"while {times(len(rings), 'ring', settings)} of {rings[0].product} found no pour: "
        f"{sum_volume(volume, settings)}."
    )
    return Finding(
        "feed_gap", rings[0].outlet, f"Meter of tap {tap} silent from {clock(gap[0], settings)}", evidence,
        "high", *gap, rings[0].product, tap, rings=frozenset(inside), total_ul=volume,
    )
