"""The wall clock moved under the running service, by libfaketime (Debian package ``faketime``).

Passed time goes on as it does, as on a machine that slept or whose clock was set.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from glob import glob
from pathlib import Path

import pytest

from mail.servers import Desk, serving
from service.evenings import evening, mailing_bar
from service.mails import sent
from service.real import Service, running, until
from venue_folder import VenueFolder, ms

LIBRARY = (glob("/usr/lib/*/faketime/libfaketimeMT.so.1") or [""])[0]
pytestmark = pytest.mark.skipif(not LIBRARY, reason="needs the Debian package faketime")
# Under this library time.sleep fails where passed time is left alone, and folder events end with it.
POLLING = "settle_seconds = 0.2\npolling = true"


class Time:
    """What time the service sees."""

    def __init__(self, folder: Path) -> None:
        self._file = folder / "now"
        self.environment = {
            "LD_PRELOAD": LIBRARY, "FAKETIME_TIMESTAMP_FILE": str(self._file), "FAKETIME_NO_CACHE": "1",
            "DONT_FAKE_MONOTONIC": "1", "FAKETIME_DONT_FAKE_MONOTONIC": "1", "FAKETIME_DONT_RESET": "1",
        }

    def is_now(self, local: str) -> None:
        self.shows(ms(local))

    def shows(self, at_ms: int) -> None:
        """UTC milliseconds."""
        aside = self._file.with_suffix(".new")
        aside.write_text(f"{at_ms / 1000 - time.time():+.3f}s")
        os.replace(aside, self._file)


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def bar(tmp_path: Path, desk: Desk) -> Iterator[VenueFolder]:
    """An evening's exports wait."""
    with serving(desk) as port:
        venue = mailing_bar(tmp_path / "bar", port, more="[schedule]\nrescan_seconds = 0.5")
        text = (venue.path / "venue.toml").read_text()
        (venue.path / "venue.toml").write_text(text.replace("[feed.fields]", f"{POLLING}\n[feed.fields]"))
        evening(venue, "a", "18:00:00", "23:50:00")
        yield venue


def issued(service: Service) -> list[tuple[str, int]]:
    return service.rows("SELECT day, revision FROM days WHERE revision > 0 ORDER BY day")


def test_a_machine_that_slept_over_the_issue_time_issues_when_it_wakes(
    bar: VenueFolder, desk: Desk, tmp_path: Path
) -> None:
    """Its tick is an hour away: only the jump itself can bring it about in time."""
    now = Time(tmp_path)
    now.is_now("06-11 05:30:00")
    with running(bar.path, now.environment, tick_seconds=3600) as service:
        until(lambda: len(service.rows()) == 48, "the rows")
        assert issued(service) == []
        now.is_now("06-11 08:30:00")
        service.says("the clock went +1")
        until(lambda: issued(service) == [("2025-06-10", 1)], "the day", 30)
        until(lambda: sent(desk), "its mail")


def test_a_clock_set_back_repeats_nothing_and_stops_nothing(
    bar: VenueFolder, desk: Desk, tmp_path: Path
) -> None:
    now = Time(tmp_path)
    now.is_now("06-11 07:30:00")
    with running(bar.path, now.environment) as service:
        until(lambda: sent(desk), "the day and its mail")
        now.is_now("06-11 05:30:00")
        service.says("the clock went -7")
        first = until(lambda: service.seen_ms() if service.seen_ms() < ms("06-11 06:00:00") else 0, "a tick")
        until(lambda: first < service.seen_ms() < ms("06-11 06:00:00"), "one more")
        evening(bar, "b", "06-11 04:30:00", "06-11 05:31:00", rung=1)
        until(lambda: len(service.rows()) == 50, "rows that came after it")
        now.is_now("06-11 06:10:00")  # the issue time comes a second time
        until(lambda: service.seen_ms() > ms("06-11 06:10:00"), "a tick")
        assert issued(service) == [("2025-06-10", 1)]
    assert len(desk.taken) == 1
