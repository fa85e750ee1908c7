"""``mis_ring``: one product poured and not rung, another rung and not poured, in the same moments.

Lone serves are held against lone rings of other products of about the same portion. How many would
meet by chance is counted with the rings moved to other times of the same hours. A lone portion of an
item that holds several beers is no wrong button: that would leave its other portions alone as well.

Not every glass meets its ring: a neighbour's may have taken either, and what changed names then stays
alone at another time. In all as much did as rings of the outlet stayed alone, less those rung early or
late, that is, those which meet a glass of their own beer within the hour more often than chance has it.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from datetime import date
from statistics import fmean

from unrung.findings.certainty import confidence, level
from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.nearest import nearest_first
from unrung.findings.statistics import poisson_tail
from unrung.findings.wording import drink, sum_volume, times
from unrung.settings import Settings
from unrung.venue_time import moment

MOMENT_MS = 150_000
"""A ring belongs to the moments of a serve within this time, by the corrected clock."""
ALIKE = 0.13
FEWEST = 4
CLEARLY, SURELY = 2.0, 0.01
"""More than so many times what chance brings, by more than noise does so often: in a crowd glasses and
rings meet by more than chance as well."""
BURST = 0.25
"""Of all such meetings of four weeks, at one tap, with one beer's rings, on one day."""
HOUR_MS = 3_600_000
DAYS_MS = tuple(24 * days * HOUR_MS for days in (-2, -1, 1, 2))
MOVES_MS = tuple(sign * minutes * 60_000 for minutes in (9, 15, 21, 27, 33) for sign in (-1, 1))


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool."""
    serves: dict[str, list[int]] = defaultdict(list)
    for key, serve in ((key, facts.serves[key]) for key in facts.lone):
        if not serve.voided:
            serves[serve.outlet].append(key)
    rings: dict[str, list[int]] = defaultdict(list)
    for number in facts.lone_rings:
        rings[facts.rings[number].outlet].append(number)
    mixed = _mixed(settings)
    found = []
    for outlet, keys in sorted(serves.items()):
        numbers = [n for n in rings[outlet] if (facts.rings[n].item, facts.rings[n].size) not in mixed]
        ends = [facts.serves[key].end_ms for key in keys]
        pairs = _one_by_one(facts, meetings(facts, keys, numbers, 0, ends=ends))
        usual = fmean(len(meetings(facts, keys, numbers, move, ends=ends)) for move in MOVES_MS)
        chance = poisson_tail(len(pairs), usual + 0.5)
        clear = chance < level(len(serves)) and poisson_tail(len(pairs), CLEARLY * usual) < SURELY
        if len(pairs) >= FEWEST and clear:
            volume = max(_in_all(facts, keys, numbers), sum(facts.serves[key].left_ul for key in pairs))
            found.append(_finding(facts, settings, outlet, pairs, volume, usual, chance, len(serves)))
    return found


def meetings(
    facts: Facts, keys: Sequence[int], numbers: Iterable[int], move_ms: int, within_ms: int = MOMENT_MS,
    *, own: bool = False, ends: Sequence[int] | None = None,
) -> dict[int, int]:
    """Serve (of ``keys``, in order of time) to the ring of another product (``own``: of its own), moved by
    ``move_ms``, that it meets: nearest first, each at most once. ``ends``: when the serves ended, where
    that is at hand."""
    serves = facts.serves
    ends = ends or [serves[key].end_ms for key in keys]
    near = []
    for number in numbers:
        ring = facts.rings[number]
        at_ms, portion_ul = ring.at_ms + move_ms, ring.portion_ul
        low = bisect_left(ends, at_ms - within_ms)
        for key in keys[low : bisect_right(ends, at_ms + within_ms, low)]:
            serve = serves[key]
            alike = abs(serve.volume_ul - portion_ul) <= ALIKE * portion_ul
            if alike and (ring.product == serve.product) == own:
                near.append((abs(at_ms - serve.end_ms), key, number))
    return nearest_first(near)


def _mixed(settings: Settings) -> set[tuple[str, str]]:
    """Item and size of what holds several beers."""
    held: dict[tuple[str, str, str, str, date | None], set[str]] = defaultdict(set)
    for row in settings.menu:
        held[row.item, row.size, row.price_level, row.modifier, row.valid_from].add(row.product)
    return {(item, size) for (item, size, *_), products in held.items() if len(products) > 1}


def _in_all(facts: Facts, keys: Sequence[int], numbers: Sequence[int]) -> int:
    """Volume of the rings of another beer than was poured; no more than was poured without a ring."""
    def late(move_ms: int) -> int:
        met = meetings(facts, keys, numbers, move_ms, HOUR_MS, own=True)
        return sum(facts.rings[number].portion_ul for number in met.values())

    rung = sum(facts.rings[number].portion_ul for number in numbers)
    beyond_chance = late(0) - fmean(late(move_ms) for move_ms in DAYS_MS)
    poured = sum(facts.serves[key].left_ul for key in keys)
    return round(min(poured, rung - max(0.0, beyond_chance)))


def _one_by_one(facts: Facts, pairs: dict[int, int]) -> dict[int, int]:
    """Without what one tap and another beer's rings make together on one day: a wrong button is pressed
    now and then, and a tap that pours another beer than listed is not rung wrongly."""
    bursts: dict[tuple[int, str, str], list[int]] = defaultdict(list)
    for key, number in pairs.items():
        where = facts.window.day_of(key), facts.serves[key].tap, facts.rings[number].product
        bursts[where].append(key)
    large = {
        key for keys in bursts.values() if len(keys) >= max(FEWEST, BURST * len(pairs)) for key in keys
    }
    return {key: number for key, number in pairs.items() if key not in large}


def _finding(
    facts: Facts, settings: Settings, outlet: str, pairs: dict[int, int], volume: int, usual: float,
    chance: float, places: int,
) -> Finding:
    keys = sorted(pairs)
    serves = [facts.serves[key] for key in keys]
    swaps = Counter(
        (serve.product, drink(facts.rings[pairs[key]].item, facts.rings[pairs[key]].size))
        for key, serve in zip(keys, serves, strict=True)
    )
    (poured, rung), count = min(swaps.items(), key=lambda item: (-item[1], item[0]))
    evidence = (
        f"{times(len(keys), 'serve', settings)} at {outlet} since "
        f"{moment(serves[0].start_ms, settings)} met a ring "
        f"of another beer in the same moments, where chance gives {usual:.0f}; in all "
        f"{sum_volume(volume, settings)} changed names. Most often {poured} was poured and {rung} rung "
        f"({count})."
    )
    return Finding(
        "mis_ring", outlet, "One beer poured, another rung", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms,
        serves={key: facts.serves[key].left_ul for key in keys},
        rings=frozenset(pairs.values()), total_ul=volume,
    )
