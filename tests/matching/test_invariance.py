"""What must not matter: the order of rows, the date, what happens far away."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from matching.days import (
    DAY_MS,
    HALF,
    PINT,
    SETTINGS,
    busy_day,
    lone_ul,
    matched,
    pairs,
    pour,
    ring,
)
from unrung.matching.assign import best_assignment
from unrung.matching.clockwork import Centre, clockwork_of
from unrung.matching.columns import Pours, pour_columns, unit_columns
from unrung.matching.costs import possible_pairs
from unrung.matching.fills import Fills, Sizes, sizes_of
from unrung.matching.known import Known, Rung
from unrung.matching.laws import prior_laws
from unrung.matching.learning import price, rings_of
from unrung.matching.rounds import no_mates, rounds_of
from unrung.matching.serves import Weighed, judge, serves_of, usual_lines, weigh
from unrung.matching.sides import Rings
from unrung.matching.types import Matched, MeteredPour, RingUnit

NOTHING_SAID = Rings(*(np.zeros(0, np.int64) for _ in Rings.__slots__))
PRODUCTS = ["Amber", "Stout"]
Content = Counter[tuple[object, ...]]


def content(result: Matched, pours: list[MeteredPour], rings: list[RingUnit]) -> Content:
    """The pairs by what the rows say, so that rows equal in content are interchangeable."""
    poured = {p.key: p[1:] for p in pours}
    rung = {r.key: r[1:] for r in rings}
    return Counter(
        (tuple(sorted((*poured[key], ul) for key, ul in serve.parts)),
         rung.get(serve.unit_key or -1), serve.uncertain)
        for serve in result.serves
    )  # fmt: skip


@pytest.mark.parametrize("seed", range(12))
def test_the_order_of_rows_changes_neither_totals_nor_pairs(seed: int) -> None:
    pours, rings = busy_day(seed, 40 + 20 * (seed % 3))
    # Rows equal in content: the same pour and the same ring twice, under other keys.
    pours += [p._replace(key=9_000 + p.key) for p in pours[:5]]
    rings += [r._replace(key=9_000 + r.key) for r in rings[:7]]
    first = matched(pours, rings)
    chance = random.Random(seed)
    mixed_pours, mixed_rings = pours[:], rings[:]
    chance.shuffle(mixed_pours)
    chance.shuffle(mixed_rings)
    second = matched(mixed_pours, mixed_rings)
    assert content(first, pours, rings) == content(second, pours, rings)
    assert lone_ul(first) == lone_ul(second)
    assert first.clock == second.clock
    assert first.pour_not_rung_range_ul == second.pour_not_rung_range_ul


def test_keys_decide_nothing_but_names() -> None:
    pours, rings = busy_day(4, 50)
    renamed = [p._replace(key=10_000 - p.key) for p in pours]
    first, second = pairs(matched(pours, rings)), pairs(matched(renamed, rings))
    assert {10_000 - key: unit for key, unit in first.items()} == second


@pytest.mark.parametrize("days", [1, 365, -400])
def test_another_date_changes_nothing(days: int) -> None:
    pours, rings = busy_day(5, 60)
    first = matched(pours, rings)
    by = days * DAY_MS
    from unrung.matching.match import match_day
    from unrung.matching.prepare import prepare

    moved = prepare(
        [p._replace(start_ms=p.start_ms + by, end_ms=p.end_ms + by) for p in pours],
        [r._replace(at_ms=r.at_ms + by) for r in rings],
        {"Amber": [HALF, PINT], "Stout": [HALF, PINT]}, (by, by + DAY_MS), SETTINGS,
    )
    assert pairs(match_day(None, moved, None)) == pairs(first)


def fixed_pairs(pours: list[MeteredPour], rings: list[RingUnit], offset_ms: int) -> dict[int, int]:
    """Pairs under what is believed before any data speak: nothing is learnt from the rows."""
    poured, rung = pour_columns(pours, PRODUCTS), unit_columns(rings, PRODUCTS)
    sizes, empty = _before_any_row()
    weighed = _unlearnt(empty, poured, sizes)
    known = Known(
        clockwork_of([Centre(offset_ms)]), prior_laws(SETTINGS), no_mates(len(rings)),
        np.full(2, 0.02), usual_lines(2, 8),
    )
    serves = serves_of(weighed, np.arange(len(pours)), np.zeros(1, np.int64))
    glasses = price(weighed, serves, known)
    centre = np.log(np.maximum(rung.portion, 1))
    priced, order = rings_of(Rung(
        [0], rung, np.zeros(len(rings), np.int64), centre, rounds_of(rung), np.full(len(rings), 0.002),
        NOTHING_SAID,
    ), known)
    partner = best_assignment(possible_pairs(priced, glasses, known.laws), len(rings))
    return {
        int(serves.part_key[glass]): int(rung.key[order[row]])
        for row, glass in enumerate(partner.tolist()) if glass >= 0
    }


@cache
def _before_any_row() -> tuple[Sizes, Weighed]:
    """The menu's sizes, and what pours are weighed by without any."""
    none = unit_columns([], PRODUCTS)
    sizes = sizes_of(PRODUCTS, {name: [HALF, PINT] for name in PRODUCTS}, none.product, none.portion)
    return sizes, weigh(pour_columns([], PRODUCTS), sizes, 60_000)


