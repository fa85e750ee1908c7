"""How much a finding says was lost, where glasses and rings did not all stay side by side."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from findings import trade
from findings.test_causes import (
    LAST,
    judged,
    keg_change_loss,
    mis_ring,
    serves_without_ring,
    top_ups,
    unrung,
)
from findings.test_misses import is_stout_pint
from findings.trade import (
    OZ,
    alone,
    at,
    changed,
    fuller,
    glass,
    ordinary,
    ring,
    with_kegs,
    with_rings,
    with_serves,
)
from unrung.findings.finding import Finding
from unrung.findings.table import findings_of, rows_of_all
from unrung.ledger.facts import DayFacts, KegFact, RingFact, ServeFact
from unrung.settings import MenuRow, Settings

SETTINGS = trade.settings()


def told(days: list[DayFacts], settings: Settings = SETTINGS) -> dict[str, float]:
    """Each finding's volume since it began, in fl oz."""
    return {row.finding: row.total_ul / OZ for row in rows_of_all(*findings_of(days, settings))}


def test_a_glass_of_which_an_entry_explains_a_little_is_one_that_nobody_rang() -> None:
    """An entry of 3 oz beside it was of another glass."""
    rng = Random(9)
    days = with_serves(ordinary(), (
        alone("T2", at(day, rng.uniform(21, 23.9)), 16)._replace(left_ul=round(13 * OZ), reason="waste")
        for day in range(28) for _ in range(2)))
    assert told(days) == {"serves_without_ring": pytest.approx(28 * 2 * 13, rel=0.01)}


def test_rings_without_a_serve_are_set_against_serves_without_a_ring_whatever_the_beer() -> None:
    lone = [ring("T3", at(day, 12.5)) for day in range(0, 28, 2)]
    days = with_rings(serves_without_ring(), lone)
    assert told(days)["serves_without_ring"] == pytest.approx((56 - 14) * 16, rel=0.01)
    as_many = [ring("T3", at(day, 12.5 + n)) for day in range(28) for n in (0, 1)]
    assert "serves_without_ring" not in told(with_rings(serves_without_ring(), as_many))


def test_what_was_rung_as_another_beer_counts_though_glass_and_ring_stayed_alone_far_apart() -> None:
    """As where each took the place of a neighbour."""
    days = with_serves(mis_ring(), (alone("T1", at(day, 13.2), 16) for day in range(0, 28, 2)))
    days = with_rings(days, (ring("T3", at(day, 13.9)) for day in range(0, 28, 2)))
    assert told(days)["mis_ring"] == pytest.approx((28 + 14) * 16, rel=0.03)


def test_a_ring_of_the_same_beer_that_came_late_changed_no_name() -> None:
    rng = Random(3)
    moments = [at(day, rng.uniform(12, 23)) for day in range(28)]
    days = with_serves(mis_ring(), (alone("T2", moment, 16) for moment in moments))
    days = with_rings(days, (ring("T2", moment + 2_500_000) for moment in moments))
    assert told(days)["mis_ring"] == pytest.approx(28 * 16, rel=0.15)


@pytest.mark.parametrize("mixed", [True, False])
def test_a_lone_portion_of_an_item_of_several_beers_is_no_wrong_button(mixed: bool) -> None:
    held = ("Amber", "Stout", "Wheat") if mixed else ("Wheat",)
    menu = (MenuRow(item="Flight", product=beer, portion_ul=round(5 * OZ)) for beer in held)
    settings = SETTINGS.model_copy(update={"menu": (*SETTINGS.menu, *menu)})

    def taster(moment: int) -> RingFact:
        return ring("T3", moment)._replace(item="Flight", size="", portion_ul=round(5 * OZ))

    moments = [at(day, 15 + day % 5) for day in range(28)]
    days = with_serves(ordinary(), (alone("T1", moment, 5) for moment in moments))
    days = with_rings(days, (taster(moment + 20_000) for moment in moments))
    assert ("mis_ring" in told(days, settings)) is not mixed


def foam_at(day: int) -> int:
    return at(day, 6) + 8_000


def test_a_foam_that_took_a_ring_of_another_size_costs_what_it_holds_beyond_it() -> None:
    days = with_kegs(ordinary(), "T1", lambda _: 0.0)
    foam = (
        glass("T1", foam_at(day), "16 oz", 44 / 16)._replace(other_size=True) for day in range(0, 26, 2))
    (found,) = of("keg_change_loss", with_serves(days, foam)[:25])
    assert found.total_ul == pytest.approx(13 * 44 * OZ, rel=0.01)


def test_a_queue_behind_a_few_changes_is_not_lost() -> None:
    """Two rounds of three pints, rung an hour later, follow on the foam without a pause."""
    queue = [alone("T1", foam_at(day) + 16_000 + 9_000 * n, 16) for day in (4, 12) for n in range(3)]
    (found,) = of("keg_change_loss", with_serves(keg_change_loss(), queue)[:25])
    assert found.total_ul == pytest.approx(13 * 14 * OZ, rel=0.05)


