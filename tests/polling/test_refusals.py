"""What a server says in place of data: told plainly, asked again later, never waited for."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from polling.bar import ask, cursor, polled_bar, rows_reply, sale, taken_ids
from polling.server import Reply, in_turn, serving
from unrung.intake.pauses import LONGEST_PAUSE_MS, pause_ms, wish_ms
from venue_folder import ms

GOOD = rows_reply([sale("a", "19:00:00")])
NOW = ms("20:00:00")
MINUTE = 60_000
DAY = "Tue, 10 Jun 2025"


def refused(status: int, **headers: str) -> Reply:
    return Reply(b"no", status, {name.replace("_", "-"): value for name, value in headers.items()})


@pytest.mark.parametrize(
    ("reply", "wait_s"),
    [
        (refused(429, Retry_After="900"), 900),
        (refused(503, Retry_After=f"{DAY} 12:15:00 GMT", Date=f"{DAY} 12:00:00 GMT"), 900),
        (refused(429, Retry_After="86400"), 6 * 3600),
    ],
)
def test_the_server_says_when_to_come_back(tmp_path: Path, reply: Reply, wait_s: int) -> None:
    """RFC 9110, section 10.2.3: seconds, or a date, which counts from the server's own clock. More
    than six hours are not granted."""
    with serving(in_turn(reply, GOOD)) as server:
        venue = polled_bar(tmp_path, server.url)
        started = time.monotonic()
        polled = ask(venue, "20:00:00")
        assert time.monotonic() - started < 1, "it was slept through"
        assert polled.next_ms == NOW + wait_s * 1000
        assert cursor(venue)["not_before_ms"] == polled.next_ms
        ask(venue, "20:14:59", on_demand=True)
        assert len(server.asked) == 1, "not even a person's wish breaks the server's"


@pytest.mark.parametrize("text", ["soon", "-5", "1e3", "٣", "Tue, 99 Jun 2025 12:15:00 GMT", ""])
def test_a_wish_that_makes_no_sense_is_none(text: str) -> None:
    assert wish_ms(text, "", NOW) is None


def test_a_date_without_the_servers_clock_counts_from_ours() -> None:
    """Both other forms of an HTTP date too (RFC 9110, section 5.6.7)."""
    noon = ms("08:00:00")  # 12:00 GMT
    for text in ("Tue, 10 Jun 2025 12:01:00 GMT", "Tuesday, 10-Jun-25 12:01:00 GMT"):
        assert wish_ms(text, "", noon) == MINUTE
    assert wish_ms("Tue, 10 Jun 2025 11:00:00 GMT", "", noon) == 0


def test_a_storm_of_errors_makes_the_pauses_grow_and_ends_with_the_first_answer(tmp_path: Path) -> None:
    storm = [refused(500), refused(502), refused(503), refused(500)]
    with serving(in_turn(*storm, GOOD)) as server:
        venue = polled_bar(tmp_path, server.url)
        at, pauses = NOW, []
        for _ in storm:
            polled = ask(venue, _clock(at))
            pauses.append(polled.next_ms - at)
            at = -(-polled.next_ms // 1000) * 1000
        assert all(0.9 <= pause / (30_000 << n) <= 1.1 for n, pause in enumerate(pauses)), pauses
        assert ask(venue, _clock(at)).problem == ""
    assert taken_ids(venue) == ["a"]
    assert cursor(venue)["failures"] == 0 and cursor(venue)["due_ms"] == at + 10 * MINUTE


def _clock(at_ms: int) -> str:
    seconds = (at_ms - ms("00:00:00")) // 1000
    return f"{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"


def test_pauses_grow_to_an_hour_and_differ_from_feed_to_feed() -> None:
    pauses = [pause_ms("till", n, 600_000, permanent=False) for n in range(1, 60)]
    assert pauses == [pause_ms("till", n, 600_000, permanent=False) for n in range(1, 60)]
    assert pauses[:8] == sorted(pauses[:8]) and max(pauses) <= 1.1 * LONGEST_PAUSE_MS
    assert min(pauses[7:]) >= 0.9 * LONGEST_PAUSE_MS
    assert pauses != [pause_ms("meters", n, 600_000, permanent=False) for n in range(1, 60)]
    assert pause_ms("till", 1, 5_000, permanent=False) <= 5_500, "a quick feed is tried soon again"


@pytest.mark.parametrize("status", [401, 403, 404, 410])
def test_what_no_retry_can_mend_waits_long_and_is_news_once(tmp_path: Path, status: int) -> None:
    """Quick retries with a wrong password lock an account."""
    with serving(lambda asked: refused(status)) as server:
        venue = polled_bar(tmp_path, server.url)
        first = ask(venue, "20:00:00")
        assert first.next_ms - NOW > 50 * MINUTE
        assert f"{status} " in first.problem and not first.told
        assert ask(venue, "20:30:00").told
        assert len(server.asked) == 1
        again = ask(venue, "21:30:00")
        assert len(server.asked) == 2 and again.told and again.problem == first.problem


def test_a_person_who_mended_the_login_need_not_wait(tmp_path: Path) -> None:
    with serving(in_turn(refused(401), GOOD)) as server:
        venue = polled_bar(tmp_path, server.url)
        ask(venue, "20:00:00")
        assert ask(venue, "20:05:00", on_demand=True).problem == ""
    assert taken_ids(venue) == ["a"]


@pytest.mark.parametrize(
    "page",
    [b"<!DOCTYPE html><html><body>Log in</body></html>", b"\xef\xbb\xbf \n<HTML lang=en>", b"<head></head>"],
)
@pytest.mark.parametrize("adapter", ["json", "csv"])
def test_a_login_page_is_no_data_and_no_empty_day(tmp_path: Path, page: bytes, adapter: str) -> None:
    with serving(lambda asked: Reply(page, headers={"Content-Type": "text/html"})) as server:
        venue = polled_bar(tmp_path, server.url, adapter=adapter)
        assert "sent a web page, not data" in ask(venue).problem
    assert venue.sources("state") == []
    assert venue.query("SELECT * FROM poll_spans") == []


def test_not_modified_is_a_poll_without_rows(tmp_path: Path) -> None:
    """RFC 9110, sections 13.1 and 15.4.5."""
    tagged = GOOD._replace(headers={"ETag": '"v1"', "Last-Modified": "Tue, 10 Jun 2025 23:00:00 GMT"})
    with serving(in_turn(tagged, Reply(status=304), GOOD)) as server:
        venue = polled_bar(tmp_path, server.url)
        ask(venue, "20:00:00")
        polled = ask(venue, "20:10:00")
        assert polled.problem == "" and polled.taken == []
        assert server.asked[1].headers["if-none-match"] == '"v1"'
        assert server.asked[1].headers["if-modified-since"] == "Tue, 10 Jun 2025 23:00:00 GMT"
        assert cursor(venue)["polled_ms"] == ms("20:10:00")
        # What was read with other settings was not read: the whole answer is asked for.
        venue.edit("venue.toml", 'item = "/item"', 'item = "/item"\ncheck = "/check"')
        ask(venue, "20:11:00")
        assert "if-none-match" not in server.asked[2].headers


def test_not_modified_that_nobody_asked_for_is_no_answer(tmp_path: Path) -> None:
    with serving(lambda asked: Reply(status=304)) as server:
        assert "304" in ask(polled_bar(tmp_path, server.url)).problem


def test_an_answer_that_cannot_be_read_is_told_and_only_the_newest_waits(tmp_path: Path) -> None:
    bad = [rows_reply([{"id": str(n), "at": f"no time {n}", "item": "Burger"}]) for n in range(3)]
    with serving(in_turn(*bad, GOOD)) as server:
        venue = polled_bar(tmp_path, server.url)
        for now in ("20:00:00", "20:01:00", "20:04:00"):
            assert "none is taken in" in ask(venue, now).problem
        assert [state for (state,) in venue.sources("state")].count("set_aside") == 1
        assert ask(venue, "20:20:00").problem == ""
    assert [state for (state,) in venue.sources("state")].count("set_aside") == 0
    assert venue.waiting_rows() == []
