"""A till whole hours away from the meters, by hand: what tells it, and what does not."""

from __future__ import annotations

import random
import time

import pytest

from unrung.ledger.clocks import ClockNote
from unrung.ledger.hour_shift import HOUR_MS, Rung, hours_ahead
from unrung.matching.types import Serve

PINT = 473_176


def evening(
    count: int, hours: int, *, rung: float = 1.0, seed: int = 3
) -> tuple[Rung, ClockNote, list[Serve]]:
    """``count`` pints over six hours, each rung about half a minute after its pour, by a till so many hours
    ahead."""
    chance = random.Random(seed)
    ends = sorted(chance.randrange(6 * HOUR_MS) for _ in range(count))
    serves = [Serve("Amber", "1", end - 8000, end, PINT, ((n, PINT),), None) for n, end in enumerate(ends)]
    times = [end + 30_000 + round(chance.gauss(0, 15_000)) for end in ends if chance.random() < rung]
    rings = Rung([at + hours * HOUR_MS for at in times], [("Amber", PINT)] * len(times))
    return rings, ClockNote("Bar", 30_000, len(times)), serves


@pytest.mark.parametrize("hours", [0, 1, -3, 5, 12, -14])
@pytest.mark.parametrize("count", [60, 400])
def test_whole_hours_are_found_in_small_and_busy_evenings(hours: int, count: int) -> None:
    assert hours_ahead(*evening(count, hours)) == hours


@pytest.mark.parametrize("seed", range(20))
def test_a_till_that_has_nothing_to_do_with_the_meters_tells_nothing(seed: int) -> None:
    rings, clock, _ = evening(150, 0, seed=seed)
    _, _, serves = evening(150, 0, seed=seed + 100)
    assert hours_ahead(rings, clock, serves) == 0


def test_half_the_beer_without_a_ring_is_no_shift() -> None:
    assert hours_ahead(*evening(300, 0, rung=0.5)) == 0
    assert hours_ahead(*evening(300, 4, rung=0.5)) == 4


def test_a_stadium_s_crowd_is_bounded() -> None:
    crowd = evening(30_000, 0)
    started = time.process_time()
    assert hours_ahead(*crowd) == 0
    assert time.process_time() - started < 2
