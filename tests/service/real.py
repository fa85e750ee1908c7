"""The service as a process of its own, and patience that ends as soon as something is so."""

from __future__ import annotations

import json
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from starter import Process, environment, start, to_its_end

PATIENCE = 40.0
"""Seconds that a loaded machine may take for what is usually done in one."""
RUN = (
    "import sys; from pathlib import Path; from unrung.service.run import run_service; "
    "sys.exit(run_service(Path(sys.argv[1]), tick_seconds=float(sys.argv[2])))"
)

on_linux = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="looks into /proc")


KILL = getattr(signal, "SIGKILL", signal.SIGTERM)
"""Ends a process at once; on Windows the other does."""


def until(so: Callable[[], Any], what: str, patience: float = PATIENCE) -> Any:
    """Wait until ``so`` says something true, and return that."""
    end = time.monotonic() + patience
    while True:
        found = so()
        if found:
            return found
        assert time.monotonic() < end, f"not within {patience:.0f} s: {what}"
        time.sleep(0.05)


def unrung(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    """One command of the command line, to its end."""
    return to_its_end([*map(str, arguments)], environment(), PATIENCE)


def words(text: str) -> str:
    """What was printed, with its lines joined: where they are broken depends on how long a path is."""
    return " ".join(text.split())


@dataclass
class Service:
    """A running ``unrung run``."""

    folder: Path
    process: Process

    def rows(self, sql: str = "SELECT * FROM movements WHERE superseded_by IS NULL") -> list[Any]:
        """What the store answers, looked up from outside; nothing where it is not there yet."""
        try:
            db = sqlite3.connect(f"file:{self.folder / 'unrung.sqlite'}?mode=ro", uri=True)
            try:
                return db.execute(sql).fetchall()
            finally:
                db.close()
        except sqlite3.OperationalError:
            return []

    def seen_ms(self) -> int:
        """Its last sign of life; 0 before the first."""
        found = self.rows("SELECT value FROM facts WHERE name = 'service'")
        return int(json.loads(found[0][0])["seen_ms"]) if found else 0

    def log(self) -> str:
        path = self.folder / "unrung.log"
        return path.read_text("utf-8") if path.exists() else ""

    def says(self, text: str, patience: float = PATIENCE) -> None:
        """Wait until the log holds ``text``."""
        until(lambda: text in self.log(), f"{text!r} in the log", patience)

    def stop(self, how: int = signal.SIGTERM) -> tuple[int, float]:
        """Exit code, and how many seconds it took."""
        start = time.monotonic()
        self.process.send_signal(how)
        return self.process.wait(PATIENCE), time.monotonic() - start

    def children(self) -> list[int]:
        """Process ids of its children (Linux)."""
        threads = Path(f"/proc/{self.process.pid}/task").iterdir()
        return [int(one) for path in threads for one in (path / "children").read_text().split()]


def ended(pid: int) -> bool:
    """Whether a process is gone, or only its entry is left for somebody to collect (Linux)."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except FileNotFoundError:
        return True


@contextmanager
def running(
    folder: Path, more: Mapping[str, str] | None = None, tick_seconds: float = 0.5
) -> Iterator[Service]:
    """The service on ``folder``, once it started; ended in any case. ``more``: of its environment."""
    said = folder.with_name(f"{folder.name}.stderr")
    process = start([str(folder), str(tick_seconds)], environment(more), err=str(said), code=RUN)
    service = Service(folder, process)
    earlier = service.log().count(" started on ")
    try:
        until(lambda: process.poll() is not None or service.log().count(" started on ") > earlier, "a start")
        assert process.poll() is None, said.read_text()
        yield service
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
