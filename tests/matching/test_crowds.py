"""Days on which single pairs tell nothing: crowds, and tills that only tell when a check was closed.

What is looked at stays bounded, the totals hold, and every serve is called uncertain."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from matching.days import DAY_MS, HALF, PINT, SETTINGS, busy_day, lone_ul, matched
from unrung.matching import priors
from unrung.matching.assign import best_assignment, good_assignment, total_gain
from unrung.matching.costs import possible_pairs
from unrung.matching.crowd import cap_of
from unrung.matching.prepare import prepare
from unrung.matching.sides import Edges
from unrung.matching.types import Matched, MatchSettings, MeteredPour, RingUnit

LATE = MatchSettings(window_after_ms=360 * 60_000)


def stand(seed: int = 1) -> tuple[list[MeteredPour], list[RingUnit]]:
    """A stand at half-time: some 700 glasses of one beer in half an hour, 5 % of them not rung."""
    return busy_day(seed, 330, hours=0.5, products=("Amber",))


def poured_ul(result: Matched) -> int:
    return sum(serve.volume_ul for serve in result.serves)


@pytest.fixture(params=[20_000, 12_000])
def narrow(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """A bound on pairs far below the 300,000 or so that are possible at the stand."""
    monkeypatch.setattr(priors, "MOST_PAIRS", request.param)
    return int(request.param)


def test_totals_of_a_crowd_are_those_of_all_its_pairs(narrow: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 0.2 % of what was poured."""
    bounded = matched(*stand())
    monkeypatch.setattr(priors, "MOST_PAIRS", 10_000_000)
    monkeypatch.setattr(priors, "CROWD_PAIRS", 10_000)
    exact = matched(*stand())
    assert exact.single_pours
    assert not bounded.single_pours
    assert abs(lone_ul(bounded).total() - lone_ul(exact).total()) < 0.002 * poured_ul(exact)


def test_every_serve_of_a_crowd_is_uncertain(narrow: int) -> None:
    assert all(serve.uncertain for serve in matched(*stand()).serves)


def test_a_crowd_is_the_same_in_whatever_order_its_rows_come(narrow: int) -> None:
    pours, rings = stand()
    first = matched(pours, rings)
    random.Random(4).shuffle(pours)
    random.Random(5).shuffle(rings)
    again = matched(pours, rings)
    assert list(again.serves) == list(first.serves)
    assert again.lone_units == first.lone_units


def test_no_more_pairs_are_looked_at_than_the_bound(narrow: int) -> None:
    day = prepare(*stand(), {"Amber": [HALF, PINT]}, (0, DAY_MS), SETTINGS)
    edges = possible_pairs(day.rings, day.glasses, day.laws)
    assert 0 < len(edges.ring) <= narrow


@given(st.lists(st.integers(0, 300), min_size=1, max_size=40), st.integers(1, 3_000))
def test_the_cap_is_the_largest_that_keeps_the_bound(counts: list[int], most: int) -> None:
    numbers = np.array(counts)
    cap = cap_of(numbers, most)
    assert cap == 1 or np.minimum(numbers, cap).sum() <= most
    assert cap >= numbers.max() or np.minimum(numbers, cap + 1).sum() > most


def test_stretches_come_within_a_hundredth_of_the_best_gain() -> None:
    chance = np.random.default_rng(8)
    ring = np.repeat(np.arange(3_000), 21)
    glass = ring + np.tile(np.arange(21), 3_000)
    edges = Edges(ring, glass, chance.integers(1, 5_000, len(ring)))
    partner = good_assignment(edges, 3_000)
    paired = partner[partner >= 0]
    assert len(np.unique(paired)) == len(paired)
    best = total_gain(edges, best_assignment(edges, 3_000))
    assert 0.99 * best <= total_gain(edges, partner) <= best


def closed_late(seed: int, rings: list[RingUnit]) -> list[RingUnit]:
    """The same rings as a till tells them that only knows when a check was closed: 20 minutes to 4 hours
    after its last pour."""
    chance = random.Random(seed)
    after = {check: chance.uniform(1_200, 14_400) for check in sorted({ring.check for ring in rings})}
    return [ring._replace(at_ms=ring.at_ms + round(1_000 * after[ring.check])) for ring in rings]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_totals_hold_where_the_till_tells_when_checks_were_closed(seed: int) -> None:
    """Within 1 % of what was poured, of the volume that was truly not rung."""
    pours, rings = busy_day(seed, 260, hours=7)
    rung = {ring.key for ring in rings}
    truly = sum(pour.volume_ul for pour in pours if pour.key not in rung)
    result = matched(pours, closed_late(seed, rings), settings=LATE)
    assert abs(lone_ul(result).total() - truly) < 0.01 * poured_ul(result)
    assert not result.single_pours
    assert all(serve.uncertain for serve in result.serves)


def test_a_day_of_prompt_rings_can_place_single_pours() -> None:
    result = matched(*busy_day(1, 120, hours=7))
    assert result.single_pours
    assert not all(serve.uncertain for serve in result.serves)


def test_late_rings_of_a_crowd_are_bounded_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(priors, "MOST_PAIRS", 20_000)
    pours, rings = busy_day(6, 500, hours=3)
    rung = {ring.key for ring in rings}
    truly = sum(pour.volume_ul for pour in pours if pour.key not in rung)
    result = matched(pours, closed_late(6, rings), settings=LATE)
    assert abs(lone_ul(result).total() - truly) < 0.01 * poured_ul(result)
