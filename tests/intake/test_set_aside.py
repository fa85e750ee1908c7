"""What waits for a person: bad rows, files set aside, and what a fix makes of them."""

from __future__ import annotations

import csv
import io
import shutil
from pathlib import Path

import pytest

from unrung.intake.scan import scan
from venue_folder import VenueFolder, local, make_venue, ms, pour, ring, till_csv

VOID = ring("20:17:00", qty="-1", total="-7.00")
NEGATIVE = 'time = "%Y-%m-%d %H:%M:%S"\n\n[[feed]]'


@pytest.fixture
def venue(tmp_path: Path) -> VenueFolder:
    return make_venue(tmp_path / "v")


def allow_voids(venue: VenueFolder) -> None:
    venue.edit("venue.toml", NEGATIVE, NEGATIVE.replace("\n\n", '\nnegative_units = "void"\n\n'))


def table(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode())))


def test_reasons_name_file_line_field_value_reason_and_fix(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00"), ring("20:16:00", qty="=1+1"), VOID])
    venue.intake()
    assert [one.suffix for one in venue.path.glob("set_aside/till/*")] == [".csv", ".csv"]
    header, whole, *rows = table(venue.files("set_aside")["till/a.csv.reasons.csv"])
    assert header == ["file", "line", "field", "value", "reason", "fix"]
    assert whole[0] == "a.csv" and whole[4].startswith("2 of 3 rows cannot be read, so none is taken in")
    assert [row[:4] for row in rows] == [["a.csv", "3", "units", "'=1+1"], ["a.csv", "4", "units", "'-1"]]
    assert all(row[4] and row[5] for row in rows)


@pytest.mark.parametrize(("bad", "state", "current"), [(1, "taken", 3), (3, "taken", 3), (4, "set_aside", 0)])
def test_a_file_with_mostly_bad_rows_is_set_aside_whole(
    venue: VenueFolder, bad: int, state: str, current: int
) -> None:
    good = [ring("20:15:00"), ring("20:16:00"), ring("20:17:00")]
    venue.rings("a.csv", good + [ring("25:00:00")] * bad)
    done = venue.intake()
    assert ([one.state for one in done.taken], len(venue.current())) == ([state], current)
    assert done.taken[0].source.rejected == bad


def test_nothing_but_bad_rows_is_set_aside_however_many_are_allowed(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", till="max_bad_share = 1")
    venue.rings("a.csv", [ring("25:00:00")])
    assert [one.state for one in venue.intake().taken] == ["set_aside"]


def test_a_fix_of_the_settings_takes_in_the_waiting_rows_and_doubles_none(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00"), ring("20:15:00"), VOID])
    venue.intake()
    assert venue.waiting_rows() == [(4, "units", "-1")]
    assert "till/2025-06-12/a.csv.reasons.csv" in venue.files("archive")
    allow_voids(venue)
    venue.intake()
    assert [amount for _, _, amount in venue.current()] == [1_000_000, 1_000_000, -1_000_000]
    assert venue.waiting_rows() == [] and list(venue.files("archive")) == ["till/2025-06-12/a.csv"]
    assert venue.intake().taken == []


def test_a_fix_that_does_not_help_is_tried_once_and_the_rows_go_on_waiting(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00"), VOID])
    venue.intake()
    venue.edit("venue.toml", NEGATIVE, NEGATIVE.replace("\n\n", '\namounts = "each"\n\n'))
    assert len(venue.intake().taken) == 1
    assert venue.intake().taken == [] and len(venue.waiting_rows()) == 1


def test_a_set_aside_file_is_read_again_after_a_fix_and_then_archived(venue: VenueFolder) -> None:
    path = venue.drop(venue.till / "a.csv", till_csv([ring("20:15:00")]).replace(b"Time", b"When"))
    content = path.read_bytes()
    venue.intake()
    assert set(venue.files("set_aside")) == {"till/a.csv", "till/a.csv.reasons.csv"}
    venue.edit("venue.toml", 'at = "Time"', 'at = "When"')
    venue.intake("06-12 13:00:00")
    assert venue.files("set_aside") == {} and venue.files("archive") == {"till/2025-06-12/a.csv": content}
    assert venue.sources("state") == [("taken",)] and len(venue.current()) == 1
    assert venue.said[-1] == "till: a.csv read again, taken in, 1 new rows"


def test_a_set_aside_file_that_is_still_bad_gets_its_new_reasons(venue: VenueFolder) -> None:
    venue.drop(venue.till / "a.csv", b"When,Item,Qty,Total,Check\n2025-06-10,Pint,1,7,\n")
    venue.intake()
    venue.edit("venue.toml", 'at = "Time"', 'at = "When"')
    venue.intake()
    rows = table(venue.files("set_aside")["till/a.csv.reasons.csv"])
    assert rows[1][1:4] == ["2", "at", "2025-06-10"] and "is not a time of the form" in rows[1][4]
    assert venue.sources("state") == [("set_aside",)]


def test_a_file_that_was_too_big_comes_in_once_the_limit_is_raised(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", till="max_bytes = 100")
    venue.rings("a.csv", [ring("20:15:00"), ring("20:16:00")])
    assert [one.state for one in venue.intake().taken] == ["set_aside"]
    assert venue.intake().taken == []
    venue.edit("venue.toml", "max_bytes = 100", "max_bytes = 1000")
    venue.intake()
    assert venue.sources("state", "rows") == [("taken", 2)] and len(venue.current()) == 2
    assert venue.files("set_aside") == {}


def test_a_set_aside_file_may_be_mended_where_it_stands(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("25:15:00")])
    venue.intake()
    venue.drop(venue.path / "set_aside/till/a.csv", till_csv([ring("20:15:00")]), "06-12 11:00:00")
    assert venue.intake("06-12 11:00:02").taken == [], "it may still be being saved"
    venue.intake()
    assert len(venue.current()) == 1 and venue.waiting_rows() == []
    assert venue.files("set_aside") == {} and venue.sources("state") == [("taken",)]


def test_a_mended_copy_dropped_into_the_folder_leaves_the_bad_one_waiting(venue: VenueFolder) -> None:
    """Under one name a till may write file after file: the next good one mends nothing."""
    venue.rings("a.csv", [ring("25:15:00")])
    venue.intake()
    venue.rings("a.csv", [ring("20:15:00")])
    venue.intake()
    assert len(venue.current()) == 1 and venue.sources("state") == [("set_aside",), ("taken",)]
    (venue.path / "set_aside/till/a.csv").unlink()
    venue.intake()
    assert venue.sources("state") == [("gone",), ("taken",)] and venue.waiting_rows() == []
    assert venue.files("set_aside") == {}


def test_a_mere_look_at_the_folder_notices_what_was_mended_or_taken_away(venue: VenueFolder) -> None:
    for name in ("a.csv", "b.csv"):
        venue.rings(name, [ring("25:15:00", check=name)])
    venue.intake()
    venue.drop(venue.path / "set_aside/till/a.csv", till_csv([ring("20:15:00")]), "06-12 11:00:00")
    (venue.path / "set_aside/till/b.csv").unlink()
    with venue.open() as (settings, db):
        found = scan(db, settings, settings.feed[0], None, now_ms=ms("06-12 12:00:00"))
    assert [(one.source.name, one.state) for one in found.taken] == [("a.csv", "taken")]
    assert venue.sources("name", "state") == [("a.csv", "taken"), ("b.csv", "gone")]


def test_a_missing_folder_of_set_aside_files_settles_nothing(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("25:15:00")])
    venue.intake()
    shutil.move(venue.path / "set_aside", venue.path / "unplugged")
    venue.intake()
    venue.intake()
    assert venue.sources("state") == [("set_aside",)]


def test_the_same_bad_bytes_again_are_set_aside_again_and_not_archived(venue: VenueFolder) -> None:
    for name in ("a.csv", "b.csv", "a.csv"):
        venue.rings(name, [ring("25:15:00")])
        assert [one.state for one in venue.intake().taken] == ["set_aside"]
    assert venue.files("archive") == {} and venue.sources("state") == [("set_aside",)]
    assert len(venue.waiting_rows()) == 1


def test_a_bad_row_that_overlapping_exports_repeat_waits_once(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", export="overlap")
    rows = [ring(f"20:{minute}:00") for minute in range(10, 16)]
    for cut in range(3):
        part = rows[cut : cut + 3]
        venue.rings(f"{cut}.csv", [*part, ring("25:16:00"), ring("25:16:00")], f"23:00:0{cut}")
    venue.intake()
    assert venue.waiting_rows() == [(5, "at", local("25:16:00")), (6, "at", local("25:16:00"))]


def test_a_bad_row_that_a_later_export_has_right_waits_no_longer(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", export="overlap")
    venue.rings("a.csv", [ring("20:15:00"), ring("20:15:30"), ring("20:16:00", qty="l")])
    venue.intake()
    venue.rings("b.csv", [ring("20:15:00"), ring("20:15:30"), ring("20:16:00"), ring("20:17:00")])
    venue.intake()
    assert venue.waiting_rows() == [] and len(venue.current()) == 4


def test_reading_an_old_export_again_does_not_bring_back_what_a_newer_one_changed(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", ids=True)
    venue.rings("a.csv", [ring("20:15:00", id="1"), ring("20:16:00", id="2"), VOID | {"Id": "3"}])
    venue.intake()
    venue.rings("b.csv", [ring("20:15:00", id="1", qty="5")])
    venue.intake()
    allow_voids(venue)
    venue.intake()
    assert [amount for _, _, amount in venue.current()] == [5_000_000, 1_000_000, -1_000_000]


def test_reading_an_old_span_again_does_not_bring_back_what_a_newer_one_dropped(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", export="span")
    venue.rings("a.csv", [ring("20:15:00"), ring("20:16:00"), VOID], "20:30:00")
    venue.intake()
    venue.rings("b.csv", [ring("20:15:00"), ring("20:40:00")], "21:00:00")
    venue.intake()
    allow_voids(venue)
    venue.intake()
    assert [at[11:16] for at, _, _ in venue.current()] == ["20:15", "20:40"]


@pytest.mark.parametrize("export", ["append", "overlap", "span"])
def test_a_fix_of_the_fields_doubles_nothing_although_rows_have_no_id(tmp_path: Path, export: str) -> None:
    """What a row without an id is known by is the raw text of its mapped cells, and that changes."""
    venue = make_venue(tmp_path / "v", export=export)
    evening = [ring("20:15:00", check="1"), ring("20:15:00", check="2"), ring("20:16:00", check="2")]
    later = [ring("20:17:00", check="3")]
    venue.rings("a.csv", evening)
    venue.intake()
    venue.edit("venue.toml", 'check = "Check"\n', "")
    venue.rings("b.csv", later if export == "append" else evening + later, "23:59:10")
    venue.intake()
    assert [at[11:16] for at, _, _ in venue.current()] == ["20:15", "20:15", "20:16", "20:17"]
    assert not venue.query("SELECT 1 FROM movements WHERE superseded_by IS NULL AND check_no <> ''")


def test_a_wrong_edit_of_the_fields_leaves_what_was_taken_in_as_it_is(venue: VenueFolder) -> None:
    venue.rings("a.csv", [ring("20:15:00")])
    venue.intake()
    venue.edit("venue.toml", 'at = "Time"', 'at = "Tiem"')
    venue.rings("b.csv", [ring("20:16:00")])
    venue.intake()
    assert venue.sources("name", "state") == [("a.csv", "taken"), ("b.csv", "set_aside")]
    assert len(venue.current()) == 1
    assert len({*venue.sources("mapping_digest")}) == 1, "it would be tried at every look"
    venue.edit("venue.toml", 'at = "Tiem"', 'at = "Time"')
    venue.intake()
    assert venue.sources("name", "state") == [("a.csv", "taken"), ("b.csv", "taken")]


def test_reading_again_brings_what_waited_and_changes_no_row_that_was_good(tmp_path: Path) -> None:
    """The source may write in another way from now on: its old files are not to be read anew by it."""
    venue = make_venue(tmp_path / "v", meter_export="overlap")
    venue.edit("venue.toml", 'volume_unit = "ml"', 'volume_unit = "l"')
    venue.pours("a.json", [pour(f"p{n}", f"20:1{n}:00", ml=ml) for n, ml in enumerate((0.5, 0.4, 99))])
    venue.intake()
    venue.edit("venue.toml", 'volume_unit = "l"', 'volume_unit = "cl"')
    venue.intake()
    assert [amount for _, _, amount in venue.current("pour")] == [500_000, 400_000, 990_000]
