"""Times beside the date of a business day, as many tills write them (common practice, no source)."""

from __future__ import annotations

from datetime import datetime, time
from typing import Any

import pytest

from adapters.exports import RECEIVED, mapping, utc_ms
from unrung_adapters.moments import Moments
from unrung_adapters.notes import ReadNotes


def moments(**settings: Any) -> Moments:
    return Moments(mapping(**settings), round(RECEIVED.timestamp() * 1000), ReadNotes())


@pytest.mark.parametrize("form", ["iso", "%m/%d/%Y %H:%M:%S"])
@pytest.mark.parametrize(("starts", "wall", "meant"), [
    (time(4), "2026-07-10 23:59:59", "2026-07-10T23:59:59-04:00"),
    (time(4), "2026-07-10 00:10:00", "2026-07-11T00:10:00-04:00"),
    (time(4), "2026-07-10 03:59:59", "2026-07-11T03:59:59-04:00"),
    (time(4), "2026-07-10 04:00:00", "2026-07-10T04:00:00-04:00"),
    (time(4, 30), "2026-07-10 04:29:59", "2026-07-11T04:29:59-04:00"),
    (time(4, 30), "2026-07-10 04:30:00", "2026-07-10T04:30:00-04:00"),
    (time(4), "2025-11-01 03:30:00", "2025-11-02T03:30:00-05:00"),  # past the night the clocks go back
])
def test_beside_the_date_of_a_business_day_a_time_of_the_morning_is_of_the_next(
    form: str, starts: time, wall: str, meant: str
) -> None:
    text = wall if form == "iso" else datetime.fromisoformat(wall).strftime(form)
    found = moments(time=form, dates="business_day", day_starts=starts)
    assert found.in_order("at", text) == utc_ms(meant)
    assert found.column("at", [text, text], {}) == [utc_ms(meant)] * 2
    moved = moments(time=form, day_starts=starts).in_order("at", text) != utc_ms(meant)
    assert moved == (datetime.fromisoformat(wall).time() < starts)


def test_an_offset_or_a_count_of_seconds_says_the_day_itself() -> None:
    for form, text in (("iso", "2026-07-10T00:10:00-04:00"), ("iso", "2026-07-10T04:10:00Z"),
                       ("epoch_s", str(utc_ms("2026-07-10T00:10-04:00") // 1000))):
        found = moments(time=form, dates="business_day").in_order("at", text)
        assert found == utc_ms("2026-07-10T00:10-04:00")
