"""When a feed is called silent: by its own pauses, and not before a night or a week of them is known."""

from __future__ import annotations

import pytest

from unrung.rhythm import DAY_MS, HOUR_MS, silence

MINUTE_MS = 60_000


def evenings(days: range) -> list[int]:
    """Exports every ten minutes from 11 in the morning to 2 at night, of so many days."""
    return [day * DAY_MS + 11 * HOUR_MS + ten * 10 * MINUTE_MS for day in days for ten in range(91)]


@pytest.mark.parametrize("nights", range(1, 30))
def test_no_night_is_a_silence_the_first_ones_neither(nights: int) -> None:
    found = silence(evenings(range(nights)), nights * DAY_MS + 11 * HOUR_MS - MINUTE_MS)
    assert found is not None and not found.too_long


@pytest.mark.parametrize("weeks", range(1, 6))
def test_no_weekday_without_trade_is_one_either(weeks: int) -> None:
    open_on = [day for day in range(7 * weeks - 1) if day % 7 != 6]
    times = [at for day in open_on for at in evenings(range(day, day + 1))]
    found = silence(times, (7 * weeks) * DAY_MS + 10 * HOUR_MS)
    assert found is not None and not found.too_long


def test_an_outage_of_the_past_does_not_hide_the_next() -> None:
    times = [at for at in evenings(range(27)) if not 10 * DAY_MS < at < 14 * DAY_MS]
    last = max(times)
    for hours, told in ((17, False), (19, True)):
        found = silence(times, last + hours * HOUR_MS)
        assert found is not None and found.too_long is told


def test_history_copied_at_once_has_no_rhythm() -> None:
    times = [one * 20 for one in range(400)]
    assert silence(times, 40 * DAY_MS) is None
    assert silence([*times, DAY_MS, 2 * DAY_MS], 3 * DAY_MS - HOUR_MS) is None
