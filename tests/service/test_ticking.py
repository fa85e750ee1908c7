"""The tick over a jump of the clock, by what the scheduler's library itself makes of it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from apscheduler.schedulers.background import BackgroundScheduler

from unrung.service.ticking import Every

BEFORE = datetime(2001, 1, 1, tzinfo=UTC)


@pytest.mark.parametrize("jump", [timedelta(seconds=31), timedelta(hours=9), timedelta(days=366 * 98)])
def test_a_clock_that_went_ahead_owes_one_tick_whatever_the_span(jump: timedelta) -> None:
    """Counted from the last tick it would owe 103 million, and hold the scheduler for hours."""
    job = BackgroundScheduler(timezone="UTC").add_job(print, Every(30.0), next_run_time=BEFORE)
    job._modify(next_run_time=BEFORE)
    assert job._get_run_times(BEFORE + jump) == [BEFORE]


def test_ticks_follow_each_other_by_the_pause() -> None:
    assert Every(30.0).get_next_fire_time(BEFORE, BEFORE) == BEFORE + timedelta(seconds=30)
