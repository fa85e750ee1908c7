"""The tick over a jump of the clock, by what the scheduler's library itself makes of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from apscheduler.schedulers.background import BackgroundScheduler

from unrung.service.ticking import Every, is_far

BEFORE = datetime(2001, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize("jump", [timedelta(seconds=31), timedelta(hours=9), timedelta(days=366 * 98)])
def test_a_clock_that_went_ahead_owes_one_tick_whatever_the_span(jump: timedelta) -> None:
    """Counted from the last tick it would owe 103 million, and hold the scheduler for hours."""
    job = BackgroundScheduler(timezone="UTC").add_job(print, Every(30.0), next_run_time=BEFORE)
    job._modify(next_run_time=BEFORE)
    assert job._get_run_times(BEFORE + jump) == [BEFORE]


def test_ticks_follow_each_other_by_the_pause() -> None:
    assert Every(30.0).get_next_fire_time(BEFORE, BEFORE) == BEFORE + timedelta(seconds=30)


def test_a_tick_set_by_a_clock_that_was_moved_back_meanwhile_is_seen() -> None:
    now = datetime(2025, 6, 11, 8, 30, tzinfo=UTC)
    assert is_far(now.replace(year=2099), now.timestamp(), 30)
    assert not is_far(now + timedelta(seconds=30), now.timestamp(), 30)
    assert not is_far(None, now.timestamp(), 30)
