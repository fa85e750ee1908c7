"""Pairs, windows and day edges: where a volume lands."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from ledger.bar import DAY, HALF, HOUR, MINUTE, PINT, PITCHER, Bar, counted, lone, menu, ms, oz, told, total
from unrung.business_day import local_iso
from unrung.ledger.results import DayLedger


def test_a_vessel_an_ounce_larger_than_set_shows_as_over_portion_and_as_nothing_else() -> None:
    """Common practice, no source: 17 oz to the rim, set as 16; a hundred serves are a hundred ounces."""
    bar = Bar(menu=menu(("Amber", "Amber", 16), size="Pint"))
    bar.evening(100, first="12:00:00", ounces=17)
    volumes = total(bar.ledger())
    assert volumes.over_portion == 100 * (oz(17) - PINT)
    assert abs(volumes.over_portion - oz(100)) <= 100
    assert told(volumes) == {"matched_portion": 100 * PINT, "over_portion": volumes.over_portion}
    assert volumes.variance == volumes.over_portion


@pytest.mark.parametrize(
    ("poured", "component", "difference"),
    [(17, "over_portion", 1), (15, "under_portion", -1), (8, "size_difference", -8),
     (9, "size_difference", -7), (12.1, "under_portion", -3.9), (11.9, "size_difference", -4.1)],
)
def test_the_difference_of_a_pair_goes_to_the_portion_or_to_the_size(
    poured: float, component: str, difference: float
) -> None:
    """Halves are on the menu: 12 oz is as far from one as from the other, and stays a pint."""
    bar = Bar()
    bar.evening(48, first="12:00:00")
    bar.sale("22:00:00", poured)
    volumes = total(bar.ledger())
    assert volumes.matched_portion == 49 * PINT
    assert volumes.portion_difference == oz(poured) - PINT
    assert abs(volumes.portion_difference - oz(difference)) <= 1
    assert told(volumes).keys() == {"matched_portion", component}


def test_a_pitcher_in_two_goes_and_a_pint_with_its_top_up_are_one_serve_each() -> None:
    bar = Bar(menu=menu(("Amber", "Amber", 16), ("Pitcher", "Amber", 60)))
    bar.evening(48, first="12:00:00", size="")
    for end, ounces in (("21:00:00", 40), ("21:00:25", 20)):
        bar.pour(end, ounces, seconds=ounces / 2)
    bar.ring("21:01:00", "Pitcher", "", cents=2400)
    for end, ounces in (("22:00:00", 13), ("22:00:10", 3)):
        bar.pour(end, ounces, seconds=ounces / 2)
    bar.ring("22:00:40", size="")
    ledger = bar.ledger()
    assert total(ledger).matched_portion == 49 * PINT + PITCHER
    assert abs(total(ledger).variance) <= 2  # each part was rounded to a microlitre
    assert counted(ledger)["serves"] == 50


def windows_of(ledger: DayLedger) -> list[tuple[str, int]]:
    return [(local_iso(leaf.window_start_ms, "America/New_York")[11:16], leaf.window_minutes)
            for leaf in ledger.leaves]


@pytest.mark.parametrize(
    ("minutes", "expected"),
    [
        (60, [("04:00", 60), ("19:00", 60), ("03:00", 60)]),
        (1440, [("04:00", 1440)]),
        (50, [("04:00", 50), ("19:00", 50), ("03:20", 40)]),
        (420, [("04:00", 420), ("18:00", 420), ("01:00", 180)]),
    ],
)
def test_windows_count_from_the_day_s_start_and_the_last_may_be_shorter(
    minutes: int, expected: list[tuple[str, int]]
) -> None:
    bar = Bar(files={"window_minutes": minutes})
    for end in ("04:00:00", "19:00:00", "19:49:59", "06-11 03:59:59"):
        bar.pour(end)
    assert windows_of(bar.ledger()) == expected


def test_a_pair_belongs_to_the_window_in_which_its_pour_ended() -> None:
    bar = Bar()
    bar.evening(24, first="14:00:00")
    bar.sale("20:59:50")
    late = [leaf for leaf in bar.ledger().leaves if leaf.window_start_ms >= ms("20:00:00")]
    assert [(leaf.window_start_ms, told(leaf.volumes)) for leaf in late] == [
        (ms("20:00:00"), {"matched_portion": PINT})]
    assert late[0].counts.units_rung_micro == 1_000_000


@pytest.mark.parametrize(("day", "hours"), [("2025-11-01", 25), ("2025-03-08", 23), ("2025-06-10", 24)])
def test_days_of_23_and_25_hours_hold_all_their_hours(day: str, hours: int) -> None:
    """New York, IANA tzdb: clocks went forward on 9 March 2025 and back on 2 November."""
    bar, when = Bar(), date.fromisoformat(day)
    low, high = bar.bounds(when)
    for at in range(low, high, HOUR):
        bar.pour(at + 30 * MINUTE)
    ledger = bar.ledger(when)
    assert (high - low, len(ledger.leaves)) == (hours * HOUR, hours)
    assert ledger.rings_covered_ms == hours * HOUR
    assert total(ledger).poured == hours * PINT
    assert {leaf.window_minutes for leaf in ledger.leaves} == {60}


def edge(after: int = 30, matching: dict[str, Any] | None = None, **ring: Any) -> Bar:
    """Two evenings, and a pour ten seconds before the day's edge at 04:00."""
    bar = Bar(matching=matching)
    bar.evening(48, first="20:00:00")
    bar.evening(48, first="06-11 20:00:00")
    bar.sale("06-11 03:59:50", after=after, **ring)
    return bar


