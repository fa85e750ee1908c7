"""Pours become serves: fragments joined, long pours split, tasters and drips left alone."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from matching.days import HALF, OZ, PINT, PITCHER, lone_ul, matched, pairs, pour, ring
from unrung.matching import priors
from unrung.matching.cheapest_cut import cheapest_cut
from unrung.matching.columns import Floats, Ints, Pours, pour_columns
from unrung.matching.fills import sizes_of
from unrung.matching.fragments import cheapest
from unrung.matching.groups import Candidates
from unrung.matching.serves import first_cut, serves_of, weigh
from unrung.matching.types import MeteredPour, RingUnit

SIZES = {"Amber": [HALF, PINT, PITCHER]}


def background(first_key: int = 100, tap: str = "1") -> list[MeteredPour]:
    """An ordinary evening on the tap, so that its habits are known: pints ten minutes apart."""
    return [
        pour(first_key + n, -20_000 + 600 * n, 16 * (1 + 0.01 * (n % 5 - 2)), tap=tap)
        for n in range(24)
    ]


def volumes(pours: list[MeteredPour]) -> list[list[int]]:
    """Whole ounces of every serve that the listed pours (keys below 100) are part of."""
    known = sizes_of(["Amber"], SIZES, np.zeros(0, np.int64), np.zeros(0, np.int64))
    columns = pour_columns([*background(), *pours], ["Amber"])
    weighed = weigh(columns, known, 60_000)
    made = serves_of(weighed, first_cut(weighed), np.zeros(1, np.int64))
    found = []
    for low, high in itertools.pairwise(made.first.tolist()):
        parts = list(zip(made.part_key[low:high], made.part_ul[low:high], strict=True))
        if parts[0][0] < 100:
            found.append(sorted(round(ul / OZ) for _, ul in parts))
    return sorted(found)


@pytest.mark.parametrize(
    ("what", "pours", "expected"),
    [
        ("a pint", [pour(1, 0)], [[16]]),
        ("a pint and its top-up", [pour(1, 0, 13.6), pour(2, 20, 2.4)], [[2, 14]]),
        ("a pitcher in two goes", [pour(1, 0, 33), pour(2, 30, 27)], [[27, 33]]),
        ("a flicked tap", [pour(1, 0, 7), pour(2, 6, 9)], [[7, 9]]),
        ("two pints in one flow", [pour(1, 0, 32.2)], [[16], [16]]),
        ("three pints in one flow", [pour(1, 0, 47.5)], [[16], [16], [16]]),
        ("a pint and a half in one flow", [pour(1, 0, 24)], [[8], [16]]),
        ("two pints one after the other", [pour(1, 0), pour(2, 14)], [[16], [16]]),
        ("a pint, and later a taster", [pour(1, 0), pour(2, 300, 2)], [[2], [16]]),
        ("three tasters", [pour(1, 0, 1.2), pour(2, 90, 2), pour(3, 180, 3)], [[1], [2], [3]]),
        ("tiny leaks", [pour(1, 0, 0.2), pour(2, 70, 0.3), pour(3, 140, 0.2)], [[0], [0], [0]]),
        ("two shorts, then their top-ups",
         [pour(1, 0, 13), pour(2, 12, 13.4), pour(3, 30, 2.9), pour(4, 36, 2.6)],
         [[3, 13], [3, 13]]),
        ("fragments too far apart", [pour(1, 0, 13.6), pour(2, 90, 2.4)], [[2], [14]]),
    ],
)  # fmt: skip
def test_a_flow_is_cut_as_a_barkeeper_would(
    what: str, pours: list[MeteredPour], expected: list[list[int]]
) -> None:
    assert volumes(pours) == expected, what


def test_fragments_on_two_taps_are_two_serves() -> None:
    result = matched([pour(1, 0, 13.6, tap="1"), pour(2, 20, 2.5, tap="2")], [])
    assert len(result.serves) == 2


@pytest.mark.parametrize("over_oz", [-1.0, 0.0, 1.0, 1.6])
def test_glasses_poured_steadily_off_the_set_portion_stay_single_serves(over_oz: float) -> None:
    pours = [pour(n, 400 * n, (8 if n % 3 == 0 else 16) + over_oz) for n in range(60)]
    rings = [ring(n, 400 * n + 40, HALF if n % 3 == 0 else PINT) for n in range(60)]
    result = matched(pours, rings)
    assert len(result.serves) == 60
    assert pairs(result) == {n: n for n in range(60)}


def test_every_microlitre_is_in_exactly_one_part() -> None:
    pours = [
        pour(n, 37 * n, oz) for n, oz in enumerate((16.1, 33.3, 13.7, 2.2, 47.9, 0.3, 61.1, 96.4) * 6)
    ]
    poured = {p.key: p.volume_ul for p in pours}
    for serve in matched(pours, [], (HALF, PINT, PITCHER)).serves:
        assert serve.volume_ul == sum(ul for _, ul in serve.parts) > 0
        for key, ul in serve.parts:
            poured[key] -= ul
    assert set(poured.values()) == {0}


def test_parts_of_a_split_end_within_the_pour_and_within_the_day() -> None:
    long = MeteredPour(1, "1", "Amber", -8_000, 8_000, 2 * PINT)
    rung = [RingUnit(n, "Amber", 30_000, PINT) for n in (1, 2)]
    serves = matched([long], rung).serves
    assert sorted(serve.unit_key or 0 for serve in serves) == [1, 2]
    assert [serve.end_ms for serve in serves] == [0, 8_000]


def test_the_cheapest_cut_is_that_of_every_cut_tried() -> None:
    rng = np.random.default_rng(5)
    for _ in range(60):
        count = int(rng.integers(1, 8))
        volume = rng.choice([2, 3, 8, 13, 16, 32, 33], count) * rng.normal(1, 0.03, count)
        end = np.cumsum(rng.uniform(10, 35, count))
        pours = [pour(n, float(e), float(v)) for n, (e, v) in enumerate(zip(end, volume, strict=True))]
        columns = pour_columns(pours, ["Amber"])
        _check_cut(columns)


def _check_cut(columns: Pours) -> None:
    known = sizes_of(["Amber"], SIZES, np.zeros(0, np.int64), np.zeros(0, np.int64))
    weighed = weigh(columns, known, 60_000)
    alone = cheapest(weighed.single, weighed.splits)
    groups = weighed.groups
    chosen = cheapest_cut(alone, groups)
    rows = [row for row in groups.rows[chosen].ravel().tolist() if row >= 0]
    assert len(rows) == len(set(rows))
    every = [
        (tuple(row for row in of if row >= 0), cost)
        for of, cost in zip(groups.rows.tolist(), groups.cost.tolist(), strict=True)
    ]
    assert _price(alone, groups, chosen) == pytest.approx(
        _least(alone.tolist(), every, frozenset(range(len(alone)))))


def _price(alone: Floats, groups: Candidates, chosen: Ints) -> float:
    """What a cut costs, pours in none of its groups by themselves."""
    rest = np.ones(len(alone) + 1, np.bool_)
    rest[groups.rows[chosen]] = False
    return float(groups.cost[chosen].sum() + alone[rest[:-1]].sum())


def _least(alone: list[float], groups: list[tuple[tuple[int, ...], float]], rows: frozenset[int]) -> float:
    """The cheapest way to make serves of ``rows``, every way tried."""
    if not rows:
        return 0.0
    first = min(rows)
    ways = [alone[first] + _least(alone, groups, rows - {first})]
    ways += [
        cost + _least(alone, groups, rows.difference(group))
        for group, cost in groups if group[0] == first and rows.issuperset(group)
    ]
    return min(ways)


def test_a_meter_that_counts_in_chunks_is_cut_in_bounded_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four ounces every seven seconds: any of them could belong with any other near by. The bounded cut
    costs no more than 1 % above the one with hundred times the moves."""
    columns = pour_columns([pour(n, 7 * n, 4.0 + n % 3 / 10) for n in range(30)], ["Amber"])
    known = sizes_of(["Amber"], SIZES, np.zeros(0, np.int64), np.zeros(0, np.int64))
    weighed = weigh(columns, known, 60_000)
    alone = cheapest(weighed.single, weighed.splits)

    def total() -> float:
        return _price(alone, weighed.groups, cheapest_cut(alone, weighed.groups))

    bounded = total()
    monkeypatch.setattr(priors, "MOST_MOVES", 300_000)
    assert total() <= bounded <= total() + 0.01 * abs(total())
    counts = np.bincount(weighed.groups.rows[:, 0])
    assert counts.max() <= priors.MOST_GROUPS


