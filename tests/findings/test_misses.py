"""Findings where glasses and rings missed each other: what is known of both tells them apart from loss."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest

from findings import trade
from findings.test_causes import LAST, judged, unrung
from findings.trade import OZ, alone, at, changed, fuller, ordinary, ring, with_rings, with_serves
from unrung.findings.fills import Steady
from unrung.findings.pauses import pauses
from unrung.findings.table import findings_of, rows_of_all
from unrung.ledger.facts import ClockFact, DayFacts, ServeFact, SilenceFact
from unrung.settings import Pool

SETTINGS = trade.settings()


def is_stout_pint(serve: ServeFact) -> bool:
    return (serve.tap, serve.size) == ("T2", "16 oz")


def in_two_goes(days: list[DayFacts], share: float) -> list[DayFacts]:
    """Stout pints of 18 oz; every other one in two goes, of which the second stayed alone."""
    rng, second = Random(4), []

    def over(_: int, serve: ServeFact) -> ServeFact:
        if not is_stout_pint(serve):
            return serve
        if rng.random() < 0.5:
            return fuller(serve, round(2 * OZ))
        second.append(alone("T2", serve.end_ms + 45_000, 18 * share))
        return fuller(serve, round((2 - 18 * share) * OZ))

    return with_serves(changed(days, over), second)


@pytest.mark.parametrize(("times", "told"), [(1, False), (2, False), (3, True)])
def test_rings_of_one_moment_are_tabs_rung_late_and_no_silent_meter(times: int, told: bool) -> None:
    """For an hour and a half nothing flowed at a tap, while a dozen pints were rung at so many times."""
    days, low, high = ordinary(), at(LAST, 19), at(LAST, 20.5)
    flowed = tuple(s for s in days[LAST].serves if s.tap != "T1" or not low <= s.end_ms < high)
    days[LAST] = replace(days[LAST], serves=flowed)
    late = [ring("T1", low + 900_000 * (1 + n % times) + 2_000 * n) for n in range(12)]
    found = {one.finding for one in judged(with_rings(days, late))}
    assert ("feed_gap" in found) == told


@pytest.mark.parametrize(("doubt_s", "told"), [(0, True), (200, True), (300, False)])
def test_a_clock_is_off_by_more_than_chance_moves_the_middle_of_its_lags(doubt_s: int, told: bool) -> None:
    """Four minutes off on two days, where rounds are rung so long before and after their pours."""
    off = ClockFact("Bar", 255_000, 200, 0, 0, 1_000 * doubt_s)
    days = [replace(day, clocks=(off,)) if number > 25 else day for number, day in enumerate(ordinary())]
    assert [one.finding for one in judged(days)] == (["clock_offset"] if told else [])


@pytest.mark.parametrize("share", [0.23, 0.28])
def test_a_glass_in_two_goes_holds_both_though_the_second_found_no_ring(share: float) -> None:
    days = in_two_goes(ordinary(), share)
    (found,) = judged(days)
    pints = sum(is_stout_pint(serve) for day in days for serve in day.serves)
    assert (found.finding, found.tap) == ("portion_setting", "T2")
    assert rows_of_all(*findings_of(days, SETTINGS))[0].total_ul == pytest.approx(2 * OZ * pints, rel=0.1)


def test_glasses_far_over_their_portion_that_missed_their_rings_are_told_as_over_and_not_as_unrung() -> None:
    """Every third pint of 19 oz and its ring stayed alone: 19 oz is nearer to a 20 than to a 16."""
    days, rung = ordinary(), []
    rng = Random(4)

    def over(_: int, serve: ServeFact) -> ServeFact:
        if not is_stout_pint(serve):
            return serve
        full = fuller(serve, round(3 * OZ))
        if rng.random() < 0.67:
            return full
        rung.append(ring("T2", serve.ring_ms))
        return unrung(full)

    days = with_rings(changed(days, over), rung)
    (found,) = judged(days)
    pints = sum(is_stout_pint(serve) for day in ordinary() for serve in day.serves)
    assert found.finding == "portion_setting" and len(found.rings) == len(rung)
    assert rows_of_all(*findings_of(days, SETTINGS))[0].total_ul == pytest.approx(3 * OZ * pints, rel=0.1)


def test_two_taps_of_a_quiet_bar_that_changed_places_bear_each_other_out() -> None:
    """Six glasses a day at each, of two days: neither alone says enough."""
    days, other = ordinary(), {"T1": "T2", "T2": "T1"}
    for day in (LAST - 1, LAST):
        few = [s for tap in other for s in [s for s in days[day].serves if s.tap == tap][::4]]
        kept = [s for s in days[day].serves if s.tap not in other]
        serves = sorted([*kept, *map(unrung, few)], key=lambda serve: serve.end_ms)
        days[day] = replace(days[day], serves=tuple(serves))
        days = with_rings(days, [ring(other[s.tap], s.ring_ms, s.size) for s in few])
    assert {one.tap for one in judged(days) if one.finding == "tap_list"} == {"T1", "T2"}


def evening(apart_s: float) -> list[DayFacts]:
    pints = (alone("T2", at(LAST, 20) + round(n * apart_s * 1000), 16) for n in range(7))
    return with_serves(ordinary(), pints)


def test_one_round_that_missed_its_ring_is_one_event_and_no_evening() -> None:
    assert [one.finding for one in judged(evening(1500))] == ["serves_without_ring"]
    assert judged(evening(30)) == []


def test_pours_and_rings_of_one_beer_that_missed_each_other_are_no_loss() -> None:
    days = evening(1500)
    days = with_rings(days, (ring("T2", at(LAST, 15) + 1_500_000 * n, "10 oz") for n in range(7)))
    assert judged(days) == []


def test_small_goes_that_add_up_to_a_glass_are_no_glass() -> None:
    def small(moment: int) -> ServeFact:
        serve = alone("T2", moment, 10)
        third = serve.volume_ul // 3
        starts = [moment + 20_000 * n for n in range(3)]
        parts = tuple((start, start + 1700, third) for start in starts)
        return serve._replace(
            volume_ul=3 * third, left_ul=3 * third, end_ms=parts[-1][1], parts=parts)

    assert judged(with_serves(ordinary(), (small(at(LAST, 15 + n)) for n in range(9)))) == []


def test_serves_beside_a_till_that_was_silent_may_have_been_rung_there() -> None:
    days = evening(1500)
    silent = SilenceFact("rings", "Bar", "", at(LAST, 19.9), at(LAST, 23.2))
    days[LAST] = replace(days[LAST], silences=(silent,))
    assert judged(days) == []


@pytest.mark.parametrize(("taps", "told"), [(("T3",), False), (("T1", "T2", "T3"), True)])
def test_a_line_cleaned_after_an_outlet_closed_early_is_no_silent_till(
    taps: tuple[str, ...], told: bool
) -> None:
    """The ledger cannot compare what flows from a till's last row to the usual closing time, whether the
    outlet closed early or its till fell silent: the taps that it flowed at tell these apart."""
    days, low, high = ordinary(), at(LAST, 23), at(LAST, 25)
    days[LAST] = replace(
        days[LAST], serves=tuple(s for s in days[LAST].serves if s.end_ms < low and s.ring_ms < low),
        silences=(SilenceFact("rings", "Bar", "", low, high),))
    flows = (alone(taps[n % len(taps)], low + 480_000 * (n + 1), 24) for n in range(12))
    days = with_serves(days, (s._replace(left_ul=0, not_compared_ul=s.volume_ul) for s in flows))
    assert ("feed_gap" in {one.finding for one in judged(days)}) is told


@pytest.mark.parametrize(("beside", "told"), [(2, False), (20, True)])
def test_lines_cleaned_when_a_pool_s_tills_are_quiet_are_no_silent_till(beside: int, told: bool) -> None:
    """No ring at three taps of the Bar from 23:00 to closing, while the other till of its pool wrote 2 or
    20 checks: where the house was near its end, the Bar had closed."""
    days, low, high = ordinary(), at(LAST, 23), at(LAST, 25)
    (till,) = days[LAST].till
    own = tuple(second for second in till.at_s if at(LAST, 4) + 1000 * second < low)
    other = till._replace(outlet="Yard", at_s=(*own, *(68_500 + 300 * n for n in range(beside))))
    serves = [s for s in days[LAST].serves if s.end_ms < low and s.ring_ms < low]
    lost = [alone(f"T{1 + n % 3}", low + 240_000 * (n + 1), 24) for n in range(12)]
    serves += [s._replace(left_ul=0, not_compared_ul=s.volume_ul) for s in lost]
    day = replace(
        days[LAST], serves=tuple(s._replace(outlet="Floor") for s in serves),
        silences=(SilenceFact("rings", "Bar", "", low, high),), till=(till._replace(at_s=own), other))
    pooled = SETTINGS.model_copy(update={"pool": (Pool(name="Floor", outlets=("Bar", "Yard")),)})
    _, found = findings_of([day], pooled)
    assert ("feed_gap" in {one.finding for one in found}) is told


@pytest.mark.parametrize(("apart_h", "told"), [(1.0, False), (0.25, True)])
def test_a_meter_s_pause_counts_as_far_as_its_rhythm_is_known(apart_h: float, told: bool) -> None:
    """Own events, and none among as many rows of the other side as stand outside the pause: of five events
    none falls there once in 32 times, of fourteen once in 16384. Gelman et al., Bayesian Data Analysis,
    2.6: the predictive of a Poisson count under a gamma rate is negative binomial."""
    own = [*(at(0, 12 + apart_h * n) for n in range(round(3 / apart_h) + 1)), at(0, 20)]
    other = [at(0, 12.05 + 0.1 * n) for n in range(30)] + [at(0, 16 + 0.1 * n) for n in range(30)]
    assert (list(pauses(own, other)) != []) is told


@pytest.mark.parametrize(("taps", "told"), [(("T3",), False), (("T1", "T2", "T3"), True)])
def test_a_silent_till_leaves_serves_of_all_taps_without_a_ring(taps: tuple[str, ...], told: bool) -> None:
    """One tap alone is the tap's own matter: its cleaning, or another beer in its line."""
    days, low, high = ordinary(), at(LAST, 14), at(LAST, 19)
    kept = [s for s in days[LAST].serves if not low <= s.end_ms < high and not low <= s.ring_ms < high]
    till = days[LAST].till[0]
    rang = tuple(second for second in till.at_s if not low <= at(LAST, 4) + 1000 * second < high)
    days[LAST] = replace(days[LAST], serves=tuple(kept), till=(till._replace(at_s=rang),))
    days = with_serves(days, (alone(taps[n % len(taps)], low + 1_000_000 * (n + 1), 16) for n in range(16)))
    assert ("feed_gap" in {one.finding for one in judged(days)}) is told


def test_one_evening_s_hands_are_no_setting_and_what_lasts_is() -> None:
    """Pints 3 % over: on the first evening that may be who poured them, over a fortnight it is not."""
    days = changed(ordinary(), lambda _, s: fuller(s, round(0.03 * s.portion_ul)) if s.tap == "T2" else s)
    more = [
        trade.glass("T2", s.start_ms + 240_000 * n, s.size, 0.03)
        for day in days for s in day.serves if s.tap == "T2" for n in range(1, 4)
    ]
    busy = with_serves(days, more)
    assert judged(busy[:1]) == []
    assert {one.finding for one in judged(busy[:14])} & {"portion_setting", "meter_calibration"}


@pytest.mark.parametrize(("per_day", "parts"), [
    ((4, 4, 4), 3), ((4, 4, 1), 2), ((4, 1), 1), ((1, 1, 1, 1), 1), ((2, 2, 4), 2), ((1,), 1)])
def test_days_of_few_glasses_are_taken_with_the_next_and_the_last_with_the_one_before(
    per_day: tuple[int, ...], parts: int
) -> None:
    known = Steady(lambda: [[0.01 * glass for glass in range(glasses)] for glasses in per_day])
    assert known.days == parts
    assert known.error >= 0.01 / parts**0.5
