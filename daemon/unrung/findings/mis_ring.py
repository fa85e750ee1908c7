"""``mis_ring``: one product poured and not rung, another rung and not poured, in the same moments.

Lone serves are held against lone rings of other products of about the same portion. How many would
meet by chance is counted with the rings moved to other times of the same hours.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter, defaultdict
from collections.abc import Sequence
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
CLEARLY = 2.0
"""Times what chance brings: in a crowd glasses and rings meet by more than chance as well."""
BURST = 0.25
"""Of all such meetings of four weeks, at one tap, with one beer's rings, on one day."""
MOVES_MS = tuple(sign * minutes * 60_000 for minutes in (9, 15, 21, 27, 33) for sign in (-1, 1))


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool."""
    serves: dict[str, list[int]] = defaultdict(list)
    for key in facts.lone:
        if not facts.serves[key].voided:
            serves[facts.serves[key].outlet].append(key)
    rings: dict[str, list[int]] = defaultdict(list)
    for number in facts.lone_rings:
        rings[facts.rings[number].outlet].append(number)
    found = []
    for outlet, keys in sorted(serves.items()):
        numbers = sorted(rings[outlet], key=lambda number: (facts.rings[number].at_ms, number))
        pairs = _one_by_one(facts, meetings(facts, keys, numbers, 0))
        usual = fmean(len(meetings(facts, keys, numbers, move)) for move in MOVES_MS)
        chance = poisson_tail(len(pairs), usual + 0.5)
        clear = chance < level(len(serves)) and len(pairs) >= CLEARLY * usual
        if len(pairs) >= FEWEST and clear:
            found.append(_finding(facts, settings, outlet, pairs, usual, chance, len(serves)))
    return found


def meetings(
    facts: Facts, keys: Sequence[int], numbers: Sequence[int], move_ms: int
) -> dict[int, int]:
    """Serve to the ring of another product, moved by ``move_ms``, that it meets: nearest first,
    each at most once. ``numbers`` are sorted by time."""
    rings = [facts.rings[number] for number in numbers]
    at = [ring.at_ms + move_ms for ring in rings]
    near, all_serves = [], facts.serves
    for key in keys:
        serve = all_serves[key]
        end_ms, volume_ul = serve.end_ms, serve.volume_ul
        low = bisect_left(at, end_ms - MOMENT_MS)
        for place in range(low, bisect_right(at, end_ms + MOMENT_MS, low)):
            ring = rings[place]
            portion_ul = ring.portion_ul
            if abs(volume_ul - portion_ul) <= ALIKE * portion_ul and ring.product != serve.product:
                near.append((abs(at[place] - end_ms), key, numbers[place]))
    return nearest_first(near)


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
    facts: Facts, settings: Settings, outlet: str, pairs: dict[int, int], usual: float, chance: float,
    places: int,
) -> Finding:
    keys = sorted(pairs)
    serves = [facts.serves[key] for key in keys]
    volume = sum(serve.left_ul for serve in serves)
    swaps = Counter(
        (serve.product, drink(facts.rings[pairs[key]].item, facts.rings[pairs[key]].size))
        for key, serve in zip(keys, serves, strict=True)
    )
    (poured, rung), count = min(swaps.items(), key=lambda item: (-item[1], item[0]))
    evidence = (
        f"{times(len(keys), 'serve')} at {outlet} since {moment(serves[0].start_ms, settings)} met a ring "
        f"of another beer in the same moments, where chance gives {usual:.0f}: "
        f"{sum_volume(volume, settings)} changed names. Most often {poured} was poured and {rung} rung "
        f"({count})."
    )
    return Finding(
        "mis_ring", outlet, "One beer poured, another rung", evidence,
        confidence(chance, places), serves[0].start_ms, serves[-1].end_ms,
        serves={key: facts.serves[key].left_ul for key in keys},
        rings=frozenset(pairs.values()), total_ul=volume,
    )
