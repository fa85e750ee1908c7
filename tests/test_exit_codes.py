"""The commands as a scheduler or a monitor sees them: what they print, and how they end.

0 done; 1 something needs attention; 2 wrong use or config; 3 could not finish. Each is a process of
its own on the machine's own clock, so the exports are of two days ago.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import openpyxl
import pytest

from starter import environment, to_its_end
from venue_folder import VenueFolder, make_venue, till_csv

ROOT = Path(__file__).resolve().parent.parent
DAY = (datetime.now(UTC).astimezone(ZoneInfo("America/New_York")) - timedelta(days=2)).date().isoformat()


def unrung(*words: object) -> tuple[int, str]:
    """Exit code, and everything that was printed."""
    done = to_its_end([*map(str, words)], environment())
    return done.returncode, done.stdout + done.stderr


def unrung_by_itself(*words: object, encoding: str = "utf-8") -> tuple[int, str]:
    """The same in an interpreter of its own, whose output is so encoded."""
    done = subprocess.run([sys.executable, "-m", "unrung", *map(os.fsdecode, words)],
                          env=environment({"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}),
                          capture_output=True, encoding=encoding, check=False)
    return done.returncode, done.stdout + done.stderr


def fill(venue: VenueFolder) -> None:
    """An evening of five pints, all rung, two days ago."""
    minutes = (10, 20, 30, 40, 50)
    rings = [{"Time": f"{DAY} 20:{at}:20", "Item": "Pint of Amber", "Qty": "1", "Total": "7.00"}
             for at in minutes]
    pours = [{"id": str(at), "tap": "1", "start": f"{DAY} 20:{at}:00", "end": f"{DAY} 20:{at}:08", "ml": 473}
             for at in minutes]
    (venue.till / "a.csv").write_bytes(till_csv(rings))
    (venue.meter / "a.json").write_text(json.dumps(pours))
    for path in (venue.till / "a.csv", venue.meter / "a.json"):
        os.utime(path, (path.stat().st_mtime - 90,) * 2)


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> VenueFolder:
    """A venue after its first catch-up; every test works on a copy."""
    venue = make_venue(tmp_path_factory.mktemp("venue") / "v")
    fill(venue)
    code, said = unrung_by_itself("catch-up", venue.path)
    assert code == 0, said
    assert "till: a.csv taken in, 5 new rows" in said and f"issued {DAY} revision 1" in said
    return venue


@pytest.fixture
def venue(running: VenueFolder, tmp_path: Path) -> VenueFolder:
    shutil.copytree(running.path, tmp_path / "v")
    return VenueFolder(tmp_path / "v")


@pytest.mark.parametrize(("words", "code"), [
    (["catchup", "{}"], 2), (["check", "{}"], 1), (["demo", "--into", "{}/venue.toml"], 2),
])
def test_a_start_that_was_forked_says_what_one_by_itself_says(
    venue: VenueFolder, words: list[str], code: int
) -> None:
    """So that the other tests here need not wait for an interpreter each time."""
    shutil.rmtree(venue.till)
    words = [word.format(venue.path) for word in words]
    assert unrung(*words) == unrung_by_itself(*words)
    assert unrung(*words)[0] == code


def test_nothing_that_waits_is_said_and_is_no_trouble(venue: VenueFolder) -> None:
    assert unrung("catch-up", venue.path) == (0, "Nothing was waiting.\n")


def test_a_venue_in_order_has_status_0_and_tells_a_monitor(venue: VenueFolder) -> None:
    code, said = unrung("status", venue.path, "--json")
    state = json.loads(said)
    assert (code, state["attention"], state["feeds"]["till"]["rows"]) == (0, [], 5)
    code, said = unrung("status", venue.path)
    assert code == 0 and all(len(line) <= 80 for line in said.splitlines())


def test_reissue_changes_no_byte_where_nothing_differs(venue: VenueFolder) -> None:
    before = venue.files()
    code, said = unrung("reissue", venue.path, "--day", DAY)
    assert code == 0 and "nothing differs from revision 1" in said
    assert venue.files() == before
    shutil.rmtree(venue.path / "issued")
    assert unrung("reissue", venue.path, "--day", DAY)[0] == 0
    day = {name: content for name, content in before.items() if name.startswith(f"daily/{DAY}")}
    assert {name: venue.files()[name] for name in day} == day


def test_check_reads_a_good_folder_and_changes_nothing(venue: VenueFolder) -> None:
    fill(venue)
    before = venue.files(".")
    code, said = unrung("check", venue.path)
    assert code == 0 and "till: a.csv gives 5 rows" in said and said.endswith("Nothing is wrong.\n")
    assert f"at {DAY}T20:10:20" in said and "volume 15.99 fl oz" in said
    after = venue.files(".")
    assert {name for name in after if after[name] != before.get(name)} <= {
        "unrung.sqlite-shm", "unrung.sqlite-wal"}


def test_a_code_page_of_few_letters_spells_the_others_out(venue: VenueFolder) -> None:
    """An old Windows gives one to whatever its output is sent into."""
    name, spelt = "Piwo Żywe", r"Piwo \u017bywe"
    venue.edit("taps.csv", "Amber", name)
    code, said = unrung_by_itself("check", venue.path, encoding="cp437")
    assert code == 1 and spelt in said and "fault of the program" not in said
    venue.edit("taps.csv", name, "Amber")
    venue.edit("venue.toml", '[venue]\nname = "', '[venue]\nname = "Żywe ')
    code, said = unrung_by_itself("status", venue.path, "--json", encoding="cp437")
    assert (code, json.loads(said)["venue"][:5]) == (0, "Żywe ")


def test_what_needs_a_person_is_1(venue: VenueFolder) -> None:
    (venue.till / "bad.csv").write_bytes(b"Wrong\n1\n")
    os.utime(venue.till / "bad.csv", (1_700_000_000,) * 2)
    code, said = unrung("check", venue.path)
    assert code == 1 and "has no column 'Time'" in said and said.endswith("1 to mend.\n")
    code, said = unrung("catch-up", venue.path)
    assert code == 1 and "till: bad.csv set aside: bad.csv, line 1, field 'at': has no column" in said
    assert all(len(line) <= 80 for line in said.splitlines() if str(venue.path) not in line)
    code, said = unrung("status", venue.path)
    assert code == 1 and "1 export set aside" in said


def test_a_missing_folder_is_1_and_the_other_feeds_go_on(venue: VenueFolder) -> None:
    shutil.rmtree(venue.till)
    fill_meter = venue.meter / "b.json"
    fill_meter.write_text("[]")
    os.utime(fill_meter, (1_700_000_000,) * 2)
    code, said = unrung("catch-up", venue.path)
    assert code == 1 and "cannot be listed" in said and "meter: b.json taken in, 0 new rows" in said


@pytest.mark.parametrize("command", ["check", "catch-up", "status", "reissue"])
def test_a_wrong_config_tells_all_of_it_and_is_2(venue: VenueFolder, command: str) -> None:
    venue.edit("venue.toml", "timezone =", "timezon =")
    venue.edit("taps.csv", "Bar,Stout", "Bar,Stoat")
    words = ["--day", DAY] if command == "reissue" else []
    code, said = unrung(command, venue.path, *words)
    assert code == (1 if command == "check" else 2)
    said = " ".join(said.split())  # lines are broken to fit a terminal
    assert "did you mean 'timezone'?" in said and "taps.csv, line 3: product 'Stoat'" in said
    assert "Traceback" not in said


@pytest.mark.parametrize("words", [
    ["catch-up"], ["catch-up", "{}", "--through", "yesterday"], ["reissue", "{}"], ["catchup", "{}"],
    ["reissue", "{}", "--day", "10/31/2026"], ["status", "{}/nowhere"],
])
def test_wrong_use_is_2(venue: VenueFolder, words: list[str]) -> None:
    code, said = unrung(*[word.format(venue.path) for word in words])
    assert code == 2 and said and "Traceback" not in said


@pytest.mark.parametrize("command", ["catch-up", "status", "reissue"])
def test_a_store_that_is_not_ours_is_3(venue: VenueFolder, command: str) -> None:
    for path in venue.path.glob("unrung.sqlite*"):
        path.unlink()
    other = sqlite3.connect(venue.path / "unrung.sqlite")
    other.execute("CREATE TABLE people (name)")
    other.close()
    words = ["--day", DAY] if command == "reissue" else []
    code, said = unrung(command, venue.path, *words)
    assert code == 3 and "is a database of another program" in said and "Traceback" not in said


def test_a_damaged_store_is_3_and_kept(venue: VenueFolder) -> None:
    path = venue.path / "unrung.sqlite"
    path.write_bytes(b"\0" * 8192)
    code, said = unrung("catch-up", venue.path)
    assert code == 3 and "Traceback" not in said
    assert path.read_bytes() == b"\0" * 8192


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("reissue", "{venue}", "--month", "foo"), "'foo' is not a month; write for example 2026-11."),
        (("reissue", "{venue}", "--day", "2999-10-31"), "2999-10-31 is not over yet"),
        (("reissue", "{venue}", "--day", "2000-10-31"), "nothing is known of 2000-10-31"),
        (("demo", "--into", "{file}"), "is a file; name a folder for the demo's files"),
        (("demo", "--into", "{venue}"), "is not empty and was not made by the demo"),
        (("export", "{venue}", "--to", "{new}", "--from", "2026-11-05", "--through", "2026-11-01"),
         "--from is a day after --through"),
        (("group", "{venue}", "--to", "{new}"), "holds no exported venue: run unrung export CONFIG"),
        (("setup", "{new}", "--rings", "{book}", "--pours", "{book}", "--yes"),
         "is a spreadsheet's workbook. Export it as CSV"),
        (("setup", "{new}", "--rings", "{file}", "--pours", "{file}", "--yes"), "is empty; give a file"),
        (("setup", "{new}", "--rings", "{noise}", "--pours", "{noise}", "--yes"), "is no text"),
        (("setup", "{new}", "--rings", "{meters}", "--pours", "{till}", "--yes"),
         "Were --rings and --pours exchanged?"),
    ],
    ids=["month", "day to come", "day before", "demo into a file", "demo into a venue", "no days", "no lake",
         "workbook",
         "empty", "noise", "exchanged"],
)
def test_a_users_mistake_is_a_sentence_with_a_way_out(
    words: tuple[str, ...], said: str, running: VenueFolder, tmp_path: Path
) -> None:
    book, noise, empty = (tmp_path / name for name in ("book.xlsx", "noise.csv", "empty.csv"))
    workbook = openpyxl.Workbook()
    workbook.save(book)
    noise.write_bytes(bytes((n * 197 + 41) % 256 for n in range(3000)))
    empty.touch()
    places = {"venue": running.path, "file": empty, "book": book, "noise": noise, "new": tmp_path / "new",
              "meters": ROOT / "sample_exports/meters", "till": ROOT / "sample_exports/till"}
    code, told = unrung(*(word.format(**places) for word in words))
    told = " ".join(told.split())
    assert said in told and "Traceback" not in told
    assert code == 2
    assert not (tmp_path / "new").exists()


def test_every_help_names_its_commands_whole_and_fits_a_terminal() -> None:
    code, told = unrung("--help")
    assert code == 0 and "..." not in told.replace("[ARGS]...", "")
    assert max(map(len, told.splitlines())) <= 80 and "\x1b" not in told


def test_without_a_command_the_help_is_shown_once() -> None:
    code, told = unrung()
    assert code == 2 and told.count("Usage:") == 1 and "Error" not in told
    assert "  catch-up     Take in what waits" in told


@pytest.mark.skipif(os.name == "nt", reason="names are text there")
def test_a_folder_whose_name_is_no_text_is_refused_with_what_to_do(venue: VenueFolder) -> None:
    there = Path(os.fsdecode(os.fsencode(venue.path.parent / "B") + b"\xe4r"))
    venue.path.rename(there)
    for command in ("check", "catch-up"):
        code, said = unrung_by_itself(command, os.fsencode(there))
        assert "is not UTF-8; rename it." in " ".join(said.split()) and "Traceback" not in said
        assert code == (1 if command == "check" else 2)
