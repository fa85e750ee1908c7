"""How long a busy bar's year takes, and how much memory, as ratios against named baselines.

    python tests/bench/year.py [--days 364] [--only year,intake,day,growth,stadium]

Every line sets what Unrung took against a baseline on the same files in the same run, so that the
ratio says something on any machine. Each side runs in a process of its own. Told are seconds by the
clock, seconds of processor, and megabytes, the most that the process held at once (``ru_maxrss`` of
``os.wait4``; POSIX only) and that those did which it started and which lived at once (/proc, Linux only),
then the ratios of the three.

Measured on two cores of a machine that did nothing else, and whose speed changes by a third from one minute
to the next; ratios of the clock, of processor and of memory, with the other's in seconds by the clock and
megabytes:

                                             clock    processor   memory    against
    84 days, files to variance files        4.2-5.6   7.5-9.8    1.3 (247)   pandas script (3.6-4.6 s)
    364 days, the same                      3.7-5.8   6.8-10.3   0.59 (642)  pandas script (14-20 s)
    one more day after 28, start-up and all 0.7-1.0   0.7-1.0    0.82 (183)  pandas script on all days (2.5 s)
    intake of 84 days                       1.7-2.8   3.2-4.6    3.1 (40)    csv.reader + executemany (2.3 s)
    intake of 84 days                          0.21      0.39    1.0 (118)   sqlite-utils insert --csv (27 s)
    a stadium's day                            7.3       7.3     2.2 (269)   pandas script (4.3 s)
    2, 4, 8 times the rows of 7 days     1.7, 4.1, 9.9           1.2, 1.8, 3.6  1 times the rows (2.9 s)

364 days take 74 to 86 s by the clock and 133 to 151 s of processor: exports are read by a second process
while their rows are added; ledgers are computed by another and, from the end of a stretch of days
backwards, by the one that finds what they show and writes, so that both are busy nearly to the end. Of the
processor's time intake is a quarter, ledgers are more than half, and of those six tenths matching. Memory
does not grow with the days: about 230 MB where days are issued, 150 MB beside it. Time grows evenly with
the days; with more rows in the same hours every ring has more pours that it may be of.

One more day takes 0.46 to 0.77 s after start-up, as the machine's moment is. It computes that day alone,
where nothing reaches across the edge between it and the one before; findings over 28 days that are read
back are two fifths of it, its ledger as much.
"""

from __future__ import annotations

import argparse
import csv
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, date, datetime, timedelta
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from typing import NamedTuple

from year_files import make_stadium, make_year

FIRST = date(2025, 1, 6)
HERE = Path(__file__).resolve()
FEEDS = ("meters", "till")
USED = ("unrung_adapters", *(f"unrung.{part}" for part in (
    "alerts", "findings", "intake", "issue", "ledger", "mail", "matching", "page", "store")))
"""Parts of the program that a day is made with; with them come the libraries."""
GROWTH_DAYS = 7
GROWTH = (1, 2, 4, 8)


class Took(NamedTuple):
    seconds: float
    """By the clock, with whatever else the machine does."""
    processor: float
    """Seconds of processor, of all its processes."""
    megabytes: float
    """The most that each of its processes held at once, summed over them."""


def main() -> None:
    args = _arguments()
    if args.work:
        PARTS[args.work[0]](Path(args.work[1]), int(args.work[2]))
        return
    with tempfile.TemporaryDirectory(prefix="year") as temporary:
        for name in args.only.split(","):
            SHOWN[name](Path(temporary) / name, args.days)


def show_year(folder: Path, days: int) -> None:
    """From files to variance files, and one more day on top of it."""
    make_year(folder, days)
    plain = _run([str(HERE.parent / "year_pandas.py"), str(folder)])
    _say(f"{days} days from files to variance files", _part("all", folder, days), "pandas script", plain)


def show_day(folder: Path, days: int) -> None:
    """The baseline reads all days anew, as a script that keeps nothing has to.

    Told is also what it takes after start-up, by the clock of such a run itself, in a copy of the folder.
    Start-up is the interpreter, importing libraries and the program, reading the config, opening the store.
    All else counts: from the look at the folders to the last file that is written, with what is made at first
    use, such as compiled templates.
    """
    make_year(folder, days + 1)
    _hold_back(folder, days)
    _part("all", folder, days)
    _bring(folder, days)
    apart = folder.with_name("apart")
    shutil.copytree(folder, apart)
    _part("day", apart, days + 1)
    seconds, processor = map(float, (apart / "after start-up").read_text().split())
    shutil.rmtree(apart)
    took = _part("all", folder, days + 1)
    print(f"one more day after {days}, after start-up: {seconds:.2f} s, {processor:.2f} s of processor")
    for feed in FEEDS:
        shutil.copytree(folder / "archive" / feed, folder / "again" / feed)
    for name in ("menu.csv", "taps.csv"):
        shutil.copy(folder / name, folder / "again")
    for feed in FEEDS:
        _flatten(folder / "again" / feed)
    plain = _run([str(HERE.parent / "year_pandas.py"), str(folder / "again")])
    _say(f"one more day after {days}", took, "pandas script on all days", plain)


