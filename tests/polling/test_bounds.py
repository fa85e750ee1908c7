"""Every answer ends in time and in size: the waits of a real server, and what it may not cost."""

from __future__ import annotations

import gzip
import itertools
import time
from pathlib import Path

import pytest

from polling.bar import ask, document, polled_bar, sale, taken_ids
from polling.server import Reply, in_turn, serving

ROWS = document([sale("a", "19:00:00"), sale("b", "19:10:00")])
ENDLESS = itertools.repeat(b'{"rows": [' + b" " * 10_000)
BOMB = gzip.compress(b" " * 10_000_000)
"""10 MB of blanks in 10 kB: RFC 1952 knows no bound."""


@pytest.mark.parametrize(
    ("reply", "said"),
    [
        (Reply(ROWS, pause=30), "was silent for 0.3 s"),
        (Reply(ROWS, drip=0.1), "did not send its whole answer within 0.8 s"),
        (Reply(ROWS, drip_headers=0.1), "did not send its whole answer within 0.8 s"),
        (Reply(ENDLESS), "sends more than max_bytes = 100,000"),
        (Reply(BOMB, headers={"Content-Encoding": "gzip"}), "sends more than max_bytes = 100,000"),
        (Reply(BOMB, headers={"Content-Encoding": "gzip, gzip"}), "a compression that was not asked for"),
        (Reply(b"junk", headers={"Content-Encoding": "gzip"}), "damaged compressed answer"),
        (Reply(ROWS, promised=40), "broke off"),
    ],
)
def test_an_answer_that_does_not_end_well_is_given_up_in_time(
    tmp_path: Path, reply: Reply, said: str
) -> None:
    with serving(lambda asked: reply) as server:
        venue = polled_bar(tmp_path, server.url, max_bytes=100_000, read_seconds=0.3, total_seconds=0.8)
        started = time.monotonic()
        polled = ask(venue)
    assert said in polled.problem
    assert time.monotonic() - started < 1.5
    assert taken_ids(venue) == []


def test_a_slow_answer_within_its_time_is_taken(tmp_path: Path) -> None:
    """The read timeout counts silence, not the whole answer."""
    with serving(lambda asked: Reply(ROWS, drip=0.002)) as server:
        venue = polled_bar(tmp_path, server.url, read_seconds=0.3, total_seconds=5)
        assert ask(venue).problem == ""
    assert taken_ids(venue) == ["a", "b"]


@pytest.mark.parametrize("cut", [1, 30, len(ROWS) - 1])
def test_a_body_cut_short_is_discarded_and_asked_for_again(tmp_path: Path, cut: int) -> None:
    with serving(in_turn(Reply(ROWS[:-cut], promised=cut), Reply(ROWS))) as server:
        venue = polled_bar(tmp_path, server.url)
        first = ask(venue, "20:00:00")
        assert taken_ids(venue) == []
        assert ask(venue, "20:00:10").problem == first.problem, "not yet due"
        assert ask(venue, "20:00:40").problem == ""
    assert taken_ids(venue) == ["a", "b"]


def test_a_document_cut_short_without_a_length_is_asked_for_again(tmp_path: Path) -> None:
    """Nothing in HTTP tells: an answer without Content-Length ends when the connection does."""
    cut = Reply(iter([ROWS[:40]]))
    with serving(in_turn(cut, Reply(ROWS))) as server:
        venue = polled_bar(tmp_path, server.url)
        assert "ends too early" in ask(venue, "20:00:00").problem
        assert venue.sources("state") == []
        ask(venue, "20:01:00")
    assert taken_ids(venue) == ["a", "b"]


@pytest.mark.parametrize(
    ("url", "said"),
    [
        ("http://127.0.0.1:9/sales", "127.0.0.1 refuses the connection"),
        ("http://till.invalid/sales", "the name till.invalid is not known"),
    ],
)
def test_a_host_that_is_not_there_is_said_plainly(tmp_path: Path, url: str, said: str) -> None:
    """Port 9 is discard (RFC 863), which nothing serves; ``invalid`` never resolves (RFC 6761)."""
    assert said in ask(polled_bar(tmp_path, url)).problem


def test_a_packed_answer_is_unpacked(tmp_path: Path) -> None:
    reply = Reply(gzip.compress(ROWS), headers={"Content-Encoding": "gzip"})
    with serving(lambda asked: reply) as server:
        venue = polled_bar(tmp_path, server.url)
        ask(venue)
    assert taken_ids(venue) == ["a", "b"]
