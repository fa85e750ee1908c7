"""Largest remainders: every value its floor or ceiling, and the list foots."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from unrung.issue.foot import foot

fractions = st.fractions(-1000, 1000, max_denominator=997)


@given(st.lists(fractions), st.integers(0, 4))
def test_each_value_becomes_its_floor_or_ceiling_and_the_list_its_exact_sum_rounded_half_to_even(
    values: list[Fraction], places: int
) -> None:
    shown = [Fraction(one) for one in foot(values, places)]
    assert sum(shown, Fraction()) == round(sum(values, Fraction()), places)
    for value, its in zip(values, shown, strict=True):
        assert abs(its - value) * 10**places < 1


@given(st.lists(fractions, min_size=1), st.integers(-5000, 5000))
def test_any_total_is_met_and_a_zero_stays_zero(values: list[Fraction], total: int) -> None:
    if not any(values):
        values = [*values, Fraction(1)]
    shown = foot([*values, Fraction(0)], 0, Decimal(total))
    assert sum(shown) == total
    assert all(cell == 0 for value, cell in zip(values, shown, strict=False) if not value)
    assert shown[-1] == 0


def test_seats_are_shared_out_as_in_the_textbook_example_of_hamiltons_method() -> None:
    """Populations 21,878 / 9,713 / 4,167 / 3,252 / 1,065 (Balinski and Young, Fair Representation;
    here shares of 26 seats by hand: 14.19, 6.30, 2.70, 2.11, 0.69)."""
    people = [21_878, 9_713, 4_167, 3_252, 1_065]
    shares = [Fraction(26 * one, sum(people)) for one in people]
    assert foot(shares, 0) == [14, 6, 3, 2, 1]


def test_ties_go_to_the_earlier_value() -> None:
    assert foot([Fraction(1, 2)] * 4, 0) == [1, 1, 0, 0]


def test_nothing_cannot_be_brought_to_something() -> None:
    assert foot([], 0) == []
    with pytest.raises(ValueError, match="every value is 0"):
        foot([Fraction(0)], 0, Decimal(1))