def test_a_tap_that_changes_its_beer_is_judged_by_the_beer_that_each_keg_held() -> None:
    days = keg_change_loss()
    for number in range(12, len(days)):
        serves = (s._replace(product="Bock") if s.tap == "T1" else s for s in days[number].serves)
        days[number] = replace(days[number], serves=tuple(serves))
    (found,) = of("keg_change_loss", days)
    assert found.total_ul == pytest.approx(13 * 14 * OZ, rel=0.05)


def test_flows_after_a_keg_that_nothing_else_speaks_for_are_no_serves_without_a_ring() -> None:
    """Two flows of ten ounces at each change, which a keg going on may explain or not."""
    days = with_kegs(ordinary(), "T1", lambda _: 0.0)
    foam = (alone("T1", at(day, 6) + 8_000 + 4_000 * n, 10) for day in range(0, 26, 2) for n in range(2))
    days = with_serves(days, foam)[: LAST - 2]
    assert "serves_without_ring" not in told(days)


def test_the_rest_of_a_glass_is_no_glass_though_it_holds_as_much_as_a_small_one() -> None:
    menu = (*SETTINGS.menu, MenuRow(item="Stout", size="5 oz", product="Stout", portion_ul=round(5 * OZ)))
    settings = SETTINGS.model_copy(update={"menu": menu})
    pints = [[s for s in day.serves if is_stout_pint(s)][:2] for day in ordinary()]
    rests = [alone("T2", s.end_ms + 30_000, 5) for day in pints for s in day]
    assert "serves_without_ring" not in told(with_serves(ordinary(), rests), settings)


def test_an_item_s_loss_counts_the_glasses_of_which_a_part_stands_elsewhere() -> None:
    """Pints of 18 oz; of every fourth the meter shows 13 oz, and the rest beside it is of other glasses."""
    days = changed(ordinary(), lambda _, s: fuller(s, round((2 if s.start_ms % 4 else -3) * OZ))
                   if is_stout_pint(s) else s)
    pints = sum(is_stout_pint(s) for day in days for s in day.serves)
    assert told(days)["portion_setting"] == pytest.approx(2 * pints, rel=0.05)


def test_a_larger_size_poured_at_a_tap_of_topped_up_glasses_is_none_of_their_loss() -> None:
    """One in twelve of its pints holds 20 oz."""
    larger = changed(top_ups(), lambda _, s: fuller(s, round(4 * OZ))._replace(other_size=True)
                     if (s.tap, s.size, len(s.parts)) == ("T3", "16 oz", 1) and not s.start_ms % 12 else s)
    assert told(larger)["top_ups"] == pytest.approx(told(top_ups())["top_ups"], rel=0.05)


SWAPPED = {"T1": "T2", "T2": "T1"}


def swap(low: int, high: int, shown: tuple[str, ...] = ("T1", "T2")) -> tuple[list[DayFacts], dict[str, int]]:
    """Two taps that change places from one moment to another, and what each pours meanwhile. Rings stand
    beside the serves of the taps in ``shown``; of the other they come twenty minutes late."""
    days = ordinary()

    def swapped(serve: ServeFact) -> bool:
        return serve.tap in SWAPPED and low <= serve.end_ms < high

    rung = [
        ring(SWAPPED[s.tap], s.ring_ms + (0 if s.tap in shown else 1_200_000), s.size)
        for day in days for s in day.serves if swapped(s)
    ]
    poured = {
        tap: sum(s.volume_ul for day in days for s in day.serves if swapped(s) and s.tap == tap)
        for tap in SWAPPED
    }
    return with_rings(changed(days, lambda _, s: unrung(s) if swapped(s) else s), rung), poured


def test_a_swap_goes_from_the_keg_change_that_made_it_to_the_one_that_ended_it() -> None:
    """From 17:00 on to 16:00 three days later, with another keg on an hour before each."""
    days, poured = swap(at(LAST - 4, 17), at(LAST - 1, 16))
    for number, hours in ((LAST - 4, (16, 17)), (LAST - 1, (15, 16))):
        kegs = (KegFact(at(number, hour), "on", tap, trade.BEERS[tap], "", 0, 0)
                for hour in hours for tap in SWAPPED)
        days[number] = replace(days[number], kegs=tuple(sorted(kegs)))
    found = judged(days[:LAST])
    assert {(one.finding, one.tap, one.total_ul) for one in found} == {
        ("tap_list", tap, volume) for tap, volume in poured.items()}


def test_a_tap_whose_rings_do_not_stand_beside_it_is_told_by_the_one_it_changed_places_with() -> None:
    days, poured = swap(at(LAST - 1, 4), at(LAST + 1, 4), shown=("T1",))
    found = {one.tap: (one.total_ul, one.confidence) for one in of("tap_list", days)}
    assert found["T2"] == (poured["T2"], "medium")
    assert found["T1"][0] == poured["T1"]


def of(name: str, days: list[DayFacts]) -> list[Finding]:
    return [one for one in judged(days) if one.finding == name]
