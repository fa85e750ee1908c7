"""What else a day knows helps to tell serves apart: log entries, kegs that go on, swapped lines; and the
price of a ring."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest

from matching.days import DAY_MS, HALF, NOON_MS, PINT, SETTINGS, busy_day, lone_ul, pour, ring
from unrung.matching.assign import best_assignment
from unrung.matching.match import match_day
from unrung.matching.prepare import prepare
from unrung.matching.prices import prices_of
from unrung.matching.sides import Edges
from unrung.matching.types import Entry, KegOn, Matched, MeteredPour, RingUnit


def matched(
    pours: list[MeteredPour], rings: list[RingUnit], entries: list[Entry] = [], kegs: list[KegOn] = []  # noqa: B006
) -> Matched:
    names = {p.product for p in pours} | {u.product for u in rings}
    day = prepare(pours, rings, {n: [HALF, PINT] for n in names}, (0, DAY_MS), SETTINGS, entries, kegs)
    return match_day(None, day, None)


def alone(result: Matched) -> set[int]:
    """Keys below 10 of pours without a ring."""
    return {key for s in result.serves if s.unit_key is None for key, _ in s.parts if key < 10}


def evening() -> tuple[list[MeteredPour], list[RingUnit]]:
    """A day's trade that every pour of is rung, hours before and after what a test looks at."""
    pours, rings = busy_day(3, 60, start_s=-20_000, hours=4, unrung=0, first_key=100)
    return pours, [r._replace(key=r.key + 1_000) for r in rings]


def test_a_written_down_pint_takes_no_ring_from_its_neighbour() -> None:
    pours, rings = evening()
    # Two pints alike; the one ring suits the first a little better, but that was written down.
    pours += [pour(1, 5_000), pour(2, 5_020)]
    rings.append(ring(1, 5_050))
    entry = Entry("Amber", NOON_MS + 5_005_000, PINT)
    plain = matched(pours, rings)
    told = matched(pours, rings, [entry])
    assert alone(plain) == {2} and alone(told) == {1}
    assert lone_ul(plain) == lone_ul(told)


def test_an_entry_is_never_a_partner_nor_a_lone_ring() -> None:
    pours, rings = evening()
    told = matched(pours, rings, [Entry("Amber", NOON_MS + 9_000_000, PINT)])
    units = {r.key for r in rings}
    assert {s.unit_key for s in told.serves} <= {None, *units}
    assert {key for key, _ in told.lone_units} <= units


def test_an_entry_for_a_beer_that_was_not_poured_changes_nothing() -> None:
    pours, rings = evening()
    assert matched(pours, rings, [Entry("Porter", NOON_MS, PINT)]) == matched(pours, rings)


def test_what_runs_off_after_a_keg_goes_on_takes_no_ring() -> None:
    pours, rings = evening()
    keg = KegOn("Amber", NOON_MS + 5_000_000)
    pours += [pour(1, 5_020, 16.4, tap="Amber"), pour(2, 5_100, 16.1, tap="Amber")]
    rings.append(ring(1, 5_045))
    assert alone(matched(pours, rings, kegs=[keg])) == {1}


@pytest.mark.parametrize("kegs", [[], [KegOn("Amber", NOON_MS + 5_200_000)]])
def test_a_glass_that_waited_for_a_new_keg_is_one_serve(kegs: list[KegOn]) -> None:
    pours, rings = evening()
    # The keg ran out after 9 of 16 ounces; foam ran off, and the glass was filled up.
    pours += [pour(1, 5_000, 9, tap="Amber"), pour(2, 5_215, 8, tap="Amber"), pour(3, 5_230, 7, tap="Amber")]
    rings.append(ring(1, 5_260))
    whole = [sorted(key for key, _ in s.parts) for s in matched(pours, rings, kegs=kegs).serves]
    assert ([1, 3] in whole) == bool(kegs)


def test_swapped_lines_keep_their_rings_from_pours_of_the_other_name() -> None:
    pours, rings = busy_day(11, 150, hours=8, unrung=0)
    # Each tap pours the other's beer: rung rightly, metered under the wrong name.
    other = {"Amber": "Stout", "Stout": "Amber"}
    swapped = [p._replace(product=other[p.product]) for p in pours]
    lone = sum(lone_ul(matched(swapped, rings)).values())
    assert lone > 0.9 * sum(p.volume_ul for p in swapped)


def test_swapped_lines_are_seen_where_much_is_poured_of_both_beers() -> None:
    """Two taps of each beer, one of each swapped: by chance most serves find a ring of their wrong name,
    and few of either stay alone."""
    other, tap = {"Amber": "Stout", "Stout": "Amber"}, {"Amber": "1", "Stout": "2"}
    rings: list[RingUnit] = []
    given: list[MeteredPour] = []
    for first_key, swapped in ((1, True), (10_000, False)):
        pours, rung = busy_day(11 + first_key, 170, first_key=first_key, lag_s=55.0)
        rings += rung
        for p in pours:
            line = tap[p.product] if swapped else tap[p.product] + "b"
            given.append(p._replace(product=other[p.product] if swapped else p.product, tap=line))
    true_lone = sum(p.volume_ul for p in given if not p.tap.endswith("b"))
    found = matched(given, rings)
    said = sum(s.volume_ul for s in found.serves if s.unit_key is None and not s.tap.endswith("b"))
    assert said > 0.8 * true_lone


def test_a_wrong_button_takes_no_ring_s_place() -> None:
    pours, rings = evening()
    # Nobody rang the first; the second, poured just before the ring, was rung as the first's beer.
    pours += [pour(1, 4_000, 16.1), pour(2, 5_900, 16.2, product="Stout", tap="Stout")]
    rings.append(ring(1, 5_940))
    assert alone(matched(pours, rings)) == {1, 2}


def gain_of(table: np.ndarray[tuple[int, int], np.dtype[np.int64]]) -> int:
    """The best assignment's gain, every one tried; pairs of gain 0 or less are left alone."""
    rings, glasses = table.shape
    wide = np.concatenate((table, np.zeros((rings, rings), np.int64)), axis=1)
    return max(
        sum(max(0, int(wide[row, column])) for row, column in enumerate(some))
        for some in permutations(range(glasses + rings), rings)
    )


@pytest.mark.parametrize("seed", range(25))
def test_the_price_of_a_ring_is_what_the_others_lose_by_it(seed: int) -> None:
    """Against every assignment tried: taking a ring away, and one more like it."""
    chance = np.random.default_rng(seed)
    table = chance.integers(-4_000, 9_000, (4, 3))
    ring_, glass = np.nonzero(table > 0)
    edges = Edges(ring_, glass, table[ring_, glass])
    partner = best_assignment(edges, 4)
    prices = prices_of(edges, partner, 3)
    whole = gain_of(table)
    for row in range(4):
        without = gain_of(np.delete(table, row, axis=0))
        more = gain_of(np.concatenate((table, table[row : row + 1])))
        assert prices.take[row] * 1_000 == pytest.approx(whole - without), row
        assert prices.spare[row] * 1_000 == pytest.approx(more - whole), row


