"""Days with next to nothing on them must give sensible results too."""

from __future__ import annotations

import subprocess
import sys

import pytest

from matching.days import HALF, PINT, PITCHER, busy_day, lone_ul, matched, pairs, pour, ring
from unrung.matching.types import MatchSettings


def test_a_day_without_anything() -> None:
    result = matched([], [])
    assert not result.serves
    assert not result.lone_units
    assert result.clock.pairs == 0


def test_one_pour_and_no_ring() -> None:
    result = matched([pour(1, 0)], [])
    assert lone_ul(result) == {"Amber": PINT}
    low, high = result.pour_not_rung_range_ul["Amber"]
    assert low <= PINT <= high


def test_one_ring_and_no_pour() -> None:
    result = matched([], [ring(1, 0)])
    assert [key for key, _ in result.lone_units] == [1]


def test_one_pour_and_its_ring() -> None:
    assert pairs(matched([pour(1, 0)], [ring(1, 35)])) == {1: 1}


def test_another_product_is_no_partner() -> None:
    result = matched([pour(1, 0)], [ring(1, 35, product="Stout")])
    assert pairs(result) == {}


def test_a_ring_out_of_the_window_is_no_partner() -> None:
    assert pairs(matched([pour(1, 0)], [ring(1, 8 * 3600)])) == {}


def test_a_quiet_monday_of_twelve_pours() -> None:
    pours = [pour(n, 1_700 * n) for n in range(12)]
    rings = [ring(n, 1_700 * n + 30 + 7 * (n % 3)) for n in range(12) if n != 5]
    result = matched(pours, rings)
    assert pairs(result) == {n: n for n in range(12) if n != 5}
    assert lone_ul(result) == {"Amber": PINT}
    assert abs(result.clock.offset_ms - 37_000) < 40_000


def test_a_quiet_monday_with_the_till_twenty_minutes_fast() -> None:
    pours = [pour(n, 1_800 * n + 37 * n * n) for n in range(12)]
    rings = [ring(n, 1_800 * n + 37 * n * n + 1_240) for n in range(12)]
    result = matched(pours, rings)
    assert pairs(result) == {n: n for n in range(12)}
    assert abs(result.clock.offset_ms - 1_240_000) < 60_000


def test_a_pint_poured_and_a_half_rung_still_pair() -> None:
    pours, rings = busy_day(1, 60, unrung=0.0)
    result = matched(
        [*pours, pour(901, 25_000)], [*rings, ring(901, 25_040, HALF)], (HALF, PINT)
    )
    assert pairs(result)[901] == 901


def test_the_right_size_goes_before_the_wrong_one() -> None:
    pours = [pour(1, 0, 16), pour(2, 20, 8)]
    rings = [ring(1, 50, HALF), ring(2, 50, PINT)]
    assert pairs(matched(pours, rings)) == {1: 2, 2: 1}


@pytest.mark.parametrize(("voided_s", "paired"), [(600.0, True), (-600.0, False)])
def test_a_voided_ring_pairs_only_with_what_was_poured_before(voided_s: float, paired: bool) -> None:
    pours, rings = busy_day(2, 60, unrung=0.0)
    result = matched([*pours, pour(901, 25_000)], [*rings, ring(901, 25_040, voided_s=25_000 + voided_s)])
    assert (901 in pairs(result)) == paired


def test_a_real_ring_goes_before_a_voided_one() -> None:
    pours, rings = busy_day(3, 60, unrung=0.0)
    result = matched(
        [*pours, pour(901, 25_000)],
        [*rings, ring(901, 25_038, voided_s=25_500), ring(902, 25_050)],
    )
    assert pairs(result)[901] == 902
    assert [key for key, _ in result.lone_units] == [901]


def test_a_product_without_sizes_or_rings_stays_lone() -> None:
    result = matched([pour(1, 0, 16), pour(2, 30, 41)], [], sizes=())
    assert lone_ul(result) == {"Amber": sum(s.volume_ul for s in result.serves)}


def test_a_taster_does_not_take_a_pints_ring() -> None:
    pours, rings = busy_day(4, 60, unrung=0.0)
    result = matched([*pours, pour(901, 24_970, 2.0), pour(902, 25_000)], [*rings, ring(902, 25_040)])
    assert pairs(result)[902] == 902
    assert 901 not in pairs(result)


def test_two_like_pours_and_one_ring_are_told_to_be_uncertain() -> None:
    pours, rings = busy_day(5, 60, unrung=0.0)
    twins = [pour(901, 25_000, tap="a"), pour(902, 25_002, tap="b")]
    result = matched([*pours, *twins], [*rings, ring(901, 25_041)])
    unsure = {s.parts[0][0]: s.uncertain for s in result.serves}
    assert unsure[901] and unsure[902]
    assert sum(unsure.values()) < len(result.serves) / 4


def test_a_pinned_clock_is_kept() -> None:
    pours, rings = busy_day(6, 40, lag_s=20.0)
    pinned = matched(pours, rings, settings=MatchSettings(clock_offset_ms=0))
    assert abs(pinned.clock.offset_ms) < 60_000
    assert len(pairs(pinned)) > 0.9 * len(rings)


def test_round_mates_are_matched_together_when_the_tab_is_rung_late() -> None:
    """A round of four rung seven minutes late, while others come and go."""
    pours, rings = busy_day(7, 150, unrung=0.0, hours=5)
    late = [pour(900 + n, 9_000 + 14 * n, product="Stout", tap="Stout") for n in range(4)]
    tab = [ring(900 + n, 9_460, product="Stout", check="tab") for n in range(4)]
    found = pairs(matched([*pours, *late], [*rings, *tab], (HALF, PINT, PITCHER)))
    assert sum(found.get(900 + n, 0) >= 900 for n in range(4)) >= 3


def test_importing_the_package_loads_no_numpy() -> None:
    code = (
        "import sys, unrung, unrung.matching, unrung.matching.types;"
        "sys.exit('numpy' in sys.modules or 'scipy' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], env={"PYTHONPATH": "daemon"}).returncode == 0
