"""A run of days: every serve and every ring exactly once, and pairs across midnight."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import pytest

from matching.days import DAY_MS, HALF, PINT, SETTINGS, busy_day
from unrung.matching.match import match_day
from unrung.matching.prepare import Prepared, prepare
from unrung.matching.types import Matched, MatchSettings, MeteredPour, RingUnit

MENU = {"Amber": [HALF, PINT], "Stout": [HALF, PINT]}


def run_of_days(
    pours: Sequence[MeteredPour], rings: Sequence[RingUnit], days: int,
    settings: MatchSettings = SETTINGS,
) -> list[Matched]:
    made: list[Prepared] = []
    for number in range(days):
        low, high = number * DAY_MS, (number + 1) * DAY_MS
        made.append(
            prepare(
                [p for p in pours if low <= p.end_ms < high],
                [r for r in rings if low <= r.at_ms < high],
                MENU, (low, high), settings,
            )
        )
    around = [None, *made, None]
    return [match_day(*around[at : at + 3]) for at in range(days)]  # type: ignore[arg-type]


def round_the_clock(seed: int, days: int, lag_s: float) -> tuple[list[MeteredPour], list[RingUnit]]:
    """A bar that never closes: as busy at the day's edges as ever."""
    pours, rings = busy_day(seed, 60 * days, start_s=-43_200, hours=24 * days, lag_s=lag_s)
    last = days * DAY_MS
    return (
        [p for p in pours if 0 <= p.end_ms < last],
        [r for r in rings if 0 <= r.at_ms < last],
    )


@pytest.mark.parametrize("lag_s", [-400.0, 0.0, 40.0, 3_000.0, 11_000.0])
@pytest.mark.parametrize("seed", range(4))
def test_everything_is_counted_exactly_once(seed: int, lag_s: float) -> None:
    pours, rings = round_the_clock(seed, 4, lag_s)
    results = run_of_days(pours, rings, 4)
    parts: Counter[int] = Counter()
    units: Counter[int] = Counter()
    for result in results:
        for serve in result.serves:
            for key, ul in serve.parts:
                parts[key] += ul
            if serve.unit_key is not None:
                units[serve.unit_key] += 1
        units.update(key for key, _ in result.lone_units)
    assert parts == Counter({p.key: p.volume_ul for p in pours})
    assert units == Counter(r.key for r in rings)


@pytest.mark.parametrize("seed", range(4))
def test_serves_and_lone_rings_stand_in_their_own_day(seed: int) -> None:
    results = run_of_days(*round_the_clock(seed, 3, 600.0), 3)
    for number, result in enumerate(results):
        low, high = number * DAY_MS, (number + 1) * DAY_MS
        assert all(low <= serve.end_ms < high for serve in result.serves)
        assert all(low <= at < high for _, at in result.lone_units)


def test_a_pair_across_the_edge_belongs_to_the_day_of_the_pour() -> None:
    pours, rings = round_the_clock(1, 2, 90.0)
    late = MeteredPour(9_001, "Amber", "Amber", DAY_MS - 12_000, DAY_MS - 5_000, PINT)
    pours = [p for p in pours if abs(p.end_ms - DAY_MS) > 900_000]
    rings = [r for r in rings if abs(r.at_ms - DAY_MS) > 900_000]
    ring = RingUnit(9_001, "Amber", DAY_MS + 85_000, PINT)
    first, second = run_of_days([*pours, late], [*rings, ring], 2)
    assert [s.unit_key for s in first.serves if s.parts[0][0] == 9_001] == [9_001]
    assert 9_001 not in {key for key, _ in second.lone_units}


def test_a_lone_ring_belongs_to_the_day_of_its_corrected_time() -> None:
    """The till runs 50 minutes fast: what it dates just after midnight was rung the day before."""
    pours, rings = round_the_clock(2, 2, 3_000.0)
    pours = [p for p in pours if abs(p.end_ms - DAY_MS) > 9_000_000]
    rings = [r for r in rings if abs(r.at_ms - 3_000_000 - DAY_MS) > 9_000_000]
    stray = RingUnit(9_002, "Amber", DAY_MS + 600_000, PINT)
    first, second = run_of_days(pours, [*rings, stray], 2)
    assert abs(second.clock.offset_ms - 3_000_000) < 60_000
    [at] = [at for key, at in first.lone_units if key == 9_002]
    assert DAY_MS - 2_500_000 < at < DAY_MS - 2_300_000
    assert 9_002 not in {key for key, _ in second.lone_units}


def test_a_day_depends_on_its_neighbours_only() -> None:
    pours, rings = round_the_clock(3, 5, 40.0)
    whole = run_of_days(pours, rings, 5)
    without_first = run_of_days(
        [p for p in pours if p.end_ms >= DAY_MS], [r for r in rings if r.at_ms >= DAY_MS], 5
    )
    assert whole[2:] == without_first[2:]
