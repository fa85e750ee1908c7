"""What was taken back before the pour, after it, in part, by name or by likeness."""

from __future__ import annotations

import pytest

from ledger.bar import HALF, PINT, Bar, counted, lone, total
from unrung.ledger.inputs import RingLine
from unrung.ledger.voids import resolve_voids


def parts(*lines: RingLine) -> list[tuple[str, float, bool]]:
    """(ref, units, voided) of every part, in order."""
    return [(p.line.origin.ref, p.micro / 1e6, p.voided) for p in resolve_voids(lines).parts]


def test_a_negative_line_takes_back_the_line_it_names() -> None:
    bar = Bar()
    first, second = bar.ring("20:00:00", ref="a"), bar.ring("20:00:00", ref="b")
    void = bar.ring("20:05:00", units=-1, kind="void", voids="a")
    assert parts(first, second, void) == [("a", 1, True), ("b", 1, False)]
    assert resolve_voids([first, second, void]).parts[0].voided_ms == void.at_ms


def test_a_name_counts_within_its_feed_only() -> None:
    bar = Bar()
    mine = bar.ring("20:00:00", ref="7", feed="garden")
    other = bar.ring("20:01:00", ref="7", feed="bar")
    void = bar.ring("20:05:00", units=-1, kind="void", voids="7", feed="garden")
    assert parts(mine, other, void) == [("7", 1, True), ("7", 1, False)]


def test_without_a_name_the_last_like_it_on_the_check_is_taken_back() -> None:
    bar = Bar()
    lines = [
        bar.ring("20:00:00", check="1", ref="a"), bar.ring("20:01:00", check="1", ref="b"),
        bar.ring("20:02:00", check="2", ref="c"), bar.ring("20:02:00", size="Half", check="1", ref="d"),
        bar.ring("20:09:00", check="1", ref="later"),
        bar.ring("20:05:00", units=-1, kind="void", check="1"),
    ]
    assert [ref for ref, _, voided in parts(*lines) if voided] == ["b"]


def test_where_the_till_gives_no_check_the_terminal_stands_in() -> None:
    bar = Bar()
    lines = [
        bar.ring("20:00:00", terminal="T1", ref="a"), bar.ring("20:01:00", terminal="T2", ref="b"),
        bar.ring("20:05:00", terminal="T1", units=-1, kind="void"),
    ]
    assert [ref for ref, _, voided in parts(*lines) if voided] == ["a"]


def test_a_part_of_a_line_can_be_taken_back_more_than_once() -> None:
    bar = Bar()
    line = bar.ring("20:00:00", units=3, ref="a")
    one, half = (bar.ring("20:05:00", units=-units, kind="void", voids="a") for units in (1, 0.5))
    assert parts(line, one, half) == [("a", 1.5, False), ("a", 0.5, True), ("a", 1, True)]


def test_one_void_reaches_over_several_lines_and_no_further() -> None:
    bar = Bar()
    lines = [bar.ring(f"20:0{n}:00", check="1", ref=str(n)) for n in range(2)]
    void = bar.ring("20:05:00", units=-3, kind="void", check="1")
    found = resolve_voids([*lines, void])
    assert [(part.line.origin.ref, part.voided) for part in found.parts] == [("0", True), ("1", True)]
    assert found.stray == [void]


def test_a_void_written_with_a_positive_quantity_may_name_the_line_it_takes_back() -> None:
    bar = Bar()
    lines = [bar.ring("20:00:00", ref="a"), bar.ring("20:05:00", kind="void", voids="a", ref="b")]
    assert parts(*lines) == [("a", 1, True)]


def test_a_void_line_that_names_nothing_or_itself_is_the_voided_ring() -> None:
    bar = Bar()
    a, b = (bar.ring("20:00:00", kind="void", ref=ref, voids=voids) for ref, voids in (("a", ""), ("b", "b")))
    assert parts(a, b) == [("a", 1, True), ("b", 1, True)]


def test_a_negative_training_line_takes_back_training_only() -> None:
    bar = Bar()
    lines = [
        bar.ring("20:00:00", kind="training", ref="t"), bar.ring("20:01:00", ref="s"),
        bar.ring("20:05:00", units=-1, kind="training"),
    ]
    assert [ref for ref, _, voided in parts(*lines) if voided] == ["t"]


@pytest.mark.parametrize("order", [(0, 1, 2, 3), (3, 2, 1, 0), (2, 0, 3, 1)])
def test_what_is_taken_back_does_not_hang_on_the_order_of_the_rows(order: tuple[int, ...]) -> None:
    bar = Bar()
    lines = [
        bar.ring("20:00:00", cents=700, ref="a"), bar.ring("20:00:00", cents=0, ref="b"),
        bar.ring("20:00:00", units=2, ref="c"), bar.ring("20:00:00", units=-1, kind="void"),
    ]
    assert parts(*(lines[place] for place in order)) == [("b", 1, False), ("a", 1, False), ("c", 1, False),
                                                         ("c", 1, True)]


