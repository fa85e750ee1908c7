"""The morning mail over days, sent to a real server: provisional and final, weekdays, new items."""

from __future__ import annotations

from collections.abc import Iterator
from email.message import EmailMessage
from pathlib import Path

import pytest

from mail.servers import Desk, serving
from service.evenings import evening, lone_pints, mailing_bar, rung_pints
from service.mails import sent, text
from unrung.menu_add import Wanted, add_item, say_unlisted
from unrung.unlisted import unlisted
from venue_folder import VenueFolder, ms, pour, ring


@pytest.fixture
def desk() -> Desk:
    return Desk()


@pytest.fixture
def bar(tmp_path: Path, desk: Desk) -> Iterator[VenueFolder]:
    with serving(desk) as port:
        yield mailing_bar(tmp_path / "bar", port)


def mails(desk: Desk) -> list[EmailMessage]:
    found = sent(desk)
    desk.taken.clear()
    return found


def a_day(bar: VenueFolder, day: str, after: str, lone: int, **pints: int) -> None:
    """The evening of ``day``, written on the morning ``after``."""
    evening(bar, day, f"{day} 18:00:00", f"{after} 05:00:00", lone=lone, **pints)


def status_of(bar: VenueFolder, day: str) -> str:
    """The status that the day's file bears."""
    (path,) = bar.path.glob(f"issued/daily/*{day}/variance-*.csv")
    header, row = (line.split(",") for line in path.read_text("utf-8").splitlines()[:2])
    return row[header.index("status")]


def test_a_day_that_one_feed_lacks_is_provisional_and_one_final_mail_follows(
    bar: VenueFolder, desk: Desk
) -> None:
    rings, pours = rung_pints("06-10 18:00:00", 24)
    bar.pours("a.json", [*pours, *lone_pints("06-10 18:00:00", 8)], "06-11 05:00:00")
    bar.catch_up("06-11 06:10:00")
    assert mails(desk) == []
    bar.catch_up("06-11 11:05:00")
    (first,) = mails(desk)
    assert first["Subject"] == "Tue, Jun 10, provisional: no sales from 'till'"
    start = "Provisional: no sales from 'till' for Tue, Jun 10, so nothing is compared."
    assert text(first).startswith(start)
    assert status_of(bar, "06-10") == "incomplete"

    bar.rings("a.csv", rings, "06-11 11:20:00")
    bar.catch_up("06-11 12:00:00")
    (last,) = mails(desk)
    assert last["Subject"] == "Tue, Jun 10, final: 128 fl oz (25.0%) not rung, Amber"
    assert text(last).startswith("Final: the data that was missing has come.")
    assert status_of(bar, "06-10") == "final"
    late, _ = rung_pints("06-10 21:00:00", 1)
    bar.rings("b.csv", late, "06-11 12:30:00")
    bar.catch_up("06-11 13:00:00")
    assert mails(desk) == []


def test_a_day_is_told_beside_the_same_weekday_from_the_third_week_on(bar: VenueFolder, desk: Desk) -> None:
    weeks = {"06-03": ("06-04", 2), "06-10": ("06-11", 4), "06-17": ("06-18", 9)}
    said = {}
    for day, (after, lone) in weeks.items():
        a_day(bar, day, after, lone)
        bar.catch_up(f"{after} 12:00:00")
        said[day] = " ".join(text(one) for one in mails(desk)).replace("\u00a0", " ")
    assert "usual" not in said["06-03"] + said["06-10"]
    assert "96 fl oz more than on a usual Tuesday (48, the middle of 2)." in said["06-17"]


@pytest.mark.usefixtures("one_by_one")
def test_an_item_that_the_menu_lacks_is_proposed_once_a_week_until_it_is_added(
    bar: VenueFolder, desk: Desk
) -> None:
    for n in range(10, 19):
        day, after = f"06-{n}", f"06-{n + 1}"
        rings, pours = rung_pints(f"{day} 18:00:00", 24)
        more = [ring(f"{day} 19:0{m}:30", "Half of Amber", total="4.00") for m in range(0, 9, 3)]
        halves = [pour(f"h{day}{m}", f"{day} 19:0{m}:10", ml=236.588) for m in range(0, 9, 3)]
        bar.rings(f"{day}.csv", [*rings, *more], f"{after} 05:00:00")
        bar.pours(f"{day}.json", [*pours, *halves], f"{after} 05:00:00")
        bar.catch_up(f"{after} 06:10:00")
        if n == 17:
            add_item(bar.path, Wanted("Half of Amber"), ms("06-18 12:00:00"), bar.said.append)
    found = [text(one).replace("\u00a0", " ") for one in mails(desk)]
    title = "1. New on the till: Half of Amber"
    proposed = [n for n, one in enumerate(found) if title in one]
    assert proposed == [0, 7]
    assert 'unrung add-item bar "Half of Amber"' in found[0]
    assert "or this row in menu.csv: Half of Amber,Amber,8," in found[0]
    assert "Nothing new to do." in found[1] and "'Half of Amber' is not in menu.csv (open 2 days)" in found[1]
    assert "Half of Amber" not in found[8] and "Nothing to do." in found[8]


@pytest.mark.parametrize("dated", [True, False], ids=["with a last day", "row taken out"])
def test_an_item_that_ran_out_is_not_asked_about_while_its_sales_are_recent(
    bar: VenueFolder, desk: Desk, dated: bool
) -> None:
    menu, line = bar.path / "menu.csv", "Half of Amber,Amber,8,4.00\n"
    listed = menu.read_text("utf-8")
    menu.write_text(listed + line, "utf-8")
    for n in range(10, 15):
        day, after = f"06-{n}", f"06-{n + 1}"
        rings, pours = rung_pints(f"{day} 18:00:00", 24)
        if n < 12:
            rings += [ring(f"{day} 19:0{m}:30", "Half of Amber", total="4.00") for m in range(0, 9, 3)]
            pours += [pour(f"h{day}{m}", f"{day} 19:0{m}:10", ml=236.588) for m in range(0, 9, 3)]
        bar.rings(f"{day}.csv", rings, f"{after} 05:00:00")
        bar.pours(f"{day}.json", pours, f"{after} 05:00:00")
        bar.catch_up(f"{after} 06:10:00")
        if n == 11:
            header, *others = listed.replace("price", "price,to", 1).splitlines()
            rows = [header, *(f"{row}," for row in others), line.strip() + ",2025-06-11", ""]
            menu.write_text("\n".join(rows) if dated else listed, "utf-8")
    assert not any("Half of Amber" in text(one).replace("\u00a0", " ") for one in mails(desk))
    said, now_ms = list[str](), ms("06-15 12:00:00")
    assert not say_unlisted(bar.path, now_ms, said.append), said
    with bar.open("06-15 12:00:00") as (settings, db):
        assert unlisted(db, settings, "till", now_ms) == {}
