"""What is one sale and what is two, across rows, files and ways of exporting."""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from unrung.catch_up import take_in_all
from unrung.intake import take_in
from unrung.intake.said import rows_came
from venue_folder import Row, VenueFolder, local, make_venue, ms, pour, ring

AMBER, STOUT = "Pint of Amber", "Pint of Stout"
PINTS = [ring("20:15:00"), ring("20:15:00"), ring("20:16:00", STOUT), ring("20:20:00")]


def counted(venue: VenueFolder) -> list[tuple[str, str]]:
    """Clock time and item of the current rings."""
    return [(at[11:16], what) for at, what, _ in venue.current()]


def test_two_equal_pints_in_one_minute_are_two_sales(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v")
    venue.rings("a.csv", PINTS)
    venue.intake()
    assert counted(venue) == [("20:15", AMBER), ("20:15", AMBER), ("20:16", STOUT), ("20:20", AMBER)]


@pytest.mark.parametrize("export", ["append", "overlap", "span"])
@pytest.mark.parametrize("ids", [True, False])
def test_the_same_bytes_under_another_name_change_nothing(
    tmp_path: Path, export: str, ids: bool
) -> None:
    venue = make_venue(tmp_path / "v", export=export, ids=ids)
    rows = [row | {"Id": str(number)} for number, row in enumerate(PINTS)]
    venue.rings("a.csv", rows)
    venue.intake()
    before = venue.query("SELECT * FROM movements")
    venue.rings("b.csv", rows)
    venue.rings("a.csv", rows)
    done = venue.intake(now="06-12 13:00:00")
    assert venue.query("SELECT * FROM movements") == before
    assert [taken.state for taken in done.taken] == ["duplicate", "duplicate"]
    assert done.taken[0].source.reason == "the same bytes came before as a.csv"
    assert not venue.query("SELECT * FROM days WHERE changed_ms = ?", ms("06-12 13:00:00"))
    assert list(venue.files("archive")) == ["till/2025-06-12/a.csv", "till/2025-06-12/b.csv"]


def test_appended_files_add_equal_rows_of_another_file(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", export="append")
    venue.rings("a.csv", [ring("20:15:00"), ring("20:15:00")])
    venue.rings("b.csv", [ring("20:15:00")], "23:59:01")
    venue.intake()
    assert counted(venue) == [("20:15", AMBER)] * 3


@pytest.mark.parametrize(("others", "added"), [(0, 1), (8, 8)])
def test_a_mended_copy_under_another_name_is_the_file_that_it_is_of(
    tmp_path: Path, others: int, added: int
) -> None:
    """Of forty sales one was wrong, or eight were lacking: a day of sales is not doubled by that."""
    venue = make_venue(tmp_path / "v")
    rows = [ring(f"19:{minute:02d}:00") for minute in range(40)]
    venue.rings("a.csv", rows)
    venue.intake()
    mended = [ring("19:00:00", qty="2"), *rows[1:]] if not others else [
        *rows, *(ring(f"20:{minute:02d}:00") for minute in range(others))]
    venue.rings("a mended.csv", mended)
    venue.intake()
    assert len(venue.current()) == 40 + added


def test_another_till_s_file_of_the_same_hours_is_no_copy(tmp_path: Path) -> None:
    """Half of its sales equal the first till's to the minute."""
    venue = make_venue(tmp_path / "v")
    for name, shift in (("a.csv", 0), ("b.csv", 20)):
        venue.rings(name, [ring(f"{19 + (n + shift) // 60}:{(n + shift) % 60:02d}:00") for n in range(40)])
    venue.intake()
    assert len(venue.current()) == 80


def test_overlapping_files_merge_by_the_larger_count_not_the_sum(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", export="overlap")
    venue.rings("a.csv", [ring("20:15:00"), ring("20:15:00"), ring("20:16:00")])
    venue.rings("b.csv", [ring("20:15:00"), ring("20:16:00"), ring("20:16:00"), ring("20:17:00")], "23:59:01")
    venue.intake()
    assert counted(venue) == [(at, AMBER) for at in ("20:15", "20:15", "20:16", "20:16", "20:17")]
    assert venue.sources("new_rows") == [(3,), (2,)]


def test_a_span_file_replaces_what_it_no_longer_holds_inside_its_period_only(tmp_path: Path) -> None:
    """Business days start at four: the ring at 03:30 belongs to the day before."""
    venue = make_venue(tmp_path / "v", export="span")
    venue.rings("a.csv", [ring("03:30:00"), ring("20:15:00"), ring("20:16:00"), ring("06-11 20:00:00")],
                "06-11 20:30:00")
    venue.intake()
    venue.rings("b.csv", [ring("20:15:00"), ring("20:40:00")], "06-11 21:00:00")
    said = [rows_came(one.source) for one in venue.intake().taken]
    assert said == ["1 new rows, 1 earlier ones replaced or gone"]
    assert counted(venue) == [("03:30", AMBER), ("20:15", AMBER), ("20:40", AMBER), ("20:00", AMBER)]
    gone = venue.query("SELECT at_text, superseded_by FROM movements WHERE superseded_by IS NOT NULL")
    assert gone == [{"at_text": local("20:16:00"), "superseded_by": 2}]


@pytest.mark.parametrize("export", ["append", "overlap", "span"])
@pytest.mark.parametrize("ids", [True, False])
def test_rows_that_are_merged_some_at_a_time_are_the_same_rows(
    tmp_path: Path, export: str, ids: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """New ones, known ones, changed ones and ones that are gone, in the same order."""
    stores = []
    for most in (20_000, 2):
        monkeypatch.setattr(take_in, "ROWS_AT_ONCE", most)
        venue = make_venue(tmp_path / str(most), export=export, ids=ids)
        for name, minutes, qty in (("a", range(7), "1"), ("c", range(5, 12), "2"), ("b", range(3, 9), "1")):
            venue.rings(f"{name}.csv", [ring(f"20:{at:02d}:00", id=str(at), qty=qty) for at in minutes],
                        "23:59:01")
            venue.intake()
        stores.append([venue.query(f"SELECT * FROM {table} ORDER BY 1") for table in (
            "movements", "sources", "days")])
    assert stores[0] == stores[1] and len(stores[0][0]) > 12


def test_a_span_file_says_nothing_of_the_time_after_it_was_written(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", export="span")
    venue.rings("evening.csv", [ring("15:00:00"), ring("20:15:00")], "23:00:00")
    venue.intake()
    venue.rings("afternoon.csv", [ring("15:30:00")], "16:00:00")
    venue.intake()
    assert counted(venue) == [("15:30", AMBER), ("20:15", AMBER)]


@pytest.mark.parametrize("export", ["append", "overlap", "span"])
def test_of_one_id_with_other_contents_the_newer_receipt_wins_and_the_old_is_kept(
    tmp_path: Path, export: str
) -> None:
    venue = make_venue(tmp_path / "v", export=export, ids=True)
    venue.rings("a.csv", [ring("20:15:00", id="7", qty="1")])
    venue.rings("b.csv", [ring("20:15:00", id="7", qty="3")], "23:59:01")
    venue.intake()
    kept = venue.query("SELECT units_micro, source, superseded_by FROM movements ORDER BY id")
    assert [tuple(row.values()) for row in kept] == [(1_000_000, 1, 2), (3_000_000, 2, None)]


@pytest.mark.parametrize(("versions", "wins"), [
    (("1", "2"), "b"), (("2", "1"), "a"), (("9", "10"), "b"), (("10", "9"), "a"), (("", ""), "b"),
    (("A", "B"), "b"), (("B", "A"), "a"),
])
def test_a_mapped_version_decides_whatever_came_last(
    tmp_path: Path, versions: tuple[str, str], wins: str
) -> None:
    venue = make_venue(tmp_path / "v", ids=True)
    venue.edit("venue.toml", 'check = "Check"', 'version = "Check"')
    for number, (name, version) in enumerate(zip("ab", versions, strict=True)):
        venue.rings(f"{name}.csv", [ring("20:15:00", id="7", check=version, qty=str(number + 1))],
                    f"23:59:0{number}")
    venue.intake()
    assert [amount for _, _, amount in venue.current()] == [{"a": 1, "b": 2}[wins] * 1_000_000]


def test_an_id_twice_in_one_file_with_other_contents_is_kept_aside(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", ids=True)
    rows = [ring("20:15:00", id="7"), ring("20:16:00", id="8"), ring("20:17:00", id="7")]
    venue.rings("a.csv", rows)
    done = venue.intake()
    assert counted(venue) == [("20:15", AMBER), ("20:16", AMBER)]
    (reject,) = done.taken[0].rejects
    assert (reject.line, reject.field, reject.value) == (4, "id", "7")
    assert "stands on line 2 too" in reject.reason and "Map a column" in reject.fix


def test_an_id_twice_in_one_file_with_equal_contents_is_one_row(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", ids=True)
    venue.rings("a.csv", [ring("20:15:00", id="7"), ring("20:15:00", id="7")])
    done = venue.intake()
    assert (counted(venue), done.taken[0].source.skipped) == ([("20:15", AMBER)], 1)


def test_a_file_that_comes_again_with_more_rows_adds_only_those(tmp_path: Path) -> None:
    venue = make_venue(tmp_path / "v", export="append")
    for count in (2, 3, 4):
        venue.rings("till.csv", PINTS[:count])
        venue.intake()
    assert counted(venue) == [("20:15", AMBER), ("20:15", AMBER), ("20:16", STOUT), ("20:20", AMBER)]
    assert venue.sources("new_rows") == [(2,), (1,), (1,)]


def test_file_after_file_under_one_name_loses_no_equal_sale(tmp_path: Path) -> None:
    """A till that overwrites its export hourly: a pint at 20:59 in each is two pints."""
    venue = make_venue(tmp_path / "v", export="append")
    hours = [
        [ring("20:15:00"), ring("20:20:00"), ring("20:59:00")],
        [ring("20:59:00"), ring("21:10:00"), ring("21:15:00", STOUT)],
        [ring("22:10:00"), ring("22:15:00", STOUT)],
    ]
    for number, rows in enumerate(hours):
        venue.rings("till.csv", rows, f"23:5{number}:00")
        venue.intake()
        venue.rings("till.csv", [*rows, ring(f"23:0{number}:00")], f"23:5{number}:30")
        venue.intake()
    assert len(counted(venue)) == sum(map(len, hours)) + len(hours)
    assert counted(venue).count(("20:59", AMBER)) == 2


PLACES = st.lists(st.sampled_from(["20:15:00", "20:16:00", "21:00:00", "06-11 01:00:00"]), max_size=12)


def rows_of(times: list[str]) -> list[Row]:
    return [ring(at) for at in sorted(times, key=local)]


def current_after(files: list[tuple[str, list[Row]]], export: str) -> list[tuple[object, ...]]:
    """The current rings after one file after the other came in."""
    with tempfile.TemporaryDirectory() as folder:
        venue = make_venue(Path(folder) / "v", export=export)
        with venue.open() as (config, db):
            for name, rows in files:
                venue.rings(name, rows)
                take_in_all(db, config, ms("06-12 12:00:00"), venue.said.append)
        return venue.current()


@settings(max_examples=25)
@given(first=PLACES, second=PLACES, export=st.sampled_from(["append", "overlap"]))
def test_the_order_in_which_halves_come_in_does_not_matter(
    first: list[str], second: list[str], export: str
) -> None:
    halves = {"a.csv": rows_of(first), "b.csv": rows_of(second)}
    ends = [current_after(files, export) for files in (list(halves.items()), list(halves.items())[::-1])]
    merged = max if export == "overlap" else int.__add__
    expected = {at: merged(first.count(at), second.count(at)) for at in {*first, *second}}
    if halves["a.csv"] == halves["b.csv"] and export == "append":
        expected = {at: first.count(at) for at in first}  # the same bytes came twice
    assert ends[0] == ends[1]
    assert {at: sum(row[0] == local(at) for row in ends[0]) for at in expected} == expected


@settings(max_examples=20)
@given(cut=st.integers(1, 4), order=st.permutations(range(5)))
def test_any_cut_of_a_day_into_overlapping_exports_gives_the_day(cut: int, order: list[int]) -> None:
    """Exports of three pours each that overlap by one, two or three, in any order of arrival."""
    with tempfile.TemporaryDirectory() as folder:
        venue = make_venue(Path(folder) / "v", meter_export="overlap")
        day = [pour(f"p{number}", f"20:{number:02}:00") for number in range(12)]
        with venue.open() as (config, db):
            for index in order:
                part = day[index * cut : index * cut + 3]
                if part:
                    venue.pours(f"m{index}.json", part)
                    take_in_all(db, config, ms("06-12 12:00:00"), venue.said.append)
        whole = {row["end"] for index in range(5) for row in day[index * cut : index * cut + 3]}
        assert len(venue.current("pour")) == len(whole)