def test_a_void_before_its_pour_removes_the_ring() -> None:
    bar = Bar()
    bar.evening(24)
    bar.ring("19:00:00", kind="void", voided="19:00:20")
    bar.sale("19:02:00")
    ledger = bar.ledger()
    assert total(ledger).voided_after_pour == total(ledger).poured_not_rung == 0
    assert total(ledger).rung == 25 * PINT
    assert counted(ledger)["net_sales_minor"] == 25 * 700


@pytest.mark.parametrize("time_known", [True, False])
def test_a_void_after_its_pour_keeps_the_pair_out_of_rung(time_known: bool) -> None:
    bar = Bar()
    bar.evening(24, first="17:00:00")
    bar.sale("22:00:00", kind="void", voided="22:03:00" if time_known else None)
    ledger = bar.ledger()
    volumes = total(ledger)
    assert volumes.voided_after_pour == volumes.poured_not_rung == PINT
    assert volumes.rung == volumes.matched_portion == 24 * PINT
    assert [one.volume_ul for one in lone(ledger, "pour")] == [PINT]
    [amber] = [shown for shown in ledger.products if shown.product == "Amber"]
    assert amber.poured_not_rung_low == amber.poured_not_rung_high == PINT
    row = ledger.till[0]
    assert (row.till_units, row.voids, row.units_rung) == (25_000_000, 1_000_000, 24_000_000)
    assert counted(ledger)["net_sales_minor"] == 24 * 700


def test_no_log_entry_explains_what_the_till_says_was_poured_and_taken_back() -> None:
    bar = Bar()
    bar.evening(24, first="17:00:00")
    bar.sale("22:00:00", kind="void", voided="22:03:00")
    bar.log("22:05:00", ounces=16)
    assert total(bar.ledger()).voided_after_pour == PINT
    assert total(bar.ledger()).logged == 0


def test_two_of_three_stand_when_one_was_taken_back_after_its_pour() -> None:
    """Two voids on one line are two units of their own: each has its serve."""
    bar = Bar()
    bar.evening(24, first="17:00:00")
    for second in (0, 20, 40, 60):
        bar.pour(f"22:00:{second:02d}" if second < 60 else "22:01:00")
    bar.ring("22:01:30", units=4, cents=2800, ref="four")
    for _ in range(2):
        bar.ring("22:04:00", units=-1, kind="void", cents=-700, voids="four")
    ledger = bar.ledger()
    volumes = total(ledger)
    assert volumes.matched_portion == 26 * PINT
    assert volumes.voided_after_pour == volumes.poured_not_rung == 2 * PINT
    assert counted(ledger)["net_sales_minor"] == 26 * 700
    assert (ledger.till[0].voids, ledger.till[0].units_rung) == (2_000_000, 26_000_000)


def test_half_a_unit_taken_back_is_half_a_portion() -> None:
    bar = Bar()
    bar.evening(24, first="17:00:00")
    bar.pour("22:00:00", 8)
    bar.ring("22:00:30", units=1, ref="a")
    bar.ring("22:00:40", units=-0.5, kind="void", voids="a")
    volumes = total(bar.ledger())
    assert volumes.rung == 24 * PINT + HALF
    assert volumes.variance == volumes.poured_not_rung == volumes.voided_after_pour == 0


def test_a_line_that_takes_back_nothing_of_the_day_is_told_and_changes_nothing() -> None:
    bar = Bar()
    bar.evening(24)
    bar.ring("23:00:00", units=-1, kind="void", cents=-700, voids="of another day")
    ledger = bar.ledger()
    assert total(ledger).rung == 24 * PINT
    assert ledger.till[0].till_units == 24_000_000
    assert any("took back" in notice for notice in ledger.notices)


@pytest.mark.parametrize(("again", "unrung"), [("22:21:00", 0), ("22:41:00", PINT)])
def test_a_line_voided_and_rung_again_at_once_is_one_sale(again: str, unrung: int) -> None:
    """Else the voided line would have the serve, poured and taken back, and the other none."""
    bar = Bar()
    bar.evening(24, first="17:00:00")
    bar.pour("22:00:00")
    bar.ring("22:00:30", check="9", kind="void", voided="22:20:30")
    bar.ring(again, check="9")
    volumes = total(bar.ledger())
    assert (volumes.poured_not_rung, volumes.rung_not_poured) == (unrung, unrung)
