"""Zone rules as zdump prints them: the C library's reader, independent of Python's.

``zdump`` comes with Debian's libc-bin and with most Unixes. It is given the very file that Python
reads, so that only the reading is compared and not the age of two copies.
"""

from __future__ import annotations

import subprocess
from bisect import bisect_right
from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
FAR = 26 * 3600
"""Further than any zone is from UTC, and closer than any two changes of one zone."""


class Change(NamedTuple):
    """A change of a zone's offset: when (Unix seconds), from what to what (seconds)."""

    at: int
    before: int
    after: int


class ZoneOracle:
    """Offsets of one zone by zdump, and local times turned into UTC by search."""

    def __init__(self, changes: Sequence[Change], first_offset: int) -> None:
        self.changes = tuple(changes)
        self._first_offset = first_offset
        self._at = [change.at for change in changes]

    def offset(self, at: int) -> int:
        """Seconds east of UTC at ``at`` (Unix seconds)."""
        index = bisect_right(self._at, at)
        return self.changes[index - 1].after if index else self._first_offset

    def utc(self, local: datetime) -> int:
        """Unix seconds of a naive local time: the first pass of two; a missing one moves on."""
        wall = int(local.replace(tzinfo=UTC).timestamp())
        near = {self.offset(wall - FAR), self.offset(wall + FAR)}
        fitting = [wall - offset for offset in near if self.offset(wall - offset) == offset]
        return min(fitting) if fitting else wall - self.offset(wall - FAR)


def read_zone(file: Path, first_year: int = 1900, last_year: int = 2027) -> ZoneOracle:
    """What zdump says of the compiled zone ``file``."""
    command = ["zdump", "-v", "-c", f"{first_year},{last_year}", str(file)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    seen = [_line(line) for line in done.stdout.splitlines() if "gmtoff=" in line]
    changes = [
        Change(at, before, after)
        for (earlier, before), (at, after) in pairwise(seen)
        if at == earlier + 1 and before != after
    ]
    return ZoneOracle(changes, seen[0][1])


def _line(line: str) -> tuple[int, int]:
    """"<file>  Sun Mar  8 07:00:00 2026 UT = ... gmtoff=-14400" → Unix second and offset."""
    month, day, clock, year = line.split(" UT = ")[0].split()[-4:]
    text = f"{year}-{MONTHS.index(month) + 1:02}-{int(day):02}T{clock}+00:00"
    return int(datetime.fromisoformat(text).timestamp()), int(line.rsplit("gmtoff=", 1)[1])