def show_intake(folder: Path, days: int) -> None:
    """Rows from files into the store, against a general tool and against the least there is."""
    make_year(folder, days)
    rows = sum(_rows(path) for feed in FEEDS for path in (folder / feed).glob("*.csv"))
    floor, tool = _part("floor", folder, days), _part("tool", folder, days)
    took = _part("intake", folder, days)
    _say(f"intake of {rows:,} rows", took, "sqlite-utils insert --csv", tool)
    _say(f"intake of {rows:,} rows", took, "csv.reader + executemany", floor)


def show_growth(folder: Path, days: int) -> None:
    """A week with 1, 2, 4 and 8 times the rows, against the week with 1."""
    first = None
    for scale in GROWTH:
        make_year(folder / str(scale), min(days, GROWTH_DAYS), scale=scale)
        took = _part("all", folder / str(scale), min(days, GROWTH_DAYS))
        first = first or took
        _say(f"{scale} x rows of {min(days, GROWTH_DAYS)} days", took, "1 x rows", first)


def show_stadium(folder: Path, days: int) -> None:
    """One day of a stadium, whatever ``days`` says."""
    make_stadium(folder)
    plain = _run([str(HERE.parent / "year_pandas.py"), str(folder)])
    _say("a stadium's day from files to variance files", _part("all", folder, 1), "pandas script", plain)


def work_all(folder: Path, days: int) -> None:
    """Everything that waits is taken in, and every day issued."""
    from unrung.catch_up import issue_due, take_in_all

    settings, db, now_ms = _opened(folder, days)
    with closing(db):
        done = take_in_all(db, settings, now_ms, _silent)
        issue_due(db, settings, now_ms, done, _silent)
        _held(db.execute("SELECT count(*) FROM days WHERE revision > 0").fetchone()[0] == days
              and not done.problems, f"not all of {days} days were issued")


def work_day(folder: Path, days: int) -> None:
    """``work_all``, with everything imported first, and a note of what it took since."""
    for package in USED:
        for module in walk_packages(import_module(package).__path__, f"{package}."):
            import_module(module.name)
    from unrung.catch_up import issue_due, take_in_all

    settings, db, now_ms = _opened(folder, days)
    with closing(db):
        start = time.monotonic(), time.process_time()
        done = take_in_all(db, settings, now_ms, _silent)
        issue_due(db, settings, now_ms, done, _silent)
        took = time.monotonic() - start[0], time.process_time() - start[1]
        _held(done.issued[-1].revision == 1 and not done.problems, "the day was not issued")
    (folder / "after start-up").write_text(" ".join(map(str, took)))


def work_intake(folder: Path, days: int) -> None:
    from unrung.catch_up import take_in_all

    settings, db, now_ms = _opened(folder, days)
    with closing(db):
        done = take_in_all(db, settings, now_ms, _silent)
        _held(all(one.state == "taken" for one in done.taken), "not every file was taken in")


def work_tool(folder: Path, days: int) -> None:
    """The general tool through its own command line, in one process for all files."""
    from sqlite_utils.cli import cli

    for feed, path in _files(folder):
        cli.main(["insert", str(folder / "tool.sqlite"), feed, str(path), "--csv", "--pk", "id",
                  "--silent"], standalone_mode=False)


def work_floor(folder: Path, days: int) -> None:
    """Text cells into a table with a key; a transaction for each file."""
    with closing(sqlite3.connect(folder / "floor.sqlite")) as db:
        for feed, path in _files(folder):
            with path.open(newline="") as file, db:
                rows = csv.reader(file)
                names = next(rows)
                cells = ", ".join(f'"{name}"' for name in names[1:])
                db.execute(f"CREATE TABLE IF NOT EXISTS {feed} (id PRIMARY KEY, {cells})")
                db.executemany(f"INSERT INTO {feed} VALUES ({', '.join('?' * len(names))})", rows)


