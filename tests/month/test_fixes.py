"""fixes.csv, and the change it marks, held against scipy's own two-sample interval."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from unrung.config_folder import load
from unrung.errors import ConfigError
from unrung.ledger.facts import DayFacts, ServeFact
from unrung.ledger.fixes import daily_differences, effect
from unrung.settings import Fix
from venue_folder import make_venue

DAY = date(2026, 11, 14)
FIX = Fix(day=DAY, what="portion on tap 2 set to 17.0", tap="2")
values = st.lists(st.floats(-30_000, 60_000), min_size=3, max_size=20)


def quantile(probability: float, freedom: int) -> float:
    return float(stats.t.ppf(probability, freedom))


def series(before: list[float], after: list[float]) -> list[tuple[date, float]]:
    early = [(DAY - timedelta(days=n), value) for n, value in enumerate(before, 1)]
    return [*early, (DAY, 9e9), *((DAY + timedelta(days=n), value) for n, value in enumerate(after, 1))]


@given(values, values)
def test_the_interval_is_scipys(before: list[float], after: list[float]) -> None:
    """scipy.stats.ttest_ind with equal variances: an independent implementation."""
    found = effect(FIX, series(before, after), quantile)
    assert found is not None
    theirs = stats.ttest_ind(after, before).confidence_interval(0.95)
    if theirs.high > theirs.low:
        assert (found.low_ul, found.high_ul) == pytest.approx((theirs.low, theirs.high), abs=0.01, rel=1e-9)


def test_a_change_that_stands_clear_and_one_that_does_not() -> None:
    clear = effect(FIX, series([30_000, 31_000, 29_500], [1_000, -500, 400, 0]), quantile)
    assert clear is not None and clear.clear and clear.change_ul == pytest.approx(-29_941.7, abs=0.1)
    vague = effect(FIX, series([30_000, -31_000, 9_500], [1_000, -500, 400]), quantile)
    assert vague is not None and not vague.clear
    assert effect(FIX, series([1.0, 2.0], [1.0, 2.0, 3.0]), quantile) is None


def serve(tap: str, difference: int, **more: object) -> ServeFact:
    return ServeFact("Bar", "Amber", tap, 0, 1, 473_176 + difference, (), **{"portion_ul": 473_176, **more})


def test_a_days_mean_is_of_its_paired_serves_at_the_fixes_tap() -> None:
    good = [serve("2", 1_000 * n) for n in range(6)]
    others = [serve("3", 99_000)] * 9 + [serve("2", 88_000, other_size=True), serve("2", 7, portion_ul=0)]
    few = DayFacts(DAY + timedelta(days=1), (0, 1), tuple(good[:4]))
    days = [DayFacts(DAY, (0, 1), tuple(good + others)), few]
    assert daily_differences(days, FIX) == [(DAY, 2_500)]


def test_the_table_is_read_where_it_is_there(tmp_path: Path) -> None:
    make_venue(tmp_path / "bar")
    assert load(tmp_path / "bar").fixes == ()
    table = tmp_path / "bar" / "fixes.csv"
    table.write_text("date,tap,product,what\n2026-11-14,2,,portion on tap 2 set to 17.0\n", "utf-8")
    assert load(tmp_path / "bar").fixes == (FIX,)
    table.write_text("date,tap,product,what\n14.11.2026,2,,x\n2026-11-14,,Ambr,y\n2026-11-14,2,,\n", "utf-8")
    with pytest.raises(ConfigError) as error:
        load(tmp_path / "bar")
    assert [text.partition(": ")[0] for text in error.value.problems] == [
        "fixes.csv, line 2", "fixes.csv, line 4", "fixes.csv, line 3"]
    assert "did you mean 'Amber'" in error.value.problems[2]
