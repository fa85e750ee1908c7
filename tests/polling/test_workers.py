"""In the service each polled address has a worker of its own: one that hangs stops nothing else."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from email.utils import formatdate
from pathlib import Path

import pytest

from polling.bar import JSON_FIELDS, cursor, polled_bar, rows_reply, sale, taken_ids
from polling.server import Asked, Reply, serving, wait_until
from unrung.catch_up import catch_up
from unrung.opening import open_venue
from unrung.service.clock import Clock
from unrung.service.polling import Polling
from unrung.service.run import _Service
from unrung.service.venue import Venue, stamp_of
from unrung.service.workers import Worker
from unrung.status import Holder, collect
from venue_folder import VenueFolder, ms

SECOND_TILL = """
[[feed]]
name = "second"
carries = "rings"
adapter = "json"
url = "{url}"
export = "overlap"
[feed.fields]
{fields}
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
rows = "/rows"
[feed.poll]
read_seconds = 20
"""


def open_service(folder: VenueFolder, now: str = "20:00:00", mono: float = 0.0) -> Venue:
    settings, db = open_venue(folder.path, ms(now))
    db.close()
    return Venue(folder.path, settings, Clock(lambda: ms(now), lambda: mono), stamp_of(folder.path))


@contextmanager
def two_tills(path: Path) -> Iterator[tuple[VenueFolder, threading.Event]]:
    """The first till hangs, the second answers."""
    release = threading.Event()

    def hangs(asked: Asked) -> Reply:
        release.wait(10)
        return rows_reply([sale("hung", "19:30:00")])

    with serving(hangs) as first, serving(lambda asked: rows_reply([sale("quick", "19:00:00")])) as second:
        more = SECOND_TILL.format(url=second.url, fields=JSON_FIELDS)
        yield polled_bar(path, first.url, more=more, read_seconds=20, total_seconds=20), release
        release.set()


def test_a_server_that_hangs_stops_no_other(tmp_path: Path) -> None:
    with two_tills(tmp_path) as (folder, release):
        venue = open_service(folder)
        workers = [
            Worker(f"poll {name}", Polling(venue, name, lambda: None).step) for name in ("till", "second")
        ]
        for worker in workers:
            worker.start()
        wait_until(lambda: taken_ids(folder) == ["quick"])
        assert workers[0].busy_seconds() > 0
        release.set()
        wait_until(lambda: taken_ids(folder) == ["hung", "quick"])
        for worker in workers:
            worker.stop()
        assert all(worker.join(2) for worker in workers)
    assert not [worker.last_error for worker in workers if worker.last_error]


def test_a_step_says_when_it_is_due_again_and_whether_rows_came(tmp_path: Path) -> None:
    with serving(lambda asked: rows_reply([sale("a", "19:00:00")])) as server:
        venue = open_service(polled_bar(tmp_path, server.url, "every_minutes = 2"))
        told: list[str] = []
        polling = Polling(venue, "till", lambda: told.append("rows"))
        assert polling.settling(), "days wait for the first answers"
        assert polling.step() == 120
        assert venue.fresh.is_set() and told == ["rows"] and not polling.settling()
        venue.fresh.clear()
        assert polling.step() == 120
        assert len(server.asked) == 1 and not venue.fresh.is_set()


def test_what_is_wrong_is_noted_until_it_is_over(tmp_path: Path) -> None:
    replies = iter([Reply(b"no", 503), rows_reply([])])
    with serving(lambda asked: next(replies)) as server:
        folder = polled_bar(tmp_path, server.url)
        venue = open_service(folder)
        assert 20 < Polling(venue, "till", lambda: None).step() < 40
        assert "503" in venue.problems["feed till"]
        later = Venue(venue.config, venue.settings, Clock(lambda: ms("20:05:00"), lambda: 300.0),
                      venue.stamp, venue.problems)
        Polling(later, "till", lambda: None).step()
        assert venue.problems == {}


def test_what_is_wrong_is_told_once_by_status(tmp_path: Path) -> None:
    """The service notes it, and it stands in the store."""
    with serving(lambda asked: Reply(b"no", 503)) as server:
        folder = polled_bar(tmp_path, server.url)
        service = _Service(open_service(folder), threading.Event(), 30.0)
        service._polling["till"].step()
        service._sign_of_life()
    with folder.open("20:00:10") as (settings, db):
        state = collect(db, settings, ms("20:00:10"), Holder(held=True, pid=os.getpid()))
    assert "503" in state["service"]["problems"]["feed till"]
    assert len([text for text in state["attention"] if "503" in text]) == 1


def test_the_log_says_once_that_a_servers_clock_is_another(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    dates = [ms("20:09:00"), ms("20:19:00"), ms("20:20:30"), ms("20:39:00")]

    def says(asked: Asked) -> Reply:
        header = {"Date": formatdate(dates.pop(0) / 1000, usegmt=True)}
        return rows_reply([sale("a", "19:00:00")])._replace(headers=header)

    with serving(says) as server:
        venue = open_service(polled_bar(tmp_path, server.url))
        polling = Polling(venue, "till", lambda: None)
        for minute, lines in ((0, 1), (10, 1), (20, 1), (30, 2)):
            venue.clock = Clock(lambda at=minute: ms(f"20:{at:02}:00"), lambda: 0.0)  # type: ignore[misc]
            polling.step()
            assert len([one for one in caplog.messages if "minutes ahead of this machine's" in one]) == lines
    assert dates == []


def test_days_do_not_wait_for_an_address_for_ever(tmp_path: Path) -> None:
    folder = polled_bar(tmp_path, "http://127.0.0.1:9/")
    venue = open_service(folder)
    now = [0.0]
    venue.clock = Clock(lambda: ms("20:00:00"), lambda: now[0])
    polling = Polling(venue, "till", lambda: None)
    assert polling.settling()
    now[0] = 601.0
    assert not polling.settling()


def test_a_feed_that_is_taken_out_of_the_settings_is_asked_no_more(tmp_path: Path) -> None:
    with serving(lambda asked: rows_reply([])) as server:
        venue = open_service(polled_bar(tmp_path, server.url))
        venue.problems["feed gone"] = "503"
        assert Polling(venue, "gone", lambda: None).step() == 300 and server.asked == []
    assert venue.problems == {}


def test_a_feed_that_is_added_while_the_service_runs_gets_a_worker(tmp_path: Path) -> None:
    with two_tills(tmp_path) as (folder, _):
        venue = open_service(folder)
        both = venue.settings
        venue.settings = both.model_copy(update={"feed": both.feed[:1]})
        service = _Service(venue, threading.Event(), 30.0)
        names = [worker.name for worker in service._workers]
        assert "poll till" in names and "poll second" not in names
        venue.settings = both
        assert [worker.name for worker in service._new_pollers(lambda: None)] == ["poll second"]
        assert service._new_pollers(lambda: None) == []


def test_catch_up_asks_every_address_and_issues_the_day(tmp_path: Path) -> None:
    rows = [sale(f"{n:02}", f"19:{n:02}:00") for n in range(25)]
    with serving(lambda asked: rows_reply(rows)) as server:
        folder = polled_bar(tmp_path, server.url, 'since = {query = "from"}')
        with folder.open("06-11 11:30:00") as (settings, db):
            done = catch_up(db, settings, ms("06-11 11:30:00"), folder.said.append, {})
    assert done.problems == [] and [one.day.isoformat() for one in done.issued] == ["2025-06-10"]
    assert "taken in, 25 new rows" in folder.said[0]
    till = folder.files()["daily/2025-06-10/till-2025-06-10.csv"].decode("utf-8-sig")
    assert ",25" in till
    assert cursor(folder)["polled_ms"] == ms("06-11 11:30:00")


@pytest.mark.parametrize("failing", [True, False])
def test_catch_up_reads_a_backlog_to_its_end(tmp_path: Path, failing: bool) -> None:
    def play(asked: Asked) -> Reply:
        at = int(asked.query.get("at", "0"))
        if failing and at == 7:
            return Reply(b"no", 503)
        more = {"next": f"?at={at + 1}"} if at < 9 else {}
        return rows_reply([sale(str(at), f"19:0{at}:00")], **more)

    with serving(play) as server:
        paging = 'paging = {by = "next_url", pointer = "/next", max_pages = 2}'
        folder = polled_bar(tmp_path, server.url, paging)
        with folder.open("20:00:00") as (settings, db):
            done = catch_up(db, settings, ms("20:00:00"), folder.said.append, {})
    assert len(taken_ids(folder)) == (7 if failing else 10)
    assert done.needs_attention == failing
