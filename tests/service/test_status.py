"""What ``unrung status`` says in each state, and that it changes nothing."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from mail.servers import Desk, free_port, serving
from service.evenings import evening, mailing_bar
from service.mails import put_mail
from service.real import KILL, running, unrung, until, words
from unrung.checking import check_folder
from unrung.opening import look_at_venue
from unrung.status import Holder, collect
from unrung.status_text import WIDTH, lines
from unrung.store.days import set_fact
from unrung.store.open import write_tx
from venue_folder import VenueFolder, make_venue, ms, pour, ring

NOBODY = Holder(held=False)
SELF = Holder(held=True, pid=77)
EVENING = "06-10 23:00:00"


def state_at(bar: VenueFolder, now: str, holder: Holder = NOBODY) -> dict[str, Any]:
    settings, db = look_at_venue(bar.path, ms(now))
    try:
        return collect(db, settings, ms(now), holder)
    finally:
        db.close()


@pytest.fixture
def bar(tmp_path: Path) -> VenueFolder:
    """One evening, taken in by hand that night."""
    venue = make_venue(tmp_path / "bar")
    evening(venue, "a", "18:00:00", "22:50:00")
    venue.catch_up(EVENING)
    return venue


def test_all_is_well_after_an_evening_taken_in_by_hand(bar: VenueFolder) -> None:
    state = state_at(bar, EVENING)
    assert state["attention"] == []
    assert state["feeds"]["till"]["last_export"] == "a.csv" and state["feeds"]["till"]["rows"] == 24
    assert state["days"]["next"] == {
        "day": "2025-06-10", "due": "2025-06-11T06:00:00-04:00", "latest": "2025-06-11T11:00:00-04:00",
        "waits_for": [],
    }
    assert state["store"]["movements"] == 48 and state["store"]["bytes"] > 0


@pytest.mark.parametrize(("seen", "stopped", "holder", "said", "wrong"), [
    ("22:58:00", False, SELF, "running", False),
    ("22:56:00", False, SELF, "silent", True),
    ("22:58:00", False, NOBODY, "ended", True),
    ("22:58:00", True, NOBODY, "stopped", True),
    ("21:00:00", True, NOBODY, "stopped", True),
    ("22:58:00", True, Holder(held=True, pid=5), "other", False),
])  # fmt: skip
def test_a_service_that_says_nothing_or_left_its_lock_does_not_run(
    seen: str, stopped: bool, holder: Holder, said: str, wrong: bool, bar: VenueFolder
) -> None:
    sign(bar, seen, stopped=stopped)
    state = state_at(bar, EVENING, holder)
    assert state["service"]["state"] == said
    assert bool(state["attention"]) is wrong


def test_who_goes_over_to_catching_up_by_hand_is_not_asked_for_the_service(bar: VenueFolder) -> None:
    sign(bar, "20:00:00", stopped=True)
    assert state_at(bar, EVENING)["attention"]
    bar.catch_up("06-10 23:05:00")
    assert state_at(bar, "06-10 23:06:00")["attention"] == []


def test_the_problems_of_a_running_service_are_told(bar: VenueFolder) -> None:
    sign(bar, "22:59:00", problems={"feed till": "the folder cannot be listed"})
    assert state_at(bar, EVENING, SELF)["attention"] == ["feed till: the folder cannot be listed"]


def test_a_feed_is_silent_by_its_own_rhythm(tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar")
    for day in range(10, 17):
        bar.rings(f"{day}.csv", [ring(f"06-{day} 20:15:00")], f"06-{day} 23:00:00")
        for hour in (18, 20, 22):
            bar.pours(f"{day}{hour}.json", [pour(f"{day}{hour}", f"06-{day} {hour}:14:00")],
                      f"06-{day} {hour}:30:00")
        bar.intake(f"06-{day} 23:30:00")
    feeds = state_at(bar, "06-18 12:00:00")["feeds"]
    assert feeds["till"]["silent"] == "" and feeds["meter"]["silent"] == ""
    feeds = state_at(bar, "06-19 20:00:00")["feeds"]
    assert feeds["till"]["silent"] == "silent for 3 days, usually at most 24 hours"
    assert feeds["meter"]["silent"] == "silent for 3 days, usually at most 20 hours"


def test_history_copied_in_at_once_makes_no_feed_silent(tmp_path: Path) -> None:
    """A plain copy gives every file the same time; the next export may come in the night."""
    bar = make_venue(tmp_path / "bar")
    for day in range(10, 17):
        bar.rings(f"{day}.csv", [ring(f"06-{day} 20:15:00")], "06-17 09:00:00")
        bar.pours(f"{day}.json", [pour(f"{day}", f"06-{day} 20:14:00")], "06-17 09:00:00")
    bar.catch_up("06-17 12:00:00")
    assert state_at(bar, "06-18 01:00:00")["attention"] == []


def test_bad_rows_exports_set_aside_and_draught_that_is_not_listed_need_a_person(tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar")
    (bar.path / "products.csv").open("a").write("Millrace Gold,50 l,95.00\n")
    bad = {**ring("20:20:00"), "Total": "a lot"}
    others = [ring("20:25:00", "Millrace Gold Jug"), ring("20:26:00", "Shirt")]
    bar.rings("a.csv", [ring("20:15:00"), bad, *others])
    bar.drop(bar.till / "b.csv", b"this is no till export\n")
    bar.pours("a.json", [pour("1", "20:14:00")])
    bar.catch_up("06-10 23:59:30")
    state = state_at(bar, "06-10 23:59:40")
    assert state["feeds"]["till"]["unlisted_items"] == 2
    assert [text.partition(": ")[2][:40] for text in state["attention"]] == [
        "1 row could not be read; see the reasons", "1 export of 'till' could not be taken in",
        "For whoever looks after the program, fee",
        "the till sells what looks like draught a",
    ]
    assert "Millrace Gold Jug" in state["attention"][3]
    assert {row["file"]: row["value"] for row in state["rejects"]}["a.csv"] == "a lot"
    assert "a.csv, line 3, field 'amount':\n  'a lot' is no" in "\n".join(lines(state))


def test_an_item_that_got_another_name_is_not_told_as_unlisted(tmp_path: Path) -> None:
    """The old button was listed on each day that it was sold; one that is pressed later is not."""
    bar = make_venue(tmp_path / "bar", ids=True)
    bar.edit("menu.csv", "item,product,portion,price\n", "item,product,portion,price,from,to\n")
    bar.edit("menu.csv", "Pint of Amber,Amber,16,7.00\n",
             "Amber 16oz,Amber,16,7.00,,2025-06-10\nPlu 1,Amber,16,7.00,2025-06-11,\n")
    sold = [ring("20:15:00", "Amber 16oz", id="1"), ring("06-11 20:15:00", "Plu 1", id="2")]
    bar.rings("a.csv", sold, "06-12 04:30:00")
    bar.pours("a.json", [pour("1", "20:14:00"), pour("2", "06-11 20:14:00")], "06-12 04:30:00")

    def told(now: str) -> tuple[int, bool]:
        lines = check_folder(bar.path, ms(now), {}).lines
        return state_at(bar, now)["feeds"]["till"]["unlisted_rows"], any("not list" in line for line in lines)

    assert not any("not list" in line for line in check_folder(bar.path, ms("06-12 06:00:00"), {}).lines)
    bar.catch_up("06-12 12:00:00")
    assert told("06-12 12:10:00") == (0, False)
    bar.rings("b.csv", [ring("06-11 21:15:00", "Amber 16oz", id="3")], "06-12 12:30:00")
    bar.catch_up("06-12 13:30:00")
    assert told("06-12 13:40:00") == (1, True)


def test_an_export_that_is_none_as_a_whole_is_told_without_a_line(tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar")
    bar.drop(bar.till / "b.csv", bytes.fromhex("d0cf11e0a1b11ae1") + bytes(99))  # as an old workbook
    bar.catch_up("06-10 23:59:30")
    told = lines(state_at(bar, "06-10 23:59:40"))
    assert told[told.index("b.csv:") + 1].startswith("  is a spreadsheet's workbook")


def test_days_that_nobody_issued_are_overdue_an_hour_after_their_latest_time(bar: VenueFolder) -> None:
    assert state_at(bar, "06-11 11:59:00")["attention"] == []
    (said,) = state_at(bar, "06-11 12:01:00")["attention"]
    assert said == "1 day overdue and not issued, the first is Tue, Jun 10"


def test_the_next_day_is_told_after_days_without_any_data(bar: VenueFolder) -> None:
    bar.catch_up("06-16 12:00:00")
    assert state_at(bar, "06-16 12:01:00")["days"]["next"]["day"] == "2025-06-16"
    assert state_at(bar, "06-17 07:00:00")["days"]["next"]["day"] == "2025-06-16"


def test_what_a_due_day_waits_for_is_told(tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar")
    bar.rings("a.csv", [ring("20:15:00")])
    bar.catch_up("06-11 06:30:00")
    coming = state_at(bar, "06-11 06:31:00")["days"]["next"]
    assert coming["waits_for"] == ["no pours from 'meter' for Tue, Jun 10"]


def test_a_refused_address_needs_a_person_until_a_mail_reaches_it(tmp_path: Path) -> None:
    desk = Desk(refuse={"ann@example.org": "550 5.1.1 no such user"})
    with serving(desk) as port:
        bar = mailing_bar(tmp_path / "bar", port)
        evening(bar, "a", "18:00:00", "22:50:00", lone=6)
        bar.catch_up(EVENING)
        assert "550 5.1.1 no such user" in state_at(bar, EVENING)["attention"][0]
        desk.refuse.clear()
        bar.catch_up("06-11 11:30:00")
        assert state_at(bar, "06-11 11:31:00")["attention"] == []


def test_a_mail_that_waits_needs_a_person_after_an_hour(tmp_path: Path) -> None:
    bar = mailing_bar(tmp_path / "bar", free_port())
    put_mail(bar, ms(EVENING))
    evening(bar, "a", "18:00:00", "22:50:00")
    bar.catch_up(EVENING)
    assert state_at(bar, "06-10 23:59:00")["attention"] == []
    assert "could not be reached" in state_at(bar, "06-11 00:01:00")["attention"][0]


@pytest.mark.parametrize(("locale", "day", "due"), [
    ("en_US", "Tue, Jun 10, 2025", "Wed, Jun 11, 2025, 6:00 AM"),
    ("en_GB", "Tue, 10 Jun 2025", "Wed, 11 Jun 2025, 06:00"),
    ("de_DE", "Di., 10. Juni 2025", "Mi., 11. Juni 2025, 06:00"),
])  # fmt: skip
def test_the_screen_has_days_by_place_and_the_monitor_iso_ones(
    locale: str, day: str, due: str, bar: VenueFolder
) -> None:
    toml = bar.path / "venue.toml"
    toml.write_text(toml.read_text().replace("[venue]", f'[venue]\nlocale = "{locale}"'))
    state = state_at(bar, EVENING)
    shown = " ".join(" ".join(lines(state)).split())
    assert f"Next {day}, due {due}, by" in shown
    assert state["days"]["next"]["due"] == "2025-06-11T06:00:00-04:00"


def test_no_line_is_wider_than_the_screen(bar: VenueFolder) -> None:
    sign(bar, "22:59:00", problems={"config": "a long sentence " * 20})
    bar.drop(bar.till / ("name " * 30 + ".csv"), b"nothing of use\n")
    bar.catch_up(EVENING)
    state = state_at(bar, "06-20 12:00:00", SELF)
    assert max(map(len, lines(state))) <= WIDTH


def test_status_before_anything_ran_makes_nothing(tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar")
    before = sorted(bar.path.rglob("*"))
    ended = unrung("status", bar.path)
    assert ended.returncode == 1 and "has never run here" in words(ended.stdout)
    assert sorted(bar.path.rglob("*")) == before


def test_the_command_tells_a_running_service_from_one_that_was_killed(tmp_path: Path) -> None:
    bar = make_venue(tmp_path / "bar")
    with running(bar.path) as service:
        until(lambda: service.rows("SELECT 1 FROM facts WHERE name = 'service'"), "a sign of life")
        state = json.loads(unrung("status", bar.path, "--json").stdout)
        assert state["service"]["state"] == "running" and state["service"]["pid"] == service.process.pid
        service.stop(KILL)
    ended = unrung("status", bar.path)
    assert ended.returncode == 1 and "ended without a word" in words(ended.stdout)


def sign(
    bar: VenueFolder, seen: str, *, stopped: bool = False, problems: dict[str, str] | None = None
) -> None:
    """A sign of life of process 77."""
    said = {
        "pid": 77, "version": "1", "started_ms": ms("18:00:00"), "seen_ms": ms(seen),
        "stopped": stopped, "problems": problems or {},
    }
    with bar.open() as (_, db), write_tx(db):
        db.execute("DELETE FROM facts WHERE name = 'catch_up'")
        set_fact(db, "service", json.dumps(said))
