"""``leak``: many tiny flows at one tap, while closed too.

A tap drips where a closed stretch holds at least ``FEWEST`` tiny flows without a ring and ``LEAST``
of beer (the trade's rule of thumb is 4 fl oz an hour; a steady drip is clear at less). From the
drips seen while closed their largest size is known; every tiny flow up to it is then the leak's, from
the first to the last without a long pause, open or closed.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import defaultdict
from collections.abc import Iterator
from functools import partial

from unrung.findings.certainty import confidence, level, ounces
from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.of_a_day import leaving
from unrung.findings.statistics import poisson_tail
from unrung.findings.wording import sum_volume, times
from unrung.ledger.coverage import union
from unrung.ledger.facts import DayFacts
from unrung.settings import Settings
from unrung.venue_time import moment

LARGEST_DRIP = ounces(1.5)
FEWEST = 6
LEAST = ounces(2)
USUAL = 0.5
"""Tiny flows that a sound tap may show in a closed stretch."""
PAUSE_MS = 5 * 3_600_000
"""Drips further apart belong to two leaks."""


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per tap and spell of dripping."""
    tiny_at: dict[str, list[int]] = defaultdict(list)
    for key in facts.window.keys_of("tiny", _tiny):
        if key not in facts.taken:
            tiny_at[facts.serves[key].tap].append(key)
    found = []
    for tap, tiny in sorted(tiny_at.items()):
        if len(tiny) < FEWEST:
            continue
        taps = facts.lone_by_tap
        dripping, chance = _closed_drips(facts, tiny, len(taps))
        if dripping:
            limit = 1.2 * max(facts.serves[key].volume_ul for key in dripping)
            for spell in _spells(facts, [k for k in tiny if facts.serves[k].volume_ul <= limit], dripping):
                found.append(_finding(facts, settings, tap, spell, chance, len(taps)))
    return found


def _tiny(day: DayFacts) -> list[int]:
    """Numbers of the day's serves without a ring that may be drips."""
    return [
        number for number in day.once("leaving", None, partial(leaving, day))
        if day.serves[number].volume_ul <= LARGEST_DRIP
    ]


def _closed_drips(facts: Facts, tiny: list[int], places: int) -> tuple[set[int], float]:
    """Tiny flows of the closed stretches that hold too many, and the chance of the clearest."""
    ends = [facts.serves[key].end_ms for key in tiny]
    drips: set[int] = set()
    clearest = 1.0
    for low, high in facts.window.hours.closed:
        keys = tiny[bisect_left(ends, low) : bisect_left(ends, high)]
        chance = poisson_tail(len(keys), USUAL)
        volume = sum(facts.serves[key].volume_ul for key in keys)
        if len(keys) >= FEWEST and volume >= LEAST and chance < level(places):
            drips.update(keys)
            clearest = min(clearest, chance)
    return drips, clearest


def _spells(facts: Facts, tiny: list[int], closed: set[int]) -> Iterator[list[int]]:
    """Runs of tiny flows without a long pause that hold drips seen while closed."""
    ends = [facts.serves[key].end_ms for key in tiny]
    runs = union((end, end + PAUSE_MS) for end in ends)
    for low, high in runs:
        spell = tiny[bisect_left(ends, low) : bisect_left(ends, high)]
        if closed.intersection(spell):
            yield spell


def _finding(
    facts: Facts, settings: Settings, tap: str, spell: list[int], chance: float, places: int
) -> Finding:
    serves = [facts.serves[key] for key in spell]
    volume = sum(serve.left_ul for serve in serves)
    first, last = serves[0].start_ms, serves[-1].end_ms
    hours = max(1.0, (last - first) / 3_600_000)
    ends = [serve.end_ms for serve in serves]
    still = sum(bisect_left(ends, high) - bisect_left(ends, low) for low, high in facts.window.hours.closed)
    evidence = (
        f"{times(len(spell), 'tiny flow', settings)} at tap {tap} since {moment(first, settings)}, "
        f"{still} of them "
        f"while closed: {sum_volume(volume, settings)}, about {sum_volume(volume / hours, settings)} an hour."
    )
    return Finding(
        "leak", serves[0].outlet, f"Tap {tap} drips", evidence, confidence(chance, places), first, last,
        serves[0].product, tap, {key: facts.serves[key].left_ul for key in spell},
    )
