"""Small invented days for the tests: pours, rings, and helpers that read a result."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Sequence

from unrung.matching.match import match_day
from unrung.matching.prepare import prepare
from unrung.matching.types import Matched, MatchSettings, MeteredPour, RingUnit

OZ = 29_573.5295625
PINT = round(16 * OZ)
HALF = round(8 * OZ)
PITCHER = round(60 * OZ)
DAY_MS = 86_400_000
NOON_MS = 12 * 3_600_000
SETTINGS = MatchSettings()


def pour(
    key: int, end_s: float, oz: float = 16.0, *, product: str = "Amber", tap: str = "1"
) -> MeteredPour:
    """A pour that ended ``end_s`` seconds after noon, at 2 oz a second."""
    end = NOON_MS + round(1_000 * end_s)
    return MeteredPour(key, tap, product, end - round(500 * oz), end, round(oz * OZ))


def ring(
    key: int, at_s: float, portion: int = PINT, *, product: str = "Amber", check: str = "",
    voided_s: float | None = None,
) -> RingUnit:
    """A ring at ``at_s`` seconds after noon."""
    voided = None if voided_s is None else NOON_MS + round(1_000 * voided_s)
    return RingUnit(key, product, NOON_MS + round(1_000 * at_s), portion, check, "", voided)


def matched(
    pours: Sequence[MeteredPour], rings: Sequence[RingUnit], sizes: Sequence[int] = (HALF, PINT),
    settings: MatchSettings = SETTINGS,
) -> Matched:
    """One day on its own."""
    names = {p.product for p in pours} | {u.product for u in rings}
    menu = {name: list(sizes) for name in names}
    return match_day(None, prepare(pours, rings, menu, (0, DAY_MS), settings), None)


def pairs(result: Matched) -> dict[int, int]:
    """Pour key to ring key, of every pour that is part of a paired serve."""
    return {
        key: serve.unit_key
        for serve in result.serves if serve.unit_key is not None
        for key, _ in serve.parts
    }


def lone_ul(result: Matched) -> Counter[str]:
    """Volume of lone serves per product."""
    found: Counter[str] = Counter()
    for serve in result.serves:
        if serve.unit_key is None:
            found[serve.product] += serve.volume_ul
    return found


def busy_day(
    seed: int, rounds: int, *, start_s: float = 0.0, hours: float = 6.0, lag_s: float = 40.0,
    unrung: float = 0.05, products: Sequence[str] = ("Amber", "Stout"), first_key: int = 1,
) -> tuple[list[MeteredPour], list[RingUnit]]:
    """A day of rounds: pours a few seconds apart, rung together some time after the last."""
    chance = random.Random(seed)
    pours: list[MeteredPour] = []
    rings: list[RingUnit] = []
    key = first_key
    for number in range(rounds):
        at = start_s + chance.uniform(0, hours * 3600)
        glasses = []
        for _ in range(chance.choice((1, 1, 2, 2, 3, 4))):
            product = chance.choice(list(products))
            oz = chance.choice((8.0, 16.0, 16.0))
            at += oz / 2 + chance.uniform(1, 6)
            real = oz * chance.gauss(1, 0.03)
            pours.append(pour(key, at, real, product=product, tap=product))
            glasses.append((key, product, round(oz * OZ)))
            key += 1
        late = at + chance.gauss(lag_s, 12)
        for number_of, product, portion in glasses:
            if chance.random() >= unrung:
                rings.append(
                    ring(number_of, late, portion, product=product, check=f"c{seed}-{number}")
                )
    return pours, rings