def _opened(folder: Path, days: int):  # type: ignore[no-untyped-def]
    """Settings, store, and the noon after the last day, when everything is due."""
    from unrung.config_folder import load
    from unrung.opening import take_config
    from unrung.store.open import open_store

    noon = datetime.combine(FIRST + timedelta(days=days), datetime.min.time(), UTC) + timedelta(hours=20)
    now_ms = round(noon.timestamp() * 1000)
    settings = load(folder)
    db = open_store(folder / settings.files.store)
    return take_config(db, settings, now_ms), db, now_ms


def _part(name: str, folder: Path, days: int) -> Took:
    return _run([str(HERE), "--work", name, str(folder), str(days)])


def _run(command: list[str]) -> Took:
    """A Python process with those that it starts: their seconds, and the most memory they held: of what it
    started, that of those that lived at the same time."""
    start = time.monotonic()
    process = subprocess.Popen([sys.executable, *command])
    beside: list[int] = []
    watching = threading.Thread(target=_watch, args=(process.pid, beside), daemon=True)
    watching.start()
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.monotonic() - start
    watching.join()
    _held(status == 0, f"{' '.join(command)} failed")
    own = usage.ru_maxrss * (1 if sys.platform == "darwin" else 1024)
    return Took(seconds, usage.ru_utime + usage.ru_stime, (own + max(beside, default=0)) / 1e6)


def _watch(pid: int, beside: list[int]) -> None:
    """Notes, over and over until ``pid`` ends, what the processes below it have held so far, each at its most
    (Linux)."""
    waiting = [pid]
    while waiting and Path(f"/proc/{pid}/status").exists():
        waiting, peaks = [pid], dict[int, int]()
        for one in waiting:
            with suppress(OSError, ValueError, StopIteration):
                lines = Path(f"/proc/{one}/status").read_text().splitlines()
                peaks[one] = next(int(line.split()[1]) * 1024 for line in lines if line.startswith("VmHWM"))
                waiting += map(int, Path(f"/proc/{one}/task/{one}/children").read_text().split())
        beside.append(sum(peak for one, peak in peaks.items() if one != pid))
        time.sleep(0.05)


def _say(what: str, took: Took, against: str, base: Took) -> None:
    """What both took: clock, processor, memory; and the ratios of the three."""
    each = (f"{one.seconds:.2f} s, {one.processor:.2f} s of processor, {one.megabytes:.0f} MB"
            for one in (took, base))
    ratios = ", ".join(f"{one / other:.2f}" for one, other in zip(took, base, strict=True))
    print(f"{what}: {next(each)}; {against}: {next(each)}; ratios {ratios}", flush=True)


def _files(folder: Path) -> list[tuple[str, Path]]:
    return [(feed, path) for feed in FEEDS for path in sorted((folder / feed).glob("*.csv"))]


def _rows(path: Path) -> int:
    return path.read_bytes().count(b"\n") - 1


def _hold_back(folder: Path, days: int) -> None:
    (folder / "later").mkdir()
    for feed in FEEDS:
        name = f"{(FIRST + timedelta(days=days)).isoformat()}.csv"
        shutil.move(folder / feed / name, folder / "later" / f"{feed}.csv")


def _bring(folder: Path, days: int) -> None:
    for feed in FEEDS:
        name = f"{(FIRST + timedelta(days=days)).isoformat()}.csv"
        shutil.move(folder / "later" / f"{feed}.csv", folder / feed / name)


def _flatten(folder: Path) -> None:
    """The archive sorts files into folders by day; a script reads one folder."""
    for path in sorted(folder.rglob("*.csv")):
        if path.parent != folder:
            path.rename(folder / path.name)


def _held(true: bool, wrong: str) -> None:
    if not true:
        raise SystemExit(wrong)


def _silent(_: str) -> None:
    """Nobody listens."""


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--days", type=int, default=364, help="how many days of the year")
    parser.add_argument("--only", default="year,intake,day,growth,stadium")
    parser.add_argument("--work", nargs=3, help=argparse.SUPPRESS)
    return parser.parse_args()


SHOWN: dict[str, Callable[[Path, int], None]] = {
    "year": show_year, "intake": show_intake, "day": show_day, "growth": show_growth,
    "stadium": show_stadium,
}
PARTS: dict[str, Callable[[Path, int], None]] = {
    "all": work_all, "day": work_day, "intake": work_intake, "tool": work_tool, "floor": work_floor,
}

if __name__ == "__main__":
    main()