def test_the_rings_decide_between_two_halves_and_a_flicked_pint() -> None:
    pints = [pour(200 + n, 3_000 + 500 * n) for n in range(10)]
    rung = [ring(200 + n, 3_040 + 500 * n) for n in range(10)]
    flow = [pour(1, 0, 8.0), pour(2, 7, 8.0)]
    as_halves = matched([*flow, *pints], [ring(1, 45, HALF), ring(2, 45, HALF), *rung])
    as_pint = matched([*flow, *pints], [ring(1, 45), *rung])
    assert set(pairs(as_halves)) >= {1, 2}
    assert len([s for s in as_halves.serves if s.parts[0][0] < 3]) == 2
    assert pairs(as_pint)[1] == pairs(as_pint)[2] == 1
    assert not lone_ul(as_halves)
    assert not lone_ul(as_pint)


def test_pints_poured_too_full_in_two_goes_are_not_taken_for_short_ones_and_spills() -> None:
    """Half of the pints of 18.6 ounces begin with a go of about 15, which looks like a pint of 16."""
    pours, rings = [], []
    for n in range(60):
        at, oz = 300 * n, 18.6 * (1 + 0.01 * (n % 5 - 2))
        if n % 2:
            pours.append(pour(2 * n, at, oz))
        else:
            pours += [pour(2 * n, at, 0.8 * oz), pour(2 * n + 1, at + 45, 0.2 * oz)]
        rings.append(ring(n, at + 80))
    assert not lone_ul(matched(pours, rings))