def test_a_late_ring_goes_with_its_pour_to_the_day_before() -> None:
    bar, second = edge(), DAY + timedelta(days=1)
    first, next_day = bar.ledger(), bar.ledger(second)
    assert told(total(first)) == {"matched_portion": 49 * PINT}
    assert told(total(next_day)) == {"matched_portion": 48 * PINT}
    assert (first.till[0].carried_in, first.till[0].units_rung) == (1_000_000, 49_000_000)
    assert (next_day.till[0].carried_out, next_day.till[0].till_units) == (1_000_000, 49_000_000)
    assert counted(first)["net_sales_minor"] == 49 * 700
    assert counted(next_day)["net_sales_minor"] == 48 * 700


def test_a_portion_of_a_flight_may_be_carried_alone_and_the_till_still_foots() -> None:
    bar = Bar()
    bar.evening(48, first="20:00:00")
    bar.evening(48, first="06-11 20:00:00")
    bar.pour("06-11 03:59:40", 8, tap="2")
    bar.pour("06-11 04:00:05", 8)
    bar.ring("06-11 04:00:20", "Black and Amber", "", cents=751)
    first, second = bar.ledger(), bar.ledger(DAY + timedelta(days=1))
    assert total(first, "Stout").matched_portion == HALF
    assert first.till[0].carried_in == second.till[0].carried_out == 500_000
    assert counted(first)["net_sales_minor"] + counted(second)["net_sales_minor"] == 96 * 700 + 751


@pytest.mark.parametrize(
    ("rung", "day"), [("06-11 03:59:58", 0), ("06-11 04:00:10", 0), ("06-11 04:01:00", 1)]
)
def test_a_lone_ring_belongs_to_its_time_corrected_by_the_learnt_clock(rung: str, day: int) -> None:
    """Rings trail their pours by half a minute here: that is the offset that is taken off."""
    bar = Bar()
    bar.evening(48, first="20:00:00")
    bar.evening(48, first="06-11 12:00:00")
    bar.ring(rung)
    ledgers = [bar.ledger(DAY + timedelta(days=n)) for n in (0, 1)]
    assert [total(ledger).rung_not_poured for ledger in ledgers] == [PINT * (n == day) for n in (0, 1)]
    [one] = lone(ledgers[day], "ring")
    low, high = bar.bounds(DAY + timedelta(days=day))
    assert low <= one.at_ms < high
    assert abs(one.at_ms - (ms(rung) - 30_000)) < 5_000
    assert ledgers[0].till[0].carried_in == (1_000_000 if day == 0 and rung >= "06-11 04" else 0)


def test_a_ring_of_an_outlet_that_one_of_the_days_does_not_know_is_lost_in_neither() -> None:
    bar = edge(outlet="Kiosk", matching={"clock_offset_seconds": 30})
    rung = [total(bar.ledger(DAY + timedelta(days=n)), outlet="Kiosk").rung for n in (-1, 0, 1, 2)]
    assert rung == [0, PINT, 0, 0]


def test_lists_say_where_a_row_came_from() -> None:
    bar = Bar()
    bar.evening(24)
    pour, ring = bar.pour("22:00:00", ref="p-77"), bar.ring("16:00:00", ref="r-9")
    ledger = bar.ledger()
    rows = {(one.kind, one.source_feed, one.source_file, one.source_line, one.source_id, one.tap)
            for one in ledger.lone}
    assert rows == {("pour", "meter", "export.csv", pour.origin.line, "p-77", "1"),
                    ("ring", "till", "export.csv", ring.origin.line, "r-9", "")}


def test_a_day_that_a_feed_does_not_cover_is_incomplete() -> None:
    from unrung.ledger.day import compute_day
    from unrung.ledger.material import make_material

    bar = Bar()
    inputs = bar.inputs()
    inputs.missing.append("no sales from 'till' for Tue, Jun 10")
    ledger = compute_day(None, make_material(inputs, bar.settings), None, bar.settings, {})
    assert (ledger.status, ledger.missing) == ("incomplete", tuple(inputs.missing))


def test_a_till_that_tells_when_checks_were_closed_says_that_only_totals_can_be_told() -> None:
    bar = Bar(matching={"window_after_minutes": 300})
    bar.evening(60, first="17:00:00")
    ledger = bar.ledger()
    assert any(text.startswith("At Bar only totals can be told") for text in ledger.notices)
    assert not any("only totals" in text for text in Bar().ledger().notices)
    assert total(ledger).rung == 60 * PINT