def _unlearnt(empty: Weighed, poured: Pours, sizes: Sizes) -> Weighed:
    shift = np.zeros((len(sizes.size_ul), 8))
    fills: Fills = replace(empty.fills, shift=shift)
    plain = weigh(poured, sizes, 60_000)
    judged = judge(poured, plain.pieces, fills, empty.habits, plain.run_off)
    return replace(plain, fills=fills, judged=judged)


def evening(seed: int) -> tuple[list[int], list[int]]:
    """Seconds at which glasses were poured and rung, up to nine of each; most rings are near a pour."""
    chance = random.Random(seed)
    poured = sorted(chance.randrange(4_001) for _ in range(chance.randrange(10)))
    near = [max(0, at + chance.randrange(-60, 120)) for at in poured]
    return poured, sorted(
        chance.choice(near) if near and chance.random() < 0.7 else chance.randrange(4_001)
        for _ in range(chance.randrange(10)))


evenings = st.integers(0, 2**32).map(evening)
"""Each is a new one: lists that hypothesis draws repeat those before them for the most part."""
few = settings(max_examples=40)


@few
@given(evening=evenings, by=st.integers(-10**7, 10**7))
def test_both_clocks_moved_together_change_nothing(evening: tuple[list[int], list[int]], by: int) -> None:
    poured, rung = evening
    pours = [pour(n, s) for n, s in enumerate(poured)]
    rings = [ring(n, s) for n, s in enumerate(rung)]
    moved = [p._replace(start_ms=p.start_ms + by, end_ms=p.end_ms + by) for p in pours]
    first = fixed_pairs(pours, rings, 0)
    assert first == fixed_pairs(moved, [r._replace(at_ms=r.at_ms + by) for r in rings], 0)
    assert first == fixed_pairs(moved, rings, -by)


@few
@given(evening=evenings)
def test_a_pour_far_away_changes_no_other_pair(evening: tuple[list[int], list[int]]) -> None:
    poured, rung = evening
    pours = [pour(n, s) for n, s in enumerate(poured)]
    rings = [ring(n, s) for n, s in enumerate(rung)]
    with_far = fixed_pairs([*pours, pour(99, 36_000)], rings, 0)
    assert with_far == fixed_pairs(pours, rings, 0)


def test_matching_twice_gives_the_same_bytes() -> None:
    pours, rings = busy_day(6, 80)
    assert repr(matched(pours, rings)) == repr(matched(pours, rings))
