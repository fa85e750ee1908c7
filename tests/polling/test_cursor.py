"""How far a source has been read: the cursor, what it covers, and a stop at the worst moment."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from polling.bar import ask, covered, cursor, document, polled_bar, rows_reply, sale, taken_ids
from polling.lists import paged
from polling.server import Asked, Reply, in_turn, serving
from unrung.errors import StoreError
from unrung.intake import pages
from unrung.store import cursors
from venue_folder import VenueFolder, ms

SINCE = 'since = {{query = "from", overlap_minutes = {overlap}, look_back_hours = {back}, first_days = 2}}'


def since(overlap: int = 60, back: int = 0) -> str:
    return SINCE.format(overlap=overlap, back=back)


def shop(rows: list[dict[str, str]]):  # type: ignore[no-untyped-def]
    """A till that gives what was rung at or after ``from``; it speaks UTC in its query."""

    def play(asked: Asked) -> Reply:
        lo = asked.query.get("from", "")
        return rows_reply([row for row in rows if _utc(row["at"]) >= lo])

    return play


def _utc(text: str) -> str:
    hour = int(text[11:13]) + 4
    day = int(text[8:10]) + hour // 24
    return f"{text[:8]}{day:02}T{hour % 24:02}{text[13:]}Z"


def test_the_first_poll_asks_for_the_days_before_and_the_next_from_the_newest_row(tmp_path: Path) -> None:
    rows = [sale("a", "19:00:00"), sale("b", "19:20:00")]
    with serving(shop(rows)) as server:
        venue = polled_bar(tmp_path, server.url, since(overlap=30))
        ask(venue, "20:00:00")
        rows.append(sale("c", "20:05:00"))
        ask(venue, "20:10:00")
        ask(venue, "20:20:00")
    froms = [asked.query["from"] for asked in server.asked]
    assert froms == ["2025-06-09T00:00:00Z", "2025-06-10T22:50:00Z", "2025-06-10T23:35:00Z"]
    assert taken_ids(venue) == ["a", "b", "c"]
    assert cursor(venue)["since_ms"] == ms("20:05:00")


def test_a_row_that_comes_in_late_behind_the_cursor_is_taken(tmp_path: Path) -> None:
    rows = [sale("a", "19:00:00"), sale("b", "19:50:00")]
    with serving(shop(rows)) as server:
        venue = polled_bar(tmp_path, server.url, since(overlap=60))
        ask(venue, "20:00:00")
        rows.append(sale("late", "18:55:00"))
        ask(venue, "20:10:00")
    assert taken_ids(venue) == ["a", "b", "late"]


def test_a_terminal_that_was_offline_for_a_day_is_found_by_the_first_poll_of_the_business_day(
    tmp_path: Path,
) -> None:
    rows = [sale("a", "19:00:00"), sale("b", "06-11 01:00:00")]
    with serving(shop(rows)) as server:
        venue = polled_bar(tmp_path, server.url, since(overlap=10, back=48))
        ask(venue, "06-11 01:30:00")
        rows.insert(0, sale("late", "06-10 12:00:00"))
        ask(venue, "06-11 03:50:00")
        assert taken_ids(venue) == ["a", "b"], "the business day goes on until four"
        ask(venue, "06-11 04:00:00")
        assert taken_ids(venue) == ["a", "b", "late"]
        ask(venue, "06-11 04:10:00")
    assert [asked.query["from"][:13] for asked in server.asked] == [
        "2025-06-09T05", "2025-06-11T04", "2025-06-09T08", "2025-06-11T04"]


def test_rows_at_the_cursors_own_second_are_asked_for_again(tmp_path: Path) -> None:
    rows = [sale("a", "19:00:00")]
    with serving(shop(rows)) as server:
        venue = polled_bar(tmp_path, server.url, since(overlap=0))
        ask(venue, "20:00:00")
        rows.append(sale("same second", "19:00:00"))
        ask(venue, "20:10:00")
    assert taken_ids(venue) == ["a", "same second"]


def test_a_row_from_the_future_hides_nothing(tmp_path: Path) -> None:
    """A terminal whose clock is a day ahead."""
    rows = [sale("a", "19:00:00"), sale("ahead", "06-11 19:30:00")]
    with serving(shop(rows)) as server:
        venue = polled_bar(tmp_path, server.url, since(overlap=0))
        ask(venue, "20:00:00")
        assert cursor(venue)["since_ms"] == ms("20:00:00")
        rows.append(sale("b", "20:01:00"))
        ask(venue, "20:10:00")
    assert taken_ids(venue) == ["a", "ahead", "b"]


def test_a_source_that_takes_an_upper_bound_gets_the_moment_of_the_poll(tmp_path: Path) -> None:
    poll = 'since = {query = "from", until_query = "to", format = "%Y-%m-%d %H:%M:%S"}'
    with serving(lambda asked: rows_reply([])) as server:
        ask(polled_bar(tmp_path, server.url, poll), "20:00:00")
    assert server.asked[0].query == {"from": "2025-05-27 20:00:00", "to": "2025-06-10 20:00:00"}


def test_polls_cover_from_what_they_asked_for_to_when_they_asked(tmp_path: Path) -> None:
    """Also where nothing was rung: a quiet hour is not an absent till."""
    rows = [sale("a", "19:00:00")]
    with serving(shop(rows)) as server:
        venue = polled_bar(tmp_path, server.url, since())
        ask(venue, "20:00:00")
        assert covered(venue) == [(ms("06-08 20:00:00"), ms("20:00:00"))]
        rows.clear()
        ask(venue, "23:00:00")
        assert covered(venue) == [(ms("06-08 20:00:00"), ms("23:00:00"))]
        assert venue.sources("rows") == [(1,)], "a poll that brings nothing leaves no trace"


def test_a_list_of_the_latest_rows_covers_from_the_business_day_of_its_first(tmp_path: Path) -> None:
    replies = [rows_reply([sale("a", "19:00:00")]), rows_reply([]), rows_reply([sale("b", "21:30:00")])]
    with serving(in_turn(*replies)) as server:
        venue = polled_bar(tmp_path, server.url)
        ask(venue, "20:00:00")
        assert covered(venue) == [(ms("04:00:00"), ms("20:00:00"))]
        ask(venue, "21:00:00")
        assert covered(venue) == [(ms("04:00:00"), ms("20:00:00"))], "an empty list may have been cleared"
        ask(venue, "22:00:00")
        assert covered(venue) == [(ms("04:00:00"), ms("22:00:00"))]


def test_not_modified_means_that_nothing_was_rung_since(tmp_path: Path) -> None:
    first = rows_reply([sale("a", "19:00:00")])._replace(headers={"ETag": '"1"'})
    with serving(in_turn(first, Reply(status=304))) as server:
        venue = polled_bar(tmp_path, server.url)
        ask(venue, "20:00:00")
        ask(venue, "21:00:00")
    assert covered(venue) == [(ms("04:00:00"), ms("21:00:00"))]


def test_a_page_covers_nothing_by_itself(tmp_path: Path) -> None:
    replies = [rows_reply([sale("a", "19:00:00")], next="?at=1"), Reply(b"no", 500)]
    with serving(in_turn(*replies)) as server:
        venue = polled_bar(tmp_path, server.url, 'paging = {by = "next_url", pointer = "/next"}')
        ask(venue)
    assert covered(venue) == [] and venue.sources("cover_from_ms") == [(None,)]


def test_a_source_that_is_the_whole_truth_for_its_days_takes_rows_back(tmp_path: Path) -> None:
    kept, taken_back = sale("a", "19:00:00"), sale("b", "19:10:00")
    with serving(in_turn(rows_reply([kept, taken_back]), rows_reply([kept]))) as server:
        venue = polled_bar(tmp_path, server.url, export="span")
        ask(venue, "20:00:00")
        ask(venue, "20:10:00")
    assert taken_ids(venue) == ["a"]


def test_an_answer_that_says_again_what_it_said_before_is_the_truth_again(tmp_path: Path) -> None:
    """A mistake is put right and back: the same bytes as the first, and newer than the second."""
    first, second = rows_reply([sale("a", "19:00:00")]), rows_reply([sale("a", "19:05:00")])
    with serving(in_turn(first, second, first)) as server:
        venue = polled_bar(tmp_path, server.url)
        for now, at in (("20:00:00", "19:00:00"), ("20:10:00", "19:05:00"), ("20:20:00", "19:00:00")):
            ask(venue, now)
            assert venue.current() == [(f"2025-06-10 {at}", "Pint of Amber", 1_000_000)]


def test_bad_rows_wait_once_however_often_they_are_asked_for(tmp_path: Path) -> None:
    rows = [sale(str(n), "19:00:00") for n in range(5)] + [{"id": "bad", "at": "?", "item": "Burger"}]
    with serving(lambda asked: rows_reply(rows)) as server:
        venue = polled_bar(tmp_path, server.url)
        for now in ("20:00:00", "20:10:00", "20:20:00"):
            ask(venue, now)
        assert venue.waiting_rows() == [(6, "at", "?")]
        rows[5]["at"] = "2025-06-10 19:01:00"
        ask(venue, "20:30:00")
    assert venue.waiting_rows() == [] and "bad" in taken_ids(venue)


def test_an_edit_of_the_feed_is_tried_at_once_and_reads_again_what_waits(tmp_path: Path) -> None:
    rows = [sale(str(n), "12:00:00") for n in range(5)]
    rows.append({"id": "x", "at": "2025-06-10T12:01", "item": "Burger"})
    with serving(shop(rows)) as server:
        venue = polled_bar(tmp_path, server.url, since(overlap=0))
        ask(venue, "20:00:00")
        rows.append(sale("later", "20:00:00"))
        ask(venue, "20:10:00")
        assert len(venue.waiting_rows()) == 1
        for row in rows:
            row["at"] = row["at"].replace(" ", "T")[:16]
        venue.edit("venue.toml", 'time = "%Y-%m-%d %H:%M:%S"', 'time = "%Y-%m-%dT%H:%M"')
        ask(venue, "20:11:00")
    assert server.asked[-1].query["from"] == "2025-06-10T16:00:00Z"
    assert venue.waiting_rows() == [] and "x" in taken_ids(venue)


def _die(*args: object) -> None:
    os._exit(9)


@pytest.mark.parametrize(
    "where",
    [(pages, "save_cursor"), (pages, "cover"), (cursors, "asdict"), (pages, "update_source")],
)
@pytest.mark.skipif(not hasattr(os, "fork"), reason="a process that dies in the middle is forked")
def test_a_stop_between_rows_and_cursor_loses_and_doubles_nothing(
    tmp_path: Path, where: tuple[object, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [sale(f"{n:02}", f"19:{n:02}:00") for n in range(10)]
    pages_of = paged("next_url", lambda asked: rows, 4)
    with serving(pages_of) as server:
        venue = polled_bar(tmp_path, server.url, 'paging = {by = "next_url", pointer = "/next"}')
        for page in range(3):
            child = os.fork()
            if not child:
                # Once ``page`` pages are through, the next one dies in its transaction.
                _die_at(monkeypatch, where, page)
                ask(venue, "20:00:00")
                os._exit(0)
            assert os.waitpid(child, 0)[1] in (9 << 8, 0)
            done = taken_ids(venue)
            assert done == [row["id"] for row in rows[: len(done)]] and len(done) % 4 in (0, 2)
            assert _pages_done(venue) == -(-len(done) // 4), "rows and cursor do not go together"
        ask(venue, "20:00:00")
    assert taken_ids(venue) == [row["id"] for row in rows]
    assert cursor(venue)["since_ms"] == ms("19:09:00")


def _pages_done(venue: VenueFolder) -> int:
    """By the cursor: pages of the run under way, or all of them where it is complete."""
    rows = venue.query("SELECT run FROM cursors")
    if not rows:
        return 0
    return int(json.loads(rows[0]["run"])["pages"]) if rows[0]["run"] else 3


def _die_at(monkeypatch: pytest.MonkeyPatch, where: tuple[object, str], page: int) -> None:
    module, name = where
    real, left = getattr(module, name), [page]

    def dies(*args: object, **options: object) -> object:
        left[0] -= 1
        return _die() if left[0] < 0 else real(*args, **options)

    monkeypatch.setattr(module, name, dies)


def test_a_store_that_refuses_leaves_the_cursor_where_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*args: object) -> None:
        raise StoreError("the disk is full")

    with serving(shop([sale("a", "19:00:00")])) as server:
        venue = polled_bar(tmp_path, server.url, since())
        with monkeypatch.context() as patched:
            patched.setattr(pages, "save_cursor", full)
            with pytest.raises(StoreError):
                ask(venue, "20:00:00")
        assert taken_ids(venue) == []
        ask(venue, "20:00:10")
    assert taken_ids(venue) == ["a"]


def test_a_file_and_an_answer_with_the_same_bytes_give_the_same_rows(tmp_path: Path) -> None:
    """One door for bytes: only where they came from differs."""
    content = document([sale("a", "19:00:00"), sale("b", "19:10:00", "Burger")])
    (tmp_path / "polled").mkdir()
    (tmp_path / "dropped").mkdir()
    with serving(lambda asked: Reply(content)) as server:
        polled = polled_bar(tmp_path / "polled", server.url)
        ask(polled, "06-12 12:00:00")
    dropped = polled_bar(tmp_path / "dropped", "http://127.0.0.1:1")
    dropped.edit("venue.toml", 'url = "http://127.0.0.1:1"', 'folder = "exports/till"')
    dropped.till.mkdir(parents=True)
    dropped.drop(dropped.till / "sales.json", content)
    dropped.intake()
    assert _rows(polled) == _rows(dropped) != []


def _rows(venue: VenueFolder) -> list[dict[str, object]]:
    rows = venue.query("SELECT * FROM movements ORDER BY ident")
    return [{key: value for key, value in row.items() if key not in ("id", "source")} for row in rows]


