"""From running totals to flows: pours, spans, roll-overs, resets, and the edges of a day."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from readings.meter import DAY, HI, HOUR, LO, MINUTE, NOON, SECOND, VENUE, feed, litres, pulses, read, told
from unrung.ledger.readings import Counters, straddling
from unrung.ledger.taps import TapList
from unrung.settings import Matching, TapRow
from unrung.units import pulses_to_ul


def beat(first: int, *totals: float, every: int = 5 * SECOND) -> list[tuple[int, float]]:
    """A total read at an even beat."""
    return [(first + number * every, total) for number, total in enumerate(totals)]


def test_readings_that_rise_one_after_the_other_are_one_pour() -> None:
    lines, _ = read(litres((LO, 10), *beat(NOON, 10, 10.2, 10.4, 10.5, 10.5, 10.5, 10.7, 10.7)))
    assert told(lines) == [
        (NOON, NOON + 15 * SECOND, 500, True), (NOON + 25 * SECOND, NOON + 30 * SECOND, 200, True)]


def test_a_pour_is_known_by_the_reading_that_ends_it() -> None:
    """So that its figure walks back to a line of an export."""
    lines, _ = read(litres(*beat(NOON, 10, 10.2, 10.4, 10.4)))
    assert [(line.id, line.origin.line, line.tap) for line in lines] == [(3, 4, "M1")]


@pytest.mark.parametrize(("gap", "timed"), [(180_000, True), (180_001, False), (HOUR, False)])
def test_a_rise_over_a_long_gap_is_volume_without_a_time(gap: int, timed: bool) -> None:
    lines, _ = read(litres((LO, 10), (NOON, 10), (NOON + gap, 12)))
    assert told(lines) == [(NOON, NOON + gap, 2000, timed)]


def test_a_gap_within_a_pour_cuts_it_and_loses_nothing() -> None:
    lines, _ = read(litres((NOON, 10), (NOON + 5000, 10.2), (NOON + HOUR, 10.4), (NOON + HOUR + 5000, 10.6)))
    assert told(lines) == [
        (NOON, NOON + 5000, 200, True), (NOON + 5000, NOON + HOUR, 200, False),
        (NOON + HOUR, NOON + HOUR + 5000, 200, True)]


def test_every_rise_of_a_feed_of_counts_is_without_a_time() -> None:
    lines, _ = read(litres(*beat(NOON, 10, 10.5, 11, every=MINUTE)), resolution="interval")
    assert [timed for *_, timed in told(lines)] == [False, False]


@pytest.mark.parametrize(
    ("before", "after", "modulus", "flowed"),
    [
        (999_990, 15, "1000000", 25_000), (99_999.9, 0.4, "100000", 500), (999_990, 999_990, "1000000", None),
        # Without the number at which the counter starts again, nobody can tell; never negative.
        (999_990, 15, None, None),
        # What would have flowed for a roll-over is no beer, but a reset.
        (500_000, 15, "1000000", None),
    ],
)
def test_a_counter_that_starts_again(
    before: float, after: float, modulus: str | None, flowed: int | None
) -> None:
    """A decrease means roll-over, reset or replacement (common practice in custody metering)."""
    lines, blind = read(litres((LO, before), (NOON, before), (NOON + 5 * SECOND, after)), modulus=modulus)
    assert [ml for *_, ml, _ in told(lines)] == ([] if flowed is None else [flowed])
    assert bool([one for one in blind if one.why]) == (flowed is None and before != after)


def test_a_counter_in_another_unit_starts_again_at_its_own_number() -> None:
    ounces = litres((NOON, 9999.5), (NOON + 5000, 0.5), unit="us_fl_oz")
    lines, _ = read(ounces, modulus="10000", unit="us_fl_oz")
    assert [line.volume_ul for line in lines] == [29_574]


def test_pulses_that_start_again_count_to_the_number_and_on() -> None:
    lines, _ = read(pulses((NOON, 65_530), (NOON + 5000, 1_000)), modulus="65536", per_litre="5600")
    assert [line.volume_ul for line in lines] == [pulses_to_ul(1_006, Decimal(5600))]


def test_a_reset_counts_what_can_have_flowed_since_and_says_so() -> None:
    lines, blind = read(litres((LO, 50), (NOON, 50), (NOON + 5000, 0.1), (NOON + 10_000, 0.3)))
    assert sum(line.volume_ul or 0 for line in lines) == 300_000
    [said] = [one for one in blind if one.why]
    assert said[1:3] == (NOON, NOON + 5000) and said.why == "went back from 50.0 L to 0.1 L"


@pytest.mark.parametrize(
    ("after", "said"),
    [(49.9, "went back from 50.0 L to 49.9 L"), (4000, "jumped from 50.0 L to 4000.0 L"),
     (30, "went back from 50.0 L to 30.0 L")],
)
def test_another_meter_or_a_wavering_total_is_not_known_and_never_negative(after: float, said: str) -> None:
    lines, blind = read(litres((LO, 50), (NOON, 50), (NOON + 5000, after), (NOON + 10_000, after + 0.2)))
    assert [ml for *_, ml, _ in told(lines)] == [200], "what flows afterwards counts on"
    assert [one.why for one in blind if one.why] == [said]


def test_large_totals_keep_their_last_digit() -> None:
    """Totals as large as NIST's StRD set NumAcc4 (10000000.2 and its neighbours, from memory): in
    floating point a difference of 0.1 would come out as 0.0999999996."""
    values = ["10000000.2", "10000000.3", "10000000.4", "10000000.4"]
    lines, _ = read(litres(*beat(NOON, *values)))  # type: ignore[arg-type]
    assert [line.volume_ul for line in lines] == [200_000]


def test_the_days_of_a_meter_have_every_microlitre_once() -> None:
    """Three days of pours at random, some of them over the edge of a day, in small and in long gaps."""
    rng = random.Random(5)
    day_ms, at, total, found = HI - LO, LO - (HI - LO) + 1, 0, []
    while at < LO + 2 * day_ms:
        found.append((at, total / 1_000_000))
        at += rng.choice([SECOND, 5 * SECOND, 40 * SECOND, 10 * MINUTE])
        total += rng.choice([0, 0, 0, 61_231])
    lines = litres(*found)
    days = [(LO + n * day_ms, LO + (n + 1) * day_ms) for n in (-1, 0, 1)]
    volumes = [sum(line.volume_ul or 0 for line in read(_around(lines, day), day)[0]) for day in days]
    assert sum(volumes) == lines[-1].total_ul and min(volumes) > 0


def _around(lines, day):  # type: ignore[no-untyped-def]
    """What a day is given: its readings, the last one before and the first one after."""
    before = [line for line in lines if line.at_ms < day[0]][-1:]
    after = [line for line in lines if line.at_ms >= day[1]][:1]
    return [*before, *(line for line in lines if day[0] <= line.at_ms < day[1]), *after]


def test_the_first_rise_of_a_day_needs_the_last_reading_of_the_day_before() -> None:
    lines, blind = read(litres((LO - HOUR, 10), (LO + MINUTE, 10), (NOON, 12)))
    assert told(lines) == [(LO + MINUTE, NOON, 2000, False)]
    assert [one[1:3] for one in blind] == [(NOON, HI)], "and the meter was not heard of again"
    lines, blind = read(litres((NOON, 12), (HI + MINUTE, 12)))
    assert lines == [] and [one[1:3] for one in blind] == [(LO, NOON)]


@pytest.mark.parametrize(
    ("start", "end", "mine", "blind"),
    [
        # Hour by hour: the hour that ends as the day starts is the day before's.
        (LO - HOUR, LO, False, []), (HI - HOUR, HI, True, []),
        # Over the edge: nobody can tell on which side the beer flowed, so that neither day is compared.
        (LO - HOUR, LO + HOUR, True, [(LO, LO + HOUR)]), (HI - HOUR, HI + HOUR, False, [(HI - HOUR, HI)]),
        (LO - HOUR, HI + HOUR, False, [(LO, HI)]),
        # A moment over the edge is no matter.
        (LO - MINUTE, LO + HOUR, True, []),
    ],
)
def test_a_span_at_the_edge_of_a_day(start: int, end: int, mine: bool, blind: list[tuple[int, int]]) -> None:
    still = [(at, 10) for at in (LO - 2 * HOUR,) if at < start] + [(start, 10), (end, 12)]
    after = [(HI + 2 * HOUR, 12)] if end < HI + 2 * HOUR else []
    lines, unsure = read(litres(*still, *after))
    assert [line.end_ms == end for line in lines] == ([True] if mine else [])
    assert [one[1:3] for one in unsure] == blind


@pytest.mark.parametrize(("end", "blind"), [(LO, []), (LO + HOUR, [(LO, LO + HOUR)]), (NOON, [])])
def test_counts_over_spans_straddle_like_rises(end: int, blind: list[tuple[int, int]]) -> None:
    start = end - HOUR if end == NOON else LO - HOUR
    [line] = read(litres((start, 10), (end, 12)), (start - HOUR, end + HOUR), resolution="interval")[0]
    assert [one[1:3] for one in straddling([line], DAY)] == blind


def test_a_meter_that_counts_pulses_waits_for_its_factor() -> None:
    lines, blind = read(pulses((LO, 10), (NOON, 10), (NOON + 5000, 2_800), (HI, 2_800)))
    assert [(line.volume_ul, line.pulses) for line in lines] == [(None, 2_790)] and blind == []


def test_a_meter_that_is_still_all_night_is_heard_all_the_same() -> None:
    """One reading in the evening and one the next day, with the same total: nothing flowed between."""
    lines, blind = read(litres((LO - HOUR, 10), (HI + HOUR, 10)))
    assert lines == [] and blind == []


totals = st.lists(st.sampled_from([0, 0, 1, 61, 473]), min_size=2, max_size=40)


@given(steps=totals, data=st.data())
def test_order_repeats_and_cuts_do_not_matter(steps: list[int], data: st.DataObject) -> None:
    """A delta cut in two by another reading is the same volume, in whatever order the rows come."""
    running = [sum(steps[: n + 1]) / 1000 for n in range(len(steps))]
    lines = litres(*beat(NOON, *running))
    expected = told(read(lines)[0])
    cut = data.draw(st.integers(0, len(lines)))
    again = data.draw(st.lists(st.sampled_from(lines), max_size=10))
    other = [*lines[cut:], *again, *lines[:cut], *lines[:cut]]
    assert told(read(other)[0]) == expected
    thinned = [line for line in lines if line in (lines[0], lines[-1]) or data.draw(st.booleans())]
    volume = sum(line.volume_ul or 0 for line in read(thinned)[0])
    assert volume == sum(ml * 1000 for *_, ml, _ in expected if ml), "fewer readings tell the same volume"


@given(st.lists(st.integers(0, 3_000), min_size=1, max_size=60), st.integers(200, 9_000))
def test_pulses_telescope_at_any_factor(steps: list[int], per_litre: int) -> None:
    """Totals are rounded, never differences: the parts sum to the whole to the last microlitre."""
    running = [17 + sum(steps[: n + 1]) for n in range(len(steps))]
    lines, _ = read(pulses((NOON - 5000, 17), *beat(NOON, *running)), per_litre=str(per_litre))  # type: ignore[arg-type]
    whole = pulses_to_ul(running[-1], Decimal(per_litre)) - pulses_to_ul(17, Decimal(per_litre))
    assert sum(line.volume_ul or 0 for line in lines) == whole


def test_a_tap_whose_meter_was_changed_has_each_ones_number() -> None:
    row = TapRow(tap="1", meter="M1", outlet="Bar", product="Amber")
    rows = [
        row.model_copy(update={"counter_modulus": Decimal(100), "to_ms": NOON}),
        row.model_copy(update={"counter_modulus": Decimal(1000), "from_ms": NOON}),
    ]
    counting = Counters(TapList(rows, VENUE), [feed()], Matching())
    early = litres((NOON - HOUR, 99), (NOON - MINUTE, 1))
    late = litres((NOON + MINUTE, 999), (NOON + HOUR, 1))
    assert [counting.rise(*pair).volume_ul for pair in (early, late)] == [2_000_000, 2_000_000]
