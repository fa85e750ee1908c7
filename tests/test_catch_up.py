"""Catch-up from one end to the other: exports in, days out, again where they differ, in any order."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from itertools import permutations
from pathlib import Path

import pytest

from small_disk import small_disk
from unrung.catch_up import CaughtUp
from unrung.errors import StoreError, UnrungError
from unrung.mail.sink import sink
from venue_folder import DAY, NEXT, VenueFolder, make_venue, ms, pour, ring

VARIANCE = f"daily/{DAY}/variance-{DAY}.csv"


def evening(venue: VenueFolder, day: str = "06-10", written: str = "23:59:00") -> None:
    """Six pints, five of them rung, an hour of trade."""
    rings = [ring(f"{day} 20:{minute}:20") for minute in (10, 20, 30, 40, 50)]
    pours = [pour(f"{day} {minute}", f"{day} 20:{minute}:00") for minute in (10, 20, 30, 40, 50, 55)]
    venue.rings(f"till {day}.csv", rings, f"{day} {written}")
    venue.pours(f"meter {day}.json", pours, f"{day} {written}")


def issued(done: CaughtUp) -> list[tuple[str, int, bool]]:
    return [(one.day.isoformat(), one.revision, one.changed) for one in done.issued]


def figures(venue: VenueFolder, name: str = VARIANCE) -> dict[str, dict[str, str]]:
    """Product to its row of a day's variance."""
    text = venue.files()[name].decode("utf-8-sig")
    return {row["product"]: row for row in csv.DictReader(io.StringIO(text))}


def without_revision(files: dict[str, bytes]) -> dict[str, bytes]:
    """The files with the revision, and the hashes that it is in, taken out."""
    found = {}
    for name, content in files.items():
        text = content.decode("utf-8-sig", "replace")
        if name.endswith(".json"):
            text = re.sub(r'"(hash|bytes|revision)": ?("[^"]*"|\d+)', "", text)
        elif name.endswith(".csv"):
            rows = list(csv.DictReader(io.StringIO(text)))
            text = repr([{key: cell for key, cell in row.items() if key != "revision"} for row in rows])
        found[name] = re.sub(r"[Rr]evision \d+", "", text).encode()
    return found


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v", export="overlap")


def test_a_day_comes_out_that_foots(venue: VenueFolder) -> None:
    evening(venue)
    done = venue.catch_up("06-11 11:30:00")
    assert issued(done) == [(DAY, 1, True)]
    amber = figures(venue)["Amber"]
    assert (amber["poured"], amber["rung"], amber["poured_not_rung"]) == ("96.000", "80.000", "16.000")
    assert (amber["status"], amber["revision"]) == ("final", "1")


def test_nothing_is_issued_before_its_time_and_once_the_time_has_come(venue: VenueFolder) -> None:
    evening(venue)
    assert issued(venue.catch_up("06-11 05:59:00")) == []
    assert issued(venue.catch_up("06-11 06:00:00")) == [(DAY, 1, True)]
    done = venue.catch_up("06-11 06:01:00")
    assert (issued(done), done.taken, done.needs_attention) == ([], [], False)


