"""What is set apart as not compared: feeds that were not there, meters that stuck, taps without one."""

from __future__ import annotations

import random
from datetime import time

import pytest

from ledger.bar import DAY, HOUR, MINUTE, PINT, SECOND, TAPS, Bar, lone, ms, oz, told, total
from unrung.ledger.results import DayLedger
from unrung.settings import Pool, TapRow

GARDEN = TapRow(tap="9", outlet="Garden", product="Amber")
SILENT = "Nothing was rung at"
STUCK = "No pours of"


def notices(ledger: DayLedger, start: str) -> list[str]:
    return [text for text in ledger.notices if text.startswith(start)]


def test_a_pour_is_compared_only_where_the_till_s_export_covers_it() -> None:
    bar = Bar()
    bar.evening(24, first="12:00:00")
    bar.pour("17:00:00")
    bar.pour("19:00:00")
    bar.ring_cover[DAY] = [(bar.bounds(DAY)[0], ms("18:00:00"))]
    ledger = bar.ledger()
    assert (total(ledger).poured_not_rung, total(ledger).poured_not_compared) == (PINT, PINT)
    assert [one.at_ms for one in lone(ledger, "pour")] == [ms("17:00:00")]
    assert ledger.rings_covered_ms == 14 * HOUR


def test_a_ring_is_compared_only_where_the_meters_export_covers_it() -> None:
    bar = Bar()
    bar.evening(24, first="12:00:00")
    bar.ring("17:00:00")
    bar.ring("19:00:00")
    bar.pour_cover[DAY] = [(bar.bounds(DAY)[0], ms("18:00:00"))]
    ledger = bar.ledger()
    assert (total(ledger).rung_not_poured, total(ledger).rung_not_compared) == (PINT, PINT)
    assert total(ledger).rung == 26 * PINT


def test_pairs_outside_coverage_are_pairs_all_the_same() -> None:
    bar = Bar()
    bar.evening(24)
    bar.ring_cover[DAY] = bar.pour_cover[DAY] = []
    assert told(total(bar.ledger())) == {"matched_portion": 24 * PINT}


def test_closed_hours_are_covered_by_the_file_that_spans_them() -> None:
    """Ten pints after hours: no ring was to be expected, and none is waited for."""
    bar = Bar(opens=time(11), closes=time(2))
    bar.evening(60, first="18:00:00")
    for minute in range(0, 60, 2):
        bar.pour(ms("06-11 02:20:00") + minute * MINUTE)
    assert total(bar.ledger()).poured_not_rung == 30 * PINT


def outage(locale: str = "en_US", **sale: object) -> Bar:
    """Sales every four minutes from 16:00 on; from 20:00 on nothing is rung."""
    bar = Bar(taps=(*TAPS, GARDEN), locale=locale)
    bar.evening(60, first="16:00:00", **sale)  # type: ignore[arg-type]
    for number in range(40):
        bar.pour(ms("20:00:00") + number * 4 * MINUTE)
    return bar


def test_a_till_that_falls_silent_while_beer_flows_is_not_compared_and_told() -> None:
    ledger = outage().ledger()
    assert told(total(ledger)) == {"matched_portion": 60 * PINT, "poured_not_compared": 40 * PINT}
    [text] = notices(ledger, SILENT)
    assert "Bar" in text and "7:56 PM" in text
    assert lone(ledger, "pour") == []


@pytest.mark.parametrize(("locale", "span"), [
    ("en_US", "from 7:56 PM to 4:00 AM"), ("en_GB", "from 19:56 to 04:00"),
    ("de_DE", "from 19:56 to 04:00"),
])  # fmt: skip
def test_notices_write_the_clock_as_the_venue_s_locale_does(locale: str, span: str) -> None:
    [text] = notices(outage(locale).ledger(), SILENT)
    assert span in text


def test_burgers_show_that_the_till_is_there() -> None:
    bar = outage()
    for number in range(40):
        bar.ring(ms("20:00:00") + number * 4 * MINUTE, "Burger", "")
    assert total(bar.ledger()).poured_not_rung == 40 * PINT


def test_one_outlet_s_till_may_be_silent_while_another_s_goes_on() -> None:
    bar = outage()
    for number in range(100):
        bar.sale(ms("16:00:00") + number * 4 * MINUTE, tap="9", item="Amber", outlet="Garden")
    ledger = bar.ledger()
    assert told(total(ledger, outlet="Garden")) == {"matched_portion": 100 * PINT}
    assert total(ledger, outlet="Bar").poured_not_compared == 40 * PINT


POOLED = (*TAPS, TapRow(tap="9", meter="M9", outlet="Garden", product="Amber"))


def pooled() -> Bar:
    """Two outlets of a pool; the garden pours and rings all evening."""
    bar = Bar(taps=POOLED, pools=[Pool(name="House", outlets=("Bar", "Garden"))])
    for number in range(100):
        bar.sale(ms("16:00:00") + number * 4 * MINUTE, tap="9", item="Amber", outlet="Garden")
    return bar


def test_an_outlet_of_a_pool_may_be_silent_while_the_other_goes_on() -> None:
    bar = pooled()
    for number in range(100):
        at = ms("16:01:30") + number * 4 * MINUTE
        if number < 60:
            bar.sale(at)
        else:
            bar.pour(at)
    ledger = bar.ledger()
    found = total(ledger, outlet="House")
    assert found.poured_not_compared > 35 * PINT and found.poured_not_rung < 5 * PINT
    assert len(notices(ledger, SILENT)) == 1


