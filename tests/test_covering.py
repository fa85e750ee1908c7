"""A feed under another name, or another in its place: what is past goes on being compared."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from unrung.checking import check_folder
from unrung.covering import covers_of
from unrung.daybook import bounds_of
from venue_folder import DAY, NEXT, VenueFolder, make_venue, ms, pour, ring

SECOND_TILL = """
[[feed]]
name = "till2"
carries = "rings"
adapter = "csv"
folder = "exports/two"
pattern = "*.csv"
export = "append"
[feed.fields]
at = "Time"
item = "Item"
[feed.formats]
time = "%Y-%m-%d %H:%M:%S"
"""


def an_evening(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:10:20"), ring("20:20:20")])
    venue.pours("a.json", [pour("1", "20:10:00"), pour("2", "20:20:00"), pour("3", "20:30:00")])


def test_a_feed_that_is_renamed_leaves_the_past_compared(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar")
    an_evening(venue)
    venue.catch_up()
    venue.edit("venue.toml", 'name = "till"', 'name = "pos"')
    said = " ".join(" ".join(check_folder(venue.path, ms("06-12 12:00:00"), {}).shown()).split())
    assert "Feed 'pos' is new, and none is called 'till' now" in said
    venue.pours("b.json", [pour("9", "20:40:00")], "06-12 12:00:00")
    issued = next(one for one in venue.catch_up("06-12 18:00:00").issued if one.day.isoformat() == DAY)
    assert issued.changed and issued.ledger.missing == ()
    volumes = [leaf.volumes for leaf in issued.ledger.leaves]
    assert sum(one.matched_portion for one in volumes) > 0 and sum(one.poured_not_rung for one in volumes) > 0
    assert sum(one.poured_not_compared for one in volumes) == 0
    venue.rings("b.csv", [ring("06-13 20:30:20")], "06-13 23:00:00")
    venue.intake("06-13 23:30:00")
    assert "is new, and none is called" not in " ".join(
        check_folder(venue.path, ms("06-12 18:00:00"), {}).shown())


def test_a_till_that_is_gone_says_nothing_of_one_that_stood_beside_it(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar", more=SECOND_TILL)
    (venue.path / "exports" / "two").mkdir()
    an_evening(venue)
    venue.drop(venue.path / "exports" / "two" / "a.csv", b"Time,Item\n2025-06-11 20:15:00,Pint of Stout\n",
               "06-12 01:00:00")
    venue.catch_up()
    text = (venue.path / "venue.toml").read_text()
    (venue.path / "venue.toml").write_text(text.replace(SECOND_TILL, ""))
    with venue.open() as (settings, db):
        assert covers_of(db, settings, bounds_of(settings, date.fromisoformat(NEXT)))["till"] == []


def not_compared(venue: VenueFolder) -> list[int]:
    rows = venue.query("SELECT sum(poured_not_compared) AS all_of FROM leaves GROUP BY day ORDER BY day")
    return [row["all_of"] for row in rows]


def test_a_second_till_leaves_the_days_before_it_compared(tmp_path: Path) -> None:
    """Also where late data has one of them computed again; the days from then on need both."""
    venue = make_venue(tmp_path / "bar")
    an_evening(venue)
    venue.catch_up("06-11 12:00:00")
    (venue.path / "venue.toml").open("a").write(SECOND_TILL)
    (venue.path / "exports" / "two").mkdir()
    venue.catch_up("06-12 09:00:00")
    late, *following = pour("9", "20:40:00"), pour("10", "06-12 20:10:00"), pour("11", "06-12 20:20:00")
    venue.pours("b.json", [late, *following], "06-13 01:00:00")
    venue.rings("b.csv", [ring("06-12 20:10:20")], "06-13 01:00:00")
    done = venue.catch_up("06-13 12:00:00")
    before = next(one for one in done.issued if one.day.isoformat() == DAY)
    assert before.changed and before.ledger.status == "final" and before.ledger.missing == ()
    after = next(one for one in done.issued if one.day.isoformat() == "2025-06-12")
    assert after.ledger.missing == ("no sales from 'till2' for Thu, Jun 12",)
    assert not_compared(venue)[0] == 0
    assert sum(leaf.volumes.poured_not_compared for leaf in after.ledger.leaves) > 0


def test_a_second_till_of_the_first_day_is_missed(tmp_path: Path) -> None:
    """Holds the test before: nothing is compared without a till that was there."""
    venue = make_venue(tmp_path / "bar", more=SECOND_TILL)
    (venue.path / "exports" / "two").mkdir()
    an_evening(venue)
    (issued,) = [one for one in venue.catch_up("06-11 12:00:00").issued if one.day.isoformat() == DAY]
    assert issued.ledger.missing == ("no sales from 'till2' for Tue, Jun 10",)
    assert not_compared(venue)[0] > 0


def test_the_first_till_of_a_venue_of_meters_alone_compares_nothing_before_it(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "bar")
    text = (venue.path / "venue.toml").read_text()
    begin, end = text.index('[[feed]]\nname = "till"'), text.index('[[feed]]\nname = "meter"')
    (venue.path / "venue.toml").write_text(text[:begin] + text[end:])
    an_evening(venue)
    venue.catch_up("06-11 12:00:00")
    (venue.path / "venue.toml").write_text(text)
    (venue.till / "a.csv").unlink()
    venue.pours("b.json", [pour("9", "20:40:00")], "06-12 01:00:00")
    done = venue.catch_up("06-12 12:00:00")
    before = next(one for one in done.issued if one.day.isoformat() == DAY)
    assert before.ledger.missing == ("no sales from 'till' for Tue, Jun 10",)
    assert not_compared(venue)[0] > 0
