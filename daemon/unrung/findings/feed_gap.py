"""``feed_gap``: one side silent while the other goes on.

What the ledger already sets aside is told as it is. Beyond that, a single till of several, or a single
meter of several that pour one beer, may fall silent: a pause far beyond its rhythm, while what it
should have answered stays alone.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import partial
from itertools import compress, pairwise
from typing import NamedTuple

from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.mis_ring import meetings
from unrung.findings.of_a_day import columns
from unrung.findings.statistics import binomial_tail, none_by_chance
from unrung.findings.wording import sum_volume, times
from unrung.ledger.facts import DayFacts, SilenceFact
from unrung.settings import Settings
from unrung.venue_time import clock, moment

SHORTEST_MS = 30 * 60_000
FEWEST = 6
"""Lone serves, or lone rings, in the pause."""
ALONE = 0.6
"""Share of the other side's rows in the pause that stay alone."""
TOGETHER_MS = 120_000
"""Rows this close together are one event: a round, a check."""
BY_CHANCE = 0.0067
"""Chance of a pause that is still told, since what stays alone in it tells the rest: that of five events
expected and none seen, had the rhythm been known exactly."""
OWN_MATTER = 0.01
"""Chance of one tap having so many of the serves of a pause."""
GLASS_UL = 100_000

Gap = tuple[int, int]


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
    return rows[:1] + [after for before, after in pairwise(rows) if after - before > TOGETHER_MS]


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
        for outlet, gap, inside in day.once("till pauses", settings, partial(_till_pauses, day, outlet_of)):
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


def _till_pauses(day: DayFacts, outlet_of: Mapping[str, str]) -> list[tuple[str, Gap, list[int]]]:
    """(outlet, pause of its tills, the day's serves in it) of every outlet."""
    pours: dict[str, list[int]] = defaultdict(list)
    for number, (tap, volume_ul) in enumerate(zip(columns(day).tap, columns(day).volume_ul, strict=True)):
        if volume_ul >= GLASS_UL:
            pours[outlet_of.get(tap, "")].append(number)
    rows: dict[str, list[int]] = defaultdict(list)
    for till in day.till:
        rows[till.outlet] += [day.bounds[0] + 1000 * second for second in till.at_s]
    ends = columns(day).end_ms
    return [
        (outlet, gap, [n for n in pours[outlet] if gap[0] <= ends[n] < gap[1]])
        for outlet, own in sorted(rows.items())
        for gap in pauses(sorted(own), [ends[n] for n in pours[outlet]])
    ]


def _silent_meters(facts: Facts, settings: Settings) -> Iterator[Finding]:
    """Taps that paused while their beer was rung on and rings stayed alone."""
    lone_rings = set(facts.lone_rings)
    first_ring = 0
    for day in facts.window.days:
        for pause in day.once("meter pauses", None, partial(_meter_pauses, day)):
            inside = [first_ring + n for n in pause.rings if first_ring + n in lone_rings]
            enough = len(inside) >= max(FEWEST, ALONE * pause.expected)
            if enough and not _poured_elsewhere(facts, pause.gap, inside):
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


class _MeterPause(NamedTuple):
    tap: str
    gap: Gap
    rings: list[int]
    """The day's rings without a serve in it, by their number."""
    expected: float
    """What was rung of its beer meanwhile, as far as this tap usually pours it."""


def _meter_pauses(day: DayFacts) -> list[_MeterPause]:
    """Pauses of every tap of a day."""
    by_tap: dict[str, list[int]] = defaultdict(list)
    rung: dict[tuple[str, str], list[int]] = defaultdict(list)
    poured: dict[tuple[str, str], list[int]] = defaultdict(list)
    own_of = columns(day)
    places = list(zip(own_of.outlet, own_of.product, strict=True))
    place_of = dict(zip(own_of.tap, places, strict=True))
    for tap, place, end_ms in zip(own_of.tap, places, own_of.end_ms, strict=True):
        poured[place].append(end_ms)
        by_tap[tap].append(end_ms)
    for place, ring_ms in compress(zip(places, own_of.ring_ms, strict=True), own_of.paired):
        rung[place].append(ring_ms)
    alone: dict[tuple[str, str], list[int]] = defaultdict(list)
    for number, ring in enumerate(day.rings):
        rung[ring.outlet, ring.product].append(ring.at_ms)
        alone[ring.outlet, ring.product].append(number)
    return [
        _MeterPause(
            tap, gap, [n for n in alone[place_of[tap]] if gap[0] <= day.rings[n].at_ms < gap[1]],
            sum(gap[0] <= at < gap[1] for at in rung[place_of[tap]]) * len(own)
            / max(1, sum(not gap[0] <= at < gap[1] for at in poured[place_of[tap]])),
        )
        for tap, own in sorted(by_tap.items()) for gap in pauses(own, sorted(rung[place_of[tap]]))
    ]


def pauses(own: Sequence[int], other: Sequence[int]) -> Iterator[Gap]:
    """Pauses of ``own`` (times, sorted) too long for chance, judged by the other side's rows in them.

    Own events per row of the other side make the rhythm, outside the pause.
    """
    long = [(low, high) for low, high in pairwise(own) if high - low >= SHORTEST_MS]
    if not long or not other:
        return
    events = 1 + sum(after - before > TOGETHER_MS for before, after in pairwise(own))
    for low, high in long:
        within = bisect_left(other, high) - bisect_right(other, low)
        if none_by_chance(events, within, len(other)) <= BY_CHANCE:
            yield (low + 1, high)


def _till(
    facts: Facts, settings: Settings, outlet: str, gap: Gap, alone: list[int], others: list[int],
    inside: int,
) -> Finding:
    """``others``: serves of its pool without a ring in the pause, whose rings its own have taken."""
    serves = [facts.serves[key] for key in (*alone, *others)]
    volume = sum(serve.left_ul for serve in serves)
    evidence = (
        f"The tills at {outlet} wrote nothing from {moment(gap[0], settings)} to {clock(gap[1], settings)}, "
        f"while {times(inside, 'serve')} flowed there; {len(alone)} of them"
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
        f"while {times(len(rings), 'ring')} of {rings[0].product} found no pour: "
        f"{sum_volume(volume, settings)}."
    )
    return Finding(
        "feed_gap", rings[0].outlet, f"Meter of tap {tap} silent from {clock(gap[0], settings)}", evidence,
        "high", *gap, rings[0].product, tap, rings=frozenset(inside), total_ul=volume,
    )
