"""Spans, and silences that are a feed's own."""

from __future__ import annotations

from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.bar import HOUR, MINUTE
from unrung.ledger.coverage import covers, intersect, length_ms, silences, subtract, union

spans = st.lists(st.tuples(st.integers(0, 60), st.integers(0, 60)), max_size=6)


def moments(some: list[tuple[int, int]]) -> set[int]:
    """The whole moments that lie in half-open spans."""
    return {at for lo, hi in some for at in range(lo, hi)}


@given(spans, spans)
def test_spans_are_sets_of_moments(one: list[tuple[int, int]], other: list[tuple[int, int]]) -> None:
    a, b = union(one), union(other)
    assert moments(a) == moments(one)
    assert moments(intersect(a, b)) == moments(one) & moments(other)
    assert moments(subtract(a, b)) == moments(one) - moments(other)
    assert {at for at in range(61) if covers(a, at)} == moments(one)
    assert length_ms(a, (10, 30)) == len(moments(one) & set(range(10, 30)))


def minutes(*parts: range) -> list[int]:
    return [minute * MINUTE for part in parts for minute in part]


def test_a_side_that_stops_while_the_other_goes_on_is_silent_from_its_last_row() -> None:
    """40 rows beside 40, then none beside 60: one chance in 10^13."""
    own, other = minutes(range(0, 120, 3)), minutes(range(0, 300, 3))
    assert silences(own, other, (0, 6 * HOUR)) == [(117 * MINUTE + 1, 6 * HOUR)]
    assert silences(other, own, (0, 6 * HOUR)) == []


def test_a_pause_in_the_middle_is_a_silence_between_two_rows() -> None:
    own = minutes(range(0, 60, 2), range(180, 240, 2))
    assert silences(own, minutes(range(0, 240, 2)), (0, 4 * HOUR)) == [(58 * MINUTE + 1, 180 * MINUTE)]


@pytest.mark.parametrize(
    ("own", "other", "why"),
    [
        (range(0, 120, 3), range(0, 120, 3), "both stop"),
        (range(0, 120, 3), range(0, 180, 5), "too few rows in the gap"),
        (range(0, 240, 24), range(0, 240, 2), "that is its rhythm"),
        (range(0, 120, 3), (), "the other side is empty"),
        ((*range(0, 120, 3), *range(145, 240, 3)), range(0, 240), "shorter than half an hour"),
    ],
)
def test_what_is_no_silence(own: range, other: range, why: str) -> None:
    assert silences(minutes(own), minutes(other), (0, 4 * HOUR)) == [], why


@pytest.mark.parametrize(("rows", "silent"), [(40, False), (90, True)])
def test_a_side_that_never_spoke_is_silent_all_day_once_the_other_is_busy_enough(
    rows: int, silent: bool
) -> None:
    other = minutes(range(60, 60 + 2 * rows, 2))
    assert bool(silences([], other, (0, 10 * HOUR))) == silent


def test_rows_of_the_other_side_at_the_very_edge_tell_nothing() -> None:
    """A round of thirty rung a minute before its first pour."""
    own = [*minutes(range(0, 60, 2)), *minutes(range(120, 180, 2))]
    other = sorted([*own, *[119 * MINUTE] * 30])
    assert silences(own, other, (0, 3 * HOUR)) == []


def test_chance_alone_leaves_such_a_silence_once_in_five_hundred_million() -> None:
    """Exactly: of n own rows at random places among m + b of the other side, none among the b. The
    binomials count the draws without a row in the gap; the bound of the code is no smaller."""
    n, m, b = 30, 40, 45
    exact = comb(m, n) / comb(m + b, n)
    assert exact < (m / (m + b)) ** n < 2e-9
    own = minutes(range(0, 120, 4))
    other = minutes(range(0, 120, 3), range(130, 220, 2))
    assert len(own) == n and len(other) == m + b
    assert silences(own, other, (0, 4 * HOUR)) == [(116 * MINUTE + 1, 4 * HOUR)]


def test_a_till_that_writes_at_every_hour_is_silent_only_for_longer() -> None:
    """By the minute it would be told silent in every hour; a lost evening still is a silence."""
    hours = [at for number in range(10) for at in [number * HOUR] * 30]
    pours = minutes(range(1, 600, 2))
    assert silences(hours, pours, (0, 10 * HOUR))
    assert silences(hours, pours, (0, 10 * HOUR), early_ms=80 * MINUTE) == []
    broken = [at for at in hours if at <= 4 * HOUR]
    assert silences(broken, pours, (0, 10 * HOUR), early_ms=80 * MINUTE) == [(4 * HOUR + 1, 10 * HOUR)]
    assert silences(pours, hours, (0, 10 * HOUR), early_ms=80 * MINUTE) == []
