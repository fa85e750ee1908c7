"""The Parquet export: what is in it, who can read it, and that it holds enough to compute every day again."""

from __future__ import annotations

import shutil
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from unrung.cli import commands
from unrung.demo import run_demo
from unrung.group import spread
from unrung.group.days import settings_of
from unrung.parquet.columns import columns_of
from unrung.parquet.export import export
from unrung.parquet.layout import FILE, days, venues
from venue_folder import VenueFolder, make_venue, pour, ring

ROOT = Path(__file__).resolve().parents[2]


def tree(root: Path) -> dict[str, bytes]:
    files = (path for path in root.rglob("*") if path.is_file())
    return {path.relative_to(root).as_posix(): path.read_bytes() for path in files}


@pytest.fixture(scope="module")
def week(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demo's config folder, with kegs, log entries and cleanings, and what it exports."""
    folder = tmp_path_factory.mktemp("week")
    assert run_demo(folder / "demo", ROOT, lambda _: None)
    done = CliRunner().invoke(commands, ["export", str(folder / "demo"), "--to", str(folder / "lake")])
    assert done.exit_code == 0, done.output
    return folder / "demo", folder / "lake"


def test_the_days_can_be_computed_again_from_the_export_alone(
    week: tuple[Path, Path], tmp_path: Path
) -> None:
    """Leaves that the venue issued, beside leaves made from its exported movements: the same bytes."""
    _, lake = week
    for part in spread.parts(lake, days_per_task=3):
        spread.write_part(lake, tmp_path, part)
    assert len(tree(tmp_path)) == 7
    assert tree(tmp_path / "leaves") == tree(lake / "leaves")


def test_another_library_sees_the_partitions_as_columns(week: tuple[Path, Path]) -> None:
    """pandas, over pyarrow's own reading of Hive partitions, against the issued variance file."""
    import pandas as pd

    demo, lake = week
    leaves = pd.read_parquet(lake / "leaves")
    day = leaves[leaves["day"].astype(str) == "2026-10-30"]
    issued = pd.read_csv(demo / "issued/daily/2026-10-30/variance-2026-10-30.csv")
    assert set(leaves["venue"]) == {"The Sluice House on the Ambrel"}
    assert day["units_rung_micro"].sum() / 1e6 == pytest.approx(issued["units_rung"].sum())
    oz = day["poured_not_rung_ul"].sum() / 29_573.5295625  # NIST Handbook 44, appendix C
    assert oz == pytest.approx(issued["poured_not_rung"].sum(), abs=0.01 * len(day))


def test_every_column_says_what_it_is(week: tuple[Path, Path]) -> None:
    import pyarrow.dataset as ds  # here, since every process that runs some tests finds all of them

    _, lake = week
    schema = ds.dataset(lake / "movements", partitioning="hive").schema
    for column in columns_of("movements"):
        assert schema.field(column.name).metadata == {b"description": column.says.encode()}
    assert str(schema.field("at").type) == "timestamp[ms, tz=UTC]"


def small(tmp_path: Path, names: bool) -> VenueFolder:
    venue = make_venue(tmp_path / "bar")
    venue.edit("venue.toml", 'check = "Check"', 'check = "Check"\nstaff = "Check"')
    if names:
        venue.edit("venue.toml", 'volume_unit = "us_fl_oz"', 'volume_unit = "us_fl_oz"\nkeep_staff_days = 30')
    venue.rings("a.csv", [ring("20:00:00", check="Robin"), ring("20:05:00", check="Robin")])
    venue.pours("a.json", [pour("p1", "20:00:10")])
    venue.catch_up()
    return venue


@pytest.mark.parametrize("names", [False, True])
def test_names_of_staff_are_in_it_only_where_the_venue_keeps_them(tmp_path: Path, names: bool) -> None:
    import pyarrow.dataset as ds

    venue = small(tmp_path, names)
    with venue.open() as (settings, db):
        export(db, settings, tmp_path / "lake")
    table = ds.dataset(tmp_path / "lake" / "movements").to_table()
    assert ("staff" in table.column_names) is names
    if names:
        assert "Robin" in table.column("staff").to_pylist()


def test_a_second_export_writes_nothing_and_a_day_that_is_gone_goes(tmp_path: Path) -> None:
    venue, lake = small(tmp_path, names=False), tmp_path / "lake"
    with venue.open() as (settings, db):
        done = export(db, settings, lake)
        assert (done.days, done.movements) == (1, 3)
        before = {path: path.stat().st_mtime_ns for path in lake.rglob("*") if path.is_file()}
        export(db, settings, lake)
        assert {path: path.stat().st_mtime_ns for path in lake.rglob("*") if path.is_file()} == before
        stale = next(lake.glob("edges/*"), None)
        assert stale is None
        shutil.copytree(lake / "coverage", lake / "edges")
        export(db, settings, lake)
        assert list((lake / "edges").rglob(FILE)) == []


def test_the_exported_settings_hold_no_address_and_no_folder(tmp_path: Path) -> None:
    venue, lake = small(tmp_path, names=False), tmp_path / "lake"
    venue.edit("venue.toml", '[[feed]]\nname = "till"', '[mail]\nto = ["boss@bar.example"]\n'
               '[[feed]]\nname = "till"')
    with venue.open() as (settings, db):
        export(db, settings, lake)
    kept = settings_of(lake, "The Test Jug")
    assert venues(lake) == ["The Test Jug"]
    assert days(lake, "movements", "The Test Jug") == [date(2025, 6, 10)]
    assert kept.menu == settings.menu and kept.taps == settings.taps
    text = (lake / "settings/venue=The%20Test%20Jug/settings.json").read_text()
    assert "boss@" not in text and str(tmp_path) not in text


def test_a_copied_config_folder_with_the_same_name_does_not_mix_two_bars(tmp_path: Path) -> None:
    """The second bar's days would lie among the first one's; a bar that moved is the same one."""
    first, other, lake = make_venue(tmp_path / "a"), make_venue(tmp_path / "b"), tmp_path / "lake"
    for bar, item in ((first, "Pint of Amber"), (other, "Pint of Stout")):
        bar.rings("a.csv", [ring("20:00:00", item)])
        bar.catch_up()

    def run(folder: Path) -> tuple[int, str]:
        done = CliRunner().invoke(commands, ["export", str(folder), "--to", str(lake)])
        return done.exit_code, str(done.exception or done.output)

    assert run(first.path)[0] == 0
    before = tree(lake)
    failed, said = run(other.path)
    assert failed and "of another venue that is called 'The Test Jug' too" in said and tree(lake) == before
    moved = first.path.rename(tmp_path / "Über den Hof")
    assert run(moved)[0] == 0 and tree(lake) == before
    other.edit("venue.toml", "The Test Jug", "The Other Jug")
    assert run(other.path)[0] == 0 and venues(lake) == ["The Other Jug", "The Test Jug"]