def test_while_an_outlet_is_silent_nothing_of_its_pool_without_a_ring_is_compared() -> None:
    """A guest of the bar may have been served from the garden's tap, and rung at the silent till."""
    bar = pooled()
    for number in range(100):
        at = ms("16:01:30") + number * 4 * MINUTE
        if 40 <= number < 60:
            bar.pour(at)
        else:
            bar.sale(at)
    bar.pour("19:32:30", tap="9")
    bar.pour("22:31:00", tap="9")
    assert [(one.tap, one.at_ms) for one in lone(bar.ledger(), "pour") if one.tap == "9"] == [
        ("9", ms("22:31:00"))]


def test_an_outlet_whose_beer_its_pool_rings_is_not_silent() -> None:
    bar = pooled()
    for number in range(100):
        at = ms("16:01:30") + number * 4 * MINUTE
        bar.sale(at, outlet="Bar" if number < 60 else "Garden")
    ledger = bar.ledger()
    assert told(total(ledger, outlet="House")) == {"matched_portion": 200 * PINT}
    assert notices(ledger, SILENT) == []


def test_one_terminal_that_closes_early_is_no_silence() -> None:
    """The other terminal of the bar goes on; what it does not ring was not rung."""
    bar = Bar()
    for number in range(100):
        first = number % 2 == 0
        if first and number >= 50:
            bar.pour(ms("16:00:00") + number * 4 * MINUTE)
        else:
            bar.sale(ms("16:00:00") + number * 4 * MINUTE, terminal="T1" if first else "T2")
    ledger = bar.ledger()
    assert total(ledger).poured_not_rung == 25 * PINT
    assert notices(ledger, SILENT) == []


def test_a_meter_that_sticks_is_no_quiet_beer() -> None:
    bar = Bar()
    bar.evening(60, first="16:00:00")
    bar.evening(60, first="16:01:00", tap="2")
    for number in range(40):
        bar.ring(ms("20:00:30") + number * 4 * MINUTE)
        bar.sale(ms("20:01:00") + number * 4 * MINUTE, tap="2")
    ledger = bar.ledger()
    assert told(total(ledger, "Amber")) == {"matched_portion": 60 * PINT, "rung_not_compared": 40 * PINT}
    assert told(total(ledger, "Stout")) == {"matched_portion": 100 * PINT}
    [text] = notices(ledger, STUCK)
    assert "Amber" in text and "check the meter first" in text


def test_a_meter_that_never_spoke_all_day_is_told_too() -> None:
    bar = Bar()
    for number in range(90):
        bar.ring(ms("16:00:30") + number * 4 * MINUTE)
        bar.sale(ms("16:01:00") + number * 4 * MINUTE, tap="2")
    assert told(total(bar.ledger(), "Amber")) == {"rung_not_compared": 90 * PINT}


def test_a_beer_that_runs_through_another_line_is_no_stuck_meter() -> None:
    """From 20:00 on Amber is rung and the line of the stout pours what no ring asks for."""
    bar = Bar()
    bar.evening(60, first="16:00:00")
    bar.evening(60, first="16:01:00", tap="2")
    for number in range(40):
        bar.pour(ms("20:00:00") + number * 4 * MINUTE, tap="2")
        bar.ring(ms("20:00:30") + number * 4 * MINUTE)
    ledger = bar.ledger()
    assert total(ledger, "Amber").rung_not_poured == 40 * PINT
    assert total(ledger, "Stout").poured_not_rung == 40 * PINT
    assert notices(ledger, STUCK) == []


def test_a_beer_that_also_has_an_unmetered_tap_compares_only_its_pairs() -> None:
    bare = TapRow(tap="3", outlet="Bar", product="Amber", metered=False)
    bar = Bar(taps=(*TAPS, bare))
    bar.evening(24)
    bar.ring("16:00:00")
    bar.pour("22:00:00")
    ledger = bar.ledger()
    assert told(total(ledger)) == {
        "matched_portion": 24 * PINT, "rung_not_compared": PINT, "poured_not_compared": PINT}
    [row] = [row for row in ledger.products if row.product == "Amber"]
    assert (row.poured_not_rung_low, row.poured_not_rung_high) == (0, 0)
    assert ledger.lone == ()


def test_the_same_beer_in_another_outlet_is_compared() -> None:
    bare = TapRow(tap="3", outlet="Garden", product="Amber", metered=False)
    bar = Bar(taps=(*TAPS, bare))
    bar.evening(24)
    bar.pour("22:00:00")
    assert total(bar.ledger()).poured_not_rung == PINT


def test_a_missing_export_is_not_told_as_a_silence_as_well() -> None:
    bar = outage()
    bar.ring_cover[DAY] = [(bar.bounds(DAY)[0], ms("20:00:00"))]
    ledger = bar.ledger()
    assert total(ledger).poured_not_compared == 40 * PINT
    assert notices(ledger, SILENT) == []


def test_a_faucet_that_drips_all_night_does_not_make_the_till_look_silent() -> None:
    bar = Bar()
    bar.evening(60, first="16:00:00")
    for number in range(90):
        bar.pour(ms("23:00:00") + number * 2 * MINUTE, 0.3, seconds=2)
    assert total(bar.ledger()).poured_not_rung == 90 * oz(0.3)


@pytest.mark.parametrize("hours_ahead", [1, -1])
def test_a_till_clock_an_hour_off_makes_no_silence(hours_ahead: int) -> None:
    """Without its correction an hour of pours would stand beside a silent till."""
    bar, chance = Bar(), random.Random(5)
    at = ms("16:00:00")
    for _ in range(200):
        at += round(chance.uniform(40, 140)) * SECOND
        bar.sale(at, after=30 + hours_ahead * 3600)
    ledger = bar.ledger()
    assert told(total(ledger)) == {"matched_portion": 200 * PINT}
    assert notices(ledger, SILENT) + notices(ledger, STUCK) == []
    assert ledger.rings_covered_ms == ledger.pours_covered_ms == 24 * HOUR
