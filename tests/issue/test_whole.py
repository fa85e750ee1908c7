"""Whole units for a mail: rows foot, nothing strays from its floor or ceiling, totals stay near."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from issue.ledgers import volumes
from unrung.issue.whole import Derived, Whole, whole_rows, whole_sum
from unrung.ledger.results import Volumes
from unrung.settings import VenueUnit
from unrung.units import UNITS_UL

units = st.sampled_from(["us_fl_oz", "us_gal", "imp_fl_oz", "imp_pt", "ml", "l"])
STEPS = {"l": 10, "imp_pt": 10, "us_gal": 100}
"""Of the last decimal shown: tenths of a litre or a pint, hundredths of a gallon."""
FIGURES = (*Whole._fields, *Derived._fields)


def _exact(day: Volumes, name: str) -> int:
    """In microlitres."""
    if name == "compared":
        return day.poured - day.poured_not_compared - day.not_beer
    if name == "compared_rung":
        return day.rung - day.rung_not_compared
    return int(getattr(day, name))


@given(st.lists(volumes(), max_size=6), units)
def test_every_figure_of_a_row_is_its_own_floor_or_ceiling(
    days: list[Volumes], unit: VenueUnit
) -> None:
    for exact, row in zip(days, whole_rows(days, unit), strict=True):
        for name in FIGURES:
            steps = _exact(exact, name) / UNITS_UL[unit] * STEPS.get(unit, 1)
            assert abs(getattr(row, name) - steps) < 1, name


@given(volumes(), units)
def test_a_row_foots_in_its_whole_numbers(exact: Volumes, unit: VenueUnit) -> None:
    [row] = whole_rows([exact], unit)
    assert row.poured - row.rung == (
        row.variance + row.logged + row.poured_not_compared + row.not_beer - row.rung_not_compared
    )


@given(st.lists(volumes(), max_size=30))
def test_the_foot_of_a_long_table_stays_within_two_units_of_the_truth(
    days: list[Volumes],
) -> None:
    total = whole_sum(whole_rows(days, "us_fl_oz"))
    for name in FIGURES:
        exact = sum(_exact(one, name) for one in days) / UNITS_UL["us_fl_oz"]
        assert abs(getattr(total, name) - exact) <= 2, name


def test_twenty_small_leftovers_are_not_lost_from_the_total() -> None:
    small = Volumes(matched_portion=1_000_000, poured_not_rung=400)
    rows = whole_rows([small] * 20, "ml")
    assert {row.poured_not_rung for row in rows} == {0, 1}
    assert whole_sum(rows).poured_not_rung == 8


def test_the_sum_of_no_rows_is_nothing() -> None:
    assert whole_sum([]) == Whole()