def test_of_a_long_backlog_only_the_last_ledgers_are_kept(
    venue: VenueFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("unrung.catch_up.WHOLE", 2)
    for day in ("06-07", "06-08", "06-09", "06-10"):
        evening(venue, day)
    done = venue.catch_up("06-11 11:30:00")
    assert [bool(one.ledger.leaves) for one in done.issued] == [False, False, True, True]
    assert all(one.ledger.facts is None and one.ledger.status == "final" for one in done.issued)


def test_a_late_ring_makes_the_next_revision_of_its_day_only(venue: VenueFolder) -> None:
    evening(venue)
    evening(venue, "06-11")
    venue.catch_up()
    before = venue.files()
    venue.rings("late.csv", [ring("20:55:30")], "06-12 12:30:00")
    done = venue.catch_up("06-12 13:00:00")
    assert issued(done) == [(DAY, 2, True), (NEXT, 1, False)]
    amber = figures(venue)["Amber"]
    assert (amber["poured_not_rung"], amber["revision"]) == ("0.000", "2")
    after = venue.files()
    assert {name: content for name, content in before.items() if NEXT in name} == {
        name: content for name, content in after.items() if NEXT in name}
    kept = venue.query("SELECT DISTINCT day, revision FROM issued ORDER BY 1, 2")
    assert [tuple(row.values()) for row in kept] == [(DAY, 1), (DAY, 2), (NEXT, 1)]


def test_holes_between_days_with_data_are_issued_too(venue: VenueFolder) -> None:
    evening(venue)
    evening(venue, "06-14", "23:59:30")
    days = [day[5:] for day, _, _ in issued(venue.catch_up("06-15 12:00:00"))]
    assert days == ["06-10", "06-11", "06-12", "06-13", "06-14"]


def test_late_rows_that_change_no_figure_make_no_revision(venue: VenueFolder) -> None:
    """A ring of the day after touches the day before, whose files stay as they are."""
    evening(venue)
    venue.catch_up("06-11 11:30:00")
    before = venue.files()
    venue.rings("again.csv", [ring(f"20:{minute}:20") for minute in (10, 20, 30)], "06-11 12:00:00")
    assert issued(venue.catch_up("06-11 12:30:00")) == []
    venue.rings("next.csv", [ring("06-11 20:00:00", "Burger")], "06-11 20:30:00")
    assert issued(venue.catch_up("06-11 21:00:00")) == [(DAY, 1, False)]
    assert venue.files() == before
    assert venue.query("SELECT dirty, revision FROM days WHERE day = ?", DAY) == [{"dirty": 0, "revision": 1}]


def test_the_order_in_which_days_and_sides_arrive_does_not_matter(tmp_path: Path) -> None:
    parts: dict[str, Callable[[VenueFolder], object]] = {
        "till 1": lambda v: v.rings("t1.csv", [ring("20:10:20"), ring("06-11 03:58:50")], "06-11 03:59:30"),
        "till 2": lambda v: v.rings("t2.csv", [ring("06-11 04:01:10"), ring("06-11 20:10:20")],
                                    "06-11 23:59:00"),
        "meter 1": lambda v: v.pours("m1.json", [pour("a", "20:10:00"), pour("b", "06-11 03:59:00")],
                                     "06-11 03:59:30"),
        "meter 2": lambda v: v.pours("m2.json", [pour("c", "06-11 04:00:40"), pour("d", "06-11 20:10:00")],
                                     "06-11 23:59:00"),
    }  # fmt: skip
    ends = []
    for number, order in enumerate(list(permutations(parts))[::3]):
        venue = make_venue(tmp_path / str(number))
        for hour, name in enumerate(order, 12):
            parts[name](venue)
            venue.catch_up(f"06-12 {hour}:00:00")
        ends.append(without_revision(venue.files()))
    assert all(end == ends[0] for end in ends[1:])
    assert len(ends) == 8 and len(ends[0]) >= 12


@pytest.mark.parametrize("absent", ["till", "meter"])
def test_without_one_side_the_day_waits_and_is_then_issued_as_incomplete(
    venue: VenueFolder, absent: str
) -> None:
    evening(venue)
    for path in (venue.path / "exports" / absent).iterdir():
        path.unlink()
    assert issued(venue.catch_up("06-11 06:30:00")) == []
    done = venue.catch_up("06-11 11:00:00")
    assert issued(done) == [(DAY, 1, True)]
    what = {"till": "no sales from 'till' for Tue, Jun 10", "meter": "no pours from 'meter' for Tue, Jun 10"}
    assert done.issued[0].ledger.missing == (what[absent],)
    assert {row["status"] for row in figures(venue).values()} <= {"incomplete"}


def mailing(tmp_path: Path, port: int) -> VenueFolder:
    return make_venue(tmp_path / "v", export="overlap", more=(
        f'[mail]\nhost = "127.0.0.1"\nport = {port}\nsecurity = "none"\nsender = "bar@jug.example"\n'
        'to = ["manager@jug.example"]\n'
        '[[alert]]\nname = "product_day"\nper = "product_day"\nmin_pct = 3\nmin_volume = 8\nhold_days = 0\n'
    ))  # fmt: skip


def test_a_missing_feed_leads_the_mail_and_raises_no_loss(tmp_path: Path) -> None:
    with sink() as server:
        venue = mailing(tmp_path, server.port)
        evening(venue)
        next(venue.till.iterdir()).unlink()
        done = venue.catch_up("06-11 11:30:00")
        assert done.mails == 1
        (mail,) = server.received
    text = mail.content.decode()
    body = text.split("text/plain", 1)[1].split("\r\n\r\n", 1)[1]
    assert body.lstrip().splitlines()[0].startswith("Provisional: no sales from 'till' for Tue, Jun 10")
    subject = re.search(r"^Subject: (.*)$", text, re.M)
    assert subject and "not rung" not in subject[1]
    assert venue.query("SELECT * FROM alerts") == []


def test_a_till_that_stops_in_the_evening_is_told_with_the_hour(tmp_path: Path) -> None:
    """Not as "sales from 'till'", which reads as though they were there."""
    with sink() as server:
        venue = mailing(tmp_path, server.port)
        evening(venue)
        venue.rings("till 06-10.csv", [ring("14:00:30")], "15:04:00")
        venue.catch_up("06-11 11:30:00")
        (mail,) = server.received
    (said,) = [one for one in venue.said if one.startswith("issued")]
    assert said == f"issued {DAY} revision 1, sales from 'till' end at 3:04 PM"
    assert b"\nSubject: Tue, Jun 10, provisional: sales from 'till' end at 3:04 PM" in mail.content


def test_a_complete_day_with_the_same_loss_does_raise_it(tmp_path: Path) -> None:
    """Holds the test before: the rule is on, only the missing feed kept it still."""
    with sink() as server:
        venue = mailing(tmp_path, server.port)
        evening(venue)
        venue.catch_up("06-11 11:30:00")
        (mail,) = server.received
    assert re.search(r"^Subject: .*16 fl oz", mail.content.decode(), re.M)
    assert len(venue.query("SELECT * FROM alerts")) == 1


def test_a_mail_that_was_sent_is_not_sent_again(tmp_path: Path) -> None:
    with sink() as server:
        venue = mailing(tmp_path, server.port)
        evening(venue)
        for hour in (11, 12, 13):
            venue.catch_up(f"06-11 {hour}:30:00")
        venue.rings("late.csv", [ring("20:55:30")], "06-11 14:00:00")
        assert issued(venue.catch_up("06-11 14:30:00")) == [(DAY, 2, True)]
        assert len(server.received) == 1


def test_a_dated_edit_issues_its_days_again_and_an_undated_one_does_not(venue: VenueFolder) -> None:
    evening(venue)
    evening(venue, "06-11")
    venue.catch_up()
    venue.edit("menu.csv", "Pint of Stout,Stout,16,8.00", "Pint of Stout,Stout,16,9.00")
    venue.edit("menu.csv", "Pint of Amber,Amber,16,7.00", "Pint of Amber,Amber,14,7.00")
    assert issued(venue.catch_up("06-12 13:00:00")) == []
    venue.edit("menu.csv", "price\n", "price,from\n")
    venue.edit("menu.csv", "Pint of Amber,Amber,14,7.00", "Pint of Amber,Amber,14,7.00,2025-06-11")
    done = venue.catch_up("06-12 14:00:00")
    assert issued(done) == [(DAY, 1, False), (NEXT, 2, True)]
    assert figures(venue)["Amber"]["rung"] == "80.000"
    assert figures(venue, VARIANCE.replace(DAY, NEXT))["Amber"]["rung"] == "70.000"


def test_an_item_that_the_menu_gains_is_resolved_on_every_day(venue: VenueFolder) -> None:
    evening(venue)
    venue.rings("half.csv", [ring("20:56:00", "BIÈRE  du jour")], "23:59:30")
    venue.catch_up()
    assert figures(venue)["Amber"]["poured_not_rung"] == "16.000"
    venue.edit("menu.csv", "Burger,,,", "Burger,,,\nBière du Jour,Amber,16,6.00")
    done = venue.catch_up("06-12 13:00:00")
    assert (DAY, 2, True) in issued(done)
    assert figures(venue)["Amber"]["poured_not_rung"] == "0.000"


def test_a_tap_that_the_list_gains_by_its_meter_is_compared_on_every_day(venue: VenueFolder) -> None:
    evening(venue)
    venue.pours("m9.json", [pour("m9", "20:57:00", tap="M9")], "23:59:30")
    venue.catch_up()
    assert figures(venue)["Stout"]["poured"] == "0.000"
    venue.edit("taps.csv", "2,M2,Bar,Stout,yes", "2,M2,Bar,Stout,yes\n9,M9,Bar,Stout,yes")
    assert (DAY, 2, True) in issued(venue.catch_up("06-12 13:00:00"))
    assert figures(venue)["Stout"]["poured_not_rung"] == "16.000"


def test_a_file_that_somebody_holds_open_is_put_beside_and_told(venue: VenueFolder) -> None:
    evening(venue)
    venue.catch_up("06-11 11:30:00")
    path = venue.path / "issued" / VARIANCE
    path.unlink()
    path.mkdir()
    venue.rings("late.csv", [ring("20:55:30")], "06-11 12:00:00")
    done = venue.catch_up("06-11 12:30:00")
    assert done.needs_attention and "could not be replaced" in done.problems[0]
    assert path.with_name(path.name + ".new").is_file()


def test_a_full_disk_under_the_issued_files_ends_in_a_sentence_and_the_next_run_mends_it(
    venue: VenueFolder,
) -> None:
    evening(venue)
    with small_disk(venue.path / "issued", 64) as disk:
        (disk / "filler").write_bytes(b"x" * 60 * 1024)
        with pytest.raises(UnrungError, match="cannot be written: No space left"):
            venue.catch_up("06-11 11:30:00")
        assert venue.query("SELECT * FROM issued") == [] and len(venue.current()) == 5
    assert issued(venue.catch_up("06-11 12:00:00")) == [(DAY, 1, True)]
    assert ms("06-11 12:00:00") == venue.query("SELECT issued_ms AS at FROM days WHERE day = ?", DAY)[0]["at"]


def test_a_full_disk_under_the_store_ends_in_a_sentence_and_nothing_is_lost(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", more='[files]\nstore = "disk/unrung.sqlite"\n')
    with small_disk(venue.path / "disk", 1024) as disk:
        venue.catch_up("06-11 11:30:00")
        (disk / "filler").write_bytes(b"x" * 700 * 1024)
        rings = [ring(f"20:{number // 60:02}:{number % 60:02}", check=str(number)) for number in range(3000)]
        path = venue.rings("a.csv", rings)
        with pytest.raises(StoreError, match=r"is full, or fails: .* Free some space"):
            venue.catch_up("06-11 12:00:00")
        assert path.exists() and venue.current() == [] and venue.sources("state") == []
        (disk / "filler").unlink()
        rings = rings[:200]
        venue.rings("a.csv", rings)
        done = venue.catch_up("06-11 12:30:00")
        assert len(venue.current()) == 200 and not done.problems and not path.exists()
