"""Page after page: every row once, in every way of paging, and an end to what has none."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from requests.utils import parse_header_links

from polling.bar import ask, cursor, document, polled_bar, rows_reply, sale, taken_ids
from polling.lists import PAGINGS, paged
from polling.server import Asked, Reply, in_turn, serving
from unrung.intake.paging import next_link
from venue_folder import ms

SALES = [sale(f"{n:03}", f"19:{n % 60:02}:00") for n in range(25)]
IDS = [row["id"] for row in SALES]


@pytest.mark.parametrize("way", PAGINGS)
@pytest.mark.parametrize(("count", "size"), [(25, 4), (24, 4), (1, 4), (0, 4), (25, 1)])
def test_every_row_of_every_page_is_taken_once(tmp_path: Path, way: str, count: int, size: int) -> None:
    with serving(paged(way, lambda asked: SALES[:count], size)) as server:
        venue = polled_bar(tmp_path, f"{server.url}/v1/sales?bar=2", PAGINGS[way])
        polled = ask(venue)
        assert all(asked.query["bar"] == "2" for asked in server.asked)
    assert polled.problem == "" and not polled.more
    assert taken_ids(venue) == IDS[:count]
    assert cursor(venue)["run"] == "" and cursor(venue)["polled_ms"] == ms("20:00:00")


@pytest.mark.parametrize(
    ("header", "target"),
    [
        # The examples of RFC 8288, section 3.5 (from memory).
        ('<http://example.com/TheBook/chapter2>; rel="previous"; title="previous chapter"', ""),
        ('</>; rel="http://example.net/foo"', ""),
        ("</TheBook/chapter2>; rel=\"previous\"; title*=UTF-8'de'letztes%20Kapitel, "
         "</TheBook/chapter4>; rel=\"next\"; title*=UTF-8'de'n%c3%a4chstes%20Kapitel", "/TheBook/chapter4"),
        ('<http://example.org/>; rel="start http://example.net/relation/other"', ""),
        # Its rules: rel may hold several, without regard to case, and only the first one counts; a
        # link with an anchor speaks of another document (sections 3.2 and 3.3).
        ("<a>;rel=NEXT", "a"),
        ('<a>; rel="prev"; rel="next"', ""),
        ('<a>; rel="next"; anchor="/other", <b>; rel=next', "b"),
        ('<a?x=1,2;y>; title="<b>; rel=\\"next\\""; rel="next"', "a?x=1,2;y"),
        (", ,<a> ; rel = next ,", "a"),
        ("a; rel=next", ""), ("<a; rel=next", ""), ("", ""),
    ],
)
def test_the_next_link_is_read_by_its_rfc(header: str, target: str) -> None:
    assert next_link(header) == target


@given(st.lists(st.sampled_from(["next", "prev", "first", "last"]), unique=True), st.data())
def test_plain_link_headers_read_as_another_library_reads_them(rels: list[str], data: st.DataObject) -> None:
    targets = data.draw(st.lists(st.from_regex(r"[a-z/?=&0-9]{1,12}", fullmatch=True),
                                 min_size=len(rels), max_size=len(rels)))
    header = ", ".join(f'<{target}>; rel="{rel}"' for target, rel in zip(targets, rels, strict=True))
    theirs = {link["rel"]: link["url"] for link in parse_header_links(header) if "rel" in link}
    assert next_link(header) == theirs.get("next", "")


def test_two_pages_hold_rows_of_one_second(tmp_path: Path) -> None:
    rows = [sale(str(n), "19:30:00") for n in range(5)]
    with serving(paged("cursor", lambda asked: rows, 2)) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS["cursor"])
        ask(venue)
    assert taken_ids(venue) == ["0", "1", "2", "3", "4"]


def test_pages_in_no_order_move_the_cursor_to_the_latest_row(tmp_path: Path) -> None:
    shuffled = random.Random(4).sample(SALES, len(SALES))
    with serving(paged("link", lambda asked: shuffled, 4)) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS["link"])
        ask(venue)
    assert taken_ids(venue) == IDS
    assert cursor(venue)["since_ms"] == ms("19:24:00")


@pytest.mark.parametrize(
    ("headers", "members", "poll"),
    [
        ({"Link": "</sales>; rel=next"}, {}, "link"),
        ({}, {"next": "/sales"}, "next_url"),
        ({}, {"meta": {"after": "same"}}, "cursor"),
    ],
)
def test_a_page_that_names_itself_as_the_next_ends_the_run(
    tmp_path: Path, headers: dict[str, str], members: dict[str, object], poll: str
) -> None:
    """The rows are kept, but nobody can say that they are all: the cursor stays."""
    reply = rows_reply(SALES[:2], **members)._replace(headers=headers)
    with serving(lambda asked: reply) as server:
        venue = polled_bar(tmp_path, f"{server.url}/sales", PAGINGS[poll])
        polled = ask(venue)
    assert "in a circle" in polled.problem and len(server.asked) <= 2
    assert taken_ids(venue) == IDS[:2]
    assert cursor(venue)["since_ms"] is None
    assert venue.query("SELECT * FROM poll_spans") == []


def test_two_pages_that_lead_to_each_other_end_the_run(tmp_path: Path) -> None:
    def play(asked: Asked) -> Reply:
        return rows_reply(SALES[:1], next="/b" if asked.path == "/a" else "/a")

    with serving(play) as server:
        assert "in a circle" in ask(polled_bar(tmp_path, f"{server.url}/a", PAGINGS["next_url"])).problem
    assert [asked.path for asked in server.asked] == ["/a", "/b"]


@pytest.mark.parametrize("way", ["page", "offset"])
def test_a_source_that_does_not_know_the_parameter_is_found_out(tmp_path: Path, way: str) -> None:
    """It would give the first page again and again, and look complete."""
    with serving(lambda asked: rows_reply(SALES[:2])) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS[way])
        assert "two pages are the same; does the source know" in ask(venue).problem
    assert len(server.asked) == 2 and cursor(venue)["since_ms"] is None


def test_a_next_page_at_another_place_is_refused(tmp_path: Path) -> None:
    with serving(lambda asked: rows_reply([])) as other, serving(
        lambda asked: rows_reply(SALES[:2], next=f"{other.url}/more?token=abc")
    ) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS["next_url"])
        problem = ask(venue).problem
        assert other.asked == []
    assert "another place than the feed's" in problem and "abc" not in problem
    assert taken_ids(venue) == IDS[:2] and cursor(venue)["since_ms"] is None


@pytest.mark.parametrize(
    ("body", "poll", "said"),
    [
        (b"Id,Time\n1,2\n", "cursor", "is it JSON?"),
        (document([], meta={"after": {"a": 1}}), "cursor", "neither a text nor a number"),
        (document([], next=["/x"]), "next_url", "neither a text nor a number"),
    ],
)
def test_an_answer_that_does_not_name_its_next_page_is_told(
    tmp_path: Path, body: bytes, poll: str, said: str
) -> None:
    with serving(lambda asked: Reply(body)) as server:
        polled = ask(polled_bar(tmp_path, server.url, PAGINGS[poll]))
    assert said in polled.problem or "is not JSON" in polled.problem


def test_a_cursor_of_many_digits_comes_back_as_it_was(tmp_path: Path) -> None:
    """As a double it would lose its last digits (RFC 8259, section 6)."""
    number = 12345678901234567890123
    with serving(in_turn(rows_reply(SALES[:1], meta={"after": number}), rows_reply([]))) as server:
        ask(polled_bar(tmp_path, server.url, PAGINGS["cursor"]))
    assert server.asked[1].query["after"] == str(number)


@pytest.mark.parametrize("way", [way for way in PAGINGS if way != "none"])
def test_a_run_that_breaks_off_goes_on_where_it_stopped(tmp_path: Path, way: str) -> None:
    pages = paged(way, lambda asked: SALES, 4)
    asks: list[Asked] = []

    def play(asked: Asked) -> Reply:
        asks.append(asked)
        return Reply(b"no", 503) if len(asks) == 4 else pages(asked)

    with serving(play) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS[way])
        assert "503" in ask(venue, "20:00:00").problem
        assert taken_ids(venue) == IDS[:12], "the pages before it are kept"
        assert cursor(venue)["since_ms"] is None, "and do not count as read"
        assert venue.query("SELECT * FROM poll_spans") == []
        assert ask(venue, "20:01:00").problem == ""
        assert asks[4] == asks[3], "the first three pages are not asked for again"
    assert taken_ids(venue) == IDS and cursor(venue)["since_ms"] == ms("19:24:00")


def test_a_page_that_never_comes_makes_the_run_begin_anew(tmp_path: Path) -> None:
    """A cursor or link may have expired on the other side."""
    def play(asked: Asked) -> Reply:
        return Reply(b"no", 500) if "at" in asked.query else paged("link", lambda _: SALES, 4)(asked)

    with serving(play) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS["link"])
        for hour in range(6):
            ask(venue, f"{12 + hour}:00:00")
        assert ["at" in asked.query for asked in server.asked] == [False, *[True] * 5, False, True]


def test_an_expired_position_is_given_up_at_once(tmp_path: Path) -> None:
    replies = [rows_reply(SALES[:1], next="/sales?at=1"), Reply(b"no", 500), Reply(b"gone", 410)]
    with serving(in_turn(*replies, rows_reply(SALES[:1]))) as server:
        venue = polled_bar(tmp_path, f"{server.url}/sales", PAGINGS["next_url"])
        for now in ("12:00:00", "12:10:00", "14:00:00"):
            last = ask(venue, now)
        assert ["at" in asked.query for asked in server.asked] == [False, True, True, False]
    assert last.problem == "" and cursor(venue)["run"] == ""


def test_a_long_backlog_is_read_in_several_goes(tmp_path: Path) -> None:
    with serving(paged("cursor", lambda asked: SALES, 2)) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS["cursor"].replace("}", ", max_pages = 5}"))
        first = ask(venue, "20:00:00")
        assert first.more and first.next_ms == ms("20:00:05") and taken_ids(venue) == IDS[:10]
        assert cursor(venue)["since_ms"] is None
        assert ask(venue, "20:00:05").more
        assert not ask(venue, "20:00:10").more
        assert len(server.asked) == 13
    assert taken_ids(venue) == IDS and cursor(venue)["since_ms"] == ms("19:24:00")


def test_a_source_without_end_is_given_up(tmp_path: Path) -> None:
    def play(asked: Asked) -> Reply:
        at = int(asked.query.get("at", "0"))
        return rows_reply(SALES[:1], next=f"?at={at + 1}")

    with serving(play) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS["next_url"].replace("}", ", max_pages = 1}"))
        polled = [ask(venue, on_demand=True) for _ in range(102)]
        assert "in a circle" in polled[-1].problem
        assert len(server.asked) == 101
    assert cursor(venue)["run"] == ""


def test_a_row_that_moves_to_the_next_page_meanwhile_counts_once(tmp_path: Path) -> None:
    """A new sale comes in between two pages of a list that has the newest first."""
    newest_first = SALES[::-1]

    def rows(asked: Asked) -> list[dict[str, str]]:
        return newest_first[1:] if asked.query["skip"] == "0" else newest_first

    with serving(paged("offset", rows, 4)) as server:
        venue = polled_bar(tmp_path, server.url, PAGINGS["offset"])
        ask(venue)
    assert taken_ids(venue) == IDS[:-1], "and the new one comes with the next poll"
