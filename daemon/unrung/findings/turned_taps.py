"""When a tap began to pour another beer than is listed, and when it went back.

By how many of its serves stand beside a ring of the listed beer: few while it pours another one.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from functools import partial
from statistics import median_high

from unrung.findings.facts import Facts
from unrung.findings.of_a_day import columns
from unrung.ledger.coverage import Span
from unrung.ledger.facts import DayFacts, ServeFact

CLOSE_MS = 75_000
"""A serve and its ring stand beside each other within this time, by the corrected clock."""
FEWEST = 4
"""Serves of a tap on a day, below which the day says nothing."""
LEAST_UL = 100_000
"""Less is a taster or a drip."""
NOBODY = ("", 0, 0)
CLEARLY_LIKELIER = math.log(20)
CHANGE_WITHIN_MS = 14 * 3_600_000


def is_turned(facts: Facts, tap: str, number: int, turned: float) -> bool:
    """Whether a day's serves at a tap stand beside their own rings as rarely as ``turned`` says of a tap
    that pours another beer, rather than as often as those of the outlet's other taps and as its own do on
    a middling day."""
    days = [day.once("beside their rings", None, partial(_beside_rings, day)) for day in facts.window.days]
    outlet, near, serves = days[number].get(tap, NOBODY)
    others = [own / n for one, (place, own, n) in days[number].items() if place == outlet and one != tap]
    if serves < FEWEST or not others:
        return False
    usual = min(median_high(others), median_high(
        own / n for _, own, n in (day.get(tap, NOBODY) for day in days) if n >= FEWEST))
    weights = weights_of(usual, turned)
    return usual > turned and near * weights[True] + (serves - near) * weights[False] < -CLEARLY_LIKELIER


def _beside_rings(day: DayFacts) -> dict[str, tuple[str, int, int]]:
    """Each tap's outlet, how many of its glasses stand beside their own ring, and how many it has."""
    return {
        tap: (day.serves[glasses[-1]].outlet, near, len(glasses))
        for tap, (glasses, near) in glasses_of(day).items()
    }


def glasses_of(day: DayFacts) -> dict[str, tuple[list[int], int]]:
    """Each tap's glasses, by their numbers within the day, and how many stand beside their own ring."""
    own = columns(day)
    found: dict[str, list[int]] = defaultdict(list)
    for number, (tap, reason, volume_ul) in enumerate(zip(own.tap, own.reason, own.volume_ul, strict=True)):
        if volume_ul > LEAST_UL and not reason:
            found[tap].append(number)
    near = [
        paired and abs(ring_ms - end_ms) <= CLOSE_MS
        for paired, ring_ms, end_ms in zip(own.paired, own.ring_ms, own.end_ms, strict=True)
    ]
    return {tap: (numbers, sum([near[number] for number in numbers])) for tap, numbers in found.items()}


def weights_of(usual: float, turned: float) -> dict[bool, float]:
    """How much likelier a serve with (True) or without its own ring beside it is at a tap that pours what
    is listed than at one that does not, as a logarithm."""
    usual, turned = (min(max(share, 0.02), 0.98) for share in (usual, turned))
    return {True: math.log(usual / turned), False: math.log((1 - usual) / (1 - turned))}


def turn_of(
    facts: Facts, tap: str, within: Span, edge_ms: int, weights: Mapping[bool, float]
) -> int:
    """When in a span a tap turned to another beer (``edge_ms``, the edge of a day, is where it starts) or
    back: at one of its keg changes or at the edge, whichever is likeliest. Beer turns with a keg: that it
    turned at the start of a day must be clearly likelier."""
    low, high = within
    to_other = edge_ms == low
    changes = sorted(
        at for at in facts.window.kegs_on.get(tap, ()) if low <= at < min(high, edge_ms + CHANGE_WITHIN_MS))
    serves = [
        (facts.serves[key].end_ms, weights[is_near(facts.serves[key])]) for key in facts.window.by_tap[tap]
        if low <= facts.serves[key].end_ms < high and is_glass(facts.serves[key])
    ]

    def likely(at_ms: int) -> float:
        without_keg = CLEARLY_LIKELIER if to_other and at_ms == edge_ms else 0
        return sum(weight for end_ms, weight in serves if (end_ms < at_ms) == to_other) - without_keg

    return max((edge_ms, *changes), key=likely)


def is_near(serve: ServeFact) -> bool:
    return serve.paired and abs(serve.ring_ms - serve.end_ms) <= CLOSE_MS


def is_glass(serve: ServeFact) -> bool:
    return not serve.reason and serve.volume_ul > LEAST_UL
