"""From exports in folders to a day's ledger: coverage, what is missing, and what each row came from."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date, timedelta
from pathlib import Path

import pytest

from unrung.daybook import covered_until, day_inputs, ledger_of, ledger_so_far, missing
from unrung.ledger.inputs import LogLine, Origin
from unrung.ledger.results import DayLedger
from venue_folder import SHEET_FEED, VenueFolder, make_venue, ms, pour, ring

DAY = date(2025, 6, 10)


def taken(venue: VenueFolder) -> DayLedger:
    venue.catch_up()
    with venue.open() as (settings, db):
        return ledger_of(db, settings, DAY, {})


def test_a_day_whose_exports_are_all_there_is_final(tmp_path: Path) -> None:
    venue = make_venue(tmp_path)
    venue.rings("a.csv", [ring("20:00:30")], written="06-11 05:00:00")
    venue.pours("a.json", [pour("p", "20:00:00")], written="06-11 05:00:00")
    ledger = taken(venue)
    assert (ledger.status, ledger.missing) == ("final", ())
    assert ledger.rings_covered_ms == ledger.pours_covered_ms == 24 * 3_600_000


def test_a_feed_that_sent_nothing_is_missing(tmp_path: Path) -> None:
    venue = make_venue(tmp_path)
    venue.pours("a.json", [pour("p", "20:00:00")])
    ledger = taken(venue)
    assert (ledger.status, ledger.missing) == ("incomplete", ("no sales from 'till' for Tue, Jun 10",))
    assert [leaf.volumes.poured_not_compared for leaf in ledger.leaves] == [473_176]


CLOSED = 'name = "The Test Jug"', 'name = "The Test Jug"\nclosed = ["sun", "tue"]'
CLEANED = LogLine(1, Origin("log", 1, 1, ""), ms("06-10 12:00:00"), ms("06-10 12:30:00"), "", "cleaning", "",
                  "1", "", "", 1_000_000, None)


@pytest.mark.parametrize("closed", ['"tue"', '"06-10"', '"2025-06-10"', "2025-06-10"])
def test_of_a_day_without_trade_no_export_is_missed(tmp_path: Path, closed: str) -> None:
    """DAY is a Tuesday."""
    venue = make_venue(tmp_path)
    with venue.open() as (settings, db):
        assert len(day_inputs(db, settings, DAY).missing) == 2
    name, more = CLOSED
    venue.edit("venue.toml", name, more.replace('"tue"', closed))
    with venue.open() as (settings, db):
        assert day_inputs(db, settings, DAY).missing == []
        assert len(day_inputs(db, settings, DAY + timedelta(days=1)).missing) == 2
    venue.pours("a.json", [pour("p", "12:20:00")])
    assert taken(venue).missing == ("no sales from 'till' for Tue, Jun 10",)
    with venue.open() as (settings, db):
        inputs = day_inputs(db, settings, DAY)
        inputs.logs.append(CLEANED)
        none: dict[str, list[tuple[int, int]]] = {feed.name: [] for feed in settings.feed}
        assert missing(settings, inputs, none) == []
        inputs.logs[0] = CLEANED._replace(end_ms=ms("06-10 12:10:00"))
        assert len(missing(settings, inputs, none)) == 2


def test_a_holiday_that_is_written_down_later_is_final_and_counted_once(tmp_path: Path) -> None:
    venue = make_venue(tmp_path)
    for day, after in (("06-10", "06-11"), ("06-12", "06-13")):
        venue.rings(f"{day}.csv", [ring(f"{day} 20:10:20")], f"{after} 05:00:00")
        venue.pours(f"{day}.json", [pour(day, f"{day} 20:10:00")], f"{after} 05:00:00")
    statuses = {one.day.isoformat()[5:]: one.ledger.status for one in venue.catch_up("06-13 12:00:00").issued}
    assert statuses == {"06-10": "final", "06-11": "incomplete", "06-12": "final"}
    venue.edit("venue.toml", 'name = "The Test Jug"', 'name = "The Test Jug"\nclosed = ["06-11"]')
    later = [venue.catch_up(f"06-13 {hour}:00:00").issued for hour in (14, 16)]
    assert [[(one.day.isoformat()[5:], one.ledger.status) for one in some] for some in later] == [
        [("06-11", "final")], []]


def test_a_feed_that_stops_before_the_other_s_last_row_is_missing_from_then_on(tmp_path: Path) -> None:
    venue = make_venue(tmp_path)
    venue.rings("a.csv", [ring("14:00:30")], written="15:04:00")
    venue.pours("a.json", [pour("p", "14:00:00"), pour("q", "20:00:00")])
    assert taken(venue).missing == ("sales from 'till' for Tue, Jun 10 end at 3:04 PM",)


def test_a_hole_between_exports_is_named_where_something_went_on_in_it(tmp_path: Path) -> None:
    venue = make_venue(tmp_path, till='covers = "rows"')
    for name, times in (("a.csv", ("12:00:30", "15:00:00")), ("b.csv", ("15:20:00", "16:00:00")),
                        ("c.csv", ("18:00:00", "22:00:00"))):
        venue.rings(name, [ring(at) for at in times])
    venue.pours("a.json", [pour("o", "11:00:00"), pour("p", "15:10:00"), pour("q", "17:00:00")])
    assert taken(venue).missing == (
        "sales from 'till' for Tue, Jun 10 missing from 4:00 AM to 12:00 PM",
        "sales from 'till' for Tue, Jun 10 missing from 4:00 PM to 6:00 PM",
    )


def test_a_lone_row_names_the_file_and_line_that_it_came_from(tmp_path: Path) -> None:
    venue = make_venue(tmp_path)
    venue.rings("sales.csv", [ring("12:00:00", "Burger"), ring("20:00:30")], written="06-11 05:00:00")
    venue.pours("pours.json", [pour("p7", "16:00:00")], written="06-11 05:00:00")
    rows = {(one.kind, one.source_file, one.source_line, one.source_id) for one in taken(venue).lone}
    assert rows == {("ring", "sales.csv", 3, ""), ("pour", "pours.json", 1, "p7")}


def test_a_day_that_is_not_over_is_compared_only_up_to_a_moment(tmp_path: Path) -> None:
    venue = make_venue(tmp_path)
    venue.rings("a.csv", [ring("18:00:00")], written="20:00:00")
    venue.pours("a.json", [pour("p", "18:30:00"), pour("q", "19:50:00")], written="20:05:00")
    venue.catch_up(now="20:10:00")
    with venue.open("20:10:00") as (settings, db):
        assert covered_until(db, settings, DAY) == ms("20:00:00")
        ledger = ledger_so_far(db, settings, DAY, ms("19:40:00"))
        assert asdict(day_inputs(db, settings, DAY))["day"] == DAY
    assert (ledger.status, ledger.missing) == ("provisional", ())
    assert sum(leaf.volumes.poured_not_rung for leaf in ledger.leaves) == 473_176
    assert sum(leaf.volumes.poured_not_compared for leaf in ledger.leaves) == 473_176


SHEET = SHEET_FEED + """\
export = "overlap"
[feed.fields]
id = "No"
at = "From"
end = "Until"
reason = "Why"
volume = "Litres"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
volume_unit = "l"
[feed.formats.kinds]
cleaning = ["clean"]
"""


def cleaned(venue: VenueFolder, name: str, start: str, end: str, written: str = "23:59:00") -> None:
    """A sheet that says from when to when the lines were cleaned."""
    folder = venue.path / "exports" / "sheet"
    folder.mkdir(exist_ok=True)
    rows = f"No,From,Until,Why,Litres\n1,2025-{start},2025-{end},clean,\n"
    venue.drop(folder / name, rows.encode(), written)


def test_a_cleaning_over_the_day_s_edge_reaches_the_store_s_next_day(tmp_path: Path) -> None:
    venue = make_venue(tmp_path, more=SHEET)
    cleaned(venue, "a.csv", "06-10 03:50:00", "06-10 04:20:00")
    venue.rings("a.csv", [ring("20:00:30")])
    venue.pours("a.json", [pour("w", "04:10:00", ml=1_000), pour("p", "20:00:00")])
    ledger = taken(venue)
    assert sum(leaf.volumes.not_beer for leaf in ledger.leaves) == 1_000_000
    assert sum(leaf.volumes.poured_not_rung for leaf in ledger.leaves) == 0


def test_a_changed_end_of_a_cleaning_changes_every_day_as_if_it_had_been_known_before(tmp_path: Path) -> None:
    """A line begins to be cleaned on the business day of the 9th and still is on the 11th, by a sheet that
    comes late: pints poured just before 04:00 and rung just after lose their pours, a day after the next."""
    venues = [make_venue(tmp_path / name, more=SHEET) for name in ("late", "in time")]
    times = [f"{hour}:{minute}:00" for hour in range(14, 24) for minute in (15, 45)]
    trade = [f"06-{day} {at}" for day in (10, 11) for at in times]
    edge = [("06-11 03:50:00", "06-11 04:01:00"), ("06-11 03:54:00", "06-11 04:05:00")]
    for venue in venues:
        late = venue.path.name == "late"
        venue.rings("a.csv", [ring(at) for at in (*(rung for _, rung in edge), *trade)], "06-12 05:00:00")
        poured = [pour(at, at) for at in (*(end for end, _ in edge), *trade)]
        venue.pours("a.json", poured, "06-12 05:00:00")
        cleaned(venue, "a.csv", "06-10 03:55:00", "06-10 04:20:00", "06-10 12:00:00")
        if late:
            venue.catch_up("06-12 06:00:00")
        cleaned(venue, "b.csv", "06-10 03:55:00", "06-11 03:52:00", "06-12 05:10:00")
        venue.catch_up("06-12 11:30:00")
    sql = "SELECT * FROM leaves ORDER BY day, window_start_ms, product"
    known_late, known_before = (venue.query(sql) for venue in venues)
    assert known_late == known_before
    assert any(row["not_beer"] for row in known_late)
