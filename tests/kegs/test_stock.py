"""Counts, and what was used between two of them."""

from __future__ import annotations

import pytest

from kegs.cellar import HOUR, LITRE, START, events, line, litres, settings, span
from unrung.ledger.counts import counts_of
from unrung.ledger.kegs import Meters, keg_rows
from unrung.ledger.stock import StockRow, stock_rows

PLACE = ("Bar", "Amber")
BOUNDS = (START, START + 100 * HOUR)


def used(opening: int, purchases: int, closing: int) -> int:
    return StockRow("", "", opening, purchases, closing_ul=closing).used_ul


def test_textbook_examples_of_used_stock() -> None:
    """BC Cook Articulation Committee, Basic Kitchen and Food Service Management (BCcampus, CC BY 4.0),
    Monthly Food Costs, Example 25; and Fundamental Techniques of Classic Cuisine."""
    assert used(10_000, 7_500, 9_000) == 8_500
    assert used(3_000, 8_000, 2_000) == 9_000


@pytest.mark.parametrize(("units", "more", "litres_there", "bound_l"), [
    (3, {}, 150, 0.433),  # three kegs of 50 L, 0.25 L each (OIML R 138), as squares
    (2.4, {}, 120, 2.525),  # tenths: half a tenth of a keg
    (2, {"part_ul": 18 * LITRE}, 118, 1.061),  # a part as written: 2 % of a keg
    (0, {"gross_g": 43_730, "tare_g": 13_430}, 30, 0.2),  # 30.3 kg of beer of 1.010 kg/L
    (1, {"gross_g": 43_730}, 50, 0.25),  # nothing can be told without the shell's weight
])
def test_kegs_and_parts_of_kegs_are_counted(
    units: float, more: dict[str, int], litres_there: float, bound_l: float
) -> None:
    (count,) = counts_of(events(line(0, "count", product="Amber", units=units, **more)))[PLACE]
    assert litres(count.volume_ul) == pytest.approx(litres_there)
    assert litres(count.within_ul) == pytest.approx(bound_l, abs=0.001)
    assert count.has_part == (count.part_ul > 0)


def test_rows_of_one_hour_are_one_count_and_a_keg_counts_once() -> None:
    found = counts_of(events(
        line(0, "count", product="Amber", units=2), line(0.5, "count", product="Amber", units=0, keg="K7",
                                                         part_ul=9 * LITRE),
        line(0.6, "count", product="Amber", units=0, keg="K7", part_ul=8 * LITRE),
        line(9, "count", product="Amber", units=1)))
    assert [litres(count.volume_ul) for count in found[PLACE]] == [108, 50]


def rows(lines: list, drawn: dict | None = None, spans: list | None = None, flow: int | None = 0,
         opening: dict | None = None) -> dict[tuple[str, str], StockRow]:
    told = events(*lines)
    meters = Meters(spans or [])
    kegs = keg_rows(told, meters, BOUNDS[1] + 50 * HOUR, settings())
    made = stock_rows(
        told, BOUNDS, kegs, meters, drawn or {}, lambda place, lo, hi: flow, settings(), opening)
    return {(row.outlet, row.product): row for row in made}


def count(hour: float, units: float, part: float | None = 0.0, outlet: str = "Bar") -> object:
    more = {} if part is None else {"part_ul": round(part * LITRE)}
    return line(hour, "count", product="Amber", outlet=outlet, units=units, **more)


def test_everything_that_moves_is_in_the_formula() -> None:
    row = rows([
        count(0, 4, 10), line(1, "delivery", product="Amber", units=3),
        line(2, "transfer", product="Amber", outlet="Bar", to_outlet="Kiosk", units=1),
        line(3, "return", product="Amber", units=1), line(4, "write_off", product="Amber", part_ul=5 * LITRE,
                                                          units=0),
        line(5, "transfer", product="Amber", outlet="Kiosk", to_outlet="Bar", units=0, part_ul=20 * LITRE),
        count(99, 2, 15)], flow=0)
    bar, kiosk = row[PLACE], row["Kiosk", "Amber"]
    told = (bar.opening_ul, bar.delivered_ul, bar.transferred_in_ul, bar.transferred_out_ul,
            bar.returned_ul, bar.written_off_ul, bar.closing_ul)
    assert [litres(volume) for volume in told] == [210, 150, 20, 50, 50, 5, 115]
    assert litres(bar.used_ul) == 160 and bar.counted
    assert (litres(kiosk.transferred_in_ul), litres(kiosk.transferred_out_ul)) == (50, 20)
    assert kiosk.opening_ul is None


def test_a_count_is_rolled_to_the_end_by_what_was_poured_and_delivered() -> None:
    """Counted five hours early and two late: 7 L poured in each gap, one keg delivered in the first."""
    row = rows([
        line(-5, "count", product="Amber", units=4, part_ul=0), line(-2, "delivery", product="Amber"),
        count(102, 3)], flow=7 * LITRE)[PLACE]
    assert (litres(row.opening_ul), litres(row.closing_ul)) == (200 + 50 - 7, 150 + 7)
    assert row.within_ul is not None and litres(row.within_ul) > 0.5


def test_the_nearest_count_stands_and_one_too_far_away_does_not() -> None:
    row = rows([count(0, 4), count(45, 1), count(98, 2), count(103, 9)])[PLACE]
    assert (litres(row.opening_ul), litres(row.closing_ul)) == (200, 100)
    assert rows([count(0, 4), count(45, 1)])[PLACE].closing_ul is None


def test_without_the_books_of_the_time_between_a_count_cannot_be_rolled() -> None:
    assert rows([count(0, 4), count(102, 3)], flow=None)[PLACE].closing_ul is None


def test_without_counts_use_is_what_was_drawn() -> None:
    row = rows([line(1, "delivery", product="Amber", units=3)], drawn={PLACE: 90 * LITRE})[PLACE]
    assert (row.counted, litres(row.used_ul), litres(row.book_closing_ul)) == (False, 90, 60)


def test_a_closed_periods_closing_stock_opens_the_next() -> None:
    row = rows([count(0, 4), count(99, 2)], opening={PLACE: 190 * LITRE})[PLACE]
    assert (litres(row.opening_ul), litres(row.used_ul)) == (190, 90)


def test_full_kegs_alone_are_completed_by_what_the_meters_left_on_the_lines() -> None:
    """Opening: the keg on the line gives 12 L more before it blows. Closing: the next one has given 30."""
    row = rows(
        [count(0, 3, None), line(10, "off", tap="1"), line(10.1, "on", tap="1"), count(100, 2, None)],
        spans=[span("M1", 0, 10, 12), span("M1", 10.1, 100, 30)])[PLACE]
    assert (litres(row.opening_ul), litres(row.closing_ul)) == (162, 120)
    assert litres(row.used_ul) == 42  # 12 + 30: all that ran


def test_a_keg_of_which_nothing_is_known_widens_the_bound_by_a_whole_one() -> None:
    row = rows([count(0, 3, None), line(-9, "on", tap="9"), count(100, 3, None)])[PLACE]
    assert row.within_ul is not None and litres(row.within_ul) > 50
