"""``samples``: tasters of 1 to 3 fl oz without a ring, while open.

Judged per outlet or pool, since anybody may give one at any tap. Small flows that fill up a short
glass beside them are pieces of it and do not count. Noise is held to be ``USUAL`` small flows a serve.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import partial

from unrung.findings.certainty import confidence, level, ounces
from unrung.findings.facts import Facts
from unrung.findings.finding import Finding
from unrung.findings.of_a_day import columns, leaving
from unrung.findings.statistics import poisson_tail
from unrung.findings.wording import figure, serve_volume, sum_volume, times
from unrung.ledger.facts import DayFacts
from unrung.settings import Settings
from unrung.venue_time import moment

SMALLEST, LARGEST = ounces(0.8), ounces(3.3)
OF_PORTION = 0.7
"""A taster is smaller than this share of the product's smallest portion."""
USUAL = 0.004
FEWEST = 6


def find(facts: Facts, settings: Settings) -> list[Finding]:
    """One finding per outlet or pool."""
    window = facts.window
    tasters: dict[str, list[int]] = defaultdict(list)
    for key in window.keys_of("tasters", partial(_tasters, window.portions), settings):
        if key not in facts.taken and key not in window.pieces:
            tasters[facts.serves[key].outlet].append(key)
    served = facts.window.served
    found = []
    for outlet, keys in sorted(tasters.items()):
        chance = poisson_tail(len(keys), USUAL * served[outlet] + 0.5)
        if len(keys) >= FEWEST and chance < level(len(served)):
            found.append(_finding(facts, settings, outlet, keys, chance, len(served)))
    return found


def _tasters(portions: Mapping[str, Sequence[int]], day: DayFacts) -> list[int]:
    """Numbers of the day's small pours without a ring."""
    own = columns(day)
    largest = {product: min(LARGEST, OF_PORTION * sizes[0]) for product, sizes in portions.items()}
    return [
        number for number in day.once("leaving", None, partial(leaving, day))
        if SMALLEST <= (left_ul := own.left_ul[number]) == own.volume_ul[number]
        and left_ul <= largest.get(own.product[number], LARGEST)
    ]


def _finding(
    facts: Facts, settings: Settings, outlet: str, keys: list[int], chance: float, places: int
) -> Finding:
    serves = [facts.serves[key] for key in keys]
    volume = sum(serve.left_ul for serve in serves)
    all_served = facts.window.served[outlet]
    evidence = (
        f"{times(len(keys), 'small pour', settings)} of about "
        f"{serve_volume(volume / len(keys), settings)} without "
        f"a ring at {outlet} since {moment(serves[0].start_ms, settings)}, "
        f"{figure(100 * len(keys) / all_served, 1, settings)} to a hundred serves: "
        f"{sum_volume(volume, settings)}."
    )
    return Finding(
        "samples", outlet, "Tasters not rung", evidence, confidence(chance, places),
        serves[0].start_ms, serves[-1].end_ms,
        serves={key: facts.serves[key].left_ul for key in keys},
    )
